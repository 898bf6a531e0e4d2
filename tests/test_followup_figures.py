"""Pictures of the follow-up say what was found."""

from __future__ import annotations

import re
import runpy
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pandas as pd
import pytest

from solarcalc.design import open_design
from solarcalc.figures.followup import draw_measured_by_day, draw_ratio_by_month, draw_ratio_map
from solarcalc.followup.answer import FollowUp, follow_up
from solarcalc.followup.daily import Measured

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_site.py")))
CLINIC = PLAIN["plain_file"]("ridge-clinic")

DEMO = Path(__file__).resolve().parents[1] / "data" / "loggers" / "ridge-clinic.csv"


def demo(weather: str) -> FollowUp:
    columns = {"time": "Time", "array_power": "Array W", "irradiance": "Light W/m2",
               "state_of_charge": "Charge %"}  # fmt: skip
    logger = {"file": str(DEMO), "columns": columns, "weather": weather}
    return follow_up(open_design(CLINIC, {"logger": logger}))


@pytest.fixture(scope="module")
def found() -> FollowUp:
    return demo("measured")


def test_days_carry_the_findings(found):
    axis = draw_measured_by_day(found).axes[0]
    assert axis.get_title(loc="left").startswith("String out of operation and dust")
    assert axis.get_ylabel().endswith("[%]")
    labels = {text.get_text() for text in axis.get_legend().get_texts()}
    assert {"dust", "string out of operation", "fitted line"} <= labels


def test_the_legend_stands_beside_the_hatched_days_and_not_over_them(found):
    figure = draw_measured_by_day(found)
    figure.canvas.draw()
    axis = figure.axes[0]
    assert axis.get_legend().get_window_extent().x0 >= axis.get_window_extent().x1


def test_months_with_and_without_light(found):
    assert "25 °C" in str([t.get_text() for t in
                           draw_ratio_by_month(found).axes[0].get_legend().get_texts()])
    typical = demo("typical")
    title = draw_ratio_by_month(typical).axes[0].get_title(loc="left")
    assert "including weather" in title
    with pytest.raises(ValueError, match="measured light"):
        draw_measured_by_day(typical)


def test_map_has_days_and_hours(found):
    figure = draw_ratio_map(found.measured)
    assert figure.axes[0].get_ylabel() == "hour of the day [h]"
    assert figure.axes[1].get_ylabel() == "energy performance index [%]"
    assert len(figure.axes[0].images) == 2


@pytest.mark.parametrize("years", [1, 2, 3, 7])
def test_months_of_several_years_are_named_with_their_year_and_lie_apart(found, years):
    index = pd.date_range("2025-10-01", periods=12 * years + 1, freq="MS")
    one = pd.DataFrame(dict.fromkeys(("ratio", "ratio_25c", "ratio_25c_free"), 0.8),
                       index=index)  # fmt: skip
    typical = pd.DataFrame({"ratio": 0.8, "clear_ratio": 0.9},
                           index=[f"{stamp:%Y-%m}" for stamp in index])  # fmt: skip
    hours = pd.date_range(index[0], index[-1], freq="h", tz="Etc/GMT+5")
    level = pd.Series(500.0, index=hours)
    measured = Measured(power_w=level, expected_w=level, clear_w_m2=level, light_w_m2=level,
                        sun_azimuth_deg=level, full=level < 0.0)  # fmt: skip
    for figure in (draw_ratio_by_month(replace(found, months=one)),
                   draw_ratio_by_month(replace(found, months=typical)), draw_ratio_map(measured)):
        figure.canvas.draw()
        axis = figure.axes[0]
        names = [text for text in axis.get_xticklabels() if text.get_text()]
        texts = [text.get_text() for text in names]
        assert len(set(texts)) == len(texts) > 3
        assert all(re.fullmatch(r"[A-Z][a-z]{2}\n20\d\d", text) for text in texts)
        boxes = [text.get_window_extent() for text in names]
        assert all(one.x1 <= other.x0 for one, other in pairwise(boxes))
