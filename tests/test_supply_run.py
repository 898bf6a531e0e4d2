"""The supply engine: balance, limits, order of use, against a plain loop and an optimal bound."""

from __future__ import annotations

import itertools
import runpy
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from scipy.integrate import solve_ivp
from scipy.optimize import linprog

from solarcalc.basis.errors import InputError
from solarcalc.basis.hours import year_hours
from solarcalc.battery.bank import Bank
from solarcalc.sitefile.site import Site
from solarcalc.supply import kernels
from solarcalc.supply.energy import energy_by_month_kwh, energy_kwh, energy_w, reaching_frac
from solarcalc.supply.jobs import Jobs, mains_of
from solarcalc.supply.run import FLOWS, islands_of, simulate, well_step
from solarcalc.supply.system import (
    KEY_OF,
    Architecture,
    Board,
    GeneratorSet,
    GridSupply,
    Shedding,
    System,
)

PLAIN = runpy.run_path(str(Path(__file__).with_name("plain_supply.py")))
BALANCE = 1e-9
"""Largest error of the balance in an hour, as a share of what flows or is stored in it."""
SHED = Shedding(off_frac=0.45, on_frac=0.65)
BOARDS = {
    "essential": Board(rating_w=2000.0, efficiency_frac=0.93, no_load_w=12.0),
    "nonessential": Board(rating_w=3000.0, efficiency_frac=0.92, no_load_w=18.0),
}
BARE = Board(rating_w=1e6, efficiency_frac=1.0, no_load_w=0.0)
BARE_BOARDS = {"essential": BARE, "nonessential": BARE}
ENGINE = GeneratorSet(power_w=2000.0, start_frac=0.35, stop_frac=0.8, least_load_frac=0.3,
                      idle_fuel_l_per_h=0.4, fuel_l_per_kwh=0.28)  # fmt: skip


def _bank(n, **changes):
    values = {
        "capacity_wh": 10000.0, "voltage_v": 48.0, "available_frac": 0.6, "exchange_per_h": 0.5,
        "min_soc_frac": 0.4, "charge_efficiency_frac": 0.92, "discharge_efficiency_frac": 0.95,
        "max_charge_w": 2000.0, "max_discharge_w": 5000.0, "acceptance_per_h": 0.6,
        "self_discharge_frac_per_h": 4e-5, "capacity_factor": np.ones(n),
        "charge_factor": np.ones(n),
    }  # fmt: skip
    return Bank(**(values | changes))


def _one_tank(n, **changes):
    """A tank without loss or limit, but for what is changed."""
    free = {"available_frac": 1.0, "min_soc_frac": 0.0, "charge_efficiency_frac": 1.0,
            "discharge_efficiency_frac": 1.0, "max_charge_w": 1e6, "max_discharge_w": 1e6,
            "acceptance_per_h": float("inf"), "self_discharge_frac_per_h": 0.0}  # fmt: skip
    return _bank(n, **(free | changes))


def _grid(present, limit_w=1500.0, below=0.0):
    return GridSupply(present_frac=np.asarray(present, float), limit_w=limit_w,
                      charge_below_frac=below)  # fmt: skip


def _series(solar, essential, nonessential=0.0):
    n = max(np.size(x) for x in (solar, essential, nonessential))
    index = year_hours(2.0)[:n]
    sun = pd.Series(np.broadcast_to(np.asarray(solar, float), n), index=index)
    loads = {"essential": essential, "nonessential": nonessential}
    loads = {name: np.broadcast_to(np.asarray(x, float), n) for name, x in loads.items()}
    return sun, pd.DataFrame(loads, index=index)


def _invented_year(seed=3, days=365):
    """Sun of cloudy and clear days and loads of morning and evening, [W]."""
    draw = np.random.default_rng(seed)
    hour = np.tile(np.arange(24), days)
    clear = np.repeat(draw.beta(2.0, 1.3, days), 24)
    sun = 2500.0 * clear * np.clip(np.sin((hour - 6.0) / 12.0 * np.pi), 0.0, None)
    busy, noon = np.isin(hour, (6, 7, 18, 19, 20, 21)), np.isin(hour, (10, 11, 12, 19))
    essential = 250.0 + 400.0 * busy * draw.uniform(0.6, 1.4, len(hour))
    nonessential = 1000.0 * noon * draw.uniform(0.3, 1.5, len(hour))
    return _series(sun, essential, nonessential)


def _systems(n):
    """One system of each kind, by name."""
    present = np.random.default_rng(2).uniform(0.0, 1.0, n).round(1)
    weak, one = _grid(present, below=0.55), Architecture(layout="one-inverter")
    two = Architecture(layout="separate-banks", order="sun-grid-battery", essential_array_frac=0.4)
    bank, plain = _bank(n), {"boards": BOARDS, "shedding": SHED}
    return {
        "alone": System(banks=(bank,), **plain),
        "grid": System(banks=(bank,), grid=weak, **plain),
        "grid first": System(banks=(bank,), grid=weak, **plain,
                             architecture=Architecture(order="sun-grid-battery")),
        "generator": System(banks=(bank,), generator=ENGINE, **plain),
        "all": System(banks=(bank,), grid=weak, generator=ENGINE, architecture=one, **plain),
        "two banks": System(banks=(bank, _bank(n, capacity_wh=6000.0)), grid=weak,
                            generator=ENGINE, architecture=two, **plain),
    }  # fmt: skip


KINDS = tuple(_systems(1))


# --- balance and limits, whatever the system


def _size(hours):
    """What flows or is stored in an hour, at least 1."""
    names = ["solar_w", "discharge_w", "charge_w", "stored_wh", "essential_supplied_w",
             "nonessential_supplied_w"]  # fmt: skip
    return hours[names].max(axis=1).clip(lower=1.0)


def _check(run):
    system, whole = run.system, run.hours
    assert (run.balance_error_w() / _size(whole)).max() < BALANCE
    for board in ("essential", "nonessential"):
        rating = system.boards[board].rating_w
        if system.architecture.layout == "one-inverter":
            rating = system.boards["essential"].rating_w
        served, load = whole[f"{board}_supplied_w"], whole[f"{board}_load_w"]
        assert (served <= load.clip(upper=rating) + 1e-6).all()
        assert (served >= -1e-6).all()
    flows = [name for name in whole if name.endswith("_w") or name == "fuel_l"]
    assert (whole[flows] >= -1e-6).all(axis=None)
    for bank, (name, hours) in zip(system.banks, run.banks.items(), strict=True):
        _check_bank(run, bank, hours, run.end_wh[name])


def _check_bank(run, bank, hours, end_wh):
    slack = 1e-8 * bank.capacity_wh
    after = np.append(hours["stored_wh"].to_numpy()[1:], end_wh)
    before = hours["stored_wh"].to_numpy()
    floor = bank.capacity_wh * (1.0 - max(bank.cold_frac, 1e-6) * (1.0 - bank.min_soc_frac))
    discharge, charge = hours["discharge_w"].to_numpy(), hours["charge_w"].to_numpy()
    assert (hours["available_wh"] <= bank.available_frac * bank.capacity_wh + slack).all()
    assert (hours["bound_wh"] <= (1.0 - bank.available_frac) * bank.capacity_wh + slack).all()
    assert (hours[["available_wh", "bound_wh"]] >= -slack).all(axis=None)
    assert (after <= bank.capacity_wh + slack).all()
    assert (after >= floor - slack - np.maximum(floor - before, 0.0)).all()
    lost = before - hours["self_discharge_w"]
    assert (after[discharge <= 0.0] >= lost[discharge <= 0.0] - slack).all()
    at_most = bank.self_discharge_frac_per_h * bank.capacity_wh
    assert (hours["self_discharge_w"] <= at_most + slack).all()
    assert (discharge <= bank.max_discharge_w + slack).all()
    assert (discharge[bank.capacity_factor <= 0.0] <= slack).all()
    assert (charge <= bank.max_charge_w * bank.charge_factor + slack).all()
    grid = run.system.grid
    partly = np.zeros(len(hours), bool)
    if grid is not None:  # what the bank gives without the grid it may be given back with it
        partly = (grid.present_frac > 0.0) & (grid.present_frac < 1.0)
    assert not ((charge > slack) & (discharge > slack) & ~partly).any()
    _check_nonessential(run, bank, hours, after)


def _check_nonessential(run, bank, hours, after):
    """Sun and store feed the nonessential board by the charge the hour ends with; sun that the
    bank does not take in feeds it at any level."""
    shed, slack = run.system.shedding, 1e-8 * bank.capacity_wh
    low, high = (bank.capacity_wh * (1.0 - max(bank.cold_frac, 1e-6) * (1.0 - soc))
                 for soc in (shed.off_frac, shed.on_frac))  # fmt: skip
    fed = hours["nonessential_fed_frac"].to_numpy()
    assert ((fed >= 0.0) & (fed <= 1.0 + 1e-9)).all()
    grid = run.system.grid
    alone = np.ones(len(hours), bool) if grid is None else grid.present_frac == 0.0
    alone &= (hours["nonessential_drawn_w"] > 1e-6) & ~hours["generator_on"]
    missing_wh = bank.capacity_wh - hours["stored_wh"] + hours["self_discharge_w"]
    takes_in_w = np.minimum(bank.accepted_frac * missing_wh / bank.charge_efficiency_frac,
                            bank.max_charge_w * bank.charge_factor)  # fmt: skip
    refused = (hours["charge_w"] >= takes_in_w - slack).to_numpy()
    assert (after[alone & ~refused & (fed > 1e-6)] >= low - slack).all()
    share = np.clip((after - low) / (high - low), 0.0, 1.0)
    assert (fed[alone & ~refused] <= share[alone & ~refused] + 1e-6).all()
    assert (hours["discharge_w"][alone & (fed > share + 1e-6)] <= slack).all()
    _check_waste(run, hours)
    if run.system.grid is None and run.system.generator is None and (
        run.system.architecture.layout != "one-inverter"
    ):
        rated = run.system.boards["nonessential"].rating_w
        asked = np.minimum(hours["nonessential_load_w"], rated)
        served = fed * asked
        assert (np.abs(served - hours["nonessential_supplied_w"]) <= 1e-6 + 1e-9 * asked).all()


def _check_waste(run, hours):
    """No sun is curtailed beside a board that is short of it, or fed by grid or generator."""
    if run.system.architecture.layout != "shared-bank":
        return
    rated = run.system.boards["nonessential"].rating_w
    wanted = np.minimum(hours["nonessential_load_w"], rated) - hours["nonessential_supplied_w"]
    wanted += sum(hours[f"{source}_to_{board}_w"] for source in ("grid", "generator")
                  for board in ("essential", "nonessential"))  # fmt: skip
    slack = 1e-6 * (1.0 + hours["solar_w"] + hours["nonessential_load_w"])
    assert (wanted <= slack)[hours["solar_curtailed_w"] > slack].all()


@pytest.mark.parametrize("kind", KINDS)
def test_a_year_balances_and_keeps_its_limits(kind):
    sun, loads = _invented_year()
    run = simulate(sun, loads, _systems(len(sun))[kind])
    _check(run)
    assert abs(run.closing_gap_frac) < 1e-6
    assert run.hours_without_supply("nonessential") > 0
    assert run.hours["solar_curtailed_w"].sum() > 0.0
    assert (run.generator_h > 0.0) == (run.system.generator is not None)
    assert (run.hours["grid_to_charge_w"].sum() > 0.0) == (run.system.grid is not None)


_HOURS = 24
_FRAC = some.floats(0.0, 1.0)
_ETA = some.floats(0.4, 1.0)


def _list(top):
    return some.lists(some.one_of(some.just(0.0), some.floats(0.0, top)), min_size=_HOURS,
                      max_size=_HOURS)  # fmt: skip


_A_BANK = some.builds(
    lambda **kw: Bank(**{name: np.array(x) if isinstance(x, list) else x for name, x in kw.items()},
                      voltage_v=48.0),
    capacity_wh=some.floats(200.0, 50000.0), available_frac=some.floats(0.05, 1.0),
    exchange_per_h=some.floats(1e-3, 5.0), min_soc_frac=some.floats(0.0, 0.4),
    charge_efficiency_frac=_ETA, discharge_efficiency_frac=_ETA,
    max_charge_w=some.floats(10.0, 20000.0), max_discharge_w=some.floats(10.0, 20000.0),
    acceptance_per_h=some.one_of(some.just(float("inf")), some.floats(0.05, 5.0)),
    self_discharge_frac_per_h=some.floats(0.0, 0.01),
    capacity_factor=_list(1.0).filter(lambda shares: sum(shares) > 1.0),
    charge_factor=_list(1.0),
)  # fmt: skip
_A_GRID = some.one_of(
    some.none(),
    some.builds(_grid, some.lists(some.sampled_from([0.0, 0.25, 1.0]), min_size=_HOURS,
                                  max_size=_HOURS), some.floats(50.0, 5000.0), _FRAC),
)  # fmt: skip
_AN_ENGINE = some.one_of(
    some.none(),
    some.builds(
        lambda power, levels, least: replace(ENGINE, power_w=power, start_frac=min(levels),
                                             stop_frac=max(levels) + 1e-3, least_load_frac=least,
                                             warm_up_h=0.1 * least),
        some.floats(50.0, 6000.0), some.tuples(*[some.floats(0.0, 0.99)] * 2), _FRAC,
    ),
)  # fmt: skip
_A_BOARD = some.builds(Board, rating_w=some.floats(100.0, 5000.0), efficiency_frac=_ETA,
                       no_load_w=some.floats(0.0, 100.0))  # fmt: skip


@pytest.mark.slow
@settings(deadline=None, max_examples=150)
@given(
    sun=_list(4000.0), essential=_list(3000.0), nonessential=_list(4000.0),
    banks=some.tuples(_A_BANK, _A_BANK), boards=some.tuples(_A_BOARD, _A_BOARD),
    levels=some.tuples(some.floats(0.4, 0.9), some.floats(0.91, 1.0)), grid=_A_GRID,
    engine=_AN_ENGINE, share=_FRAC, charger=_ETA,
    layout=some.sampled_from(["shared-bank", "one-inverter", "separate-banks"]),
    order=some.sampled_from(["sun-battery-grid", "sun-grid-battery"]),
)  # fmt: skip
def test_any_system_balances_and_keeps_its_limits(
    sun, essential, nonessential, banks, boards, levels, grid, engine, share, charger, layout, order
):
    system = System(
        banks=banks if layout == "separate-banks" else banks[:1],
        boards=dict(zip(("essential", "nonessential"), boards, strict=True)),
        shedding=Shedding(off_frac=levels[0], on_frac=levels[1]), grid=grid, generator=engine,
        architecture=Architecture(layout=layout, order=order, essential_array_frac=share,
                                  charger_efficiency_frac=charger),
    )  # fmt: skip
    run = simulate(*_series(sun, essential, nonessential), system)
    _check(run)
    if grid is not None:
        used = sum(run.hours[f"grid_to_{to}_w"] for to in ("essential", "nonessential", "charge"))
        assert (used <= grid.limit_w * grid.present_frac + 1e-6).all()
    if engine is not None:
        made = sum(run.hours[f"generator_to_{to}_w"]
                   for to in ("essential", "nonessential", "charge"))
        assert (made <= engine.power_w * run.hours["generator_on"] + 1e-6).all()
    _compare_with_plain(system, *_series(sun, essential, nonessential))


# --- an hour with enough for all is the general hour, to the last bit


def _both_loops(system, sun, loads, arrays, banks):
    """Sums of systems with a sun of their own each, and of the same one by one by `hour` alone."""
    (_, island, series), *_ = islands_of(sun, loads, system)
    mains, n, size = mains_of((island,), (series,)), len(series), len(arrays)
    lit, none = np.arange(n), np.zeros((1, n), np.float32)
    at = np.zeros(size, np.int64)
    jobs = Jobs(light=at, kept=at, watts=np.ones(size), limit_w=np.ones(size),
                bank=np.asarray(banks, float), added=np.arange(size))  # fmt: skip
    suns = np.array([series[:, kernels.SUN] * one for one in arrays])
    bare = series.copy()
    bare[:, kernels.SUN] = 1.0
    found, alone = np.empty((size, len(kernels.SUMS) + 1)), np.empty((size, len(kernels.SUMS)))
    kernels.own_suns(0, size, island, bare, jobs, none, none, suns, lit, mains, found)
    for one in range(size):
        own = series.copy()
        own[:, kernels.SUN] = suns[one]
        kernels.pairs(0, 1, (island,), (own,), np.array([[1.0, banks[one]]]), mains, None,
                      alone[one : one + 1])  # fmt: skip
    return found[:, :-1], alone


@pytest.mark.parametrize("kind", KINDS[:-1])
def test_systems_that_share_a_loop_do_not_depend_on_one_another(kind):
    sun, loads = _invented_year(days=150)
    draw = np.random.default_rng(4)
    arrays, banks = draw.uniform(0.3, 3.0, 24), np.repeat([0.5, 2.0, 8.0], 8)
    found, alone = _both_loops(_systems(len(sun))[kind], sun, loads, arrays, banks)
    np.testing.assert_array_equal(found, alone)
    assert (found[:, kernels.SUMS.index("throughput_wh")] > 0.0).all()


@pytest.mark.slow
@settings(deadline=None, max_examples=300)
@given(
    sun=_list(4000.0), essential=_list(1500.0), nonessential=_list(2000.0), bank=_A_BANK,
    boards=some.tuples(_A_BOARD, _A_BOARD), grid=_A_GRID, engine=_AN_ENGINE,
    levels=some.tuples(some.floats(0.4, 0.9), some.floats(0.91, 1.0)),
    order=some.sampled_from(["sun-battery-grid", "sun-grid-battery"]),
    scales=some.lists(some.tuples(some.floats(0.0, 5.0), some.floats(0.2, 20.0)), min_size=1,
                      max_size=20),
)  # fmt: skip
def test_any_systems_that_share_a_loop_do_not_depend_on_one_another(
    sun, essential, nonessential, bank, boards, grid, engine, levels, order, scales
):
    system = System(
        banks=(bank,), boards=dict(zip(("essential", "nonessential"), boards, strict=True)),
        shedding=Shedding(off_frac=levels[0], on_frac=levels[1]), grid=grid, generator=engine,
        architecture=Architecture(order=order),
    )  # fmt: skip
    arrays, banks = zip(*scales, strict=True)
    found, alone = _both_loops(system, *_series(sun, essential, nonessential), arrays, banks)
    np.testing.assert_array_equal(found, alone)


# --- the same rules in a plain loop


def test_a_bank_too_cold_all_year_gives_nothing():
    n = 48
    bank = _bank(n, capacity_factor=np.zeros(n))
    run = simulate(*_series(np.zeros(n), 300.0), System(banks=(bank,), boards=BOARDS,
                                                        shedding=SHED))  # fmt: skip
    assert (run.hours["discharge_w"] == 0.0).all()
    assert run.hours_without_supply("essential") == n


def _compare_with_plain(system, sun, loads):
    """One pass of every bank from full, hour by hour; rounding may grow over a year, a little."""
    taken = np.zeros(len(sun))
    parts = islands_of(sun, loads, system)
    for bank, (_, island, series) in zip(system.banks, parts, strict=True):
        hours = _passes(island, series, taken)
        rows = np.array(_plain(bank, island, series, system, taken), float)
        mine = hours[["essential_supplied_w", "nonessential_supplied_w", "solar_curtailed_w",
                      "discharge_w",
                      "charge_w", "fuel_l"]].to_numpy()  # fmt: skip
        bought = hours[[f"grid_to_{to}_w" for to in ("essential", "nonessential",
                                                     "charge")]].sum(axis=1)
        size = 1e-9 * np.maximum(_size(hours).to_numpy(), bank.capacity_wh)
        assert (np.abs(rows[:, :6] - mine).max(axis=1) <= size).all()
        assert (np.abs(rows[:, 6] - bought) <= size).all()
        assert (rows[:, 7] == hours["generator_on"]).all()
        assert (np.abs(rows[:, 8] - hours["stored_wh"]) <= size).all()
        taken = bought.to_numpy()


def _plain(bank, island, series, system, taken):
    grid = SimpleNamespace(**vars(system.grid), taken=taken) if system.grid else None
    full, c = island.capacity_wh, island.first_frac
    rows, _ = PLAIN["run_year"](
        PLAIN["Bank"](bank), series[:, 0].tolist(), (series[:, 1].tolist(), series[:, 2].tolist()),
        ((island.essential_efficiency, island.essential_no_load_w),
         (island.nonessential_efficiency, island.nonessential_no_load_w)),
        (system.shedding.off_frac, system.shedding.on_frac),
        (island.grid_first, island.charger_efficiency, island.charger_w),
        grid, system.generator if island.generator_w > 0.0 else None,
        (c * full, (1.0 - c) * full, False),
    )  # fmt: skip
    return rows


@pytest.mark.parametrize("kind", KINDS)
def test_a_year_is_that_of_the_plain_loop(kind):
    sun, loads = _invented_year(seed=5)
    _compare_with_plain(_systems(len(sun))[kind], sun, loads)


# --- the two wells


def _wells_by_integration(bank, q1, q2, drawn_w):
    """Manwell and McGowan's two equations, integrated: k' flows by the difference of levels."""
    c, k = bank.available_frac, bank.exchange_per_h
    conductance = k * c * (1.0 - c)

    def rates(_, q):
        flow = conductance * (q[1] / (1.0 - c) - q[0] / c)
        return [-drawn_w + flow, -flow]

    return solve_ivp(rates, (0.0, 1.0), [q1, q2], rtol=1e-12, atol=1e-9, method="DOP853",
                     dense_output=True)  # fmt: skip


@settings(deadline=None, max_examples=60)
@given(c=some.floats(0.05, 0.95), k=some.floats(1e-3, 6.0), levels=some.tuples(_FRAC, _FRAC),
       drawn=some.floats(-3000.0, 3000.0))  # fmt: skip
def test_closed_step_is_the_integral(c, k, levels, drawn):
    bank = _bank(1, available_frac=c, exchange_per_h=k)
    levels = [level if level > 1e-9 else 0.0 for level in levels]  # the integrator divides by them
    q1, q2 = levels[0] * c * 10000.0, levels[1] * (1.0 - c) * 10000.0
    keep, gain, give = well_step(bank)
    path = _wells_by_integration(bank, q1, q2, drawn)
    after = keep * q1 + gain * (q1 + q2) - give * drawn
    assert after == pytest.approx(path.y[0, -1], abs=1e-6)
    assert q1 + q2 - drawn == pytest.approx(path.y.sum(axis=0)[-1], abs=1e-6)


@settings(deadline=None, max_examples=40)
@given(c=some.floats(0.1, 0.9), k=some.floats(1e-2, 5.0), level=some.floats(0.05, 0.95))
def test_largest_powers_empty_or_fill_the_well_at_the_hours_end_and_not_before(c, k, level):
    bank = _bank(1, available_frac=c, exchange_per_h=k)
    q1, q2 = level * c * 10000.0, level * (1.0 - c) * 10000.0
    keep, gain, give = well_step(bank)
    relaxed = keep * q1 + gain * (q1 + q2)
    moments = np.linspace(0.0, 1.0, 101)
    most = relaxed / give
    inside = _wells_by_integration(bank, q1, q2, most).sol(moments)[0]
    assert inside.min() == pytest.approx(0.0, abs=1e-5)
    assert inside.argmin() == 100
    most = (relaxed - c * 10000.0) / give
    inside = _wells_by_integration(bank, q1, q2, most).sol(moments)[0]
    assert inside.max() == pytest.approx(c * 10000.0, abs=1e-5)


def test_one_well_is_a_plain_tank():
    assert well_step(_one_tank(1)) == pytest.approx((np.exp(-1.0), 1.0 - np.exp(-1.0), 1.0))


def test_a_fast_draw_finds_less_and_rest_gives_some_back():
    # All night at full draw until nothing comes, ten hours of rest, then again.
    load = np.r_[np.full(10, 4000.0), np.zeros(10), np.full(4, 4000.0)]
    bank = _bank(24, min_soc_frac=0.0, self_discharge_frac_per_h=0.0, exchange_per_h=0.1,
                 discharge_efficiency_frac=1.0)  # fmt: skip
    system = System(banks=(bank,), boards=BARE_BOARDS, shedding=SHED)
    sun = np.zeros(24)
    sun[10:20] = 0.0
    run = _from_full(sun, load, system)
    first, second = run["discharge_w"][:10].sum(), run["discharge_w"][20:].sum()
    assert run["discharge_w"][9] < 1000.0 < run["discharge_w"][0]
    assert 6000.0 < first < 9000.0  # the well, and what flows after
    assert run["discharge_w"][20] > 1.5 * run["discharge_w"][9]
    assert first + second < 10000.0


def _from_full(sun, load, system):
    """One pass from a full bank, by the compiled loop, without closing the year."""
    (_, island, series), = islands_of(*_series(sun, load), system)
    return _passes(island, series, np.zeros(len(sun)))


def _passes(island, series, taken):
    from solarcalc.supply import kernels

    full, c = island.capacity_wh, island.first_frac
    out = np.empty((len(series), len(FLOWS)))
    kernels.written_year(island, series, (c * full, (1.0 - c) * full, 0.0), taken, out)
    return pd.DataFrame(out, columns=list(FLOWS))


def test_cold_takes_the_usable_charge_from_the_bottom():
    # hand: 10 kWh, reserve 0.2, factor 0.75: usable 6 kWh, so 4 kWh stays.
    bank = _one_tank(24, min_soc_frac=0.2, capacity_factor=np.full(24, 0.75))
    system = System(banks=(bank,), boards=BARE_BOARDS, shedding=SHED)
    run = _from_full(np.zeros(24), np.full(24, 500.0), system)
    assert run["discharge_w"].sum() == pytest.approx(6000.0)
    assert run["stored_wh"].iloc[-1] == pytest.approx(4000.0)


def test_acceptance_tapers_the_charge():
    # hand: 8 kWh missing at ln(4/3) a hour: a quarter of what is missing goes in each hour,
    # 2000 W, then 0.25 (8000 - 2000) = 1500 W, 1125 W ...
    bank = _one_tank(30, acceptance_per_h=np.log(4.0 / 3.0))
    system = System(banks=(bank,), boards=BARE_BOARDS, shedding=SHED)
    load = np.r_[np.full(8, 1000.0), np.zeros(22)]
    run = _from_full(np.r_[np.zeros(8), np.full(22, 5000.0)], load, system)
    np.testing.assert_allclose(run["charge_w"][8:11], [2000.0, 1500.0, 1125.0])


# --- order of use, by hand


def test_weak_grid_first_keeps_the_battery_and_battery_first_spends_it():
    n = 24
    present = np.r_[np.ones(12), np.zeros(12)]
    for order, grid_wh, drawn_wh in (("sun-battery-grid", 0.0, 9600.0),
                                     ("sun-grid-battery", 4800.0, 4800.0)):  # fmt: skip
        system = System(
            banks=(_one_tank(n),), boards=BARE_BOARDS, shedding=SHED, grid=_grid(present),
            architecture=Architecture(order=order),
        )  # fmt: skip
        run = _from_full(np.zeros(n), np.full(n, 400.0), system)
        assert run["grid_to_essential_w"].sum() == pytest.approx(grid_wh)
        assert run["discharge_w"].sum() == pytest.approx(drawn_wh)


def test_grid_serves_its_share_of_an_hour_it_is_there_for_in_part():
    system = System(banks=(_one_tank(4),), boards=BARE_BOARDS, shedding=SHED,
                    grid=_grid([0.25, 0.5, 1.0, 0.0]),
                    architecture=Architecture(order="sun-grid-battery"))  # fmt: skip
    run = _from_full(np.full(4, 100.0), np.full(4, 500.0), system)
    np.testing.assert_allclose(run["grid_to_essential_w"], [100.0, 200.0, 400.0, 0.0])
    np.testing.assert_allclose(run["discharge_w"], [300.0, 200.0, 0.0, 400.0])


def test_grid_charges_up_to_its_level_and_no_further():
    # hand: 10 kWh full, 6 h of 1 kW leave 4 kWh; grid of 1.5 kW with a charger of 0.8 gives
    # 1.2 kWh an hour; the level of 0.6 is 2 kWh away: 1.2 and 0.8 kWh, then nothing.
    n = 12
    system = System(
        banks=(_one_tank(n),), boards=BARE_BOARDS, shedding=SHED,
        grid=_grid(np.r_[np.zeros(6), np.ones(6)], below=0.6),
        architecture=Architecture(charger_efficiency_frac=0.8),
    )  # fmt: skip
    run = _from_full(np.zeros(n), np.r_[np.full(6, 1000.0), np.zeros(6)], system)
    np.testing.assert_allclose(run["charge_w"][6:10], [1200.0, 800.0, 0.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(run["grid_to_charge_w"][6:8], [1500.0, 1000.0])
    assert run["stored_wh"].iloc[-1] == pytest.approx(6000.0)


def test_a_charger_takes_no_more_than_its_power():
    # hand: as above, but a charger that takes 500 W of the grid's 1.5 kW: 400 W come in for 5 h;
    # with the generator of 4 kW, which serves 1 kW, the same charger brings in 400 W as well
    system = System(
        banks=(_one_tank(12),), boards=BARE_BOARDS, shedding=SHED,
        grid=_grid(np.r_[np.zeros(6), np.ones(6)], below=0.6),
        architecture=Architecture(charger_efficiency_frac=0.8, charger_power_w=500.0),
    )  # fmt: skip
    run = _from_full(np.zeros(12), np.r_[np.full(6, 1000.0), np.zeros(6)], system)
    np.testing.assert_allclose(run["charge_w"][6:12], [400.0, 400.0, 400.0, 400.0, 400.0, 0.0],
                               atol=1e-9)  # fmt: skip
    driven = System(banks=(_one_tank(12),), boards=BARE_BOARDS, shedding=SHED,
                    generator=replace(ENGINE, power_w=4000.0, start_frac=0.3),
                    architecture=system.architecture)  # fmt: skip
    run = _from_full(np.zeros(12), np.full(12, 1000.0), driven)
    assert run["generator_on"].any()
    assert run["generator_to_charge_w"].max() == pytest.approx(500.0)


@pytest.mark.parametrize(("charger_w", "limit_w", "rating_w", "from_grid_w", "from_engine_w"), [
    (1000.0, 3000.0, 2000.0, 500.0, 500.0),  # the charger: half an hour of it, and what is left
    (1000.0, 600.0, 2000.0, 300.0, 700.0),  # the grid: 600 W for half an hour
    (1000.0, 3000.0, 400.0, 500.0, 400.0),  # the generator: 100 W of the charger stay idle
])  # fmt: skip
def test_grid_and_generator_share_the_charger_by_their_limits(
    charger_w, limit_w, rating_w, from_grid_w, from_engine_w
):
    # hand: 10 kWh less 7 h of 1 kW start the set; then no load, the grid is there for half of the
    # hour and charges first, as far as it goes; of both 0.8 reach the bank.
    system = System(
        banks=(_one_tank(8),), boards=BARE_BOARDS, shedding=SHED,
        generator=replace(ENGINE, power_w=rating_w, start_frac=0.3),
        grid=_grid(np.r_[np.zeros(7), 0.5], limit_w=limit_w, below=0.9),
        architecture=Architecture(charger_efficiency_frac=0.8, charger_power_w=charger_w),
    )  # fmt: skip
    last = _from_full(np.zeros(8), np.r_[np.full(7, 1000.0), 0.0], system).iloc[-1]
    assert last["generator_on"] == 1.0
    assert last["grid_to_charge_w"] == pytest.approx(from_grid_w)
    assert last["generator_to_charge_w"] == pytest.approx(from_engine_w)
    assert last["charge_w"] == pytest.approx(0.8 * (from_grid_w + from_engine_w))


def test_generator_starts_and_stops_at_its_levels_and_burns_by_its_line():
    # hand: 1 kW from 10 kWh; after 7 h 3 kWh is the start level; then 4 kW serve 1 kW and charge
    # 3 kW: 6 kWh, 9 kWh, which is past 0.8 after two hours, so it stands in the third.
    engine = replace(ENGINE, power_w=4000.0, start_frac=0.3)
    system = System(banks=(_one_tank(12),), boards=BARE_BOARDS, shedding=SHED, generator=engine,
                    architecture=Architecture(charger_efficiency_frac=1.0))  # fmt: skip
    run = _from_full(np.zeros(12), np.full(12, 1000.0), system)
    assert run["generator_on"].tolist() == [0.0] * 7 + [1.0] * 2 + [0.0] * 3
    np.testing.assert_allclose(run["fuel_l"][7:9], 0.4 + 0.28 * 4.0)
    np.testing.assert_allclose(run["generator_to_charge_w"][7:9], 3000.0)


def test_generator_starts_for_a_dark_essential_board_and_burns_at_least_its_least_load():
    # A full bank that may give 100 W only, and takes none: the generator carries 300 W beside it.
    engine = replace(ENGINE, power_w=2000.0, start_frac=0.1)
    bank = _one_tank(3, max_discharge_w=100.0, max_charge_w=0.0)
    system = System(banks=(bank,), boards=BARE_BOARDS, shedding=SHED, generator=engine)
    run = _from_full(np.zeros(3), np.full(3, 300.0), system)
    assert (run["generator_on"] == 1.0).all()
    np.testing.assert_allclose(run["generator_to_essential_w"], 300.0)
    np.testing.assert_allclose(run["fuel_l"], 0.4 + 0.28 * 0.6)


def test_one_inverter_serves_the_nonessential_board_with_what_its_rating_leaves():
    boards = {"essential": Board(rating_w=1500.0, efficiency_frac=0.9, no_load_w=10.0),
              "nonessential": BARE}  # fmt: skip
    system = System(banks=(_one_tank(3),), boards=boards, shedding=SHED,
                    architecture=Architecture(layout="one-inverter"))  # fmt: skip
    run = simulate(*_series(5000.0, [600.0, 1600.0, 0.0], [1000.0, 500.0, 900.0]), system)
    np.testing.assert_allclose(run.hours["essential_supplied_w"], [600.0, 1500.0, 0.0])
    np.testing.assert_allclose(run.hours["nonessential_supplied_w"], [900.0, 0.0, 900.0])
    np.testing.assert_allclose(run.hours["essential_drawn_w"] + run.hours["nonessential_drawn_w"],
                               [1500.0 / 0.9 + 10.0, 1500.0 / 0.9 + 10.0, 1010.0])  # fmt: skip


def test_separate_banks_are_two_systems_that_share_the_grid():
    n = 24
    sun, loads = _series(np.r_[np.zeros(12), np.full(12, 900.0)], 300.0, 500.0)
    banks = (_bank(n), _bank(n, capacity_wh=4000.0))
    plan = Architecture(layout="separate-banks", order="sun-grid-battery", essential_array_frac=0.6)
    system = System(banks=banks, boards=BOARDS, shedding=SHED, architecture=plan,
                    grid=_grid(np.ones(n), limit_w=600.0))  # fmt: skip
    run = simulate(sun, loads, system)
    alone = simulate(0.6 * sun, loads.assign(nonessential=0.0), replace(
        system, banks=banks[:1], architecture=replace(plan, layout="shared-bank"),
        boards=BOARDS | {"nonessential": replace(BARE, no_load_w=0.0)},
    ))  # fmt: skip
    np.testing.assert_allclose(run.banks["essential"]["stored_wh"], alone.hours["stored_wh"])
    used = run.hours[["grid_to_essential_w", "grid_to_nonessential_w",
                      "grid_to_charge_w"]].sum(axis=1)
    assert used.max() == pytest.approx(600.0)
    assert set(run.banks) == {"essential", "nonessential"}


# --- never better than an optimal plan


def _least_dark_wh(sun, load, bank, q0, n):
    """Least unmet energy of one tank over the hours, any plan, by linear programme (HiGHS).

    Variables of each hour: served by sun, by store, charged; sun is split, stored energy stays
    between reserve and full.
    """
    eta_in, eta_out = bank.charge_efficiency_frac, bank.discharge_efficiency_frac
    keep = 1.0 - bank.self_discharge_frac_per_h
    rows, right = [], []

    def row(values, limit):
        rows.append(values)
        right.append(limit)

    for h in range(n):
        one = np.zeros((3, n))
        one[0, h] = one[2, h] = 1.0
        row(one.ravel(), sun[h])
        one = np.zeros((3, n))
        one[0, h] = one[1, h] = 1.0
        row(one.ravel(), load[h])
        decay = keep ** np.arange(h, -1, -1.0)
        change = np.zeros((3, n))
        change[1, : h + 1], change[2, : h + 1] = -decay / eta_out, decay * eta_in
        start = q0 * keep ** (h + 1.0)
        row(change.ravel(), bank.capacity_wh - start)
        row(-change.ravel(), start - bank.min_soc_frac * bank.capacity_wh)
    bounds = [(0.0, None)] * n + [(0.0, bank.max_discharge_w)] * n + [(0.0, bank.max_charge_w)] * n
    wish = np.concatenate([-np.ones(2 * n), np.zeros(n)])
    best = linprog(wish, A_ub=np.array(rows), b_ub=right, bounds=bounds, method="highs")
    assert best.status == 0
    return load.sum() + best.fun


@pytest.mark.parametrize("seed", range(6))
def test_essential_board_alone_is_served_as_well_as_any_plan_can(seed):
    # With one board, one tank and no levels a watt saved is worth no more later than now.
    n, draw = 72, np.random.default_rng(seed)
    hour = np.arange(n) % 24
    sun = draw.uniform(0.2, 1.0, n) * 2500.0 * np.clip(np.sin((hour - 6) / 12 * np.pi), 0.0, None)
    load = draw.uniform(100.0, 900.0, n)
    leak = seed % 2  # with it no reserve: leaking below one is no plan
    bank = _one_tank(n, capacity_wh=6000.0, min_soc_frac=0.2 * (1 - leak),
                     charge_efficiency_frac=0.9, discharge_efficiency_frac=0.93,
                     max_charge_w=1200.0, max_discharge_w=700.0,
                     self_discharge_frac_per_h=1e-3 * leak)  # fmt: skip
    system = System(banks=(bank,), boards=BARE_BOARDS, shedding=SHED)
    run = _from_full(sun, load, system)
    dark = (run["essential_load_w"] - run["essential_supplied_w"]).sum()
    best = _least_dark_wh(sun, load, bank, 6000.0, n)
    assert dark > 100.0
    assert dark >= best - 1e-6
    assert dark == pytest.approx(best, abs=1e-6 * load.sum())


@pytest.mark.parametrize("seed", range(6))
def test_two_boards_and_two_wells_are_never_better_than_the_bound(seed):
    # The bound knows the future, has one tank, no taper, no idle draw, and any order of boards.
    n, draw = 72, np.random.default_rng(100 + seed)
    hour = np.arange(n) % 24
    sun = draw.uniform(0.2, 1.0, n) * 2500.0 * np.clip(np.sin((hour - 6) / 12 * np.pi), 0.0, None)
    essential, nonessential = draw.uniform(100.0, 700.0, n), draw.uniform(0.0, 900.0, n)
    bank = _bank(n, capacity_wh=6000.0, min_soc_frac=0.2, self_discharge_frac_per_h=0.0)
    system = System(banks=(bank,), boards=BARE_BOARDS, shedding=SHED)
    (_, island, series), = islands_of(*_series(sun, essential, nonessential), system)
    run = _passes(island, series, np.zeros(n))
    dark_both = essential.sum() + nonessential.sum() - run[["essential_supplied_w",
                                                            "nonessential_supplied_w"]].sum(
        axis=None)  # fmt: skip
    dark = essential.sum() - run["essential_supplied_w"].sum()
    assert dark >= _least_dark_wh(sun, essential, bank, 6000.0, n) - 1e-6
    assert dark_both >= _least_dark_wh(sun, essential + nonessential, bank, 6000.0, n) - 1e-6


# --- sums of the year


def test_spells_and_months():
    sun, loads = _invented_year()
    run = simulate(sun, loads, _systems(len(sun))["generator"])
    dark = (run.not_supplied_w("nonessential") > 0.5).to_numpy()
    runs = [sum(1 for _ in group) for on, group in itertools.groupby(np.r_[dark, dark]) if on]
    assert run.longest_without_supply_h("nonessential") == max(runs)
    months = energy_by_month_kwh(energy_w(run, "available"))
    assert len(months) == 12
    assert months.to_numpy().sum() == pytest.approx(sun.sum() / 1000.0)
    assert energy_kwh(run, "demand") == pytest.approx(loads.to_numpy().sum() / 1000.0)
    for whole, parts in (
        ("demand", ("supplied", "not_supplied")),
        ("available", ("used", "curtailed")),
        ("supplied", ("essential_supplied", "nonessential_supplied")),
    ):
        together = sum(energy_kwh(run, part) for part in parts)
        assert energy_kwh(run, whole) == pytest.approx(together)
    assert 0.0 < reaching_frac(run) < 1.0


# --- bad input


@pytest.mark.parametrize("bad", [-1.0, float("nan"), float("inf")])
@pytest.mark.parametrize("which", ["solar_w", "essential", "nonessential"])
def test_bad_values_name_the_series_and_the_hour(bad, which):
    series = {"solar_w": np.ones(24), "essential": np.ones(24), "nonessential": np.ones(24)}
    series[which][7] = bad
    with pytest.raises(InputError, match=f"{which}, hour 2001-01-01 07:00") as caught:
        simulate(*_series(*series.values()), _systems(24)["alone"])
    assert caught.value.faults[0].given == str(bad)


def test_series_that_do_not_fit_one_another():
    sun, loads = _series(np.ones(24), np.ones(24))
    for given_sun, given_loads, words in (
        (sun, loads[:20], "20 hours, not those of solar_w"),
        (sun[:0], loads[:0], "one hour or more"),
        (sun, loads[["essential"]], "a column 'nonessential'"),
        (sun[:20], loads[:20], "20 hours, as solar_w"),
    ):
        with pytest.raises(InputError, match=words):
            simulate(given_sun, given_loads, _systems(24)["grid"])


BAD_SYSTEMS = [
    ({"banks": ()}, "banks"),
    ({"architecture": Architecture(layout="separate-banks")}, "banks"),
    ({"architecture": Architecture(layout="two")}, "supply.layout"),  # type: ignore[arg-type]
    ({"architecture": Architecture(order="sun")}, "supply.order"),  # type: ignore[arg-type]
    ({"architecture": Architecture(essential_array_frac=1.1)}, "supply.essential_array_frac"),
    ({"boards": {"essential": BARE}}, "boards"),
    ({"shedding": Shedding(off_frac=0.5, on_frac=0.5)}, "battery.nonessential_return_frac"),
    ({"shedding": Shedding(off_frac=0.3, on_frac=0.5)}, "battery.nonessential_shed_frac"),
    ({"banks": (_bank(4, exchange_per_h=0.0),)},
     "battery.discharge_capacity_ah (bank 1: exchange_per_h)"),
    ({"banks": (_bank(4, acceptance_per_h=float("nan")),)},
     "battery.chemistry (bank 1: acceptance_per_h)"),
    ({"banks": (_bank(4, capacity_factor=np.array([1.0, 1.0, 1.2, 1.0])),)},
     "battery.room_c (bank 1: capacity_factor), hour 2"),
    ({"grid": _grid([0.0, -0.1, 1.0, 1.0])}, "grid.kind (grid: present_frac), hour 1"),
    ({"generator": replace(ENGINE, stop_frac=0.3)}, "generator.stop_frac"),
    ({"generator": replace(ENGINE, power_w=float("nan"))}, "generator.power_w"),
]  # fmt: skip


@pytest.mark.parametrize("key", sorted(set(KEY_OF.values())))
def test_a_figure_is_told_by_a_key_of_the_site_file(key):
    """The report names the file before it, which it does for keys alone (`stages.kept`)."""
    table, _, name = key.partition(".")
    annotation = Site.model_fields[table].annotation
    assert name in annotation.model_fields


@pytest.mark.parametrize(("change", "where"), BAD_SYSTEMS)
def test_systems_that_cannot_be(change, where):
    sound = {"banks": (_bank(4),), "boards": BOARDS, "shedding": SHED}
    with pytest.raises(InputError) as caught:
        System(**(sound | change))
    assert [fault.where for fault in caught.value.faults] == [where]
