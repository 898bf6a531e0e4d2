"""Lists written blank as CSV, filled in by people with a spreadsheet, and read back."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TypeVar

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.reading import UnreadableError, file_bytes, quoted_rows, text_of
from solarcalc.basis.text import bare, nearest

Rows = TypeVar("Rows")
LARGEST_BYTES = 5_000_000
_SHOWN = 60
_COMMENT = ' "'
"""What may stand before the # of a line of words: spreadsheets put such a line in quotes."""


def blank_list(
    columns: Sequence[str], rows: Iterable[Sequence[str]], *, head: Sequence[str] = ()
) -> str:
    """A list to be filled in, as text of a CSV file.

    Parameters
    ----------
    columns : sequence of str
    rows : iterable of sequences of str
        What a person wrote goes through `guard_cell` first.
    head : sequence of str
        Words above it, one line each.
    """
    text = io.StringIO()
    for words in head:
        text.write("# " + " ".join(words.split()).replace('"', "'") + "\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue()


def filled_rows(
    path: Path, *, where: str, a_line: str
) -> tuple[list[tuple[int, list[str]]], str]:
    """Rows of a filled-in list with the numbers of their lines, the row of its columns first.

    Beside them what parts their cells, by which `basis.typed.pointed` knows a decimal comma.

    Lines that begin with # are words, and empty ones nothing. Empty cells at the end of a row are
    nothing either: spreadsheets add them to some rows and leave them out of others. A row is thus
    as long as that of the columns, and longer only where something stands behind the last.

    Parameters
    ----------
    path : Path
        CSV file with commas, or with semicolons as some spreadsheets write them.
    where : str
        Key of the site file that names it.
    a_line : str
        What one line of it is about, such as ``"a line a test"``.

    Raises
    ------
    InputError
        For a file that cannot be read, is larger than 5 MB, no UTF-8 text or no CSV, or has tabs.
    """
    text = _text(path, where, a_line)
    first = next((line for line in text.splitlines()
                  if line.strip() and line.lstrip(_COMMENT)[:1] != "#"), "")  # fmt: skip
    mark = ";" if first.count(";") > first.count(",") else ","
    if "\t" in first and mark not in first:
        raise InputError(Fault(where=path.name, given="columns separated by tabs",
                               allowed="columns separated by commas or semicolons"))
    try:
        rows = [(number, _filled([cell.strip() for cell in cells]))
                for number, cells in quoted_rows(text, mark)
                if any(cell.strip() for cell in cells) and not cells[0].startswith("#")]
        wide = len(rows[0][1]) if rows else 0
        return [(number, [*cells, *[""] * (wide - len(cells))]) for number, cells in rows], mark
    except UnreadableError as error:
        place = f"{path.name}: line {error.line}" if error.line else path.name
        raise InputError(Fault(where=place, given=f"no CSV: {error.given}",
                               allowed=f"{a_line}, quotes in pairs")) from None


def _filled(cells: list[str]) -> list[str]:
    """Cells up to the last that is not empty."""
    return cells[: max(place for place, cell in enumerate(cells, start=1) if cell)]


def _text(path: Path, where: str, a_line: str) -> str:
    try:
        content = file_bytes(path, LARGEST_BYTES)
    except UnreadableError as error:
        if error.kind == "large":
            raise InputError(Fault(where=path.name, given="more than 5 MB",
                                   allowed=f"one list, {a_line}")) from None
        raise InputError(Fault(
            where=where, given=str(path), why=error.given,
            allowed="a CSV file that can be read, from the site file's folder")) from None
    try:
        return text_of(content)
    except UnreadableError as error:
        raise InputError(Fault(
            where=path.name, given=error.given, allowed="a CSV file in UTF-8",
            remedy="save it from the spreadsheet as CSV, UTF-8; not as a workbook",
        )) from None  # fmt: skip


def head_faults(
    where: str, heads: Sequence[str], *, asked: Sequence[str], known: Sequence[str]
) -> list[Fault]:
    """What is wrong with the row of columns of a filled-in list.

    A name that is like none of the list's may be of another file and is not shown.

    Parameters
    ----------
    where : str
        File and line.
    heads : sequence of str
        In small letters.
    asked, known : sequence of str
        Columns that a list must have, and those that it may have.
    """
    faults = [Fault(where=where, given=f"no column {name}", allowed="columns " + ", ".join(asked),
                    remedy="the columns keep their names in every language")
              for name in asked if name not in heads]  # fmt: skip
    for place, head in enumerate(heads):
        if head not in known:
            close = nearest(bare(head), known)
            named = (shown(head) if close else "of another name") if head else "without a name"
            faults.append(Fault(
                where=where, given=f"column {place + 1}, {named}", allowed=", ".join(known),
                remedy=f"did you mean {close}?" if close else
                "name it as the blank list does, or delete it"))
        elif head in heads[:place]:
            faults.append(Fault(where=where, given=f"column {head} twice",
                                allowed="each column once"))
    return faults


def sound(read: tuple[Rows, Sequence[Fault]]) -> Rows:
    """The rows that were read, where none of the file has a fault.

    Raises
    ------
    InputError
        With every fault.
    """
    rows, faults = read
    if faults:
        raise InputError(faults)
    return rows


def shown(text: str) -> str:
    """A cell as a message shows it: no control signs, and cut where it is long."""
    text = text if text.isprintable() else repr(text)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."
