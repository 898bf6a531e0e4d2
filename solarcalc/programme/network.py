"""Critical path: the earliest and the latest each task can be done, on a calendar of work days.

Work is counted in working hours; drying runs by the clock, over nights and Sundays. Crews are
counted only in how many help with one task: who has to wait for whom is in `schedule`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from solarcalc.programme.tasks import Task, in_order
from solarcalc.programme.workdays import Calendar, minutes_of


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
        begun = ready_at(task, ordered, {key: end for key, (_, end) in early.items()}, calendar)
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
        late[task.key] = (calendar.before_work(end, hours[task.key]), end)
    return late
