"""Notebooks as files: which there are, in which order, and the library that reads them."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError

CHAPTER_ORDER = (
    "orientation", "yield", "battery", "electrical", "earthing", "quote", "commissioning",
    "followup",
)
"""Workbooks in the order of the report; others follow in alphabetical order."""

def read_workbooks(folder: Path) -> dict[str, Any]:
    """The workbooks of a folder, by name, in the order of the report.

    Raises
    ------
    InputError
        When there are none.
    """
    nbformat = import_nbformat()
    found = {path.stem: path for path in sorted(folder.glob("*.ipynb"))}
    if not found:
        raise InputError(Fault(where=str(folder), given="no workbooks",
                               allowed="a folder with *.ipynb files"))
    return {name: nbformat.read(found[name], as_version=4) for name in in_chapter_order(found)}


def in_chapter_order(names: Iterable[str]) -> list[str]:
    """Names of workbooks in the order of the report's chapters, others after them."""
    known = list(names)
    order = [name for name in CHAPTER_ORDER if name in known]
    return order + [name for name in known if name not in order]


def import_nbformat() -> Any:
    """The nbformat library, without a check of web addresses that takes seconds to load.

    Where JupyterLab is installed, nbformat's validator builds a grammar of internationalised
    web addresses on import (2.5 s of the 3.5 s that papermill takes to import, measured). No
    notebook field needs it, and the validator does without where it is missing.
    """
    grammar = "rfc3987_syntax"
    hidden = grammar not in sys.modules and "jsonschema" not in sys.modules
    if hidden:
        sys.modules[grammar] = None  # type: ignore[assignment]  # makes its import fail
    try:
        import nbformat
    finally:
        if hidden:
            del sys.modules[grammar]
    return nbformat
