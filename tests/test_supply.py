"""Supply hour by hour: balance, limits, order of service, a closed year and a naive second loop."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.hours import year_hours
from solarcalc.supply.system import Board, Shedding

TANK = runpy.run_path(str(Path(__file__).with_name("one_tank.py")))
Store, simulate_year = TANK["Store"], TANK["simulate_year"]

BALANCE = 1e-9
"""Largest error of the balance in an hour, as a share of what flows or is stored in it."""


def _store(capacity_wh=10000.0, reserve=0.2, charge_rate=0.5, discharge_rate=0.5, loss=0.0,
           eta_in=0.95, eta_out=0.96):  # fmt: skip
    return Store(
        capacity_wh=capacity_wh, voltage_v=48.0, min_soc_wh=reserve * capacity_wh,
        charge_efficiency_frac=eta_in, discharge_efficiency_frac=eta_out,
        max_charge_w=charge_rate * capacity_wh, max_discharge_w=discharge_rate * capacity_wh,
        self_discharge_frac_per_h=loss,
    )  # fmt: skip


PLAIN = Board(rating_w=1e6, efficiency_frac=1.0, no_load_w=0.0)
BOARDS = {
    "essential": Board(rating_w=2000.0, efficiency_frac=0.93, no_load_w=12.0),
    "nonessential": Board(rating_w=3000.0, efficiency_frac=0.92, no_load_w=18.0),
}
SHED = Shedding(off_frac=0.4, on_frac=0.6)


def _run(solar, essential, nonessential=0.0, store=None, boards=None, shed=SHED, n=None):
    n = n or max(np.size(x) for x in (solar, essential, nonessential))
    index = year_hours(2.0)[:n]
    loads = pd.DataFrame(
        {"essential": np.broadcast_to(np.asarray(essential, float), n),
         "nonessential": np.broadcast_to(np.asarray(nonessential, float), n)}, index=index,
    )  # fmt: skip
    sun = pd.Series(np.broadcast_to(np.asarray(solar, float), n), index=index)
    return simulate_year(sun, loads, store or _store(), boards or BOARDS, shed)


def _invented_year(seed=3, days=365):
    """Sun of cloudy and clear days and loads of morning and evening, [W]."""
    draw = np.random.default_rng(seed)
    hour = np.tile(np.arange(24), days)
    clear = np.repeat(draw.beta(2.0, 1.3, days), 24)
    sun = 3500.0 * clear * np.clip(np.sin((hour - 6.0) / 12.0 * np.pi), 0.0, None)
    busy, noon = np.isin(hour, (6, 7, 18, 19, 20, 21)), np.isin(hour, (10, 11, 12, 19))
    essential = 250.0 + 500.0 * busy * draw.uniform(0.6, 1.4, len(hour))
    nonessential = 1400.0 * noon * draw.uniform(0.3, 1.5, len(hour))
    return sun, essential, nonessential


@pytest.fixture(scope="module")
def invented():
    return _run(*_invented_year(), store=_store(loss=4e-5))


def _worst_share(year):
    h = year.hours
    size = h[["solar_w", "discharge_w", "charge_w", "stored_wh"]].max(axis=1).clip(lower=1.0)
    return float((year.balance_error_w() / size).max())


def _check_limits(year, shed, boards):
    h, store = year.hours, year.store
    slack = 1e-9 * store.capacity_wh
    assert (h["stored_wh"] <= store.capacity_wh + slack).all()
    assert (h["stored_wh"] >= -slack).all()
    assert (h["charge_w"] <= store.max_charge_w + slack).all()
    assert (h["discharge_w"] <= store.max_discharge_w + slack).all()
    assert not ((h["charge_w"] > 0.0) & (h["discharge_w"] > 0.0)).any()
    assert (h["solar_used_w"] <= h["solar_w"] + slack).all()
    after = np.append(h["stored_wh"].to_numpy()[1:], year.end_stored_wh)
    drawing = h["discharge_w"].to_numpy() > 0.0
    assert (after[drawing] >= store.min_soc_wh - slack).all()
    # What the sun does not give the nonessential board comes out of the store above its shed level:
    # an hour that ends under that level has drawn for the essential board alone.
    sun_left = (h["solar_w"] - h["essential_drawn_w"]).clip(lower=0.0)
    nonessential_from_store = (h["nonessential_drawn_w"] - sun_left).to_numpy() > 1e-6 + slack
    assert (after[nonessential_from_store] >= shed.off_frac * store.capacity_wh - slack).all()
    assert (h["nonessential_drawn_w"][~h["nonessential_on"]] == 0.0).all()
    for name, board in boards.items():
        served, load = h[f"{name}_served_w"], h[f"{name}_load_w"]
        assert (served <= load.clip(upper=board.rating_w) + slack).all()
        assert (served >= 0.0).all()
        drawn = h[f"{name}_drawn_w"]
        full = served > 0.0
        np.testing.assert_allclose(  # the draw explains the service, idle draw and loss included
            drawn[full], served[full] / board.efficiency_frac + board.no_load_w, rtol=1e-9,
            atol=1e-6
        )


def test_year_balances_and_keeps_its_limits(invented):
    assert _worst_share(invented) < BALANCE
    _check_limits(invented, SHED, BOARDS)
    h, store = invented.hours, invented.store
    lost_in = h["charge_w"].sum() * (1.0 - store.charge_efficiency_frac)
    lost_out = h["discharge_w"].sum() * (1.0 / store.discharge_efficiency_frac - 1.0)
    out = h[["essential_drawn_w", "nonessential_drawn_w", "self_discharge_w"]].sum().sum()
    gained = invented.end_stored_wh - h["stored_wh"].iloc[0]
    energy_in = h["solar_used_w"].sum()
    assert energy_in == pytest.approx(out + lost_in + lost_out + gained, rel=1e-9)


def test_year_closes_on_itself(invented):
    assert abs(invented.closing_gap_frac) < 1e-6
    assert invented.hours_without_supply("essential") > 0  # a year with something in it
    assert invented.hours_without_supply("nonessential") > 0
    assert invented.hours["solar_spilled_w"].sum() > 0.0


_LEVEL = some.floats(0.0, 4000.0)


@settings(deadline=None, max_examples=80)
@given(
    sun=some.lists(_LEVEL, min_size=12, max_size=12),
    essential=some.lists(some.floats(0.0, 3000.0), min_size=12, max_size=12),
    nonessential=some.lists(some.floats(0.0, 4000.0), min_size=12, max_size=12),
    capacity=some.floats(200.0, 50000.0),
    levels=some.tuples(*[some.floats(0.0, 0.95)] * 2, some.floats(0.96, 1.0)),
    rates=some.tuples(some.floats(0.02, 2.0), some.floats(0.02, 3.0)),
    eta=some.tuples(some.floats(0.4, 1.0), some.floats(0.4, 1.0)),
    loss=some.floats(0.0, 0.01),
    idle=some.floats(0.0, 200.0),
)
def test_any_system_balances_and_keeps_its_limits(
    sun, essential, nonessential, capacity, levels, rates, eta, loss, idle
):
    reserve, off = sorted(levels[:2])
    shed = Shedding(off_frac=off, on_frac=levels[2])
    boards = {"essential": replace(BOARDS["essential"], no_load_w=idle),
              "nonessential": BOARDS["nonessential"]}
    store = _store(capacity, reserve, *rates, loss, *eta)
    year = _run(sun, essential, nonessential, store, boards, shed)
    assert _worst_share(year) < BALANCE
    _check_limits(year, shed, boards)
    h = year.hours
    # Critical first: the nonessential board gets nothing from the sun while the essential one is
    # short,
    # and nothing from the store either.
    asked = np.minimum(h["essential_load_w"], 2000.0) / 0.93 + idle
    short = h["essential_drawn_w"] < asked - 1e-6
    assert (h["nonessential_drawn_w"][short] <= 1e-6).all()


def _naive(sun, essential, nonessential, store, boards, shed, start):
    """The same rules once more, in plain words and another order of sums; end of each hour [Wh]."""
    kept, on, served = start, True, []
    levels = []
    for s, c, h in zip(sun, essential, nonessential, strict=True):
        charge = kept / store.capacity_wh
        if on and charge <= shed.off_frac + 1e-9:
            on = False
        elif not on and charge >= shed.on_frac - 1e-9:
            on = True
        kept_after_leak = kept * (1.0 - store.self_discharge_frac_per_h)
        bus, tank_gives = s, 0.0
        got = {}
        for name, load, floor, wanted in (
            ("essential", c, store.min_soc_wh, True),
            ("nonessential", h, shed.off_frac * store.capacity_wh, on),
        ):
            board = boards[name]
            need = min(load,
                       board.rating_w) / board.efficiency_frac + board.no_load_w if wanted else 0
            from_sun = min(bus, need)
            bus -= from_sun
            can = min(
                (kept_after_leak - floor) * store.discharge_efficiency_frac, store.max_discharge_w
            ) - tank_gives
            from_tank = min(need - from_sun, max(can, 0.0))
            tank_gives += from_tank
            got[name] = max(from_sun + from_tank - board.no_load_w, 0.0) * board.efficiency_frac
        kept = kept_after_leak - tank_gives / store.discharge_efficiency_frac
        if tank_gives == 0.0:
            kept += min(
                min(bus, store.max_charge_w) * store.charge_efficiency_frac,
                store.capacity_wh - kept,
            )
        served.append((min(got["essential"], c), min(got["nonessential"], h)))
        levels.append(kept)
    return np.array(levels), np.array(served)


def test_a_naive_loop_gives_the_same_year(invented):
    series = _invented_year()
    start = float(invented.hours["stored_wh"].iloc[0])
    levels, served = _naive(*series, invented.store, BOARDS, SHED, start)
    ours = np.append(invented.hours["stored_wh"].to_numpy()[1:], invented.end_stored_wh)
    assert bool(invented.hours["nonessential_on"].iloc[0])
    np.testing.assert_allclose(levels, ours, rtol=0.0, atol=1e-5)
    np.testing.assert_allclose(
        served, invented.hours[["essential_served_w", "nonessential_served_w"]], rtol=0.0, atol=1e-5
    )


def test_one_hour_by_hand():
    # 1000 W of sun, 93 W critical behind 0.93 and 12 W idle: 112 W. Heavy 460 W behind 0.92 and
    # 18 W idle: 518 W. 370 W are left for a bank with room; full, it takes none.
    year = _run([1000.0] * 3, 93.0, 460.0)
    last = year.hours.iloc[-1]
    assert last["essential_drawn_w"] == pytest.approx(112.0)
    assert last["nonessential_drawn_w"] == pytest.approx(518.0)
    assert (last["essential_served_w"], last["nonessential_served_w"]) == pytest.approx((93.0,
                                                                                         460.0))
    assert last["charge_w"] == 0.0
    assert year.hours["solar_spilled_w"].iloc[-1] == pytest.approx(370.0)


def test_no_sun_at_all_empties_to_the_reserve_and_stays_dark():
    year = _run(np.zeros(240), 100.0, 0.0, boards={"essential": PLAIN, "nonessential": PLAIN})
    assert year.hours_without_supply("essential") == 240
    assert year.longest_without_supply_h("essential") == 240
    assert year.state_of_charge.max() == pytest.approx(0.2)
    assert abs(year.closing_gap_frac) < 1e-6


def test_no_load_keeps_the_bank_full_and_throws_the_sun_away():
    year = _run(np.full(240, 500.0), 0.0, 0.0, boards={"essential": PLAIN, "nonessential": PLAIN})
    assert (year.state_of_charge == 1.0).all()
    assert year.hours["solar_spilled_w"].sum() == pytest.approx(240 * 500.0)
    assert year.hours_without_supply("essential") == 0
    assert year.longest_without_supply_h("nonessential") == 0


def test_idle_inverters_draw_without_a_load():
    year = _run(np.zeros(48), 0.0, 0.0)
    assert year.hours_without_supply("essential") == 0
    assert year.state_of_charge.to_numpy() == pytest.approx(np.full(48, 0.2), abs=1e-5)
    assert (year.hours["essential_drawn_w"] <= 12.0 + 1e-9).all()
    full = _run(np.full(48, 200.0), 0.0, 0.0)
    assert (full.hours["essential_drawn_w"] == 12.0).all()
    assert (full.hours["nonessential_drawn_w"] == 18.0).all()
    assert (full.hours[["essential_served_w", "nonessential_served_w"]] == 0.0).all().all()


def test_huge_bank_with_enough_sun_never_goes_dark():
    sun, essential, nonessential = _invented_year()
    year = _run(2.0 * sun, essential, 0.3 * nonessential, store=_store(1e6))
    assert year.hours_without_supply("essential") == 0
    assert year.hours_without_supply("nonessential") == 0
    assert abs(year.closing_gap_frac) < 1e-6


def test_a_year_that_cannot_settle_says_so():
    # A bank of a hundred thousand times a day, losing a little every year: no guess of the first
    # charge is hidden, the gap shows.
    year = _run(np.zeros(24), 100.0, store=_store(1e8),
                boards={"essential": PLAIN, "nonessential": PLAIN})  # fmt: skip
    assert -1e-4 < year.closing_gap_frac < 0.0
    assert year.closing_gap_frac * 1e8 == pytest.approx(-2400.0 / 0.96, rel=1e-6)


def test_shed_level_is_met_exactly_whatever_the_rounding():
    # The nonessential board runs the bank down to its level; the hour after it waits.
    for capacity in (9999.9, 10000.0, 12345.678):
        year = _run(np.r_[np.zeros(30), np.full(30, 4000.0)], 0.0, 700.0,
                    store=_store(capacity), boards={"essential": PLAIN,
                                                    "nonessential": PLAIN})  # fmt: skip
        at_level = np.isclose(year.state_of_charge, SHED.off_frac, rtol=0.0, atol=1e-9)
        assert at_level.any()
        assert not year.hours["nonessential_on"][at_level].any()


def test_nonessential_board_returns_only_at_the_higher_level():
    year = _run(np.r_[np.zeros(20), np.full(40, 1500.0)], 0.0, 900.0,
                boards={"essential": PLAIN, "nonessential": PLAIN})  # fmt: skip
    charge, on = year.state_of_charge.to_numpy(), year.hours["nonessential_on"].to_numpy()
    back = np.flatnonzero(on[1:] & ~on[:-1]) + 1
    assert len(back) >= 1
    assert (charge[back] >= SHED.on_frac - 1e-9).all()
    assert (charge[back - 1] < SHED.on_frac).all()


def test_load_above_the_inverter_is_served_up_to_its_rating():
    year = _run(np.full(24, 9000.0), 2500.0, 0.0)
    assert (year.hours["essential_served_w"] == 2000.0).all()
    assert year.hours_without_supply("essential") == 24


@pytest.mark.parametrize("bad", [-1.0, float("nan"), float("inf")])
@pytest.mark.parametrize("which", ["solar_w", "essential", "nonessential"])
def test_bad_values_name_the_series_and_the_hour(bad, which):
    series = {"solar_w": np.ones(24), "essential": np.ones(24), "nonessential": np.ones(24)}
    series[which][7] = bad
    with pytest.raises(InputError, match=f"{which}, hour 2001-01-01 07:00") as caught:
        _run(*series.values())
    assert caught.value.faults[0].given == str(bad)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_more_battery_never_darkens_the_essential_board_alone(seed):
    # Without a nonessential board the reserve is a share of the bank, so a larger one also keeps
    # more
    # back; what it keeps is at most what it adds. Measured over these years: never darker.
    sun, essential, _ = _invented_year(seed)
    dark = [
        _run(0.55 * sun, essential, 0.0, store=_store(wh)).hours_without_supply("essential")
        for wh in (3000.0, 6000.0, 9000.0, 15000.0, 25000.0)
    ]
    assert dark == sorted(dark, reverse=True)
    assert dark[0] > dark[-1]


def test_with_a_nonessential_board_more_battery_can_cost_the_essential_board_an_hour():
    # Shedding works by levels: the larger bank has the nonessential board back earlier, and the
    # critical
    # board finds less an hour later. Found by trying 6000 invented days; 13 were of this kind.
    sun = np.zeros(24)
    sun[[1, 7, 17, 20]], sun[[4, 10]], sun[[2, 11, 14, 19, 21]] = 3000.0, 1500.0, 500.0
    essential = np.full(24, 100.0)
    essential[[1, 2, 3, 6, 10, 16, 17, 19, 21, 22, 23]] = 400.0
    nonessential = np.zeros(24)
    nonessential[[4, 8, 12, 16, 17, 18, 19, 20, 22]] = 1500.0
    plain = {"essential": PLAIN, "nonessential": PLAIN}
    small, large = (
        _run(sun, essential, nonessential, boards=plain,
             store=_store(wh, charge_rate=5.0, discharge_rate=5.0))
        for wh in (671.59, 949.166)
    )  # fmt: skip
    assert small.hours_without_supply("essential") == 3
    assert large.hours_without_supply("essential") == 4


@pytest.mark.parametrize("sun_share", [0.5, 0.7])
def test_over_a_year_more_battery_still_helps_both_boards(sun_share):
    # What holds over years of the usual kind, in steps of 2 kWh: 8 invented years at 4 sizes of
    # array gave no darker essential board with a larger bank.
    sun, essential, nonessential = _invented_year(2)
    dark = [
        _run(sun_share * sun, essential, nonessential, store=_store(wh))
        .hours_without_supply("essential")
        for wh in np.linspace(4000.0, 24000.0, 6)
    ]
    assert dark == sorted(dark, reverse=True)


@pytest.mark.parametrize("seed", [4, 5])
def test_more_sun_never_darkens_the_essential_board_alone(seed):
    sun, essential, _ = _invented_year(seed)
    dark = [_run(k * sun, essential, 0.0).hours_without_supply("essential")
            for k in (0.4, 0.7, 1.0, 1.5)]  # fmt: skip
    assert dark == sorted(dark, reverse=True)
