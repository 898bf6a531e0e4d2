"""Pictures of the controller's window and of the duct: words, sizes, no overlap of cables."""

from __future__ import annotations

import io
import math
import runpy
from pathlib import Path

import matplotlib as mpl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.patches import Circle, Rectangle
from matplotlib.text import Text

from solarcalc.basis.files import demo_sites
from solarcalc.figures.electrical import (
    MOST_BARS,
    MOST_DRAWN,
    draw_duct,
    draw_string_window,
    packed,
)
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.supply import Controller
from solarcalc.wiring.ducts import DuctCable, duct_fill
from solarcalc.wiring.string_plan import StringCase, series_limits, string_row

sized_run = runpy.run_path(str(Path(__file__).with_name("cable_stand_ins.py")))["sized_run"]
NASTY = r"$\frac{x_1}{0}$ _y_ <b> \alpha, a very long name of a controller that goes on and on"


@pytest.fixture(scope="module")
def site():
    return read_site(demo_sites()["ridge-clinic"]).site


def case_of(site, **controller):
    plate = {**site.controller.model_dump(), **controller}
    return StringCase(
        module=site.module, controller=Controller(**plate), bank_v=51.2, bank_top_v=57.6,
        coldest_c=-15.0, hottest_cell_c=70.0,
    )  # fmt: skip


def words_of(figure):
    return [text.get_text() for text in figure.findobj(Text)]


def overlapping(figure):
    """Pairs of words on the axes that cover one another, and words off the sheet."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    renderer = canvas.get_renderer()
    (axis,) = figure.axes
    texts = [t for t in axis.texts if t.get_text().strip()]
    if axis.axison:
        low, high = axis.get_xlim()
        texts += [t for t in axis.get_xticklabels() if low <= t.get_position()[0] <= high]
        texts.append(axis.xaxis.label)
    texts += [axis.title, axis._left_title]
    boxes = [(t.get_text(), t.get_window_extent(renderer)) for t in texts if t.get_text()]
    pairs = [
        (one, other)
        for number, (one, box) in enumerate(boxes)
        for other, second in boxes[:number]
        if box.overlaps(second)
    ]
    sheet = figure.bbox
    outside = [
        word for word, box in boxes if box.x0 < sheet.x0 - 1.0 or box.x1 > sheet.x1 + 1.0
    ]
    return pairs + outside


@pytest.mark.parametrize(
    ("controller", "series"),
    [
        ({}, 3),
        ({}, 9),
        ({"max_pv_voltage_v": 450.0, "min_tracking_voltage_v": 120.0,
          "max_tracking_voltage_v": 425.0}, 5),
        ({"max_pv_voltage_v": 100.0, "min_tracking_voltage_v": 80.0,
          "max_tracking_voltage_v": 95.0}, 1),
        ({"max_pv_voltage_v": 1000.0, "min_tracking_voltage_v": 60.0,
          "max_tracking_voltage_v": 900.0, "label": NASTY[:110]}, 60),
    ],
)
def test_the_window_shows_every_count_in_words_and_figures(site, controller, series):
    case = case_of(site, **controller)
    figure = draw_string_window(case, series)
    words = words_of(figure)
    least, most = series_limits(case)
    ticks = [tick.get_text() for tick in figure.axes[0].get_yticklabels()]
    shown = [int(tick.split()[0]) for tick in ticks if tick]
    assert f"{series}  (site)" in ticks
    assert len(shown) <= MOST_BARS + 1
    for count in shown:
        row = string_row(case, count, 1)
        word = "fits" if least <= count <= most else "too high" if count > most else "too low"
        assert f"{row.cold_voc_v:.0f}  {word}" in words
        assert f"{row.hot_working_v:.0f}" in words
    hatched = [p for p in figure.axes[0].patches if isinstance(p, Rectangle) and p.get_hatch()]
    assert len(hatched) == sum(least <= count <= most for count in shown)
    assert "[V]" in figure.axes[0].get_xlabel()
    assert not overlapping(figure)


def test_the_window_is_drawn_the_same_each_time(site):
    pages = []
    for _ in range(2):
        with mpl.rc_context({"svg.hashsalt": "solarcalc"}):
            page = io.StringIO()
            draw_string_window(case_of(site), 3).savefig(
                page, format="svg", metadata={"Date": None}
            )
        pages.append(page.getvalue())
    assert pages[0] == pages[1]


@settings(deadline=None)
@given(some.floats(20.0, 110.0), some.lists(some.floats(3.0, 25.0), min_size=1, max_size=12))
def test_packed_cables_lie_inside_and_apart(inner_mm, outers_mm):
    places = packed(inner_mm, outers_mm)
    lying = [place for place in places if place is not None]
    for number, (x, y, radius) in enumerate(lying):
        assert math.hypot(x, y) + radius <= inner_mm / 2.0 + 1e-5
        for u, v, other in lying[:number]:
            assert math.hypot(x - u, y - v) >= radius + other - 1e-5
    for outer_mm, place in zip(outers_mm, places, strict=True):
        if place is not None:
            assert place[2] == outer_mm / 2.0
    if outers_mm[0] <= inner_mm:
        assert places[0] is not None


def test_what_is_allowed_finds_its_place():
    for count, outer_mm in ((3, 9.0), (8, 12.0), (12, 10.0)):
        inner_mm = outer_mm * math.sqrt(count / 0.40)
        assert None not in packed(inner_mm, [outer_mm] * count)


def test_the_duct_says_what_lies_in_it(site):
    duct = site.duct.model_copy(update={"other_cables_mm": [8.0]})
    cables = [DuctCable(outer_mm=12.5, count=4, conductor_mm2=25.0, words=NASTY)]
    figure = draw_duct(duct_fill(site.model_copy(update={"duct": duct}), cables, length_m=15.0))
    words = words_of(figure)
    assert words.count("1") == 4
    assert words.count("2") == 1
    key = next(word for word in words if "4 × 12.5 mm" in word)
    assert "1 × 8 mm" in key
    assert "possible arrangement" in key
    assert any("6 % fill, within the limit of 40 %" in word for word in words)
    circles = [p for p in figure.axes[0].patches if isinstance(p, Circle)]
    assert sorted(c.radius for c in circles)[:5] == [4.0, 6.25, 6.25, 6.25, 6.25]
    assert not overlapping(figure)


def test_a_duct_too_full_says_so_and_what_is_left_out(site):
    tight = site.model_copy(update={"duct": site.duct.model_copy(update={"size": "waste-32"})})
    words = words_of(draw_duct(duct_fill(tight, [(14.0, 3)], length_m=5.0)))
    assert any("87 % fill, above the limit of 40 %" in word for word in words)
    assert any("2 do not fit in this arrangement" in word for word in words)
    many = words_of(draw_duct(duct_fill(site, [(3.0, MOST_DRAWN + 5)], length_m=5.0)))
    assert any("5 more not drawn" in word for word in many)
