"""The board of lesson 11: every figure stands on it once, no word lies on another."""

from __future__ import annotations

import runpy
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.text import Text

from solarcalc.diagrams.lesson_board import Outgoing, draw_lesson_board
from solarcalc.diagrams.lettering import SMALL_MM
from solarcalc.figures.lessons import draw_row_gaps, draw_shaded_row
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.equipment import bundled_equipment

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


PHONE_PX, LEAST_PX = 364.0, 7.0
"""Width of a drawing in a page of 390 px, and the least letters that are still read there."""


def test_what_is_read_off_a_drawing_is_read_on_a_phone() -> None:
    """Where a task has its figures in the drawing alone."""
    module = Module(**next(iter(bundled_equipment()["modules"].values())).values)
    names = ("gap A", "gap B", "gap C", "gap D", "gap E")
    drawn = (draw_row_gaps(names, (0.62, 0.5, 0.3, 0.4, 0.7), (0.3, 0.5, 1.7, 0.8, 1.2),
                           tilt_deg=25.0),
             draw_shaded_row(module, "ABCDE", (0, 1, 2, 1, 0), (195.0, 126.0, 58.0, 54.0, 195.0)))
    for figure in drawn:
        wide_pt = 72.0 * figure.get_figwidth()
        letters = [text.get_fontsize() for text in figure.findobj(Text) if text.get_text()]
        assert min(letters) * PHONE_PX / wide_pt >= LEAST_PX
    ways = [Outgoing(name="W1", rated_a=10, cable="1.5 mm²", capacity_a=14, load_a=7)]
    wide_mm = float(CASES["Drawing"](draw_lesson_board(ways)).root.get("viewBox").split()[2])
    assert SMALL_MM * PHONE_PX / wide_mm >= LEAST_PX
