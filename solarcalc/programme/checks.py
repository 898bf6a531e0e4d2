"""Checks of a programme: what must come before what, drying, height, and enough people.

They read the placed tasks alone, so that a list changed in the site file is checked as it stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta

from solarcalc.basis.check import Check, checked
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.worded import worded
from solarcalc.programme.days import day_words
from solarcalc.programme.schedule import Planned, Schedule, SiteWorks
from solarcalc.programme.workdays import free_from

PLASTER_AGE_DAYS = 28
"""Opened. The trade paints a power room within days; the check says so as a caution."""

VERIFIED_SOURCE = (
    "IEC 60364-6 cl. 6.4.1.1: verified on completion, before being put into service (as printed in"
    " the contents of draft BS EN 60364-6, 15/30289587)"
)
HEIGHT_SOURCE = f"never alone on a roof; {NO_SOURCE}"


def programme_checks(schedule: Schedule, site: str | None = None) -> tuple[Check, ...]:
    """All checks of one site's programme.

    Parameters
    ----------
    schedule : Schedule
    site : str, optional
        Left out: the first.

    Returns
    -------
    tuple of Check
        A check whose tasks the programme does not have is left out.
    """
    works = next(one for one in schedule.sites if site in (None, one.name))
    planned = {one.task.key: one for one in schedule.of(works.name)}
    found = [
        *_drying(planned, works),
        *_fresh(planned),
        *_batteries(planned),
        *_earth(planned),
        *_tests(planned),
        *_two_people(planned),
        *_plaster_age(planned),
    ]
    return (*found, crews_check(schedule))


def crews_check(schedule: Schedule) -> Check:
    """Whether every crew has the people it is promised for, and is at one site a day."""
    worst: list[str] = []
    for crew in schedule.crews:
        there = [one for one in schedule.planned if one.crew == crew.name]
        sites: dict[date, str] = {}
        for day, site, people in _promised(schedule, there):
            if people > crew.people_on(day):
                worst.append(f"{crew.name}: {people} people on {day_words(day)}")
            if sites.setdefault(day, site) != site:
                worst.append(f"{crew.name}: {sites[day]} and {site} on {day_words(day)}")
    return checked(
        not worst, "failed", **worded("programme", "people-promised-people"),
        found=worst[0] if worst else "never more assigned than available",
    )  # fmt: skip


def _promised(schedule: Schedule, there: Iterable[Planned]) -> Iterator[tuple[date, str, int]]:
    """Day, site, and most people of that crew at work there at once."""
    calendars = {works.name: works.calendar for works in schedule.sites}
    days: dict[tuple[date, str], list[tuple[datetime, datetime, int]]] = {}
    for one in there:
        for begin, end in calendars[one.site].spells(one.start, one.finish):
            days.setdefault((begin.date(), one.site), []).append((begin, end, one.people))
    for (day, site), spells in days.items():
        yield day, site, max(
            sum(people for first, last, people in spells if first <= begin < last)
            for begin, _, _ in spells
        )


def _hours(first: datetime, last: datetime) -> float:
    return (last - first) / timedelta(hours=1)


def _drying(planned: dict[str, Planned], works: SiteWorks) -> Iterator[Check]:
    """The tightest of the drying times: hours by the clock from the end of the work."""
    pairs = [
        (_hours(planned[key].finish, one.start), planned[key], one)
        for one in planned.values()
        for key in one.task.after
        if key in planned and planned[key].task.wait_h and key not in one.task.wet_after
    ]
    if not pairs:
        return
    given, before, after = min(pairs, key=lambda pair: pair[0] - pair[1].task.wait_h)
    yield checked(
        all(
            free_from(first.task, first.finish, then.task) <= then.start
            for _, first, then in pairs
        ), "failed",
        rule="programme/drying", kind="safety",
        item="Curing time between tasks",
        found=f"{given:.1f} from {before.task.name.lower()} to {after.task.name.lower()}, the"
        " smallest margin", limit=f"at least {before.task.wait_h:.1f}", unit="h", clause=NO_SOURCE,
        remedy="begin the later task after the curing time of the earlier one",
    )  # fmt: skip


def _fresh(planned: dict[str, Planned]) -> Iterator[Check]:
    """Nobody works on or under what was cast or laid and has not set."""
    pairs = [
        (one.start - planned[key].dry_at, planned[key], one)
        for one in planned.values() for key in one.task.set_first
        if key in planned and planned[key].task.wait_h
    ]  # fmt: skip
    if not pairs:
        return
    spare, fresh, first = min(pairs, key=lambda pair: pair[0])
    yield checked(spare >= timedelta(), "failed", **worded(
        "programme", "fresh-part", task_name=first.task.name.lower(), start=_when(first.start),
        fresh_name=fresh.task.name.lower(), set_at=_when(fresh.dry_at), wait_h=fresh.task.wait_h,
    ))  # fmt: skip


def _batteries(planned: dict[str, Planned]) -> Iterator[Check]:
    """Batteries only into a painted, dry room that can be locked."""
    bank = planned.get("battery")
    ready = [
        one for key in ("room-roof", "door", "top-coat") if (one := planned.get(key))
    ]
    if bank is None or not ready:
        return
    last = max(ready, key=lambda one: one.dry_at)
    yield checked(bank.start >= last.dry_at, "failed", **worded(
        "programme", "batteries-go-into", start=_when(bank.start), dry_at=_when(last.dry_at),
        task_name=last.task.name.lower(),
    ))  # fmt: skip


def _earth(planned: dict[str, Planned]) -> Iterator[Check]:
    earth = planned.get("earth")
    first = _earliest(planned, ("boards", "battery", "modules"))
    if first is None:
        return
    yield checked(
        earth is not None and earth.finish <= first.start, "failed",
        rule="programme/earth-first", kind="safety",
        item="Earth before equipment",
        found=f"earth done {_when(earth.finish)}" if earth else "no task earth",
        limit=f"not after {_when(first.start)} ({first.task.name.lower()})", clause=NO_SOURCE,
        remedy="keep earth in the after of rails and boards",
    )  # fmt: skip


def _tests(planned: dict[str, Planned]) -> Iterator[Check]:
    tests, end = planned.get("tests"), planned.get("handover")
    if end is None:
        return
    yield checked(
        tests is not None and tests.finish <= end.start, "failed",
        rule="programme/tests-first", kind="safety",
        item="Tests before handover",
        found=f"tests done {_when(tests.finish)}" if tests else "no task tests",
        limit=f"not after {_when(end.start)}", clause=VERIFIED_SOURCE,
        remedy="keep tests in the after of handover",
    )  # fmt: skip


def _two_people(planned: dict[str, Planned]) -> Iterator[Check]:
    """Work at height, and carrying batteries, with two or more."""
    for item, some in (
        ("People at work at height", [one for one in planned.values() if one.task.at_height]),
        ("People who carry batteries", [planned[k] for k in ("battery",) if k in planned]),
    ):  # fmt: skip
        if some:
            fewest = min(some, key=lambda one: one.people)
            yield checked(
                fewest.people >= 2, "failed",
                rule="programme/never-alone", kind="safety",
                item=item,
                found=f"{fewest.people} ({fewest.task.name.lower()})", limit="at least 2",
                unit="people", clause=HEIGHT_SOURCE if fewest.task.at_height else NO_SOURCE,
                remedy="two or more people, by a larger crew or another day; local codes decide",
            )  # fmt: skip


def _plaster_age(planned: dict[str, Planned]) -> Iterator[Check]:
    coat, plaster = planned.get("primer"), planned.get("render")
    if coat is None or plaster is None:
        return
    age_days = _hours(plaster.finish, coat.start) / 24.0
    yield checked(age_days >= PLASTER_AGE_DAYS, "review", **worded(
        "programme", "age-plaster-first", age_days=age_days, plaster_age_days=PLASTER_AGE_DAYS,
        later_days=PLASTER_AGE_DAYS - age_days,
    ))  # fmt: skip


def _earliest(planned: dict[str, Planned], keys: Iterable[str]) -> Planned | None:
    there = [planned[key] for key in keys if key in planned]
    return min(there, key=lambda one: one.start, default=None)


def _when(moment: datetime) -> str:
    return f"{day_words(moment.date())}, {moment:%H:%M}"
