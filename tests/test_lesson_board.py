"""The board of lesson 11: every figure stands on it once, no word lies on another."""

from __future__ import annotations

import runpy
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.diagrams.lesson_board import Outgoing, draw_lesson_board

CASES = runpy.run_path(str(Path(__file__).with_name("diagram_cases.py")))
WAYS = st.lists(st.builds(
    Outgoing, name=st.from_regex(r"W[1-9]", fullmatch=True), rated_a=st.integers(2, 630),
    cable=st.sampled_from(("1.5 mm²", "2.5 mm²", "120 mm²")), capacity_a=st.integers(10, 600),
    load_a=st.integers(1, 630),
), min_size=1, max_size=8)  # fmt: skip


@settings(deadline=None)
@given(ways=WAYS)
def test_figures_stand_on_the_board_and_in_its_description_and_no_word_lies_on_another(
    ways: list[Outgoing],
) -> None:
    drawing = CASES["Drawing"](draw_lesson_board(ways))
    assert CASES["clashes"](drawing) == []
    told = next(drawing.root.iter(f"{CASES['SVG']}desc")).text
    for way in ways:
        for words in (f"breaker {way.rated_a:g} A", f"{way.load_a:g} A", way.name, way.cable):
            assert any(words in line for line in drawing.texts())
            assert words in told
