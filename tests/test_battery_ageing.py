"""Life of a bank: the standard's own count, Miner's sum, and years that can be redone by hand."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from numpy.typing import ArrayLike

from solarcalc.basis.errors import InputError
from solarcalc.battery.ageing import (
    LifeCurve,
    ageing_checks,
    calendar_damage_per_year_frac,
    cycle_damage_per_year_frac,
    cycles_to_end,
    exchanged_frac,
    expected_life,
    hot_room,
    rainflow_cycles,
)
from solarcalc.battery.care import misuse, sulphate_factor
from solarcalc.sitefile.chemistry import chemistries


def cycles_by_depth(
    charge_frac: ArrayLike, edges_frac: Sequence[float] = tuple(np.linspace(0.0, 1.0, 11))
) -> np.ndarray:
    """Cycles between each two edges of depth, shape (edges - 1,); the upper edge counts in."""
    depth, count = rainflow_cycles(charge_frac)
    # A depth of 0.3 may come as 0.30000000000000004: rounding keeps it under its edge.
    place = np.searchsorted(np.round(edges_frac, 9), np.round(depth, 9), side="left") - 1
    place = np.clip(place, 0, len(edges_frac) - 2)
    return np.bincount(place, weights=count, minlength=len(edges_frac) - 1).astype(float)


CURVES = {
    key: LifeCurve(
        depth_frac=tuple(kind.life.depth_frac), cycles=tuple(kind.life.cycles),
        calendar_years=kind.life.calendar_years, reference_c=kind.life.reference_c,
        source=kind.life.clause,
    )
    for key, kind in chemistries().items()
}  # fmt: skip
PLAIN = LifeCurve(
    depth_frac=(0.25, 0.5, 1.0), cycles=(4000.0, 2000.0, 1000.0), calendar_years=10.0,
    reference_c=25.0, source="made for this test: N = 1000 / D",
)  # fmt: skip
"""Every cycle takes its depth / 1000 of the life."""


def daily(depth_frac: float, days: int = 365) -> np.ndarray:
    """A day that falls from full by `depth_frac` in 12 h and comes back in 12."""
    down = np.linspace(1.0, 1.0 - depth_frac, 13)
    day = np.concatenate([down, down[-2:0:-1]])
    return np.tile(day, days)


@pytest.mark.published("battery_ageing/rainflow.toml")
def test_the_standards_example(case):
    size, count = rainflow_cycles(case["history"])
    assert size.tolist() == case["range"]
    assert count.tolist() == case["count"]
    assert 2.0 * (size * count).sum() == case["path"]


@pytest.mark.published("battery_ageing/life.toml")
def test_published_life(case):
    if case["quantity"] == "calendar":
        curve = LifeCurve(
            depth_frac=(0.5, 1.0), cycles=(2.0, 1.0), calendar_years=case["life_years"],
            reference_c=case["reference_c"], source="case",
        )  # fmt: skip
        years = [1.0 / calendar_damage_per_year_frac(t, curve) for t in case["temp_c"]]
        assert years == pytest.approx(case["years"], abs=case["last_digit"] / 2.0)
    elif case["quantity"] == "miner":
        curve = replace(
            PLAIN, depth_frac=tuple(case["depth_frac"]), cycles=tuple(case["cycles"])
        )
        history = np.concatenate(
            [np.tile([1.0, 1.0 - d], n) for d, n in
             zip(case["depth_frac"], case["done"], strict=True)]
        )  # fmt: skip
        # Rising depths, one after another: the last cycle of each block closes into the next.
        per_year = cycle_damage_per_year_frac(history, curve)
        done = per_year * history.size / 8760.0
        assert done == pytest.approx(case["damage_frac"], rel=0.01)
        by_hand = (np.array(case["done"]) / cycles_to_end(case["depth_frac"], curve)).sum()
        assert by_hand == pytest.approx(case["damage_frac"], abs=case["last_digit"] / 2.0)
    else:
        for chemistry in ("agm", "lifepo4"):
            ours = cycles_to_end(case["depth_frac"], CURVES[chemistry])
            assert ours == pytest.approx(case[chemistry], rel=case["within"])


def test_a_year_of_equal_cycles_by_hand():
    """365 cycles of 0.4 at 2500 to the end; 10 years at rest at 25 degC."""
    life = expected_life(daily(0.4), 25.0, curve=PLAIN)
    assert life.cycle_years == pytest.approx(2500.0 / 365.0, rel=0.002)
    assert life.calendar_years == pytest.approx(10.0)
    assert life.years == pytest.approx(1.0 / (365.0 / 2500.0 + 0.1), rel=0.002)
    assert life.years < min(life.cycle_years, life.calendar_years)
    assert life.cycles_per_year == pytest.approx(365.0, abs=0.6)
    assert life.full_depth_cycles_per_year == pytest.approx(365.0 * 0.4, abs=0.3)
    assert life.deepest_frac == pytest.approx(0.4)


def test_a_part_of_a_year_stands_for_a_year():
    whole = expected_life(daily(0.4), 25.0, curve=PLAIN)
    month = expected_life(daily(0.4, 73), 25.0, curve=PLAIN)
    assert month.years == pytest.approx(whole.years, rel=0.01)


def test_at_rest_only_time_counts():
    life = expected_life(np.full(8760, 0.7), 35.0, curve=PLAIN)
    assert life.cycle_years == math.inf
    assert life.years == life.calendar_years == pytest.approx(5.0)
    assert life.cycles_per_year == life.deepest_frac == 0.0
    assert cycles_to_end([0.0], PLAIN).tolist() == [math.inf]


def test_hours_of_heat_weigh_more_than_their_mean():
    """Half the hours at 15, half at 35 degC: (0.5 + 2) / 2 = 1.25 of the wear at 25."""
    swing = np.tile([15.0, 35.0], 4380)
    assert calendar_damage_per_year_frac(swing, PLAIN) == pytest.approx(0.125)
    assert calendar_damage_per_year_frac(25.0, PLAIN) == pytest.approx(0.1)


def test_a_cool_room_stretches_the_life_no_more_than_twice():
    assert calendar_damage_per_year_frac(-20.0, PLAIN) == pytest.approx(0.05)


def test_line_between_points_is_straight_on_both_log_axes():
    for depth in (0.1, 0.3, 0.7, 0.9):
        assert cycles_to_end([depth], PLAIN)[0] == pytest.approx(1000.0 / depth)


def test_hot_room_in_years_and_money_by_hand():
    """At rest, 10 years at 25 and 5 at 35 degC; 1000 is 100 and 200 a year."""
    rest = expected_life(np.full(8760, 1.0), 35.0, curve=PLAIN)
    room = hot_room(rest, curve=PLAIN, price=1000.0)
    assert room.years_lost == pytest.approx(5.0)
    assert room.yearly_cost == pytest.approx(200.0)
    assert room.yearly_penalty == pytest.approx(100.0)
    cycled = expected_life(daily(0.5), 25.0, curve=PLAIN)
    none = hot_room(cycled, curve=PLAIN)
    assert none.years_lost == pytest.approx(0.0)
    assert none.yearly_cost is None
    assert none.yearly_penalty is None


def test_checks_say_heat_and_years():
    hot = expected_life(daily(0.2), 38.0, curve=PLAIN)
    room = hot_room(hot, curve=PLAIN)
    heat, years = ageing_checks(hot, room, wanted_years=8.0)
    assert (heat.outcome, years.outcome) == ("review", "review")
    assert "airtight" in heat.remedy
    cool = expected_life(daily(0.2), 25.0, curve=PLAIN)
    (only,) = ageing_checks(cool, hot_room(cool, curve=PLAIN))
    assert only.outcome == "passed"


def test_cycles_by_depth_keep_the_count_and_their_edge():
    found = cycles_by_depth(daily(0.3, 10))
    assert found.sum() == pytest.approx(rainflow_cycles(daily(0.3, 10))[1].sum())
    assert found[2] == found.sum()
    assert cycles_by_depth([0.5, 0.5, 0.5]).tolist() == [0.0] * 10
    assert cycles_by_depth([1.0, 0.0, 1.0])[9] == 1.0


@given(some.lists(some.floats(0.0, 1.0, width=32), min_size=2, max_size=60))
def test_half_the_path_is_the_sum_of_the_cycles(history):
    """In floats of 32 bits: the library multiplies two steps, which below 1e-162 gives nothing."""
    size, count = rainflow_cycles(history)
    assert 2.0 * (size * count).sum() == pytest.approx(
        np.abs(np.diff(history)).sum(), abs=1e-9
    )


@given(
    some.lists(some.floats(0.0, 1.0), min_size=2, max_size=60),
    some.floats(-10.0, 60.0),
    some.sampled_from(sorted(CURVES)),
)
def test_more_heat_never_lengthens_a_life(history, temp_c, chemistry):
    curve = CURVES[chemistry]
    life = expected_life(history, temp_c, curve=curve)
    assert 0.0 < life.years <= min(life.cycle_years, life.calendar_years)
    assert expected_life(history, temp_c + 5.0, curve=curve).years <= life.years


def test_every_curve_falls_with_depth_and_has_a_source():
    for curve in CURVES.values():
        assert (np.diff(cycles_to_end(np.linspace(0.05, 1.0, 20), curve)) < 0.0).all()
        assert curve.source


@pytest.mark.parametrize(
    ("charge", "temp", "named"),
    [
        ([1.0], 25.0, "charge_frac"),
        ([1.0, 1.2], 25.0, "charge_frac"),
        ([1.0, math.nan], 25.0, "charge_frac"),
        ([1.0, 0.5], math.nan, "battery_temp_c"),
        ([1.0, 0.5], [25.0, 25.0, 25.0], "battery_temp_c"),
    ],
)
def test_bad_hours_are_refused(charge, temp, named):
    with pytest.raises(InputError, match=named):
        expected_life(charge, temp, curve=PLAIN)


@pytest.mark.parametrize(
    ("depth", "cycles", "named"),
    [
        ((0.5,), (100.0,), "depth_frac"),
        ((0.0, 0.5), (200.0, 100.0), "depth_frac"),
        ((0.5, 1.1), (200.0, 100.0), "depth_frac"),
        ((0.5, 0.3), (200.0, 100.0), "depth_frac"),
        ((0.3, 0.5), (100.0, 200.0), "cycles"),
        ((0.3, 0.5), (100.0, -2.0), "cycles"),
        ((0.3, 0.5), (200.0,), "cycles"),
    ],
)
def test_bad_life_curves_are_refused(depth, cycles, named):
    with pytest.raises(InputError, match=named):
        replace(PLAIN, depth_frac=depth, cycles=cycles)


def test_bad_price_is_refused():
    with pytest.raises(InputError, match="price"):
        hot_room(expected_life([1.0, 0.5], 25.0, curve=PLAIN), curve=PLAIN, price=-1.0)


@settings(deadline=None, max_examples=60)
@given(some.lists(some.floats(0.0, 1.0), min_size=8, max_size=40), some.floats(1.0, 2.0),
       some.floats(0.0, 20.0), some.sampled_from(sorted(chemistries())))  # fmt: skip
def test_deeper_or_hotter_never_lasts_longer(levels, times, hotter_k, kind):
    life = chemistries()[kind].life
    curve = LifeCurve(
        depth_frac=tuple(life.depth_frac), cycles=tuple(life.cycles), source="its kind",
        calendar_years=life.calendar_years, reference_c=life.reference_c,
    )  # fmt: skip
    depth = np.array(levels) / 2.0
    here = expected_life(1.0 - depth, 20.0, curve=curve).years
    misused = expected_life(1.0 - times * depth, 20.0 + hotter_k, curve=curve).years
    assert misused <= here * (1.0 + 1e-9)


@given(
    charge=some.lists(some.floats(0.55, 1.0), min_size=24, max_size=300),
    lower=some.floats(0.0, 0.02) | some.floats(0.03, 0.4), start=some.integers(0, 24),
)  # fmt: skip
def test_longer_without_a_full_charge_never_gives_more_years(charge, lower, start):
    """The same ups and downs lower down, so that full hours are fewer and the lowest is lower."""
    kind, curve = chemistries()["flooded"], replace(CURVES["flooded"], sulphates=True)
    better = np.array([*charge[:start], 1.0, *charge[start:]])
    worse = better - lower
    told = not misuse(worse, 20.0, kind=kind, empty_frac=0.0)
    assert told == (lower <= 0.02)
    if told:
        there, here = (expected_life(one, 20.0, curve=curve).years for one in (worse, better))
        assert there <= here * (1.0 + 1e-9)


@pytest.mark.slow
@given(days=some.integers(1, 55), more=some.integers(1, 5))
def test_the_same_cycles_with_full_charges_further_apart_wear_more(days, more):
    """Each day from 0.97 to 0.6 and back; full only every so many days."""
    curve = replace(CURVES["gel"], sulphates=True)

    def cycle_wear(every):
        year = np.tile(np.repeat([0.97, 0.6], 12), 660)
        year[:: 24 * every] = 0.98
        return sulphate_factor(year)

    assert cycle_wear(days + more) >= cycle_wear(days)
    year = np.tile(np.repeat([0.97, 0.6], 12), 365)
    year[0] = 0.98
    plain = expected_life(year, 20.0, curve=replace(curve, sulphates=False))
    assert expected_life(year, 20.0, curve=curve).cycle_years == pytest.approx(
        plain.cycle_years / sulphate_factor(year)
    )


def test_an_hour_that_draws_and_charges_counts_both():
    """One hour draws 0.3 and gets 0.3 back: the ends say nothing, the turns a cycle of 0.3."""
    charge, drawn = np.ones(24), np.zeros(24)
    drawn[10] = 0.3
    depth, count = rainflow_cycles(exchanged_frac(charge, drawn))
    assert (depth * count).sum() == pytest.approx(0.3)
    # In shares of a rated capacity of four fifths of the whole, the same charge is deeper.
    depth, count = rainflow_cycles(exchanged_frac(charge, drawn, rated_frac=0.8))
    assert (depth * count).sum() == pytest.approx(0.3 / 0.8)
    life = expected_life(charge, 20.0, curve=CURVES["gel"],
                         turns_frac=exchanged_frac(charge, drawn))  # fmt: skip
    assert life.full_depth_cycles_per_year == pytest.approx(0.3 * 365.0)


FLOAT_YEARS = {  # handbook: starter, spiral pure lead, semi-traction, AGM, tubular, gel A, B
    20.0: [5.0, 10.0, 5.0, 8.0, 10.0, 5.0, 16.0],
    25.0: [3.6, 7.0, 3.6, 6.0, 7.0, 3.6, 11.0],
    30.0: [2.5, 5.0, 2.5, 4.0, 5.0, 2.5, 8.0],
}  # fmt: skip


def resting(years, *, reference_c=20.0, temp_c):
    """Years at rest."""
    curve = LifeCurve(depth_frac=(0.2, 0.8), cycles=(2000.0, 500.0), calendar_years=years,
                      reference_c=reference_c, source="a test")  # fmt: skip
    return 1.0 / calendar_damage_per_year_frac(temp_c, curve)


@pytest.mark.parametrize("temp_c", sorted(FLOAT_YEARS))
def test_float_life_by_type_as_a_battery_handbook_prints_it(temp_c):
    """Rounded figures; the 25 degC column lies between 0.70 and 0.75 of that of 20."""
    for years, printed in zip(FLOAT_YEARS[20.0], FLOAT_YEARS[temp_c], strict=True):
        found = resting(years, temp_c=temp_c)
        assert found == pytest.approx(years * 2.0 ** (-(temp_c - 20.0) / 10.0))
        assert found == pytest.approx(printed, abs=0.6)


def test_ten_kelvin_is_the_more_hopeful_of_two_published_rules():
    """A leaflet, second-hand: ten years at 77 F are 5 at 92 and 1.5 at 106 F; 8.33 K halves."""
    for fahrenheit, leaflet in ((92.0, 5.0), (106.0, 1.5)):
        temp_c = (fahrenheit - 32.0) / 1.8
        found = resting(10.0, reference_c=25.0, temp_c=temp_c)
        assert leaflet < found < leaflet + 1.8, "no earlier than the leaflet, by less than 2 years"
        assert found > 10.0 * 0.5 ** ((fahrenheit - 77.0) / 15.0)
    at_35 = resting(1.0, reference_c=25.0, temp_c=35.0)
    assert at_35 == pytest.approx(0.5, abs=0.001)
    assert at_35 > 0.43527528164806


@pytest.mark.parametrize(("cycles", "least"), [(1200.0, 4.0), (3000.0, 6.0)])
def test_life_is_never_longer_than_the_smaller_of_its_two_ends(cycles, least):
    """Spiers and Rasinkoski, Solar Energy 58 (1996) 147: the smaller of cycles and corrosion.

    Ours adds the two, so it ends sooner than either, but not before half of the smaller.
    """
    curve = LifeCurve(depth_frac=(0.1, 0.5), cycles=(cycles * 5.0, cycles), calendar_years=6.0,
                      reference_c=20.0, source="a test")  # fmt: skip
    year = np.ones(8760)
    year[5 : 5 + 29 * 300 : 29] = 0.5  # 300 cycles of 0.5
    life = expected_life(year, 20.0, curve=curve)
    assert min(life.cycle_years, life.calendar_years) == pytest.approx(least, rel=1e-6)
    assert least / 2.0 <= life.years <= least
