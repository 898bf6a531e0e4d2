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
    NO_RATE,
    Plan,
    economics_of,
    net_present_value,
    payback_years,
    price_rise_words,
    rate_of_return,
    replacement_years,
    stored_energy_cost,
    yearly_share_frac,
)
from solarcalc.quote.offer import price_of

PLAN = Plan(
    first_price=10000.0, supplied_kwh_per_year=4000.0, generated_kwh_per_year=5200.0,
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
            found = rate_of_return(flows)
            assert found == pytest.approx(case["irr"], rel=0.0, abs=1e-6)
    elif kind == "irr":
        assert rate_of_return(case["flows"]) == pytest.approx(case["irr"], abs=within)
    elif kind == "lcoe":
        plan = Plan(
            first_price=case["capex"], maintenance_per_year=case["maintenance"],
            interest_frac=case["interest_frac"], lifetime_years=case["years"],
            supplied_kwh_per_year=case["energy_kwh"], generated_kwh_per_year=case["energy_kwh"],
            ageing_frac=case["ageing_frac"], battery_price=case["battery_price"],
            battery_years=case["battery_years"], bought_per_year=0.0, today_per_kwh=0.4,
            price_escalation_frac=0.0,
        )  # fmt: skip
        found = economics_of(plan)
        assert found.cost_per_kwh_supplied == pytest.approx(case["figure"], rel=0.0, abs=within)
        assert found.cost_per_kwh_generated == pytest.approx(found.cost_per_kwh_supplied)
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
    ours, theirs = rate_of_return(flows), npf.irr(flows)
    if not isinstance(ours, str):
        assert ours == pytest.approx(theirs, abs=1e-6)
    else:
        assert ours == "not paid back"
        assert np.isnan(theirs) or theirs < 1e-9


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
    assert rate_of_return([-100.0, 230.0, -132.0]) == "several"
    assert rate_of_return([-100.0, -1.0]) == "nothing saved"
    assert rate_of_return([100.0, 1.0]) == "nothing paid"
    # hand: -100 + 90 / (1 + r) is 0 at -10 %: the money does not come back
    assert rate_of_return([-100.0, 90.0]) == "not paid back"
    # hand: 50 - 60 / (1 + r) is 0 at 20 %, and grows with the rate: a loan, not a saving
    assert rate_of_return([50.0, -60.0]) == "paid later"
    # hand: 100 in a year for 1 paid: 99 times a year
    assert rate_of_return([-1.0, 100.0]) == "beyond"
    assert set(NO_RATE) == {"several", "nothing saved", "nothing paid", "not paid back",
                            "paid later", "beyond"}  # fmt: skip


@given(flows=some.lists(some.floats(-1e4, 1e4), min_size=2, max_size=25))
@settings(max_examples=200, deadline=None)
def test_a_rate_that_is_told_is_the_only_one_and_parts_gain_from_loss(flows):
    """Worth is nothing at it, a gain at every lower rate from 0 on, a loss at every higher one.

    Two rates that lie within a step of the search, 0.4 % of 1 + r, are one to it: between them
    the worth is no farther from nothing than the square of that step, of all flows.
    """
    rate = rate_of_return(flows)
    if isinstance(rate, str):
        return
    scale = sum(map(abs, flows))
    assert rate >= 0.0
    assert net_present_value(flows, rate) == pytest.approx(0.0, abs=1e-6 * scale)
    lower = [net_present_value(flows, rate * part) for part in np.linspace(0.0, 0.98, 20)]
    higher = [net_present_value(flows, rate * 1.02 + 0.01 + more) for more in np.linspace(0, 8, 20)]
    assert min(lower) >= -2e-5 * scale
    assert max(higher) <= 2e-5 * scale


@given(
    rise=some.floats(0.0, 0.2), years=some.integers(2, 40), price=some.floats(1000.0, 50000.0),
    bought=some.floats(0.0, 300.0), bank=some.floats(1.0, 30.0),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_rising_prices_never_put_off_the_payback_of_what_saves_more_than_it_buys(
    rise, years, price, bought, bank
):
    plan = replace(PLAN, first_price=price, bought_per_year=bought, lifetime_years=float(years),
                   price_escalation_frac=rise, battery_years=bank, ageing_frac=0.0)  # fmt: skip
    found = economics_of(plan)
    for dear, flat in ((found.payback_years, found.today_payback_years),
                       (found.discounted_payback_years, found.today_discounted_payback_years)):
        assert flat is None or (dear is not None and dear <= flat + 1e-9)
    still = economics_of(plan.at_todays_prices)
    assert still.payback_years == found.today_payback_years
    assert still.rate == found.today_rate
    assert (rise == 0.0) == (price_rise_words(rise) == "")


def test_fuel_that_gets_dearer_levelised():
    """Masters, Renewable and Efficient Electric Power Systems, about p. 254: 10 %, 6 %, 20 years.

    The first kWh's fuel is 0.052 and 6 % dearer by the end of year 1: over the life 0.0847. The
    book rounds (i - e) / (1 + e) to 0.037736.
    """
    plan = replace(PLAN, first_price=0.0, maintenance_per_year=0.0, battery_price=0.0,
                   inverter_price=0.0, inverter_years=None, ageing_frac=0.0, interest_frac=0.1,
                   lifetime_years=20.0, price_escalation_frac=0.06, supplied_kwh_per_year=1.0,
                   bought_per_year=0.052 * 1.06)  # fmt: skip
    assert economics_of(plan).cost_per_kwh_supplied == pytest.approx(0.0847, abs=0.00005)
    capital = economics_of(replace(plan, first_price=0.0166 / yearly_share_frac(0.1, 20.0)))
    assert capital.cost_per_kwh_supplied == pytest.approx(0.1013, abs=0.00005)


@given(rise=some.floats(-0.1, 0.2), own=some.floats(-0.1, 0.1), fed=some.floats(0.0, 500.0),
       bought=some.floats(0.0, 500.0))  # fmt: skip
def test_what_the_grid_pays_goes_its_own_way(rise, own, fed, bought):
    """hand: of a bill the energy is dearer by one rate, the payment by that of its contract."""
    plan = replace(PLAN, bought_per_year=bought - fed, feed_in_per_year=fed,
                   price_escalation_frac=rise, feed_in_escalation_frac=own)  # fmt: skip
    found = economics_of(plan).bought
    for year in (1, 2, 10, 20):
        by_hand = bought * (1.0 + rise) ** (year - 1) - fed * (1.0 + own) ** (year - 1)
        assert found[year] == pytest.approx(by_hand, abs=1e-6)
    assert economics_of(plan.at_todays_prices).bought[20] == pytest.approx(bought - fed, abs=1e-6)


def test_a_bank_bought_again_in_year_5_and_10():
    """500 at 8 % in years 5 and 10 of 15: 571.89 today, 66.81 a year; none in year 15."""
    plan = replace(PLAN, first_price=0.0, maintenance_per_year=0.0, battery_price=500.0,
                   battery_years=5.0, inverter_years=None, interest_frac=0.08,
                   lifetime_years=15.0, ageing_frac=0.0, supplied_kwh_per_year=1.0,
                   bought_per_year=0.0)  # fmt: skip
    found = economics_of(plan)
    assert net_present_value(found.replaced, 0.08) == pytest.approx(571.88834255922, abs=0.01)
    assert found.cost_per_kwh_supplied == pytest.approx(66.813454815408, abs=0.01)


def test_a_bank_without_a_life_is_bought_every_other_year():
    found = economics_of(replace(PLAN, battery_years=None))
    assert found.replacement_years == tuple(range(2, 20, 2))
    assert found.npv < economics_of(replace(PLAN, battery_years=3.0)).npv
    assert len(tornado(replace(PLAN, battery_years=None))) == len(REACHES)


def test_a_generator_by_its_hours():
    """hand: 2000 h of life, 400 h a year: 5 years; 800 h on the meter: 2 of them gone."""
    assert replacement_years(5.0, 20, 2.0) == (3, 8, 13, 18)
    assert replacement_years(5.0, 20, 7.0) == (1, 5, 10, 15)
    plan = replace(PLAN, generator_price=900.0, generator_years=5.0, generator_worn_years=2.0,
                   service_per_year=40.0)  # fmt: skip
    found, without = economics_of(plan), economics_of(PLAN)
    assert found.generator_replacement_years == (3, 8, 13, 18)
    more = without.net - found.net
    assert more[[0, 1, 3, 8]] == pytest.approx([0.0, 40.0, 940.0, 940.0])
    assert more.sum() == pytest.approx(20 * 40.0 + 4 * 900.0)


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
    assert found.cost_per_kwh_supplied > free.cost_per_kwh_supplied
    of_each = free.cost_per_kwh_supplied / free.cost_per_kwh_generated
    assert of_each == pytest.approx(5200.0 / 4000.0)


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


def test_every_bad_figure_is_named():
    bad = replace(PLAN, supplied_kwh_per_year=0.0, interest_frac=float("nan"), battery_years=0.0)
    with pytest.raises(InputError) as error:
        economics_of(bad)
    assert [fault.where for fault in error.value.faults] == [
        "plan: supplied_kwh_per_year", "plan: interest_frac", "plan: battery_years",
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
    (today,) = [swing for swing in swings if swing.name == "cost per kWh at present"]
    assert today.low_input == pytest.approx(0.28)
    low = economics_of(replace(PLAN, today_per_kwh=0.28))
    assert today.at_low == pytest.approx(low.npv)
    assert today.as_planned == pytest.approx(economics_of(PLAN).npv)
    cost = tornado(PLAN, "cost_per_kwh_supplied")
    (same,) = [swing for swing in cost if swing.name == "cost per kWh at present"]
    assert same.width == 0.0


def test_tornado_stays_in_range_and_refuses_another_measure():
    low = tornado(replace(PLAN, interest_frac=0.01, lifetime_years=2.0, price_escalation_frac=0.5))
    by_name = {swing.name: swing for swing in low}
    assert by_name["real interest rate"].low_input == 0.0
    assert by_name["life of the system"].low_input == 1.0
    one = Reach(field="first_price", name="price", low=1.0, high=1.0)
    assert tornado(PLAN, reaches=[one])[0].width == 0.0
    with pytest.raises(InputError, match="measure"):
        tornado(PLAN, "irr")  # type: ignore[arg-type]


def test_a_kwh_at_the_boards_costs_more_than_one_that_is_generated():
    """3000 at 8 % over 15 years and 60 a year: 410.49; by 1500 kWh 0.274, by 1050 kWh 0.391."""
    plan = replace(
        PLAN, first_price=3000.0, interest_frac=0.08, lifetime_years=15.0, ageing_frac=0.0,
        maintenance_per_year=60.0, bought_per_year=0.0, battery_price=0.0, inverter_years=None,
        generated_kwh_per_year=1500.0, supplied_kwh_per_year=1500.0 - 300.0 - 150.0,
    )  # fmt: skip
    found = economics_of(plan)
    assert found.cost_per_kwh_generated == pytest.approx(0.27365908987204, abs=5e-7)
    assert found.cost_per_kwh_supplied == pytest.approx(0.39094155696006, abs=5e-7)
