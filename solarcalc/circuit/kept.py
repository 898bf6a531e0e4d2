"""Shade tables on the disk: made once a machine, not once a workbook."""

from __future__ import annotations

import hashlib
import os
import zipfile
from contextlib import suppress
from dataclasses import dataclass, fields
from functools import cache
from pathlib import Path

import numpy as np

from solarcalc.basis.paths import user_cache
from solarcalc.circuit.strings import Strung


@dataclass(frozen=True, kw_only=True, eq=False)
class ShadeTable:
    """Share of the unshaded power kept, over four axes.

    Parameters
    ----------
    fraction, diffuse_share, light_w_m2, cell_c : array
        Knots: share of the row in the strip and of the light it leaves, [0 to 1]; unshaded
        light [W/m2]; cell temperature [degC].
    kept_frac : array
        Kept at the highest point of the curve, [0 to 1]; axes in that order.
    """

    fraction: np.ndarray
    diffuse_share: np.ndarray
    light_w_m2: np.ndarray
    cell_c: np.ndarray
    kept_frac: np.ndarray


def kept_table(strung: Strung) -> ShadeTable | None:
    """The table as it was made before by this very code, or None."""
    names = [field.name for field in fields(ShadeTable)]
    try:
        with _path(strung).open("rb") as raw, np.load(raw, allow_pickle=False) as file:
            return ShadeTable(**{name: file[name] for name in names})
    except (OSError, KeyError, ValueError, EOFError, zipfile.BadZipFile):
        return None  # none there, or not whole: it is made again


def keep_table(strung: Strung, table: ShadeTable) -> None:
    """Write the table for the next time, whole or not at all; a full disk does no harm."""
    path = _path(strung)
    part = path.with_suffix(f".{os.getpid()}.part")
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with part.open("wb") as file:
                np.savez(file, **{field.name: getattr(table, field.name)
                                  for field in fields(ShadeTable)})  # fmt: skip
            part.replace(path)
        finally:
            part.unlink(missing_ok=True)


def _path(strung: Strung) -> Path:
    """File of a table: its name is what the table follows from, strings and code."""
    name = hashlib.sha256(f"{_code()}{strung!r}".encode()).hexdigest()[:32]
    return user_cache("shade") / f"{name}.npz"


@cache
def _code() -> str:
    """The text of this folder: another version makes its own tables."""
    here = Path(__file__).parent
    return hashlib.sha256(
        b"".join(path.read_bytes() for path in sorted(here.glob("*.py")))
    ).hexdigest()
