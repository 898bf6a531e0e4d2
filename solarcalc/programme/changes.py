"""What a site file changes in the list of tasks; their order, and the circle where none is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import nearest
from solarcalc.programme.tasks import Task, only_present, replaced
from solarcalc.sitefile.programme_records import Task as Change
from solarcalc.sitefile.programme_records import day_of


def with_changes(
    tasks: Sequence[Task], changes: Iterable[Change], *, where: str = "site file"
) -> tuple[Task, ...]:
    """The list with tasks changed and added; handover comes after every new one.

    A new task that nothing waits for is waited for by ``handover``, unless the file says itself
    what handover waits for.

    Parameters
    ----------
    tasks : sequence of Task
    changes : iterable of site file records
        ``[[programme.tasks]]``.
    where : str
        Name of the site file, for messages.

    Raises
    ------
    InputError
        For a new task without name or work_h, an `after` that names no task, a circle.
    """
    found = {task.key: task for task in tasks}
    new: list[str] = []
    faults: list[Fault] = []
    own_end = False
    for change in changes:
        own_end |= change.key == "handover" and change.after is not None
        if change.key in found:
            found[change.key] = _changed(found[change.key], change)
        elif change.name and change.work_h is not None:
            found[change.key] = _new(change)
            new.append(change.key)
        else:
            faults.append(_unknown(change, found, where))
    listed = only_present(found.values())
    if faults:
        raise InputError(faults)
    if "handover" in found and not own_end:
        listed = _handover_last(listed, new)
    in_order(listed, where=where)
    return listed


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
    if faults:
        raise InputError(faults)
    done: dict[str, Task] = {}
    while len(done) < len(found):
        ready = [
            task
            for task in found.values()
            if task.key not in done and all(key in done for key in task.after)
        ]
        if not ready:
            raise InputError(_circle_fault(_circle(found, done), where))
        done.update({task.key: task for task in ready})
    return tuple(done.values())


def waits_for(tasks: Iterable[Task]) -> dict[str, frozenset[str]]:
    """Each task's key with the keys of all that must be done before it, however far back."""
    before: dict[str, frozenset[str]] = {}
    for task in in_order(tuple(tasks)):
        direct = frozenset(task.after)
        before[task.key] = direct.union(*(before[key] for key in direct))
    return before


def _changed(task: Task, change: Change) -> Task:
    """A task of the list as the file wants it; with other people, the same work in other time."""
    crew = change.crew or task.crew_most
    work_h = task.person_h / crew if change.work_h is None else change.work_h
    return replaced(
        task,
        name=change.name or task.name,
        work_h=work_h,
        wait_h=task.wait_h if change.wait_h is None else change.wait_h,
        crew_least=change.crew or task.crew_least,
        crew_most=crew,
        after=task.after if change.after is None else tuple(dict.fromkeys(change.after)),
        not_before=day_of(change.deferred_to),
    )


def _new(change: Change) -> Task:
    people = change.crew or 1
    return Task(
        key=change.key, name=change.name, work_h=change.work_h or 0.0, crew_least=people,
        crew_most=people, wait_h=change.wait_h or 0.0,
        after=tuple(dict.fromkeys(change.after or ())), not_before=day_of(change.deferred_to),
    )  # fmt: skip


def _handover_last(tasks: tuple[Task, ...], new: Sequence[str]) -> tuple[Task, ...]:
    waited = {key for task in tasks for key in task.after}
    loose = [key for key in new if key not in waited]
    return tuple(
        replaced(task, after=(*task.after, *loose)) if task.key == "handover" else task
        for task in tasks
    )


def _unknown(change: Change, known: Iterable[str], where: str) -> Fault:
    known = list(known)
    near = nearest(change.key, known)
    return Fault(
        where=f"{where}: programme.tasks", given=f"key = {change.key!r}",
        allowed="one of " + ", ".join(known) + "; or a new one with name and work_h",
        why="a task that is not in the list needs both",
        remedy=f"did you mean {near}?" if near else "",
    )  # fmt: skip


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


def _circle(found: Mapping[str, Task], done: Mapping[str, Task]) -> list[str]:
    """Keys of one circle, beginning and ending with the same."""
    here = next(key for key in found if key not in done)
    path: list[str] = []
    while here not in path:
        path.append(here)
        here = next(key for key in found[here].after if key not in done)
    return [*path[path.index(here) :], here]


def _circle_fault(circle: Sequence[str], where: str) -> Fault:
    itself = len(circle) == 2
    return Fault(
        where=f"{where}: programme.tasks", given=" after ".join(circle),
        allowed="tasks that wait for others, never for themselves",
        why="a task waits for itself" if itself else "none of these could ever begin",
        remedy=f"take one of them out of the after of {circle[0]}" if itself else
        "take one of these links out of an after",
    )  # fmt: skip
