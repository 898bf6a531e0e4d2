"""A quote as files: CSV tables and one workbook for spreadsheets, the same bytes every time.

Each function gives bytes; `write_bytes` puts them in place whole. Text never becomes a formula,
and numbers stay numbers.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import write_whole
from solarcalc.basis.messages import PATTERN
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.basis.packed import same_every_time
from solarcalc.basis.phrases import listed, phrase
from solarcalc.basis.text import guard_cell
from solarcalc.quote.answer import (
    QUOTE_NOTES,
    bill_rows,
    cash_rows,
    cost_rows,
    invented_words,
    labour_rows,
    quote_rows,
)
from solarcalc.quote.economics import Economics
from solarcalc.quote.offer import Offer

if TYPE_CHECKING:
    from openpyxl import Workbook  # type: ignore[import-untyped]  # has no types

Rows = Sequence[Mapping[str, object]]
_WIDEST = 60
EXAMPLE = "EXAMPLE PRICES, NOT AN OFFER"
"""First line of every table while a price that is used is invented."""


def table_csv(rows: Rows) -> bytes:
    """A table as CSV with a byte order mark, without which spreadsheets misread accents.

    Parameters
    ----------
    rows : sequence of mappings
        All with the same keys.

    Raises
    ------
    InputError
        For no rows, rows of unlike columns, or a number without end.
    """
    heads = _heads(rows)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([guard_cell(head) for head in heads])
    for row in rows:
        writer.writerow([_cell(row[head]) for head in heads])
    return text.getvalue().encode("utf-8-sig")


def quote_files(
    offer: Offer, economics: Economics | NoAnswer, *, for_customer: bool = False,
    headline: str = "", language: str = PATTERN,
) -> dict[str, bytes]:
    """Every table of a quote as CSV, and all of them in one workbook, by file name.

    Parameters
    ----------
    offer : Offer
    economics : Economics or NoAnswer
        Without one there is no cash flow.
    for_customer : bool
        Leaves out what shows the firm's costs and margin: bill with prices and labour.
    headline : str
        The energies of the year, in a table of their own.
    language : str
        Of heads and texts; names of files stay.
    """
    sheets = _sheets(offer, economics, for_customer=for_customer, headline=headline)
    files = {f"{name.replace(' ', '-')}.csv": table_csv(_said(rows, language))
             for name, rows in sheets.items()}  # fmt: skip
    files["quote.xlsx"] = quote_xlsx(offer, economics, for_customer=for_customer,
                                     headline=headline, language=language)  # fmt: skip
    return files


def quote_xlsx(
    offer: Offer, economics: Economics | NoAnswer, *, for_customer: bool = False,
    headline: str = "", language: str = PATTERN,
) -> bytes:
    """Bill, labour, quote and cash flow as a workbook for spreadsheets.

    Parameters
    ----------
    offer : Offer
    economics : Economics or NoAnswer
    for_customer : bool
    headline, language : str
        As in `quote_files`.
    """
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    sheets = _sheets(offer, economics, for_customer=for_customer, headline=headline)
    notes = [*QUOTE_NOTES, *([invented_words(offer)] if offer.invented else [])]
    sheets["notes"] = [{"note": note} for note in notes]
    for name, rows in sheets.items():
        _fill(book, phrase(name, language), _said(rows, language))
    raw = io.BytesIO()
    book.save(raw)
    return same_every_time(raw.getvalue())


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file so that a reader sees the old one or the new one, never a part.

    Parameters
    ----------
    path : Path
        In a folder that exists.
    content : bytes

    Raises
    ------
    InputError
        When it cannot be written there.
    """
    try:
        write_whole(path, content)
    except OSError as error:
        raise InputError(Fault(
            where=str(path), given=error.strerror or str(error),
            allowed="a file in a folder that exists and may be written to",
        )) from error  # fmt: skip


def _sheets(
    offer: Offer, economics: Economics | NoAnswer, *, for_customer: bool, headline: str
) -> dict[str, Rows]:
    bill: Rows = bill_rows(offer)
    if for_customer:
        shown = ("group", "item", "quantity", "unit")
        bill = [{head: row[head] for head in shown} for row in bill]
    sheets: dict[str, Rows] = {"bill": bill}
    if not for_customer:
        sheets["labour"] = labour_rows(offer)
    sheets["quote"] = quote_rows(offer)
    if headline:
        sheets["energy"] = [{"energy in a typical year": headline}]
    if not for_customer:
        sheets["cost and margin"] = cost_rows(offer)
    if not isinstance(economics, NoAnswer):
        sheets["cash flow"] = cash_rows(economics, offer)
    marked = [EXAMPLE] if offer.invented else []
    return {
        name: [*(dict(zip_longest(rows[0], marked, fillvalue="")) for _ in marked), *rows]
        for name, rows in sheets.items() if rows
    }  # fmt: skip


def _said(rows: Rows, language: str) -> Rows:
    """A table in a language; a head keeps its unit, which may be a currency."""
    def head_of(head: str) -> str:
        name, bracket, unit = head.partition(" [")
        return f"{listed(name, language)}{bracket}{unit}"

    return rows if language == PATTERN else [
        {head_of(head): listed(value, language) if isinstance(value, str) else value
         for head, value in row.items()} for row in rows]  # fmt: skip


def _fill(book: Workbook, name: str, rows: Rows) -> None:
    from openpyxl.styles import Font  # type: ignore[import-untyped]  # has no types
    from openpyxl.utils import get_column_letter  # type: ignore[import-untyped]  # has no types

    sheet = book.create_sheet(name)
    heads = _heads(rows)
    sheet.append([guard_cell(head) for head in heads])
    for row in rows:
        sheet.append([_cell(row[head]) for head in heads])
    for cell in sheet[1]:
        cell.font = Font(bold=True)
    for place, head in enumerate(heads, start=1):
        widest = max(len(str(row[head])) for row in [*rows, {head: head}])
        sheet.column_dimensions[get_column_letter(place)].width = min(widest + 2, _WIDEST)
    sheet.freeze_panes = "A2"


def _heads(rows: Rows) -> list[str]:
    heads = list(rows[0]) if rows else []
    if not heads or any(list(row) != heads for row in rows):
        raise InputError(Fault(where="table to write", given=f"{len(rows)} rows",
                               allowed="one or more rows, all with the same columns"))
    return heads


def _cell(value: object) -> Any:
    """A number as a number, whole where it is whole; anything else as guarded text, or none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return guard_cell(str(value)) or None
    if not math.isfinite(value):
        raise InputError(Fault(where="table to write", given=str(value),
                               allowed="numbers that have an end"))
    return int(value) if float(value).is_integer() else float(value)
