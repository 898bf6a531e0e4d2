"""What sets or dries has its wait: in the list, in a site file, in every programme."""

from __future__ import annotations

import runpy
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.powerroom.civil import civil_works
from solarcalc.programme.checks import programme_checks
from solarcalc.programme.schedule import Crew, SiteWorks, schedule_site
from solarcalc.programme.tasks import tasks_of, with_changes
from solarcalc.programme.workdays import Calendar
from solarcalc.sitefile.programme import Task as Change
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.setting import setting_of
from solarcalc.sitefile.setting import settings as what_sets
from solarcalc.sitefile.task_list import UNITS, read_task_list, task_list
from solarcalc.stages.money import room_work

CASES = runpy.run_path(str(Path(__file__).with_name("programme_cases.py")))
ROOF, NEW_ROOM = CASES["ROOF"], CASES["NEW_ROOM"]
MONDAY = date(2027, 3, 1)
CAST = {key: amount for key, amount in NEW_ROOM.items() if key != "sheet_roof_m2"}
ROOMS = [NEW_ROOM, {**CAST, "concrete_roof_m2": 12.0}, {**CAST, "wide_concrete_roof_m2": 40.0}]


def test_props_of_a_cast_roof_stay_as_long_as_the_code_prints():
    # IS 456:2000 cl. 11.3.1, as restated on three public pages: props to slabs of up to 4.5 m
    # 7 days, over 4.5 m 14 days.
    waits = {what: one.least_wait_h / 24.0 for what, one in what_sets().items()}
    assert (waits["concrete-overhead"], waits["wide-concrete-overhead"]) == (7.0, 14.0)
    narrow, wide = (room_work(civil_works(length_m=8.0, depth_m=depth, height_m=2.6,
                                          roof="concrete")) for depth in (4.5, 4.6))
    assert "concrete_roof_m2" in narrow
    assert "wide_concrete_roof_m2" in wide
    tasks = {one.key: one for one in tasks_of({**ROOF, **wide})}
    assert tasks["room-roof"].wait_h >= 14.0 * 24.0


def test_every_unit_of_the_list_that_sets_waits_for_it():
    for task in task_list():
        for rate in task.rates:
            known = setting_of(UNITS[rate.unit])
            assert (rate.sets or None) == (known.what if known else None), rate.unit
            assert rate.wait_h >= rate.least_wait_h
    words = get_args(Change.model_fields["sets"].annotation)
    assert set(words) == {"by-name", "nothing", *what_sets()}


@pytest.mark.parametrize(
    ("old", "new", "head", "words"),
    [
        ("walls,block_wall_m2,1.6,24", "walls,block_wall_m2,1.6,0", "wait_h", "at least 12 h"),
        ("room-roof,concrete_roof_m2,3.6,168", "room-roof,concrete_roof_m2,3.6,72", "wait_h",
         "at least 168 h"),
        ('no source",paint\ntop-coat', 'no source",\ntop-coat', "sets", "sets or dries"),
        ('no source",plaster\n', 'no source",plastr\n', "sets", "did you mean plaster?"),
    ],
)  # fmt: skip
def test_a_step_of_the_list_without_its_wait_is_refused(tmp_path, old, new, head, words):
    for name in ("tasks.csv", "task_hours.csv"):
        shutil.copy(data_folder() / name, tmp_path / name)
    path = tmp_path / "task_hours.csv"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_task_list(tmp_path)
    (fault,) = caught.value.faults
    assert fault.where.startswith("task_hours.csv: row ")
    assert fault.where.endswith(f", {head}")
    assert fault.given
    assert words in str(fault)


def faults_of(folder, *lines, room=""):
    text = demo_sites()["coral-pharmacy"].read_text(encoding="utf-8")
    path = folder / "shop.toml"
    more = "\n".join(["[programme]", 'power_room = "new"', "[[programme.tasks]]", *lines])
    path.write_text(f"{text}\n{more}\n", encoding="utf-8")
    try:
        read_site(path)
    except InputError as error:
        return error.faults
    return ()


@pytest.mark.parametrize(
    ("lines", "given", "least"),
    [
        (['key = "room-roof"', "wait_h = 0.0"], "0 h", "at least 168 h"),
        (['key = "render"', "wait_h = 2.0"], "2 h", "at least 24 h"),
        (['key = "base"', 'name = "Concrete base"', "work_h = 4.0"], "left out", "at least 24 h"),
        (['key = "base"', 'name = "Base"', "work_h = 4.0", 'sets = "concrete"', "wait_h = 1.0"],
         "1 h", "at least 24 h"),
        (['key = "gate"', 'name = "Gate painted"', "work_h = 4.0"], "left out", "at least 4 h"),
    ],
)  # fmt: skip
def test_a_step_of_a_site_file_without_its_wait_is_refused(tmp_path, lines, given, least):
    (fault,) = faults_of(tmp_path, *lines)
    assert fault.where.startswith("shop.toml: programme.tasks[1].wait_h")
    assert fault.given == given
    assert least in fault.allowed


@pytest.mark.parametrize(
    "lines",
    [
        ['key = "gate"', 'name = "Gate painted"', "work_h = 4.0", 'sets = "nothing"'],
        ['key = "gate"', 'name = "Gate painted"', "work_h = 4.0", "wait_h = 6.0"],
        ['key = "room-roof"', "wait_h = 240.0"], ['key = "room-roof"', "work_h = 9.0"],
        ['key = "boards"', "wait_h = 0.0"],
    ],
)  # fmt: skip
def test_a_step_with_its_wait_or_with_nothing_to_set_is_read(tmp_path, lines):
    assert faults_of(tmp_path, *lines) == ()


KEYS = [task.key for task in task_list() if task.key not in ("set-up", "generator", "guards")]


@given(
    work=some.sampled_from(ROOMS), people=some.integers(2, 6), hours=some.floats(4.0, 12.0),
    days=some.sampled_from(["mon-fri", "mon-sat", "every-day"]),
    freed=some.sets(some.sampled_from(KEYS), max_size=8), inside=some.booleans(),
)  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_nobody_starts_on_or_under_what_has_not_set(work, people, hours, days, freed, inside):
    """Whatever a site file takes out of the order: freed tasks wait for the set-up alone."""
    changes = [Change(key=key, after=["set-up"]) for key in sorted(freed)]
    changes.append(Change(key="ceiling", name="Ceiling", work_h=3.0, after=["set-up"],
                          inside=inside))  # fmt: skip
    tasks = with_changes(tasks_of(work), changes)
    calendar = Calendar(start=MONDAY, work_days=days, hours_a_day_h=hours)
    schedule = schedule_site(SiteWorks(name="Shop", tasks=tasks, calendar=calendar),
                             Crew(name="crew", people=people))  # fmt: skip
    planned = {one.task.key: one for one in schedule.planned}
    under = {"render", "door", "primer", "top-coat", "boards", "battery", "cables", "connections",
             "tests", "handover", *(["ceiling"] if inside else [])}  # fmt: skip
    roof = planned["room-roof"]
    for key in under & planned.keys():
        assert planned[key].start >= roof.finish + timedelta(hours=roof.task.wait_h), key
    footing = planned["footing"]
    assert planned["walls"].start >= footing.finish + timedelta(hours=footing.task.wait_h)
    (check,) = [one for one in programme_checks(schedule) if one.rule == "programme/fresh-part"]
    assert check.outcome == "passed"
