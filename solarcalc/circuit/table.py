"""What a strip of shade leaves of the power: a table worked out once a machine, then kept."""

from __future__ import annotations

import hashlib
import io
from contextlib import suppress
from dataclasses import dataclass, fields
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import user_cache, write_whole
from solarcalc.basis.sealed import sealed, unsealed
from solarcalc.basis.worded import worded
from solarcalc.circuit.module import Weather, rows_of_stage, stages_of, strip_of
from solarcalc.circuit.strings import CURRENT_POINTS, Strung, best_points


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
    """The table as it was made before by this very code, or None where none is whole and fits."""
    names = [field.name for field in fields(ShadeTable)]
    try:
        raw = unsealed(_path(strung).read_bytes(), _path(strung).name)
        with np.load(io.BytesIO(raw), allow_pickle=False) as file:
            table = ShadeTable(**{name: file[name] for name in names})
        return table if _fits(table, strung) else None
    except Exception:  # none there, or whatever a damaged one does: it is made again
        return None


def _fits(table: ShadeTable, strung: Strung) -> bool:
    """Whether its knots are those of these strings, and its shares are shares."""
    knots = _knots(strung)
    return (
        all(np.array_equal(getattr(table, name), axis) for name, axis in knots.items())
        and table.kept_frac.dtype == float
        and table.kept_frac.shape == tuple(len(axis) for axis in knots.values())
        and bool(((table.kept_frac >= 0.0) & (table.kept_frac <= 1.0 + _ROUNDING)).all())
    )


_ROUNDING = 1e-6


def keep_table(strung: Strung, table: ShadeTable) -> None:
    """Write the table for the next time, whole or not at all; a full disk does no harm."""
    path, raw = _path(strung), io.BytesIO()
    np.savez(raw, **{field.name: getattr(table, field.name) for field in fields(ShadeTable)})
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, sealed(raw.getvalue(), path.name))


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


LIGHT_KNOTS_W_M2 = (20.0, 150.0, 500.0, 1000.0)
HEAT_KNOTS_C = (0.0, 70.0)
"""Light [W/m2] and cell temperature [degC] of the table; outside them the nearest one holds."""
DIFFUSE_STEPS = 40
DIFFUSE_CROWDING = 1.3
"""Steps of the diffuse share, and how they crowd towards none."""
FIRST_ROW_STEPS = 32
"""Steps over the row of cells that takes a part of the module out."""
OTHER_ROW_STEPS = 2


def fraction_knots(strung: Strung) -> np.ndarray:
    """Depths of the strip [0 to 1] at which the table is worked out.

    Power falls while the strip covers the first row of a part of the module that it has not
    yet reached; those rows are finely divided. Between the other rows it hardly changes.
    """
    strip = strip_of(strung.orientation, strung.edge)
    stages, rows = stages_of(strung.cells, strip), rows_of_stage(strung.cells, strip)
    within = [np.linspace(0.0, 1.0, FIRST_ROW_STEPS + 1)[1:]]
    within += [row + np.linspace(0.0, 1.0, OTHER_ROW_STEPS + 1)[1:] for row in range(1, rows)]
    stage = np.concatenate(within) / rows
    parts = stages * strung.tiers
    knots: np.ndarray = np.concatenate([[0.0], *[(part + stage) / parts for part in range(parts)]])
    knots[-1] = 1.0
    return knots


@lru_cache(maxsize=32)
def shade_table(strung: Strung) -> ShadeTable:
    """The table of one way of stringing modules; kept, since it depends on nothing else.

    Parameters
    ----------
    strung : Strung

    Returns
    -------
    ShadeTable
        Half a second to two seconds of work for one or two tiers of modules
        (`tests/bench/shade_table.py`), once a machine: it is kept in the user's cache folder.
    """
    kept = kept_table(strung)
    if kept is None:
        kept = made_table(strung)
        keep_table(strung, kept)
    return kept


def made_table(strung: Strung) -> ShadeTable:
    """The table worked out anew."""
    knots = _knots(strung)
    fraction, diffuse, light, heat = knots.values()
    depth, left = (axis.ravel() for axis in np.meshgrid(fraction, diffuse, indexing="ij"))
    shape = (len(fraction), len(diffuse), len(light), len(heat))
    kept = np.ones(shape)
    for at_light, light_w_m2 in enumerate(light):
        for at_heat, cell_c in enumerate(heat):
            best = best_points(strung, fraction=depth, diffuse_share=left,
                               weather=Weather(light_w_m2=float(light_w_m2), cell_c=float(cell_c)),
                               points=CURRENT_POINTS)
            share = best.global_w[1:] / best.global_w[0]
            kept[:, :, at_light, at_heat] = share.reshape(shape[:2])
    return ShadeTable(**knots, kept_frac=kept)


def _knots(strung: Strung) -> dict[str, np.ndarray]:
    """The four axes of the table."""
    return {
        "fraction": fraction_knots(strung),
        "diffuse_share": np.linspace(0.0, 1.0, DIFFUSE_STEPS + 1) ** DIFFUSE_CROWDING,
        "light_w_m2": np.array(LIGHT_KNOTS_W_M2), "cell_c": np.array(HEAT_KNOTS_C),
    }  # fmt: skip


def power_kept_frac(
    fraction: Any, diffuse_share: Any, light_w_m2: Any = 1000.0, cell_c: Any = 25.0, *,
    strung: Strung,
) -> np.ndarray:  # fmt: skip
    """Share of the unshaded power that strings under a strip of shade still give, [0 to 1].

    To be multiplied with the power of the same strings without the strip, in the same hour's
    light and at the same cell temperature. The first use for one `strung` makes its table.

    Parameters
    ----------
    fraction : float or array (n,)
        Share of the row's width in the strip, [0 to 1].
    diffuse_share : float or array (n,)
        Share of the unshaded light that the strip leaves, [0 to 1]: sky and ground over all;
        for dirt, the share of light that passes it.
    light_w_m2 : float or array (n,)
        Unshaded light that reaches the cells [W/m2], not negative.
    cell_c : float or array (n,)
        Cell temperature [degC].
    strung : Strung
        Module cells, wiring, orientation, edge the strip comes from.

    Returns
    -------
    array
        Of the shape that the first four together have.

    Raises
    ------
    InputError
        When a share is outside 0 to 1, light is negative or a value is missing; when the strung
        has a least voltage.

    Notes
    -----
    Straight lines between the knots of `shade_table`, over the logarithm of the light. Not
    counted: the lower temperature of cells in shade, the controller's voltage window. The table
    holds the highest point only: where a simple tracker sits jumps from one hump to another, and
    a table of it was up to 8 % off in a year's shaded hours; `kept_by_circuit_frac` gives it.
    So does a least voltage between two humps: a table of it was up to 25 points off in an hour.
    """
    depth, left, light, heat = np.broadcast_arrays(fraction, diffuse_share, light_w_m2, cell_c)
    _check(strung, depth, left, light, heat)
    table = shade_table(strung)
    low, high = LIGHT_KNOTS_W_M2[0], LIGHT_KNOTS_W_M2[-1]
    look_up = RegularGridInterpolator(
        (table.fraction, table.diffuse_share, np.log(table.light_w_m2), table.cell_c),
        table.kept_frac,
    )
    kept: np.ndarray = look_up(
        np.stack(
            [depth, left, np.log(np.clip(light, low, high)),
             np.clip(heat, HEAT_KNOTS_C[0], HEAT_KNOTS_C[-1])],
            axis=-1,
        )
    )
    return kept.reshape(depth.shape)


def _check(
    strung: Strung, depth: np.ndarray, left: np.ndarray, light: np.ndarray, heat: np.ndarray
) -> None:
    if strung.least_v > 0.0:
        raise InputError(Fault(**worded("circuit", "least-v", least_v=strung.least_v)))
    faults = [
        Fault(where=name, given=f"{float(values.min()):g} to {float(values.max()):g}",
              allowed=allowed, why=why)
        for name, values, bad, allowed, why in (
            ("fraction", depth, ~((depth >= 0.0) & (depth <= 1.0)), "0 to 1", ""),
            ("diffuse_share", left, ~((left >= 0.0) & (left <= 1.0)), "0 to 1",
             "in the dark, where sky over total is 0 / 0, give any share"),
            ("light_w_m2", light, ~((light >= 0.0) & np.isfinite(light)), "0 W/m2 or more", ""),
            ("cell_c", heat, ~np.isfinite(heat), "a temperature in degC", ""),
        )
        if values.size and bad.any()
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
