"""A site's programme: its [programme] table and its quantities of work become a schedule."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

from solarcalc.basis.errors import Fault, InputError
from solarcalc.programme.schedule import Away, Crew, Schedule, SiteWorks, schedule_site
from solarcalc.programme.tasks import ON_A_ROOF, Task, tasks_of, with_changes
from solarcalc.programme.workdays import Calendar
from solarcalc.sitefile.programme_records import Programme, day_of


def site_works(
    programme: Programme, quantities: Mapping[str, float], *, name: str, where: str = "site file"
) -> SiteWorks:
    """Tasks, calendar and priority of a site, for `share_crews`.

    Parameters
    ----------
    programme : Programme
        ``[programme]`` of the site file.
    quantities : mapping of str to float
        Of work, by unit; see `tasks_of`.
    name, where : str
        Name of the site, and of its file for messages.

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
    )  # fmt: skip
    tasks = with_changes(tasks_of(quantities), programme.tasks, where=where)
    return SiteWorks(
        name=name, tasks=tasks, calendar=calendar, priority=programme.priority
    )


def site_crew(programme: Programme, *, name: str = "crew", where: str = "site file") -> Crew:
    """The site's own crew, half of it (the smaller half) away where the file says so."""
    away: tuple[Away, ...] = ()
    if programme.half_leaves:
        back = programme.half_returns
        away = (
            Away(
                people=programme.crew // 2,
                first=_day(programme.half_leaves, f"{where}: programme.half_leaves"),
                back=_day(back, f"{where}: programme.half_returns") if back else None,
            ),
        )
    return Crew(name=name, people=programme.crew, away=away)


def site_schedule(
    programme: Programme, quantities: Mapping[str, float], *, name: str, where: str = "site file"
) -> Schedule:
    """The programme of one site on its own crew."""
    return schedule_site(
        site_works(programme, quantities, name=name, where=where),
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
        lines.append("Modules: live whenever there is light; plugs stay capped until joined.")
    lines.append(
        "These times are for planning. Who may do the work, and how, is for local codes, licensed"
        " electricians and whoever is responsible for the building."
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
