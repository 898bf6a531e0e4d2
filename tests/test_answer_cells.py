"""An answer cell takes what a beginner writes into it, and leaves what Python reads alone."""

from __future__ import annotations

import ast
import runpy
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from IPython.core.interactiveshell import InteractiveShell

from solarcalc.lessons import answer_cells
from solarcalc.lessons.answer_cells import take_answers_without_quotes, with_quotes
from solarcalc.lessons.marking import marked
from solarcalc.lessons.source import Asked
from solarcalc.lessons.tasks import Worked
from solarcalc.lessons.units import read_number

CASES = runpy.run_path(str(Path(__file__).with_name("lesson_cases.py")))
SAID = Asked(key="any", ask="?")


@pytest.mark.parametrize(("said", "unit", "value"), [
    ("12,5 %", "%", 12.5), ("7,05", "A", 7.05), ("12,5", "A", 12.5), ("517 W", "W", 517.0),
    ("0,517 kW  # by the sheet", "W", 517.0), ("“3 m”", "m", 3.0), ("1 250 W", "W", 1250.0),
])  # fmt: skip
def test_a_number_needs_no_quotes(said: str, unit: str, value: float) -> None:
    line = with_quotes(f"my_answer = {said}\n")
    assert line.endswith("\n")
    assert read_number(ast.literal_eval(line.partition("=")[2].strip()), unit) == value


@given(st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=40))
@example("R2")
@example("it's 3 m")
def test_whatever_stands_there_python_can_read_the_line(said: str) -> None:
    line = with_quotes(f"my_answer = {said}")
    if line != f"my_answer = {said}":
        assert isinstance(ast.literal_eval(line.partition("= ")[2]), str)


@pytest.mark.parametrize("line", [
    "my_answer = None", "my_answer = 42.7 * 12.1", 'my_answer = "12 W"', "my_answer = area * 2",
    "my_answer = round(3.21, 1)", "my_answer = (3 +", "other = 12,5 %", "my_answer == b",
    'lesson.ask("hot_power", my_answer)', "  # my_answer = b",
])  # fmt: skip
def test_what_python_reads_stays_as_it_is(line: str) -> None:
    assert with_quotes(line, {"area"}) == line


def test_a_notebook_takes_it_from_then_on(monkeypatch: pytest.MonkeyPatch) -> None:
    shell = InteractiveShell()
    monkeypatch.setattr(answer_cells, "get_ipython", lambda: shell)
    take_answers_without_quotes()
    take_answers_without_quotes()
    said = {"b": "b", "12,5 %": "12,5 %", "2 * 3.5": 7.0, "half * 2": 1.0}
    shell.user_ns["half"] = 0.5
    for text, value in said.items():
        shell.run_cell(f"my_answer = {text}").raise_error()
        assert shell.user_ns["my_answer"] == value
    names = [getattr(one, "__name__", "") for one in shell.input_transformers_cleanup]
    assert names.count("answers_quoted") == 1


@pytest.mark.parametrize(("said", "name"), [
    ("module C", "C"), ("c", "C"), ("Sheet C", "C"), ("the lamps", "lamps"), ("lamp", "lamps"),
    ("battery", "battery cables"), ("device R2", "R2"), ("2", "R2"),
])  # fmt: skip
def test_a_thing_is_known_by_what_people_call_it(said: str, name: str) -> None:
    found = Worked(right=name, items=("A", "C", "lamps", "battery cables", "R2"))
    assert marked(SAID, found, said).verdict == "right"


@pytest.mark.parametrize("said", ["the", "no idea", "lamps and pump", "la"])
def test_what_may_be_another_thing_is_no_try(said: str) -> None:
    found = Worked(right="lamps", items=("lamps", "landing", "pump house"))
    assert marked(SAID, found, said).verdict == "unread"


@given(st.floats(0.5, 9e5), st.sampled_from(("W", "V", "Ω·m")))
def test_slips_of_any_task_are_told_and_never_right(right: float, unit: str) -> None:
    found = Worked(right=right, unit=unit)
    for factor, told in ((-1.0, "wrong sign"), (10.0, "ten times too large"),
                         (0.1, "ten times too small"), (1000.0, "a thousand times")):
        mark = marked(SAID, found, factor * right)
        assert mark.verdict == "wrong"
        assert told in mark.words


@given(st.floats(0.5, 9e5), st.integers(1, 2))
def test_a_number_rounded_too_far_is_no_try_and_no_mistake(right: float, figures: int) -> None:
    found = Worked(right=right, unit="W", within_frac=0.005)
    rounded = float(f"{right:.{figures}g}")
    off = abs(rounded - right) / right
    verdict = marked(SAID, found, rounded).verdict
    assert verdict == ("right" if off <= 0.005 else "unread" if off <= 0.06 else "wrong")


def test_what_is_counted_is_whole_and_pieces_are_pieces_of_it() -> None:
    found = Worked(right=8.0, unit="modules", within_frac=0.0, wrong={"rounded_down": 7.0})
    assert marked(SAID, found, "8 pcs").verdict == "right"
    half = marked(SAID, found, 7.35)
    assert half.verdict == "unread"
    assert "come whole" in half.words
    assert marked(SAID, found, 7).mistake == "rounded_down"
