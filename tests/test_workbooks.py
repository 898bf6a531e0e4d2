"""Each workbook with a second set of parameters: same numbers as the package, no stray message."""

from __future__ import annotations

import copy
import re
from functools import cache
from pathlib import Path
from typing import Any

import nbformat
import papermill
import pytest

from solarcalc import job, lessons
from solarcalc.basis.paths import demo_sites, workbooks_folder
from solarcalc.job import electrical, grounds
from solarcalc.page import RESULTS_MIME

pytestmark = pytest.mark.slow

SECOND: dict[str, dict[str, Any]] = {
    "orientation": {"site_file": "plateau-school", "tilt_deg": 15.0, "row_pitch_m": None},
    "yield": {"site_file": "plateau-school", "orientation": "landscape", "tilt_deg": 15.0,
              "wash_cost_kwh": 20.0},
    "battery": {"site_file": "plateau-school", "units_in_parallel": 1, "heavy_shed_frac": 0.7},
    "electrical": {"site_file": "plateau-school", "module_count": 12},
    "earthing": {"site_file": "plateau-school", "rod_count": 2, "rod_length_m": 3.0},
}
"""A site south of the equator, with other values than its file's."""


def changes_of(given: dict[str, Any]) -> dict[str, dict[str, Any]]:
    tables = {"units_in_parallel": "battery", "heavy_shed_frac": "battery",
              "rod_count": "earthing", "rod_length_m": "earthing"}
    changes: dict[str, dict[str, Any]] = {}
    for name, value in given.items():
        if name not in ("site_file", "wash_cost_kwh"):
            changes.setdefault(tables.get(name, "array"), {})[name] = value
    return changes


@cache
def opened(workbook: str) -> job.Job:
    given = SECOND[workbook]
    return job.open_job(given["site_file"], changes_of(given))


def built_of(this: job.Job) -> electrical.Electrical:
    harvest = job.yearly_harvest(this)
    return electrical.electrical_of(this, harvest, job.supply_year(this, harvest))


def right_answer(workbook: str) -> float:
    this = opened(workbook)
    answers = {
        "orientation": lambda: round(lessons.exercise_pitch_m(this) or 0.0, 2),
        "yield": lambda: round(lessons.exercise_heat_loss_percent(this), 1),
        "battery": lambda: lessons.exercise_units_in_parallel(this),
        "electrical": lambda: lessons.exercise_main_size_mm2(built_of(this)),
        "earthing": lambda: lessons.exercise_rods(this),
    }
    return answers[workbook]()


def executed(workbook: str, given: dict[str, Any], tmp_path: Path, *, answer: float) -> Any:
    """The workbook run with these parameters, an apprentice's answer put into its exercise."""
    notebook = copy.deepcopy(nbformat.read(workbooks_folder() / f"{workbook}.ipynb", as_version=4))
    # as the batch does; nbval runs the sliders, whose many small messages a plain client can lose
    notebook.cells = [cell for cell in notebook.cells
                      if "explore" not in cell.metadata.get("tags", [])]
    exercise = notebook.cells[-1]
    exercise.source, count = re.subn(r"= None", f"= {answer!r}", exercise.source, count=1)
    assert count == 1, "the exercise has a place for the answer"
    source = tmp_path / f"{workbook}.ipynb"
    nbformat.write(notebook, source)
    return papermill.execute_notebook(
        str(source), str(tmp_path / "out.ipynb"), parameters=given, progress_bar=False,
        log_output=False, cwd=str(tmp_path),
    )


def results_of(notebook: Any) -> dict[str, Any]:
    (record,) = [
        output.data[RESULTS_MIME]
        for cell in notebook.cells
        for output in cell.get("outputs", [])
        if RESULTS_MIME in output.get("data", {})
    ]
    return record


def expected_values(workbook: str) -> dict[str, Any]:
    this = opened(workbook)
    if workbook == "orientation":
        return job.orientation_values(job.compare_orientations(this), job.standing(this))
    harvest = job.yearly_harvest(this)
    if workbook == "yield":
        return {**job.yield_values(harvest), **job.sureness_values(this, harvest)}
    year = job.supply_year(this, harvest)
    if workbook == "battery":
        return job.battery_values(this, year)
    built = electrical.electrical_of(this, harvest, year)
    if workbook == "electrical":
        return electrical.electrical_values(built, electrical.places_of(this, built))
    return grounds.grounds_values(grounds.earth_of(this, built),
                                  grounds.room_of(this, harvest, year))  # fmt: skip


@pytest.mark.parametrize("workbook", SECOND)
def test_a_second_set_of_parameters_gives_what_the_package_gives(
    workbook: str, tmp_path: Path
) -> None:
    notebook = executed(workbook, SECOND[workbook], tmp_path, answer=right_answer(workbook))
    record = results_of(notebook)
    assert record["values"] == expected_values(workbook)
    first = nbformat.read(workbooks_folder() / f"{workbook}.ipynb", as_version=4)
    assert record["values"] != results_of(first)["values"], "other parameters, other numbers"
    streams = [o for cell in notebook.cells for o in cell.get("outputs", [])
               if o.output_type == "stream"]
    assert [stream.text for stream in streams if stream.name == "stderr"] == []
    (spoken,) = [o.data["text/plain"] for o in notebook.cells[-1].outputs]
    assert spoken.startswith("Right: ")


@pytest.mark.parametrize("site", sorted(demo_sites()))
def test_the_first_guess_of_no_one_is_right_at_any_demo_site(site: str) -> None:
    this = job.open_job(site)
    for right in (
        lessons.exercise_pitch_m(this),
        lessons.exercise_heat_loss_percent(this),
        float(lessons.exercise_units_in_parallel(this)),
    ):
        assert right is None or right > 0.0
        assert "Right" not in lessons.judge(None, right, unit="-")
        if right is not None:
            assert lessons.judge(right, right, unit="-").startswith("Right")
            assert lessons.judge(0.5 * right, right, unit="-").startswith("Not yet")
            assert "too large" in lessons.judge(2.0 * right, right, unit="-")
