"""Pictures of the room: the bands hold the hours, titles say what is found, limits are there."""

from __future__ import annotations

import io
import runpy
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from solarcalc.figures.battery_room import draw_openings, draw_room_year
from solarcalc.powerroom.air import air_need
from solarcalc.powerroom.heat import Openings, envelope_of, room_year
from solarcalc.sitefile.room import Room

site_with = runpy.run_path(str(Path(__file__).with_name("room_sites.py")))["site_with"]

HOUR = np.arange(8760)
AIR_C = 15.0 - 14.0 * np.cos(2 * np.pi * HOUR / 8760) + 5.0 * np.sin(2 * np.pi * HOUR / 24)
YEAR = room_year(
    envelope_of(Room()), Openings(low_m2=0.02, high_m2=0.02, apart_m=2.0), air_c=AIR_C,
    ghi_w_m2=np.zeros(8760), heat_w=np.full(8760, 200.0),
)  # fmt: skip
LITHIUM = site_with(battery={"chemistry": "lifepo4"}).battery


def words(figure):
    return [text.get_text() for text in figure.findobj(Text)]


def test_bars_run_from_the_coldest_to_the_hottest_hour():
    figure = draw_room_year(YEAR, AIR_C, LITHIUM)
    axis = figure.axes[0]
    assert [bars.get_label() for bars in axis.containers] == [
        "outdoors", "room, by heat balance", "batteries"]
    for bars, series in zip(
        axis.containers, (AIR_C, YEAR.temp_c, YEAR.battery_c), strict=True
    ):
        assert len(bars) == 12
        january, july = series[: 31 * 24], series[181 * 24 : 212 * 24]
        for bar, month in ((bars[0], january), (bars[6], july)):
            assert isinstance(bar, Rectangle)
            assert bar.get_y() == pytest.approx(month.min())
            assert bar.get_y() + bar.get_height() == pytest.approx(month.max())
    (outdoors, *_) = [line for line in axis.lines if len(line.get_xdata()) == 12]
    assert outdoors.get_ydata()[6] == pytest.approx(AIR_C[181 * 24 : 212 * 24].mean())


def test_the_title_says_how_hot_and_how_much_warmer():
    warmer = YEAR.battery_c.mean() - AIR_C.mean()
    title = f"Battery up to {YEAR.battery_c.max():.0f} °C; annual mean {warmer:.0f} K warmer"
    assert any(word.startswith(title) for word in words(draw_room_year(YEAR, AIR_C, LITHIUM)))
    cool = replace(YEAR, battery_c=AIR_C - 3.0)
    assert any("3 K cooler" in word for word in words(draw_room_year(cool, AIR_C, LITHIUM)))


def test_the_frost_line_is_drawn_only_where_it_freezes():
    def lines(year, air, battery=LITHIUM):
        return sum("charge" in word for word in words(draw_room_year(year, air, battery)))

    assert lines(YEAR, AIR_C) == 1
    warm = replace(YEAR, temp_c=YEAR.temp_c + 20.0, battery_c=YEAR.battery_c + 20.0)
    assert lines(warm, AIR_C + 20.0) == 0
    lead = site_with(battery={"chemistry": "agm"}).battery
    assert lines(YEAR, AIR_C, lead) == 0, "frost does not stop the charge of lead"


@pytest.mark.parametrize(
    ("room", "chemistry", "title"),
    [
        ({}, "agm", "Ventilation openings sufficient: 1.5 times"),
        ({"vent_low_cm2": 100.0}, "agm", "Ventilation openings too small: 37 %"),
        ({"fan_m3_per_h": 40.0}, "agm", "Fan of 40 m³/h; 5.8 m³/h required"),
        ({"vent_low_cm2": 0.0, "vent_high_cm2": 0.0}, "lifepo4", "No gassing in normal use"),
    ],
)  # fmt: skip
def test_openings_against_what_is_needed(room, chemistry, title):
    site = site_with(room=room, battery={"chemistry": chemistry})
    need = air_need(site.battery, site.room.mesh_free_frac)
    figure = draw_openings(site.room, need)
    axis = figure.axes[0]
    assert axis.get_title(loc="left").startswith(title)
    free = axis.containers[1]
    assert free[0].get_width() == pytest.approx(site.room.vent_high_cm2 * 0.6)
    assert free[1].get_width() == pytest.approx(site.room.vent_low_cm2 * 0.6)
    needed = next(line for line in axis.lines if line.get_linestyle() == "--")
    assert needed.get_xdata()[0] == pytest.approx(need.free_cm2)


def test_they_are_drawn_the_same_each_time():
    pages = []
    for _ in range(2):
        with mpl.rc_context({"svg.hashsalt": "solarcalc"}):
            page = io.StringIO()
            figure = draw_room_year(YEAR, AIR_C, LITHIUM)
            figure.savefig(page, format="svg", metadata={"Date": None})
        pages.append(page.getvalue())
    assert pages[0] == pages[1]
