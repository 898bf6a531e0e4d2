"""Pictures of a programme: bars by day, drying as thin lines, in black and white as well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from textwrap import shorten
from typing import TYPE_CHECKING

from matplotlib.figure import Figure
from matplotlib.patches import Patch, Rectangle

from solarcalc.basis.hours import MONTHS
from solarcalc.figures.style import INK, LIGHT, PALE, sheet, styled
from solarcalc.programme.days import crew_days, day_words
from solarcalc.programme.schedule import Planned, Schedule, SiteWorks
from solarcalc.programme.workdays import ready_at

if TYPE_CHECKING:
    from matplotlib.axes import Axes

HATCHES = ("", "////", "....", "xxxx", "\\\\\\\\", "++++")
"""One a crew in the picture of several sites, over and over."""

MOST_NAMED_DAYS = 31
"""Of a longer programme only the Mondays are named."""
MOST_LETTERS = 44
"""Of a name beside the picture: a longer one leaves no room for it."""

_BAR = 0.56


@styled
def draw_programme(schedule: Schedule, site: str | None = None) -> Figure:
    """Tasks of one site by day: hatched where the end hangs on it, thin lines where it dries.

    A day of work is one column wide, from the first hour of work to the last; nights are its
    edges. Days without work are shaded.
    """
    works = next(one for one in schedule.sites if site in (None, one.name))
    planned = schedule.of(works.name)
    days = _days(schedule, planned)
    figure, (axis,) = sheet(max(6.4, min(11.0, 2.8 + 0.36 * len(days))), 1.5 + 0.24 * len(planned))
    _draw_days(axis, days, [works], len(planned))
    for level, one in enumerate(planned):
        _draw_task(axis, one, works, days[0], level)
        _draw_deferral(axis, one, schedule, works, (days[0], level))
    axis.set_yticks(
        range(len(planned)), [shorten(one.task.name, MOST_LETTERS) for one in planned]
    )
    axis.set_title(
        f"{works.name}: done on {day_words(schedule.finish(works.name).date())},"
        f" {crew_days(schedule, works.name)} crew-days on site"
    )
    handles: list[Patch | object] = [
        Patch(fc="white", ec=INK, hatch="////", label="on the critical path"),
        Patch(fc=LIGHT, ec=INK, label="has float"),
        axis.plot([], [], color=INK, lw=1.0, label="dries")[0],
    ]
    if any(one.task.not_before for one in planned):
        handles += axis.plot([], [], color=INK, lw=1.0, ls=":", marker="|", label="deferred")
    handles.append(Patch(fc=PALE, ec="none", label="no work"))
    _legend(axis, handles)
    return figure


@styled
def draw_sites(schedule: Schedule) -> Figure:
    """Several sites in one picture: a line a site and crew, the hatch says which crew."""
    lines = [
        (works, crew.name)
        for works in schedule.sites
        for crew in schedule.crews
        if any(one.crew == crew.name for one in schedule.of(works.name))
    ]
    days = _days(schedule, schedule.planned)
    figure, (axis,) = sheet(max(6.4, min(11.0, 2.8 + 0.3 * len(days))), 1.6 + 0.32 * len(lines))
    _draw_days(axis, days, schedule.sites, len(lines))
    hatch = {
        crew.name: HATCHES[number % len(HATCHES)] for number, crew in enumerate(schedule.crews)
    }
    for level, (works, crew) in enumerate(lines):
        for one in schedule.of(works.name):
            if one.crew == crew:
                _draw_spells(axis, one, works, days[0], (level, LIGHT if not hatch[crew] else
                             "white", hatch[crew]))  # fmt: skip
                _draw_drying(axis, one, works, days[0], level)
        if level and works is not lines[level - 1][0]:
            axis.axhline(level - 0.5, color=INK, lw=0.8)
    axis.set_yticks(range(len(lines)), [
        shorten(f"{works.name}, {crew}", MOST_LETTERS) for works, crew in lines
    ])
    axis.set_title(
        f"{len(schedule.sites)} sites, {len(schedule.crews)}"
        f" {'crew' if len(schedule.crews) == 1 else 'crews'}: all done on"
        f" {day_words(schedule.finish().date())}"
    )
    _legend(axis, [
        *(
            Patch(fc="white" if hatch[crew.name] else LIGHT, ec=INK, hatch=hatch[crew.name],
                  label=f"{crew.name}, {crew.people} people")
            for crew in schedule.crews
        ),
        axis.plot([], [], color=INK, lw=1.0, label="dries")[0],
        Patch(fc=PALE, ec="none", label="no work"),
    ])  # fmt: skip
    return figure


def _days(schedule: Schedule, planned: Sequence[Planned]) -> list[date]:
    """First to last day, and days of drying after it."""
    first = min(one.start for one in planned).date()
    last = max(one.dry_at if one.task.wait_h else one.finish for one in planned).date()
    for one in planned:
        works = next(site for site in schedule.sites if site.name == one.site)
        first = min(first, _due(one, schedule, works).date())
    return [first + timedelta(days=number) for number in range((last - first).days + 1)]


def _due(one: Planned, schedule: Schedule, works: SiteWorks) -> datetime:
    """When a task could have begun had it not been deferred."""
    if one.task.not_before is None:
        return one.start
    ends = {other.task.key: other.finish for other in schedule.of(works.name)}
    return ready_at(replace(one.task, not_before=None), works.tasks, ends, works.calendar)


def _across(moment: datetime, works: SiteWorks, first: date) -> float:
    """Place of a moment on the sheet: whole days, the hours of work spread over each."""
    begin, end = works.calendar.hours_of(moment.date())
    share = (moment - begin) / (end - begin)
    return (moment.date() - first).days + min(1.0, max(0.0, share))


def _draw_task(axis: Axes, one: Planned, works: SiteWorks, first: date, level: int) -> None:
    look = (level, "white" if one.critical else LIGHT, "////" if one.critical else "")
    _draw_spells(axis, one, works, first, look)
    _draw_drying(axis, one, works, first, level)


def _draw_spells(
    axis: Axes, one: Planned, works: SiteWorks, first: date, look: tuple[int, str, str]
) -> None:
    """The work of each day as a bar; a task without work as a mark."""
    level, fill, hatch = look
    spells = list(works.calendar.spells(one.start, one.finish))
    for begin, end in spells:
        left, right = _across(begin, works, first), _across(end, works, first)
        axis.add_patch(
            Rectangle((left, level - _BAR / 2.0), right - left, _BAR, fc=fill, ec=INK,
                      lw=0.9, hatch=hatch, zorder=3)
        )  # fmt: skip
    if not spells:
        axis.plot([_across(one.start, works, first)], [level], marker="D", ms=5.0, color=INK,
                  zorder=3)  # fmt: skip


def _draw_drying(axis: Axes, one: Planned, works: SiteWorks, first: date, level: int) -> None:
    if one.task.wait_h:
        ends = [_across(one.finish, works, first), _across(one.dry_at, works, first)]
        axis.plot(ends, [level, level], color=INK, lw=1.0, marker="|", ms=6.0, markevery=[1],
                  zorder=2)  # fmt: skip


def _draw_deferral(
    axis: Axes, one: Planned, schedule: Schedule, works: SiteWorks, at: tuple[date, int]
) -> None:
    """A dotted line from the moment a task was due to the one it is deferred to."""
    first, level = at
    due = _due(one, schedule, works)
    if one.task.not_before is None or due >= one.start:
        return
    ends = [_across(due, works, first), _across(one.start, works, first)]
    axis.plot(ends, [level, level], color=INK, lw=1.0, ls=":", marker="|", ms=7.0, zorder=2)


def _draw_days(
    axis: Axes, days: Sequence[date], sites: Sequence[SiteWorks], levels: int
) -> None:
    """Columns of days, those on which no site works shaded, and their names."""
    for number, day in enumerate(days):
        if not any(works.calendar.is_work_day(day) for works in sites):
            axis.axvspan(number, number + 1, fc=PALE, ec="none", zorder=0)
        axis.axvline(number, color=PALE, lw=0.6, zorder=0.5)
    few = len(days) <= MOST_NAMED_DAYS
    step = 7 * max(1, len(days) // (7 * MOST_NAMED_DAYS) + 1)
    mondays = [number for number, day in enumerate(days) if day.weekday() == 0]
    named = list(range(len(days))) if few else mondays[:: step // 7]
    axis.set_xticks(
        [number + 0.5 for number in named], [_short(days[number], few) for number in named]
    )
    axis.tick_params(axis="x", length=0.0, labelsize=7.5)
    axis.tick_params(axis="y", length=0.0)
    axis.set(xlim=(0.0, len(days)), ylim=(levels - 0.4, -0.6))
    axis.set_xlabel(f"Day [from {day_words(days[0])} to {day_words(days[-1])}]")


def _short(day: date, few: bool) -> str:
    month = f"\n{MONTHS[day.month - 1]}"
    return f"{'MTWTFSS'[day.weekday()]}\n{day.day}{month if day.day == 1 or not few else ''}"


def _legend(axis: Axes, handles: Sequence[object]) -> None:
    axis.figure.legend(
        handles=handles, loc="outside lower center", ncols=min(5, len(handles)), frameon=False,
        fontsize=8.0, handlelength=2.2,
    )  # fmt: skip
