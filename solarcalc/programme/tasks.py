"""The list of tasks of a job: what is done, how long it takes, by how many, after what."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from solarcalc.programme import labour
from solarcalc.programme.labour import Works
from solarcalc.sitefile.programme_records import HELD_TO_THEIR_DAY, ROOM_KEYS

_LOCAL = "local codes and licensed practice come first"

ON_A_ROOF = (
    "edge protection or a line that holds, and never alone; modules and rails are hoisted, not"
    f" carried up a ladder; not in wind, rain or on a wet roof; {_LOCAL}"
)
"""Opened: OSHA, Green Job Hazards, Solar: Falls: guarded from 6 feet on, no carrying on ladders."""


@dataclass(frozen=True, kw_only=True)
class Task:
    """One task of the programme.

    Parameters
    ----------
    key, name, trade : str
        Key of the list, name in words, and who does it: ``"builder"``, ``"roof"``,
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
    day_after : bool
        What follows begins on a later day, not in the afternoon of the same.
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
    day_after: bool = False
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


def tasks_of(works: Works) -> tuple[Task, ...]:
    """The tasks of a job in the usual order, with hours from its quantities.

    Use it before `changes.with_changes`, which lets a site file alter the list. Travel, buying
    and waiting for goods are left out.

    Parameters
    ----------
    works : Works

    Returns
    -------
    tuple of Task
        Those of the room only where it is new; a task waits only for tasks that are there.
    """
    listed = (*_room(works), *_outside(works), *_inside(works))
    if works.room == "existing":
        listed = tuple(task for task in listed if task.key not in ROOM_KEYS)
    return only_present(listed)


def only_present(tasks: Iterable[Task]) -> tuple[Task, ...]:
    """The tasks, none of which waits for a task of our list that the job does not have."""
    tasks = tuple(tasks)
    absent = set(ROOM_KEYS) - {task.key for task in tasks}
    return tuple(
        replaced(task, after=tuple(key for key in task.after if key not in absent))
        for task in tasks
    )


def replaced(task: Task, **changes: object) -> Task:
    """A task with some of its fields changed."""
    return Task(**{**vars(task), **changes})


def labour_hours(tasks: Iterable[Task]) -> dict[str, float]:
    """Work by task, for the quote: key to person-hours.

    Examples
    --------
    >>> labour_hours([Task(key="dig", name="Dig", work_h=4.0, crew_most=3)])
    {'dig': 12.0}
    """
    return {task.key: task.person_h for task in tasks}


def _task(
    key: str, name: str, trade: str, person_h: float, crew: tuple[int, int], **more: object
) -> Task:
    """A task of so many person-hours; its time for the whole crew in quarters, rounded up."""
    least, most = crew
    return replaced(
        Task(key=key, name=name, trade=trade, work_h=0.0, crew_least=least, crew_most=most,
             deferrable=key not in HELD_TO_THEIR_DAY),
        work_h=math.ceil(round(person_h / most * 4.0, 6)) / 4.0, **more,
    )  # fmt: skip


def _room(works: Works) -> tuple[Task, ...]:
    """The small masonry room: about a week, then two coats of paint."""
    people = int(float(labour.USUAL_CREW))
    a_day = float(labour.ROOM_DAY_H) * people
    floor, outline = labour.room_scale(works.room_floor_m2)
    plaster = float(labour.PLASTER_DRIES_H)
    coat = float(labour.COAT_PERSON_H) * outline
    coat_dries = float(labour.COAT_DRIES_H)
    lime = "fresh mortar and plaster burn eyes and skin: gloves, goggles, water at hand"
    return (
        _task("foundation", "Foundation and slab", "builder", a_day * floor, (2, people),
              wait_h=float(labour.SLAB_SETS_H), outdoor=True,
              caution="look for buried pipes and cables before digging; how soon the slab"
              f" carries walls is for who designed it; {_LOCAL}"),
        _task("walls", "Walls of blocks", "builder", a_day * outline, (2, people),
              wait_h=float(labour.WALLS_SET_H), after=("foundation",), outdoor=True,
              caution=f"{lime}; a fresh wall is propped against wind; {_LOCAL}"),
        _task("room-roof", "Roof of the room", "builder", a_day * floor, (2, people),
              after=("walls",), outdoor=True, at_height=True, caution=ON_A_ROOF),
        _task("plaster-inside", "Plaster inside and front", "builder", a_day * outline,
              (2, people), wait_h=plaster, after=("room-roof",), caution=lime),
        _task("plaster-back", "Plaster of the back", "builder", a_day * outline, (2, people),
              wait_h=plaster, after=("plaster-inside",), wet_after=("plaster-inside",),
              outdoor=True, caution=lime),
        _task("door", "Door, vents and their mesh", "builder", float(labour.DOOR_PERSON_H),
              (1, 2), after=("plaster-inside",), wet_after=("plaster-inside",)),
        _task("paint-first", "First coat of paint", "builder", coat, (1, 2), wait_h=coat_dries,
              after=("plaster-inside", "plaster-back", "pipe"), caution="open doors and vents"),
        _task("paint-second", "Second coat of paint", "builder", coat, (1, 2),
              wait_h=coat_dries, after=("paint-first",), caution="open doors and vents"),
    )  # fmt: skip


def _outside(works: Works) -> tuple[Task, ...]:
    """Pipe and earth the day before, then the roof."""
    people = int(float(labour.USUAL_CREW))
    per_module = (
        float(labour.MODULE_SPELL_H) * people / float(labour.MODULES_PER_DAY_SPELL)
    )
    rails = float(labour.RAILS_PER_MODULE) * works.module_count
    rails += float(labour.RAILS_PER_ROW) * works.rows
    earth = float(labour.EARTH_FIXED) + float(labour.ROD_EACH) * works.rod_count
    dig = f"look for buried pipes and cables before digging and drilling; {_LOCAL}"
    return (
        _task("pipe", "Pipe and return cables", "electrician",
              float(labour.PIPE_PER_M) * works.pipe_m, (1, 2), after=("room-roof",),
              day_after=True, caution=dig),
        _task("earth", "Earth rods and earth cables", "electrician", earth, (1, 2),
              after=("foundation",), wet_after=("foundation",), day_after=True, outdoor=True,
              caution=dig),
        _task("rails", "Roof feet and rails", "roof", rails, (2, people),
              after=("pipe", "earth"), outdoor=True, at_height=True, caution=ON_A_ROOF),
        _task("modules", "Modules", "roof", per_module * works.module_count, (2, people),
              after=("rails",), outdoor=True, at_height=True,
              caution=f"modules are live whenever there is light: plugs capped; {ON_A_ROOF}"),
    )  # fmt: skip


def _inside(works: Works) -> tuple[Task, ...]:
    """What goes into the finished room, cables, tests, handover."""
    devices = works.controller_count + works.inverter_count
    boards = float(labour.BOARDS_FIXED) + float(labour.DEVICE_EACH) * devices
    bank = float(labour.BATTERY_FIXED) + float(labour.BATTERY_EACH) * works.battery_units
    joined = float(labour.CABLE_FIXED) + float(labour.CABLE_PER_M) * works.cable_m
    tests = float(labour.TESTS_FIXED) + float(labour.TESTS_PER_MODULE) * works.module_count
    live = f"for trained people with tools rated for the voltage; {_LOCAL}"
    return (
        _task("boards", "Controllers, inverters and boards", "electrician", boards, (1, 2),
              after=("earth", "pipe", "paint-second", "door"),
              caution=f"every switch open, no fuse in; {_LOCAL}"),
        _task("batteries", "Batteries", "electrician", bank, (2, 4),
              after=("boards", "paint-second", "door"),
              caution="two lift; a spanner across the terminals burns and blinds: insulated"
              f" tools, no rings, goggles; bank fuse out; {live}"),
        _task("cables", "Cables joined", "electrician", joined, (1, 2),
              after=("modules", "boards", "batteries"),
              caution=f"string fuses and bank fuse out, switches open; {live}"),
        _task("tests", "Tests", "electrician", tests, (2, 2), after=("cables",), caution=live),
        _task("handover", "Handover", "electrician", float(labour.HANDOVER_PERSON_H), (1, 2),
              after=("tests",)),
    )  # fmt: skip
