"""The wiring picture: what is joined to what, counted off the drawing."""

from __future__ import annotations

import io

import matplotlib as mpl
import pytest
from matplotlib.text import Text

from solarcalc.figures import draw_bank_wiring
from solarcalc.figures.battery_room import MOST_IN_A_ROW, MOST_ROWS
from solarcalc.sitefile.battery import Battery


def _battery(unit_v, series, strings, chemistry="gel", earthed="none"):
    return Battery(
        label="Invented", chemistry=chemistry, unit_voltage_v=unit_v, unit_capacity_ah=100.0,
        units_in_series=series, units_in_parallel=strings, charge_efficiency_frac=0.9,
        discharge_efficiency_frac=0.95, max_charge_c_rate=0.2, max_discharge_c_rate=0.5,
        self_discharge_frac_per_month=0.03, min_soc_frac=0.5, nonessential_shed_frac=0.6,
        nonessential_return_frac=0.75, pole_earthed=earthed,
    )  # fmt: skip


def _words(figure):
    return [text.get_text() for text in figure.findobj(Text)]


@pytest.mark.parametrize(
    ("series", "strings", "title"),
    [
        (4, 3, "48 V, 300 Ah: 3 strings of 4 in series"),
        (4, 1, "48 V, 100 Ah: 4 in series"),
        (1, 3, "12 V, 300 Ah: 3 in parallel"),
        (1, 1, "12 V, 100 Ah: one monobloc or module"),
    ],
)
def test_units_fuses_and_bars_are_all_there(series, strings, title):
    figure = draw_bank_wiring(_battery(12.0, series, strings))
    words = _words(figure)
    assert title in words
    assert words.count("+") == words.count("−") == series * strings + 1
    assert words.count("fuse") == (2 * strings if strings > 1 else 0)
    assert words.count("battery fuse") == 2
    bars = 1 if strings > 1 else 0
    assert words.count("positive busbar") == words.count("negative busbar") == bars
    assert words.count("inter-unit connector") == (1 if series > 1 else 0)


@pytest.mark.parametrize("strings", [1, 3])
@pytest.mark.parametrize(("earthed", "poles"), [("none", 2), ("negative", 1), ("positive", 1)])
def test_a_fuse_stands_in_each_pole_that_is_not_earthed(earthed, poles, strings):
    """The device list says in which poles; an earthed one has none (common practice,
    no source)."""
    battery = _battery(12.0, 4, strings, earthed=earthed)
    figure = draw_bank_wiring(battery)
    fuses = [text for text in figure.findobj(Text) if text.get_text().endswith("fuse")]
    assert len(fuses) == poles * (strings * (strings > 1) + 1)
    left = {text.get_position()[0] < 0.0 for text in fuses}
    assert left == {"none": {True, False}, "negative": {True}, "positive": {False}}[earthed]


def test_every_string_reaches_both_bars():
    axis = draw_bank_wiring(_battery(12.0, 4, 3)).axes[0]
    bars = [line for line in axis.lines if line.get_linewidth() == 4.0]
    plus, minus = sorted(float(bar.get_xdata()[0]) for bar in bars)
    for level in (0.0, -1.15, -2.3):
        ends = [
            float(x)
            for line in axis.lines
            if line not in bars and all(abs(y - level) < 1e-9 for y in line.get_ydata())
            for x in line.get_xdata()
        ]
        assert plus in ends
        assert minus in ends
    thick = [line for line in axis.lines if line.get_linewidth() == 2.4]
    levels = {float(line.get_ydata()[0]) for line in thick}
    assert levels == {0.0, -2.3}, "plus and minus leave at opposite corners"


@pytest.mark.parametrize(("series", "strings"), [(24, 1), (24, 9), (1, 50), (400, 50)])
def test_a_long_bank_is_cut_short_with_dots(series, strings):
    words = _words(draw_bank_wiring(_battery(2.0, series, strings)))
    shown = min(series, MOST_IN_A_ROW - 1) * min(strings, MOST_ROWS - 1)
    assert words.count("+") == shown + 1
    assert str(series) in words
    assert ("· · ·" in words) == (series > MOST_IN_A_ROW)
    assert ("⋮" in words) == (strings > MOST_ROWS)
    assert (f"string {strings}" in words) == (strings > 1)


def test_it_is_drawn_the_same_each_time():
    pages = []
    for _ in range(2):
        with mpl.rc_context({"svg.hashsalt": "solarcalc"}):
            page = io.StringIO()
            draw_bank_wiring(_battery(12.0, 4, 3)).savefig(
                page, format="svg", metadata={"Date": None}
            )
        pages.append(page.getvalue())
    assert pages[0] == pages[1]
