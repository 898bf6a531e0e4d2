"""Battery kinds: their figures held to figures from outside, and rules that follow a trait."""

from __future__ import annotations

import pytest

from solarcalc.sitefile.chemistry import chemistries

KINDS = chemistries()
LEAD = ("flooded", "agm", "gel")


@pytest.mark.published("battery_traits/outside.toml")
def test_traits_by_figures_from_outside(case):
    if case["id"] == "gas":
        kinds = {"vented": ["flooded"], "sealed": ["agm", "gel"]}
        for i, (cell, charge) in enumerate(zip(case["cell"], case["charge"], strict=True)):
            for gas in (KINDS[kind].gas for kind in kinds[cell]):
                current = gas.float_ma_per_ah if charge == "float" else gas.boost_ma_per_ah
                assert current == case["current_ma_per_ah"][i]
                assert gas.emission_factor == case["emission_factor"][i]
                assert gas.safety_factor == case["safety_factor"][i]
                assert gas.design_ma_per_ah(charge) == pytest.approx(case["gas_ma_per_ah"][i])
    elif case["id"] == "lithium-units":
        # On the heavy side of what makers' sheets print: a floor is judged safely by it.
        ours = KINDS["lifepo4"].mass.energy_wh_per_kg
        for energy_wh, mass_kg in zip(case["energy_wh"], case["mass_kg"], strict=True):
            assert 0.87 < ours / (energy_wh / mass_kg) <= 1.0
    else:
        for kind in LEAD:
            ours = KINDS[kind].mass.energy_wh_per_kg
            assert case["least_wh_per_kg"] <= ours <= case["most_wh_per_kg"]
