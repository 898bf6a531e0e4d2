"""A line of a list in parts, for cells of their own, and back."""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.sitefile.survey_fields import Field
from solarcalc.sitefile.survey_lines import (
    BOX_PARTS,
    LOAD_DEFAULTS,
    obstacle_line,
    obstacle_table,
)

Cell = float | str | None
"""What a cell of a list holds."""


def cells_of_line(one: Field, line: str) -> list[Cell]:
    """Parts of a line that was read, as cells hold them."""
    if one.kind == "obstacles":
        table = obstacle_table(line)
        return [table[name] for name in BOX_PARTS]
    what, count, hours, board = line.split(", ")
    return [what, int(count), hours, board]


def line_of_cells(one: Field, cells: Sequence[Cell]) -> str:
    """A line from cells; one left empty has its default."""
    if one.kind == "obstacles":
        return obstacle_line([cell or 0.0 if place else cell for place, cell in enumerate(cells)])
    return ", ".join(default if cell is None else f"{cell:g}" if isinstance(cell, float) else cell
                     for cell, default in zip(cells, LOAD_DEFAULTS, strict=True))  # fmt: skip
