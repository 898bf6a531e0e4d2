"""The tasks of a job: which there are, how long each takes, by how many people, after what.

They are derived: quantities of work by unit go in, and a task comes out where
``data/task_hours.csv`` finds work for it. A site file may then change the list and add to it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.record import but
from solarcalc.basis.sourced import Sourced
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.programme import Task as Change
from solarcalc.sitefile.programme import day_of
from solarcalc.sitefile.task_list import UNITS, ListedTask, circle_of, task_list

LOCAL = "local codes and licensed practice take precedence"
"""Stands at the end of each caution."""

ON_A_ROOF = (
    "edge protection or fall-arrest line, and never alone; modules and rails are hoisted, not"
    f" carried up a ladder; not in wind, rain or on a wet roof; {LOCAL}"
)
"""Opened: OSHA, Green Job Hazards, Solar: Falls: guarded from 6 feet on, no carrying on ladders."""


@dataclass(frozen=True, kw_only=True)
class Task:
    """One task of the programme.

    Parameters
    ----------
    key, name, trade : str
        Key of the list, name in words, and who does it: ``"builder"``, ``"painter"``, ``"roof"``,
        ``"electrician"``, or ``""`` for anybody.
    work_h : float
        Working time [h] of `crew_most` people.
    crew_least, crew_most : int
        Fewest people who may do it and most who help; fewer take longer in proportion.
    wait_h : float
        Time by the clock [h] to dry or set, after the work and before what follows.
    after : tuple of str
        Keys of what must be done before, dry or set as well.
    wet_after : tuple of str
        Those of them whose drying it need not wait for.
    set_first : tuple of str
        Those that must have set before, whatever a site file changes.
    closed_by : tuple of str
        Those that put away what it leaves dangerous, as an open trench: with what they wait for
        they come before all else that could be begun.
    not_before : date or None
        The day it is deferred to.
    deferrable, outdoor, at_height : bool
        May be left for later without danger; stops in rain; needs two people.
    caution : str
        What it can do to people, and what to do against it.
    """

    key: str
    name: str
    trade: str = ""
    work_h: float
    crew_least: int = 1
    crew_most: int
    wait_h: float = 0.0
    after: tuple[str, ...] = ()
    wet_after: tuple[str, ...] = ()
    set_first: tuple[str, ...] = ()
    closed_by: tuple[str, ...] = ()
    not_before: date | None = None
    deferrable: bool = True
    outdoor: bool = False
    at_height: bool = False
    caution: str = ""

    @property
    def person_h(self) -> float:
        """Work in it [person-hours]."""
        return self.work_h * self.crew_most

    def hours_with(self, people: int) -> float:
        """Working time [h] of that many people, of whom no more than `crew_most` count.

        Examples
        --------
        >>> Task(key="dig", name="Dig", work_h=4.0, crew_most=3).hours_with(2)
        6.0
        """
        return self.person_h / min(people, self.crew_most)


def tasks_of(quantities: Mapping[str, float]) -> tuple[Task, ...]:
    """The tasks that quantities of work make, in the order of the list.

    Travel, buying and waiting for goods are left out.

    Parameters
    ----------
    quantities : mapping of str to float
        By unit of ``solarcalc.sitefile.task_list.UNITS`` but ``once``; what is left out is 0.

    Returns
    -------
    tuple of Task
        Where a task is not there, what waits for it waits for what it would have waited for.

    Raises
    ------
    InputError
        For an unknown unit, or a quantity below zero or not finite.

    Examples
    --------
    >>> [(task.key, round(task.person_h, 2)) for task in tasks_of({"module": 14})]
    [('set-up', 3.0), ('modules', 6.3), ('handover', 3.0)]
    """
    _check(quantities)
    if not any(quantities.values()):
        return ()
    found = {listed.key: _derived(listed, quantities) for listed in task_list()}
    return _present(
        (task for task in found.values() if task),
        {listed.key: listed.after for listed in task_list()},
    )


def with_changes(
    tasks: Sequence[Task], changes: Iterable[Change], *, where: str = "site file"
) -> tuple[Task, ...]:
    """The tasks with some changed and some added; handover comes after every new one.

    A task of the list for which there is no work is there when the site file gives it work_h. A new
    task that nothing waits for is waited for by ``handover``, unless the file says itself what
    handover waits for.

    Parameters
    ----------
    tasks : sequence of Task
        Of `tasks_of`.
    changes : iterable of site file records
        ``[[programme.tasks]]``.
    where : str
        Name of the site file, for messages.

    Raises
    ------
    InputError
        For a new task without name or work_h, an `after` that names no task, a circle.
    """
    listed = {one.key: one for one in task_list()}
    found = {task.key: but(task, after=listed[task.key].after) for task in tasks}
    new: list[str] = []
    faults: list[Fault] = []
    own_end = False
    for change in changes:
        own_end |= change.key == "handover" and change.after is not None
        if change.key not in found and change.key in listed and change.work_h is not None:
            found[change.key] = _as_listed(listed[change.key])
        if change.key in found:
            found[change.key] = _changed(found[change.key], change)
        elif change.name and change.work_h is not None:
            found[change.key] = _new(change)
            new.append(change.key)
        else:
            faults.append(_unknown(change, found, where))
    if faults:
        raise InputError(faults)
    ranks = {key: rank for rank, key in enumerate(listed)}
    ordered = sorted(found.values(), key=lambda task: ranks.get(task.key, len(ranks)))
    there = _present(ordered, {key: one.after for key, one in listed.items()})
    if "handover" in found and not own_end:
        there = _handover_last(there, new)
    in_order(there, where=where)
    return there


def warned(
    tasks: Sequence[Task], cautions: Mapping[str, Sequence[str]]
) -> tuple[Task, ...]:
    """The tasks with what a site warns of before what the list says of each."""
    return tuple(
        replace(task, caution="; ".join((*cautions[task.key], task.caution or LOCAL)))
        if cautions.get(task.key) else task
        for task in tasks
    )


def in_order(tasks: Sequence[Task], *, where: str = "tasks") -> tuple[Task, ...]:
    """Tasks so that each stands after those it waits for; otherwise in the order given.

    Raises
    ------
    InputError
        When a key is there twice, an `after` names no task, or tasks wait for each other in a
        circle: the whole circle is named.
    """
    found = {task.key: task for task in tasks}
    faults = _unknown_before(tasks, where) + _twice(tasks, where)
    circle = [] if faults else circle_of({key: task.after for key, task in found.items()})
    if circle:
        faults = [_circle_fault(circle, where)]
    if faults:
        raise InputError(faults)
    done: dict[str, Task] = {}
    while len(done) < len(found):
        done.update({
            key: task for key, task in found.items()
            if key not in done and done.keys() >= set(task.after)
        })  # fmt: skip
    return tuple(done.values())


def waits_for(tasks: Iterable[Task]) -> dict[str, frozenset[str]]:
    """Each task's key with the keys of all that must be done before it, however far back."""
    before: dict[str, frozenset[str]] = {}
    for task in in_order(tuple(tasks)):
        direct = frozenset(task.after)
        before[task.key] = direct.union(*(before[key] for key in direct))
    return before


def labour_assumptions(*, room_built: bool) -> tuple[Sourced, ...]:
    """What a unit of work takes, with its source; a room only where one is built."""
    found: list[Sourced] = []
    for listed in task_list():
        for rate in listed.rates if room_built or not listed.of_the_room else ():
            unit = UNITS[rate.unit]
            label = f"{listed.name}: {'an' if unit[0] in 'aeiou' else 'a'} {unit}"
            if rate.unit == "once":
                label = f"{listed.name}: {UNITS['once']}"
            found.append(Sourced(label=label, value=rate.person_h, unit="person-hours",
                                 source=rate.source))  # fmt: skip
            if rate.wait_h:
                found.append(Sourced(label=f"{listed.name}: sets or dries", value=rate.wait_h,
                                     unit="h by the clock", source=rate.source))  # fmt: skip
    return tuple(found)


def _check(quantities: Mapping[str, float]) -> None:
    faults = [
        Fault(where=f"quantities: {name}", given=f"{value}", allowed="0 to 1 million")
        for name, value in quantities.items()
        if name in UNITS and not 0.0 <= value <= 1e6
    ]
    faults += [
        Fault(where="quantities", given=repr(name), allowed="one of " + ", ".join(list(UNITS)[1:]),
              remedy=f"did you mean {near}?" if (near := nearest(name, UNITS)) else "")
        for name in quantities if name not in UNITS or name == "once"
    ]  # fmt: skip
    if faults:
        raise InputError(faults)


def _derived(listed: ListedTask, quantities: Mapping[str, float]) -> Task | None:
    """A task of the list with its hours; None where there is no work for it."""
    own = [rate for rate in listed.rates if quantities.get(rate.unit, 0.0) > 0.0]
    once = [rate for rate in listed.rates if rate.unit == "once"]
    if not own and len(once) < len(listed.rates):
        return None
    person_h = sum(rate.person_h * quantities[rate.unit] for rate in own)
    person_h += sum(rate.person_h for rate in once)
    return but(
        _as_listed(listed), work_h=person_h / listed.crew_most,
        wait_h=max(rate.wait_h for rate in own + once),
    )  # fmt: skip


def _as_listed(listed: ListedTask) -> Task:
    """A task of the list, its work still 0."""
    caution = f"{listed.caution}; {LOCAL}" if listed.caution else ""
    if listed.at_height:
        caution = f"{listed.caution}; {ON_A_ROOF}" if listed.caution else ON_A_ROOF
    return Task(
        key=listed.key, name=listed.name, trade=listed.trade, work_h=0.0,
        crew_least=listed.crew_least, crew_most=listed.crew_most, after=listed.after,
        wet_after=listed.wet_after, set_first=listed.set_first, closed_by=listed.closed_by,
        deferrable=listed.deferrable, outdoor=listed.outdoor, at_height=listed.at_height,
        caution=caution,
    )  # fmt: skip


def _present(tasks: Iterable[Task], listed: Mapping[str, Sequence[str]]) -> tuple[Task, ...]:
    """The tasks, each waiting only for tasks that are there.

    In place of a task of the list that is not there it waits for what that one waits for.
    """
    tasks = tuple(tasks)
    there = {task.key for task in tasks}

    def instead(key: str) -> Iterator[str]:
        if key in there or key not in listed:
            yield key
        else:
            for before in listed[key]:
                yield from instead(before)

    def awaited(task: Task) -> Iterator[str]:
        for key in task.after:
            yield from (one for one in instead(key) if one == key or one != task.key)

    return tuple(but(task, after=tuple(dict.fromkeys(awaited(task)))) for task in tasks)


def _changed(task: Task, change: Change) -> Task:
    """A task of the list as the file wants it; with other people, the same work in other time."""
    crew = change.crew or task.crew_most
    work_h = task.person_h / crew if change.work_h is None else change.work_h
    return replace(
        task,
        name=change.name or task.name,
        work_h=work_h,
        wait_h=task.wait_h if change.wait_h is None else change.wait_h,
        crew_least=change.crew or task.crew_least,
        crew_most=crew,
        after=task.after if change.after is None
        else tuple(dict.fromkeys((*change.after, *task.set_first))),
        not_before=day_of(change.deferred_to),
    )


def _new(change: Change) -> Task:
    people = change.crew or 1
    first = ("room-roof",) if change.inside else ()
    return Task(
        key=change.key, name=change.name, work_h=change.work_h or 0.0, crew_least=people,
        crew_most=people, wait_h=change.wait_h or 0.0,
        after=tuple(dict.fromkeys((*(change.after or ()), *first))), set_first=first,
        not_before=day_of(change.deferred_to),
    )  # fmt: skip


def _handover_last(tasks: tuple[Task, ...], new: Sequence[str]) -> tuple[Task, ...]:
    waited = {key for task in tasks for key in task.after}
    loose = [key for key in new if key not in waited]
    return tuple(
        replace(task, after=(*task.after, *loose)) if task.key == "handover" else task
        for task in tasks
    )


def _unknown(change: Change, known: Iterable[str], where: str) -> Fault:
    known = list(known)
    near = nearest(change.key, known)
    return Fault(remedy=f"did you mean {near}?" if near else "", **worded(
        "programme", "programme-tasks", where=where, change_key=change.key, known=", ".join(known),
    ))  # fmt: skip


def _unknown_before(tasks: Sequence[Task], where: str) -> list[Fault]:
    known = [task.key for task in tasks]
    return [
        Fault(
            where=f"{where}: programme.tasks, after of {task.key}", given=repr(key),
            allowed="one of " + ", ".join(known), why="no such task",
            remedy=f"did you mean {near}?" if (near := nearest(key, known)) else "",
        )
        for task in tasks
        for key in task.after
        if key not in known
    ]  # fmt: skip


def _twice(tasks: Sequence[Task], where: str) -> list[Fault]:
    keys = [task.key for task in tasks]
    return [
        Fault(where=f"{where}: programme.tasks", given=f"{key!r} twice", allowed="each task once")
        for key in dict.fromkeys(keys)
        if keys.count(key) > 1
    ]


def _circle_fault(circle: Sequence[str], where: str) -> Fault:
    itself = len(circle) == 2
    return Fault(
        where=f"{where}: programme.tasks", given=" after ".join(circle),
        allowed="tasks that wait for others, never for themselves",
        why="a task waits for itself" if itself else "none of these could ever begin",
        remedy=f"take one of them out of the after of {circle[0]}" if itself else
        "take one of these links out of an after",
    )  # fmt: skip
