"""The firm's price book: rows of item, unit and price in TOML or CSV, read and checked.

Two kinds of rows: ``module`` with a price; ``labour/installer`` with a rate an hour, of which the
programme of works says how many. A row may name the very thing (``cable-copper-16mm2``) or its kind
(``cable-copper``); the very thing goes first.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import nearest
from solarcalc.quote.bill import BillLine
from solarcalc.quote.items import ITEMS
from solarcalc.quote.price_rows import Row, read_rows
from solarcalc.quote.worth import Money

LABOUR, HOURS = "labour/", "hours/"


@dataclass(frozen=True, kw_only=True)
class Price:
    """A price and the unit it is for."""

    unit: str
    price: Money


@dataclass(frozen=True, kw_only=True, eq=False)
class PriceBook:
    """A firm's prices.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    name, currency : str
        As the book says.
    decimals : int
        Of money in this currency.
    invented : bool
        Whether the book says that its prices are invented.
    prices : mapping of str to Price
    rates : mapping of str to float
        Money an hour by trade.
    """

    file: str
    name: str
    currency: str
    decimals: int
    invented: bool
    prices: Mapping[str, Price]
    rates: Mapping[str, Money]


def read_price_book(name: str, folder: Path) -> PriceBook:
    """The price book of a site file.

    Parameters
    ----------
    name : str
        `quote.price_book`: a TOML or CSV file, or the name of a bundled book without ending.
    folder : Path
        Of the site file; a file is looked for from here.

    Raises
    ------
    InputError
        With every fault of the book: no such file, no currency, text where a number should be,
        prices below 0, units an item is not sold in, an item twice, hours of work.
    """
    book = read_rows(name, folder)
    faults: list[Fault] = []
    _doubled(book.rows, book.file, faults)
    prices, rates = {}, {}
    for row in book.rows:
        if row.item.startswith(LABOUR):
            _unit(row, ("h",), book.file, faults)
            rates[row.item.removeprefix(LABOUR)] = row.price
        elif row.item.startswith(HOURS):
            faults.append(_hours(row, book.file))
        else:
            kind = ITEMS.get(row.item)
            if kind is not None:
                _unit(row, _units(row.item), book.file, faults)
            prices[row.item] = Price(unit=row.unit, price=row.price)
    if faults:
        raise InputError(faults)
    return PriceBook(
        file=book.file, name=book.name, currency=book.currency, decimals=book.decimals,
        invented=book.invented, prices=prices, rates=rates,
    )  # fmt: skip


def priced(bill: Sequence[BillLine], book: PriceBook) -> tuple[Money, ...]:
    """Price of one unit of each line of a bill.

    Parameters
    ----------
    bill : sequence of BillLine
    book : PriceBook

    Raises
    ------
    InputError
        With every line that has no price, or one for a unit it is not sold in.
    """
    found, faults = [], []
    for line in bill:
        key = line.key if line.key in book.prices else line.item
        price = book.prices.get(key)
        if price is None:
            faults.append(_missing(line, book))
        elif price.unit not in _units(line.item):
            faults.append(_wrong_unit(f"{book.file}: {key}", price.unit, _units(line.item)))
        else:
            times = 1.0 if price.unit == line.unit else line.size
            found.append(price.price * times)
    if faults:
        raise InputError(faults)
    return tuple(found)


def rate_of(trade: str, book: PriceBook) -> Money:
    """Money an hour of a trade.

    Raises
    ------
    InputError
        When the book has no such trade.
    """
    if trade not in book.rates:
        raise InputError(_no_rate(trade, book.rates, f"{book.file}: labour"))
    return book.rates[trade]


def _units(item: str) -> tuple[str, ...]:
    kind = ITEMS[item]
    return (kind.unit, kind.by) if kind.by else (kind.unit,)


def _unit(row: Row, allowed: Sequence[str], file: str, faults: list[Fault]) -> None:
    if row.unit not in allowed:
        faults.append(_wrong_unit(f"{file}: {row.place}", row.unit, allowed))


def _wrong_unit(where: str, given: str, allowed: Sequence[str]) -> Fault:
    return Fault(
        where=where, given=f"unit {given!r}", allowed=" or ".join(allowed),
        why="a price for another unit would be multiplied by the wrong quantity",
        remedy="give the price for one of these units",
    )  # fmt: skip


def _hours(row: Row, file: str) -> Fault:
    return Fault(
        where=f"{file}: {row.place}", given=row.item, allowed="prices, and labour/TRADE an hour",
        why="hours come from the programme of works, so that days and price agree",
        remedy="take the row out; hours of your own stand in [[programme.tasks]] of the site file",
    )  # fmt: skip


def _doubled(rows: Iterable[Row], file: str, faults: list[Fault]) -> None:
    first: dict[str, str] = {}
    for row in rows:
        if row.item in first:
            faults.append(Fault(
                where=f"{file}: {row.place}", given=f"{row.item} a second time",
                allowed="each item once", why=f"it stands in {first[row.item]} already",
                remedy="take one of the two out",
            ))  # fmt: skip
        first.setdefault(row.item, row.place)


def _missing(line: BillLine, book: PriceBook) -> Fault:
    strange = [key for key in book.prices if key not in ITEMS]
    near = nearest(line.item, strange) or nearest(line.key, strange)
    quantity = math.floor(line.quantity * 10.0) / 10.0
    return Fault(
        where=f"{book.file}: {line.item}", given="no price",
        allowed="a price for " + " or ".join(
            f"{line.item} a {unit}" if unit != "each" else f"{line.item} each"
            for unit in _units(line.item)),
        why=f"the bill asks for {quantity:g} of: {line.name}",
        remedy=f"add a row {line.item!r}, or {line.key!r} for this one alone"
        + (f"; did you mean it by {near!r}?" if near else ""),
    )  # fmt: skip


def _no_rate(trade: str, rates: Mapping[str, Money], where: str) -> Fault:
    near = nearest(trade, rates)
    return Fault(
        where=where, given=f"hours of {trade!r}", allowed="a trade with a rate: "
        + (", ".join(sorted(rates)) or "none in this book"),
        remedy=f"add labour/{trade}" + (f", or did you mean {near!r}?" if near else ""),
    )  # fmt: skip
