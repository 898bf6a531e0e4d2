"""Checks between the keys of the programme: days that are days, in order; tasks that are known."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from solarcalc.basis.errors import Fault
from solarcalc.basis.text import nearest
from solarcalc.sitefile.programme_records import (
    FIRST_YEAR,
    LAST_YEAR,
    day_of,
)
from solarcalc.sitefile.sound import Loc, Sound, plain, shown
from solarcalc.sitefile.task_list import held_to_their_day, task_list

_A_DAY = f'a day of {FIRST_YEAR} to {LAST_YEAR} as "YYYY-MM-DD", such as "2027-03-01"'


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


def _day(sound: Sound, loc: Loc, text: object) -> Iterator[Fault]:
    if not isinstance(text, str) or day_of(text) is None:
        yield sound.fault(loc, shown(text), _A_DAY, "no such day in the calendar")


def _calendar(sound: Sound) -> Iterator[Fault]:
    days: dict[str, date | None] = {}
    for name in ("start", "half_leaves", "half_returns"):
        text = sound.get("programme", name)
        days[name] = day_of(text) if text else None
        if text is not None and (text or name == "start"):
            yield from _day(sound, ("programme", name), text)
    for number, text in enumerate(sound.get("programme", "days_off") or []):
        yield from _day(sound, ("programme", "days_off", number), text)
    yield from _ordered(sound, ("programme", "half_leaves"), days["half_leaves"], days["start"])
    back, gone = days["half_returns"], days["half_leaves"]
    if sound.given("programme", "half_returns") and back and not sound.get(
        "programme", "half_leaves"
    ):
        yield sound.fault(
            ("programme", "half_returns"), f"{back} with no half_leaves",
            "left out where half_leaves is", "who has not left does not come back",
        )  # fmt: skip
    if back and gone and back <= gone:
        yield sound.fault(
            ("programme", "half_returns"), f"{back} with half_leaves = {gone}",
            "a day after half_leaves", "it is the first day they are back",
        )  # fmt: skip


def _ordered(sound: Sound, loc: Loc, day: date | None, start: date | None) -> Iterator[Fault]:
    if day is not None and start is not None and day < start:
        yield sound.fault(
            loc, f"{day} with start = {start}", "the first day of work or a later one",
            "nothing is done before the works start", "correct this day, or programme.start",
        )  # fmt: skip


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
            yield sound.fault(
                place, key, "keys of other tasks", "a task cannot wait for itself", "take it out"
            )
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
        yield sound.fault(
            place, f"{text} for {row['key']}", "left out for " + ", ".join(held_to_their_day()),
            "walls without a roof and joined cables without a test are not left waiting",
            "defer what comes before it, and it follows",
        )  # fmt: skip
