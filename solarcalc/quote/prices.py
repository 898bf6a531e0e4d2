"""The firm's price list: rows of item, unit and price in TOML or CSV, read and checked.

Two kinds of rows: ``module`` with a price; ``labour/installer`` with a rate an hour, of which the
programme of works says how many. A row may name the very thing (``cable-copper-16mm2``) or its kind
(``cable-copper``); the very thing goes first.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.quote.bill import ITEMS, BillLine
from solarcalc.quote.economics import Money
from solarcalc.sitefile.base import plain, shown
from solarcalc.sitefile.renamed import new_name
from solarcalc.sitefile.toml import MAX_BYTES, read_toml

COLUMNS = ("item", "unit", "price")
_ITEM = re.compile(r"^[a-z0-9][a-z0-9./-]{0,79}$")
_HEADINGS = ("name", "currency", "decimals", "invented", "own")
_MOST = 1e12


@dataclass(frozen=True, kw_only=True)
class Row:
    """A sound row: where it stands, item, unit, price."""

    place: str
    item: str
    unit: str
    price: Money


@dataclass(frozen=True, kw_only=True)
class RawList:
    """A price list's heading and rows."""

    file: str
    name: str
    currency: str
    decimals: int
    invented: bool
    rows: tuple[Row, ...]
    own: tuple[str, ...] = ()


def read_rows(name: str, folder: Path) -> RawList:
    """Heading and rows of a price list.

    Parameters
    ----------
    name : str
        A TOML or CSV file, looked for from `folder`, or the name of a bundled price list.
    folder : Path

    Raises
    ------
    InputError
        With every fault of the file as a file: none there, no table, cells that are no number.
    """
    path = _path(name, folder)
    file = plain(path.name)
    if path.suffix.lower() == ".csv":
        heading, cells = _of_csv(path, file)
    else:
        heading, cells = _of_toml(read_toml(path), file)
    faults: list[Fault] = []
    rows = tuple(row for place, row_cells in cells
                 if (row := _row(place, row_cells, file, faults)) is not None)  # fmt: skip
    raw = _with_heading(heading, rows, file, faults)
    if not cells:
        faults.append(Fault(where=file, given="no rows", allowed="rows of item, unit, price"))
    if faults:
        raise InputError(faults)
    return raw


def bundled_price_lists() -> tuple[str, ...]:
    """Names of the price lists that came with this installation."""
    return tuple(sorted(path.stem for path in (data_folder() / "prices").glob("*.toml")))


def _path(name: str, folder: Path) -> Path:
    if Path(name).suffix.lower() in (".toml", ".csv"):
        path = folder / name
        if path.is_file():
            return path
        raise InputError(Fault(
            **worded("quote", "quote-price-list", shown=shown(name), folder=folder),
        ))  # fmt: skip
    if name in bundled_price_lists():
        return data_folder() / "prices" / f"{name}.toml"
    near = nearest(name, bundled_price_lists())
    raise InputError(Fault(
        where="quote.price_list", given=shown(name),
        allowed="a file that ends in .toml or .csv, or one of " + ", ".join(bundled_price_lists()),
        remedy=f"did you mean {near}?" if near else "",
    ))  # fmt: skip


Cells = list[tuple[str, Mapping[str, Any]]]


def _of_toml(data: Mapping[str, Any], file: str) -> tuple[dict[str, Any], Cells]:
    known = (*_HEADINGS, "prices")
    faults = [
        Fault(where=f"{file}: {plain(key)}", given=shown(data[key]),
              allowed="one of " + ", ".join(known),
              remedy=f"did you mean {near}?" if (near := nearest(key, known)) else "")
        for key in data if key not in known
    ]  # fmt: skip
    rows = data.get("prices", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        faults.append(Fault(**worded("quote", "prices", file=file), given=shown(rows)))
    if faults:
        raise InputError(faults)
    heading = {key: data[key] for key in _HEADINGS if key in data}
    cells: Cells = [(f"row {n} ({plain(str(row.get('item', '')))})", row)
                    for n, row in enumerate(rows, start=1)]  # fmt: skip
    return heading, cells


def _of_csv(path: Path, file: str) -> tuple[dict[str, Any], Cells]:
    lines = _text(path, file).splitlines()
    heading: dict[str, Any] = {}
    kept = []
    for number, line in enumerate(lines, start=1):
        if line.startswith("#"):
            key, _, value = line.lstrip("# ").rstrip("; ,").partition(":")
            if key.strip() in _HEADINGS:
                heading[key.strip()] = value.strip()
        elif line.strip(" ,;\t"):
            kept.append((number, line))
    head = kept[0][1] if kept else ""
    mark = ";" if head.count(";") >= 2 else ","
    names = [cell.strip().lower() for cell in next(csv.reader([head], delimiter=mark), [])]
    if [name for name in names if name] != list(COLUMNS):
        raise InputError(Fault(
            where=f"{file}: heads of the columns", given=shown(plain(head)),
            allowed="item,unit,price", remedy="write that as the first line without a #",
        ))  # fmt: skip
    return _typed(heading), list(_csv_rows(kept[1:], mark))


def _csv_rows(lines: list[tuple[int, str]], mark: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for number, line in lines:
        cells = [cell.strip() for cell in next(csv.reader(io.StringIO(line), delimiter=mark))]
        while len(cells) > len(COLUMNS) and not cells[-1]:
            cells.pop()
        if len(cells) != len(COLUMNS):
            yield f"line {number}", {"cells": cells}
            continue
        price = cells[2].replace(",", ".") if mark == ";" else cells[2]
        try:
            value: Any = float(price)
        except ValueError:
            value = cells[2]
        yield f"line {number} ({plain(cells[0])})", dict(zip(COLUMNS, (*cells[:2], value),
                                                             strict=True))  # fmt: skip


def _typed(heading: dict[str, str]) -> dict[str, Any]:
    typed: dict[str, Any] = dict(heading)
    if heading.get("decimals", "").isdigit():
        typed["decimals"] = int(heading["decimals"])
    if heading.get("invented", "").lower() in ("true", "false"):
        typed["invented"] = heading["invented"].lower() == "true"
    if "own" in heading:
        typed["own"] = [item.strip() for item in heading["own"].split(",") if item.strip()]
    return typed


def _text(path: Path, file: str) -> str:
    try:
        raw = path.read_bytes()
        if len(raw) > MAX_BYTES:
            raise InputError(Fault(where=file, given=f"{len(raw)} bytes",
                                   allowed=f"at most {MAX_BYTES} bytes"))
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        given = "bytes that are not UTF-8"
    except OSError as error:
        given = error.strerror or str(error)
    raise InputError(Fault(where=file, given=given, allowed="a CSV file in UTF-8",
                           remedy="save it again as CSV UTF-8"))


def _row(place: str, cells: Mapping[str, Any], file: str, faults: list[Fault]) -> Row | None:
    where = f"{file}: {place}"
    if set(cells) != set(COLUMNS):
        faults.append(Fault(where=where, given=shown(list(cells.get("cells", cells))),
                            allowed="item, unit and price, nothing else"))
        return None
    item, unit, price = (cells[name] for name in COLUMNS)
    before = len(faults)
    if not isinstance(item, str) or not _ITEM.match(item):
        faults.append(Fault(where=where, given=shown(item),
                            allowed="an item of small letters, digits, points, - and /"))
    elif new := new_name("value", ("prices", "item"), item.partition("-")[0]):
        faults.append(Fault(where=where, given=shown(item), allowed=new, why="renamed",
                            remedy=f"say {item.replace(item.partition('-')[0], new, 1)}"))
    if not isinstance(unit, str) or not unit or not unit.isprintable():
        faults.append(Fault(where=where, given=shown(unit), allowed="a unit in words"))
    if isinstance(price, bool) or not isinstance(price, int | float):
        faults.append(Fault(**worded("quote", "row", shown=shown(price)), where=where))
    elif not 0.0 <= price <= _MOST or math.isnan(price):
        faults.append(Fault(where=where, given=f"price {price:g}", allowed="0 or more, a number"))
    if len(faults) > before:
        return None
    return Row(place=place, item=item, unit=unit, price=float(price))


def _with_heading(
    heading: Mapping[str, Any], rows: tuple[Row, ...], file: str, faults: list[Fault]
) -> RawList:
    currency, name = heading.get("currency", ""), heading.get("name", "")
    decimals, invented = heading.get("decimals", 2), heading.get("invented", False)
    own, items = heading.get("own", []), {row.item for row in rows}
    wrong = {
        "currency": (not isinstance(currency, str) or not 1 <= len(currency.strip()) <= 20
                     or not currency.isprintable(), "1 to 20 letters, such as USD"),
        "name": (not isinstance(name, str) or not str(name).isprintable() or len(name) > 120,
                 "one line of text"),
        "decimals": (isinstance(decimals, bool) or not isinstance(decimals, int)
                     or not 0 <= decimals <= 3, "a whole number from 0 to 3"),
        "invented": (not isinstance(invented, bool), "true or false"),
        "own": (not isinstance(own, list) or any(
            not isinstance(item, str) or item not in items for item in own),
                "a list of items that the price list has"),
    }  # fmt: skip
    for key, (bad, allowed) in wrong.items():
        if bad:
            faults.append(Fault(where=f"{file}: {key}", given=shown(heading.get(key, "nothing")),
                                allowed=allowed))
    if any(bad for bad, _ in wrong.values()):
        return RawList(file=file, name="", currency="", decimals=2, invented=True, rows=rows)
    return RawList(file=file, name=name, currency=currency.strip(), decimals=decimals,
                   invented=invented, rows=rows, own=tuple(own))


LABOUR, HOURS = "labour/", "hours/"


@dataclass(frozen=True, kw_only=True)
class Price:
    """A price and the unit it is for."""

    unit: str
    price: Money


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
        Items whose price is still the bundled, invented one.
    """

    file: str
    name: str
    currency: str
    decimals: int
    invented: bool
    prices: Mapping[str, Price]
    rates: Mapping[str, Money]
    invented_rows: frozenset[str] = frozenset()

    def row_of(self, line: BillLine) -> str:
        """The item of the row that prices a line of a bill: the very thing's, or its kind's."""
        return next((key for key in line.keys if key in self.prices), line.item)


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
    state = _path(name, folder).stat()
    return _list_of(name, folder, state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=16)
def _list_of(name: str, folder: Path, _changed_ns: int, _size: int) -> PriceList:
    """Kept while the file stands as it is: every change of a design asks for it."""
    price_list = read_rows(name, folder)
    faults: list[Fault] = []
    _doubled(price_list.rows, price_list.file, faults)
    prices, rates = {}, {}
    for row in price_list.rows:
        if row.item.startswith(LABOUR):
            _unit(row, ("h",), price_list.file, faults)
            rates[row.item.removeprefix(LABOUR)] = row.price
        elif row.item.startswith(HOURS):
            faults.append(_hours(row, price_list.file))
        else:
            kind = ITEMS.get(row.item)
            if kind is not None:
                _unit(row, _units(row.item), price_list.file, faults)
            prices[row.item] = Price(unit=row.unit, price=row.price)
    if faults:
        raise InputError(faults)
    return PriceList(
        file=price_list.file, name=price_list.name, currency=price_list.currency,
        decimals=price_list.decimals,
        invented=price_list.invented, prices=prices, rates=rates,
        invented_rows=_still_invented(price_list),
    )  # fmt: skip


def _still_invented(price_list: RawList) -> frozenset[str]:
    """Items that nobody has priced: all of an invented list, and what is as in the bundled one.

    A price of the firm's own that is the same by chance is named under `own`.
    """
    if price_list.invented:
        return frozenset(row.item for row in price_list.rows)
    bundled = {(row.item, row.unit, row.price) for row in read_rows("invented", Path()).rows}
    return frozenset(row.item for row in price_list.rows
                     if (row.item, row.unit, row.price) in bundled) - set(price_list.own)


def priced(bill: Sequence[BillLine], price_list: PriceList) -> tuple[Money, ...]:
    """Price of one unit of each line of a bill.

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
        if price is None:
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
        near_said=f"; did you mean it by {near!r}?" if near else "",
    ))  # fmt: skip


def _no_rate(trade: str, rates: Mapping[str, Money], where: str) -> Fault:
    near = nearest(trade, rates)
    return Fault(
        where=where, given=f"hours of {trade!r}", allowed="a trade with a rate: "
        + (", ".join(sorted(rates)) or "none in this price list"),
        remedy=f"add labour/{trade}" + (f", or did you mean {near!r}?" if near else ""),
    )  # fmt: skip
