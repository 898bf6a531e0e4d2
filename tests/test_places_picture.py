"""The picture of the places: every value written, the best one told without colour."""

from __future__ import annotations

import io
import runpy
from pathlib import Path

import matplotlib as mpl
import pytest
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from solarcalc.figures.electrical import draw_places
from solarcalc.wiring.places import money_words

_PLACES = runpy.run_path(str(Path(__file__).with_name("test_wiring_places.py")))
NEAR, FAR, compared = (_PLACES[name] for name in ("NEAR", "FAR", "compared"))


def _words(figure):
    return [text.get_text() for text in figure.findobj(Text)]


def _bars(axis):
    return [patch for patch in axis.patches if isinstance(patch, Rectangle)]


@pytest.mark.parametrize("places", [(NEAR, FAR), (NEAR, FAR, NEAR.model_copy(
    update={"name": "Under the <old> tree $x$ by the river road",
            "dc_main_m": 20.0}))])  # fmt: skip
def test_each_value_of_each_place_is_written(places):
    results = compared(*places)
    words = _words(draw_places(results, currency="shells"))
    for one in results:
        for value in (f"{one.cable_m:.0f}", one.dc_main_size, f"{100.0 * one.drop_frac:.1f}",
                      f"{one.loss_kwh_per_year:.0f}", money_words(one.price),
                      money_words(one.whole_cost), f"{one.room_hottest_c:.0f}"):  # fmt: skip
            assert value in words
    assert "Near" in words
    assert any("hatched" in word and "Near" in word for word in words), "the title says it"


def test_bars_are_as_long_as_their_values_and_the_best_one_is_hatched():
    results = compared(NEAR, FAR)
    axes = draw_places(results, currency="shells").axes
    assert len(axes) == 7
    for axis in axes:
        near, far = _bars(axis)
        assert near.get_hatch()
        assert not far.get_hatch()
    near, far = _bars(axes[0])
    assert near.get_width() / far.get_width() == pytest.approx(
        results[0].cable_m / results[1].cable_m
    )


def test_one_place_is_drawn_without_a_winner():
    figure = draw_places(compared(), currency="shells")
    assert all(not bar.get_hatch() for axis in figure.axes for bar in _bars(axis))
    assert any("m of cable" in word for word in _words(figure))


def test_a_room_below_freezing_has_no_bar_backwards():
    cold = NEAR.model_copy(update={"room_above_k": -20.0, "room_swing_frac": 0.0})
    colder = FAR.model_copy(update={"room_above_k": -20.0, "room_swing_frac": 0.0})
    for axis in draw_places(compared(cold, colder), currency="shells").axes:
        assert all(0.0 <= bar.get_width() <= 1.0 for bar in _bars(axis))


def test_it_is_drawn_the_same_each_time():
    pages, results = [], compared(NEAR, FAR)
    for _ in range(2):
        with mpl.rc_context({"svg.hashsalt": "solarcalc"}):
            page = io.StringIO()
            draw_places(results, currency="shells").savefig(
                page, format="svg", metadata={"Date": None}
            )
        pages.append(page.getvalue())
    assert pages[0] == pages[1]
