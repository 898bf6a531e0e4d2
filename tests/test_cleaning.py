"""Washing against dust: sawtooth and best interval by hand, whole recomputation, limits."""

from __future__ import annotations

import math
import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.design import open_design
from solarcalc.stages.array import open_plane
from solarcalc.views import cleaning
from solarcalc.views.cleaning import (
    CANDIDATE_DAYS,
    best_cleaning_dates,
    cleaning_answer,
    cleaning_plan,
    even_cleaning_dates,
)

CASES = runpy.run_path(str(Path(__file__).with_name("design_cases.py")))
with_stages = CASES["with_stages"]


@pytest.fixture(scope="module")
def school():
    return open_design("plateau-school")


@pytest.fixture(scope="module")
def steady(school):
    """The school without rain and with the same energy every hour: 20 kWh a day when clean."""
    dry = replace(school.weather, hours=school.weather.hours.drop(columns="precipitation"))
    still = school.changed({"array": {"tilt_deg": 20.0}, "soiling": {
        "loss_per_dry_day_frac": 0.002, "max_loss_frac": 0.9, "cleaning_dates": [],
        "dry_months": list(range(1, 13)),
    }})  # fmt: skip
    still = with_stages(still, weather=dry)
    harvest = still.energy
    _, loss = open_plane(still, 20.0, still.site.array.azimuth_deg)
    flat = harvest.hours.assign(dc_w=20000.0 / 24.0 * (1.0 - loss))
    return with_stages(still, weather=dry, energy=replace(harvest, hours=flat))


def test_dates_are_an_interval_apart_and_every_year_has_them():
    assert even_cleaning_dates(180) == ["01-01", "06-30"]
    assert len(even_cleaning_dates(30)) == 12
    days = pd.to_datetime(["2001-" + date for date in even_cleaning_dates(7)])
    assert (np.diff(days.day_of_year) == 7).all()
    assert len(days) == 52


@pytest.mark.parametrize(("interval_days", "mean_loss"), [(14, 0.014), (30, 0.030), (60, 0.060)])
def test_sawtooth(steady, interval_days, mean_loss):
    # Mean loss of a sawtooth = rate x interval / 2 (sum of a straight line), 0.2 % a day. The
    # last gap of the year is longer or shorter than the others, which moves the mean a little.
    plan = cleaning_plan(steady, cleaning_cost_kwh=0.0, intervals_days=[interval_days])
    assert plan["dust_loss_frac"].iloc[1] == pytest.approx(mean_loss, rel=0.06)


def test_best_interval_against_the_square_root_rule(steady):
    # T = sqrt(2 C / (rate x energy a day)): 10 money a wash, 0.15 money a kWh, 0.2 % a day and
    # 20 kWh a day give 57.7 days. Whole washes a year: 365 / 57.7 = 6.3, so 6 or 7 of them.
    cost_kwh = 10.0 / 0.15
    rule = math.sqrt(2.0 * cost_kwh / (0.002 * 20.0))
    assert rule == pytest.approx(57.735, abs=0.001)
    plan = cleaning_plan(steady, cleaning_cost_kwh=cost_kwh, intervals_days=range(35, 95))
    best = plan.iloc[int(plan["net_kwh"].argmax())]
    assert best["cleanings"] in (6, 7)
    near = plan[plan["interval_days"].between(52, 64)]["net_kwh"].max()
    assert near == pytest.approx(best["net_kwh"], rel=0.01)


def test_the_plan_gives_what_a_whole_new_year_gives(school):
    plan = cleaning_plan(school, cleaning_cost_kwh=0.0, intervals_days=[30])
    without = school.changed({"soiling": {"cleaning_dates": []}})
    cleaned = school.changed({"soiling": {"cleaning_dates": even_cleaning_dates(30)}})
    whole = [one.energy.hours["dc_w"].sum() / 1000.0 for one in (without, cleaned)]
    # Power is not quite in proportion to light: measured 1.4 % of the energy won.
    assert plan["won_kwh"].iloc[1] == pytest.approx(whole[1] - whole[0], rel=0.02)


def test_net_is_won_less_cost_and_the_first_row_is_no_cleaning(school):
    plan = cleaning_plan(school, cleaning_cost_kwh=5.0)
    assert plan["interval_days"].iloc[0] == plan["cleanings"].iloc[0] == 0
    assert plan["won_kwh"].iloc[0] == 0.0
    assert (plan["net_kwh"] == plan["won_kwh"] - 5.0 * plan["cleanings"]).all()
    assert (plan["dust_loss_frac"].iloc[1:] < plan["dust_loss_frac"].iloc[0]).all()


def test_chosen_days_win_at_least_what_even_ones_do(school):
    days, net_kwh = best_cleaning_dates(school, cleaning_cost_kwh=5.0)
    assert days == sorted(days)
    assert set(days) <= set(CANDIDATE_DAYS)
    even = cleaning_plan(school, cleaning_cost_kwh=5.0)
    assert net_kwh > even["net_kwh"].max()
    # The dry season of the plateau runs from April to October; washes belong there.
    assert all("04" <= day[:2] <= "11" for day in days)


def test_a_cleaning_that_costs_too_much_is_not_made(school):
    assert best_cleaning_dates(school, cleaning_cost_kwh=1e6) == ([], 0.0)
    plan = cleaning_plan(school, cleaning_cost_kwh=1e6)
    said = cleaning_answer(plan, cleaning_cost_kwh=1e6)
    assert "cleaning at equal intervals does not pay" in said


@pytest.mark.parametrize("cost", [-1.0, float("nan")])
def test_bad_costs_are_refused(school, cost):
    with pytest.raises(InputError, match="cleaning_cost_kwh"):
        cleaning_plan(school, cleaning_cost_kwh=cost)


def each_day_tried(design, cost_kwh, most):
    """The days found by trying every one in every round: no bound is relied on."""
    chosen, best = [], cleaning._clean(design).kept_kwh([])
    while len(chosen) < most:
        tried = {day: cleaning._clean(design).kept_kwh(sorted([*chosen, day]))
                 for day in CANDIDATE_DAYS if day not in chosen}  # fmt: skip
        day = max(tried, key=lambda one: tried[one])
        if tried[day] - best <= cost_kwh:
            break
        chosen, best = sorted([*chosen, day]), tried[day]
    return chosen


@pytest.mark.slow
@settings(deadline=None, max_examples=8, suppress_health_check=list(HealthCheck))
@given(
    name=some.sampled_from(["plateau-school", "coral-pharmacy", "ridge-clinic"]),
    cost_kwh=some.floats(0.0, 20.0), rate=some.floats(0.0, 0.01), most_lost=some.floats(0.02, 0.6),
    grace=some.integers(0, 20), months=some.sets(some.integers(1, 12), max_size=5),
)  # fmt: skip
def test_no_day_that_was_left_untried_wins_more(name, cost_kwh, rate, most_lost, grace, months):
    design = open_design(name).changed({"soiling": {
        "loss_per_dry_day_frac": rate, "max_loss_frac": most_lost, "grace_days": grace,
        "dust_season_months": sorted(months), "dust_season_loss_per_dry_day_frac": 2.0 * rate,
    }})  # fmt: skip
    found, _ = best_cleaning_dates(design, cleaning_cost_kwh=cost_kwh, most=4)
    assert found == each_day_tried(design, cost_kwh, 4)
