"""Lists written blank as CSV, filled in by people with a spreadsheet, and read back."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.reading import UnreadableError, file_bytes, quoted_rows, text_of

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

    Lines that begin with # are words, and empty ones nothing.

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
        return [(number, [cell.strip() for cell in cells])
                for number, cells in quoted_rows(text, mark)
                if any(cell.strip() for cell in cells) and not cells[0].startswith("#")], mark
    except UnreadableError as error:
        place = f"{path.name}: line {error.line}" if error.line else path.name
        raise InputError(Fault(where=place, given=f"no CSV: {error.given}",
                               allowed=f"{a_line}, quotes in pairs")) from None


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


def shown(text: str) -> str:
    """A cell as a message shows it: no control signs, and cut where it is long."""
    text = text if text.isprintable() else repr(text)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."
