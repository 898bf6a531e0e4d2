"""The list of tasks and its hours: every fault by file, row and column; figures against a study."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.programme.tasks import labour_assumptions, tasks_of
from solarcalc.sitefile.task_list import ROOM_UNITS, UNITS, read_task_list, task_list


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("tasks.csv", "task_hours.csv"):
        shutil.copy(data_folder() / name, tmp_path / name)
    return tmp_path


def spoilt(folder: Path, name: str, old: str, new: str) -> InputError:
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_task_list(folder)
    return caught.value


def row_of(folder: Path, name: str, begins: str) -> int:
    lines = (folder / name).read_text(encoding="utf-8").splitlines()
    return 1 + next(number for number, line in enumerate(lines) if line.startswith(begins))


@pytest.mark.parametrize(
    ("name", "old", "new", "begins", "head", "words"),
    [
        ("task_hours.csv", "modules,module,0.45", "modules,modul,0.45", "modules,", "unit",
         "did you mean module?"),
        ("task_hours.csv", "modules,module,0.45", "moduls,module,0.45", "moduls,", "task",
         "did you mean modules?"),
        ("task_hours.csv", "modules,module,0.45", "modules,module,-0.45", "modules,", "person_h",
         "from 0 to 10000"),
        ("task_hours.csv", "modules,module,0.45,0", "modules,module,0.45,soon", "modules,",
         "wait_h", "from 0 to 10000"),
        ("task_hours.csv", "earth,rod,", "earth,earth_m,", "earth,earth_m,0.07", "unit",
         "each unit of a task once"),
        ("tasks.csv", ",rails,,yes", ",railz,,yes", "modules,", "after", "did you mean rails?"),
        ("tasks.csv", "modules,Modules,roof,2,4", "modules,Modules,roof,2,1", "modules,",
         "crew_most", "from 2 to 100"),
        ("tasks.csv", "modules,Modules,roof,", "modules,Modules,rooof,", "modules,", "trade",
         "did you mean roof?"),
        ("tasks.csv", "tests,Tests,electrician,2,2,connections guards,,no",
         "tests,Tests,electrician,2,2,connections guards,,maybe", "tests,", "deferrable",
         "yes, no"),
        ("tasks.csv", "footing trench,footing,yes", "footing,walls,yes", "earth,", "wet_after",
         "set-up, footing"),
        ("tasks.csv", "than is soon filled\",,duct", "than is soon filled\",,ducts", "trench,",
         "closed_by", "did you mean duct?"),
    ],
)  # fmt: skip
def test_a_fault_names_file_row_and_column(folder, name, old, new, begins, head, words):
    error = spoilt(folder, name, old, new)
    places = [fault.where for fault in error.faults]
    assert f"{name}: row {row_of(folder, name, begins)}, {head}" in places
    assert words in str(error)


def test_an_hour_without_a_source_is_refused(folder):
    error = spoilt(folder, "task_hours.csv", 'modules,module,0.45,0,"hoisted and clamped by two or'
                   ' more people; common practice, no source"',
                   "modules,module,0.45,0,")  # fmt: skip
    assert ", source" in str(error)


def test_tasks_that_wait_for_each_other_are_named(folder):
    error = spoilt(folder, "tasks.csv", "set-up earth,,yes,yes,yes", "set-up modules,,yes,yes,yes")
    assert any(chain in str(error) for chain in (
        "rails after modules after rails", "modules after rails after modules"))  # fmt: skip
    assert ", after" in error.faults[0].where


def test_a_task_twice_one_without_hours_and_a_short_row(folder):
    line = "handover,Handover,electrician,1,2,tests,,yes,no,no,,room-roof,\n"
    assert "each task once" in str(spoilt(folder, "tasks.csv", line, line + line))
    shutil.copy(data_folder() / "tasks.csv", folder)
    more = line.replace("handover,H", "party,P")
    assert "task_hours.csv" in str(spoilt(folder, "tasks.csv", line, line + more))
    shutil.copy(data_folder() / "tasks.csv", folder)
    assert "3 cells" in str(spoilt(folder, "tasks.csv", line, line + "a,b,c\n"))


def test_a_missing_column_is_named(folder):
    error = spoilt(folder, "task_hours.csv", "task,unit,person_h", "task,unit,hours")
    assert "person_h" in error.faults[0].allowed


def test_every_unit_has_hours_and_only_the_room_has_its_own():
    assert {rate.unit for task in task_list() for rate in task.rates} == set(UNITS)
    room = {rate.unit for task in task_list() if task.of_the_room for rate in task.rates}
    assert room == ROOM_UNITS
    assert len(labour_assumptions(room_built=True)) > len(labour_assumptions(room_built=False)) > 20


def test_a_roof_array_takes_about_what_was_timed_on_roofs():
    """Racking and mounting: 32 % of 6.9 worker-hours a kW on houses in the United States.

    NREL time-motion study of standard residential arrays, in "Observations and Lessons Learned From
    Installing Residential Roofing Integrated Photovoltaics", 2023, as reported by pv magazine usa,
    29 June 2023. Crews and roofs differ: within a factor of one and a half.
    """
    work = {"module": 14, "row": 1, "foot": 26, "rail_m": 33.0}
    timed_h = 0.32 * 6.9 * 14 * 0.4
    hours = sum(task.person_h for task in tasks_of(work) if task.trade == "roof")
    assert timed_h / 1.5 < hours < timed_h * 1.5


@pytest.mark.parametrize(
    ("task", "unit", "section_m2"),
    [("footing", "dig_m3", 1.0), ("trench", "trench_m", 0.3 * 0.65)],
)
def test_digging_by_hand_as_labour_based_works_count_it(task, unit, section_m2):
    """Medium soil, 3.5 m3 a worker-day: ILO ASIST Technical Brief 2, 1998, from memory."""
    (listed,) = [one for one in task_list() if one.key == task]
    (rate,) = [one for one in listed.rates if one.unit == unit]
    assert rate.person_h == pytest.approx(section_m2 * 8.0 / 3.5, abs=0.05)
