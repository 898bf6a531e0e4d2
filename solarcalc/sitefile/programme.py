"""When the crew does what, the tests at the end, the logger: [programme] and after."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Any, Literal

from pydantic import Field

from solarcalc.basis.errors import Fault
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Line, Loc, Name, Record, Sound, plain, shown
from solarcalc.sitefile.setting import NOTHING, WIDE_SPAN_M, setting_of, settings
from solarcalc.sitefile.task_list import held_to_their_day, task_list

FIRST_YEAR, LAST_YEAR = 2000, 2100


class Task(Record):
    """[[programme.tasks]]: a task of our list changed, or one more."""

    key: Name = Field(description="of the list, or a new one")
    name: Line = Field(default="", description="in words; needed for a new one")
    work_h: float | None = Field(
        default=None, ge=0.0, le=2000.0, description="working hours of its usual crew"
    )
    wait_h: float | None = Field(
        default=None, ge=0.0, le=2000.0, description="curing time by the clock, after it"
    )
    sets: Literal[
        "by-name", "nothing", "wide-concrete-overhead", "concrete-overhead", "concrete", "mortar",
        "plaster", "paint",
    ] = Field(default="by-name", description="what cures in a new one")
    inside: bool = Field(
        default=False, description="a new one in the new room: not before its roof has cured"
    )
    crew: int | None = Field(default=None, ge=1, le=100, description="people needed")
    after: list[str] | None = Field(default=None, description="keys of the preceding tasks")
    deferred_to: Line = Field(default="", description='"2027-03-15": not before that day')


class Programme(Record):
    """[programme]: crew, calendar and changes to the list of tasks."""

    start: Line = Field(default="2027-03-01", description='first day of work, "YYYY-MM-DD"')
    crew: int = Field(default=3, ge=1, le=100, description="people on this site")
    hours_a_day_h: float = Field(default=8.0, ge=1.0, le=16.0)
    work_days: Literal["mon-fri", "mon-sat", "every-day"] = Field(default="mon-sat")
    days_off: list[str] = Field(default_factory=list, description='such as ["2027-04-02"]')
    power_room: Literal["existing", "new"] = Field(
        default="existing", description="new: built for this project, with walls and paint"
    )
    half_crew_released_on: Line = Field(default="",
                                        description='day on which half the crew is released, or ""')
    half_crew_back_on: Line = Field(default="",
        description='first day they are back on site, or ""')
    priority: int = Field(
        default=1, ge=1, le=1000, description="among sites that share crews; 1 comes first"
    )
    tasks: list[Task] = Field(default_factory=list)


def day_of(text: str) -> date | None:
    """The day that ``"YYYY-MM-DD"`` names; None where it is no day of 2000 to 2100.

    Examples
    --------
    >>> day_of("2028-02-29")
    datetime.date(2028, 2, 29)
    >>> day_of("2027-02-29") is None
    True
    """
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    return day if FIRST_YEAR <= day.year <= LAST_YEAR else None


_SPREADSHEET_DAY_0 = date(1899, 12, 30)
"""Day 0 of a spreadsheet that counts days, right from 1 March 1900 on (ECMA-376 part 1, 18.17.4.1,
the 1900 date system; from memory)."""


def days_meant(text: str) -> tuple[date, ...]:
    """The days that a text in another order, or a spreadsheet's number, can mean; none where none.

    Two where day and month can be either. A year of two figures is not guessed.

    Examples
    --------
    >>> [str(day) for day in days_meant("25/12/2036")], [str(day) for day in days_meant("49735")]
    (['2036-12-25'], ['2036-03-01'])
    >>> [str(day) for day in days_meant("1.3.2036")], days_meant("1/3/36")
    (['2036-03-01', '2036-01-03'], ())
    """
    if re.fullmatch(r"[0-9]{5}", text):
        day = _SPREADSHEET_DAY_0 + timedelta(days=int(text))
        return (day,) if FIRST_YEAR <= day.year <= LAST_YEAR else ()
    parts = re.fullmatch(r"([0-9]{1,4})[-/. ]([0-9]{1,2})[-/. ]([0-9]{1,4})"
                         r"(?:[ T]+[0-9:h.]+)?", text)  # fmt: skip
    if not parts:
        return ()
    one, two, three = parts.groups()
    orders = [(one, two, three)] if len(one) == 4 else [(three, two, one), (three, one, two)]
    found = (day_of(f"{year}-{month:0>2}-{day:0>2}") for year, month, day in orders)
    return tuple(dict.fromkeys(day for day in found if day))


def day_told(text: str) -> tuple[str, str]:
    """Why a cell of a list is no day as `day_of` takes it, and what to do about that.

    Examples
    --------
    >>> day_told("2027-02-29")
    ('no such day in the calendar', '')
    """
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return "no such day in the calendar", ""
    days = " or ".join(day.isoformat() for day in days_meant(text)) or "it year first, YYYY-MM-DD"
    return "", f"write {days}; format the column as text, or the spreadsheet changes it again"


DAY_WORDS = f'a day of {FIRST_YEAR} to {LAST_YEAR} as "YYYY-MM-DD", such as "2027-03-01"'


def programme_faults(sound: Sound) -> Iterator[Fault]:
    """Days that are none, days out of order, tasks unknown, given twice or after themselves."""
    yield from _calendar(sound)
    tasks = sound.get("programme", "tasks") or []
    seen: dict[str, int] = {}
    for number, row in enumerate(tasks):
        loc: Loc = ("programme", "tasks", number)
        if row["key"] in seen:
            yield sound.fault(
                (*loc, "key"), row["key"], "each task once",
                f"item {seen[row['key']] + 1} has the same key", "put both changes in one",
            )  # fmt: skip
        seen.setdefault(row["key"], number)
        yield from _new_task(sound, loc, row)
        yield from _before_it(sound, loc, row, tasks)
        yield from _deferred(sound, loc, row)
        yield from _setting(sound, loc, row)
    for number, row in enumerate(sound.get("commissioning", "instruments") or []):
        if text := row.get("calibrated_until"):
            yield from _day(
                sound, ("commissioning", "instruments", number, "calibrated_until"), text)


def _setting(sound: Sound, loc: Loc, row: dict[str, Any]) -> Iterator[Fault]:
    """A task in which something sets or dries, with no wait after it or too short a one."""
    listed = next((task for task in task_list() if task.key == row["key"]), None)
    wait_h = row.get("wait_h")
    if listed is not None:
        rates = [rate for rate in listed.rates if rate.sets and _built(sound, rate.unit)]
        what = max(rates, key=lambda rate: rate.least_wait_h).sets if rates else NOTHING
        wait_h = math.inf if wait_h is None else wait_h
    else:
        guess = setting_of(str(row.get("name") or ""))
        what = str(row.get("sets") or "by-name")
        what = (guess.what if guess else NOTHING) if what == "by-name" else what
    if what == NOTHING or (wait_h or 0.0) >= settings()[what].least_wait_h:
        return
    yield sound.fault((*loc, "wait_h"), **worded(
        "sitefile", "sets-before", given="left out" if wait_h is None else f"{wait_h:g} h",
        least_wait_h=settings()[what].least_wait_h, what=what, source=settings()[what].source,
    ))  # fmt: skip


def _built(sound: Sound, unit: str) -> bool:
    """Whether the room of a site has such a unit: its own walls and its own roof."""
    room = {key: sound.get("room", key) for key in ("wall", "roof")}
    if unit.endswith("_wall_m2"):
        return unit == f"{room['wall']}_wall_m2"
    if unit.endswith("concrete_roof_m2"):
        spans = [sound.get("room", key) or 0.0 for key in ("length_m", "depth_m")]
        wide = min(spans) > float(WIDE_SPAN_M)
        return room["roof"] == "concrete" and unit.startswith("wide") == wide
    return True


def _day(sound: Sound, loc: Loc, text: object) -> Iterator[Fault]:
    if not isinstance(text, str) or day_of(text) is None:
        yield sound.fault(loc, shown(text), DAY_WORDS, "no such day in the calendar")


def _calendar(sound: Sound) -> Iterator[Fault]:
    days: dict[str, date | None] = {}
    for name in ("start", "half_crew_released_on", "half_crew_back_on"):
        text = sound.get("programme", name)
        days[name] = day_of(text) if text else None
        if text is not None and (text or name == "start"):
            yield from _day(sound, ("programme", name), text)
    for number, text in enumerate(sound.get("programme", "days_off") or []):
        yield from _day(sound, ("programme", "days_off", number), text)
    yield from _ordered(sound, ("programme", "half_crew_released_on"),
                        days["half_crew_released_on"], days["start"])
    back, gone = days["half_crew_back_on"], days["half_crew_released_on"]
    if sound.given("programme", "half_crew_back_on") and back and not sound.get(
        "programme", "half_crew_released_on"
    ):
        yield sound.fault(
            ("programme", "half_crew_back_on"), **worded("sitefile", "back-but-never-away",
                                                         back=back),
        )  # fmt: skip
    if back and gone and back <= gone:
        yield sound.fault(
            ("programme", "half_crew_back_on"), f"{back} with half_crew_released_on = {gone}",
            "a day after half_crew_released_on", "it is the first day they are back",
        )  # fmt: skip


def _ordered(sound: Sound, loc: Loc, day: date | None, start: date | None) -> Iterator[Fault]:
    if day is not None and start is not None and day < start:
        yield sound.fault(loc, **worded("sitefile", "before-the-start", day=day, start=start))


def _new_task(sound: Sound, loc: Loc, row: dict[str, Any]) -> Iterator[Fault]:
    existing = sound.get("programme", "power_room") == "existing"
    known = [task.key for task in task_list() if not (existing and task.of_the_room)]
    if row["key"] in known or (row.get("name") and row.get("work_h") is not None):
        return
    near = nearest(row["key"], known)
    why = "a task that is not in our list needs name and work_h"
    if any(task.key == row["key"] for task in task_list()):
        why = f'with power_room = "existing" nothing is built; {why}'
    yield sound.fault(
        (*loc, "key"), row["key"], "one of " + ", ".join(known) + "; or a new one with its name"
        " and work_h", why, f"did you mean {near}?" if near else "add name and work_h",
    )  # fmt: skip


def _before_it(
    sound: Sound, loc: Loc, row: dict[str, Any], tasks: list[dict[str, Any]]
) -> Iterator[Fault]:
    known = list(dict.fromkeys(
        [*(task.key for task in task_list()), *(other["key"] for other in tasks)]
    ))  # fmt: skip
    for number, key in enumerate(row.get("after") or []):
        place = (*loc, "after", number)
        if key == row["key"]:
            yield sound.fault(place, **worded("sitefile", "after-itself"), given=key)
        elif key not in known:
            near = nearest(key, known)
            yield sound.fault(
                place, key, "one of " + ", ".join(plain(one) for one in known), "no such task",
                f"did you mean {near}?" if near else "",
            )  # fmt: skip


def _deferred(sound: Sound, loc: Loc, row: dict[str, Any]) -> Iterator[Fault]:
    text = row.get("deferred_to")
    if not text:
        return
    place = (*loc, "deferred_to")
    yield from _day(sound, place, text)
    yield from _ordered(
        sound, place, day_of(text), day_of(str(sound.get("programme", "start") or ""))
    )
    if row["key"] in held_to_their_day():
        yield sound.fault(place, **worded(
            "sitefile", "deferred", text=text, row_key=row["key"],
            held_to_their_day=", ".join(held_to_their_day()),
        ))  # fmt: skip


class Instrument(Record):
    """[[commissioning.instruments]]: what was measured with, for the test report."""

    kind: Name = Field(description="as the test sheet names it, or another")
    number: Line = Field(default="", description="manufacturer and serial number")
    calibrated_until: Line = Field(default="", description='day, "YYYY-MM-DD", or ""')
    rated: Line = Field(
        default="", description="highest voltage and category, such as 1000 V CAT III"
    )


class Commissioning(Record):
    """[commissioning]: the filled-in test sheet and how near is near enough."""

    results: Line = Field(default="",
        description="the completed test sheet, a CSV file; default: none")
    current_test: Literal["short-circuit", "working"] = Field(
        default="short-circuit", description="short-circuit needs a test switch made for it"
    )
    voltage_tolerance_frac: float = Field(default=0.05, gt=0.0, le=0.5)
    current_tolerance_frac: float = Field(default=0.05, gt=0.0, le=0.5)
    least_irradiance_w_m2: float = Field(
        default=400.0, ge=0.0, le=1000.0,
        description="below it a current reading is not conclusive"
    )
    instruments: list[Instrument] = Field(default_factory=list)


class Logger(Record):
    """[logger]: what the logger wrote, and what its columns are called."""

    file: Line = Field(default="", description="a CSV file, from this file's folder; or none")
    columns: dict[str, str] = Field(
        default_factory=dict, description="our names: time, array_power, load_power, "
        "battery_power, battery_voltage, state_of_charge, irradiance, module_temp, air_temp"
    )
    power_unit: Literal["W", "kW", "Wh", "kWh", "kWh-total"] = Field(
        default="W", description="energy is that of the interval, or a running total"
    )
    utc_offset_h: float | None = Field(
        default=None, ge=-12.0, le=14.0, multiple_of=0.25, description="default: the site's own"
    )
    time_label: Literal["start", "middle", "end"] = Field(default="start")
    weather: Literal["measured", "typical"] = Field(
        default="typical", description="measured: the irradiance in the file"
    )
