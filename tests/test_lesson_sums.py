"""What a solution, a hint or a praise prints as a sum comes out with the figures that it prints."""

from __future__ import annotations

import itertools
import math
import re
import runpy
from collections.abc import Iterator
from pathlib import Path

import pytest

from solarcalc.lessons.marking import marked, right_words
from solarcalc.lessons.source import filled

CASES = runpy.run_path(str(Path(__file__).with_name("lesson_cases.py")))
LESSONS, SITES, tasks_of = (CASES[name] for name in ("LESSONS", "SITES", "tasks_of"))
NUMBER = re.compile(r"[-−]?\d[\d\u202f]*(?:\.\d+)?")
FUNCTIONS = {"tan": lambda turn: math.tan(math.radians(turn)), "cbrt": math.cbrt,
             "sin": lambda turn: math.sin(math.radians(turn)),
             "cos": lambda turn: math.cos(math.radians(turn))}
UNIT = re.compile(r"(?<![a-z(])(?!tan\(|sin\(|cos\(|cbrt\()[A-Za-zΩ°²³µ·%]+(?:/[A-Za-zΩ²³°]+)*"
                  r"(?: each| a day| per day)?")
OTHER_PREFIX = (1.0, 100.0, 1000.0, 0.001, 0.01)
"""Of a result in percent, in mA of amperes, in Ω of mΩ."""


def worth(words: str) -> float | None:
    """What the sum in the words gives; None where there is none that can be read.

    Parameters
    ----------
    words : str
        Such as ``"The gap is 0.684 m ÷ tan 24.5°"``.
    """
    found = re.search(r"[(∛]|[-−]?\d|tan |sin |cos ", words)
    text = words[found.start():] if found else ""
    for sign, python in (("\u202f", ""), ("−", "-"), ("×", "*"), ("÷", "/"), ("∛", "cbrt ")):
        text = text.replace(sign, python)
    text = re.sub(r"\b(tan|sin|cos) (-?[\d.]+)°", r"\1(\2)", text)
    text = re.sub(r"cbrt (\d+|\([^()]*\))", r"cbrt(\1)", text)
    if not re.search(r"[-*/+(]", text):
        return None
    try:
        value = eval(UNIT.sub("", text), {"__builtins__": {}}, FUNCTIONS)
    except (SyntaxError, NameError, TypeError):
        return None
    return float(value) if isinstance(value, (int, float)) else None


def sums(words: str) -> Iterator[tuple[str, float, str]]:
    """Each sum of a text with its worth and the result that is printed."""
    for sentence in re.split(r"(?<=[^\d])[.;:,](?=\s|$)", words):
        sides = sentence.split("=")
        for left, right in itertools.pairwise(sides):
            printed, value = NUMBER.search(right), worth(left)
            if printed and value is not None and not re.search(r"[×÷∛]", right):
                yield sentence.strip(), value, printed[0].replace("\u202f", "").replace("−", "-")


@pytest.mark.parametrize(("words", "value", "printed"), [
    ("The gap is 0.684 m ÷ tan 45.0° = 0.684 m", 0.684, "0.684"),
    ("2 × 72 m ÷ 1000 × 2.10 Ω/km = 0.302 Ω", 0.3024, "0.302"),
    ("28.8 mm × ∛(8 × 8) = 115 mm", 115.2, "115"),
    ("12\u202f000 W − 1000 W = 11 kW", 11000.0, "11"),
])  # fmt: skip
def test_a_sum_is_read(words: str, value: float, printed: str) -> None:
    assert [*sums(words)] == [(words, pytest.approx(value), printed)]


@pytest.mark.parametrize("key", LESSONS)
@pytest.mark.parametrize("site", SITES)
def test_each_sum_comes_out_with_the_figures_that_it_prints(key: str, site: str) -> None:
    """To half of the last digit: whoever works it out after the text gets what the text has."""
    for asked, found, numbers in tasks_of(key, site):
        for words in (asked.solution, asked.right, *asked.hints):
            for said, value, printed in sums(filled(words, found.steps, numbers)):
                half = 0.5001 * 10.0 ** -len(printed.partition(".")[2])
                assert any(abs(abs(value * times) - abs(float(printed))) <= half
                           for times in OTHER_PREFIX), (asked.key, said, value)


@pytest.mark.parametrize("key", LESSONS)
@pytest.mark.parametrize("site", SITES)
def test_the_answer_as_the_solution_prints_it_is_right(key: str, site: str) -> None:
    for asked, found, _ in tasks_of(key, site):
        if not isinstance(found.right, str):
            said = right_words(asked, found)
            assert marked(asked, found, said).verdict == "right", (asked.key, said)
