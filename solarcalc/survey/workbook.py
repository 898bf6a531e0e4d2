"""The survey as a spreadsheet: both forms, with drop-down lists, units and help beside cells."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.survey import default_words
from solarcalc.sitefile.survey_fields import Field, Value, fields
from solarcalc.survey.layout import (
    BLANK_SITES,
    FIRST_SITE_ROW,
    HEADS,
    LISTS,
    ROWS,
    SHEET,
    VALUE_COLUMN,
    parts_of,
    sheet_name,
)
from solarcalc.survey.lines import cells_of_line

if TYPE_CHECKING:
    from openpyxl import Workbook  # type: ignore[import-untyped]  # has no types

Sheet = Any
"""A worksheet; the library has no types."""
Values = Mapping[str, Value]
_INLINE = 200
"""Letters of a drop-down list that a cell may hold itself; longer ones stand in a sheet."""
_TEXT, _NUMBER = "survey text", "survey number"
"""Looks of cells to fill in; text, so that a spreadsheet makes no date of 6-8."""
_MORE_THAN_LISTED = ("time_zone",)
"""Fields whose drop-down list helps and does not bind: a zone may be UTC+05:45."""
_LINE_HEAD = "E8EEF4"
_FILL = "FFF9E5"
_WIDTHS = (18, 44, 34, 14, 16, 14, 12, 12)
_LONGEST_PROMPT = 250
SHEET_WORDS = "One site. Fill in column C; what stays empty takes the default named under Help."
ROWS_WORDS = "One row a site. Several appliances or obstacles: a semicolon between them."


def survey_xlsx(sites: Sequence[Values], *, rows: bool = False) -> bytes:
    """A spreadsheet to fill in, with what is known of some sites.

    Parameters
    ----------
    sites : sequence of mappings
        Answers of each, by key; none for a blank one.
    rows : bool
        Whether they stand a row each, rather than a sheet each.
    """
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    _add_styles(book)
    refs = _lists(book)
    taken = {LISTS.casefold(), ROWS.casefold()}
    for values in ([] if rows else sites) or [{}]:
        name = sheet_name(str(values.get("name", SHEET)), taken)
        taken.add(name.casefold())
        _one_site(book.create_sheet(name), values, refs)
    _many_sites(book.create_sheet(ROWS), sites if rows else [], refs)
    book.move_sheet(LISTS, offset=len(book.sheetnames))
    book.active = len(book.sheetnames) - 2 if rows and sites else 0
    raw = io.BytesIO()
    book.save(raw)
    return raw.getvalue()


def _lists(book: Workbook) -> dict[str, str]:
    """The long drop-down lists in a sheet of their own; key to the cells it stands in."""
    sheet = book.create_sheet(LISTS)
    sheet.sheet_state = "hidden"
    refs = {}
    longer = [one for one in fields() if len(",".join(one.choices)) > _INLINE or one.is_list]
    for number, one in enumerate((one for one in longer if one.choices), start=1):
        letter = sheet.cell(1, number, one.key).column_letter
        for row, choice in enumerate(one.choices, start=2):
            _put(sheet, row, number, choice)
        refs[one.key] = f"{LISTS}!${letter}$2:${letter}${len(one.choices) + 1}"
    return refs


def _put(sheet: Sheet, row: int, column: int, value: object) -> Sheet:
    """A value in a cell; text stays text, whatever it begins with."""
    cell = sheet.cell(row, column)
    cell.value = value
    if isinstance(value, str):
        cell.data_type = "s"
    return cell


def _one_site(sheet: Sheet, values: Values, refs: Mapping[str, str]) -> None:
    _put(sheet, 1, 2, SHEET_WORDS)
    for column, head in enumerate(HEADS, start=1):
        _bold(_put(sheet, 2, column, head))
    sheet.freeze_panes = "A3"
    row = 3
    for group, members in groupby(fields(), key=lambda one: one.group):
        _bold(_put(sheet, row, 2, group), _LINE_HEAD)
        row += 1
        for one in members:
            if one.is_list:
                row = _list_rows(sheet, row, one, values.get(one.key, ()), refs)
                continue
            _put(sheet, row, 1, one.key)
            _put(sheet, row, 2, one.label)
            _fillable(_put(sheet, row, VALUE_COLUMN, values.get(one.key)), one)
            _put(sheet, row, 4, one.unit)
            _put(sheet, row, 5, help_words(one))
            _validate(sheet, one, f"C{row}", refs)
            row += 1
    _look(sheet, _WIDTHS)


def _list_rows(
    sheet: Sheet, row: int, one: Field, lines: Value, refs: Mapping[str, str]
) -> int:
    """Rows of a list with their parts in columns; gives the row below them."""
    parts = parts_of(one)
    _bold(_put(sheet, row, 2, one.label))
    for place, head in enumerate(parts.heads):
        _bold(_put(sheet, row, VALUE_COLUMN + place, head))
    _put(sheet, row, VALUE_COLUMN + len(parts.heads), help_words(one))
    filled = [cells_of_line(one, line) for line in (lines if isinstance(lines, tuple) else ())]
    first = row + 1
    for number in range(max(parts.blank, len(filled) + 2)):
        row += 1
        _put(sheet, row, 1, one.key)
        _put(sheet, row, 2, f"{one.label} {number + 1}")
        cells = filled[number] if number < len(filled) else [None] * len(parts.names)
        for place, value in enumerate(cells):
            cell = _put(sheet, row, VALUE_COLUMN + place, value)
            cell.style = _NUMBER if place in parts.numbers else _TEXT
    for place in range(len(parts.names)):
        letter = sheet.cell(row, VALUE_COLUMN + place).column_letter
        _validate_part(sheet, one, place, f"{letter}{first}:{letter}{row}", refs)
    return row + 1


def _many_sites(sheet: Sheet, sites: Sequence[Values], refs: Mapping[str, str]) -> None:
    last = FIRST_SITE_ROW + max(BLANK_SITES, len(sites) + 5) - 1
    for column, one in enumerate(fields(), start=1):
        _put(sheet, 1, column, one.key)
        _bold(_put(sheet, 2, column, one.titled), _LINE_HEAD)
        words = help_words(one)
        _put(sheet, 3, column, f"{ROWS_WORDS} {words}" if column == 1 else words)
        for place in range(last - FIRST_SITE_ROW + 1):
            value = sites[place].get(one.key) if place < len(sites) else None
            told = "; ".join(value) if isinstance(value, tuple) else value
            _fillable(_put(sheet, FIRST_SITE_ROW + place, column, told), one)
        letter = sheet.cell(1, column).column_letter
        if not one.is_list:
            _validate(sheet, one, f"{letter}{FIRST_SITE_ROW}:{letter}{last}", refs)
    sheet.freeze_panes = "B4"
    _look(sheet, [26] * len(fields()))


def help_words(one: Field) -> str:
    """What stands beside a cell: what is allowed, how to find it, what is taken without it."""
    empty = default_words(one)
    words = (one.help, "" if one.kind in ("text", "choice") else one.allowed,
             f"empty: {empty}" if empty else "")  # fmt: skip
    return "; ".join(word for word in words if word)


def _validate(sheet: Sheet, one: Field, cells: str, refs: Mapping[str, str]) -> None:
    if one.kind == "number":
        _add_rule(sheet, cells, one, type="decimal", operator="between",
                  formula1=f"{one.low:g}", formula2=f"{one.high:g}")  # fmt: skip
    elif one.choices:
        inline = '"' + ",".join(one.choices) + '"'
        _add_rule(sheet, cells, one, type="list", formula1=refs.get(one.key, inline),
                  strict=one.key not in _MORE_THAN_LISTED)  # fmt: skip


def _validate_part(
    sheet: Sheet, one: Field, place: int, cells: str, refs: Mapping[str, str]
) -> None:
    parts = parts_of(one)
    if place in parts.numbers:
        low, high = parts.numbers[place]
        whole = one.kind == "loads"
        _add_rule(sheet, cells, one, type="whole" if whole else "decimal", operator="between",
                  formula1=f"{low:g}", formula2=f"{high:g}",
                  allowed=f"{low:g} to {high:g}")  # fmt: skip
    elif parts.names[place] == "what":
        _add_rule(sheet, cells, one, type="list", formula1=refs[one.key], strict=False)
    elif parts.names[place] == "board":
        _add_rule(sheet, cells, one, type="list", formula1=f'"{",".join(BOARDS)}"')


def _add_rule(
    sheet: Sheet, cells: str, one: Field, *, allowed: str = "", strict: bool = True, **rule: str
) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation  # type: ignore[import-untyped]

    told = allowed or one.allowed
    checked = DataValidation(allow_blank=True, showErrorMessage=strict, showInputMessage=True,
                             errorTitle="Not allowed", error=told[:_LONGEST_PROMPT],
                             promptTitle=one.label[:32], prompt=told[:_LONGEST_PROMPT], **rule)
    checked.add(cells)
    sheet.add_data_validation(checked)


def _add_styles(book: Workbook) -> None:
    """Looks of the cells to fill in, once for the whole book."""
    from openpyxl.styles import (  # type: ignore[import-untyped]
        Alignment,
        Border,
        NamedStyle,
        PatternFill,
        Side,
    )

    thin = Side(style="thin", color="B4AFA4")
    for name, shown_as in ((_TEXT, "@"), (_NUMBER, "General")):
        style = NamedStyle(name=name, number_format=shown_as)
        style.border = Border(left=thin, right=thin, top=thin, bottom=thin)
        style.fill = PatternFill("solid", start_color=_FILL)
        style.alignment = Alignment(wrap_text=True, vertical="top", horizontal="left")
        book.add_named_style(style)


def _fillable(cell: Any, one: Field) -> None:
    cell.style = _NUMBER if one.kind == "number" else _TEXT


def _bold(cell: Any, fill: str = "") -> None:
    from openpyxl.styles import Font, PatternFill

    cell.font = Font(bold=True)
    if fill:
        cell.fill = PatternFill("solid", start_color=fill)


def _look(sheet: Sheet, widths: Sequence[int]) -> None:
    for column, width in enumerate(widths, start=1):
        sheet.column_dimensions[sheet.cell(1, column).column_letter].width = width
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
