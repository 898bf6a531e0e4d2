"""Pictures of electrode, number of rods and soil test, counted off the drawing."""

from __future__ import annotations

import io
import runpy
from pathlib import Path

import matplotlib as mpl
import pytest
from matplotlib.text import Text

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder
from solarcalc.earthing.bar import Conductors
from solarcalc.earthing.plan import earthing_plan
from solarcalc.figures.earth import draw_electrode, draw_rods, draw_soil_test
from solarcalc.sitefile.read import read_site

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))
TEST = {"spacing_m": [1.0, 2.0, 4.0], "resistance_ohm": [60.0, 10.0, 2.0], "tested_when": "dry"}


def plan_with(**tables):
    site = PLAIN["plain"](read_site(data_folder() / "sites" / "ridge-clinic.toml").site)
    changed = {
        table: getattr(site, table).model_copy(update=keys) for table, keys in tables.items()
    }
    lines = Conductors(ac_mm2=16.0, dc_mm2=16.0, battery_mm2=16.0)
    return earthing_plan(site.model_copy(update=changed), lines)


def words_of(figure):
    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


def thick_lines(figure):
    return [line for line in figure.axes[0].lines if line.get_linewidth() == 4.0]


@pytest.mark.parametrize(("count", "drawn"), [(1, 1), (3, 3), (5, 5), (6, 4), (24, 4)])
def test_rods_are_counted_and_measured(count, drawn):
    figure = draw_electrode(plan_with(earthing={"rod_count": count, "rod_spacing_m": 3.0}))
    words = words_of(figure)
    assert len(thick_lines(figure)) == drawn
    assert words.count("2.4 m") == 1
    assert words.count("3 m") == (1 if count > 1 else 0)
    assert ("· · ·" in words) == (count > drawn)
    assert words.count("test link") == words.count("main earthing terminal") == 1
    assert any("25 mm² copper, 5 m" in each for each in words)


@pytest.mark.parametrize(("kind", "lines"), [("strip", 1), ("ring", 0)])
def test_a_conductor_shows_its_length_and_depth(kind, lines):
    figure = draw_electrode(plan_with(earthing={"electrode": kind}))
    words = words_of(figure)
    assert len(thick_lines(figure)) == lines
    assert any("20 m" in each for each in words)
    assert "0.5 m" in words


def test_the_title_says_within_or_above_and_the_words_say_the_values():
    good = plan_with(soil=TEST, earthing={"measured_ohm": 45.0})
    words = words_of(draw_electrode(good))
    assert "45.0 Ω in the worst season, within the touch-voltage limit of 1667 Ω" in words
    assert {"measured", "45.0 Ω", "tested"} <= set(words)
    poor = plan_with(soil=TEST, earthing={"measured_ohm": 4500.0})
    assert any("above the touch-voltage limit of"
               " 1667" in each for each in words_of(draw_electrode(poor)))
    short = plan_with(soil=TEST, earthing={"measured_ohm": 45.0, "target_ohm": 20.0})
    assert any("above the design value of 20.0 Ω" in each
               for each in words_of(draw_electrode(short)))


def test_the_curve_of_rods_is_that_of_the_plan_and_crosses_its_limit():
    plan = plan_with(soil=TEST, earthing={"target_ohm": 20.0, "rod_count": 2})
    figure = draw_rods(plan)
    curve = figure.axes[0].lines[0]
    points = zip(curve.get_xdata(), curve.get_ydata(), strict=True)
    assert [tuple(map(float, point)) for point in points] == [
        tuple(map(float, pair)) for pair in plan.by_count
    ]
    words = words_of(figure)
    assert f"{plan.needed_rods} rods of this length sufficient for 20.0 Ω" in words
    levels = [line.get_ydata()[0] for line in figure.axes[0].lines if len(line.get_ydata()) == 2]
    assert 20.0 in levels
    assert "touch voltage: 1667 Ω, above the picture" in words
    rock = plan_with(soil={"kind": "rock"}, earthing={"target_ohm": 5.0})
    assert "24 rods of this length are not sufficient for 5.00 Ω" in words_of(draw_rods(rock))


def test_the_soil_test_shows_its_readings_and_what_is_used():
    plan = plan_with(soil=TEST)
    words = words_of(draw_soil_test(plan))
    assert {"377", "126", "50", "design: 126 Ω·m", "rod length: 2.4 m"} <= set(words)
    assert "Lower resistivity at depth: 50 to 377 Ω·m" in words
    with pytest.raises(InputError, match=r"soil\.spacing_m"):
        draw_soil_test(plan_with())


@pytest.mark.parametrize("draw", [draw_electrode, draw_rods, draw_soil_test])
def test_no_words_leave_the_sheet_and_it_is_drawn_the_same_each_time(draw):
    plan = plan_with(soil=TEST, earthing={"rod_count": 24, "target_ohm": 30.0})
    figure = draw(plan)
    figure.draw_without_rendering()
    wide, high = figure.get_size_inches() * figure.dpi
    for text in figure.findobj(Text):
        if text.get_text() and text.get_visible():
            box = text.get_window_extent()
            assert box.x0 >= -1.0
            assert box.x1 <= wide + 1.0
            assert box.y0 >= -1.0
            assert box.y1 <= high + 1.0
    pages = []
    for _ in range(2):
        with mpl.rc_context({"svg.hashsalt": "solarcalc"}):
            page = io.StringIO()
            draw(plan).savefig(page, format="svg", metadata={"Date": None})
        pages.append(page.getvalue())
    assert pages[0] == pages[1]
