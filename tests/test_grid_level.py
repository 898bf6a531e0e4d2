"""The level that the grid charges to: its default, and what it does to the nonessential board."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.design import Design, open_design
from solarcalc.stages.boards import supply_of_sun
from solarcalc.supply.energy import energy_kwh
from solarcalc.supply.site import grid_assumptions, grid_checks
from solarcalc.views.assumptions import board_assumptions

FROZEN = Path(__file__).parent / "frozen"
WITHOUT_A_GRID = ("ridge-clinic", "plateau-school", "orchard-shop", "cove-cannery")
ALWAYS = {"kind": "always"}


@cache
def base(name: str = "ridge-clinic") -> Design:
    return open_design(FROZEN / f"{name}.toml")


def with_levels(reserve: float, shed: float, back: float, **grid: Any) -> Design:
    return base().changed({
        "battery": {"min_soc_frac": reserve, "nonessential_shed_frac": shed,
                    "nonessential_return_frac": back},
        "grid": {**ALWAYS, **grid},
    })  # fmt: skip


@pytest.mark.parametrize("layout", ["shared-bank", "one-inverter", "separate-banks"])
def test_a_level_left_out_is_where_the_nonessential_board_is_back(layout: str) -> None:
    """A reserve of half a lead-acid bank was refused with a level of 0.5 that nobody gave."""
    design = with_levels(0.5, 0.6, 0.75).changed({
        "supply": {"layout": layout}, "battery": {"units_in_parallel": 2}})  # fmt: skip
    assert design.site.grid_charges_below_frac == 0.75
    assert design.supply.system.grid is not None
    assert design.supply.system.grid.charge_below_frac == 0.75
    assert [check.outcome for check in grid_checks(design.site)] == ["passed"]
    (said,) = grid_assumptions(design.site)
    assert said.value == 75.0
    assert said in board_assumptions(design)


@settings(max_examples=50, deadline=None)
@given(levels=some.lists(some.integers(1, 99), min_size=3, max_size=3, unique=True))
def test_a_level_left_out_is_never_refused_for_the_reserve(levels: list[int]) -> None:
    reserve, shed, back = (one / 100.0 for one in sorted(levels))
    try:
        design = with_levels(reserve, shed, back)
    except InputError as error:
        refused = [fault.where for fault in error.faults]
        assert not [where for where in refused if "charge_below_frac" in where]
        return
    assert design.site.grid_charges_below_frac == back > reserve


def test_no_grid_charges_from_no_level() -> None:
    site = base().changed({"grid": {"kind": "none", "charge_below_frac": 0.9}}).site
    assert site.grid_charges_below_frac == 0.0
    assert (grid_checks(site), grid_assumptions(site)) == ([], [])


@pytest.mark.parametrize(("level", "outcomes"), [
    (0.0, []), (0.7, ["review"]), (0.75, ["passed"]), (0.9, ["passed"]),
])  # fmt: skip
def test_a_level_that_leaves_the_board_part_shed_is_told(
    level: float, outcomes: list[str]
) -> None:
    design = with_levels(0.5, 0.6, 0.75, charge_below_frac=level)
    found = [one for one in design.all_checks if one.rule == "supply/grid-level"]
    assert [one.outcome for one in found] == outcomes
    assert all(one.kind == "supply" for one in found)
    assert all("raise grid.charge_below_frac" in one.remedy
               for one in found if one.outcome == "review")  # fmt: skip


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(
    name=some.sampled_from(WITHOUT_A_GRID), sun=some.sampled_from([0.2, 0.35, 0.5, 1.0]),
    order=some.sampled_from(["sun-battery-grid", "sun-grid-battery"]),
    layout=some.sampled_from(["shared-bank", "one-inverter"]),
    back=some.sampled_from([0.05, 0.2, 0.35]),
    grid=some.fixed_dictionaries({
        "kind": some.just("random"), "outage_h_per_day": some.sampled_from([0.5, 6.0, 12.0, 20.0]),
        "mean_outage_h": some.sampled_from([1.0, 4.0, 24.0]), "seed": some.integers(1, 5),
        "limit_w": some.sampled_from([100.0, 300.0, 1000.0, 5000.0]),
    }),
)  # fmt: skip
def test_a_grid_with_its_level_left_out_supplies_no_less_than_none(
    name: str, sun: float, order: str, layout: str, back: float, grid: dict[str, Any]
) -> None:
    """Beside sun and battery alone; whatever its power and however long it is away."""
    own = base(name).changed({"supply": {"order": order, "layout": layout},
                              "generator": {"power_w": 0.0}, "grid": {"kind": "none"}})  # fmt: skip
    shed = own.site.battery.nonessential_shed_frac
    own = own.changed({"battery": {"nonessential_return_frac": min(shed + back, 0.98)}})
    there = own.changed({"grid": grid})
    bus_w = base(name).energy.hours["bus_w"] * sun
    supplied, without = (energy_kwh(supply_of_sun(one, bus_w), "supplied") for one in (there, own))
    assert supplied >= without * (1.0 - 1e-6)
