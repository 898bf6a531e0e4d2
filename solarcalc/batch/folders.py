"""Folders that reports, workbooks and demo sites go into."""

from __future__ import annotations

import os
import shutil
import tempfile
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import bundled


def check_out_folder(out: Path) -> None:
    """Make the folder for reports if its parent exists, and see that it can be written to.

    Raises
    ------
    InputError
        When it cannot be.
    """
    try:
        out.mkdir(exist_ok=True)
        with tempfile.TemporaryFile(dir=out):
            pass
    except OSError as error:
        raise InputError(Fault(
            where=f"folder for reports: {out}", given=error.strerror or str(error),
            allowed="a folder that can be written to, or a new one in a folder that exists",
            remedy="create the folder above it, or name another",
        )) from error


LEFT_BEHIND = ("__pycache__", ".ipynb_checkpoints", "*.pyc", "equipment", "templates",
    "pictures", "tables", "messages", "sources.toml")
"""What stays in the installation: caches, and what the package reads from there itself."""


def copy_workbooks(out: Path) -> None:
    """Copy workbooks and demo sites into a folder, all of them or none.

    Parameters
    ----------
    out : Path
        Made where it is missing.

    Raises
    ------
    InputError
        When one of the two is there already, or the folder cannot be written.
    """
    for name in ("workbooks", "data"):
        if os.path.lexists(out / name):
            raise _exists(out / name)
    try:
        out.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".solarcalc.partial-", dir=out) as partial:
            ignore = shutil.ignore_patterns(*LEFT_BEHIND)
            for name in ("workbooks", "data"):
                shutil.copytree(bundled(name), Path(partial) / name, ignore=ignore)
            for name in ("workbooks", "data"):
                (Path(partial) / name).rename(out / name)
    except OSError as error:
        raise InputError(
            Fault(
                where=f"--out {out}",
                given=error.strerror or str(error),
                allowed="a folder that may be written",
            )
        ) from None


def _exists(path: Path) -> InputError:
    return InputError(
        Fault(
            where=str(path),
            given="something that exists already",
            allowed="a place that is free",
            why="nothing is written over",
            remedy="choose another --out, or move the old one away",
        )
    )
