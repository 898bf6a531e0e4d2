"""A price list as a file: TOML, CSV or xlsx read into the same heading and rows.

In a spreadsheet a line that begins with ``#`` is of the heading, ``# currency: USD``; one line has
the names of the columns; the others are rows. TOML has the same keys.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.packed import packed_fault
from solarcalc.basis.reading import (
    UnreadableError,
    csv_rows,
    file_bytes,
    heads_told,
    text_of,
)
from solarcalc.basis.sourced import constant
from solarcalc.basis.text import nearest
from solarcalc.basis.typed import typed_number
from solarcalc.basis.worded import worded
from solarcalc.quote.economics import Money
from solarcalc.sitefile.base import plain, shown
from solarcalc.sitefile.programme import DAY_WORDS, day_of
from solarcalc.sitefile.renamed import new_name
from solarcalc.sitefile.toml import MAX_BYTES, read_toml

COLUMNS = ("item", "unit", "price")
MORE_COLUMNS = ("currency", "date", "valid_days", "note")
"""Columns that a list may have or not; notes are for people."""
ENDINGS = (".toml", ".csv", ".xlsx")
VALID_DAYS = constant("quote.price_valid_days")
RATE_VALID_DAYS = constant("quote.rate_valid_days")
_ITEM = re.compile(r"^[a-z0-9][a-z0-9./-]{0,79}$")
_HEADINGS = ("name", "currency", "decimals", "invented", "own", "date", "valid_days",
             "rates", "rate_valid_days")  # fmt: skip
_RATE = ("currency", "rate", "date")
_MOST, _MOST_DAYS, _MOST_ROWS = 1e12, 3650, 20000
_HEAD_ROWS = 30
"""Rows of a sheet in which the heads of a list are looked for."""
_THREE = 3
"""Decimals of a currency of which a thousandth is a coin."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """A sound row: where it stands, item, unit, price; its own currency, day and validity."""

    place: str
    item: str
    unit: str
    price: Money
    currency: str = ""
    day: date | None = None
    valid_days: int | None = None


@dataclass(frozen=True, kw_only=True)
class Exchange:
    """What one of another currency is worth in that of the list, and on which day."""

    rate: float
    day: date


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
    day: date | None = None
    valid_days: int = int(VALID_DAYS)
    exchange: Mapping[str, Exchange] = field(default_factory=dict)
    rate_valid_days: int = int(RATE_VALID_DAYS)


@dataclass(frozen=True, kw_only=True)
class _Cells:
    """A row as it stands in the file: values by column, where they stand, what parts them.

    Where nothing parts them (`mark` is None: TOML) a number is never a text.
    """

    place: str
    values: Mapping[str, Any]
    places: Mapping[str, str] = field(default_factory=dict)
    mark: str | None = None

    def where(self, column: str = "") -> str:
        """Line or row; in a spreadsheet the cell."""
        return self.places.get(column, self.place)


def read_rows(name: str, folder: Path) -> RawList:
    """Heading and rows of a price list.

    Parameters
    ----------
    name : str
        A TOML, CSV or xlsx file, looked for from `folder`, or the name of a bundled price list.
    folder : Path

    Raises
    ------
    InputError
        With every fault of the file as a file: none there, no table, cells that are no number.
    """
    path = list_path(name, folder)
    file = plain(path.name)
    if path.suffix.lower() == ".toml":
        heading, cells = _of_toml(read_toml(path, quoted=False), file)
    else:
        lines = _csv_lines(path, file) if path.suffix.lower() == ".csv" else (
            _sheet_lines(path, file))  # fmt: skip
        heading, cells = _of_lines(lines, file)
    faults: list[Fault] = []
    thirds = heading.get("decimals") == _THREE
    rows = tuple(row for one in cells
                 if (row := _row(one, file, faults, thirds=thirds)) is not None)
    raw = _with_heading(heading, rows, file, faults)
    if not cells:
        faults.append(Fault(where=file, given="no rows", allowed="rows of item, unit, price"))
    if faults:
        raise InputError(faults)
    return raw


def bundled_price_lists() -> tuple[str, ...]:
    """Names of the price lists that came with this installation."""
    return tuple(sorted(path.stem for path in (data_folder() / "prices").glob("*.toml")))


def list_path(name: str, folder: Path) -> Path:
    """Where a price list is, by the name that a site file gives it."""
    if Path(name).suffix.lower() in ENDINGS:
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
        allowed="a file that ends in .toml, .csv or .xlsx, or one of "
        + ", ".join(bundled_price_lists()),
        remedy=f"did you mean {near}?" if near else "",
    ))  # fmt: skip


def _of_toml(data: Mapping[str, Any], file: str) -> tuple[dict[str, Any], list[_Cells]]:
    known = (*_HEADINGS, "prices")
    faults = [
        Fault(where=f"{file}: {plain(key) if near else 'a key of another name'}",
              given=shown(data[key]) if near else "no price list",
              allowed="one of " + ", ".join(known),
              remedy=f"did you mean {near}?" if near else "")
        for key in data if key not in known for near in [nearest(key, known)]
    ]  # fmt: skip
    rows = data.get("prices", [])
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        faults.append(Fault(**worded("quote", "prices", file=file), given=shown(rows)))
    if faults:
        raise InputError(faults)
    heading = {key: data[key] for key in _HEADINGS if key in data}
    return heading, [
        _Cells(place=f"row {n} ({plain(str(row.get('item', '')))})", values=row)
        for n, row in enumerate(rows, start=1)
    ]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class _Line:
    """A line of a CSV file or a row of a sheet: its cells, and how each is called."""

    place: str
    cells: Sequence[Any]
    cell_places: Sequence[str] = ()
    mark: str = ""


def _csv_lines(path: Path, file: str) -> Iterator[_Line]:
    lines = [(number, line) for number, line in enumerate(_text(path, file).splitlines(), start=1)]
    head = next((line for _, line in lines if line.strip(" ,;\t") and not line.startswith("#")), "")
    mark = ";" if head.count(";") >= 2 else ","
    for number, line in lines:
        cells: list[Any] = [line] if line.startswith("#") else _cells(number, line, mark, file)
        yield _Line(place=f"line {number}", cells=cells, mark=mark)


def _cells(number: int, line: str, mark: str, file: str) -> list[str]:
    try:
        ((_, cells),) = csv_rows([(number, line)], mark)
    except UnreadableError as error:
        raise InputError(Fault(where=file, given=error.given,
                               allowed="lines of item, unit and price")) from None  # fmt: skip
    return [cell.strip() for cell in cells]


def _sheet_lines(path: Path, file: str) -> Iterator[_Line]:
    """Rows of the first sheet of an xlsx file, formulas by the value that was saved with them."""
    from openpyxl import load_workbook  # type: ignore[import-untyped]  # has no types
    from openpyxl.utils import get_column_letter  # type: ignore[import-untyped]  # has no types

    raw = io.BytesIO(_bytes(path, file))
    if fault := packed_fault(raw):
        raise InputError(Fault(**worded("quote", "no-sheet", file=file), why=fault))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles that it does not know
            books = [load_workbook(raw, data_only=saved) for saved in (True, False)]
            values, formulas = (_table(book.worksheets[0]) for book in books)
            faults = [*_joined(books[0], file), *_other_lists(books[0], file)]
    except Exception as error:
        raise InputError(Fault(**worded("quote", "no-sheet", file=file))) from error
    if faults:
        raise InputError(faults)
    for number, (cells, written) in enumerate(zip(values, formulas, strict=True), start=1):
        yield _Line(
            place=f"row {number}",
            cells=[_saved(cell, was) for cell, was in zip(cells, written, strict=True)],
            cell_places=[f"cell {get_column_letter(column)}{number}"
                         for column in range(1, len(cells) + 1)],
        )  # fmt: skip


def _joined(book: Any, file: str) -> Iterator[Fault]:
    """Cells that are merged over rows: one price, and nobody can say of which of them."""
    for one in book.worksheets[0].merged_cells.ranges:
        if one.min_row < one.max_row:
            yield Fault(**worded("quote", "merged-rows"), where=f"{file}: cells {one.coord}")


def _other_lists(book: Any, file: str) -> Iterator[Fault]:
    """Sheets beside the first that have the heads of a price list, which nobody would read."""
    for sheet in book.worksheets[1:]:
        for cells in sheet.iter_rows(max_row=_HEAD_ROWS, max_col=len(COLUMNS), values_only=True):
            if tuple(str(cell or "").strip().lower() for cell in cells) == COLUMNS:
                yield Fault(**worded("quote", "second-sheet"),
                            where=f"{file}: sheet {plain(sheet.title)}")


def _table(sheet: Any) -> list[tuple[Any, ...]]:
    rows = sheet.iter_rows(max_row=min(sheet.max_row, _MOST_ROWS), values_only=True)
    return list(rows)


def _saved(value: Any, written: Any) -> Any:
    """A cell's value; a formula that was saved without one stays, to be refused by its cell."""
    if value is None and isinstance(written, str) and written.startswith("="):
        return written
    if isinstance(value, datetime | date):
        return f"{value:%Y-%m-%d}"
    return "" if value is None else value.strip() if isinstance(value, str) else value


def _of_lines(lines: Iterable[_Line], file: str) -> tuple[dict[str, Any], list[_Cells]]:
    """Heading and rows of lines of cells."""
    heading: dict[str, Any] = {}
    kept = []
    for line in lines:
        first = str(line.cells[0]) if line.cells else ""
        if first.startswith("#"):
            said = " ".join(str(cell) for cell in line.cells if cell != "")
            key, _, value = said.lstrip("# ").rstrip("; ,").partition(":")
            if key.strip() in (*_HEADINGS, "rate"):
                heading.setdefault(key.strip(), []).append(value.strip())
        elif any(cell != "" for cell in line.cells):
            kept.append(line)
    names = [str(cell).strip().lower() for cell in kept[0].cells] if kept else []
    while names and not names[-1]:
        names.pop()
    if tuple(names[:3]) != COLUMNS or set(names[3:]) - set(MORE_COLUMNS) or (
            len(set(names)) != len(names)):  # fmt: skip
        raise InputError(Fault(
            where=f"{file}: heads of the columns",
            given=plain(heads_told(names, (*COLUMNS, *MORE_COLUMNS))),
            allowed="item,unit,price, and after them any of " + ", ".join(MORE_COLUMNS),
            remedy="write that as the first line without a #",
        ))  # fmt: skip
    return _typed(heading), [cells for line in kept[1:] if (cells := _cells_of(line, names))]


def _cells_of(line: _Line, names: Sequence[str]) -> _Cells | None:
    """A line's cells by column; None for one whose price is still to be filled in."""
    cells = list(line.cells)
    while len(cells) > len(names) and cells[-1] == "":
        cells.pop()
    if not len(COLUMNS) <= len(cells) <= len(names):
        return _Cells(place=line.place, values={"cells": cells})
    values = {name: cell for name, cell in zip(names, cells, strict=False)
              if cell != "" or name in COLUMNS}  # fmt: skip
    if values["price"] == "":
        return None
    if "valid_days" in values:
        values["valid_days"] = _number(values["valid_days"], line.mark)
    item = f" ({plain(str(values['item']))})"
    places = {name: place + item for name, place in zip(names, line.cell_places, strict=False)}
    return _Cells(place=line.place + item, values=values, places=places, mark=line.mark)


def _number(cell: Any, mark: str) -> Any:
    """A cell as a number where it is one."""
    return _price(cell, mark, thirds=True)[0] if isinstance(cell, str) else cell


def _price(cell: str, mark: str, *, thirds: bool) -> tuple[float | str, dict[str, str]]:
    """A text as a number, or as it stands with why it is none and what to write."""
    def refuse(why: str, remedy: str) -> InputError:
        return InputError(Fault(where="price", given=cell, allowed="a number", why=why,
                                remedy=remedy))  # fmt: skip

    try:
        return typed_number(cell, refuse, mark=mark, large=not thirds), {}
    except InputError as error:
        (fault,) = error.faults
        return cell, {"why": fault.why, "remedy": fault.remedy} if fault.remedy else {}


def _typed(heading: Mapping[str, list[str]]) -> dict[str, Any]:
    """The heading of a spreadsheet as TOML would have it; what cannot be is left as text."""
    typed: dict[str, Any] = {key: values[-1] for key, values in heading.items() if key != "rate"}
    for key in ("decimals", "valid_days", "rate_valid_days"):
        if str(typed.get(key, "")).isdecimal():
            typed[key] = int(typed[key])
    if typed.get("invented", "").lower() in ("true", "false"):
        typed["invented"] = typed["invented"].lower() == "true"
    if "own" in typed:
        typed["own"] = [item.strip() for item in typed["own"].split(",") if item.strip()]
    if "rate" in heading:
        typed["rates"] = [_rate_of(value) for value in heading["rate"]]
    return typed


def _rate_of(value: str) -> dict[str, Any]:
    """``EUR 1.08 2026-11-01`` as a table of TOML."""
    words = value.split()
    return {name: _number(word.replace(",", "."), "") if name == "rate" else word
            for name, word in zip(_RATE, words, strict=False)}  # fmt: skip


def _text(path: Path, file: str) -> str:
    try:
        return text_of(_bytes(path, file))
    except UnreadableError as error:
        raise InputError(Fault(
            where=file, given=error.given, allowed="a CSV file in UTF-8",
            remedy="save it again as CSV UTF-8",
        )) from None  # fmt: skip


def _bytes(path: Path, file: str) -> bytes:
    try:
        return file_bytes(path, MAX_BYTES)
    except UnreadableError as error:
        raise InputError(Fault(
            where=file, given=error.given,
            allowed=f"a file that can be read, at most {MAX_BYTES} bytes")) from None  # fmt: skip


def _row(cells: _Cells, file: str, faults: list[Fault], *, thirds: bool) -> Row | None:
    """A row in which nothing is wrong; `thirds`: the currency has three decimals."""
    values = cells.values
    if not set(COLUMNS) <= set(values) <= {*COLUMNS, *MORE_COLUMNS}:
        faults.append(Fault(
            where=f"{file}: {cells.place}", given=shown(list(values.get("cells", values))),
            allowed=f"item, unit and price, and any of {', '.join(MORE_COLUMNS)}, nothing else",
        ))  # fmt: skip
        return None
    item, unit, price = (values[name] for name in COLUMNS)
    before = len(faults)

    def wrong(column: str, *, given: str, **said: str) -> None:
        faults.append(Fault(where=f"{file}: {cells.where(column)}", given=f"{column} {given}",
                            **said))  # fmt: skip

    if not isinstance(item, str) or not _ITEM.match(item):
        wrong("item", given=shown(item),
              allowed="an item of small letters, digits, points, - and /")
    elif new := new_name("value", ("prices", "item"), item.partition("-")[0]):
        wrong("item", given=shown(item), allowed=new, why="renamed",
              remedy=f"say {item.replace(item.partition('-')[0], new, 1)}")
    if not isinstance(unit, str) or not unit or not unit.isprintable():
        wrong("unit", given=shown(unit), allowed="a unit in words")
    if isinstance(price, str) and cells.mark is not None:
        price, told = _price(price, cells.mark, thirds=thirds)
    else:
        told = {}
    if isinstance(price, bool) or not isinstance(price, int | float):
        wrong("price", **worded("quote", "row", shown=shown(price)) | told)
    elif not 0.0 <= price <= _MOST:
        wrong("price", given=f"{price:g}", allowed=f"a number from 0 to {_MOST:g}")
    currency, day, valid_days = _dated(values, wrong)
    if len(faults) > before:
        return None
    return Row(place=cells.place, item=item, unit=unit, price=float(price), currency=currency,
               day=day, valid_days=valid_days)  # fmt: skip


def _dated(
    values: Mapping[str, Any], wrong: Callable[..., None]
) -> tuple[str, date | None, int | None]:
    """Currency, day and validity that a row has of its own."""
    currency, day, days = (values.get(name) for name in ("currency", "date", "valid_days"))
    if currency is not None and _no_currency(currency):
        wrong("currency", given=shown(currency), allowed=_CURRENCY)
    found = _day(day)
    if day is not None and found is None:
        wrong("date", given=shown(day), allowed=_DAY)
    if days is not None and _no_days(days):
        wrong("valid_days", given=shown(days), allowed=_DAYS)
        days = None
    return _code(currency or ""), found, None if days is None else int(days)


_CURRENCY, _DAY = "1 to 20 characters, such as USD", DAY_WORDS
_DAYS = f"a whole number from 1 to {_MOST_DAYS}"


def _no_currency(value: object) -> bool:
    return not isinstance(value, str) or not 1 <= len(value.strip()) <= 20 or (
        not value.isprintable())  # fmt: skip


def _code(currency: object) -> str:
    """A currency as it is compared: a code of three letters is in capitals (ISO 4217)."""
    said = str(currency).strip()
    return said.upper() if len(said) == _THREE and said.isascii() and said.isalpha() else said


def _no_days(value: object) -> bool:
    return isinstance(value, bool) or not isinstance(value, int | float) or (
        not 1 <= value <= _MOST_DAYS or value != int(value))  # fmt: skip


def _day(value: object) -> date | None:
    """A day written as text or as a day of TOML."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    return day_of(value) if isinstance(value, str) else None


def _with_heading(
    heading: Mapping[str, Any], rows: tuple[Row, ...], file: str, faults: list[Fault]
) -> RawList:
    currency, name = heading.get("currency", ""), heading.get("name", "")
    decimals, invented = heading.get("decimals", 2), heading.get("invented", False)
    own, items = heading.get("own", []), {row.item for row in rows}
    days = {key: heading.get(key, int(usual)) for key, usual in (
        ("valid_days", VALID_DAYS), ("rate_valid_days", RATE_VALID_DAYS))}  # fmt: skip
    exchange = _exchange(heading.get("rates", []))
    wrong = {
        "currency": (_no_currency(currency), _CURRENCY),
        "name": (not isinstance(name, str) or not str(name).isprintable() or len(name) > 120,
                 "one line of text"),
        "decimals": (isinstance(decimals, bool) or not isinstance(decimals, int)
                     or not 0 <= decimals <= 3, "a whole number from 0 to 3"),
        "invented": (not isinstance(invented, bool), "true or false"),
        "own": (not isinstance(own, list) or any(
            not isinstance(item, str) or item not in items for item in own),
                "a list of items that the price list has"),
        "date": ("date" in heading and _day(heading["date"]) is None, _DAY),
        **{key: (_no_days(value), _DAYS) for key, value in days.items()},
        "rates": (exchange is None, "each with currency, rate above 0 and date, such as"
                  " EUR 1.08 2026-11-01, each currency once"),
    }  # fmt: skip
    for key, (bad, allowed) in wrong.items():
        if bad:
            faults.append(Fault(where=f"{file}: {key}", given=shown(heading.get(key, "nothing")),
                                allowed=allowed))
    if exchange is None or any(bad for bad, _ in wrong.values()):
        return RawList(file=file, name="", currency="", decimals=2, invented=True, rows=rows)
    return RawList(
        file=file, name=name, currency=_code(currency), decimals=decimals, invented=invented,
        rows=rows, own=tuple(own), day=_day(heading.get("date")), exchange=exchange,
        **{key: int(value) for key, value in days.items()},
    )  # fmt: skip


def _exchange(rates: object) -> dict[str, Exchange] | None:
    """Rates of exchange by currency; None where one of them is none."""
    found: dict[str, Exchange] = {}
    for one in rates if isinstance(rates, list) else [None]:
        if not isinstance(one, dict) or set(one) != set(_RATE):
            return None
        currency, rate, day = one["currency"], one["rate"], _day(one["date"])
        if _no_currency(currency) or _code(currency) in found or day is None:
            return None
        if isinstance(rate, bool) or not isinstance(rate, int | float) or not 0.0 < rate <= _MOST:
            return None
        found[_code(currency)] = Exchange(rate=float(rate), day=day)
    return found
