"""P50 and P90: parts combined by hand, quantiles against the normal distribution's table."""

from __future__ import annotations

from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.design import open_design
from solarcalc.energy.year import (
    FIXED,
    WEAK_LIGHT,
    Uncertainty,
    combined_frac,
    exceeded_kwh,
    uncertainties_of,
)

FROZEN = Path(__file__).parent / "frozen" / "plateau-school.toml"


def test_parts_add_as_squares():
    parts = [Uncertainty(name=str(s), sigma_frac=s, source="-") for s in (0.03, 0.04, 0.12)]
    assert combined_frac(parts) == pytest.approx(0.13)
    assert combined_frac([]) == 0.0


def test_every_part_names_its_source():
    assert all(part.source and part.name and 0.0 < part.sigma_frac < 0.2 for part in FIXED)
    # hand: 4, 4, 1.5 and 1.5 %, root of 16 + 16 + 2.25 + 2.25 and the two of measured records
    measured = [part for part in FIXED
                if part.name in ("Light on the tilted plane", "Module and heat model")]  # fmt: skip
    assert len(measured) == 2
    square = 36.5 + sum((100.0 * part.sigma_frac) ** 2 for part in measured)
    assert 100.0 * combined_frac(FIXED) == pytest.approx(square**0.5)


@pytest.mark.parametrize(
    ("chance", "z"), [(0.5, 0.0), (0.75, 0.6745), (0.9, 1.2816), (0.95, 1.6449), (0.99, 2.3263)]
)
def test_quantiles_against_the_printed_table(chance, z):
    # Table of the standard normal distribution, NIST/SEMATECH e-Handbook 1.3.6.7.1 (from memory).
    expected = 1000.0 - 100.0 * z
    assert exceeded_kwh(1000.0, 0.1, chance_frac=chance) == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("chance", [0.0, 1.0, -0.1, float("nan")])
def test_impossible_chances_are_refused(chance):
    with pytest.raises(InputError, match="chance_frac"):
        exceeded_kwh(1.0, 0.1, chance_frac=chance)


def test_a_site_adds_half_of_its_own_simple_losses():
    school = open_design("plateau-school").energy
    own = [part for part in uncertainties_of(school) if part not in FIXED]
    dust = next(part for part in own if part.name.endswith("soiling"))
    steps = {step.name: step.yield_kwh_per_kwp for step in school.steps}
    lost = 1.0 - steps["Soiling"] / steps["Angle-of-incidence loss"]
    assert dust.sigma_frac == pytest.approx(0.5 * lost)
    one_row = open_design("orchard-shop").energy
    assert not any("inter-row" in part.name for part in uncertainties_of(one_row))


def test_weak_light_is_uncertain_where_the_sheet_is_silent():
    # hand: of an even spread the standard deviation is its width over the root of twelve.
    school = open_design(FROZEN)
    low, high = school.energy.weak_light_frac
    assert 0.95 < low < 1.0 < high < 1.03
    found = {part.name: part for part in uncertainties_of(school.energy)}
    assert found[WEAK_LIGHT].sigma_frac == pytest.approx((high - low) / 12.0**0.5)
    told = open_design(FROZEN, {"module": {"efficiency_200_w_m2_frac": 0.95}}).energy
    assert WEAK_LIGHT not in {part.name for part in uncertainties_of(told)}
    ends = [open_design(FROZEN, {"module": {"efficiency_200_w_m2_frac": frac}}).energy
            for frac in (0.88, 0.95)]  # fmt: skip
    assert ends[0].array_yield_h < ends[1].array_yield_h
