"""What grid and fuel cost by a tariff, against a utility's printed bills, and what must hold."""

from __future__ import annotations

import math
import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.hours import year_hours
from solarcalc.design import open_design
from solarcalc.quote.tariff import fed_in, grid_bill
from solarcalc.sitefile.quote import Quote
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.tariff import Band, Tariff
from solarcalc.supply.energy import energy_kwh, energy_w
from solarcalc.supply.engine import NO_ENGINE, running_of
from solarcalc.views.battery import flows_by_month

_SITE = runpy.run_path(str(Path(__file__).with_name("test_sitefile.py")))
BASE, put, faults = (_SITE[name] for name in ("BASE", "put", "faults"))
YEAR = year_hours(2.0)
MONTH = YEAR.month.to_numpy()


def _use(kwh_a_month: float = 300.0, seed: int = 1) -> pd.Series:
    """A year whose months use the same, at uneven hours."""
    dice = pd.Series(np.random.default_rng(seed).random(len(YEAR)), index=YEAR)
    return dice / dice.groupby(MONTH).transform("sum") * kwh_a_month


def _quote(bands: list[Band], **keys) -> Quote:
    return Quote(tariff=Tariff(bands=bands, **keys))


@pytest.mark.published("quote/tariff.toml")
def test_a_utilitys_printed_bills(case):
    prices = [price + case["power_per_kwh"] for price in case["per_kwh"]]
    quote = _quote([Band(name="month", block_kwh=case["block_kwh"], per_kwh=prices)],
                   fixed_per_month=case["fixed_per_month"], tax_frac=case["tax_frac"])  # fmt: skip
    bill = grid_bill(_use(case["kwh"]), quote)
    within = case["tolerance"]
    np.testing.assert_allclose(bill.by_month, case["total"], rtol=0.0, atol=within)
    np.testing.assert_allclose(bill.by_month - bill.tax, case["untaxed"], rtol=0.0, atol=within)


def test_seasons_of_a_utility_stand_in_one_tariff():
    """Winter and summer of the same utility, each month by its own blocks."""
    summer = [6, 7, 8, 9]
    bands = [
        Band(name="winter", months=[month for month in range(1, 13) if month not in summer],
             block_kwh=[250.0, 700.0], per_kwh=[0.149, 0.134, 0.1296]),
        Band(name="summer", months=summer, block_kwh=[250.0, 700.0, 1250.0],
             per_kwh=[0.149, 0.134, 0.1325, 0.1296]),
    ]  # fmt: skip
    use = _use() * np.where(np.isin(MONTH, summer), 2000.0, 1200.0) / 300.0
    bill = grid_bill(use, _quote(bands, fixed_per_month=7.5, tax_frac=0.01))
    wanted = [277.88 if month in summer else 171.55 for month in range(1, 13)]
    np.testing.assert_allclose(bill.by_month, wanted, rtol=0.0, atol=0.0051)


def test_hours_by_hand():
    """hand: 1 kWh at 17:00 to 22:00 at 0.40 on weekdays, else 0.10; 2001 begins on a Monday."""
    bands = [
        Band(name="peak", days="weekdays", hours=["17:00-22:00"], per_kwh=[0.4]),
        Band(name="rest", days="weekdays", hours=["00:00-17:00", "22:00-24:00"], per_kwh=[0.1]),
        Band(name="weekend", days="weekends", per_kwh=[0.1]),
    ]
    bill = grid_bill(pd.Series(1.0, index=YEAR), _quote(bands))
    first = bill.energy.reshape(365, 24)
    assert first[0].sum() == pytest.approx(5 * 0.4 + 19 * 0.1)
    assert first[5].sum() == pytest.approx(2.4)
    # hand: January 2001 has 23 weekdays: 23 x 5 x 0.3 above 744 x 0.1
    assert bill.by_month[0] == pytest.approx(744 * 0.1 + 23 * 5 * 0.3)


def test_prepaid_purchases_by_hand():
    """hand: 30 a month in purchases of 20 at 0.5: 2 in the first month, 1 in the second, ..."""
    quote = Quote(grid_tariff_per_kwh=0.1, tariff=Tariff(topup_credit=20.0, topup_charge=0.5))
    bill = grid_bill(_use(300.0), quote)
    np.testing.assert_allclose(bill.topups, [1.0, 0.5] * 6)
    np.testing.assert_allclose(bill.by_month, [31.0, 30.5] * 6)


prices = some.floats(0.0, 5.0).map(lambda price: round(price, 4))


@some.composite
def rising_tariffs(draw: some.DrawFn) -> Quote:
    """Two seasons, peak hours on some days, blocks whose prices never fall."""
    turn, start, end = draw(some.integers(1, 11)), *sorted(draw(
        some.lists(some.integers(1, 23), min_size=2, max_size=2, unique=True)))  # fmt: skip
    ends = sorted(draw(some.lists(some.integers(1, 900), max_size=3, unique=True)))
    peak, rest = [f"{start:02d}:00-{end:02d}:30"], [f"00:00-{start:02d}:00", f"{end:02d}:30-24:00"]

    def band(name: str, months: range, days: str, hours: list[str]) -> Band:
        steps = draw(some.lists(prices, min_size=len(ends) + 1, max_size=len(ends) + 1))
        return Band(name=name, months=list(months), days=days, hours=hours,
                    block_kwh=[float(one) for one in ends], per_kwh=sorted(steps))  # fmt: skip

    first, second = range(1, turn + 1), range(turn + 1, 13)
    return Quote(tariff=Tariff(
        bands=[band("first", first, "all", ["00:00-24:00"]),
               band("peak", second, "weekdays", peak), band("rest", second, "weekdays", rest),
               band("weekend", second, "weekends", ["00:00-24:00"])],
        fixed_per_month=draw(prices), tax_frac=draw(some.floats(0.0, 0.5)),
        topup_credit=draw(some.none() | some.floats(1.0, 500.0)), topup_charge=draw(prices),
    ))  # fmt: skip


@given(rising_tariffs(), some.floats(0.0, 2000.0), some.integers(0, 9))
@settings(max_examples=40, deadline=None)
def test_the_bill_balances_hour_by_hour(quote, kwh, seed):
    use = _use(kwh, seed)
    bill = grid_bill(use, quote)
    assert (bill.block_kwh >= -1e-9).all()
    np.testing.assert_allclose(bill.block_kwh.sum(axis=1), use, rtol=0.0, atol=1e-9)
    by_month = [bill.block_kwh[month == MONTH].sum(axis=0) for month in range(1, 13)]
    ends = np.diff([0.0, *quote.tariff.bands[0].block_kwh, math.inf])
    for blocks in by_month:  # no block above its end, and none begun before the last is full
        filled = np.minimum(ends, np.maximum(kwh - np.cumsum([0.0, *ends[:-1]]), 0.0))
        np.testing.assert_allclose(blocks, filled, rtol=0.0, atol=1e-6)
    parts = bill.energy.sum() + bill.fixed.sum() + bill.tax.sum() + bill.topups.sum()
    assert bill.total == pytest.approx(parts, rel=1e-9, abs=1e-9)


@given(rising_tariffs(), some.floats(0.0, 1500.0), some.integers(0, 8759), some.floats(0.0, 50.0))
@settings(max_examples=60, deadline=None)
def test_the_bill_never_falls_with_use(quote, kwh, hour, more_kwh):
    use = _use(kwh)
    more = use.copy()
    more.iloc[hour] += more_kwh
    assert grid_bill(more, quote).total >= grid_bill(use, quote).total - 1e-6


@given(prices, some.integers(1, 11), some.integers(1, 23), some.floats(0.0, 2000.0),
       some.floats(1.0, 500.0))  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_equal_seasons_bands_and_blocks_are_the_flat_price(price, turn, hour, kwh, end_kwh):
    use = _use(kwh)
    flat = grid_bill(use, Quote(grid_tariff_per_kwh=price))
    assert flat.total == pytest.approx(price * 12.0 * kwh, rel=1e-9, abs=1e-9)
    clock = f"{hour:02d}:15"
    same = _quote([
        Band(name="first", months=list(range(1, turn + 1)), hours=[f"00:00-{clock}"],
             per_kwh=[price]),
        Band(name="late", months=list(range(1, turn + 1)), hours=[f"{clock}-24:00"],
             per_kwh=[price]),
        Band(name="second", months=list(range(turn + 1, 13)), block_kwh=[end_kwh],
             per_kwh=[price, price]),
    ])  # fmt: skip
    np.testing.assert_allclose(grid_bill(use, same).by_month, flat.by_month, rtol=1e-9, atol=1e-9)
    assert same.grid_price_per_kwh == pytest.approx(price)


@pytest.mark.parametrize("site", ["coral-pharmacy", "ridge-clinic"])
def test_a_single_price_costs_what_the_sums_by_hand_say(site):
    """hand: shares times prices, and the year's kWh and litres times theirs."""
    design = open_design(site)
    quote, year = design.site.quote, design.supply
    share = design.site.today_generator_frac
    today = (1.0 - share) * quote.grid_tariff_per_kwh + (
        share * quote.fuel_price_per_l * quote.replaced_fuel_l_per_kwh)  # fmt: skip
    fuel_l = (running_of(year) or NO_ENGINE).fuel_l
    bought = (energy_kwh(year, "grid") * quote.grid_tariff_per_kwh
              + fuel_l * quote.fuel_price_per_l)  # fmt: skip
    plan = design.economics.plan
    assert plan.today_per_kwh == pytest.approx(today, rel=1e-9)
    assert plan.bought_per_year == pytest.approx(bought, rel=1e-9, abs=1e-9)


@pytest.mark.parametrize(("grid", "given", "share"), [
    ("none", None, 1.0), ("always", None, 0.5), ("none", 0.3, 0.3), ("always", 0.3, 0.3),
])  # fmt: skip
def test_without_a_grid_all_of_today_comes_from_a_generator(grid, given, share):
    changes = {"grid": {"kind": grid}}
    if given is not None:
        changes["quote"] = {"replaced_generator_frac": given}
    design = open_design("orchard-shop", changes)
    quote = design.site.quote
    assert design.site.today_generator_frac == share
    assert design.economics.plan.today_per_kwh == pytest.approx(
        (1.0 - share) * quote.grid_tariff_per_kwh
        + share * quote.fuel_price_per_l * quote.replaced_fuel_l_per_kwh)  # fmt: skip


def test_a_dearer_tariff_makes_the_same_system_worth_more():
    base = open_design("coral-pharmacy")
    dear = base.changed({"quote": {"tariff": {"bands": [
        {"name": "blocks", "block_kwh": [50.0, 150.0], "per_kwh": [0.3, 0.4, 0.8]}]}}})
    assert dear.economics.plan.today_per_kwh > base.economics.plan.today_per_kwh
    assert dear.economics.npv > base.economics.npv
    assert dear.economics.cost_per_kwh_supplied > base.economics.cost_per_kwh_supplied
    assert dear.year_energy.supplied_kwh == base.year_energy.supplied_kwh


def test_fed_in_is_part_of_what_is_curtailed_and_within_the_limit():
    base = open_design("coral-pharmacy")
    design = base.changed({"quote": {"tariff": {
        "feed_in_per_kwh": 0.05, "feed_in_limit_w": 1500.0}}})  # fmt: skip
    series = fed_in(design.site, design.supply)
    curtailed = energy_w(design.supply, "curtailed") / 1000.0
    assert 0.0 < series.sum() < curtailed.sum()
    assert (series <= curtailed + 1e-9).all()
    assert series.max() <= 1.5
    present = np.asarray(design.supply.system.grid.present_frac)
    assert (series[present == 0.0] == 0.0).all()
    paid = base.economics.plan.bought_per_year - design.economics.plan.bought_per_year
    assert paid == pytest.approx(0.05 * series.sum())
    assert fed_in(base.site, base.supply).sum() == 0.0


BAND = '[[quote.tariff.bands]]\nname = "A"\n'


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (BAND + 'hours = ["00:00-17:00"]\nper_kwh = [0.1]', "weekdays of Jan from 17:00"),
        (BAND + "months = [1]\nper_kwh = [0.1]", "no price on weekdays of Feb from 00:00"),
        (BAND + "per_kwh = [0.1]\n" + BAND + 'days = "weekends"\nper_kwh = [0.1]',
         "two prices on weekends of Jan from 00:00"),
        (BAND + "block_kwh = [10.0]\nper_kwh = [0.1]", "one price a block: 2"),
        (BAND + "block_kwh = [10.0, 5.0]\nper_kwh = [0.1, 0.2, 0.3]", "each above the one before"),
        (BAND + "per_kwh = [-0.1]", "prices from 0"),
        (BAND + 'hours = ["00:00-12:00"]\nblock_kwh = [9.0]\nper_kwh = [0.2, 0.1]\n' + BAND
         + 'hours = ["12:00-24:00"]\nper_kwh = [0.1]', "stay or rise from block to block"),
    ],
)  # fmt: skip
def test_a_bad_tariff_is_named(tmp_path, text, match):
    with pytest.raises(InputError, match=match):
        read_site(put(tmp_path, BASE + "\n" + text + "\n"))


def test_blocks_that_fall_are_sound_where_the_band_is_the_whole_month(tmp_path):
    read_site(put(tmp_path, BASE + "\n" + BAND + "block_kwh = [9.0]\nper_kwh = [0.2, 0.1]\n"))


def test_the_table_by_month_adds_up_to_the_cash_flow():
    from solarcalc.views.quote import energy_bill_rows

    design = open_design("coral-pharmacy")
    *months, year = energy_bill_rows(design)
    plan = design.economics.plan
    for name in list(year)[1:]:
        assert year[name] == pytest.approx(sum(one[name] for one in months), abs=0.1)
    assert year["saved [USD]"] == pytest.approx(
        plan.today_per_kwh * plan.supplied_kwh_per_year - plan.bought_per_year, abs=0.01)


SITES = runpy.run_path(str(Path(__file__).with_name("site_files.py")))
FEW = settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))


@FEW
@given(SITES["site_changes"](), prices, some.floats(1.0, 400.0))
def test_any_site_pays_the_same_by_a_price_and_by_equal_blocks_and_no_less_by_dearer_ones(
    changes, price, end_kwh
):
    def bills(tariff: dict) -> tuple[float, float]:
        found = base.changed({"quote": {"tariff": tariff}}).bills
        assert (found.today_by_month >= -1e-9).all()
        return found.today_by_month.sum(), found.bought_per_year

    def blocks(second: float) -> dict:
        return {"bands": [{"name": "all", "block_kwh": [end_kwh], "per_kwh": [price, second]}]}

    quote = {**changes.get("quote", {}), "grid_tariff_per_kwh": price}
    try:
        base = open_design(SITES["_base"](), {**changes, "quote": quote})
        base.supply  # noqa: B018  worked out once, for all tariffs
    except InputError:
        return
    flat = bills({})
    assert bills(blocks(price)) == pytest.approx(flat, rel=1e-9, abs=1e-9)
    for dearer in (bills(blocks(2.0 * price)), bills({"fixed_per_month": 3.0}),
                   bills({"tax_frac": 0.2})):
        assert all(one >= other - 1e-9 for one, other in zip(dearer, flat, strict=True))
    fed = bills({"feed_in_per_kwh": 0.1, "feed_in_limit_w": 5000.0})
    assert fed[0] == pytest.approx(flat[0])
    assert fed[1] <= flat[1] + 1e-9


@pytest.mark.parametrize("limit_w", [0.0, 200.0, 1e5])
def test_what_is_fed_in_is_told_apart_from_what_is_curtailed(limit_w: float) -> None:
    """Fed in, at the battery's bar, and curtailed are what the battery did not take."""
    base = open_design(demo_sites()["ridge-clinic"]).changed({"grid": {"kind": "always"}})
    design = base.changed({"quote": {"tariff": {"feed_in_limit_w": limit_w}}})
    energy, plain = design.year_energy, base.year_energy
    least = min(one.efficiency_frac for one in design.site.inverters.values())
    at_bus_kwh = energy.fed_in_kwh / least
    assert energy.curtailed_kwh + at_bus_kwh == pytest.approx(plain.curtailed_kwh, abs=1e-6)
    assert sum(energy.by_reason_kwh.values()) == pytest.approx(energy.curtailed_kwh, abs=1e-6)
    assert energy.fed_in_kwh <= limit_w * 8.76 + 1e-9
    assert (energy.fed_in_kwh > 0.0) == (limit_w > 0.0)
    assert ("fed into the grid" in energy.words) == (limit_w > 0.0)
    months = flows_by_month(design)
    assert months["curtailed_kwh"].sum() == pytest.approx(energy.curtailed_kwh, abs=1e-6)
    assert ("fed_in_kwh" in months) == (limit_w > 0.0)
