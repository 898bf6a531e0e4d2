"""Ten thousand pairs: the same as one at a time, whatever the threads; and what is chosen."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.stages.boards import supply_system
from solarcalc.supply.frontier import Prices, cost_front, frontier, smallest_that_meets, with_cost
from solarcalc.supply.kernels import LANES
from solarcalc.supply.run import simulate

CASES = runpy.run_path(str(Path(__file__).with_name("test_supply_run.py")))
KINDS, _systems, _invented_year = (CASES[name] for name in ("KINDS", "_systems", "_invented_year"))
ARRAYS, BANKS = (0.0, 0.4, 1.0, 1.7), (0.3, 0.8, 1.5, 4.0, 12.0)


@pytest.fixture(scope="module")
def year():
    return _invented_year(seed=7)


@pytest.fixture(scope="module")
def alone(year):
    sun, loads = year
    sizes = np.linspace(0.2, 3.0, 15)
    return frontier(sun, loads, _systems(len(sun))["alone"], array_scales=sizes, bank_scales=sizes)


def _scaled(system, size):
    return replace(system, banks=tuple(
        replace(bank, capacity_wh=size * bank.capacity_wh, max_charge_w=size * bank.max_charge_w,
                max_discharge_w=size * bank.max_discharge_w)
        for bank in system.banks
    ))  # fmt: skip


@pytest.mark.parametrize("kind", KINDS)
def test_each_pair_is_the_year_of_that_system(kind, year):
    sun, loads = year
    system = _systems(len(sun))[kind]
    table = frontier(sun, loads, system, array_scales=ARRAYS, bank_scales=BANKS)
    assert len(table) == len(ARRAYS) * len(BANKS)
    for _, line in table.iterrows():
        # Without sun the generator goes by its own rhythm, which no year closes.
        closes = line["array_scale"] > 0.0
        run = simulate(line["array_scale"] * sun, loads, _scaled(system, line["bank_scale"]))
        assert abs(run.closing_gap_frac) < 2e-6 or (run.generator_h > 0.0 and not closes)
        grid = run.hours[[f"grid_to_{to}_w" for to in ("essential", "nonessential", "charge")]]
        # Both years close to within a millionth of the bank: energies differ by about that.
        near = pytest.approx
        slack = 1e-5 * run.capacity_wh / 1000.0 + 1e-6
        assert line["essential_without_supply_h"] == run.hours_without_supply("essential")
        assert line["nonessential_without_supply_h"] == run.hours_without_supply("nonessential")
        for board in ("essential", "nonessential"):
            missed_kwh = run.not_supplied_w(board).sum() / 1e3
            assert line[f"{board}_not_supplied_kwh"] == near(missed_kwh, abs=slack)
        assert line["curtailed_kwh"] == near(run.hours["solar_curtailed_w"].sum() / 1e3, abs=slack)
        assert line["throughput_kwh"] == near(run.hours["discharge_w"].sum() / 1e3, abs=slack)
        assert line["generator_h"] == run.generator_h
        assert line["fuel_l"] == near(run.fuel_l, abs=slack)
        assert line["grid_kwh"] == near(grid.sum(axis=None) / 1e3, abs=slack)


@pytest.mark.parametrize("threads", [1, 2, 5])
def test_threads_change_nothing(threads, year):
    sun, loads = year
    system = _systems(len(sun))["two banks"]
    scales = {"array_scales": np.linspace(0.2, 3.0, 15), "bank_scales": np.linspace(0.2, 3.0, 11)}
    table = frontier(sun, loads, system, **scales, threads=threads)
    pd.testing.assert_frame_equal(table, frontier(sun, loads, system, **scales), check_exact=True)


def test_neighbours_in_the_lanes_change_nothing(year):
    sun, loads = year
    system = _systems(len(sun))["all"]
    many = frontier(sun, loads, system, array_scales=ARRAYS, bank_scales=BANKS)
    assert len(many) % LANES  # the last lanes are not all used
    single = [frontier(sun, loads, system, array_scales=[a], bank_scales=[b])
              for a in ARRAYS for b in BANKS]  # fmt: skip
    pd.testing.assert_frame_equal(many, pd.concat(single, ignore_index=True), check_exact=True)


def test_hours_that_fill_no_block(year):
    sun, loads = (one.iloc[:75] for one in year)
    system = _systems(75)["alone"]
    table = frontier(sun, loads, system, array_scales=[1.0], bank_scales=[1.0])
    run = simulate(sun, loads, system)
    hours = run.hours_without_supply("nonessential")
    assert table["nonessential_without_supply_h"].iloc[0] == hours
    assert table["throughput_kwh"].iloc[0] == pytest.approx(
        run.hours["discharge_w"].sum() / 1000.0, abs=1e-4
    )


def test_more_sun_is_never_darker_for_the_essential_board_without_a_nonessential_one(year):
    sun, loads = year
    system = _systems(len(sun))["alone"]
    table = frontier(sun, loads.assign(nonessential=0.0), system,
                     array_scales=np.linspace(0.2, 3.0, 15),
                     bank_scales=[1.0])  # fmt: skip
    dark = table["essential_without_supply_h"].to_numpy()
    assert (np.diff(dark) <= 0.0).all()
    assert dark[0] > dark[-1]


def test_smallest_that_meets_is_the_cheapest_within_every_limit(alone):
    table = with_cost(alone, Prices(array=900.0, bank=1500.0, fixed=200.0))
    limits = {"essential_without_supply_h": 20.0, "nonessential_not_supplied_kwh": 400.0}
    best = smallest_that_meets(table, limits)
    fits = [line for _, line in table.iterrows()
            if line["essential_without_supply_h"] <= 20.0
            and line["nonessential_not_supplied_kwh"] <= 400.0]  # fmt: skip
    assert 0 < len(fits) < len(table)
    assert best["cost"] == min(line["cost"] for line in fits)
    assert best["cost"] == pytest.approx(
        200.0 + 900.0 * best["array_scale"] + 1500.0 * best["bank_scale"]
    )
    assert smallest_that_meets(table, {"essential_without_supply_h": -1.0}) is None


def test_equal_lines_are_told_apart_by_the_smaller_bank(alone):
    table = with_cost(alone, Prices(array=0.0, bank=0.0))
    best = smallest_that_meets(table, {"essential_without_supply_h": 1e9})
    assert (best["array_scale"], best["bank_scale"]) == (0.2, 0.2)


def test_front_holds_the_lines_that_nothing_beats(alone):
    table = with_cost(alone, Prices(array=900.0, bank=1500.0))
    front = cost_front(table)
    assert 3 < len(front) < len(table)
    assert (np.diff(front["cost"]) > 0.0).all()
    assert (np.diff(front["essential_without_supply_h"]) < 0.0).all()
    for limit in (0.0, 50.0, 500.0):
        best = smallest_that_meets(table, {"essential_without_supply_h": limit})
        assert best is None or best["cost"] in front["cost"].to_numpy()


def test_fuel_has_its_price(year):
    sun, loads = year
    table = frontier(sun, loads, _systems(len(sun))["generator"], array_scales=[0.3],
                     bank_scales=[1.0])  # fmt: skip
    cost = with_cost(table, Prices(array=100.0, bank=50.0, per_fuel_l=2.0))["cost"]
    assert table["fuel_l"].iloc[0] > 10.0
    assert cost.iloc[0] == pytest.approx(80.0 + 2.0 * table["fuel_l"].iloc[0])


@pytest.mark.parametrize(
    ("scales", "where"),
    [
        ({"array_scales": [-0.1], "bank_scales": [1.0]}, "array_scales"),
        ({"array_scales": [1.0, float("nan")], "bank_scales": [1.0]}, "array_scales"),
        ({"array_scales": [1.0], "bank_scales": [0.0]}, "bank_scales"),
        ({"array_scales": [1.0], "bank_scales": []}, "bank_scales"),
    ],
)
def test_scales_that_are_no_sizes(scales, where, year):
    sun, loads = year
    with pytest.raises(InputError) as caught:
        frontier(sun, loads, _systems(len(sun))["alone"], **scales)
    assert caught.value.faults[0].where == where


def test_bad_hours_are_refused_as_in_a_single_run(year):
    sun, loads = year
    bad = sun.copy()
    bad.iloc[5] = np.nan
    with pytest.raises(InputError, match="solar_w, hour 2001-01-01 05:00"):
        frontier(bad, loads, _systems(len(sun))["alone"], array_scales=[1.0], bank_scales=[1.0])


def test_columns_and_prices_that_are_not_there(alone):
    with pytest.raises(InputError, match="with_cost adds cost"):
        smallest_that_meets(alone, {"essential_without_supply_h": 0.0})
    with pytest.raises(InputError, match="dark"):
        smallest_that_meets(alone, {"dark": 0.0}, by="bank_scale")
    with pytest.raises(InputError, match="prices: bank"):
        Prices(array=1.0, bank=-1.0)


DEMO_SITES = sorted(demo_sites())


@pytest.mark.parametrize("site", DEMO_SITES)
def test_more_battery_or_sun_never_serves_the_essential_loads_of_a_demo_site_worse(site):
    """100 arrays with 206 banks each: 20,500 neighbouring pairs of banks, 20,394 of arrays.

    More sun serves the nonessential board no worse either; a larger bank may, since its levels
    are shares of it, and where a generator starts by the charge, more sun may: it feeds that board
    while it runs, and runs less.
    """
    design = open_design(site)
    table = frontier(
        design.supply.hours["solar_w"], design.loads, supply_system(design),
        array_scales=np.geomspace(0.2, 3.0, 100), bank_scales=np.geomspace(0.2, 4.0, 206),
    )  # fmt: skip
    for column, slack in (
        ("essential_without_supply_h", 0.0), ("essential_not_supplied_kwh", 1e-6),
    ):  # fmt: skip
        values = table[column].to_numpy().reshape(100, 206)
        assert (np.diff(values, axis=1) > slack).sum() == 0, f"{column}: more battery"
        assert (np.diff(values, axis=0) > slack).sum() == 0, f"{column}: more sun"
    for column, slack in () if design.site.generator.there else (
        ("nonessential_without_supply_h", 0.0), ("nonessential_not_supplied_kwh", 1e-6),
    ):  # fmt: skip
        values = table[column].to_numpy().reshape(100, 206)
        assert (np.diff(values, axis=0) > slack).sum() == 0, f"{column}: more sun"
    assert design.site.generator.there or table["essential_without_supply_h"].max() > 0.0
