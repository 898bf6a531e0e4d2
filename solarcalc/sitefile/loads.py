"""What the boards feed: [loads], [[loads.essential]] and [[loads.nonessential]]."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Any, Literal, get_args

from pydantic import Field, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Line, Months, Name, Record, Sound, list_at, shown, sound_rows
from solarcalc.sitefile.starting import appliance_kinds

_CLOCK = re.compile(r"^([01]\d|2[0-3]|24):([0-5]\d)$")

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
"""Names of the days of the week, in the order of their numbers from 0."""

DAY_WORDS: dict[str, tuple[int, ...]] = {
    "every-day": (0, 1, 2, 3, 4, 5, 6), "weekdays": (0, 1, 2, 3, 4), "weekends": (5, 6),
    **{name: (number,) for number, name in enumerate(WEEKDAYS)},
}
"""What `days` may hold, and the days of the week each word stands for."""

_DAYS_ALLOWED = "every-day, weekdays (monday to friday), weekends (saturday and sunday), or names" \
    " of days such as friday"


def weekday_numbers(days: Sequence[str]) -> frozenset[int]:
    """Days of the week, 0 Monday to 6 Sunday, that the words of a `days` key stand for."""
    return frozenset(number for word in days for number in DAY_WORDS[word])


class Appliance(Record):
    """[[loads.essential]] or [[loads.nonessential]]: one line of the appliance list."""

    name: Name
    power_w: float = Field(ge=0.0, le=200000.0)
    count: int = Field(default=1, ge=1, le=10000)
    use: list[str] = Field(min_length=1, description='clock spans, ["18:00-23:00"]')
    days: list[str] = Field(
        default_factory=lambda: ["every-day"],
        min_length=1,
        description='or one: "weekdays", "weekends"; or names of days; a span belongs to the day it'
        " begins on",
    )
    months: Months = Field(
        default_factory=lambda: list(range(1, 13)), min_length=1, description="1 to 12"
    )
    duty_frac: float = Field(default=1.0, gt=0.0, le=1.0,
        description="duty factor: share of the time in operation")
    power_factor: float = Field(default=1.0, gt=0.0, le=1.0, description="W over VA, running")
    surge_factor: float | None = Field(
        default=None, ge=1.0, le=20.0,
        description="starting over running current; default: that of its kind",
    )
    surge_va: float | None = Field(
        default=None, gt=0.0, le=600000.0,
        description="starting load of one, instead of surge_factor"
    )
    kind: Line = Field(
        default="",
        description="such as pump, for its starting load; default: by a word of the name"
    )
    phase: Literal["any", "a", "b", "c", "two", "three"] = Field(
        default="any", description="two: line to line of a split-phase supply"
    )
    voltage_v: float | None = Field(
        default=None, ge=90.0, le=500.0,
        description="on its rating plate, checked against the board; line to line for phase two or"
        " three; default: not checked"
    )
    shed_step: int = Field(
        default=1, ge=1, le=9,
        description="nonessential board: appliances of step 1 are shed first and come back last"
    )

    @field_validator("use")
    @classmethod
    def _spans(cls, value: list[str]) -> list[str]:
        for span in value:
            ends = span.split("-")
            if len(ends) != 2 or not all(_CLOCK.match(end.strip()) for end in ends):
                raise ValueError('each is "HH:MM-HH:MM", such as "18:00-23:00" or "22:00-06:00"')
            if ends[0].strip() == ends[1].strip():
                raise ValueError('a span must have a length; the whole day is "00:00-24:00"')
            if any(end.strip().startswith("24") and end.strip() != "24:00" for end in ends):
                raise ValueError("24:00 is the last moment of the day")
            if ends[0].strip() == "24:00":
                raise ValueError("a span that begins at midnight begins at 00:00")
        return value

    @field_validator("kind")
    @classmethod
    def _kind(cls, value: str) -> str:
        if value and value not in appliance_kinds():
            raise ValueError("one of " + ", ".join(appliance_kinds()))
        return value

    @field_validator("days", mode="before")
    @classmethod
    def _one_word(cls, value: object) -> object:
        """A word by itself is a list of one."""
        return [value] if isinstance(value, str) else value

    @field_validator("days")
    @classmethod
    def _days(cls, value: list[str]) -> list[str]:
        if any(word not in DAY_WORDS for word in value) or len(set(value)) != len(value):
            raise ValueError(f"{_DAYS_ALLOWED}, each once")
        return value


class Loads(Record):
    """[loads]: the appliances of each board, or what was measured there."""

    phases: Literal[1, 2, 3] = Field(default=1,
        description="of the supply; 2 is a split-phase supply")
    essential_phases: Literal[1, 2, 3] | None = Field(default=None,
        description="of the essential board: 1, or those of the supply; default: phases")
    nonessential_phases: Literal[1, 2, 3] | None = Field(
        default=None, description="the same for the nonessential board"
    )
    variation_frac: float = Field(
        default=0.0, ge=0.0, le=1.0, description="of a board's energy, from day to day"
    )
    variation_seed: int = Field(
        default=1, ge=0, le=999999, description="the same seed gives the same year"
    )
    essential_profile: Line = Field(
        default="", description="a CSV file of measured power_w, instead of the list"
    )
    nonessential_profile: Line = Field(default="",
                                       description="the same for the nonessential board")
    essential: list[Appliance] = Field(default_factory=list)
    nonessential: list[Appliance] = Field(default_factory=list)

    def phases_of(self, board: str) -> int:
        """Phases of a board: its own, or those of the supply."""
        own = self.essential_phases if board == "essential" else self.nonessential_phases
        return self.phases if own is None else own


Board = Literal["essential", "nonessential"]
BOARDS: tuple[Board, ...] = get_args(Board)
"""In the order they are kept supplied."""
_PHASES_OF = {1: ("any", "a"), 2: ("any", "a", "b", "two"), 3: ("any", "a", "b", "c", "three")}
"""Number of phases of a supply: what `phase` may hold."""


def loads_faults(sound: Sound) -> Iterator[Fault]:
    """Boards without a load or with two kinds of it, names, starting surges and phases."""
    yield from _any_load(sound)
    for board in BOARDS:
        yield from _board_phases(sound, board)
        yield from _list_or_profile(sound, board)
        yield from _names(sound, board)
        for number, row in sound_rows(sound, "loads", board):
            yield from _surge(sound, board, number, row)
            yield from _shed(sound, board, number, row)
            yield from _phase(sound, board, number, row)


def _any_load(sound: Sound) -> Iterator[Fault]:
    boards = [sound.get("loads", board) for board in BOARDS]
    profiles = [sound.get("loads", f"{board}_profile") for board in BOARDS]
    if sound.get("loads") is not None and all(board == [] for board in boards):
        if any(profile != "" for profile in profiles):
            return
        yield sound.fault(("loads",), **worded("sitefile", "any-load"))


def _list_or_profile(sound: Sound, board: str) -> Iterator[Fault]:
    profile = sound.get("loads", f"{board}_profile")
    rows = list_at(sound, ("loads", board))
    if profile and rows:
        yield sound.fault(("loads", f"{board}_profile"), **worded(
            "sitefile", "list-or-profile", shown=shown(profile), rows_count=len(rows), board=board,
        ))  # fmt: skip


def _days_of_year(row: dict[str, Any]) -> frozenset[tuple[int, int]]:
    """Pairs of month and day of the week on which a line applies; all where that is unsound."""
    days, months = row.get("days", ["every-day"]), row.get("months", range(1, 13))
    words = [days] if isinstance(days, str) else days
    try:
        numbers = weekday_numbers(words)
        return frozenset((int(month), number) for month in months for number in numbers)
    except (KeyError, TypeError, ValueError):
        numbers = weekday_numbers(tuple(DAY_WORDS))
        return frozenset((month, number) for month in range(1, 13) for number in numbers)


def _names(sound: Sound, board: str) -> Iterator[Fault]:
    """A name may come again only where the days or months of the two lines are apart."""
    seen: dict[str, list[tuple[int, dict[str, Any]]]] = {}
    for number, row in enumerate(list_at(sound, ("loads", board))):
        name = row.get("name") if isinstance(row, dict) else None
        if not isinstance(name, str):
            continue
        before = seen.setdefault(" ".join(name.casefold().split()), [])
        for other, earlier in before:
            if _days_of_year(row) & _days_of_year(earlier):
                yield sound.fault(
                    ("loads", board, number, "name"),
                    **worded("sitefile", "names", other=other + 1), given=name,
                )  # fmt: skip
                break
        else:
            if before and row.get("phase", "any") != before[0][1].get("phase", "any"):
                yield _moved(sound, (board, number), row, before[0])
        before.append((number, row))


def _moved(
    sound: Sound, place: tuple[str, int], row: dict[str, Any], first: tuple[int, dict[str, Any]]
) -> Fault:
    return sound.fault(("loads", place[0], place[1], "phase"), row.get("phase", "any"),
                       f"{shown(first[1].get('phase', 'any'))}, as for appliance {first[0] + 1}",
                       "rows of the same name are one appliance, which is on one phase",
                       "enter the same phase for both, or two names")


def _surge(sound: Sound, board: str, number: int, row: dict[str, Any]) -> Iterator[Fault]:
    surge_va = row.get("surge_va")
    if surge_va is None:
        return
    place = ("loads", board, number, "surge_va")
    if "surge_factor" in row:
        yield sound.fault(place,
                          f"surge_va = {surge_va:g} with surge_factor = {row['surge_factor']:g}",
                          "one of the two", "both define the starting load", "delete one of them")
        return
    running_va = row["power_w"] / row.get("power_factor", 1.0)
    if surge_va < running_va:
        yield sound.fault(
            place, **worded("sitefile", "surge", surge_va=surge_va, running_va=running_va),
        )  # fmt: skip


def _shed(sound: Sound, board: str, number: int, row: dict[str, Any]) -> Iterator[Fault]:
    step = row.get("shed_step", 1)
    if board == BOARDS[0] and step != 1:
        yield sound.fault(("loads", board, number, "shed_step"),
                          **worded("sitefile", "shed-step", step=step))  # fmt: skip


def _board_phases(sound: Sound, board: str) -> Iterator[Fault]:
    supply, own = sound.get("loads", "phases"), sound.get("loads", f"{board}_phases")
    one = sound.get("supply", "layout") == "one-inverter"
    if None in (supply, own) or own == supply or (own == 1 and not one):
        return
    yield sound.fault(("loads", f"{board}_phases"), **worded(
        "sitefile", "board-phases", own=own, supply=supply,
        allowed=f"{supply}" if one or supply == 1 else f"1 or {supply}",
    ))  # fmt: skip


def sound_phases(sound: Sound, board: str) -> Any:
    """As `Loads.phases_of`, of a site file that is still being checked; None where not known."""
    return sound.get("loads", f"{board}_phases") or sound.get("loads", "phases")


def _phase(sound: Sound, board: str, number: int, row: dict[str, Any]) -> Iterator[Fault]:
    phases = sound_phases(sound, board)
    phase = row.get("phase", "any")
    if phases is None or phase in _PHASES_OF[phases]:
        return
    yield sound.fault(("loads", board, number, "phase"),
                      f"phase = {shown(phase)} with phases = {phases}",
                      "one of " + ", ".join(_PHASES_OF[phases]), "the supply has no such phase",
                      "correct loads.phases, or delete phase: it is then assigned automatically")
