"""The prices that a firm's list lacks, as a list to fill in: the reader takes it as it is."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.packed import same_every_time
from solarcalc.basis.text import guard_cell
from solarcalc.quote.bill import unit_words
from solarcalc.quote.export import write_bytes
from solarcalc.quote.offer import Offer
from solarcalc.quote.price_file import COLUMNS
from solarcalc.quote.prices import LABOUR, PriceList
from solarcalc.sitefile.bill_items import kind_of

HEADS = (*COLUMNS, "date", "note")
ENDINGS = (".csv", ".xlsx")
_WIDTHS = (30, 10, 12, 12, 70)


def rows_to_fill(priced: Sequence[tuple[Offer, PriceList]]) -> list[tuple[str, str, str]]:
    """Item, unit and a note of each price of some offers that is invented, the dearest first.

    Parameters
    ----------
    priced : sequence of Offer and PriceList
        One or more sites; what several of them use stands once.
    """
    worth, found = dict[str, float](), dict[str, tuple[str, str, str]]()
    for offer, prices in priced:
        for row in offer.invented_rows:
            price = prices.priced_by(row)
            worth[row] = max(worth.get(row, 0.0), offer.share_frac([row]))
            unit = unit_words(price.unit) or "each"
            found[row] = row, price.unit, (
                f"{_name_of(row)}; invented so far: {price.price:g} {offer.currency} / {unit}")
    return [found[row] for row in sorted(found, key=lambda row: -worth[row])]


def _name_of(row: str) -> str:
    if row.startswith(LABOUR):
        return f"Labour, {row.removeprefix(LABOUR)}"
    kind = kind_of(row)
    return kind.name if kind else row


def write_to_fill(path: Path, priced: Sequence[tuple[Offer, PriceList]]) -> int:
    """Write the list to fill in, CSV or xlsx by the ending of its name; how many rows it has.

    Parameters
    ----------
    path : Path
    priced : sequence of Offer and PriceList

    Raises
    ------
    InputError
        For another ending, a file that is there already, no offer or offers in several
        currencies, or a folder that cannot be written to.
    """
    currencies = sorted({offer.currency for offer, _ in priced})
    if path.suffix.lower() not in ENDINGS:
        raise InputError(Fault(where="--prices-to-fill", given=path.name,
                               allowed="a name that ends in " + " or ".join(ENDINGS)))
    if path.exists():
        raise InputError(Fault(where="--prices-to-fill", given=f"{path}, which exists already",
                               allowed="a new file", remedy="enter another name"))  # fmt: skip
    if len(currencies) != 1:
        raise InputError(Fault(where="--prices-to-fill", given=", ".join(currencies) or "no offer",
                               allowed="sites with prices in one currency",
                               remedy="one call for each currency"))  # fmt: skip
    rows = rows_to_fill(priced)
    heading = [f"# currency: {currency}" for currency in currencies]
    heading += [f"# decimals: {offer.decimals}" for offer, _ in priced[:1]]
    lines = [*([one] for one in heading), list(HEADS),
             *([item, unit, "", "", guard_cell(note)] for item, unit, note in rows)]  # fmt: skip
    write_bytes(path, _csv(lines) if path.suffix.lower() == ".csv" else _xlsx(lines))
    return len(rows)


def _csv(lines: Sequence[Sequence[str]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(lines)
    return text.getvalue().encode("utf-8-sig")


def _xlsx(lines: Sequence[Sequence[str]]) -> bytes:
    from openpyxl import Workbook  # type: ignore[import-untyped]  # has no types
    from openpyxl.utils import get_column_letter  # type: ignore[import-untyped]  # has no types

    book = Workbook()
    for line in lines:
        book.active.append([cell or None for cell in line])
    for place, width in enumerate(_WIDTHS, start=1):
        book.active.column_dimensions[get_column_letter(place)].width = width
    raw = io.BytesIO()
    book.save(raw)
    return same_every_time(raw.getvalue())
