"""Care of a lead-acid bank: days since full by hand, Faraday's water, equalising charges."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.battery.bank import bank_of
from solarcalc.battery.care import (
    WATER_G_PER_AH,
    WATER_G_PER_MOL,
    Equalising,
    care_assumptions,
    care_checks,
    equalising,
    freezing_c,
    hours_since_full,
    misuse,
    partial_charge,
    sulphate_factor,
    water_g,
    water_per_year,
)
from solarcalc.design import open_design
from solarcalc.sitefile.chemistry import chemistries

KINDS = chemistries()

NONE = Equalising(days=(), late_days=0, energy_kwh_per_year=0.0, water_l_per_year=0.0)


def year(full_every_days: int, low: float = 0.6) -> np.ndarray:
    """Full at noon every so many days, `low` in all other hours."""
    charge = np.full(8760, low)
    charge[12 :: 24 * full_every_days] = 1.0
    return charge


@pytest.mark.published("battery_care/faraday.toml")
def test_faraday(case):
    if case["quantity"] == "water":
        ours = water_g(1.0, cells_in_series=1)
    else:
        ours = WATER_G_PER_AH / WATER_G_PER_MOL * case["litre_per_mol"]
    assert ours == pytest.approx(case["figure"], abs=case["last_digit"] / 2.0)


def test_hours_since_full_by_hand():
    assert hours_since_full([1.0, 0.9, 0.9, 0.99, 0.5]).tolist() == [0.0, 1.0, 2.0, 0.0, 1.0]
    # The series follows itself: the first hours count on from the last full one.
    assert hours_since_full([0.5, 0.5, 1.0, 0.5]).tolist() == [2.0, 3.0, 0.0, 1.0]
    assert hours_since_full([0.5, 0.6]).tolist() == [math.inf, math.inf]


@given(some.lists(some.floats(0.0, 1.0), min_size=1, max_size=80))
def test_hours_since_full_against_a_plain_loop(history):
    twice, since, loop = history * 2, math.inf, []
    for charge in twice:
        since = 0.0 if charge >= 0.98 else since + 1.0
        loop.append(since)
    assert hours_since_full(history).tolist() == loop[len(history) :]


@pytest.mark.parametrize(
    ("every", "risk", "outcome"),
    [(1, "low", "passed"), (7, "low", "passed"), (8, "raised", "review"),
     (14, "raised", "review"), (16, "high", "failed")],
)  # fmt: skip
def test_risk_in_three_steps(every, risk, outcome):
    found = partial_charge(year(every), kind=KINDS["agm"])
    assert found.risk == risk
    assert care_checks(found, NONE, kind=KINDS["agm"])[0].outcome == outcome


def test_a_quarter_of_the_year_below_half_is_a_high_risk():
    charge = np.tile([0.49, 1.0, 1.0, 1.0], 2190)
    found = partial_charge(charge, kind=KINDS["gel"])
    assert (found.below_50_h, found.below_50_frac, found.risk) == (2190, 0.25, "high")
    assert partial_charge(np.tile([0.5, 1.0], 4380), kind=KINDS["gel"]).risk == "low"


def test_partial_charge_counts_hours_and_days():
    found = partial_charge(year(5, low=0.7), kind=KINDS["flooded"])
    assert found.full_days == 73
    assert found.below_80_h == 8760 - 73
    assert found.below_50_h == 0
    assert found.longest_days == pytest.approx((5 * 24 - 1) / 24.0)


def test_never_full_is_said():
    found = partial_charge(np.full(8760, 0.9), kind=KINDS["flooded"])
    assert found.longest_days == math.inf
    plan = equalising(np.full(8760, 0.9), kind=KINDS["flooded"], capacity_wh=9600.0, voltage_v=48.0)
    assert plan.days == ()
    checks = care_checks(found, plan, kind=KINDS["flooded"])
    assert [check.outcome for check in checks] == ["failed", "review"]
    assert "never full" in checks[0].found


def test_lithium_does_not_sulphate():
    found = partial_charge(np.full(8760, 0.4), kind=KINDS["lifepo4"])
    assert found.risk == "none"
    assert care_checks(found, NONE, kind=KINDS["lifepo4"]) == ()


def test_equalising_by_hand():
    """48 V, 200 Ah, 24 cells: 10 A for 3 h is 30 Ah, 30 x 24 x 0.336 g, at 61.2 V 1.836 kWh."""
    plan = equalising(year(1), kind=KINDS["flooded"], capacity_wh=9600.0, voltage_v=48.0)
    assert plan.days == tuple(range(30, 365, 30))
    assert plan.late_days == 0
    assert plan.energy_kwh_per_year == pytest.approx(12 * 1.836)
    assert plan.water_l_per_year == pytest.approx(12 * 30 * 24 * 0.33609 / 1000.0, rel=1e-4)


def test_equalising_waits_for_a_full_bank():
    """Full on days 0, 40 ... 360: due on 30, given on 40, due on 70, given on 80."""
    plan = equalising(year(40), kind=KINDS["flooded"], capacity_wh=9600.0, voltage_v=48.0)
    assert plan.days[:3] == (40, 80, 120)
    assert plan.late_days == 10
    assert care_checks(partial_charge(year(40), kind=KINDS["flooded"]), plan,
                         kind=KINDS["flooded"])[1].outcome == "review"  # fmt: skip


def test_a_bank_that_is_not_full_again_is_late_to_the_end():
    """Full on day 0 only: due on day 30, still waiting when the 365 days are over."""
    once = np.full(8760, 0.6)
    once[12] = 1.0
    plan = equalising(once, kind=KINDS["flooded"], capacity_wh=9600.0, voltage_v=48.0)
    assert (plan.days, plan.late_days) == ((), 335)


def test_equalising_energy_is_that_of_its_ampere_hours():
    """200 Ah, a twentieth of it for two hours in 24 cells at 2.55 V, four times (hand)."""
    flooded = KINDS["flooded"]
    rare = flooded.equalising.model_copy(update={"every_days": 73, "length_h": 2.0})
    plan = equalising(year(1), kind=flooded.model_copy(update={"equalising": rare}),
                      capacity_wh=9600.0, voltage_v=48.0)  # fmt: skip
    assert len(plan.days) == 4
    assert plan.energy_kwh_per_year == pytest.approx(
        4 * 20.0 * 24 * (15.0 + 15.6) / 2.0 / 6.0 / 1000.0  # the middle of makers' voltages
    )


@pytest.mark.parametrize("chemistry", ["agm", "gel", "lifepo4"])
def test_only_flooded_cells_are_equalised_and_filled_up(chemistry):
    plan = equalising(year(1), kind=KINDS[chemistry], capacity_wh=9600.0, voltage_v=48.0)
    assert plan == NONE
    water = water_per_year(year(1), np.full(8760, 50.0), kind=KINDS[chemistry], capacity_wh=9600.0,
                           voltage_v=48.0, equalised=plan)  # fmt: skip
    assert water.cell_ml_per_month == 0.0


def test_water_of_a_year_by_hand():
    """48 W for a year is 8760 Ah at 48 V, 876 Ah gas; 365 full hours at 0.2 A are 73 Ah."""
    water = water_per_year(year(1), np.full(8760, 48.0), kind=KINDS["flooded"], capacity_wh=9600.0,
                           voltage_v=48.0, equalised=NONE)  # fmt: skip
    assert water.charging_l_per_year == pytest.approx(876 * 24 * 0.33609 / 1000.0, rel=1e-4)
    assert water.held_full_l_per_year == pytest.approx(73 * 24 * 0.33609 / 1000.0, rel=1e-4)
    assert water.cell_ml_per_month == pytest.approx((876 + 73) * 0.33609 / 12.0, rel=1e-4)
    total_l = water.charging_l_per_year + water.held_full_l_per_year + water.equalising_l_per_year
    assert total_l * 1000.0 == pytest.approx(water.cell_ml_per_month * 12 * 24)


def test_cells_by_voltage():
    assert KINDS["flooded"].cells(48.0) == 24
    assert KINDS["lifepo4"].cells(51.2) == 16


@pytest.mark.parametrize("chemistry", KINDS)
def test_advice_begins_with_what_can_hurt_and_knows_who_may_be_equalised(chemistry):
    kind = KINDS[chemistry]
    assert "trained people, under local codes" in kind.words.safety[0]
    words = " ".join(kind.advice)
    if chemistry == "flooded":
        assert "Equalise about once a month" in words
        assert "distilled water" in words
    else:
        never = "Never equalise" if chemistry == "lifepo4" else "No equalising charge"
        assert never in words
        assert "distilled" not in words
    assert all(entry.source for entry in care_assumptions(kind))


@pytest.mark.parametrize(
    ("change", "named"),
    [({"capacity_wh": 0.0}, "capacity_wh"), ({"voltage_v": math.nan}, "voltage_v")],
)  # fmt: skip
def test_bad_plans_are_refused(change, named):
    figures = {"kind": KINDS["flooded"], "capacity_wh": 9600.0, "voltage_v": 48.0, **change}
    with pytest.raises(InputError, match=named):
        equalising([1.0, 0.5], **figures)


@pytest.mark.parametrize("charge", [[], [1.1], [-0.1], [math.nan]])
def test_bad_states_of_charge_are_refused(charge):
    with pytest.raises(InputError, match="charge_frac"):
        hours_since_full(charge)


@pytest.mark.parametrize("drawn", [[-1.0, 0.0], [1.0], [math.nan, 0.0]])
def test_bad_discharge_is_refused(drawn):
    with pytest.raises(InputError, match="discharge_w"):
        water_per_year([1.0, 0.5], drawn, kind=KINDS["flooded"], capacity_wh=9600.0, voltage_v=48.0,
                       equalised=NONE)  # fmt: skip


def test_no_years_are_said_of_a_bank_that_is_never_full_or_stands_empty():
    gel, lithium = chemistries()["gel"], chemistries()["lifepo4"]
    never = np.full(8760, 0.9)
    use = {"battery_c": 20.0, "empty_frac": 0.2}
    assert misuse(never, kind=gel, **use) == "it is never fully charged"
    assert misuse(never, kind=lithium, **use) == ""
    never[:2] = 1.0
    assert misuse(never, kind=gel, **use) == "it is not fully charged for 365 days"
    half = np.tile(np.repeat([1.0, 0.45], [18, 6]), 365)
    assert misuse(half, kind=gel, **use) == "it is below half charge for 25 % of the year"
    assert misuse(half, kind=lithium, **use) == ""
    empty = np.ones(8760)
    empty[:100], empty[-68:] = 0.21, 0.2  # seven days over the turn of the year
    assert misuse(empty, kind=lithium, **use) == "it is empty for days"
    empty[0] = 0.5
    assert misuse(empty, kind=gel, **use) == ""
    assert misuse(np.full(48, 0.2), kind=lithium, **use) == "it is empty for days"
    # The cold moves the reserve up, and a bank at it stands as empty as before.
    battery = open_design(demo_sites()["plateau-school"]).site.battery
    cold = replace(bank_of(battery, np.full(8760, 20.0)), capacity_factor=np.full(8760, 0.6))
    empty = np.where(np.arange(8760) < 24 * 7, cold.level_frac(0.2), 1.0)
    assert cold.level_frac(0.2) == pytest.approx(0.52)
    assert misuse(empty, 20.0, kind=gel, empty_frac=0.2) == ""
    assert misuse(empty, 20.0, kind=gel, empty_frac=cold.level_frac(0.2)) == (
        "it is empty for days"
    )


@pytest.mark.parametrize(
    # Density by charge and freezing point by density, two printed tables (data/chemistries.toml):
    # half charged is 1.190 kg/l, between 1.150 at +5 F and 1.200 at -17 F, so -12.6 F.
    ("charge", "freezes"), [(1.0, (-75.0 - 32.0) / 1.8), (0.75, (-35.0 - 32.0) / 1.8),
                            (0.5, (-12.6 - 32.0) / 1.8), (0.0, (12.8 - 32.0) / 1.8)],
)  # fmt: skip
def test_thin_acid_freezes_first(charge, freezes):
    flooded = chemistries()["flooded"]
    assert freezing_c([charge], flooded)[0] == pytest.approx(freezes, abs=0.1)
    year = np.ones(48)
    year[24] = charge
    warm, cold = (np.where(year == year[24], freezes + off, 20.0) for off in (0.2, -0.2))
    assert misuse(year, warm, kind=flooded, empty_frac=0.0) == ""
    assert misuse(year, cold, kind=flooded, empty_frac=0.0) == "it freezes"
    assert misuse(year, cold, kind=chemistries()["lifepo4"], empty_frac=0.0) == ""


@given(
    charge=some.lists(some.floats(0.0, 0.97), min_size=24, max_size=200),
    temp_c=some.floats(-60.0, 30.0), less=some.floats(0.0, 0.5),
)  # fmt: skip
def test_less_charge_never_keeps_it_from_freezing(charge, temp_c, less):
    flooded, full = chemistries()["flooded"], np.array([1.0, *charge])
    lower = np.clip(full - less, 0.0, 1.0)
    if misuse(full, temp_c, kind=flooded, empty_frac=0.0) == "it freezes":
        assert misuse(lower, temp_c, kind=flooded, empty_frac=0.0) == "it freezes"


def test_sulphate_weighs_as_published():
    """Hand: full, then 24 h at half charge lost in one step from 0.5 to 0.4, then full again.

    Schiffer et al. 2007, from memory: 1 + (6.614e-5 + 3.307e-3 (1 - lowest)) t.
    """
    charge = [1.0, *[0.5] * 24, 0.4, 1.0]
    first, later = 0.5, 0.1  # drawn at full, and after 24 h
    slope = 6.614e-5 + 3.307e-3 * 0.5
    assert sulphate_factor(charge) == pytest.approx(
        1.0 + later * slope * 24.0 / (first + later)
    )
    assert sulphate_factor([0.9, 0.5]) == math.inf
    assert sulphate_factor([1.0, 1.0]) == 1.0


@given(every=some.integers(1, 30), more=some.integers(0, 40))
def test_a_bank_that_waits_longer_for_a_full_charge_never_gets_years_back(every, more):
    """Full every so many days: once no years are told, none are for a longer wait."""
    kind, use = KINDS["gel"], {"battery_c": 20.0, "empty_frac": 0.2}
    there, later = (misuse(year(days), kind=kind, **use) for days in (every, every + more))
    assert not there or later
    assert bool(there) == (every > 14)  # what its kind allows: above 14 days the risk is high
    if there:
        assert there.startswith("it is not fully charged for")


@given(kind=some.sampled_from(sorted(KINDS)),
       levels=some.lists(some.sampled_from([0.3, 0.45, 0.7, 0.97, 0.98, 1.0]), min_size=1,
                         max_size=40))  # fmt: skip
def test_where_the_check_of_sulphation_fails_no_years_are_told(kind, levels):
    """Day by day at one level each: what the check of the same bank fails, its life is not told."""
    charge, traits = np.repeat(levels, 24), KINDS[kind]
    checks = care_checks(
        partial_charge(charge, kind=traits), NONE, kind=traits
    )  # fmt: skip
    failed = [one for one in checks if one.outcome == "failed" and "sulphation" in one.item]
    assert bool(misuse(charge, 20.0, kind=traits, empty_frac=0.0)) == bool(failed)

