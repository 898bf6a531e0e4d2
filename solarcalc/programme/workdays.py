"""Work hours on the calendar, and the earliest and latest each task can begin.

Moments are the site's own clock without a zone, to the minute: crews go by the clock on the wall.
Work runs from `DAY_BEGINS` on without a break; a break at noon makes a wall dry longer, never
shorter.

Work is counted in working hours; drying runs by the clock, over nights and Sundays. Crews are
counted only in how many help with one task: who has to wait for whom is in `schedule`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.programme.tasks import Task, in_order

DAY_BEGINS = constant("programme.day_begins")
STAYS_ON = constant("programme.stays_on")

WorkDays = Literal["mon-fri", "mon-sat", "every-day"]
_LAST_WEEKDAY: dict[str, int] = {"mon-fri": 4, "mon-sat": 5, "every-day": 6}
_MINUTE = timedelta(minutes=1)
_LAST_YEAR = 2500
"""Past it a programme is a mistake in its hours, and Python's calendar is near its own end."""


@lru_cache(maxsize=1024)
def minutes_of(hours_h: float) -> timedelta:
    """A length of time [h] as a timedelta of whole minutes, rounded up."""
    return timedelta(minutes=math.ceil(hours_h * 60.0 - 1e-6))


@lru_cache(maxsize=4096)
def _day_of(day: date, hours_a_day_h: float) -> tuple[datetime, datetime]:
    begin = datetime.combine(day, time()) + minutes_of(float(DAY_BEGINS))
    return begin, begin + minutes_of(hours_a_day_h)


@dataclass(frozen=True, kw_only=True)
class Calendar:
    """Which days are worked at a site, and how long.

    Parameters
    ----------
    start : date
        Nothing is done before it.
    hours_a_day_h : float
        Working time of a day [h], above 0 up to 16.
    work_days : {"mon-fri", "mon-sat", "every-day"}
    days_off : frozenset of date
    stays_on_h : float
        What is left of a task at the end of a day is done that day where it takes no longer [h],
        and no task is begun for less than that before it.

    Examples
    --------
    >>> week = Calendar(start=date(2027, 3, 5))
    >>> week.after_work(datetime(2027, 3, 5, 12), 6.0)
    datetime.datetime(2027, 3, 6, 10, 0)
    >>> week.next_work(datetime(2027, 3, 6, 16))
    datetime.datetime(2027, 3, 8, 8, 0)
    """

    start: date
    hours_a_day_h: float = 8.0
    work_days: WorkDays = "mon-sat"
    days_off: frozenset[date] = frozenset()
    stays_on_h: float = 0.0

    def __post_init__(self) -> None:
        if not 1.0 / 60.0 <= self.hours_a_day_h <= 24.0 - float(DAY_BEGINS):
            raise InputError(
                Fault(
                    where="hours_a_day_h", given=f"{self.hours_a_day_h:g} h",
                    allowed=f"above 0 up to {24.0 - float(DAY_BEGINS):g} h",
                    why=f"work begins at {float(DAY_BEGINS):g} o'clock",
                )
            )  # fmt: skip

    def is_work_day(self, day: date) -> bool:
        """Whether people work on that day."""
        return (
            day >= self.start
            and day.weekday() <= _LAST_WEEKDAY[self.work_days]
            and day not in self.days_off
        )

    def hours_of(self, day: date) -> tuple[datetime, datetime]:
        """Begin and end of work on a day, worked or not."""
        return _day_of(day, self.hours_a_day_h)

    def late(self, moment: datetime) -> bool:
        """Whether it lies after the end of its day, by no more than people stay on."""
        end = self.hours_of(moment.date())[1]
        return self.is_work_day(moment.date()) and end < moment <= end + minutes_of(self.stays_on_h)

    def next_work(self, moment: datetime, *, closed: bool = False) -> datetime:
        """First moment at or after it from which on work goes on.

        Parameters
        ----------
        moment : datetime
        closed : bool
            Whether the end of a day counts as well: for a task without work in it.

        Raises
        ------
        InputError
            When there is none before the year 2500.
        """
        day = max(moment.date(), self.start)
        while True:
            begin, end = self.hours_of(day)
            if self.is_work_day(day) and (
                    moment < end or (closed and (moment == end or self.late(moment)))):
                return max(moment, begin)
            day = self._later(day)

    def begin_work(self, moment: datetime, work_h: float) -> datetime:
        """First moment at or after it at which people begin a task of `work_h` [h].

        The next morning, where so little is left of the day that they would hardly have unpacked,
        and the task is not done in it.
        """
        here = self.next_work(moment, closed=not work_h)
        (begin, end), few = self.hours_of(here.date()), minutes_of(self.stays_on_h)
        if here > begin and end - here < few and self.after_work(here, work_h) > end + few:
            return self.next_work(end)
        return here

    def last_work(self, moment: datetime, *, closed: bool = False) -> datetime:
        """Last moment at or before it up to which work goes on; not before the first day.

        `closed`: the begin of a day counts as well, for a task without work in it.
        """
        day = moment.date()
        while day > self.start or self.is_work_day(day):
            begin, end = self.hours_of(day)
            if self.is_work_day(day) and (moment > begin or (closed and moment == begin)):
                return moment if self.late(moment) else min(moment, end)
            day -= timedelta(days=1)
        return self.next_work(datetime.combine(self.start, time()))

    def after_work(self, moment: datetime, work_h: float) -> datetime:
        """Moment at which `work_h` [h] of working time are done, begun at `moment` or after."""
        left = minutes_of(work_h)
        here = self.next_work(moment, closed=not left)
        while True:
            end, done = self.hours_of(here.date())[1], here + left
            if done <= end or (done.date() == here.date() and self.late(done)):
                return done
            left -= end - here
            here = self.next_work(end)

    def before_work(self, moment: datetime, work_h: float) -> datetime:
        """Moment at which `work_h` [h] of working time must begin to be done at `moment`."""
        left = minutes_of(work_h)
        here = self.last_work(moment, closed=not left)
        first = self.next_work(datetime.combine(self.start, time()))
        while left and here > first:
            begin = self.hours_of((here - _MINUTE).date())[0]  # a day may end at midnight
            if left <= here - begin:
                return here - left
            left -= here - begin
            here = self.last_work(begin)
        return here

    def work_between_h(self, first: datetime, last: datetime) -> float:
        """Working time [h] between two moments; negative where `last` is before `first`."""
        if last < first:
            return -self.work_between_h(last, first)
        return sum(((end - begin) for begin, end in self.spells(first, last)), timedelta()) / (
            timedelta(hours=1)
        )

    def spells(self, first: datetime, last: datetime) -> Iterator[tuple[datetime, datetime]]:
        """Spells of work between two moments, one a day."""
        day = first.date()
        while day <= last.date():
            begin, end = self.hours_of(day)
            begin = max(begin, first)
            end = last if last.date() == day and self.late(last) else min(end, last)
            if self.is_work_day(day) and begin < end:
                yield begin, end
            day += timedelta(days=1)

    def _later(self, day: date) -> date:
        if day.year >= _LAST_YEAR:
            raise InputError(
                Fault(**worded("programme", "programme-works", year=day.year, last_year=_LAST_YEAR))
            )  # fmt: skip
        return day + timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class Times:
    """When a task can be done.

    Parameters
    ----------
    earliest_start, earliest_finish, latest_start, latest_finish : datetime
        By the site's clock.
    float_h : float
        Working time [h] it may slip without delaying the end.
    """

    earliest_start: datetime
    earliest_finish: datetime
    latest_start: datetime
    latest_finish: datetime
    float_h: float

    @property
    def critical(self) -> bool:
        """Whether the end slips when it slips."""
        return self.float_h <= 0.0


@dataclass(frozen=True, kw_only=True)
class Network:
    """Times of all tasks and the end of the last one.

    Parameters
    ----------
    times : mapping of str to Times
    finish : datetime
    """

    times: Mapping[str, Times]
    finish: datetime

    @property
    def critical(self) -> tuple[str, ...]:
        """Keys of the tasks without float, in their order."""
        return tuple(key for key, times in self.times.items() if times.critical)


def critical_path(
    tasks: Sequence[Task], calendar: Calendar, *, people: int | None = None
) -> Network:
    """Earliest and latest times and the float of each task.

    Parameters
    ----------
    tasks : sequence of Task
        At least one.
    calendar : Calendar
    people : int, optional
        Of the crew; a task gets no more of them, however many are busy elsewhere. Left out: as
        many as help.

    Returns
    -------
    Network

    Raises
    ------
    InputError
        When tasks wait for each other in a circle.

    Notes
    -----
    Forward: a task starts when all before it are done and dry. Backward from the last finish: it
    must end so that all after it can still start at their latest. Float is the working time from
    earliest to latest start.

    References
    ----------
    Method after Kelley and Walker 1959, from memory; checked against networkx and a worked
    example in the tests.
    """
    ordered = in_order(tasks)
    hours = {task.key: task.hours_with(people or task.crew_most) for task in ordered}
    early: dict[str, tuple[datetime, datetime]] = {}
    for task in ordered:
        ready = ready_at(task, ordered, {key: end for key, (_, end) in early.items()}, calendar)
        begun = calendar.begin_work(ready, hours[task.key])
        early[task.key] = (begun, calendar.after_work(begun, hours[task.key]))
    finish = max(end for _, end in early.values())
    late = _latest(ordered, hours, finish, calendar)
    times = {
        key: Times(
            earliest_start=begun, earliest_finish=end, latest_start=late[key][0],
            latest_finish=late[key][1],
            float_h=max(0.0, calendar.work_between_h(begun, late[key][0])),
        )
        for key, (begun, end) in early.items()
    }  # fmt: skip
    return Network(times=times, finish=finish)


def ready_at(
    task: Task, tasks: Sequence[Task], ends: Mapping[str, datetime], calendar: Calendar
) -> datetime:
    """First working moment at which all that a task waits for is done and dry.

    Parameters
    ----------
    task : Task
    tasks : sequence of Task
        Where its `after` is looked up.
    ends : mapping of str to datetime
        When the work of each of those is done.
    calendar : Calendar
    """
    ready = datetime.combine(task.not_before or calendar.start, time())
    for before in tasks:
        if before.key in task.after:
            ready = max(ready, free_from(before, ends[before.key], task))
    return calendar.next_work(ready, closed=not task.work_h)


def free_from(before: Task, end: datetime, task: Task) -> datetime:
    """Moment from which a task, its work ended at `end`, no longer holds up one after it."""
    return end + _wait(before, task)


def _wait(before: Task, task: Task) -> timedelta:
    return timedelta() if before.key in task.wet_after else minutes_of(before.wait_h)


def _latest(
    ordered: Sequence[Task], hours: Mapping[str, float], finish: datetime, calendar: Calendar
) -> dict[str, tuple[datetime, datetime]]:
    late: dict[str, tuple[datetime, datetime]] = {}
    for task in reversed(ordered):
        end = finish
        for later in ordered:
            if task.key not in later.after:
                continue
            end = min(end, late[later.key][0] - _wait(task, later))
        end = end if end == finish else calendar.last_work(end, closed=not task.work_h)
        begin = calendar.before_work(end, hours[task.key])
        if calendar.begin_work(begin, hours[task.key]) > begin:
            begin = calendar.hours_of(begin.date())[1] - minutes_of(calendar.stays_on_h)
        late[task.key] = (begin, end)
    return late
