"""Worst minute and hardest start by hand, against phasors, and the checks on an inverter."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.loads.days import peak_power_w
from solarcalc.loads.peaks import (
    Peaks,
    board_peaks,
    measured_peaks,
    rating_checks,
    running_va,
    starting_va,
)
from solarcalc.sitefile.loads import Appliance


def _item(name, power_w, use=("08:00-10:00",), **more):
    return Appliance(name=name, power_w=power_w, use=list(use), **more)


@pytest.mark.published("loads/starts.toml")
def test_published_start(case):
    items = [
        _item(f"item {number}", power, surge_factor=surge)
        for number, (power, surge) in enumerate(zip(case["running"], case["surge"], strict=True))
    ]
    peaks = board_peaks(items)
    assert peaks.surge_va == pytest.approx(case["figure"], abs=0.5 * case["last_digit"])
    assert peaks.starting == "item 1"


def test_worst_minute_by_hand():
    items = [
        _item("pump", 800.0, ["10:00-12:00"], power_factor=0.8, surge_factor=4.0, count=2),
        _item("fan", 90.0, ["11:30-20:00"], power_factor=0.9),
        _item("oven", 1500.0, ["18:00-19:00"], duty_frac=0.5),
    ]
    peaks = board_peaks(items)
    assert (peaks.power_w, peaks.power_at) == (1690.0, "11:30")
    assert peaks.apparent_va == pytest.approx(2 * 1000.0 + 100.0)
    # One of the two pumps starts: 1000 VA become 4000 while the other and the fan run.
    assert peaks.surge_va == pytest.approx(4000.0 + 1000.0 + 100.0)
    assert (peaks.starting, peaks.surge_at) == ("pump", "11:30")


def test_largest_power_and_hardest_start_may_be_at_different_times():
    items = [
        _item("oven", 3000.0, ["18:00-19:00"]),
        _item("fridge", 120.0, ["00:00-17:00"], power_factor=0.6, surge_va=4000.0),
    ]
    peaks = board_peaks(items)
    assert (peaks.power_w, peaks.power_at) == (3000.0, "18:00")
    assert (peaks.surge_va, peaks.starting, peaks.surge_at) == (4000.0, "fridge", "00:00")


def test_what_is_never_used_on_the_same_day_never_runs_together():
    apart = [
        _item("heater", 2000.0, months=[12, 1, 2]),
        _item("cooler", 1500.0, months=[6, 7], surge_factor=3.0),
        _item("mill", 1000.0, days=["weekdays"], months=[6], surge_factor=1.0),
        _item("saw", 900.0, days=["weekends"]),
    ]
    peaks = board_peaks(apart)
    assert peak_power_w(apart) == peaks.power_w == 2900.0  # heater and saw, winter weekends
    assert peaks.surge_va == 4500.0 + 1000.0  # cooler beside the mill, a weekday of June


def test_own_surge_va_stands_before_the_factor():
    assert starting_va(_item("a", 100.0, power_factor=0.5, surge_factor=3.0)) == 600.0
    assert starting_va(_item("a", 100.0, power_factor=0.5, surge_va=450.0)) == 450.0
    assert running_va(_item("a", 100.0)) == 100.0


def test_empty_board():
    assert board_peaks([]) == Peaks(power_w=0.0, apparent_va=0.0, surge_va=0.0)
    assert all(v.outcome == "passed" for v in rating_checks("nonessential", board_peaks([]), 1.0,
                                                              1.0))


_ITEMS = some.lists(
    some.builds(
        _item,
        name=some.just("x"),
        power_w=some.floats(1.0, 3000.0),
        count=some.integers(1, 4),
        power_factor=some.floats(0.3, 1.0),
        surge_factor=some.floats(1.0, 8.0),
    ),
    min_size=1,
    max_size=5,
)


@settings(deadline=None, max_examples=60)
@given(items=_ITEMS)
def test_apparent_power_is_never_below_that_of_the_currents_added_as_phasors(items):
    """All lag behind the voltage by acos(pf): the true sum is at least P and at most ours."""
    true_va = abs(sum(
        cmath.rect(running_va(item) * item.count, math.acos(item.power_factor)) for item in items
    ))
    peaks = board_peaks(items)
    assert peaks.power_w <= true_va + 1e-6 <= peaks.apparent_va + 2e-6
    assert peaks.surge_va >= peaks.apparent_va - 1e-6
    one = [item.model_copy(update={"power_factor": 0.7}) for item in items]
    true_va = sum(item.power_w * item.count for item in one) / 0.7
    assert board_peaks(one).apparent_va == pytest.approx(true_va)  # in step: no margin


def test_checks_pass_fail_and_say_what_to_do():
    peaks = board_peaks([_item("pump", 900.0, power_factor=0.75, surge_factor=4.0)])
    power, apparent, surge = rating_checks("nonessential", peaks, 1000.0, 2000.0)
    assert (power.outcome, power.found, power.unit) == ("passed", "900 at 08:00", "W")
    assert (apparent.outcome, apparent.found) == ("review", "1200")
    assert (surge.outcome, surge.found) == ("failed", "4800 as pump starts at 08:00")
    assert surge.limit == "at most 2000"
    for words in ("soft starter", "larger surge rating", "another time"):
        assert words in surge.remedy
    assert [v.outcome for v in rating_checks("nonessential", peaks, 899.9, 4800.0)] == [
        "failed", "review", "passed"
    ]  # fmt: skip
    with_va = rating_checks("nonessential", peaks, 1000.0, 4800.0, continuous_va=1100.0)
    assert [v.outcome for v in with_va] == ["passed", "failed", "passed"]


def test_measured_board_has_a_peak_and_owns_up_to_what_it_does_not_know():
    day = np.zeros(96)
    day[41] = 1234.0  # 41 quarters of an hour after midnight
    peaks = measured_peaks(day)
    assert (peaks.power_w, peaks.power_at) == (1234.0, "10:15")
    assert [v.outcome for v in rating_checks("essential", peaks, 1300.0, 2600.0)] == [
        "passed", "review", "review"
    ]  # fmt: skip
    year = np.zeros(8760)
    year[24 * 200 + 19] = 800.0
    assert measured_peaks(year).power_at == "19:00"
    assert measured_peaks(np.zeros(24)) == Peaks(power_w=0.0)
