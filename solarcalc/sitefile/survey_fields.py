"""The list of what is asked on the first visit, and its values read from any form that has them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from pydantic import TypeAdapter, ValidationError

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder, data_rows
from solarcalc.basis.text import meant, nearest
from solarcalc.basis.typed import M_PER_FT, metres_of, readings_of, typed_number
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Line, plain, shown
from solarcalc.sitefile.equipment import appliance_catalogue, bundled_equipment
from solarcalc.sitefile.survey_lines import READERS, TOLD, other_words

CHOOSE = "choose"
"""The wish for equipment of which nobody wishes for any."""
SEPARATOR = re.compile(r"[;\n]")
"""Between the lines of a list that stands in one cell."""
MOST_LINES = 60
Value = float | str | tuple[str, ...]
"""A number, a text, or the lines of a list in their one spelling."""


@dataclass(frozen=True, kw_only=True)
class Field:
    """A row of ``data/survey.csv``: one thing asked.

    Parameters
    ----------
    group, key, label, unit : str
    kind : str
        ``text``, ``number``, ``choice``, or a list: ``sizes``, ``obstacles``, ``loads``,
        ``horizon``.
    choices : tuple of str
    low, high : float or None
        Of a number, or of the length of a text.
    default : str
        What is taken where nothing is filled in; empty for that of the site file.
    otherwise : str
        The same in words.
    path : tuple of str
        Keys of the site file, ``"roof.length_m"``; none for a note.
    first : bool
        Whether every short file has it.
    help : str
    """

    group: str
    key: str
    label: str
    unit: str
    kind: str
    choices: tuple[str, ...]
    low: float | None
    high: float | None
    default: str
    otherwise: str
    path: tuple[str, ...]
    first: bool
    help: str

    @property
    def titled(self) -> str:
        """Label with its unit."""
        return f"{self.label} [{self.unit}]" if self.unit else self.label

    @property
    def is_list(self) -> bool:
        """Whether its value is a list of lines."""
        return self.kind in ("obstacles", "loads")

    @property
    def allowed(self) -> str:
        """What may be filled in: ``"-66 to 66 degrees"``."""
        if self.kind == "number":
            return f"{self.low:g} to {self.high:g} {self.unit}".rstrip()
        if self.kind == "choice":
            few = self.choices if len(self.choices) <= _FEW else (*self.choices[:3], "...")
            return "one of " + ", ".join(few)
        return TOLD.get(self.kind, f"text, at most {self.high or 0.0:g} characters")


_FEW = 12


@dataclass(kw_only=True)
class Answers:
    """What was filled in for one site.

    Parameters
    ----------
    values : dict
        Key of the list to its value; what was left empty is not there.
    places : dict
        Key, or key and number of its line from 0, to the file with its line or cell.
    """

    values: dict[str, Value] = field(default_factory=dict)
    places: dict[str | tuple[str, int], str] = field(default_factory=dict)


@cache
def fields() -> tuple[Field, ...]:
    """The whole list, in the order it is asked."""
    return tuple(
        Field(
            group=row["group"], key=row["key"], label=row["label"], unit=row["unit"],
            kind=row["kind"], choices=_choices(row["choices"]),
            low=float(row["low"]) if row["low"] else None,
            high=float(row["high"]) if row["high"] else None,
            default=row["default"], otherwise=row["otherwise"], path=tuple(row["path"].split()),
            first=row["ask"] == "first", help=row["help"],
        )
        for row in data_rows("survey")
    )  # fmt: skip


@cache
def by_key() -> Mapping[str, Field]:
    """The list by its keys."""
    return {one.key: one for one in fields()}


@cache
def towns() -> Mapping[str, tuple[float, float]]:
    """Time zones named by a town: its latitude and longitude [deg], north and east positive.

    Notes
    -----
    ``zone.tab`` of the IANA time zone database, principal location in ISO 6709, minutes of arc.
    """
    text = (resources.files("tzdata") / "zoneinfo" / "zone.tab").read_text(encoding="utf-8")
    rows = (line.split("\t") for line in text.splitlines() if line and line[0] != "#")
    return {row[2]: _degrees(row[1]) for row in rows}


def _degrees(iso: str) -> tuple[float, float]:
    parts = re.findall(r"([+-])(\d{2,3})(\d{2})(\d{2})?(?=[+-]|$)", iso)
    north, east = (
        (-1.0 if sign == "-" else 1.0) * (int(deg) + int(arc) / 60.0 + int(second or 0) / 3600.0)
        for sign, deg, arc, second in parts
    )
    return round(north, 2), round(east, 2)


def _choices(words: str) -> tuple[str, ...]:
    if words in ("modules", "batteries"):
        return (CHOOSE, *bundled_equipment()[words])
    if words == "languages":
        return tuple(sorted(path.stem for path in (data_folder() / "messages").glob("*.toml")))
    if words == "time zones":
        return tuple(sorted(towns()))
    if words == "appliances":
        return tuple(appliance_catalogue())
    return tuple(words.split("|")) if words else ()


def read_value(one: Field, given: object, where: str) -> Value | None:
    """The value of a field in its one spelling; None where nothing is filled in.

    Parameters
    ----------
    one : Field
    given : object
        A number or text of a file or cell; for a list also a list of texts.
    where : str
        File and line or cell, for the fault.

    Raises
    ------
    InputError
        For anything that the field may not hold.
    """
    if given is None or given == [] or (isinstance(given, str) and not given.strip()):
        return None
    if one.is_list:
        return _lines(one, given, where)
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        raise refused(one, given, where, *kind_told(given))
    if one.kind == "number":
        return _number(one, given, where)
    text = f"{given:.12g}" if isinstance(given, int | float) else given.strip()
    if one.kind == "choice":
        return _choice(one, text, where)
    if one.kind in READERS:
        return _spelt(one, text, where)
    return _text(one, text, where)


def kind_told(given: object) -> tuple[str, str]:
    """What kind of value was given where a text or number belongs, and what to do about it."""
    if isinstance(given, bool):
        return "it is true or false", ""
    name = type(given).__name__
    if name in ("datetime", "date", "time", "timedelta"):
        return "it is a date or a time", str(worded("sitefile", "date-for-text")["remedy"])
    return f"it is a value of the kind {name}", ""


def refused(
    one: Field, given: object, where: str, why: str = "", remedy: str = ""
) -> InputError:
    """What may not stand in a field, with what it may hold."""
    said = shown(given) if isinstance(given, str | bool | int | float) else plain(str(given))
    return InputError(
        Fault(where=where, given=said, allowed=one.allowed, why=why, remedy=remedy)
    )


def _may_be_thousands(one: Field, given: str) -> bool:
    """Whether a point may part thousands of a text: watts, or what the field holds either way."""
    low = -math.inf if one.low is None else one.low
    high = math.inf if one.high is None else one.high
    either = readings_of(given.strip().replace("\u2212", "-"))
    return one.unit == "W" or (
        either is not None and all(low <= float(number) <= high for number in either))


def _number(one: Field, given: float | str, where: str) -> float:
    def refuse(why: str, remedy: str) -> InputError:
        return refused(one, given, where, why, remedy)

    try:
        number = float(given) if not isinstance(given, str) else typed_number(
            given, refuse, _alone(one, given), large=_may_be_thousands(one, given))
    except OverflowError:
        number = math.inf
    if not math.isfinite(number) or not (one.low or 0.0) <= number <= (one.high or 0.0):
        raise refused(one, given, where)
    return number + 0.0


_SIDES = {"latitude_deg": "S", "longitude_deg": "W"}
"""Where a letter behind a figure means less than 0."""


_DIRECTIONS = {
    name: 45.0 * number
    for number, names in enumerate((
        ("n", "north"), ("ne", "northeast"), ("e", "east"), ("se", "southeast"), ("s", "south"),
        ("sw", "southwest"), ("w", "west"), ("nw", "northwest")))
    for name in names
}  # fmt: skip
"""Points of the compass in words, as azimuths [deg]."""


_PLATE = re.compile(r"^(\d+(?:\.\d+)?) *k(w|va)$", re.IGNORECASE)
PLATE_POWER_FACTOR = 0.8
"""Of a generator whose plate has kVA alone; common practice, no source."""


def _alone(one: Field, text: str) -> str:
    """What to enter in place of a number with words: in which unit, and with which sign."""
    turned = _DIRECTIONS.get(re.sub(r"[^a-z]", "", text.casefold()))
    if one.key.endswith("azimuth_deg") and turned is not None:
        return f"enter the angle from north, clockwise: {text.strip()} is {turned:g}"
    plate = _PLATE.match(text)
    if one.unit == "W" and plate:
        watts = float(plate[1]) * 1000.0
        if plate[2].casefold() == "w":
            return f"enter one number alone, in W: {watts:.12g}"
        return (f"enter one number alone, in W: {PLATE_POWER_FACTOR * watts:.12g} at the usual"
                f" power factor of {PLATE_POWER_FACTOR:g}, unless its plate has another")
    if one.unit == "m" and (metres := metres_of(text)) is not None:
        return f"enter one number alone, in m: {text.strip()} is {metres:.4g}"
    side = _SIDES.get(one.key)
    sign = f", with a minus sign for {side}" if side and side in text.upper() else ""
    return f"enter one number alone{f', in {one.unit}' if one.unit else ''}{sign}"


def _choice(one: Field, text: str, where: str) -> str:
    known = {choice.casefold(): choice for choice in one.choices}
    found = known.get(text.casefold())
    if found is None and one.key == "time_zone" and re.match(r"^UTC[+-]\d{2}:\d{2}$", text):
        found = text  # its hours are checked with the longitude
    if found is None:
        near = meant(text, one.choices, other_words(one.key))
        ways = [f"did you mean {near}?"] * bool(near)
        if one.path == (f"{one.key}.use",):
            ways.append(f"of another make: choose, and its data sheet under [{one.key}] in the site"
                        " file")
        raise refused(one, text, where, remedy=" or ".join(ways))
    return found


_NO_LETTERS = frozenset("\ufffe\uffff")
"""Signs that XML 1.0 leaves out (its production Char), and so a spreadsheet."""


def _text(one: Field, text: str, where: str) -> str:
    try:
        TypeAdapter(Line).validate_python(text)
    except ValidationError as error:
        why = str(error.errors(include_url=False)[0]["msg"]).removeprefix("Value error, ")
        if len(text) <= (one.high or 0.0):
            raise refused(one, text, where, why) from None
    if not text.isascii() and _NO_LETTERS & set(text):
        raise refused(one, text, where, "it has a sign that no spreadsheet can hold")
    if len(text) > (one.high or 0.0):
        raise refused(one, text, where, f"it has {len(text)} characters")
    return text


def _spelt(one: Field, text: str, where: str) -> str:
    try:
        return READERS[one.kind](text)
    except ValueError as error:
        feet = one.kind in ("sizes", "obstacles") and re.search(r"\d *(['’′\"″]|ft|feet)", text)
        raise refused(one, text, where, str(error), f"work it out in metres: a foot is {M_PER_FT} m"
                      if feet else "") from None  # fmt: skip


def _lines(one: Field, given: object, where: str) -> tuple[str, ...]:
    rows = SEPARATOR.split(given) if isinstance(given, str) else given
    if not isinstance(rows, list | tuple) or not all(isinstance(row, str) for row in rows):
        raise refused(one, given, where, *kind_told(given))
    filled = [row.strip() for row in rows if row.strip()]
    if len(filled) > MOST_LINES:
        raise InputError(Fault(where=where, given=f"{len(filled)} lines",
                               allowed=f"at most {MOST_LINES}"))  # fmt: skip
    found: list[str] = []
    faults: list[Fault] = []
    for number, row in enumerate(filled, start=1):
        try:
            found.append(_spelt(one, row, f"{where}, entry {number}" if len(rows) > 1 else where))
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return tuple(found)


def unknown_key(key: str, where: str, given: Any) -> Fault:
    """A fault for a key that the list has not."""
    near = nearest(key, by_key())
    return Fault(where=where, given=f"{plain(key)} = {shown(given)}",
                 allowed="a key of data/survey.csv: " + ", ".join(by_key()),
                 remedy=f"did you mean {near}?" if near else "")  # fmt: skip
