"""The bank of each chemistry: size, limits, warmth of its room, charge voltages, wiring."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.battery.bank import (
    bank_assumptions,
    bank_of,
    capacity_factor,
    charge_factor,
    room_temp_c,
    self_discharge_factor,
    set_points,
    warmth_assumptions,
    wells_of,
)
from solarcalc.battery.kinetic import capacity_in_ah
from solarcalc.battery.wiring import (
    bank_checks,
    charge_current_check,
    charge_limit_a,
    charge_settings_a,
    charger_setting_a,
    nominal_v,
    voltage_check,
    wiring_advice,
    wiring_of,
)
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.chemistry import chemistries
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.supply import Controller

KINDS = tuple(chemistries())
TEMPERATE = np.full(24, 25.0)


def _battery(**more):
    figures = {
        "label": "Invented 12 V 100 Ah", "chemistry": "gel", "unit_voltage_v": 12.0,
        "unit_capacity_ah": 100.0, "units_in_series": 4, "units_in_parallel": 3,
        "charge_efficiency_frac": 0.9, "discharge_efficiency_frac": 0.95,
        "max_charge_c_rate": 0.2, "max_discharge_c_rate": 0.5,
        "self_discharge_frac_per_month": 0.03, "min_soc_frac": 0.5, "nonessential_shed_frac": 0.6,
        "nonessential_return_frac": 0.75, **more,
    }  # fmt: skip
    return Battery(**figures)


def _of(kind, **more):
    return _battery(chemistry=kind, unit_voltage_v=12.8 if kind == "lifepo4" else 12.0, **more)


def _controller(amps, count=1):
    return Controller(
        label="Invented", max_pv_voltage_v=150.0, min_tracking_voltage_v=62.0,
        max_tracking_voltage_v=138.0, max_charge_current_a=amps, efficiency_frac=0.97, count=count,
    )  # fmt: skip


# --- size and limits


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("rated_discharge_h", [None, 5.0, 10.0, 20.0, 100.0])
def test_a_bank_gives_its_rated_capacity_at_its_rated_rate(kind, rated_discharge_h):
    battery = _of(kind, rated_discharge_h=rated_discharge_h)
    rate = rated_discharge_h or chemistries()[kind].rate.rated_discharge_h
    assert capacity_in_ah(wells_of(battery), rate) == pytest.approx(300.0)
    bank = bank_of(battery, TEMPERATE)
    assert bank.capacity_wh == pytest.approx(wells_of(battery).capacity_ah * bank.voltage_v)
    assert bank.capacity_wh >= 300.0 * bank.voltage_v * (1.0 - 1e-12)


def test_lithium_is_one_well_without_taper():
    bank = bank_of(_of("lifepo4", discharge_hours=[1.0, 5.0, 20.0],
                       discharge_capacity_ah=[90.0, 98.0, 100.0]), TEMPERATE)  # fmt: skip
    assert bank.available_frac == 1.0
    assert math.isinf(bank.acceptance_per_h)
    assert bank.capacity_wh == pytest.approx(300.0 * 51.2)


def test_the_table_of_the_sheet_gives_the_shape_and_the_rated_capacity_the_size():
    table = {"discharge_hours": [1.0, 5.0, 10.0, 20.0]}
    one = wells_of(_battery(rated_discharge_h=20.0, discharge_capacity_ah=[24.0, 33.0, 37.0, 40.0],
                            **table))  # fmt: skip
    ten = wells_of(_battery(rated_discharge_h=20.0,
                            discharge_capacity_ah=[240.0, 330.0, 370.0, 400.0],
                            **table))  # fmt: skip
    assert one.available_frac == pytest.approx(ten.available_frac, rel=1e-6)
    assert capacity_in_ah(one, 20.0) == pytest.approx(300.0)
    assert capacity_in_ah(one, 5.0) / capacity_in_ah(one, 20.0) == pytest.approx(33 / 40, rel=5e-3)


def test_a_table_that_is_no_battery_is_refused():
    battery = _battery(discharge_hours=[1.0, 5.0, 20.0], discharge_capacity_ah=[99.0, 80.0, 70.0])
    with pytest.raises(InputError, match=r"battery\.discharge_capacity_ah"):
        bank_of(battery, TEMPERATE)


@pytest.mark.parametrize("stem", demo_sites())
def test_every_demo_bank_is_made_and_keeps_todays_limits(stem):
    battery = read_site(demo_sites()[stem]).site.battery
    bank = bank_of(battery, np.full(8760, 25.0))
    rated_wh = battery.unit_capacity_ah * battery.units_in_parallel * bank.voltage_v
    stored_w = bank.max_charge_w * battery.charge_efficiency_frac
    assert stored_w == pytest.approx(rated_wh * battery.max_charge_c_rate)  # the current
    assert 1.0 - 1e-9 <= bank.capacity_wh / rated_wh < 1.25
    assert nominal_v(battery) in (24.0, 48.0)
    assert bank.capacity_factor.shape == bank.charge_factor.shape == (8760,)
    for entry in (*bank_assumptions(battery), *warmth_assumptions(battery)):
        assert entry.source.strip()


# --- warmth


@pytest.mark.published("battery/warmth.toml")
def test_published_figures_of_warmth_and_charge(case):
    given, allowed = case["inputs"], case.get("tolerance", case["last_digit"] / 2.0)
    if case["quantity"] == "set_points":
        return _inside(case)
    if case["quantity"] == "lead_capacity":
        found = float(capacity_factor(_battery(), given["battery_c"]))
    elif case["quantity"] == "self_discharge_ratio":
        warm, cold = (self_discharge_factor([given[key]]) for key in ("warm_c", "cold_c"))
        found = warm / cold
    else:
        block = _battery(chemistry="gel", units_in_series=1)
        points = set_points(block, battery_c=given["battery_c"])
        found = points.absorption_v - set_points(block).absorption_v + 14.4
    assert found == pytest.approx(case["figure"], abs=allowed)
    return None


def _inside(case):
    """Our set points lie inside the printed ranges."""
    given = case["inputs"]
    battery = _battery(
        chemistry=given["chemistry"], unit_voltage_v=given["unit_voltage_v"], units_in_series=1
    )
    points, (low, high, low_float, high_float) = set_points(battery), case["figure"]
    assert low <= points.absorption_v <= high
    assert low_float <= points.float_v <= high_float
    if "equalise" in given:
        assert given["equalise"][0] <= points.equalise_v <= given["equalise"][1]
    else:
        assert points.equalise_v is None


@pytest.mark.parametrize("kind", KINDS)
def test_cold_never_helps_and_heat_adds_nothing(kind):
    temps = np.linspace(-20.0, 55.0, 151)
    factor = capacity_factor(_of(kind), temps)
    assert (np.diff(factor) >= -1e-12).all()
    assert factor.min() >= 0.0
    assert factor[temps >= 25.0] == pytest.approx(1.0)


def test_lithium_is_not_charged_in_frost_or_heat():
    battery = _of("lifepo4", max_charge_c_rate=0.5)
    temps = [-0.1, 0.0, 9.9, 10.0, 25.0, 45.0, 45.1, 55.0, 55.1]
    wanted = [0.0, 0.4, 0.4, 1.0, 1.0, 1.0, 0.4, 0.4, 0.0]
    assert charge_factor(battery, temps) == pytest.approx(wanted)
    slow = _of("lifepo4", max_charge_c_rate=0.1)
    assert charge_factor(slow, [5.0, 50.0]) == pytest.approx([1.0, 1.0])
    assert capacity_factor(battery, [-21.0, 61.0]) == pytest.approx([0.0, 0.0])


def test_lead_acid_is_charged_in_frost_and_stopped_by_heat():
    assert charge_factor(_battery(), [-10.0, 25.0, 50.0, 50.1]) == pytest.approx([1, 1, 1, 0])


def test_self_discharge_of_a_hot_room():
    """Ten kelvin more: twice; half the year at +10 K and half at -10 K: (2 + 0.5) / 2 (hand)."""
    plain = bank_of(_battery(), [25.0] * 4).self_discharge_frac_per_h
    assert bank_of(_battery(), [35.0] * 4).self_discharge_frac_per_h == pytest.approx(2.0 * plain)
    mixed = bank_of(_battery(), [15.0, 35.0]).self_discharge_frac_per_h
    assert mixed == pytest.approx(1.25 * plain)


def test_room_of_one_temperature():
    air = 20.0 + 8.0 * np.sin(np.arange(48.0) / 24.0 * 2.0 * np.pi)
    assert room_temp_c(_battery(room_c=27.0), air) == pytest.approx(np.full(48, 27.0))


def test_room_that_follows_the_air():
    """A day's swing of 8 K around 20: its mean is 20, so 20 + 0.25 x swing + 3 (hand)."""
    swing = 8.0 * np.sin(np.arange(48.0) / 24.0 * 2.0 * np.pi)
    battery = _battery(room_swing_frac=0.25, room_above_k=3.0)
    assert room_temp_c(battery, 20.0 + swing) == pytest.approx(23.0 + 0.25 * swing)
    open_shed = _battery(room_swing_frac=1.0, room_above_k=0.0)
    assert room_temp_c(open_shed, 20.0 + swing) == pytest.approx(20.0 + swing)


def test_room_lags_a_step_of_the_air_by_a_day_and_the_round_begins_again():
    air = np.concatenate([np.full(48, 10.0), np.full(48, 20.0)])
    room = room_temp_c(_battery(room_swing_frac=0.0, room_above_k=0.0), air)
    assert room[48] == pytest.approx(10.0 + 10.0 / 24.0)
    assert room[47] == pytest.approx(10.0)
    assert room[71:] == pytest.approx(np.full(25, 20.0))
    assert room[0] == pytest.approx((10.0 + 23.0 * 20.0) / 24.0)


@pytest.mark.parametrize(
    ("air", "words"),
    [([20.0] * 23, "23 hours"), ([20.0, math.nan] + [20.0] * 30, "hour 1"), ([], "one temp")],
)
def test_air_that_cannot_be_used(air, words):
    with pytest.raises(InputError, match=words):
        room_temp_c(_battery(), air)


def test_temperatures_of_the_bank_are_checked():
    with pytest.raises(InputError, match="battery temperature, hour 2"):
        bank_of(_battery(), [20.0, 20.0, math.inf])


# --- charge voltages and wiring


def test_set_points_of_a_bank_of_24_cells():
    """48 V of mat batteries at 35 degC: 24 x (2.42 - 0.004 x 10) = 57.12 V (hand)."""
    points = set_points(_battery(chemistry="agm"), battery_c=35.0)
    assert points.absorption_v == pytest.approx(57.12)
    assert points.float_v == pytest.approx(24 * 2.23)
    assert points.compensation_v_per_k == pytest.approx(0.096)


@pytest.mark.parametrize(
    ("kind", "unit_v", "series", "cells"),
    [("gel", 12.0, 4, 24), ("flooded", 2.0, 24, 24), ("lifepo4", 51.2, 1, 16),
     ("lifepo4", 25.6, 2, 16), ("lifepo4", 48.0, 1, 15), ("agm", 6.0, 8, 24)],
)  # fmt: skip
def test_cells_in_series(kind, unit_v, series, cells):
    battery = _battery(chemistry=kind, unit_voltage_v=unit_v, units_in_series=series)
    assert battery.cells_in_series == cells


def test_links_of_a_bank():
    battery = _battery()
    wiring = wiring_of(battery)
    assert (battery.unit_count, wiring.series_links, wiring.parallel_links) == (12, 9, 4)
    assert (wiring.string_fuses, battery.cells_in_series) == (3, 24)
    assert (battery.nominal_voltage_v, battery.rated_ah) == (48.0, 300.0)
    alone = wiring_of(_battery(units_in_series=1, units_in_parallel=1))
    assert (alone.series_links, alone.parallel_links, alone.string_fuses) == (0, 0, 0)


def test_advice_says_what_this_bank_needs():
    words = " ".join(wiring_advice(_battery(), "in positive (+) and negative (−)"))
    assert "a DC fuse in positive (+) and negative (−) of each" in words
    assert "9 inter-unit connectors in series" in words
    assert "diagonally" in words
    assert "each of the 3 strings" in words
    one = _battery(units_in_series=1, units_in_parallel=1)
    alone = " ".join(wiring_advice(one, "in the positive (+)"))
    assert "diagonally" not in alone
    assert "inter-unit connectors in series" not in alone
    assert "fuse or circuit-breaker" in alone


@pytest.mark.parametrize(
    ("unit_v", "series", "expected", "outcome"),
    [(12.0, 4, None, "passed"), (12.0, 3, None, "review"), (12.0, 4, 48.0, "passed"),
     (12.0, 2, 48.0, "failed"), (12.0, 8, 96.0, "passed"), (2.0, 23, 48.0, "passed")],
)  # fmt: skip
def test_voltage_of_the_bank_against_the_plate(unit_v, series, expected, outcome):
    battery = _battery(unit_voltage_v=unit_v, units_in_series=series)
    check = voltage_check(battery, expected)
    assert check.outcome == outcome
    assert bool(check.remedy) == (outcome != "passed")


def test_many_strings_of_lead_are_a_caution_and_lithium_in_series_too():
    def outcome(battery):
        return next(v.outcome for v in bank_checks(battery, [_controller(60.0)]) if
                    "strings" in v.item.lower() or "series" in v.item)  # fmt: skip

    assert outcome(_battery(units_in_parallel=3)) == "passed"
    assert outcome(_battery(units_in_parallel=4)) == "review"
    assert outcome(_of("lifepo4", units_in_series=1, units_in_parallel=5)) == "passed"
    assert outcome(_of("lifepo4", units_in_series=4)) == "review"


def test_controllers_that_charge_too_fast_are_told_what_to_be_set_to():
    """Limit 0.2 x 300 Ah = 60 A; two of 60 A give 120, so 30 A each (hand)."""
    check = charge_current_check(_battery(), [_controller(60.0, count=2)])
    assert check.outcome == "review"
    assert (check.found, check.limit, check.unit) == ("120.0", "at most 60.0", "A")
    assert "30 A" in check.remedy
    assert charge_settings_a(_battery(), [_controller(60.0, count=2)]) == (30.0,)
    assert charge_current_check(_battery(), [_controller(60.0)]).outcome == "passed"
    assert charge_settings_a(_battery(), [_controller(20.0)]) == (20.0,)


@given(currents=some.lists(some.floats(1.0, 200.0), min_size=1, max_size=3),
       charger=some.floats(0.0, 300.0), units=some.integers(1, 8), count=some.integers(1, 3))
def test_what_is_set_keeps_the_limit_of_the_bank(currents, charger, units, count):
    """Each setting as it is printed; rounded up, several of them would pass the limit."""
    bank = _battery(units_in_parallel=units)
    controllers = [_controller(one) for one in currents]
    each = charge_settings_a(bank, controllers, charger)
    mains = charger_setting_a(bank, controllers, charger, count)
    set_a = [float(f"{one:g}") for one in (*each, *[mains] * count)]
    whole = sum(currents) + charger
    assert sum(set_a) <= min(whole, charge_limit_a(bank)) + 1e-3
    assert sum(set_a) > min(whole, charge_limit_a(bank)) - len(set_a)  # and no more is given away
    check = charge_current_check(bank, controllers, charger)
    assert (whole <= charge_limit_a(bank) * (1.0 + 1e-9)) == (check.outcome == "passed")


def test_sun_and_charger_together_are_held_against_the_limit_of_the_bank():
    """hand: 4 x 70 A and 211 A are 491 A, 4 x 200 Ah at 0.5 C take 400 A: 400 / 491 of each,
    171.9 A of the charger, set downwards to 171 A.

    A management system that sees more than its limit parts the bank, under load.
    """
    bank = _of("lifepo4", unit_capacity_ah=200.0, units_in_parallel=4, units_in_series=1,
               max_charge_c_rate=0.5)  # fmt: skip
    four = [_controller(70.0, count=4)]
    alone, both = (charge_current_check(bank, four, a) for a in (0.0, 211.0))
    assert alone.outcome == "passed"
    assert (both.outcome, both.found, both.limit) == ("failed", "491.0", "at most 400.0")
    assert "57 A" in both.remedy
    assert "charger to 171 A" in both.remedy
    assert charge_current_check(_battery(), [_controller(60.0)], 20.0).outcome == "review"
