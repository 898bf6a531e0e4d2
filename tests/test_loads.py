"""Load lists against a hand sum, over midnight, on any labels, and day times 365."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.hours import year_hours
from solarcalc.loads.days import (
    daily_profile_w,
    energy_per_day_wh,
    hourly_power_w,
    minutes_in_use,
    peak_power_w,
)
from solarcalc.sitefile.loads import Appliance


def _appliance(power_w=100.0, use=("08:00-10:00",), count=1, duty_frac=1.0, name="lamp"):
    return Appliance(
        name=name, power_w=float(power_w), use=list(use), count=count, duty_frac=duty_frac
    )


def _daily_energy(rows):
    return energy_per_day_wh(
        [_appliance(power, [use], count, duty) for count, power, use, duty in rows]
    )


@pytest.mark.published("loads/daily-energy.toml")
def test_published_figure(case):
    assert case["quantity"] == "daily_energy"
    assert _daily_energy(**case["inputs"]) == pytest.approx(
        case["figure"], abs=0.5 * case["last_digit"]
    )


@pytest.mark.parametrize(
    ("use", "minutes"),
    [
        (["08:00-10:00"], 120),
        (["22:00-06:00"], 480),  # over midnight
        (["00:00-24:00"], 1440),
        (["23:59-00:01"], 2),
        (["22:00-24:00"], 120),
        (["22:00-00:00"], 120),
        (["22:00-02:00", "01:00-03:00"], 300),  # overlap over midnight counts once
        (["08:00-10:00", "08:00-10:00"], 120),
        ([" 08:00 - 10:00 "], 120),
    ],
)
def test_minutes_in_use_by_hand(use, minutes):
    assert minutes_in_use(use).sum() == minutes


def test_minutes_are_where_they_should_be():
    on = np.flatnonzero(minutes_in_use(["23:00-01:30"]))
    assert set(on) == set(range(90)) | set(range(1380, 1440))


def test_peak_leaves_duty_out_and_energy_does_not():
    items = [_appliance(1000.0, ["10:00-12:00"], 2, 0.25, "pump"),
             _appliance(300.0, ["11:00-13:00"], name="fan")]  # fmt: skip
    assert peak_power_w(items) == 2300.0
    assert energy_per_day_wh(items) == pytest.approx(2 * 2000.0 * 0.25 + 600.0)
    assert daily_profile_w(items)[11 * 60] == pytest.approx(800.0)


def test_empty_board_draws_nothing():
    assert energy_per_day_wh([]) == 0.0
    assert peak_power_w([]) == 0.0
    assert (hourly_power_w([], year_hours(2.0)) == 0.0).all()


def test_hours_on_half_past_share_the_minutes_they_cover():
    whole, half = year_hours(5.5), year_hours(5.5) + pd.Timedelta(minutes=30)
    item = [_appliance(600.0, ["10:00-11:00"])]
    assert hourly_power_w(item, whole)[whole.hour == 10].unique().tolist() == [600.0]
    shared = hourly_power_w(item, half)
    assert shared[half.hour == 9].unique().tolist() == [300.0]  # 9:30 to 10:30
    assert shared[half.hour == 10].unique().tolist() == [300.0]
    quarter = hourly_power_w(item, whole + pd.Timedelta(minutes=45))
    assert quarter.iloc[9] == pytest.approx(450.0)  # 9:45 to 10:45
    midnight = hourly_power_w([_appliance(600.0, ["23:45-00:15"])], half)
    assert midnight[half.hour == 23].unique().tolist() == [300.0]  # 23:30 to 0:30


_CLOCK = some.integers(0, 1439).map(lambda m: f"{m // 60:02d}:{m % 60:02d}")
_SPAN = some.tuples(_CLOCK, _CLOCK).filter(lambda s: s[0] != s[1]).map("-".join)
_ITEM = some.builds(
    _appliance,
    power_w=some.floats(0.0, 5000.0),
    use=some.lists(_SPAN, min_size=1, max_size=3),
    count=some.integers(1, 20),
    duty_frac=some.floats(0.01, 1.0),
)


@settings(deadline=None, max_examples=60)
@given(items=some.lists(_ITEM, min_size=1, max_size=4), shift=some.sampled_from([0, 15, 30, 45]))
def test_energy_of_the_year_is_365_days(items, shift):
    index = year_hours(3.0) + pd.Timedelta(minutes=shift)
    year = hourly_power_w(items, index)
    assert year.sum() == pytest.approx(365.0 * energy_per_day_wh(items), rel=1e-9, abs=1e-9)
    assert year.index.equals(index)
    assert (year >= 0.0).all()
    assert year.max() <= peak_power_w(items) + 1e-6
