"""The firm's price list: what each row is worth in its currency, checked and made whole.

What a firm's list lacks takes the invented price, and is told. Two kinds of rows: ``module`` with
a price; ``labour/installer`` with a rate an hour, of which the programme of works says how many. A
row may name the very thing (``cable-copper-16mm2``) or its kind (``cable-copper``); the very thing
goes first.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import cached_property, lru_cache
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import nearest, safe_file_name
from solarcalc.basis.worded import worded
from solarcalc.quote.bill import BillLine
from solarcalc.quote.economics import Money
from solarcalc.quote.price_file import Exchange, RawList, Row, list_path, read_rows
from solarcalc.sitefile.bill_items import ITEMS, kind_of
from solarcalc.sitefile.equipment import bundled_equipment

INVENTED_LIST = "invented"
"""The bundled list, whose prices stand in for those that a firm's list lacks."""
LISTS_OF_BILL: Mapping[str, str] = {
    "module": "modules", "battery": "batteries", "controller": "controllers",
    "inverter": "inverters",
}  # fmt: skip
"""Kinds of things whose very thing is known by its label, to their equipment lists."""
LABOUR, HOURS = "labour/", "hours/"
TRADES: Mapping[str, tuple[str, ...]] = {
    "builder": ("builder", "mason"), "painter": ("painter",), "roof": ("fitter", "installer"),
    "electrician": ("electrician",), "": ("labourer", "installer"),
}  # fmt: skip
"""Trade of the programme to those of the price list, the first that it has."""


@dataclass(frozen=True, kw_only=True)
class Price:
    """A price in the currency of the list and the unit it is for.

    Parameters
    ----------
    unit : str
    price : float
    currency : str
        It was given in, where that is another than the list's.
    valid_to : date or None
        Its last day; None for one without a date.
    """

    unit: str
    price: Money
    currency: str = ""
    valid_to: date | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class PriceList:
    """A firm's prices.

    Parameters
    ----------
    file : str
        Name of the file, for messages.
    name, currency : str
        As the price list says.
    decimals : int
        Of money in this currency.
    invented : bool
        Whether the price list says that its prices are invented.
    prices : mapping of str to Price
    rates : mapping of str to float
        Money an hour by trade.
    invented_rows : frozenset of str
        Items whose price is still the bundled, invented one, those that the list lacks included.
    filled : frozenset of str
        Those that it lacks.
    labour : mapping of str to Price
        The same rates with currency and day.
    exchange : mapping of str to Exchange
        By currency.
    rate_valid_days : int
        How long a rate of exchange holds [days].
    """

    file: str
    name: str
    currency: str
    decimals: int
    invented: bool
    prices: Mapping[str, Price]
    rates: Mapping[str, Money]
    invented_rows: frozenset[str] = frozenset()
    filled: frozenset[str] = frozenset()
    labour: Mapping[str, Price] = field(default_factory=dict)
    exchange: Mapping[str, Exchange] = field(default_factory=dict)
    rate_valid_days: int = 0

    @cached_property
    def own_prices(self) -> Mapping[str, Price]:
        """Prices of things that the list itself has."""
        return {item: row for item, row in self.prices.items() if item not in self.filled}

    @property
    def unknown_rows(self) -> tuple[str, ...]:
        """Its rows that price no kind of thing that a bill can hold, and no trade of a task.

        One named by a key of an equipment list is among them, though it may begin as a kind does:
        a bill names a thing by its label.
        """
        things = (item for item in self.own_prices if kind_of(item) is None or equipment_row(item))
        trades = {trade for names in TRADES.values() for trade in names}
        return (*things, *(f"{LABOUR}{trade}" for trade in self.labour if trade not in trades))

    @property
    def unknown_told(self) -> str:
        """Those rows in words, each with the nearest that would price something."""
        known = [*ITEMS, *(f"{LABOUR}{name}" for names in TRADES.values() for name in names)]
        return ", ".join(
            item + (f" ({near}?)" if (near := equipment_row(item) or nearest(item, known)) else "")
            for item in self.unknown_rows
        )

    def priced_by(self, row: str) -> Price:
        """What a row of an offer was priced by, thing or labour."""
        if row.startswith(LABOUR):
            return self.labour[row.removeprefix(LABOUR)]
        return self.prices[row]

    def row_of(self, line: BillLine) -> str:
        """The item of the row that prices a line of a bill: the very thing's, or its kind's."""
        return next((key for key in line.keys if key in self.prices), line.item)


def equipment_row(key: str) -> str:
    """The row that prices a thing of the bundled equipment lists, by its key there; empty for none.

    Examples
    --------
    >>> equipment_row("lithium-51v-93ah"), equipment_row("cable-copper")
    ('battery-invented-lithium-iron-phosphate-51-2-v-93-ah', '')
    """
    for table, name in LISTS_OF_BILL.items():
        if found := bundled_equipment()[name].get(key.casefold()):
            return f"{table}-{safe_file_name(str(found.values['label']))}"
    return ""


def read_price_list(name: str, folder: Path) -> PriceList:
    """The price list of a site file.

    Parameters
    ----------
    name : str
        `quote.price_list`: a TOML or CSV file, or the name of a bundled price list without ending.
    folder : Path
        Of the site file; a file is looked for from here.

    Raises
    ------
    InputError
        With every fault of the price list: no such file, no currency, text where a number should
        be, prices below 0, units an item is not sold in, an item twice, hours of work.
    """
    state = list_path(name, folder).stat()
    return _list_of(name, folder, state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=16)
def _list_of(name: str, folder: Path, _changed_ns: int, _size: int) -> PriceList:
    """Kept while the file stands as it is: every change of a design asks for it."""
    raw = read_rows(name, folder)
    faults: list[Fault] = []
    _doubled(raw.rows, raw.file, faults)
    prices, labour = _own(raw, faults)
    if faults:
        raise InputError(faults)
    filled = {} if name == INVENTED_LIST else _lacking(raw, prices, labour)
    invented = _still_invented(raw) | filled.keys()
    for item, price in filled.items():
        if item.startswith(LABOUR):
            labour[item.removeprefix(LABOUR)] = price
        else:
            prices[item] = price
    return PriceList(
        file=raw.file, name=raw.name, currency=raw.currency, decimals=raw.decimals,
        invented=raw.invented, prices=prices, invented_rows=invented, filled=frozenset(filled),
        labour=labour, rates={trade: one.price for trade, one in labour.items()},
        exchange=raw.exchange, rate_valid_days=raw.rate_valid_days,
    )  # fmt: skip


def _own(raw: RawList, faults: list[Fault]) -> tuple[dict[str, Price], dict[str, Price]]:
    """Prices of things and of labour that the list has, in its currency."""
    prices, labour = dict[str, Price](), dict[str, Price]()
    for row in raw.rows:
        price = _in_currency(row, raw, faults)
        if row.item.startswith(LABOUR):
            _unit(row, ("h",), raw.file, faults)
            labour[row.item.removeprefix(LABOUR)] = price
        elif row.item.startswith(HOURS):
            faults.append(_hours(row, raw.file))
        else:
            if row.item in ITEMS:
                _unit(row, _units(row.item), raw.file, faults)
            prices[row.item] = price
    return prices, labour


def _in_currency(row: Row, raw: RawList, faults: list[Fault]) -> Price:
    """A row's price in the currency of the list, with the last day that it holds."""
    day = row.day or raw.day
    days = raw.valid_days if row.valid_days is None else row.valid_days
    foreign = row.currency if row.currency != raw.currency else ""
    if foreign and foreign not in raw.exchange:
        faults.append(Fault(**worded(
            "quote", "no-rate", file=raw.file, place=row.place, currency=foreign, own=raw.currency,
        )))  # fmt: skip
        return Price(unit=row.unit, price=row.price)
    rate = raw.exchange[foreign].rate if foreign else 1.0
    return Price(unit=row.unit, price=row.price * rate, currency=foreign,
                 valid_to=day + timedelta(days=days) if day else None)  # fmt: skip


def _lacking(
    raw: RawList, prices: Mapping[str, Price], labour: Mapping[str, Price]
) -> dict[str, Price]:
    """Invented prices of what a list lacks, in its currency; none where that has no rate.

    A price of the list for a kind goes before an invented one for the very thing.
    """
    bundled = read_rows(INVENTED_LIST, Path())
    other = raw.currency != bundled.currency
    if other and bundled.currency not in raw.exchange:
        return {}
    rate = raw.exchange[bundled.currency].rate if other else 1.0
    has = {*prices, *(LABOUR + trade for trade in labour)}
    return {
        row.item: Price(unit=row.unit, price=row.price * rate,
                        currency=bundled.currency if other else "")
        for row in bundled.rows
        if row.item not in has and not any(
            row.item.startswith(f"{kind}-") for kind in has if kind in ITEMS
            and row.item not in ITEMS)
    }  # fmt: skip


def _still_invented(price_list: RawList) -> frozenset[str]:
    """Items that nobody has priced: all of an invented list, and what is as in the bundled one.

    A price of the firm's own that is the same by chance is named under `own`.
    """
    if price_list.invented:
        return frozenset(row.item for row in price_list.rows)
    bundled = {(row.item, row.unit, row.price) for row in read_rows(INVENTED_LIST, Path()).rows}
    return frozenset(row.item for row in price_list.rows
                     if (row.item, row.unit, row.price) in bundled) - set(price_list.own)


def priced(bill: Sequence[BillLine], price_list: PriceList) -> tuple[Money, ...]:
    """Price of one unit of each line of a bill; 0 of what is the customer's own.

    Parameters
    ----------
    bill : sequence of BillLine
    price_list : PriceList

    Raises
    ------
    InputError
        With every line that has no price, or one for a unit it is not sold in.
    """
    found, faults = [], []
    for line in bill:
        key = price_list.row_of(line)
        price = price_list.prices.get(key)
        if line.owned:
            found.append(0.0)
        elif price is None:
            faults.append(_missing(line, price_list))
        elif price.unit not in _units(line.item):
            faults.append(_wrong_unit(f"{price_list.file}: {key}", price.unit, _units(line.item)))
        else:
            times = 1.0 if price.unit == line.unit else line.size
            found.append(price.price * times)
    if faults:
        raise InputError(faults)
    return tuple(found)


def rate_of(trade: str, price_list: PriceList) -> Money:
    """Money an hour of a trade.

    Raises
    ------
    InputError
        When the price list has no such trade.
    """
    if trade not in price_list.rates:
        raise InputError(_no_rate(trade, price_list.rates, f"{price_list.file}: labour"))
    return price_list.rates[trade]


def _units(item: str) -> tuple[str, ...]:
    kind = ITEMS[item]
    return (kind.unit, kind.by) if kind.by else (kind.unit,)


def _unit(row: Row, allowed: Sequence[str], file: str, faults: list[Fault]) -> None:
    if row.unit not in allowed:
        faults.append(_wrong_unit(f"{file}: {row.place}", row.unit, allowed))


def _wrong_unit(where: str, given: str, allowed: Sequence[str]) -> Fault:
    return Fault(
        **worded("quote", "wrong-unit", given=given), where=where, allowed=" or ".join(allowed),
    )  # fmt: skip


def _hours(row: Row, file: str) -> Fault:
    return Fault(**worded("quote", "hours", file=file, place=row.place), given=row.item)


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


def _missing(line: BillLine, price_list: PriceList) -> Fault:
    strange = [key for key in price_list.prices if key not in ITEMS]
    near = nearest(line.item, strange) or nearest(line.key, strange)
    quantity = math.floor(line.quantity * 10.0) / 10.0
    return Fault(**worded(
        "quote", "missing", price_list_file=price_list.file, item=line.item,
        wanted=" or ".join(f"{line.item} a {unit}" if unit != "each" else f"{line.item} each"
                           for unit in _units(line.item)),
        quantity=quantity, line_name=line.name, line_key=line.key,
        invented=read_rows(INVENTED_LIST, Path()).currency,
        near_said=f"; did you mean it by {near!r}?" if near else "",
    ))  # fmt: skip


def _no_rate(trade: str, rates: Mapping[str, Money], where: str) -> Fault:
    near = nearest(trade, rates)
    return Fault(
        where=where, given=f"hours of {trade!r}", allowed="a trade with a rate: "
        + (", ".join(sorted(rates)) or "none in this price list"),
        remedy=f"add labour/{trade}" + (f", or did you mean {near!r}?" if near else ""),
    )  # fmt: skip
