"""Published tables, one CSV file each under ``data/tables``, with its source in its first lines.

A file begins with lines ``# heading: value``, one of each and in this order:

title    what the table gives
source   the work; ``common practice, no source`` where there is none
edition  its year, ``-`` where none is known
clause   table or clause in it, ``-`` where the work has none
range    where the figures hold
between  how a value between two rows is read
keys     the columns that tell the rows apart, parted by spaces; numbers in the last one rise
seen     ``read`` (the work itself), ``quoted`` (in another work) or ``from memory``
note     where it was quoted, or what else is to be known, ``-`` for nothing
unit     of the figures

Then a line with the names of the columns, and rows. Nothing is worked out here.
``tests/test_published_tables.py`` holds every figure.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.files import csv_lines, data_folder

_HEADINGS = (
    "title", "source", "edition", "clause", "range", "between", "keys", "seen", "note", "unit",
)  # fmt: skip
_SEEN = ("read", "quoted", "from memory")
_BETWEEN = ("step up", "step down", "straight line", "no reading between")
_NOTHING = "-"


@dataclass(frozen=True, kw_only=True)
class Published:
    """One published table.

    Parameters
    ----------
    name : str
        File name without its ending.
    headings : dict
        What the first lines of the file say.
    heads : tuple of str
        Names of the columns.
    rows : tuple of dict
        One mapping of column to text a row, in the order of the file.
    """

    name: str
    headings: dict[str, str]
    heads: tuple[str, ...]
    rows: tuple[dict[str, str], ...]

    def numbers(self, head: str) -> tuple[float | None, ...]:
        """A column as numbers; None where the table has no figure.

        In the unit of the table, one for each row.
        """
        return tuple(float(row[head]) if row[head] else None for row in self.rows)

    @property
    def source(self) -> str:
        """Work, edition and clause in one line."""
        said = self.headings
        edition = f":{said['edition']}" if said["edition"] != _NOTHING else ""
        clause = f" {said['clause']}" if said["clause"] != _NOTHING else ""
        return said["source"] + edition + clause

    @property
    def clause(self) -> str:
        """Source and how it was seen, as a check prints it."""
        seen, note = self.headings["seen"], self.headings["note"]
        if seen == "read":
            return self.source
        return f"{self.source}, {seen if note == _NOTHING else note}"


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
        When a heading is missing, twice, empty or not one of its words, or a row has not one cell
        a column.
    """
    path = data_folder() / "tables" / f"{name}.csv"
    lines = csv_lines(path)
    heads, *cells = csv.reader(line for line in lines if line.strip() and line[0] != "#")
    if any(len(row) != len(heads) for row in cells):
        raise ValueError(f"{path.name}: a row has not {len(heads)} cells")
    return Published(
        name=name,
        headings=_headings(path.name, [line[2:] for line in lines if line.startswith("# ")]),
        heads=tuple(heads), rows=tuple(dict(zip(heads, row, strict=True)) for row in cells),
    )


def _headings(file: str, notes: list[str]) -> dict[str, str]:
    pairs = [note.partition(": ")[::2] for note in notes]
    if [name for name, _ in pairs] != list(_HEADINGS) or not all(said for _, said in pairs):
        raise ValueError(f"{file}: begins with one line each of {', '.join(_HEADINGS)}")
    said = dict(pairs)
    if said["seen"] not in _SEEN:
        raise ValueError(f"{file}: seen is one of {', '.join(_SEEN)}")
    if said["between"].split(":")[0] not in _BETWEEN:
        raise ValueError(f"{file}: between begins with one of {', '.join(_BETWEEN)}")
    return said
