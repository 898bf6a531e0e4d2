"""Pictures of what the boards ask for: what they draw is what they were given."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pytest

from solarcalc import figures
from solarcalc.basis.hours import year_hours
from solarcalc.loads.days import day_kinds, hourly_power_w, kinds_of_year
from solarcalc.sitefile.loads import Appliance

HOURS = year_hours(5.75)


def _item(name, power_w, use=("08:00-10:00",), **more):
    return Appliance(name=name, power_w=power_w, use=list(use), **more)


BOARDS = {
    "essential": [_item("fan", 50.0, ["00:00-24:00"], months=[6, 7, 8])],
    "nonessential": [_item("saw", 1500.0, days=["weekdays"])],
}


def _svg(figure):
    page = io.StringIO()
    figure.savefig(page, format="svg")
    return page.getvalue()


def test_map_of_the_year_holds_each_hour_and_says_the_sum():
    hours = {board: hourly_power_w(items, HOURS) for board, items in BOARDS.items()}
    figure = figures.draw_load_year(hours)
    _svg(figure)
    axes = [axis for axis in figure.axes if axis.images]
    for axis, series in zip(axes, hours.values(), strict=True):
        drawn_kw = axis.images[0].get_array()
        assert drawn_kw.shape == (24, 365)
        assert np.allclose(drawn_kw[9, :14], series.to_numpy().reshape(365, 24)[:14, 9] / 1000.0)
        assert "[h]" in axis.get_ylabel()
    assert "110 kWh/year; 0.0 kWh/day in Jan, 1.2 kWh/day in Jun" in axes[0].get_title("left")
    assert "783 kWh/year" in axes[1].get_title("left")  # 261 days of 3 kWh
    assert all("[kW]" in bar.get_ylabel() for bar in figure.axes if bar not in axes)


def test_boards_without_a_load():
    nothing = {"essential": pd.Series(0.0, index=HOURS)}
    assert "No demand of" in figures.draw_load_year(nothing).axes[0].get_title("left")
    _svg(figures.draw_load_days(day_kinds({"essential": [], "nonessential": []})))


def test_kinds_of_day_stand_in_a_grid_of_seasons_to_one_scale():
    figure = figures.draw_load_days(day_kinds(BOARDS))
    _svg(figure)
    panels = [axis for axis in figure.axes if axis.get_visible()]
    assert [axis.get_title("left").replace("\n", ", ") for axis in panels] == [
        "Sep to May, Monday to Friday (195 days)",
        "Sep to May, Saturday and Sunday (78 days)",
        "Jun to Aug, Monday to Friday (66 days)",
        "Jun to Aug, Saturday and Sunday (26 days)",
    ]
    assert len({axis.get_ylim() for axis in panels}) == 1
    assert panels[0].get_ylim()[1] > 1.5
    assert figure.get_suptitle() == "Highest demand 4.2 kWh/day: Jun to Aug, Monday to Friday"
    essential, nonessential = panels[2].patches
    assert essential.get_linestyle() != nonessential.get_linestyle()  # told apart without colour
    assert nonessential.get_data().values.max() == pytest.approx(1.5)


@pytest.mark.slow
def test_one_kind_of_day_and_more_than_can_be_drawn():
    one = figures.draw_load_days(day_kinds({"nonessential": [_item("saw", 1500.0)]}))
    assert one.get_suptitle() == "Demand 3.0 kWh/day, the same every day"
    months = [
        _item(f"item {month}", 100.0 * month, months=[month], days=["weekdays"])
        for month in range(1, 13)
    ]
    figure = figures.draw_load_days(day_kinds({"nonessential": months}))
    _svg(figure)
    assert "the 12 most frequent of 24 day types" in figure.get_suptitle()
    assert sum(axis.get_visible() for axis in figure.axes) == 12


def test_a_measured_year_is_drawn_by_quarters():
    year = {"essential": pd.Series(np.arange(8760.0) % 24, index=HOURS)}
    figure = figures.draw_load_days(kinds_of_year(year))
    _svg(figure)
    panels = [axis for axis in figure.axes if axis.get_visible()]
    assert len(panels) == 8
    assert np.allclose(panels[5].patches[0].get_data().values, np.arange(24) / 1000.0)
