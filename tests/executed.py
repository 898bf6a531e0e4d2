"""Workbooks of a design executed in this process, as the batch leaves them: quick, no kernel."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any

import nbformat

from solarcalc import page
from solarcalc.basis.files import workbooks_folder
from solarcalc.design import Design


def executed(design: Design) -> dict[str, Any]:
    """Every workbook with its outputs; panels and exercises are left out as the batch does."""
    return {path.stem: _run(nbformat.read(path, as_version=4), design)
            for path in sorted(workbooks_folder().glob("*.ipynb"))}  # fmt: skip


def _run(notebook: Any, design: Design) -> Any:
    given: dict[str, Any] = {}
    made = copy.deepcopy(notebook)
    made.cells = [cell for cell in made.cells
                  if not {"explore", "exercise"} & set(cell.metadata.get("tags", []))]
    before = page.publish
    try:
        for number, cell in enumerate(made.cells):
            if cell.cell_type == "code":
                shown: list[Any] = []
                page.publish = _kept(shown)
                exec(compile(cell.source, f"cell {number}", "exec"), given)
                given["open_design"] = lambda *_, **__: design
                cell.outputs = shown
    finally:
        page.publish = before
    return made


def _kept(shown: list[Any]) -> Any:
    def publish(data: Mapping[str, object], metadata: Mapping[str, object] | None = None) -> None:
        shown.append(nbformat.v4.new_output(
            "display_data", data=dict(data), metadata=dict(metadata or {})))  # fmt: skip

    return publish
