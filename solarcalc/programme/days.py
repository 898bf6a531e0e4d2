"""The programme as people read it: who does what on each day, what dries, crew-days, one answer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.text import small
from solarcalc.programme.schedule import Planned, Schedule, SiteWorks, what_can_go_on

Row = dict[str, str | int | float]
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, kw_only=True)
class Day:
    """One day of a site.

    Parameters
    ----------
    site : str
    day : date
    working : bool
        Whether it is a day of work at that site.
    work : tuple of str
        Who does what, a line a task.
    drying : tuple of str
        What must be left alone.
    people : int
        Most people there at once.
    person_h : float
        Work done [person-hours].
    outdoor : bool
        Whether rain would stop some of it.
    """

    site: str
    day: date
    working: bool
    work: tuple[str, ...]
    drying: tuple[str, ...]
    people: int
    person_h: float
    outdoor: bool


def day_words(day: date) -> str:
    """A day as a crew reads it, the same in every locale.

    Examples
    --------
    >>> day_words(date(2027, 3, 1))
    'Mon 1 Mar 2027'
    """
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]} {day.year}"


def day_list(schedule: Schedule, site: str | None = None) -> tuple[Day, ...]:
    """Every day from the first task to the last, of one site or of all, Sundays as well.

    Parameters
    ----------
    schedule : Schedule
    site : str, optional
        Left out: all sites, day by day.
    """
    sites = [works for works in schedule.sites if site in (None, works.name)]
    first = min(one.start for works in sites for one in schedule.of(works.name)).date()
    last = max(one.finish for works in sites for one in schedule.of(works.name)).date()
    days = [first + timedelta(days=number) for number in range((last - first).days + 1)]
    return tuple(_day(schedule, works, day) for day in days for works in sites)


def day_rows(schedule: Schedule, site: str | None = None) -> list[Row]:
    """The day list as rows of a table; days without work or drying of several sites left out."""
    many = len(schedule.sites) > 1 and site is None
    rows: list[Row] = []
    for day in day_list(schedule, site):
        if many and not (day.work or day.drying):
            continue
        named: Row = {"site": day.site} if many else {}
        rest = "no work" if day.working else "day off"
        rows.append({
            "day": day_words(day.day), **named,
            "work": "; ".join(day.work) or rest,
            "curing": "; ".join(day.drying),
            "people": day.people,
            "work [h]": round(day.person_h, 2),
            "weather-dependent": "yes" if day.outdoor else "",
        })  # fmt: skip
    return rows


def spells_of(schedule: Schedule, day: date) -> list[tuple[Planned, datetime, datetime]]:
    """Tasks worked on a day by all sites, with their begin and end on it, in that order."""
    found = [one for works in schedule.sites for one in _spells(schedule, works, day)]
    return sorted(found, key=lambda one: one[1])


def task_rows(schedule: Schedule, site: str | None = None) -> list[Row]:
    """The tasks of a site as rows of a table, with their float and what can hurt."""
    works = next(one for one in schedule.sites if site in (None, one.name))
    times = schedule.networks[works.name].times
    return [
        {
            "task": one.task.name, "key": one.task.key, "crew": one.crew,
            "people": one.people,
            "work [h]": round(one.task.hours_with(one.people), 2),
            "begins": _moment(one.start), "ends": _moment(one.finish),
            "cured": _moment(one.dry_at) if one.task.wait_h else "",
            "float [h]": round(times[one.task.key].float_h, 2),
            "critical path": "yes" if one.critical else "",
            "deferred to": day_words(one.task.not_before) if one.task.not_before else "",
            "caution": one.task.caution,
        }
        for one in schedule.of(works.name)
    ]  # fmt: skip


def task_table(schedule: Schedule) -> list[Row]:
    """The tasks with their hours, when they begin and end, and by how much each may slip."""
    kept = ("task", "people", "work [h]", "begins", "ends", "cured", "float [h]",
            "critical path", "deferred to")  # fmt: skip
    return [{key: row[key] for key in kept} for row in task_rows(schedule)]


def go_on_rows(schedule: Schedule) -> list[Row]:
    """For each task that may be deferred: what else can go on while it waits."""
    return [
        {
            "postponed task": one.task.name,
            "tasks that can continue": ", ".join(
                other.task.name for other in what_can_go_on(schedule, one.task.key)
            ) or "nothing",
        }
        for one in schedule.planned if one.task.deferrable
    ]  # fmt: skip


def person_days(schedule: Schedule, site: str | None = None) -> float:
    """Work of a site or of all in days of one person: hours worked by hours of a day."""
    return sum(
        one.task.person_h / works.calendar.hours_a_day_h
        for works in schedule.sites
        if site in (None, works.name)
        for one in schedule.of(works.name)
    )


def crew_days(schedule: Schedule, site: str | None = None) -> int:
    """Days on which a crew is at a site, counted crew by crew: what travel is paid for."""
    return len({
        (one.crew, begin.date())
        for works in schedule.sites
        if site in (None, works.name)
        for one in schedule.of(works.name)
        for begin, _ in works.calendar.spells(one.start, one.finish)
    })  # fmt: skip


def programme_answer(schedule: Schedule, site: str | None = None) -> str:
    """One sentence: from when to when, how much work, what the end hangs on."""
    works = next(one for one in schedule.sites if site in (None, one.name))
    planned = schedule.of(works.name)
    begin, end = planned[0].start.date(), schedule.finish(works.name).date()
    hangs = [one.task.name for one in planned if one.critical]
    span = (end - begin).days + 1
    return (
        f"Work from {day_words(begin)} to {day_words(end)}: {span} {_plural('day', span)} "
        f"by calendar, {crew_days(schedule, works.name)} crew-days on site,"
        f" {person_days(schedule, works.name):.1f} person-days; on the critical path:"
        f" {_listed(hangs)}."
    )


def _plural(word: str, count: int) -> str:
    return word if count == 1 else word + "s"


def _listed(names: list[str]) -> str:
    """Names in a sentence; of many, the first two and the last two."""
    names = [small(name) for name in names]
    if len(names) > 5:
        return f"{'; '.join(names[:2])}; ...; {'; '.join(names[-2:])}"
    return "; ".join(names)


def _moment(moment: datetime) -> str:
    return f"{day_words(moment.date())}, {moment:%H:%M}"


def _day(schedule: Schedule, works: SiteWorks, day: date) -> Day:
    spells = list(_spells(schedule, works, day))
    moments = [begin for _, begin, _ in spells]
    people = max(
        (
            sum(one.people for one, begin, end in spells if begin <= moment < end)
            for moment in moments
        ),
        default=0,
    )
    begins, ends = works.calendar.hours_of(day)
    named = len(schedule.crews) > 1
    return Day(
        site=works.name, day=day, working=works.calendar.is_work_day(day),
        work=tuple(_line(one, begin, end, named=named) for one, begin, end in spells),
        drying=tuple(
            f"{one.task.name} until {_until(one.dry_at, day)}"
            for one in schedule.of(works.name)
            if one.task.wait_h and one.finish < ends and one.dry_at > begins
        ),
        people=people,
        person_h=sum(
            (end - begin).total_seconds() / 3600.0 * one.people for one, begin, end in spells
        ),
        outdoor=any(one.task.outdoor for one, _, _ in spells),
    )  # fmt: skip


def _spells(
    schedule: Schedule, works: SiteWorks, day: date
) -> Iterator[tuple[Planned, datetime, datetime]]:
    """Tasks worked on that day with their begin and end; a task without work at its moment."""
    for one in schedule.of(works.name):
        if one.start == one.finish and one.start.date() == day:
            yield one, one.start, one.finish
        for begin, end in works.calendar.spells(one.start, one.finish):
            if begin.date() == day:
                yield one, begin, end


def _line(one: Planned, begin: datetime, end: datetime, *, named: bool) -> str:
    who = f"{one.people} {'person' if one.people == 1 else 'people'}"
    who = f"{one.crew}, {who}" if named else who
    goes_on = ", continues next day" if one.finish > end else ""
    return f"{one.task.name} ({who}, {begin:%H:%M} to {end:%H:%M}{goes_on})"


def _until(moment: datetime, day: date) -> str:
    return f"{moment:%H:%M}" if moment.date() == day else _moment(moment)
