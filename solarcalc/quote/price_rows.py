"""Rows of a price book as they stand in a TOML or CSV file, before anything is made of them."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.text import nearest
from solarcalc.quote.worth import Money
from solarcalc.sitefile.sound import plain, shown
from solarcalc.sitefile.toml import MAX_BYTES, read_toml

COLUMNS = ("item", "unit", "price")
_ITEM = re.compile(r"^[a-z0-9][a-z0-9./-]{0,79}$")
_HEADINGS = ("name", "currency", "decimals", "invented")
_MOST = 1e12


@dataclass(frozen=True, kw_only=True)
class Row:
    """A sound row: where it stands, item, unit, price."""

    place: str
    item: str
    unit: str
    price: Money


@dataclass(frozen=True, kw_only=True)
class RawBook:
    """A price book's heading and rows."""

    file: str
    name: str
    currency: str
    decimals: int
    invented: bool
    rows: tuple[Row, ...]


def read_rows(name: str, folder: Path) -> RawBook:
    """Heading and rows of a price book.

    Parameters
    ----------
    name : str
        A TOML or CSV file, looked for from `folder`, or the name of a bundled book.
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


def bundled_books() -> tuple[str, ...]:
    """Names of the price books that came with this installation."""
    return tuple(sorted(path.stem for path in (data_folder() / "prices").glob("*.toml")))


def _path(name: str, folder: Path) -> Path:
    if Path(name).suffix.lower() in (".toml", ".csv"):
        path = folder / name
        if path.is_file():
            return path
        raise InputError(Fault(
            where="quote.price_book", given=f"{shown(name)}, which is no file",
            allowed=f"a TOML or CSV file, looked for from {folder}",
            remedy="correct the path, or take the key out to use the invented prices",
        ))  # fmt: skip
    if name in bundled_books():
        return data_folder() / "prices" / f"{name}.toml"
    near = nearest(name, bundled_books())
    raise InputError(Fault(
        where="quote.price_book", given=shown(name),
        allowed="a file that ends in .toml or .csv, or one of " + ", ".join(bundled_books()),
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
        faults.append(Fault(
            where=f"{file}: prices", given=shown(rows),
            allowed='a list of rows, { item = "module", unit = "W", price = 0.3 }',
        ))  # fmt: skip
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
    if not isinstance(unit, str) or not unit or not unit.isprintable():
        faults.append(Fault(where=where, given=shown(unit), allowed="a unit in words"))
    if isinstance(price, bool) or not isinstance(price, int | float):
        faults.append(Fault(where=where, given=f"price {shown(price)}",
                            allowed="a number, without currency or spaces",
                            why="text where a number should be",
                            remedy="write 1234.5 for one thousand two hundred and a half"))
    elif not 0.0 <= price <= _MOST or math.isnan(price):
        faults.append(Fault(where=where, given=f"price {price:g}", allowed="0 or more, a number"))
    if len(faults) > before:
        return None
    return Row(place=place, item=item, unit=unit, price=float(price))


def _with_heading(
    heading: Mapping[str, Any], rows: tuple[Row, ...], file: str, faults: list[Fault]
) -> RawBook:
    currency, name = heading.get("currency", ""), heading.get("name", "")
    decimals, invented = heading.get("decimals", 2), heading.get("invented", False)
    wrong = {
        "currency": (not isinstance(currency, str) or not 1 <= len(currency.strip()) <= 20
                     or not currency.isprintable(), "1 to 20 letters, such as USD"),
        "name": (not isinstance(name, str) or not str(name).isprintable() or len(name) > 120,
                 "one line of text"),
        "decimals": (isinstance(decimals, bool) or not isinstance(decimals, int)
                     or not 0 <= decimals <= 3, "a whole number from 0 to 3"),
        "invented": (not isinstance(invented, bool), "true or false"),
    }  # fmt: skip
    for key, (bad, allowed) in wrong.items():
        if bad:
            faults.append(Fault(where=f"{file}: {key}", given=shown(heading.get(key, "nothing")),
                                allowed=allowed))
    if any(bad for bad, _ in wrong.values()):
        return RawBook(file=file, name="", currency="", decimals=2, invented=True, rows=rows)
    return RawBook(file=file, name=name, currency=currency.strip(), decimals=decimals,
                   invented=invented, rows=rows)
