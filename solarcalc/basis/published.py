"""Published tables, one CSV file each under ``data/tables``, with its source in its first lines.

A file begins with lines ``# key: value``: ``title``, ``source`` (work, table, edition), ``seen``
(how the figures were seen: opened, read in a list of published values, from memory) and ``unit``.
Then a header line and rows. Nothing is worked out here.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.paths import data_folder

_HEADINGS = ("title", "source", "seen", "unit")


@dataclass(frozen=True, kw_only=True)
class Published:
    """One published table.

    Parameters
    ----------
    name : str
        File name without its ending.
    title, source, seen, unit : str
        What it is, work and table, how it was seen, unit of its figures.
    heads : tuple of str
        Names of the columns.
    rows : tuple of dict
        One mapping of column to text a row, in the order of the file.
    """

    name: str
    title: str
    source: str
    seen: str
    unit: str
    heads: tuple[str, ...]
    rows: tuple[dict[str, str], ...]

    def numbers(self, head: str) -> tuple[float | None, ...]:
        """A column as numbers; None where the table has no figure."""
        return tuple(float(row[head]) if row[head] else None for row in self.rows)

    @property
    def clause(self) -> str:
        """Source and how it was seen, as a check prints it."""
        return self.source if self.seen == "opened" else f"{self.source}, {self.seen}"


@cache
def published(name: str) -> Published:
    """The table of that name.

    Parameters
    ----------
    name : str
        File name in ``data/tables`` without ``.csv``.

    Raises
    ------
    ValueError
        When a heading is missing, twice or empty, or a row has not one cell a column.
    """
    path = data_folder() / "tables" / f"{name}.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    notes = [line.removeprefix("# ") for line in lines if line.startswith("#")]
    said = dict(note.split(": ", 1) for note in notes)
    if sorted(said) != sorted(_HEADINGS) or len(notes) != len(said):
        raise ValueError(f"{path.name}: begins with one line each of {', '.join(_HEADINGS)}")
    heads, *cells = csv.reader(line for line in lines if line.strip() and line[0] != "#")
    if any(len(row) != len(heads) for row in cells):
        raise ValueError(f"{path.name}: a row has not {len(heads)} cells")
    return Published(
        name=name, heads=tuple(heads),
        rows=tuple(dict(zip(heads, row, strict=True)) for row in cells), **said,
    )  # fmt: skip
