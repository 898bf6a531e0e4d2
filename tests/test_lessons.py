"""Each task of each lesson: one right answer, mistakes known by their value, for every learner."""

from __future__ import annotations

import importlib
import json
import re
import runpy
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

from solarcalc.lessons.about import year_of_data
from solarcalc.lessons.marking import marked, right_words
from solarcalc.lessons.notebooks import notebook_path, notebook_text
from solarcalc.lessons.source import PLACE, RUNGS, Asked, filled, lesson_text, value_of
from solarcalc.lessons.tasks import Worked, about, drawn_for, unsound, worked
from solarcalc.lessons.units import is_counted

CASES = runpy.run_path(str(Path(__file__).with_name("lesson_cases.py")))
LESSONS, SITES, LEARNERS = CASES["LESSONS"], CASES["SITES"], CASES["LEARNERS"]
drawn, opened = CASES["drawn"], CASES["opened"]
ANY_LEARNER = settings(max_examples=30, deadline=None,
                       suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.mark.parametrize("key", LESSONS)
@pytest.mark.parametrize("site", SITES)
def test_right_is_right_and_each_mistake_is_known_by_its_value(key: str, site: str) -> None:
    met = set()
    for learner in LEARNERS:
        text, numbers = drawn(key, learner, site)
        for asked in (text.predict, *text.tasks):
            found = worked(text, asked.key, numbers)
            assert not unsound(asked, found, numbers)
            assert marked(asked, found, found.right).verdict == "right"
            for name, value in found.wrong.items():
                mark = marked(asked, found, value)
                assert (mark.verdict, mark.mistake) == ("wrong", name), (learner, asked.key)
                met.add((asked.key, name))
            if isinstance(found.right, str):
                others = set(found.items or asked.choices) - {found.right}
                assert all(marked(asked, found, one).verdict == "wrong" for one in others)
            else:
                rounded = float(f"{found.right:.4g}")
                assert marked(asked, found, rounded).verdict == "right", (learner, asked.key)
    named = {(asked.key, name) for asked in lesson_text(key).tasks for name in asked.mistakes}
    assert met == named, "each sentence has a learner who can earn it"


@pytest.mark.parametrize("key", LESSONS)
@ANY_LEARNER
@given(learner=CASES["names"])
def test_any_name_draws_sound_numbers_again_and_again(key: str, learner: str) -> None:
    text = lesson_text(key)
    numbers = drawn_for(text, learner, opened(SITES[0]))
    assert numbers == drawn_for(text, f"  {learner.upper()} ".lower(), opened(SITES[0])) or (
        learner.upper().lower() != learner.lower())
    for asked in (text.predict, *text.tasks):
        assert not unsound(asked, worked(text, asked.key, numbers), numbers)


@pytest.mark.parametrize("key", LESSONS)
def test_learners_have_numbers_of_their_own(key: str) -> None:
    seen = {repr(drawn(key, learner, SITES[0])[1]) for learner in LEARNERS}
    assert len(seen) > 0.9 * len(LEARNERS)


@pytest.mark.parametrize("key", LESSONS)
def test_texts_are_filled_and_a_question_prints_the_very_figures_that_are_used(key: str) -> None:
    for learner in LEARNERS[:10]:
        text, numbers = drawn(key, learner, SITES[0])
        for asked in (text.predict, *text.tasks):
            found = worked(text, asked.key, numbers)
            words = [asked.ask, asked.solution, asked.right, *asked.hints, *asked.choices.values(),
                     *asked.mistakes.values()]
            for words_of_it in words:
                said = filled(words_of_it, found.steps, numbers)
                assert not PLACE.search(said)
                assert not re.search(r"\bnan\b|\binf\b|\{|\}|None", said), said
                assert not re.search(r"(?<![\d.,\u202f])\b1 (days|hours|strings|modules|rows|years"
                                     r"|batteries|people|cells|tries)\b", said), said
            if found.by_printed is not None or isinstance(found.right, str):
                continue
            for name, form in PLACE.findall(asked.ask):
                value = value_of(name, found.steps, numbers)
                if form:
                    assert float(format(value, form)) == pytest.approx(value, abs=1e-9), (
                        f"{asked.key}: {name} is {value}, printed by {form}: round it where it is"
                        " drawn, or give by_printed")


@pytest.mark.parametrize("key", LESSONS)
@pytest.mark.parametrize("site", SITES)
def test_a_solution_ends_on_the_very_figure_of_the_answer(key: str, site: str) -> None:
    for asked, found, numbers in CASES["tasks_of"](key, site):
        said = filled(asked.solution, found.steps, numbers)
        assert not re.search(r"\de[+-]\d", said)
        ends = re.search(r"= (\S+ \S+)\.$", said)
        if ends and not isinstance(found.right, str):
            number, unit = ends[1].split(" ")
            answer = right_words(asked, found).replace("\u00a0", " ")
            assert unit not in answer.split(" ")[1:] or answer == f"{number} {unit}", said


@pytest.mark.parametrize("key", LESSONS)
def test_four_to_seven_tasks_from_reading_to_a_fault(key: str) -> None:
    rungs = [asked.rung for asked in lesson_text(key).tasks]
    assert 4 <= len(rungs) <= 7
    assert set(rungs) == set(RUNGS)
    assert rungs == sorted(rungs, key=RUNGS.index), "from easy to hard"


@pytest.mark.parametrize("key", LESSONS)
def test_solution_and_hints_stand_in_no_notebook(key: str) -> None:
    """And the notebook is what its source gives: python tests/refresh_lessons.py writes it."""
    stored = notebook_path(key).read_text(encoding="utf-8")
    assert stored == notebook_text(key)
    prose = "".join(line for cell in json.loads(stored)["cells"] for line in cell["source"])
    for asked in lesson_text(key).tasks:
        for secret in (*asked.hints, asked.solution, asked.right, *asked.mistakes.values()):
            assert max(PLACE.sub("\n", secret).split("\n"), key=len) not in prose


@pytest.mark.parametrize("key", LESSONS)
def test_the_picture_is_drawn_wherever_its_controls_stand(key: str) -> None:
    for learner in LEARNERS[:2]:
        text, numbers = drawn(key, learner, SITES[0])
        moved = about(text).picture(numbers)
        assert moved.ranges
        for end in (0, 1):
            chosen = {name: given[end] if isinstance(given, tuple) else [*given][-end]
                      for name, given in moved.ranges.items() if not isinstance(given, dict)}
            chosen |= {name: [*given.values()][-end] for name, given in moved.ranges.items()
                       if isinstance(given, dict)}
            drawn_svg = ET.fromstring(moved.draw(**chosen))
            assert drawn_svg.get("aria-label")
            assert not re.search(r"nan|inf\b", ET.tostring(drawn_svg, encoding="unicode"))


@pytest.mark.published("lessons/examples.toml")
def test_the_example_of_the_formula_is_a_figure_from_outside(case: dict) -> None:
    shown = about(lesson_text(case["id"])).example()
    for name, figure in case["figure"].items():
        assert shown[name] == pytest.approx(figure, abs=case.get("tolerance", 0.0005))


@pytest.mark.parametrize("key", LESSONS)
def test_each_lesson_has_an_example_whose_figures_are_printed(key: str) -> None:
    text = lesson_text(key)
    assert not PLACE.search(filled(text.figures, about(text).example()))


@pytest.mark.parametrize("key", LESSONS)
def test_each_task_has_a_function_that_says_what_it_gives(key: str) -> None:
    module = importlib.import_module(f"solarcalc.lessons.about.{lesson_text(key).about}")
    text = lesson_text(key)
    for asked in (text.predict, *text.tasks):
        assert getattr(module, asked.key).__doc__


def test_the_string_limits_of_the_sheet_task_are_those_that_a_site_file_refuses() -> None:
    """The false sheet of lesson 1 is one that the package's own rules refuse, the others pass."""
    from solarcalc.basis.errors import InputError
    from solarcalc.design import open_design

    for learner in LEARNERS[:6]:
        _, numbers = drawn("01_module_sheet", learner, SITES[0])
        for name, sheet in zip("ABCDE", numbers.sheets, strict=True):
            try:
                open_design(SITES[0], {"module": sheet})
            except InputError as error:
                told = str(error)
            else:
                told = ""
            assert ("module." in told) == (name == numbers.false_name), told


TITLES = (
    "Reading a module's sheet", "Sun and shadow", "Portrait or landscape", "Shade on strings",
    "Watts to kilowatt-hours", "Dust and cleaning", "Strings on a cold morning",
    "Cable drop and heat", "Batteries that tire", "Two boards and a low-irradiance week",
    "Fuses, breakers, surge", "Earthing and residual current", "The battery room's air and fire",
    "Building order and days", "Tests before switching on", "A year of data",
)  # fmt: skip


def test_sixteen_lessons_in_order_with_their_tasks_and_mistakes() -> None:
    """At least 70 tasks and 100 mistakes with a sentence of their own, none of them twice."""
    texts = [lesson_text(key) for key in LESSONS]
    assert [(text.number, text.title) for text in texts] == [*enumerate(TITLES, start=1)]
    tasks = [(text.key, one.key) for text in texts for one in text.tasks]
    mistakes = [(text.key, one.key, slip) for text in texts for one in text.tasks
                for slip in one.mistakes]  # fmt: skip
    assert len(set(tasks)) == len(tasks) >= 70
    assert len(set(mistakes)) == len(mistakes) >= 100
    for text in texts:
        assert len(text.tasks) >= 5, text.key
        assert sum(len(one.mistakes) for one in text.tasks) >= 7, text.key
        assert len({words for one in text.tasks for words in one.mistakes.values()}) >= 7, text.key


@pytest.mark.parametrize("key", LESSONS)
@pytest.mark.parametrize("site", SITES)
def test_no_number_copied_out_of_its_question_passes(key: str, site: str) -> None:
    """Neither the sheet's current for one's own reading, nor a block's volts for its cells."""
    for learner in LEARNERS:
        text, numbers = drawn(key, learner, site)
        for asked in (text.predict, *text.tasks):
            found = worked(text, asked.key, numbers)
            if isinstance(found.right, str):
                continue
            words = filled(asked.ask, found.steps, numbers).replace("\u202f", "")
            for printed in re.findall(r"(?<![\w.])\d+(?:\.\d+)?", words):
                assert marked(asked, found, float(printed)).verdict != "right", words


@pytest.mark.parametrize("key", LESSONS)
@pytest.mark.parametrize("site", SITES)
def test_a_right_answer_in_too_few_figures_is_asked_again_and_never_taken_for_a_mistake(
    key: str, site: str
) -> None:
    for learner in LEARNERS:
        text, numbers = drawn(key, learner, site)
        for asked in text.tasks:
            found = worked(text, asked.key, numbers)
            if isinstance(found.right, str) or is_counted(found.unit) or found.right == 0.0:
                continue
            for figures in (1, 2, 3):
                said = float(f"{found.right:.{figures}g}")
                if abs(said / found.right - 1.0) > 0.05:
                    continue
                mark = marked(asked, found, said)
                assert mark.verdict in ("right", "unread") or said == pytest.approx(
                    found.wrong.get(mark.mistake, 0.0), rel=1e-9), (asked.key, mark.words)


WITH_UNIT = re.compile(r"-?\d+(?:\.\d+)?\s*[A-Za-zΩ°%²/·]+")


@pytest.mark.parametrize("key", LESSONS)
def test_no_text_before_a_task_prints_its_answer_for_every_learner(key: str) -> None:
    always: set[tuple[str, str]] | None = None
    for learner in LEARNERS[:10]:
        text, numbers = drawn(key, learner, SITES[0])
        guess = text.predict
        said = {guess.key: filled(guess.right, worked(text, guess.key, numbers).steps, numbers)}
        said |= {one.key: filled(one.ask, worked(text, one.key, numbers).steps, numbers)
                 for one in text.tasks}
        after = {one.key: one.after for one in text.tasks}
        found = {(source, asked.key) for asked in text.tasks for source, words in said.items()
                 if source != asked.key and after.get(source) != asked.key
                 and _prints(words, asked, worked(text, asked.key, numbers))}
        always = found if always is None else always & found
    assert always == set()


def _prints(words: str, asked: Asked, found: Worked) -> bool:
    """Whether some number with its unit in the words is the right answer."""
    return not isinstance(found.right, str) and any(
        marked(asked, found, said).verdict == "right" for said in WITH_UNIT.findall(words))


def test_the_year_lesson_never_tells_its_ratio_before_it_asks_for_it() -> None:
    """In the prediction, its comparison, the formula's example and the tasks before it."""
    for learner in (f"Learner {number}" for number in range(40)):
        text, numbers = drawn("16_year_of_data", learner, SITES[0])
        asked = text.task("performance_ratio")
        found = worked(text, asked.key, numbers)
        guess, first = text.predict, text.tasks[0]
        said = [text.idea, text.symbols, first.right, *guess.choices.values()]
        said += [filled(words, worked(text, one.key, numbers).steps, numbers)
                 for one in (guess, first) for words in (one.ask, one.right)]
        said += [filled(words, worked(text, first.key, numbers).steps, numbers)
                 for words in (*first.hints, first.solution)]
        assert not any(_prints(words, asked, found) for words in said), learner
        example = 100.0 * year_of_data.example()["ratio"]
        assert marked(asked, found, f"{example:.0f} %").verdict != "right", learner
        assert marked(asked, found, f"{example:.1f} %").verdict != "right", learner


@pytest.mark.parametrize("site", SITES)
@pytest.mark.parametrize("learner", LEARNERS)
def test_the_row_behind_is_in_shade_until_the_pitch_is_dragged_to_the_rule(
    learner: str, site: str
) -> None:
    """As the text beside the picture asks: it was clear before anybody had dragged it."""
    text, numbers = drawn("02_sun_shadow", learner, site)
    moved = about(text).picture(numbers)
    low, high, step, start = moved.ranges["pitch_m"]
    first = moved.draw(sundial_time_h=9.0, pitch_m=start, shortest_day=True)
    assert "in full sun" not in first
    needed = float(worked(text, "row_pitch", numbers).right)
    assert low <= start < needed < high
    clear = moved.draw(sundial_time_h=9.0, pitch_m=needed + step, shortest_day=True)
    assert "in full sun" in clear
