"""Single rules of protection against printed figures, hand sums and limits."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.basis.published import published
from solarcalc.protection.direct import backfeed_a
from solarcalc.protection.faults import (
    bank_fault,
    breaker_clear_s,
    class_for,
    curve_band,
    disconnection_s,
    fuse_classes,
    fuse_clear_s,
    let_through_a2_s,
    melting_a,
    most_loop_ohm,
    next_breaking_ka,
    trip_a,
)
from solarcalc.protection.neutral import most_electrode_ohm, residual_type
from solarcalc.protection.surge import (
    LEAD_MM2,
    board_continuous_v,
    by_power,
    critical_length_m,
    lead_kv,
    string_continuous_v,
)
from solarcalc.sitefile.battery import Battery
from solarcalc.wiring.string_plan import circuit_a


@pytest.mark.published("protection/overcurrent.toml")
def test_overcurrent(case: dict[str, Any]) -> None:
    quantity = case["quantity"]
    if quantity == "bands":
        assert [curve_band(each) for each in case["curves"]] == list(
            zip(case["low"], case["high"], strict=True)
        )
    elif quantity == "loops":
        for curve, rated_a, most in zip(
            case["curves"], case["rated_a"], case["most_ohm"], strict=True
        ):
            found_ohm = most_loop_ohm(case["line_v"], curve, rated_a)
            assert found_ohm == pytest.approx(most, abs=case["last_digit"] / 2)
    else:
        for line_v, tn_s, tt_s in zip(case["line_v"], case["tn_s"], case["tt_s"], strict=True):
            assert disconnection_s(line_v, "TN-S") == tn_s
            assert disconnection_s(line_v, "TT") == tt_s





@pytest.mark.published("protection/faults.toml")
def test_faults(case: dict[str, Any]) -> None:
    within = case["last_digit"] / 2
    rule = circuit_a if case["quantity"] == "isolator" else backfeed_a
    assert rule(case["isc_a"], case["strings"]) == pytest.approx(case["current_a"], abs=within)


@pytest.mark.published("protection/surge.toml")
def test_surge(case: dict[str, Any]) -> None:
    quantity = case["quantity"]
    if quantity == "leads":
        found = [1000.0 * lead_kv(case["lead_m"], rise) for rise in case["rise_ka"]]
        assert found == pytest.approx(case["added_v"])
    elif quantity == "conductor":
        assert [float(LEAD_MM2[each]) for each in case["types"]] == case["least_mm2"]
    elif quantity == "board":
        assert [board_continuous_v(each) for each in case["line_v"]] == pytest.approx(
            case["least_v"]
        )
    elif quantity == "string":
        found = string_continuous_v(case["cold_string_v"], case["string_voc_v"])
        assert found == pytest.approx(case["least_v"], abs=0.05)
    elif quantity == "flashes":
        found = [by_power(each) for each in case["thunderstorm_days"]]
        assert found == pytest.approx(case["flashes"], abs=5e-4)
    else:
        for column, one_m in (("dwelling_m", 115.0), ("ground_m", 200.0), ("industrial_m", 450.0)):
            found = [critical_length_m(each, one_m) for each in case["flashes"]]
            assert found == pytest.approx(case[column], abs=5e-4)


@pytest.mark.published("protection/residual.toml")
def test_electrode_and_residual_current(case: dict[str, Any]) -> None:
    found = [most_electrode_ohm(each, case["touch_v"]) for each in case["residual_ma"]]
    assert found == pytest.approx(case["most_ohm"], abs=0.5)


@pytest.mark.published("protection/fuse-curves.toml")
def test_made_fuses_melt_between_the_gates(case: dict[str, Any]) -> None:
    rows = published("fuse_gates").rows
    gates = {float(row["rated_a"]): row for row in rows}
    for rated_a, melts_a in zip(case["rated_a"], case["melts_a"], strict=True):
        row, within = gates[rated_a], case["tolerance_frac"]
        assert melts_a >= float(row["least_0_1_s_a"]) * (1.0 - within)
        assert melts_a <= float(row["most_0_1_s_a"]) * (1.0 + within)


def test_the_gates_rise() -> None:
    table = published("fuse_gates")
    for head in table.heads:
        column = [each or 0.0 for each in table.numbers(head)]
        assert column == sorted(column)


def test_a_fuse_clears_at_its_gates() -> None:
    """hand: gates of 100 A are 580 A in 5 s, 1450 A in 0.1 s; above, I^2 t stays."""
    assert fuse_clear_s(100.0, 579.0) is None
    assert fuse_clear_s(100.0, 580.0) == pytest.approx(5.0)
    assert fuse_clear_s(100.0, 1450.0) == pytest.approx(0.1)
    assert fuse_clear_s(100.0, 2900.0) == pytest.approx(0.025)
    assert melting_a(90.0) == 580.0
    assert melting_a(1260.0) == pytest.approx(2 * 5100.0)


@given(st.sampled_from([16.0, 63.0, 125.0, 400.0, 630.0]), st.floats(1.0, 200.0))
def test_a_larger_fault_is_cleared_sooner(rated_a: float, times: float) -> None:
    low_a = melting_a(rated_a)
    low, high = fuse_clear_s(rated_a, low_a * times), fuse_clear_s(rated_a, low_a * times * 1.1)
    assert low is not None
    assert high is not None
    assert 0.0 < high < low <= 5.0


def test_a_fuse_that_breaks_the_fault_is_the_weakest_that_does() -> None:
    assert class_for(200.0, 14.0, 1900.0).breaking_ka == 2.0
    assert class_for(200.0, 14.0, 5900.0).breaking_ka == 6.0
    assert class_for(200.0, 57.0, 1900.0).name == "class T", "strip fuses stop at 32 V"
    assert class_for(200.0, 200.0, 1900.0).breaking_ka == 25.0
    assert class_for(200.0, 57.0, 51000.0) is None
    assert class_for(700.0, 12.0, 1000.0).breaking_ka == 6.0
    assert [each.breaking_ka for each in fuse_classes()] == [2.0, 6.0, 20.0, 25.0, 50.0]


def test_a_curve_that_is_not_made_is_refused() -> None:
    with pytest.raises(InputError, match="B, C, D"):
        trip_a("K", 16.0)


def test_breakers() -> None:
    assert next_breaking_ka(1000.0) == 1.5
    assert next_breaking_ka(6000.0) == 6.0
    assert next_breaking_ka(6001.0) == 10.0
    assert next_breaking_ka(26000.0) is None
    assert breaker_clear_s(160.0, 159.0) is None
    assert breaker_clear_s(160.0, 160.0) == 0.1
    assert breaker_clear_s(160.0, 320.0) == 0.01


def test_what_a_breaker_lets_through() -> None:
    assert let_through_a2_s("B", 16.0, 3000.0) == 15000.0
    assert let_through_a2_s("C", 32.0, 10000.0) == 110000.0
    assert let_through_a2_s("D", 16.0, 3000.0) is None
    assert let_through_a2_s("C", 40.0, 3000.0) is None
    assert let_through_a2_s("C", 16.0, 12000.0) is None


def test_no_time_is_asked_of_a_safe_voltage_or_of_it() -> None:
    assert disconnection_s(48.0, "TT") is None
    assert disconnection_s(230.0, "IT") is None


def test_a_bank_of_high_voltage_asks_for_type_b() -> None:
    assert residual_type(64.8) == "A"
    assert residual_type(121.0) == "B"
    assert residual_type(64.8, "F") == "F"
    assert residual_type(121.0, "A") == "A"


def test_no_thunder_no_critical_length() -> None:
    assert by_power(0.0) == 0.0
    assert critical_length_m(0.0) == float("inf")


def battery(chemistry: str, **changes: Any) -> Battery:
    figures: dict[str, Any] = {
        "label": "Invented", "chemistry": chemistry, "unit_voltage_v": 12.0,
        "unit_capacity_ah": 100.0, "units_in_series": 1, "units_in_parallel": 1,
        "charge_efficiency_frac": 0.95, "discharge_efficiency_frac": 0.95,
        "max_charge_c_rate": 0.5, "max_discharge_c_rate": 1.0,
        "self_discharge_frac_per_month": 0.03, "min_soc_frac": 0.2, "nonessential_shed_frac": 0.4,
        "nonessential_return_frac": 0.6,
    }  # fmt: skip
    return Battery.model_validate({**figures, **changes})


def test_100_ah_of_12_v_give_what_the_trade_says() -> None:
    """solar-wind.co.uk: 1000 to 2000 A for 12 V 100 Ah, up to 4000 A for some."""
    for chemistry in ("flooded", "agm", "gel"):
        fault = bank_fault(battery(chemistry), strings=1, known_a=None)
        assert 600.0 <= fault.least_string_a <= 2000.0 <= fault.string_a <= 4000.0


def test_a_bank_by_hand() -> None:
    """hand: 16 cells of 3.4 V, 0.4 to 1 mohm each: 54.4 V / 6.4 mohm = 8500 A, 54.4 / 16 = 3400 A;
    two strings twice that; at the least with 4 mohm of leads 54.4 / (8 + 4) mohm = 4533 A."""
    unit = battery("lifepo4", unit_voltage_v=51.2)
    fault = bank_fault(unit, strings=2, known_a=None)
    assert fault.string_a == pytest.approx(8500.0)
    assert fault.least_string_a == pytest.approx(3400.0)
    assert fault.bars_a == pytest.approx(17000.0)
    assert fault.least_far_a(0.004) == pytest.approx(4533.3, abs=0.1)
    assert fault.ends_a(0.004) == pytest.approx((17000.0, 6800.0, 7555.6, 4533.3), abs=0.1)
    assert fault.source.endswith(unit.traits.fault.clause)


def test_a_published_short_of_golf_cart_units_lies_in_the_band() -> None:
    """Home Power 27 (1992), p. 26, as told in a mailing list of installers: four golf-cart units,
    two strings of 12 V, shorted through a cable of 4/0 and a shunt gave 6960 A; 220 Ah: taken."""
    golf = battery("flooded", unit_voltage_v=6.0, unit_capacity_ah=220.0, units_in_series=2)
    fault = bank_fault(golf, strings=2, known_a=None)
    assert fault.bars_a / 2.0 < 6960.0 < fault.bars_a
    broken = class_for(200.0, 14.8, fault.bars_a)
    assert broken is not None
    assert broken.breaking_ka > 6.96, "an ANL strip, 6 kA, does not break it"


def test_the_sheet_goes_before_the_kind() -> None:
    fault = bank_fault(battery("agm"), strings=3, known_a=2500.0)
    assert fault.bars_a == pytest.approx(7500.0)
    assert fault.known
