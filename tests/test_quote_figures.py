"""Pictures of a quote: the figures they show are those they were given."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from solarcalc.basis.no_answer import NoAnswer
from solarcalc.figures.quote import (
    draw_cash_flows,
    draw_cost_groups,
    draw_tornado,
    draw_variants,
)
from solarcalc.quote.answer import tornado
from solarcalc.quote.bill import BillLine
from solarcalc.quote.economics import Plan, economics_of
from solarcalc.quote.offer import LabourHours, group_prices, quote_of
from solarcalc.quote.prices import read_price_list
from solarcalc.sitefile.bill_items import ITEMS
from solarcalc.sitefile.quote import Quote

HOURS = LabourHours(task="All", trade="installer", hours=9.0)
PLAN = Plan(
    first_price=9000.0, supplied_kwh_per_year=4000.0, generated_kwh_per_year=5200.0,
    ageing_frac=0.005, lifetime_years=20.0, interest_frac=0.08, maintenance_per_year=90.0,
    bought_per_year=0.0, today_per_kwh=0.4, price_escalation_frac=0.03, battery_price=3000.0,
    battery_years=9.3,
)  # fmt: skip


@pytest.fixture(scope="module")
def offer():
    bill = [
        BillLine(item=key, key=key, name=ITEMS[key].name, quantity=4.0, unit=ITEMS[key].unit,
                 group=ITEMS[key].group, size=3.0) for key in ("module", "battery", "door")
    ]  # fmt: skip
    return quote_of(bill, read_price_list("invented", Path(".")), quote=Quote(), array_kwp=1.0,
                    labour_hours=[HOURS])  # fmt: skip


def _widths(axis):
    return [patch.get_width() for patch in axis.patches if isinstance(patch, Rectangle)]


def test_bars_of_a_tornado_are_the_swings():
    swings = tornado(PLAN)
    (axis,) = draw_tornado(swings, answer="worth today", unit="USD", invented=True).axes
    moving = [one for one in swings if one.width > 0.0]
    assert len(moving) == len(swings) - 1  # nothing is bought, so its price moves nothing
    ends = [end - one.as_planned for one in moving for end in (one.at_low, one.at_high)]
    assert _widths(axis) == pytest.approx(ends)
    names = [label.get_text() for label in axis.get_yticklabels()]
    assert names == [one.name for one in moving]
    assert axis.get_title("left") == f"Largest effect on worth today: {moving[0].name}"
    assert "example prices" in axis.get_xlabel()
    still = [replace(one, at_low=1.0, at_high=1.0, as_planned=1.0) for one in swings]
    assert "No input changes" in draw_tornado(still, answer="it", unit="").axes[0].get_title("left")


def test_bars_of_the_price_are_its_groups(offer):
    (axis,) = draw_cost_groups({"one": offer}).axes
    assert _widths(axis) == pytest.approx(list(group_prices(offer).values()))
    most = max(group_prices(offer), key=group_prices(offer).get)
    assert axis.get_title("left").endswith(most)
    assert axis.get_legend() is None
    (axis,) = draw_cost_groups({"one": offer, "two": offer}).axes
    assert [text.get_text() for text in axis.get_legend().get_texts()] == ["one", "two"]


def test_cash_flow_marks_the_payback_and_new_batteries():
    good, poor = economics_of(PLAN), economics_of(replace(PLAN, today_per_kwh=0.02))
    figure = draw_cash_flows({"good": good, "poor": poor}, currency="USD", fit=["good"])
    (axis,) = figure.axes
    lines = axis.get_lines()
    assert lines[0].get_ydata() == pytest.approx(np.cumsum(good.net))
    marks = [line for line in lines if line.get_marker() == "o" and len(line.get_xdata())]
    assert [line.get_xdata()[0] for line in marks] == pytest.approx([good.payback_years])
    new = [line.get_xdata()[0] for line in lines if line.get_marker() == "v"
           and len(line.get_xdata())]  # fmt: skip
    assert new == [10, 19, 10, 19]
    words = [text.get_text() for text in axis.get_legend().get_texts()]
    assert "poor: no payback" in words
    assert axis.get_title("left").endswith(": good")
    raw = io.BytesIO()
    figure.savefig(raw, format="png")
    assert raw.getvalue().startswith(b"\x89PNG")
    alone = draw_cash_flows({"poor": poor}, currency="USD", invented=True).axes[0]
    assert "No payback" in alone.get_title("left")
    assert "example prices" in alone.get_ylabel()


def test_variants_lie_over_one_another_and_keep_their_line_on_both_sides():
    """Also where the first of them has no answer for the money."""
    good = economics_of(PLAN)
    missing = {"own": [float(month) for month in range(12)], "other": [2.0] * 12}
    figure = draw_variants(missing, {"other": good}, currency="USD", invented=True)
    months, flows = figure.axes
    own, other = months.get_lines()
    assert list(own.get_ydata()) == missing["own"]
    assert list(other.get_ydata()) == missing["other"]
    assert [text.get_text() for text in months.get_legend().get_texts()] == ["own", "other"]
    assert "24 kWh/year: other" in months.get_title("left")
    line = flows.get_lines()[0]
    assert line.get_ydata() == pytest.approx(np.cumsum(good.net))
    assert (line.get_linestyle(), line.get_color()) == (other.get_linestyle(), other.get_color())
    assert "invented example prices" in flows.get_title("left")
    why = NoAnswer(item="Money", found="none", limit="one", clause="", rule="made/up", kind="data")
    assert draw_variants(missing, why, currency="USD") is why
