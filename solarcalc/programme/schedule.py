"""Who works where and when: tasks laid on the days of the crews, for one site or several.

The serial method: of the tasks whose predecessors are placed, the one with the latest start that
comes first goes next, at the earliest moment at which a crew has enough people; before all others
what closes what stands open, and what that waits for. It is quick and the same every time; it need
not be the shortest programme there is. A task once begun is not left for another, and people who
began it finish it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from functools import partial

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.record import but
from solarcalc.basis.worded import worded
from solarcalc.programme.tasks import (
    ON_A_ROOF,
    Task,
    in_order,
    tasks_of,
    waits_for,
    warned,
    with_changes,
)
from solarcalc.programme.workdays import (
    STAYS_ON,
    Calendar,
    Network,
    critical_path,
    free_from,
    minutes_of,
    ready_at,
)
from solarcalc.sitefile.programme import Programme, day_of

_DAY = timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class Away:
    """People of a crew who work elsewhere: from the day `first`, back on the day `back`."""

    people: int
    first: date
    back: date | None = None


@dataclass(frozen=True, kw_only=True)
class Crew:
    """People who travel and work together; at one site a day.

    Parameters
    ----------
    name : str
    people : int
    trades : tuple of str
        What they do; empty: everything.
    away : tuple of Away
    """

    name: str
    people: int
    trades: tuple[str, ...] = ()
    away: tuple[Away, ...] = ()

    def people_on(self, day: date) -> int:
        """How many of them are there on that day."""
        gone = sum(
            one.people
            for one in self.away
            if one.first <= day and (one.back is None or day < one.back)
        )
        return max(0, self.people - gone)

    def does(self, task: Task) -> bool:
        """Whether the task is of their trades."""
        return not self.trades or not task.trade or task.trade in self.trades


@dataclass(frozen=True, kw_only=True)
class SiteWorks:
    """The tasks of one site on its calendar; `priority` 1 is served before 2."""

    name: str
    tasks: tuple[Task, ...]
    calendar: Calendar
    priority: int = 1


@dataclass(frozen=True, kw_only=True)
class Planned:
    """A task in its place.

    Parameters
    ----------
    site : str
    task : Task
    crew : str
    people : int
    start, finish, dry_at : datetime
        Begin and end of the work, and when it is dry, by the site's clock.
    critical : bool
        Whether the end of that site slips when this does, crews as they are.
    """

    site: str
    task: Task
    crew: str
    people: int
    start: datetime
    finish: datetime
    dry_at: datetime
    critical: bool = False


@dataclass(frozen=True, kw_only=True)
class Schedule:
    """All planned tasks, in the order they begin.

    Parameters
    ----------
    planned : tuple of Planned
    sites : tuple of SiteWorks
    crews : tuple of Crew
    networks : mapping of str to Network
        By site: times and floats as if no task waited for people.
    """

    planned: tuple[Planned, ...]
    sites: tuple[SiteWorks, ...]
    crews: tuple[Crew, ...]
    networks: Mapping[str, Network]

    @property
    def tasks(self) -> tuple[Task, ...]:
        """All tasks in the order they begin."""
        return tuple(one.task for one in self.planned)

    def of(self, site: str) -> tuple[Planned, ...]:
        """The planned tasks of one site."""
        return tuple(one for one in self.planned if one.site == site)

    def at(self, key: str, site: str | None = None) -> Planned | None:
        """The planned task of that key at a site, by default the first site; None: not there."""
        name = self.sites[0].name if site is None else site
        return next((one for one in self.of(name) if one.task.key == key), None)

    def finish(self, site: str | None = None) -> datetime:
        """End of the last task of a site, or of all."""
        return max(one.finish for one in self.planned if site in (None, one.site))


@dataclass
class _Diary:
    """What a crew is promised to."""

    crew: Crew
    kept: list[tuple[datetime, datetime, int, str]] = field(default_factory=list)

    def fits(self, site: SiteWorks, start: datetime, end: datetime, people: int) -> bool:
        for begin, stop in site.calendar.spells(start, end):
            there = self.crew.people_on(begin.date())
            near = [
                one for one in self.kept
                if one[0].date() <= begin.date() <= one[1].date()
            ]  # fmt: skip
            if any(one[3] != site.name for one in near):
                return False
            for moment in {begin, *(one[0] for one in near if begin < one[0] < stop)}:
                busy = sum(one[2] for one in near if one[0] <= moment < one[1])
                if busy + people > there:
                    return False
        return True

    def moments(self, site: SiteWorks, ready: datetime) -> list[datetime]:
        """Moments at which people may come free, from `ready` on."""
        found: set[datetime] = set()
        for _, end, _, name in self.kept:
            free = end if name == site.name else datetime.combine(end.date(), time()) + _DAY
            found.add(free)
        for one in self.crew.away:
            if one.back is not None:
                found.add(datetime.combine(one.back, time()))
        later = {site.calendar.next_work(moment) for moment in found if moment >= ready}
        return sorted({ready, *later})


def share_crews(programmes: Iterable[SiteWorks], crews: Sequence[Crew]) -> Schedule:
    """Tasks of several sites placed on shared crews: no crew at two sites on one day.

    A site of a lower `priority` number is placed first; the others take the days that are left,
    such as those on which a wall dries elsewhere.

    Parameters
    ----------
    programmes : iterable of SiteWorks
        Each with a name of its own.
    crews : sequence of Crew
        At least one.

    Returns
    -------
    Schedule

    Raises
    ------
    InputError
        For a name given twice, no crew, no task, a circle, or a task that no crew can do.
    """
    sites, diaries = tuple(programmes), [_Diary(crew) for crew in crews]
    _check_names(sites, diaries)
    networks = {
        site.name: critical_path(site.tasks, site.calendar, people=_most(crews)) for site in sites
    }
    placed: list[Planned] = []
    for site in sorted(sites, key=lambda one: one.priority):
        for task in _by_latest_start(site, networks[site.name]):
            placed.append(_place(task, site, diaries, placed))
    critical = {
        (site.name, key) for site in sites for key in _holds_up(site, placed, diaries)
    }
    order = {site.name: number for number, site in enumerate(sites)}
    planned = (
        but(one, critical=(one.site, one.task.key) in critical) for one in placed
    )
    return Schedule(
        planned=tuple(sorted(planned, key=lambda one: (one.start, one.finish, order[one.site]))),
        sites=sites, crews=tuple(crews), networks=networks,
    )  # fmt: skip


def schedule_site(works: SiteWorks, crew: Crew) -> Schedule:
    """One site's tasks placed on its own crew; see `share_crews`."""
    return share_crews((works,), (crew,))


def what_can_go_on(
    schedule: Schedule, key: str, site: str | None = None
) -> tuple[Planned, ...]:
    """Tasks that can be worked on while one waits, in the order they begin.

    Neither what the task waits for, which is done by then, nor what waits for it. Where the task
    is deferred in the programme: those worked on between the day it was due and its new day.

    Raises
    ------
    InputError
        For a key that the site's programme does not have.
    """
    works = _site_of(schedule, site)
    waiting = schedule.at(key, works.name)
    if waiting is None:
        raise InputError(
            Fault(
                where=f"programme of {works.name}", given=repr(key),
                allowed="one of " + ", ".join(task.key for task in works.tasks),
            )
        )  # fmt: skip
    ends = {one.task.key: one.finish for one in schedule.of(works.name)}
    undeferred = replace(waiting.task, not_before=None)
    due = ready_at(undeferred, works.tasks, ends, works.calendar)
    before = waits_for(works.tasks)
    deferred = waiting.task.not_before is not None
    return tuple(
        one
        for one in schedule.of(works.name)
        if one.task.key not in before[key] | {key}
        and key not in before[one.task.key]
        and one.finish > due
        and (not deferred or one.start < waiting.start)
    )


def _site_of(schedule: Schedule, site: str | None) -> SiteWorks:
    return next(one for one in schedule.sites if site in (None, one.name))


def _most(crews: Sequence[Crew]) -> int:
    return max(crew.people for crew in crews)


def _check_names(sites: Sequence[SiteWorks], diaries: Sequence[_Diary]) -> None:
    if not diaries or not sites or not all(site.tasks for site in sites):
        raise InputError(
            Fault(where="programme of works", given="nothing to place, or nobody to do it",
                  allowed="at least one crew, one site, and one task a site")
        )  # fmt: skip
    for what, names in (
        ("site", [site.name for site in sites]), ("crew", [one.crew.name for one in diaries]),
    ):  # fmt: skip
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise InputError(
                Fault(where=f"programme of works: {what}s", given=f"{twice!r} twice",
                      allowed=f"each {what} under its own name")
            )  # fmt: skip


def _by_latest_start(site: SiteWorks, network: Network) -> Iterator[Task]:
    """Tasks of a site, each after those before it, by latest start, then as listed.

    First of all what closes what stands open, and what that waits for.
    """
    left, done, urgent = list(in_order(site.tasks)), set[str](), set[str]()
    before = waits_for(site.tasks)
    while left:
        free = [task for task in left if done.issuperset(task.after)]
        task = min(free, key=lambda one: (
            one.key not in urgent, network.times[one.key].latest_start))  # fmt: skip
        left.remove(task)
        done.add(task.key)
        for key in before.keys() & task.closed_by:
            urgent |= {key, *before[key]}
        yield task


def _place(
    task: Task, site: SiteWorks, diaries: Sequence[_Diary], placed: Sequence[Planned]
) -> Planned:
    """The task where it is done soonest; on a tie by the first crew, with the fewest people."""
    ends = {one.task.key: one.finish for one in placed if one.site == site.name}
    ready = ready_at(task, site.tasks, ends, site.calendar)
    best: tuple[datetime, int, int, datetime] | None = None
    for number, diary in enumerate(diaries):
        if not diary.crew.does(task):
            continue
        moments = diary.moments(site, ready)
        for people in range(task.crew_least, min(task.crew_most, diary.crew.people) + 1):
            work_h = task.hours_with(people)
            for moment in moments:
                start = site.calendar.begin_work(moment, work_h)
                end = site.calendar.after_work(start, work_h)
                if diary.fits(site, start, end, people):
                    best = min(best or (end, number, people, start), (end, number, people, start))
                    break
    if best is None:
        raise InputError(_nobody(task, site, diaries))
    end, number, people, start = best
    diaries[number].kept.append((start, end, people, site.name))
    return Planned(
        site=site.name, task=task, crew=diaries[number].crew.name, people=people, start=start,
        finish=end, dry_at=end + minutes_of(task.wait_h),
    )  # fmt: skip


def _nobody(task: Task, site: SiteWorks, diaries: Sequence[_Diary]) -> Fault:
    crews = "; ".join(
        f"{one.crew.name}: {one.crew.people} people" + (
            f", {' and '.join(one.crew.trades)}" if one.crew.trades else "")
        + (", some of them away" if one.crew.away else "")
        for one in diaries
    )
    return Fault(given=crews, **worded(
        "programme", "programme", site_name=site.name, task_key=task.key,
        crew_least=task.crew_least,
        trade_said=f" who do the work of: {task.trade}" if task.trade else "",
    ))  # fmt: skip


def _holds_up(
    site: SiteWorks, placed: Sequence[Planned], diaries: Sequence[_Diary]
) -> set[str]:
    """Tasks of a site that its end hangs on: traced back by what each began right after."""
    own = {one.task.key: one for one in placed if one.site == site.name}
    ends = {key: one.finish for key, one in own.items()}
    last = max(ends.values())
    todo, found = [key for key, end in ends.items() if end == last], set[str]()
    while todo:
        key = todo.pop()
        if key in found:
            continue
        found.add(key)
        one = own[key]
        begun = partial(site.calendar.begin_work, work_h=one.task.hours_with(one.people))
        if one.start == begun(ready_at(one.task, site.tasks, ends, site.calendar)):
            todo += [
                before for before in one.task.after
                if begun(free_from(own[before].task, ends[before], one.task)) == one.start
            ]  # fmt: skip
        else:
            todo += [
                other for other, end in ends.items()
                if own[other].crew == one.crew and begun(end) == one.start
            ]  # fmt: skip
    return found


def site_works(
    programme: Programme, quantities: Mapping[str, float], *, name: str, where: str = "site file",
    cautions: Mapping[str, Sequence[str]] | None = None,
) -> SiteWorks:  # fmt: skip
    """Tasks, calendar and priority of a site, for `share_crews`.

    Parameters
    ----------
    programme : Programme
        ``[programme]`` of the site file.
    quantities : mapping of str to float
        Of work, by unit; see `tasks_of`.
    name, where : str
        Name of the site, and of its file for messages.
    cautions : mapping of str to sequence of str, optional
        By task, what the site asks for beside the list: `sitefile.dangers.task_cautions`.

    Raises
    ------
    InputError
        For a day that is none, and whatever `with_changes` refuses.
    """
    days_off = frozenset(
        _day(text, f"{where}: programme.days_off") for text in programme.days_off
    )
    calendar = Calendar(
        start=_day(programme.start, f"{where}: programme.start"),
        hours_a_day_h=programme.hours_a_day_h, work_days=programme.work_days, days_off=days_off,
        stays_on_h=float(STAYS_ON),
    )  # fmt: skip
    tasks = with_changes(tasks_of(quantities), programme.tasks, where=where)
    return SiteWorks(
        name=name, tasks=warned(tasks, cautions or {}), calendar=calendar,
        priority=programme.priority,
    )


def site_crew(programme: Programme, *, name: str = "crew", where: str = "site file") -> Crew:
    """The site's own crew, half of it (the smaller half) away where the file says so."""
    away: tuple[Away, ...] = ()
    if programme.half_crew_released_on:
        back = programme.half_crew_back_on
        away = (
            Away(
                people=programme.crew // 2,
                first=_day(programme.half_crew_released_on,
                           f"{where}: programme.half_crew_released_on"),
                back=_day(back, f"{where}: programme.half_crew_back_on") if back else None,
            ),
        )
    return Crew(name=name, people=programme.crew, away=away)


def site_schedule(
    programme: Programme, quantities: Mapping[str, float], *, name: str, where: str = "site file",
    cautions: Mapping[str, Sequence[str]] | None = None,
) -> Schedule:  # fmt: skip
    """The programme of one site on its own crew."""
    return schedule_site(
        site_works(programme, quantities, name=name, where=where, cautions=cautions),
        site_crew(programme, where=where),
    )


def programme_cautions(tasks: Iterable[Task]) -> tuple[str, ...]:
    """What in these tasks can hurt and what is done against it; local codes have the last word."""
    tasks = tuple(tasks)
    roof = [task.name.lower() for task in tasks if task.at_height]
    lines = [f"On the roof ({', '.join(roof)}): {ON_A_ROOF}."] if roof else []
    lines += [
        f"{task.name}: {task.caution}." for task in tasks if task.caution and not task.at_height
    ]
    if any(task.key == "modules" for task in tasks):
        lines.append("Modules are live in any light; connectors stay capped until connected.")
    lines.append(
        "These times are for planning. Local codes, licensed electricians and the person"
        " responsible for the building decide who may do the work, and how."
    )
    return tuple(dict.fromkeys(lines))


def _day(text: str, where: str) -> date:
    day = day_of(text)
    if day is None:
        raise InputError(
            Fault(where=where, given=repr(text), allowed='a day as "YYYY-MM-DD"',
                  why="no such day in the calendar")
        )  # fmt: skip
    return day
