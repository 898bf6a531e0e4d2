"""The folder that reports go into."""

from __future__ import annotations

import tempfile
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError


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
