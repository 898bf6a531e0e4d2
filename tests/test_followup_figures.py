"""Pictures of the follow-up say what was found."""

from __future__ import annotations

import runpy
from pathlib import Path

import pytest

from solarcalc.design import open_design
from solarcalc.figures.followup import draw_measured_by_day, draw_ratio_by_month, draw_ratio_map
from solarcalc.followup.answer import FollowUp, follow_up

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
