"""The list of tasks, ``data/tasks.csv``, and what a unit of work takes, ``data/task_hours.csv``."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import csv_lines, data_folder
from solarcalc.basis.text import nearest
from solarcalc.sitefile.setting import setting_of, settings

UNITS = {
    "once": "whatever the quantity",
    "module": "module", "row": "row of modules", "foot": "roof fixing",
    "ballast_foot": "foot of a ballasted row", "ballast_block": "ballast block",
    "rail_m": "metre of rail",
    "trench_m": "metre of trench", "duct_m": "metre of duct",
    "cable_m": "metre of single core", "termination": "end of a conductor",
    "connector_pair": "pair of string connectors", "label": "label",
    "device": "device on its rail", "controller": "charge controller", "inverter": "inverter",
    "generator": "generator", "battery_unit": "battery unit", "battery_link": "battery link",
    "rod": "earth rod", "earth_m": "metre of earthing conductor", "test_line": "line of tests",
    "dig_m3": "cubic metre dug", "concrete_m3": "cubic metre of concrete",
    "block_wall_m2": "square metre of block wall", "brick_wall_m2": "square metre of brick wall",
    "timber_wall_m2": "square metre of timber wall",
    "sheet_wall_m2": "square metre of sheet wall", "sheet_roof_m2": "square metre of sheet roof",
    "concrete_roof_m2": "square metre of concrete roof",
    "wide_concrete_roof_m2": "square metre of concrete roof over more than 4.5 m",
    "plaster_m2": "square metre of plaster", "paint_m2": "square metre painted once",
    "door": "door", "vent": "vent", "guard": "guard against salt, theft, animals or dust",
    "module_fixing": "fixings of a module against corrosion",
}  # fmt: skip
"""Units of work by key, in words."""

ROOM_UNITS = frozenset(
    ("dig_m3", "concrete_m3", "block_wall_m2", "brick_wall_m2", "timber_wall_m2", "sheet_wall_m2",
     "sheet_roof_m2", "concrete_roof_m2", "wide_concrete_roof_m2", "plaster_m2", "paint_m2",
     "door", "vent")
)  # fmt: skip
"""Units that only a power room which is built has."""

TRADES = ("", "builder", "painter", "roof", "electrician")
TASKS_FILE, HOURS_FILE = "tasks.csv", "task_hours.csv"
_TASK_HEADS = (
    "key", "name", "trade", "crew_least", "crew_most", "after", "wet_after", "deferrable",
    "outdoor", "at_height", "caution", "set_first", "closed_by",
)  # fmt: skip
_HOUR_HEADS = ("task", "unit", "person_h", "wait_h", "source", "sets")
_Row = Mapping[str, str]


@dataclass(frozen=True, kw_only=True)
class Rate:
    """What a unit of work takes: `person_h` of one person, `wait_h` by the clock to set or dry.

    `sets` is what of ``data/setting.csv`` sets in it; empty where nothing does.
    """

    unit: str
    person_h: float
    wait_h: float
    source: str
    sets: str = ""

    @property
    def least_wait_h(self) -> float:
        """By the clock, whatever a site file says [h]."""
        return settings()[self.sets].least_wait_h if self.sets else 0.0


@dataclass(frozen=True, kw_only=True)
class ListedTask:
    """A task as the list has it, before there is any quantity.

    Parameters
    ----------
    key, name : str
    trade : str
        Of `TRADES`; empty for anybody.
    crew_least, crew_most : int
        Fewest people who may do it, and most who help.
    after, wet_after : tuple of str
        Tasks that must be done before; those of them whose drying it need not wait for.
    deferrable, outdoor, at_height : bool
    caution : str
    set_first : tuple of str
        Tasks that must have set before, whatever a site file changes.
    closed_by : tuple of str
        Tasks that put away what it leaves dangerous.
    rates : tuple of Rate
    """

    key: str
    name: str
    trade: str
    crew_least: int
    crew_most: int
    after: tuple[str, ...]
    wet_after: tuple[str, ...]
    deferrable: bool
    outdoor: bool
    at_height: bool
    caution: str
    set_first: tuple[str, ...]
    closed_by: tuple[str, ...]
    rates: tuple[Rate, ...]

    @property
    def of_the_room(self) -> bool:
        """Whether only a power room that is built has such work."""
        units = {rate.unit for rate in self.rates} - {"once"}
        return bool(units) and units <= ROOM_UNITS


@cache
def task_list() -> tuple[ListedTask, ...]:
    """The bundled list of tasks, in the order of its file."""
    return read_task_list(data_folder())


def held_to_their_day() -> tuple[str, ...]:
    """Tasks that are not deferred by themselves: what stands half done before them is not safe."""
    return tuple(task.key for task in task_list() if not task.deferrable)


def read_task_list(folder: Path) -> tuple[ListedTask, ...]:
    """The tasks of a folder with both files.

    Parameters
    ----------
    folder : Path

    Raises
    ------
    InputError
        With every fault by file, row and column: a head missing, a key twice, an unknown task,
        trade or unit, a number that is none or below 0, tasks that wait for each other in a circle.
    """
    faults: list[Fault] = []
    tasks = _rows(folder / TASKS_FILE, _TASK_HEADS, faults)
    hours = _rows(folder / HOURS_FILE, _HOUR_HEADS, faults)
    keys = [row["key"] for _, row in tasks]
    rates: dict[str, list[Rate]] = {key: [] for key in keys}
    for number, row in hours:
        cell = _Cells(HOURS_FILE, number, row, faults)
        rate = Rate(
            unit=cell.one_of("unit", UNITS), person_h=cell.number("person_h"),
            wait_h=cell.number("wait_h"), source=cell.filled("source"),
            sets=cell.one_of("sets", ("", *settings())),
        )  # fmt: skip
        _waits(cell, rate)
        task = cell.one_of("task", keys)
        if any(other.unit == rate.unit for other in rates.get(task, ())):
            cell.refuse("unit", "each unit of a task once")
        rates.setdefault(task, []).append(rate)
    listed = [
        _listed(_Cells(TASKS_FILE, number, row, faults), keys, tuple(rates[row["key"]]))
        for number, row in tasks
    ]
    circle = None if faults else circle_of({task.key: task.after for task in listed})
    if circle:
        number = next(number for number, row in tasks if row["key"] == circle[0])
        faults.append(Fault(
            where=f"{TASKS_FILE}: row {number}, after", given=" after ".join(circle),
            allowed="tasks that wait for others, never for themselves",
        ))  # fmt: skip
    if faults:
        raise InputError(faults)
    return tuple(listed)


def _waits(cell: _Cells, rate: Rate) -> None:
    """Refuse a step that sets or dries and has no wait, or too short a one."""
    known = setting_of(UNITS.get(rate.unit, ""))
    if known and not rate.sets:
        cell.refuse("sets", f"{known.what}: a {UNITS[rate.unit]} sets or dries")
    elif rate.sets in settings() and rate.wait_h < rate.least_wait_h:
        cell.refuse("wait_h", f"at least {rate.least_wait_h:g} h for {rate.sets}",
                    settings()[rate.sets].source)  # fmt: skip


def circle_of(after: Mapping[str, Iterable[str]]) -> list[str]:
    """Keys of tasks that wait for each other, first and last the same; empty where none do."""
    try:
        TopologicalSorter(after).prepare()
    except CycleError as error:
        return list(reversed(error.args[1]))
    return []


@dataclass(frozen=True)
class _Cells:
    """One row of a file, read cell by cell; what is wrong is put down with its place."""

    file: str
    row_number: int
    row: _Row
    faults: list[Fault]

    def refuse(self, head: str, allowed: str, remedy: str = "") -> None:
        self.faults.append(Fault(
            where=f"{self.file}: row {self.row_number}, {head}", given=repr(self.row[head]),
            allowed=allowed, remedy=remedy,
        ))  # fmt: skip

    def filled(self, head: str) -> str:
        if not self.row[head].strip():
            self.refuse(head, "some words")
        return self.row[head]

    def one_of(self, head: str, known: Iterable[str]) -> str:
        word, known = self.row[head], list(known)
        if word not in known:
            near = nearest(word, known)
            self.refuse(head, "one of " + ", ".join(one or "nothing" for one in known),
                        f"did you mean {near}?" if near else "")  # fmt: skip
        return word

    def number(self, head: str) -> float:
        try:
            value = float(self.row[head])
        except ValueError:
            value = math.nan
        if not 0.0 <= value <= 10000.0:
            self.refuse(head, "a number from 0 to 10000")
        return value

    def whole(self, head: str, least: int) -> int:
        text = self.row[head]
        value = int(text) if text.isascii() and text.isdigit() else -1
        if not least <= value <= 100:
            self.refuse(head, f"a whole number from {least} to 100")
        return value

    def whether(self, head: str) -> bool:
        return self.one_of(head, ("yes", "no")) == "yes"


def _listed(cell: _Cells, keys: list[str], rates: tuple[Rate, ...]) -> ListedTask:
    key = cell.filled("key")
    if keys.count(key) > 1:
        cell.refuse("key", "each task once")
    if not rates:
        cell.refuse("key", f"a task with a row in {HOURS_FILE}")
    after, wet = tuple(cell.row["after"].split()), tuple(cell.row["wet_after"].split())
    first, closed = (tuple(cell.row[head].split()) for head in ("set_first", "closed_by"))
    for head, named, known in (
        ("after", after, keys), ("wet_after", wet, after), ("set_first", first, keys),
        ("closed_by", closed, keys),
    ):  # fmt: skip
        unknown = [one for one in named if one not in known]
        if unknown:
            near = nearest(unknown[0], known)
            cell.refuse(head, "one of " + ", ".join(known), f"did you mean {near}?" if near else "")
    least = cell.whole("crew_least", 1)
    return ListedTask(
        key=key, name=cell.filled("name"), trade=cell.one_of("trade", TRADES), crew_least=least,
        crew_most=cell.whole("crew_most", least),
        after=after, wet_after=wet, deferrable=cell.whether("deferrable"),
        outdoor=cell.whether("outdoor"), at_height=cell.whether("at_height"),
        caution=cell.row["caution"], set_first=first, closed_by=closed, rates=rates,
    )  # fmt: skip


def _rows(path: Path, heads: tuple[str, ...], faults: list[Fault]) -> list[tuple[int, _Row]]:
    """Rows with their number in the file, notes and head counted."""
    try:
        lines = csv_lines(path)
    except ValueError as error:
        raise InputError(Fault(where=path.name, given="a file that cannot be read",
                               allowed=",".join(heads), why=str(error))) from error  # fmt: skip
    first = sum(1 for line in lines if line.startswith("#"))
    found, *cells = csv.reader(lines[first:])
    if tuple(found) != heads:
        raise InputError(Fault(
            where=f"{path.name}: row {first + 1}", given=",".join(found), allowed=",".join(heads)
        ))  # fmt: skip
    rows: list[tuple[int, _Row]] = []
    for number, row in enumerate(cells, start=first + 2):
        if len(row) == len(heads):
            rows.append((number, dict(zip(heads, row, strict=True))))
        else:
            faults.append(Fault(where=f"{path.name}: row {number}", given=f"{len(row)} cells",
                                allowed=f"{len(heads)}: {', '.join(heads)}"))  # fmt: skip
    return rows
