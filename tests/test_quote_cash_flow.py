"""Money over years against printed tables, a textbook example and numpy-financial."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.present_value import annuity_years
from solarcalc.quote.answer import REACHES, Reach, tornado
from solarcalc.quote.economics import (
    Plan,
    economics_of,
    net_present_value,
    payback_years,
    rate_of_return_frac,
    replacement_years,
    stored_energy_cost,
    today_per_kwh,
    yearly_share_frac,
)
from solarcalc.quote.offer import price_of

PLAN = Plan(
    first_price=10000.0, served_kwh_per_year=4000.0, generated_kwh_per_year=5200.0,
    ageing_frac=0.005, lifetime_years=20.0, interest_frac=0.08, maintenance_per_year=100.0,
    bought_per_year=50.0, today_per_kwh=0.4, price_escalation_frac=0.03, battery_price=3000.0,
    battery_years=9.3, inverter_price=1200.0, inverter_years=12.0,
)  # fmt: skip


@pytest.mark.published("quote/interest.toml")
def test_printed_figures(case):
    within = case["tolerance"]
    kind = case["kind"]
    if kind == "share":
        found = [yearly_share_frac(*pair) for pair in case["inputs"]]
        assert found == pytest.approx(case["figure"], rel=0.0, abs=within)
    elif kind == "annuity":
        found = [annuity_years(*pair) for pair in case["inputs"]]
        assert found == pytest.approx(case["figure"], rel=0.0, abs=within)
    elif kind == "row":
        rate, years, printed = case["interest_frac"], case["years"], case["figure"]
        worth = annuity_years(rate, years)
        assert 1.0 / worth == pytest.approx(printed["AP"], rel=0.0, abs=within)
        assert worth == pytest.approx(printed["PA"], rel=0.0, abs=within)
        assert worth * (1.0 + rate) ** years == pytest.approx(printed["FA"], rel=0.0, abs=within)
    elif kind == "payback":
        flows, rate = case["flows"], case["interest_frac"]
        assert payback_years(flows) == pytest.approx(case["simple"], rel=0.0, abs=within)
        found = payback_years(flows, rate)
        assert found == pytest.approx(case["discounted"], rel=0.0, abs=within)
        npv = net_present_value(flows, rate)
        assert npv == pytest.approx(case["npv"], rel=0.0, abs=case["npv_tolerance"])
        if "irr" in case:
            found = rate_of_return_frac(flows)
            assert found == pytest.approx(case["irr"], rel=0.0, abs=1e-6)
    elif kind == "irr":
        assert rate_of_return_frac(case["flows"]) == pytest.approx(case["irr"], abs=within)
    elif kind == "lcoe":
        plan = Plan(
            first_price=case["capex"], maintenance_per_year=case["maintenance"],
            interest_frac=case["interest_frac"], lifetime_years=case["years"],
            served_kwh_per_year=case["energy_kwh"], generated_kwh_per_year=case["energy_kwh"],
            ageing_frac=case["ageing_frac"], battery_price=case["battery_price"],
            battery_years=case["battery_years"], bought_per_year=0.0, today_per_kwh=0.4,
            price_escalation_frac=0.0,
        )  # fmt: skip
        found = economics_of(plan)
        assert found.cost_per_kwh_served == pytest.approx(case["figure"], rel=0.0, abs=within)
        assert found.cost_per_kwh_generated == pytest.approx(found.cost_per_kwh_served)
    elif kind == "stored":
        found = stored_energy_cost(case["price"], **case["inputs"])
        assert found == pytest.approx(case["figure"], rel=0.0, abs=within)
    else:
        assert kind == "margin"
        found = price_of(case["cost"], margin_frac=case["margin_frac"])
        assert found == pytest.approx(case["figure"], rel=0.0, abs=within)


@given(
    some.floats(-0.2, 0.5).map(lambda rate: round(rate, 6)), some.integers(1, 40),
    some.floats(100.0, 1e5), some.floats(0.02, 2.0),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_numpy_financial_says_the_same(rate, years, price, share):
    flows = [-price] + [share * price] * years
    assert net_present_value(flows, rate) == pytest.approx(npf.npv(rate, flows), rel=1e-9, abs=1e-6)
    assert yearly_share_frac(rate, years) == pytest.approx(-npf.pmt(rate, years, 1.0), rel=1e-7)
    ours, theirs = rate_of_return_frac(flows), npf.irr(flows)
    if ours is not None:
        assert ours == pytest.approx(theirs, abs=1e-6)
    else:
        assert np.isnan(theirs) or theirs < -0.94


@given(some.floats(0.0, 0.3))
@settings(max_examples=30, deadline=None)
def test_the_whole_cash_flow_as_numpy_financial_reckons_it(rate):
    found = economics_of(replace(PLAN, interest_frac=rate))
    assert found.npv == pytest.approx(npf.npv(rate, found.net), abs=1e-6)
    assert found.return_frac == pytest.approx(npf.irr(found.net), abs=1e-6)
    assert (found.npv > 0.0) == (found.return_frac > rate)


def test_interest_next_to_none_is_as_none():
    # a plain formula divides 0 by 0 here, and numpy-financial warns
    assert annuity_years(1e-114, 7) == pytest.approx(7.0, rel=1e-12)
    assert annuity_years(0.0, 7) == 7.0


def test_two_rates_of_return_are_none_and_so_is_no_rate():
    # hand: -100 + 230 v - 132 v^2 = 0 at 10 % and 20 %
    assert net_present_value([-100.0, 230.0, -132.0], 0.1) == pytest.approx(0.0, abs=1e-9)
    assert net_present_value([-100.0, 230.0, -132.0], 0.2) == pytest.approx(0.0, abs=1e-9)
    assert rate_of_return_frac([-100.0, 230.0, -132.0]) is None
    assert rate_of_return_frac([-100.0, -1.0]) is None
    assert rate_of_return_frac([100.0, 1.0]) is None


def test_a_replacement_after_the_money_was_back_moves_the_payback():
    # hand: sums -100, 20, -60, 60; back for good half way through year 3
    assert payback_years([-100.0, 120.0, -80.0, 120.0]) == pytest.approx(2.5)
    assert payback_years([-100.0, 50.0]) is None
    assert payback_years([0.0, 50.0]) == 0.0


def test_what_is_paid_when_a_battery_dies():
    assert replacement_years(5.0, 20) == (5, 10, 15)
    assert replacement_years(7.4, 20) == (8, 15)
    assert replacement_years(20.0, 20) == replacement_years(float("inf"), 20) == ()
    # hand: 2 x 9.7 = 19.4, in the last of 20 years: not bought for the rest of it
    assert replacement_years(9.7, 20) == (10,)
    # hand: 0.1 x 3 is a little more than 0.3 in floating point, and still the third year
    assert replacement_years(0.3 * 10, 10) == (3, 6, 9)


def test_the_flows_add_up_and_say_what_they_are():
    found = economics_of(PLAN)
    total = found.saved - found.maintenance - found.bought - found.replaced
    total[0] -= PLAN.first_price
    assert found.net == pytest.approx(total)
    assert found.saved[:2] == pytest.approx([0.0, 1600.0])
    assert found.saved[2] == pytest.approx(1600.0 * 0.995 * 1.03)
    assert np.flatnonzero(found.replaced).tolist() == [10, 12, 19]
    assert found.replaced[[10, 12, 19]].tolist() == [3000.0, 1200.0, 3000.0]
    assert found.replacement_years == (10, 19)
    assert len(found.net) == 21


def test_cost_of_a_generated_kwh_leaves_out_what_is_bought():
    free = economics_of(replace(PLAN, bought_per_year=0.0))
    found = economics_of(PLAN)
    assert found.cost_per_kwh_generated == pytest.approx(free.cost_per_kwh_generated)
    assert found.cost_per_kwh_served > free.cost_per_kwh_served
    assert free.cost_per_kwh_served / free.cost_per_kwh_generated == pytest.approx(5200.0 / 4000.0)


@pytest.mark.parametrize(
    ("change", "better"),
    [
        ({"today_per_kwh": 0.5}, True), ({"battery_years": 6.0}, False),
        ({"price_escalation_frac": 0.05}, True), ({"first_price": 12000.0}, False),
        ({"interest_frac": 0.12}, False), ({"inverter_years": None}, True),
        ({"ageing_frac": 0.02}, False), ({"maintenance_per_year": 200.0}, False),
    ],
)  # fmt: skip
def test_each_input_moves_the_worth_its_way(change, better):
    assert (economics_of(replace(PLAN, **change)).npv > economics_of(PLAN).npv) is better


def test_todays_price_at_the_ends_of_the_mix():
    given_ = {"tariff": 0.25, "fuel_price_per_l": 1.2, "fuel_l_per_kwh": 0.5}
    assert today_per_kwh(**given_, generator_frac=0.0) == 0.25
    assert today_per_kwh(**given_, generator_frac=1.0) == pytest.approx(0.6)


def test_every_bad_figure_is_named():
    bad = replace(PLAN, served_kwh_per_year=0.0, interest_frac=float("nan"), battery_years=0.0)
    with pytest.raises(InputError) as error:
        economics_of(bad)
    assert [fault.where for fault in error.value.faults] == [
        "plan: served_kwh_per_year", "plan: interest_frac", "plan: battery_years",
    ]  # fmt: skip
    with pytest.raises(InputError, match="through the battery"):
        stored_energy_cost(
            1.0, capacity_kwh=5.0, depth_frac=0.0, cycle_count=1, efficiency_frac=1.0
        )


def test_tornado_is_sorted_and_its_ends_are_whole_reckonings():
    swings = tornado(PLAN)
    assert len(swings) == len(REACHES)
    widths = [swing.width for swing in swings]
    assert widths == sorted(widths, reverse=True)
    (today,) = [swing for swing in swings if swing.name == "what a kWh costs today"]
    assert today.low_input == pytest.approx(0.28)
    low = economics_of(replace(PLAN, today_per_kwh=0.28))
    assert today.at_low == pytest.approx(low.npv)
    assert today.as_planned == pytest.approx(economics_of(PLAN).npv)
    cost = tornado(PLAN, "cost_per_kwh_served")
    (same,) = [swing for swing in cost if swing.name == "what a kWh costs today"]
    assert same.width == 0.0


def test_tornado_stays_in_range_and_refuses_another_measure():
    low = tornado(replace(PLAN, interest_frac=0.01, lifetime_years=2.0, price_escalation_frac=0.5))
    by_name = {swing.name: swing for swing in low}
    assert by_name["interest"].low_input == 0.0
    assert by_name["life of the system"].low_input == 1.0
    one = Reach(field="first_price", name="price", low=1.0, high=1.0)
    assert tornado(PLAN, reaches=[one])[0].width == 0.0
    with pytest.raises(InputError, match="measure"):
        tornado(PLAN, "irr")  # type: ignore[arg-type]
