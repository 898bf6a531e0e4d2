"""Each workbook with a second set of parameters: same numbers as the package, no stray message."""

from __future__ import annotations

import copy
import re
import runpy
from functools import cache
from pathlib import Path
from typing import Any

import nbformat
import papermill
import pytest

from solarcalc.basis.files import demo_sites, workbooks_folder
from solarcalc.design import Design, open_design
from solarcalc.lessons import exercises
from solarcalc.page import FORMULA_MIME, RESULTS_MIME

pytestmark = pytest.mark.slow
VALUES = runpy.run_path(str(Path(__file__).with_name("frozen_values.py")))["VALUES"]

SECOND: dict[str, dict[str, Any]] = {
    "orientation": {"changes": {"array": {"tilt_deg": 15.0, "row_pitch_m": None}}},
    "yield": {
        "changes": {"array": {"orientation": "landscape", "tilt_deg": 15.0}},
        "cleaning_cost_kwh": 20.0,
    },
    "battery": {"changes": {"battery": {"units_in_parallel": 1, "nonessential_shed_frac": 0.7}}},
    "electrical": {
        "changes": {"array": {"module_count": 15}, "runs": {"dc_main": {"length_m": 41.0}}}
    },
    "earthing": {"changes": {"earthing": {"rod_count": 2, "rod_length_m": 3.0}}},
    "quote": {"changes": {"quote": {"margin_frac": 0.35}, "programme": {"crew": 4}}},
    "commissioning": {"changes": {"commissioning": {"results": None}}},
    "followup": {"changes": {"array": {"tilt_deg": 20.0}}},
}
"""A site south of the equator, with other values than its file's."""
SITE = "plateau-school"


@cache
def opened(workbook: str) -> Design:
    return open_design(SITE, SECOND[workbook]["changes"])


def right_answer(workbook: str) -> float:
    this = opened(workbook)
    answers = {
        "orientation": lambda: round(exercises.exercise_pitch_m(this) or 0.0, 2),
        "yield": lambda: round(exercises.exercise_heat_loss_percent(this), 1),
        "battery": lambda: exercises.exercise_units_in_parallel(this),
        "electrical": lambda: exercises.exercise_dc_main_size_mm2(this),
        "earthing": lambda: exercises.exercise_rods(this),
        "quote": lambda: round(exercises.exercise_price(this), 2),
        "commissioning": lambda: round(exercises.exercise_string_a(this), 2),
        "followup": lambda: round(exercises.exercise_string_lost_percent(this), 2),
    }
    return answers[workbook]()


def executed(workbook: str, given: dict[str, Any], tmp_path: Path, *, answer: float) -> Any:
    """The workbook run with these parameters, an apprentice's answer put into its exercise."""
    notebook = copy.deepcopy(nbformat.read(workbooks_folder() / f"{workbook}.ipynb", as_version=4))
    # as the batch does; nbval runs the sliders, whose many small messages a plain client can lose
    notebook.cells = [
        cell for cell in notebook.cells if "explore" not in cell.metadata.get("tags", [])
    ]
    exercise = notebook.cells[-1]
    exercise.source, count = re.subn(r"= None", f"= {answer!r}", exercise.source, count=1)
    assert count == 1, "the exercise has a place for the answer"
    source = tmp_path / f"{workbook}.ipynb"
    nbformat.write(notebook, source)
    return papermill.execute_notebook(
        str(source),
        str(tmp_path / "out.ipynb"),
        parameters=given,
        progress_bar=False,
        log_output=False,
        cwd=str(tmp_path),
    )


def results_of(notebook: Any) -> dict[str, Any]:
    (record,) = [
        output.data[RESULTS_MIME]
        for cell in notebook.cells
        for output in cell.get("outputs", [])
        if RESULTS_MIME in output.get("data", {})
    ]
    return record


def test_each_workbook_has_a_second_set() -> None:
    assert set(SECOND) == {path.stem for path in workbooks_folder().glob("*.ipynb")}


@pytest.mark.parametrize("workbook", SECOND)
def test_a_second_set_of_parameters_gives_what_the_package_gives(
    workbook: str, tmp_path: Path
) -> None:
    given = {"site_file": SITE, **SECOND[workbook]}
    notebook = executed(workbook, given, tmp_path, answer=right_answer(workbook))
    record = results_of(notebook)
    assert record["values"] == VALUES[workbook](opened(workbook))
    first = nbformat.read(workbooks_folder() / f"{workbook}.ipynb", as_version=4)
    assert record["values"] != results_of(first)["values"], "other parameters, other numbers"
    streams = [
        o for cell in notebook.cells for o in cell.get("outputs", []) if o.output_type == "stream"
    ]
    assert [stream.text for stream in streams if stream.name == "stderr"] == []
    shown = [o.data for o in notebook.cells[-1].outputs]
    notes = {one[FORMULA_MIME]["note"] for one in shown if FORMULA_MIME in one}
    (spoken,) = [one["text/plain"] for one in shown
                 if FORMULA_MIME not in one and one["text/plain"] not in notes]  # fmt: skip
    assert spoken.startswith("Correct: ")


@pytest.mark.parametrize("site", sorted(demo_sites()))
def test_the_first_guess_of_no_one_is_right_at_any_demo_site(site: str) -> None:
    this = open_design(site)
    for right in (
        exercises.exercise_pitch_m(this),
        exercises.exercise_heat_loss_percent(this),
        float(exercises.exercise_units_in_parallel(this)),
    ):
        assert right is None or right > 0.0
        assert "Correct" not in exercises.judge(None, right, unit="-")
        if right is not None:
            assert exercises.judge(right, right, unit="-").startswith("Correct")
            assert exercises.judge(0.5 * right, right, unit="-").startswith("Not yet")
            assert "too large" in exercises.judge(2.0 * right, right, unit="-")
