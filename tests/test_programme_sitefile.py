"""[programme] of a site file: days in order, tasks that are known, one message a fault."""

from __future__ import annotations

from pathlib import Path

import pytest

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import demo_sites
from solarcalc.sitefile.read import read_site


def faults_of(folder: Path, lines: str) -> tuple[Fault, ...]:
    text = demo_sites()["coral-pharmacy"].read_text(encoding="utf-8")
    path = folder / "shop.toml"
    path.write_text(f"{text}\n{lines}\n", encoding="utf-8")
    try:
        read_site(path)
    except InputError as error:
        return error.faults
    return ()


def programme(*lines: str) -> str:
    return "\n".join(["[programme]", *lines])


def task(*lines: str) -> str:
    return "\n".join(["[[programme.tasks]]", *lines])


def test_a_sound_programme_is_read(tmp_path: Path) -> None:
    lines = programme('start = "2027-05-03"', 'half_crew_released_on = "2027-05-04"',
                      "priority = 2",
                      'days_off = ["2027-05-05"]')  # fmt: skip
    more = task('key = "fence"', 'name = "Fence"', "work_h = 6.0", 'after = ["set-up"]')
    assert faults_of(tmp_path, f"{lines}\n{more}") == ()


@pytest.mark.parametrize(
    ("lines", "where", "given", "words"),
    [
        ([programme('start = "2027-02-30"')], "programme.start", "2027-02-30", "YYYY-MM-DD"),
        ([programme('start = "1 March"')], "programme.start", "1 March", "YYYY-MM-DD"),
        ([programme('start = ""')], "programme.start", "''", "YYYY-MM-DD"),
        ([programme('days_off = ["2027-13-01"]')], "programme.days_off[1]", "13", "YYYY-MM-DD"),
        ([programme('half_crew_released_on = "2027-02-01"')], "programme.half_crew_released_on",
         "2027-03-01",
         "first day of work"),
        ([programme('half_crew_released_on = "2027-03-04"', 'half_crew_back_on = "2027-03-04"')],
         "programme.half_crew_back_on", "half_crew_released_on", "after half_crew_released_on"),
        ([programme('half_crew_back_on = "2027-03-04"')], "programme.half_crew_back_on",
         "no half_crew_released_on",
         "left out"),
        ([programme("hours_a_day_h = 0.5")], "programme.hours_a_day_h", "0.5", "from 1 to 16 h"),
        ([task('key = "moduls"')], "programme.tasks[1].key", "moduls", "did you mean modules?"),
        ([task('key = "gate"', 'name = "Gate"')], "programme.tasks[1].key", "gate", "work_h"),
        ([task('key = "trench"', 'after = ["trench"]')], "programme.tasks[1].after[1]", "trench",
         "cannot wait for itself"),
        ([task('key = "rails"', 'after = ["eart"]')], "programme.tasks[1].after[1]", "eart",
         "did you mean earth?"),
        ([task('key = "duct"'), task('key = "duct"')], "programme.tasks[2].key", "duct",
         "each task once"),
        ([task('key = "rails"', 'deferred_to = "soon"')], "programme.tasks[1].deferred_to",
         "soon", "YYYY-MM-DD"),
        ([task('key = "rails"', 'deferred_to = "2027-02-01"')],
         "programme.tasks[1].deferred_to", "start = 2027-03-01", "first day of work"),
        ([task('key = "tests"', 'deferred_to = "2027-04-01"')],
         "programme.tasks[1].deferred_to", "tests", "postpone the task before it"),
        ([task('key = "walls"')], "programme.tasks[1].key", "walls", "nothing is built"),
    ],
)  # fmt: skip
def test_one_fault_that_names_the_field(
    tmp_path: Path, lines: list[str], where: str, given: str, words: str
) -> None:
    (fault,) = faults_of(tmp_path, "\n".join(lines))
    assert fault.where.startswith(f"shop.toml: {where}")
    assert given in fault.given
    assert words in str(fault)


def test_every_fault_at_once(tmp_path: Path) -> None:
    lines = programme('start = "never"', 'days_off = ["2027-00-01", "x"]')
    lines += "\n" + task('key = "q"', 'after = ["q", "z"]')
    assert len(faults_of(tmp_path, lines)) == 6
