"""Numbers as people and spreadsheets write them: which mark is the decimal one.

A comma before three figures may part thousands, and so may a point where commas are decimal: such
a number is asked about and never guessed. Where semicolons or tabs part the cells of a file, a
comma in a number is the decimal mark, as spreadsheets write it in half the world.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

from solarcalc.basis.errors import InputError
from solarcalc.basis.worded import worded

_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d{1,3})?")
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2}[,.]\d{3}")
_COMMA = re.compile(r"^([+-]?)(\d+),(\d+)$")
_THOUSANDS = re.compile(r"^[+-]?\d{1,3}(,\d{3}){2,}(\.\d*)?$|^[+-]?\d{1,3},\d{3}\.\d*$")
_SPACED = re.compile(r"^[+-]?\d{1,3}([ \u00a0\u2009\u202f]\d{3})+(\.\d*)?$")
_FIGURE = re.compile(r"^[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?$")

_WAYS = {
    "comma": _DECIMAL_COMMA, "point": re.compile(r"[+-]?\d*\.\d+"),
    "hundreds": re.compile(r"[+-]?[1-9]\d{2}"),
    "grouped": re.compile(r"[+-]?[1-9]\d{0,2}(?:[,.'’ \u00a0\u2009\u202f]\d{3})+(?:[.,]\d+)?"),
}
"""Ways of writing a number that cannot be read twice, and one with marks between thousands."""

Refusal = Callable[[str, str], InputError]
"""Makes the error of why a text is no number and what to do."""


def readings_of(text: str) -> tuple[str, str] | None:
    """A number that may have thousands or decimals, read both ways; None for any other.

    Each reading is written so that nobody asks about it again: no three figures behind its point.

    Examples
    --------
    >>> readings_of("12,500"), readings_of("1.125"), readings_of("7,000")
    (('12500', '12.5'), ('1125', '1.1250'), ('7000', '7'))
    >>> readings_of("0,500"), readings_of("12,50")
    (None, None)
    """
    if not _EITHER.fullmatch(text):
        return None
    decimal = text.replace(",", ".").rstrip("0").rstrip(".")
    return re.sub("[,.]", "", text), f"{decimal}0" if _EITHER.fullmatch(decimal) else decimal


def decimal_by(mark: str) -> bool:
    """Whether a comma in a number is the decimal mark where `mark` parts the cells of a file."""
    return mark in (";", "\t")


def pointed(cell: str, mark: str) -> str:
    """A cell with a point for its decimal comma; as it stands where it has none, or may not have.

    Examples
    --------
    >>> pointed("12,5", ";"), pointed("12,500", ";"), pointed("12,5", ",")
    ('12.5', '12,500', '12,5')
    """
    if decimal_by(mark) and _DECIMAL_COMMA.fullmatch(cell) and not readings_of(cell):
        return cell.replace(",", ".")
    return cell


def column_commas(cells: Iterable[str]) -> tuple[bool, str]:
    """How the numbers of a column are written: all of them are, by one hand, alike.

    Parameters
    ----------
    cells : iterable of str
        What stands in the column, each text once is enough.

    Returns
    -------
    tuple
        Whether commas are decimal, and a cell that can be read two ways, empty where none can:
        ``1,234`` where no other cell shows what a comma is, ``1.234`` beside ``0,5`` or beside
        ``950`` where every point has three figures behind it, ``1'234`` and ``1.234,5`` always.

    Examples
    --------
    >>> column_commas(["0,5", "1,234"]), column_commas(["950", "1,234"])
    ((True, ''), (False, '1,234'))
    >>> column_commas(["0,5", "1.234"]), column_commas(["950", "1.234"])
    ((True, '1.234'), (False, '1.234'))
    >>> column_commas(["0.512", "1.234"]), column_commas(["950", "1'234"])
    ((False, ''), (False, "1'234"))
    """
    first: dict[str, str] = {}
    for cell in cells:
        first.setdefault(_written(cell), cell)
    shown = "comma" in first
    parted = "point" not in first and "hundreds" in first
    return shown, (first.get("grouped") or first.get("point?" if shown else "comma?")
                   or (first.get("point?", "") if parted else ""))  # fmt: skip


def _written(cell: str) -> str:
    """How a number is written: with which mark, or what may be thousands."""
    if readings_of(cell):
        return "comma?" if "," in cell else "point?"
    for name, pattern in _WAYS.items():
        if pattern.fullmatch(cell):
            return name
    return ""


_METRES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "km": 1000.0}
M_PER_FT, IN_PER_FT = 0.3048, 12.0
"""The international foot, exact (NIST SP 811, appendix B.8; from memory)."""
_FT = r"(?:'|’|′|ft\.?|feet|foot|pieds?)"
_IN = r"(?:\"|″|”|''|’’|′′|in\.?|inch(?:es)?|pouces?)"
_FIGURES = r"(\d+(?:\.\d+)?)"
_LENGTH = re.compile(rf"{_FIGURES} *(k?m|cm|mm|metres?|meters?|mètres?)")
_FEET = re.compile(rf"{_FIGURES} *{_FT}(?: *-? *{_FIGURES} *{_IN}?)?")
_INCHES = re.compile(rf"{_FIGURES} *{_IN}")


def metres_of(text: str) -> float | None:
    """The metres of a length with its unit, feet and inches too; None for any other text.

    Examples
    --------
    >>> metres_of("11'"), metres_of("9 ft 6 in"), metres_of("350 cm"), metres_of("11")
    (3.3528, 2.8956, 3.5, None)
    """
    plain = text.strip().casefold()
    if found := _LENGTH.fullmatch(plain):
        return round(float(found[1]) * _METRES.get(found[2], 1.0), 6)
    if found := _INCHES.fullmatch(plain):
        return round(float(found[1]) * M_PER_FT / IN_PER_FT, 6)
    if found := _FEET.fullmatch(plain):
        return round((float(found[1]) + float(found[2] or 0.0) / IN_PER_FT) * M_PER_FT, 6)
    return None


def typed_number(
    text: str, refuse: Refusal, alone: str = "", *, mark: str = "", large: bool = False
) -> float:
    """A number as somebody typed it: in a cell, a file, on the command line.

    Spaces may stand between thousands. A comma is asked about, since it may mean a decimal or
    thousands.

    Parameters
    ----------
    text : str
    refuse : callable
        Makes the error of why it is no number and what to do.
    alone : str
        What to do about a number with words.
    mark : str
        What parts the cells of its file; behind semicolons and tabs a comma is a decimal.
    large : bool
        Whether three figures behind a point are asked about as well: money and watts have rarely
        three decimals, and a point may part their thousands.

    Raises
    ------
    InputError
    """
    text = text.strip().replace("\u2212", "-")
    either = readings_of(text)
    if either and ("," in text or large or decimal_by(mark)):
        told = worded("sitefile", "comma-either", whole=either[0], decimal=either[1])
        raise refuse(told["why"], told["remedy"])
    if decimal_by(mark) and "." not in text:
        text = text.replace(",", ".") if text.count(",") == 1 else text
    if _COMMA.match(text):
        told = worded("sitefile", "decimal-comma", instead=text.replace(",", "."))
        raise refuse(told["why"], told["remedy"])
    if _THOUSANDS.match(text):
        told = worded("sitefile", "commas-thousands", instead=text.replace(",", ""))
        raise refuse(told["why"], told["remedy"])
    if _SPACED.match(text):
        text = re.sub(r"\s", "", text)
    if not _FIGURE.match(text):
        raise refuse("it is text", alone)
    return float(text)
