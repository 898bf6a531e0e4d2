"""The sizing worksheet: published steps, sums by hand, and what each line is worth alone."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.battery.worksheet import (
    ARRAY_TO_LOAD_ESSENTIAL,
    SizingInput,
    capacity_at_hours_ah,
    cold_factor,
    filled_worksheet,
    string_current_a,
    why_it_differs,
    worksheet_checks,
    worksheet_table,
)
from solarcalc.sitefile.chemistry import chemistries

PLAIN = SizingInput(
    daily_load_wh=4800.0, running_load_w=200.0, inverter_efficiency_frac=1.0, bank_voltage_v=48.0,
    unit_voltage_v=2.0, unit_capacity_ah=200.0, unit_rated_discharge_h=10.0,
    rate=chemistries()["flooded"].rate, autonomy_days=3.0,
    lowest_temp_c=25.0, sun_hours_h_per_day=4.5, string_current_a=8.0,
)  # fmt: skip
"""100 Ah a day, drawn evenly: 4.1667 A."""


def value(sheet, step):
    (found,) = [line.value for line in sheet.lines if line.step == step]
    return found


@pytest.mark.published("battery_worksheet/sizing.toml")
def test_published_sizing(case):
    half = case["last_digit"] / 2.0
    if case["quantity"] == "simple":
        figures = replace(
            PLAIN, daily_load_wh=case["daily_load_wh"], bank_voltage_v=case["bank_voltage_v"],
            autonomy_days=case["autonomy_days"], max_depth_frac=case["max_depth_frac"],
            lowest_temp_c=case["lowest_temp_c"], max_daily_depth_frac=1.0, end_of_life_frac=1.0,
            margin_frac=0.0,
        )  # fmt: skip
        sheet = filled_worksheet(figures)
        steps = ("Unadjusted capacity", "Capacity for the deepest discharge", "Capacity needed")
        ours = [value(sheet, step) * case["bank_voltage_v"] for step in steps]
        assert ours == pytest.approx(case["needed_wh"], abs=half)
        assert sheet.governed_by == "deepest discharge"
    elif case["quantity"] == "steps":
        assert case["daily_ah"] * PLAIN.bank_voltage_v == PLAIN.daily_load_wh
        sheet = filled_worksheet(PLAIN)
        assert [
            value(sheet, "Capacity for the deepest discharge"),
            value(sheet, "Capacity for the daily discharge"),
            value(sheet, "Capacity for the end of life"),
            sheet.required_capacity_ah,
            value(sheet, "Hours of discharge at the running current"),
        ] == pytest.approx(
            [case["by_deepest_ah"], case["by_daily_ah"], case["by_end_of_life_ah"],
             case["needed_ah"], case["hours_h"]], abs=half,
        )  # fmt: skip
        assert sheet.governed_by == "daily discharge"
    elif case["quantity"] == "array":
        sheet = filled_worksheet(
            replace(PLAIN, loss_frac=case["loss_frac"], string_current_a=case["string_a"],
                    sun_hours_h_per_day=case["sun_hours_h_per_day"], essential=False)
        )  # fmt: skip
        current = value(sheet, "Array current for the losses")
        assert current == pytest.approx(case["current_a"], abs=half)
        assert sheet.strings == case["strings"]
        assert sheet.array_to_load == pytest.approx(case["array_to_load"], abs=half)
    elif case["quantity"] == "cold":
        ours = [cold_factor(temp) for temp in case["temp_c"]]
        assert ours == pytest.approx(case["factor"], abs=half)
    else:
        rate = PLAIN.rate.model_copy(update={"exponent": case["exponent"]})
        ours = [
            capacity_at_hours_ah(case["capacity_ah"], case["rated_discharge_h"], hours,
                                 rate=rate)
            for hours in case["hours_h"]
        ]  # fmt: skip
        assert ours == pytest.approx(case["at_hours_ah"], abs=half)


def test_units_by_hand():
    """550 Ah of 200 Ah cells of 2 V at 48 V: 24 in series, 3 strings, 600 Ah, 100/600 a day."""
    sheet = filled_worksheet(PLAIN)
    assert (sheet.units_in_series, sheet.units_in_parallel) == (24, 3)
    assert sheet.bank_capacity_ah == 600.0
    assert sheet.bank_capacity_wh == 28800.0
    assert sheet.daily_depth_frac == pytest.approx(1.0 / 6.0)


def test_inverter_losses_are_carried_by_the_bank():
    sheet = filled_worksheet(replace(PLAIN, inverter_efficiency_frac=0.8))
    assert value(sheet, "Daily load") == pytest.approx(125.0)
    assert value(sheet, "Running current") == pytest.approx(200.0 / 0.8 / 48.0)


def test_a_fast_discharge_needs_more_units():
    """150 A from 550 Ah is 3.67 h: a 10 h cell of 200 Ah gives 200 x 0.367^(1 - 1/1.15)."""
    fast = filled_worksheet(replace(PLAIN, running_load_w=7200.0))
    at_rate = 200.0 * (550.0 / 150.0 / 10.0) ** (1.0 - 1.0 / 1.15)
    assert value(fast, "Capacity of a unit at that rate") == pytest.approx(at_rate)
    assert fast.units_in_parallel == math.ceil(550.0 / at_rate) == 4
    assert value(filled_worksheet(PLAIN), "Capacity of a unit at that rate") == 200.0


def test_exact_fit_takes_no_unit_too_many():
    sheet = filled_worksheet(replace(PLAIN, unit_capacity_ah=275.0))
    assert sheet.units_in_parallel == 2


def test_essential_load_decides_the_array():
    """1.3 x 100 / 4.5 = 28.9 A of 8 A strings is 4; 1.3 asks more than 15 % of losses."""
    sheet = filled_worksheet(replace(PLAIN, string_current_a=9.0))
    assert sheet.strings == 4
    assert filled_worksheet(replace(PLAIN, string_current_a=9.0, essential=False)).strings == 3
    assert sheet.array_to_load >= ARRAY_TO_LOAD_ESSENTIAL


def test_string_current_behind_a_tracking_controller():
    assert string_current_a(1200.0, 0.96, 48.0) == pytest.approx(24.0)


@given(some.floats(-60.0, 60.0), some.floats(0.0, 20.0))
def test_cold_never_helps(temp_c, colder_k):
    assert 1.0 <= cold_factor(temp_c) <= cold_factor(temp_c - colder_k) <= 1.59


@given(
    some.floats(100.0, 1e5), some.floats(0.5, 10.0), some.floats(0.1, 1.0), some.floats(0.05, 1.0),
    some.floats(0.3, 1.0), some.floats(-30.0, 40.0),
)  # fmt: skip
def test_the_bank_meets_every_limit_of_its_own_sheet(wh, days, deep, daily, end, cold):
    figures = replace(
        PLAIN, daily_load_wh=wh, autonomy_days=days, max_depth_frac=deep,
        max_daily_depth_frac=daily, end_of_life_frac=end, lowest_temp_c=cold,
    )  # fmt: skip
    sheet = filled_worksheet(figures)
    daily_ah = wh / 48.0
    bank = sheet.bank_capacity_ah * (1.0 + 1e-9)
    assert bank >= sheet.required_capacity_ah
    assert bank * deep >= daily_ah * days
    assert bank * daily >= daily_ah
    assert bank * end >= daily_ah * days
    assert sheet.strings * 8.0 * 4.5 * (1.0 + 1e-9) >= daily_ah * 1.3  # IEEE 1562, from memory


def test_every_line_has_its_formula_figures_and_source():
    sheet = filled_worksheet(PLAIN)
    assert [line.number for line in sheet.lines] == list(range(1, len(sheet.lines) + 1))
    for line in sheet.lines:
        assert line.formula
        assert line.figures
        assert line.source
    table = worksheet_table(sheet.lines)
    assert table.shape == (len(sheet.lines), 6)
    assert table.loc[1].tolist()[:5] == [
        "Daily load", "energy of a day / inverter efficiency / bank voltage", "4800 / 1 / 48",
        "100", "Ah/day",
    ]  # fmt: skip


def test_checks_set_the_site_beside_the_book():
    sheet = filled_worksheet(PLAIN)
    small = worksheet_checks(sheet, PLAIN, installed_wh=20000.0, installed_strings=2,
                               kind=chemistries()["flooded"])  # fmt: skip
    assert [check.outcome for check in small] == ["review", "review", "passed"]
    assert (small[0].found, small[0].limit) == ("20.0", "at least 26.4")
    assert small[1].found == "0.72"
    large = worksheet_checks(sheet, PLAIN, installed_wh=26400.0, installed_strings=4,
                               kind=chemistries()["lifepo4"])  # fmt: skip
    assert [check.outcome for check in large] == ["passed"] * 2
    assert "comparison only" in large[0].clause
    many = filled_worksheet(replace(PLAIN, unit_capacity_ah=100.0))
    assert worksheet_checks(many, PLAIN, installed_wh=1e6, installed_strings=9,
                              kind=chemistries()["agm"])[2].outcome == "review"  # fmt: skip


def test_the_difference_is_told_in_words():
    sheet = filled_worksheet(PLAIN)
    assert "2.0 times as much" in why_it_differs(sheet, PLAIN, simulated_wh=13200.0)[0]
    assert "50 % of it" in why_it_differs(sheet, PLAIN, simulated_wh=52800.0)[0]
    told = why_it_differs(sheet, PLAIN, simulated_wh=26000.0)
    assert "agree within 10 %" in told[0]
    assert any("daily discharge" in line and "20 %" in line for line in told)
    for change, limit in (({"max_daily_depth_frac": 1.0, "max_depth_frac": 0.5}, "deepest"),
                          ({"max_daily_depth_frac": 1.0, "max_depth_frac": 1.0}, "end of life")):
        other = replace(PLAIN, **change)
        told = why_it_differs(filled_worksheet(other), other, simulated_wh=26000.0)
        assert any(f"{limit} governs" in line
                   or f"{limit} discharge governs" in line for line in told)
    with pytest.raises(InputError, match="simulated_wh"):
        why_it_differs(sheet, PLAIN, simulated_wh=0.0)


@pytest.mark.parametrize(("simulated_wh", "first"), [(13200.0, "more"), (52800.0, "less")])
def test_reasons_follow_which_of_the_two_asks_for_more(simulated_wh: float, first: str) -> None:
    told = why_it_differs(filled_worksheet(PLAIN), PLAIN, simulated_wh=simulated_wh)
    assert "with this array" in told[0]
    assert told[1].startswith(f"The worksheet requires {first} because ")
    assert not any("hour by hour" in line for line in told[1:])


@pytest.mark.parametrize(
    ("change", "named"),
    [({"daily_load_wh": 0.0}, "daily_load_wh"), ({"daily_load_wh": math.nan}, "daily_load_wh"),
     ({"sun_hours_h_per_day": -1.0}, "sun_hours_h_per_day"),
     ({"max_depth_frac": 1.2}, "max_depth_frac"), ({"margin_frac": -0.1}, "margin_frac"),
     ({"lowest_temp_c": 90.0}, "lowest_temp_c"), ({"unit_voltage_v": 5.0}, "bank_voltage_v"),
     ({"unit_voltage_v": 200.0}, "bank_voltage_v")],
)  # fmt: skip
def test_bad_figures_are_refused_by_name(change, named):
    with pytest.raises(InputError, match=named):
        filled_worksheet(replace(PLAIN, **change))


def test_all_bad_figures_are_told_at_once():
    with pytest.raises(InputError) as caught:
        filled_worksheet(replace(PLAIN, daily_load_wh=0.0, end_of_life_frac=0.0))
    assert len(caught.value.faults) == 2
