"""A spreadsheet that somebody filled in, opened with care, and its cells one by one."""

from __future__ import annotations

import io
import math
import re
import warnings
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.filled_csv import shown
from solarcalc.basis.packed import packed_fault
from solarcalc.basis.reading import UnreadableError, file_bytes
from solarcalc.basis.worded import worded
from solarcalc.survey.layout import MOST_COLUMNS, MOST_ROWS

LARGEST_BYTES = 5_000_000
_OLD = b"\xd0\xcf\x11\xe0"
"""How a workbook of the older binary format begins, and one locked with a password."""
_TOLD = "a survey filled in as .xlsx"


def open_book(path: Path) -> Any:
    """The workbook of a file, with formulas as they were written.

    Raises
    ------
    InputError
        For a file that is missing, too large packed or unpacked, or no workbook.
    """
    where = path.name or str(path)
    try:
        content = file_bytes(path, LARGEST_BYTES)
    except UnreadableError as error:
        if error.kind == "large":
            raise _refused(where, "more than 5 MB", allowed=f"{_TOLD}, at most 5 MB") from None
        if error.kind == "folder":
            raise _refused(where, error.given) from None
        raise _refused(where, str(path), error.given) from None
    if content.startswith(_OLD):
        raise InputError(Fault(**worded("survey", "old-workbook"), where=where))
    if fault := packed_fault(io.BytesIO(content)):
        raise _refused(where, fault)
    from openpyxl import load_workbook  # type: ignore[import-untyped]  # has no types

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return load_workbook(io.BytesIO(content))
    except Exception as error:
        raise _refused(where, f"no workbook: {type(error).__name__}") from None


def _refused(where: str, given: str, why: str = "", *, allowed: str = _TOLD) -> InputError:
    return InputError(Fault(where=where, given=given, allowed=allowed, why=why,
                            remedy="solarcalc survey --xlsx FILE writes a blank one"))


def hold_shape(sheet: Any, where: str) -> None:
    """Refuse a sheet of a survey with far too many cells, or with cells that are merged.

    Raises
    ------
    InputError
    """
    if sheet.max_row > MOST_ROWS or sheet.max_column > MOST_COLUMNS:
        raise InputError(Fault(
            where=f"{where}: {sheet.title}", given=f"{sheet.max_row} rows, {sheet.max_column}"
            " columns", allowed=f"at most {MOST_ROWS} rows and {MOST_COLUMNS} columns",
            remedy="delete the empty rows and columns, or copy the cells into a new sheet",
        ))  # fmt: skip
    faults = [
        Fault(**worded("survey", "merged-cells"), where=f"{where}: {sheet.title}!{merged.coord}")
        for merged in sheet.merged_cells.ranges
    ]
    if faults:
        raise InputError(faults)


_NOT_SHOWN = re.compile(r"\[[^\]]*\]|[_*].")
"""Of a number format: colours and places of a language, and what only takes room (ECMA-376 part 1,
18.8.31; from memory)."""
_WORDS = re.compile(r'"([^"]*)"|\\(.)|([%\'’′″])')


def words_shown(number_format: str) -> str:
    """What a cell shows beside its number: a unit that somebody put into its format.

    Examples
    --------
    >>> words_shown('0.0" ft"'), words_shown("0'"), words_shown("# ##0.00"), words_shown("0%")
    ('ft', "'", '', '%')
    """
    first = _NOT_SHOWN.sub("", number_format).split(";")[0]
    return "".join("".join(found) for found in _WORDS.findall(first)).strip()


def value_of(cell: Any, where: str, unit: str = "") -> object:
    """What a cell holds; None where it is empty.

    A number that is shown with words other than the unit is the text that is shown: in a cell that
    shows ``11'`` the number is 11, and no metres.

    Raises
    ------
    InputError
        For a formula, and for the error of one.
    """
    if cell.data_type == "f":
        formula = getattr(cell.value, "text", cell.value)
        raise InputError(Fault(**worded("survey", "formula", formula=shown(str(formula))),
                               where=where))  # fmt: skip
    if cell.data_type == "e":
        raise InputError(Fault(**worded("survey", "formula", formula=str(cell.value)),
                               where=where))  # fmt: skip
    value = cell.value
    if isinstance(value, str) and not value.strip():
        return None
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, int | float) and not isinstance(value, bool):
        words = words_shown(cell.number_format or "")
        if words not in ("", unit):
            return f"{100.0 * value:g}%" if words == "%" else \
                f"{value:g}{' ' * words[0].isalpha()}{words}"
    return value


def is_hidden(cell: Any) -> bool:
    """Whether a cell is on no screen: its row, its column or its sheet is hidden."""
    sheet = cell.parent
    return bool(
        sheet.sheet_state != "visible" or sheet.row_dimensions[cell.row].hidden
        or any(one.hidden and one.min <= cell.column <= one.max
               for one in sheet.column_dimensions.values() if one.min and one.max)
    )  # fmt: skip


def is_filled(cell: Any) -> bool:
    """Whether there is anything in a cell."""
    return cell.value is not None and str(cell.value).strip() != ""


def place_of(cell: Any, file: str) -> str:
    """File, sheet and cell: ``"survey.xlsx: Survey!C7"``."""
    return f"{file}: {cell.parent.title}!{cell.coordinate}"
