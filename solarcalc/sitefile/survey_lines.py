"""What is written in one line of a survey: an appliance, an obstacle, a room, a horizon.

Each reader gives the line in its one spelling, so that the same thing written in a file, a cell or
on a phone is the same text; the tables of the site file are made from that.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

from solarcalc.basis.files import data_rows
from solarcalc.basis.messages import languages
from solarcalc.basis.phrases import phrase
from solarcalc.basis.text import meant
from solarcalc.basis.typed import readings_of
from solarcalc.sitefile.base import rising
from solarcalc.sitefile.equipment import appliance_catalogue
from solarcalc.sitefile.loads import BOARDS

CLEARANCE_M = 0.3
"""Kept free around an obstacle where nobody says more [m]; common practice, no source."""

TOLD: Mapping[str, str] = {
    "loads": "WHAT, COUNT, HOURS, BOARD such as lamp-led, 8, 18-23 or Kiln 800 W, 1, 8-10,"
             " nonessential or Oven 9 kW three-phase, 1, 4-9 (two-phase: line to line); left out:"
             " one, all day, essential",
    "obstacles": "NAME: A along, U up, L x D x H such as Tank: 9 along, 5.5 up, 1.2 x 1.2 x 1.5;"
                 " metres, with a decimal point",
    "sizes": "length x width x height such as 3 x 2.4 x 2.6; metres, with a decimal point",
    "horizon": "azimuth:height of points, azimuth rising, such as 60:0, 90:12, 150:12, 210:0",
}  # fmt: skip
"""What a line of each kind may hold."""

LOAD_PARTS = ("what", "count", "hours", "board")
LOAD_DEFAULTS = ("", "1", "00:00-24:00", BOARDS[0])
"""Parts of a line of loads, and what each is where it is left out."""
BOX_PARTS = ("name", "along_m", "up_m", "length_m", "depth_m", "height_m")

_NUMBER = r"\d+(?:\.\d+)?"
_CLOCK = re.compile(r"^(\d{1,2})(?::([0-5]\d))?$")
_OWN = re.compile(rf"^(.*\S)\s+({_NUMBER})\s*(k?)W(?:\s+(three|3|two|2)[ -]phases?)?$")
_THIN = re.compile(r"(?<=\d)[\u00a0\u2009\u202f](?=\d{3}(?!\d))")
"""A space that parts thousands and never words."""
LINES: Mapping[str, str] = {"three": " three-phase", "two": " two-phase"}
"""Behind the power of a load on more than one phase, by what the site file calls it."""
_BOX = re.compile(
    rf"^(?P<name>[^:]*[^:\s])\s*:\s*(?P<along>{_NUMBER})\s*(?:m\s*)?along\s*,\s*(?P<up>{_NUMBER})\s*"
    rf"(?:m\s*)?up\s*,\s*(?P<length>{_NUMBER})\s*[x×]\s*(?P<depth>{_NUMBER})\s*[x×]\s*"
    rf"(?P<height>{_NUMBER})\s*m?$"
)
_SIZES = re.compile(rf"^({_NUMBER})\s*[x×]\s*({_NUMBER})\s*[x×]\s*({_NUMBER})\s*m?$")
_POINT = re.compile(rf"^({_NUMBER})\s*:\s*({_NUMBER})$")
PATTERNS: Mapping[str, str] = {
    "sizes": _SIZES.pattern,
    "horizon": rf"^{_NUMBER}\s*:\s*{_NUMBER}(\s*,\s*{_NUMBER}\s*:\s*{_NUMBER})*$",
}
"""How a text of a kind looks, for a form that can compare it."""
_DAY_H = 24


def _figure(text: str) -> str:
    return f"{float(text):.12g}"


def _moment(word: str) -> str:
    found = _CLOCK.match(word.strip())
    if found is None or int(found[1]) > _DAY_H or (int(found[1]) == _DAY_H and int(found[2] or 0)):
        raise ValueError(f"{word.strip()!r} is no time of day such as 18 or 18:30")
    return f"{int(found[1]):02d}:{found[2] or '00'}"


def _span(words: str) -> str:
    ends = words.split("-")
    if len(ends) != 2:
        raise ValueError(f"{words.strip()!r} is no span of the clock such as 18-23")
    start, end = map(_moment, ends)
    if start == end or start == "24:00":
        raise ValueError(f"the span {words.strip()!r} has no length within a day")
    return f"{start}-{end}"


def read_load(line: str) -> str:
    """A line of the appliance list in its one spelling.

    Raises
    ------
    ValueError
        That says what is wrong with it.

    Examples
    --------
    >>> read_load("lamp-led, 8, 6-8+18-23")
    'lamp-led, 8, 06:00-08:00+18:00-23:00, essential'
    """
    parts = [part.strip() for part in line.split(",")]
    if len(parts) > len(LOAD_PARTS):
        raise ValueError(f"it has {len(parts)} parts between commas, at most {len(LOAD_PARTS)}")
    return ", ".join(read_load_part(place, part) for place, part in enumerate(
        (*parts, *LOAD_DEFAULTS[len(parts):])))


def read_load_part(place: int, text: str) -> str:
    """One part of a line of loads, by its place in `LOAD_PARTS`, in its one spelling.

    Raises
    ------
    ValueError
        That says what is wrong with it.

    Examples
    --------
    >>> read_load_part(2, "6-8"), read_load_part(3, "Essential")
    ('06:00-08:00', 'essential')
    """
    if "," in text:
        raise ValueError("it has a comma, which stands between parts of a line")
    return (_what, _count, _hours, _board)[place](text)


def _count(text: str) -> str:
    if not text.isdecimal() or not 1 <= int(text) <= 10000:
        raise ValueError(f"{text!r} is no count from 1 to 10000")
    return f"{int(text)}"


def _hours(text: str) -> str:
    return "+".join(_span(one) for one in text.split("+"))


def _board(text: str) -> str:
    known = text.casefold()
    if known not in BOARDS:
        near = meant(known, BOARDS, other_words("board"))
        raise ValueError(f"{text!r} is no board: {' or '.join(BOARDS)}"
                         + (f"; did you mean {near}?" if near else ""))
    return known


@cache
def other_words(key: str) -> dict[str, str]:
    """What people write for the choices of a question, in English and in French, to the choice."""
    return {other: row["value"] for row in data_rows("other_words") if row["key"] == key
            for other in row["words"].split("|")}  # fmt: skip


@cache
def _names() -> dict[str, str]:
    """Names of the appliances of the list in each language, to the first word that has it."""
    listed = [(_name(str(entry["about"])), key) for key, entry in appliance_catalogue().items()]
    return {phrase(name, language): key for language in languages()
            for name, key in reversed(listed)}  # fmt: skip


def _what(word: str) -> str:
    if word.casefold() in appliance_catalogue():
        return word.casefold()
    own = _OWN.match(_THIN.sub("", word))
    if own is None:
        near = meant(word, appliance_catalogue(), _names())
        words = f"did you mean {near}?" if near else f"the list: {', '.join(appliance_catalogue())}"
        raise ValueError(f"{word!r} is neither a word of the appliance list nor a name with its"
                         f" power; {words}")
    if own[1].startswith(("=", "+", "@", "-")) or len(own[1]) > 100:
        raise ValueError(f"the name {own[1][:40]!r} is too long or begins like a formula")
    if both := () if own[3] else _readings(own[1], own[2]):
        raise ValueError(f"{own[2]} W may mean {' or '.join(f'{one} W' for one in both)}: enter the"
                         f" one it is, or {_figure(f'{float(both[-1]) / 1000.0:.12f}')} kW")
    power = _figure(str(_own_w(own)))
    said = f"{_figure(f'{_own_w(own) / 1000.0:.12f}')} kW" if _readings(own[1], power) else (
        f"{power} W")
    lines = {"3": "three", "2": "two"}.get(own[4], own[4])
    return f"{own[1]} {said}{LINES.get(lines, '')}"


def _own_w(own: re.Match[str]) -> float:
    """Power behind a name [W]."""
    return float(own[2]) * (1000.0 if own[3] else 1.0)


def _readings(name: str, figure: str) -> tuple[str, ...]:
    """Watts that a figure behind a name may mean, the larger first; none where it is sure.

    A point may part thousands, and so may a space behind a number that ends the name.

    Examples
    --------
    >>> _readings("Oven", "2.500"), _readings("Oven 1", "500"), _readings("Oven 1", "60")
    (('2500', '2.5'), ('1500', '500'), ())
    """
    if both := readings_of(figure):
        return both
    last = name.rpartition(" ")[2]
    parted = readings_of(f"{last}.{figure}") if last != name else None
    return (parted[0], figure) if parted else ()


def read_obstacle(line: str) -> str:
    """An obstacle in its one spelling.

    Raises
    ------
    ValueError
        When it has not its five figures in their order.

    Examples
    --------
    >>> read_obstacle("Tank: 9.0 along, 5.5 up, 1.2x1.2x1.5 m")
    'Tank: 9 along, 5.5 up, 1.2 x 1.2 x 1.5'
    """
    found = _BOX.match(line.strip())
    if found is None:
        raise ValueError("it has not a name and five figures in this order")
    along, up, length, depth, height = map(_figure, found.groups()[1:])
    return f"{found['name'].strip()}: {along} along, {up} up, {length} x {depth} x {height}"


def read_sizes(line: str) -> str:
    """Length, width and height in their one spelling.

    Raises
    ------
    ValueError
        When they are not three figures.
    """
    found = _SIZES.match(line.strip())
    if found is None:
        raise ValueError("it is not three figures")
    return " x ".join(map(_figure, found.groups()))


def read_horizon(line: str) -> str:
    """Points of a horizon in their one spelling.

    Raises
    ------
    ValueError
        When one is no pair of figures, or the azimuths are no rising ones of a circle.
    """
    points = [_POINT.match(part.strip()) for part in line.split(",")]
    if not all(points):
        raise ValueError("a point is two figures with a colon between them")
    around = [float(one[1]) for one in points if one]
    if not rising(around) or around[-1] >= 360.0:
        raise ValueError("azimuths rise from point to point, from 0 to below 360")
    return ", ".join(f"{_figure(one[1])}:{_figure(one[2])}" for one in points if one)


READERS: Mapping[str, Callable[[str], str]] = {
    "loads": read_load, "obstacles": read_obstacle, "sizes": read_sizes, "horizon": read_horizon,
}  # fmt: skip
"""Reader of a line by the kind of its field."""


_NUMBERED = " no. "
"""Before the number of a further line of one appliance."""


def load_tables(lines: Sequence[str]) -> dict[str, list[dict[str, Any]]]:
    """Rows of ``[[loads.essential]]`` and ``[[loads.nonessential]]`` from read lines.

    Two lines of one appliance on one board are two names; the number is no count in brackets.
    """
    boards: dict[str, list[dict[str, Any]]] = {board: [] for board in BOARDS}
    seen: Counter[tuple[str, str]] = Counter()
    for line in lines:
        what, count, hours, board = line.split(", ")
        entry = appliance_catalogue().get(what)
        own = _OWN.match(what)
        name = _name(str(entry["about"])) if entry else own[1] if own else what
        known = board, " ".join(name.casefold().split())
        seen[known] += 1
        number = seen[known]
        row: dict[str, Any] = {"name": name if number == 1 else f"{name}{_NUMBERED}{number}"}
        row |= {"catalogue": what} if entry else {"power_w": _own_w(own)} if own else {}
        row |= next(({"phase": lines} for lines, words in LINES.items()
                     if what.endswith(words)), {})  # fmt: skip
        boards[board].append(row | {"count": int(count), "use": hours.split("+")})
    return boards


def _name(about: str) -> str:
    """What an appliance is called: the first words of its entry."""
    return re.split(r",| of | with | while ", about)[0]


def name_in(name: str, language: str) -> str:
    """Name of an appliance in a language where a line of the survey gave it; people keep theirs.

    Without the number of a further line: to the customer they are the same thing.

    Examples
    --------
    >>> name_in("LED lamp no. 2", "fr"), name_in("Lamp of the porch", "fr")
    ('Lampe LED', 'Lamp of the porch')
    """
    ours = name.partition(_NUMBERED)[0]
    known = {_name(str(entry["about"])) for entry in appliance_catalogue().values()}
    return phrase(ours, language) if ours in known else name


def load_places(lines: Sequence[str]) -> list[tuple[str, int]]:
    """Board and number there of each line, in the order of the lines."""
    counted: Counter[str] = Counter()
    found = []
    for line in lines:
        board = line.rpartition(", ")[2]
        found.append((board, counted[board]))
        counted[board] += 1
    return found


def obstacle_table(line: str) -> dict[str, Any]:
    """A row of ``[[roof.obstacles]]`` from a read line."""
    found = _BOX.match(line)
    assert found is not None, "a line that was read"
    along, up, length, depth, height = map(float, found.groups()[1:])
    return {"name": found["name"], "along_m": along, "up_m": up, "length_m": length,
            "depth_m": depth, "height_m": height, "clearance_m": CLEARANCE_M}  # fmt: skip


def sizes_of(line: str) -> list[float]:
    """The three sizes of a read line [m]."""
    return [float(part) for part in line.split(" x ")]


def obstacle_line(parts: Sequence[object]) -> str:
    """A line from the name of an obstacle and its five figures."""
    name, along, up, *sizes = (f"{one:.12g}" if isinstance(one, float) else str(one)
                               for one in parts)  # fmt: skip
    return f"{name}: {along} along, {up} up, {' x '.join(sizes)}"


def horizon_table(line: str) -> dict[str, list[float]]:
    """Table [horizon] from read points."""
    points = [tuple(map(float, part.split(":"))) for part in line.split(", ")]
    return {"azimuth_deg": [one[0] for one in points], "height_deg": [one[1] for one in points]}
