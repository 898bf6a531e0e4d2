"""How the banks of sites are used: years told or withheld, one temperature, all flows counted."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from solarcalc.basis.files import demo_sites
from solarcalc.battery.bank import wells_of
from solarcalc.design import open_design
from solarcalc.quote.economics import Plan, economics_of
from solarcalc.stages import battery_life
from solarcalc.variants import figures_of
from solarcalc.views import battery, earthing, quote
from solarcalc.views.battery import flow_table, life_table
from solarcalc.views.electrical import places_of

PLAN = Plan(
    first_price=10000.0, supplied_kwh_per_year=4000.0, generated_kwh_per_year=5200.0,
    ageing_frac=0.005, lifetime_years=20.0, interest_frac=0.08, maintenance_per_year=100.0,
    bought_per_year=50.0, today_per_kwh=0.4, price_escalation_frac=0.03, battery_price=3000.0,
    battery_years=9.3,
)  # fmt: skip


@pytest.fixture(scope="module")
def starved():
    """A lead-acid bank with next to no array."""
    site = open_design(demo_sites()["plateau-school"])
    bank, charge = site.supply.system.banks[0], site.supply.banks["shared"].copy()
    charge["stored_wh"] = 0.9 * bank.capacity_wh
    return site, SimpleNamespace(system=site.supply.system, banks={"shared": charge})


def test_years_are_told_only_of_a_bank_that_is_full_now_and_then(starved):
    site, year = starved
    well, ill = site.life, battery_life.lives_of(site, year, site.room_year.battery_c)
    years = well["shared"].life.years
    assert battery_life.told_years(well) == years
    assert battery_life.said_years(well) == round(years, 1)
    assert battery_life.told_years(ill) is None
    assert battery_life.said_years(ill) == "not stated for this use: it is never fully charged"
    assert site.economics.plan.battery_years == years
    assert "not as" not in str(life_table(site))


def test_every_year_and_cost_of_a_misused_bank_is_withheld(starved):
    site, year = starved
    lives = battery_life.lives_of(site, year, site.room_year.battery_c)
    rows = life_table(SimpleNamespace(site=site.site, life=lives))
    withheld = [row for row in rows if str(row["Value"]).startswith("not stated for this use")]
    assert [row["Unit"] for row in withheld] == [""] * len(lives)
    assert not {row["Unit"] for row in rows} & {"years", f"{site.site.costs.currency}/year"}


def test_a_source_that_is_not_there_has_no_column():
    heads = list(flow_table(open_design("coral-pharmacy")))
    assert "grid [kWh]" in heads
    assert "generator [kWh]" not in heads


def test_what_a_room_costs_has_a_sign_and_no_exponent(starved):
    site, _ = starved
    name, one = next(iter(site.life.items()))
    costs = {-204.4: "−204", 1023.0: "+1023", 0.0: "0", -10280.0: "−10\u202f280"}
    for penalty, said in costs.items():
        place = replace(one.place, yearly_cost=1023.4, yearly_penalty=penalty)
        rows = life_table(SimpleNamespace(site=site.site, life={name: replace(one, place=place)}))
        told = [str(row["Value"]) for row in rows
                if row["Unit"] == f"{site.site.costs.currency}/year"]
        assert told == ["1023", said]


def test_of_two_banks_each_has_its_own_cause(starved):
    site, year = starved
    good = site.supply.banks["shared"]
    both = SimpleNamespace(
        system=SimpleNamespace(banks=(*site.supply.system.banks, *year.system.banks)),
        banks={"essential": good, "nonessential": year.banks["shared"]},
    )
    lives = battery_life.lives_of(site, both, site.room_year.battery_c)
    assert [one.cause for one in lives.values()] == ["", "it is never fully charged"]
    assert battery_life.said_years(lives) == lives["nonessential"].said_years
    assert isinstance(lives["essential"].said_years, float)


def test_a_check_names_the_cause(starved):
    site, year = starved
    lives = battery_life.lives_of(site, year, site.room_year.battery_c)
    checks = battery_life.life_checks(site, year, lives)
    found = [one for one in checks if one.item == "Operating conditions for battery life"]
    assert [check.outcome for check in found] == ["review"]
    assert found[0].found == "it is never fully charged"
    assert not [one for one in checks if "years lost" in one.unit], "no years of a misused bank"


def test_a_bank_of_acid_freezes_where_its_place_does():
    site = open_design(demo_sites()["cove-cannery"])
    frost = np.full(8760, -60.0)
    lives = battery_life.lives_of(site, site.supply, frost)
    assert battery_life.said_years(lives) == "not stated for this use: it freezes"


@pytest.mark.parametrize("stem", sorted(demo_sites()))
def test_no_paper_tells_years_of_a_bank_whose_check_of_sulphation_fails(stem):
    """One answer in the workbook, the report's alternatives, comparisons and the money."""
    site = open_design(demo_sites()[stem])
    checks = {one.item: one for one in battery_life.life_checks(site, site.supply, site.life)}
    seldom_full = [one for item, one in checks.items()
                   if "sulphation" in item and one.outcome == "failed"]  # fmt: skip
    use, plan = checks["Operating conditions for battery life"], site.economics.plan
    said = battery.values(site)["battery_service_life_years"]
    if not seldom_full:
        assert use.found == "within limits"
        assert isinstance(said, float)
        assert plan.battery_years == figures_of(site).battery_years == plan.bank_years
        return
    assert use.outcome != "passed"
    assert use.found.startswith("it is not fully charged for")
    assert said == f"not stated for this use: {use.found}"
    assert said in earthing.battery_years_rows(site)[0].values()
    assert plan.battery_years is figures_of(site).battery_years is None
    assert plan.bank_years <= site.life["shared"].life.years
    assert f"({use.found}): a replacement is assumed every" in quote.answer(site)


@given(wear=some.floats(0.25, 30.0))
def test_misuse_never_lengthens_what_money_counts(wear):
    used = replace(PLAN, battery_years=wear, battery_worn_years=wear)
    misused = replace(used, battery_years=None, battery_cause="it freezes")
    assert misused.bank_years <= used.bank_years
    assert economics_of(misused).npv <= economics_of(used).npv


@pytest.mark.parametrize("stem", sorted(demo_sites()))
def test_every_paper_says_the_same_warmth_of_the_batteries(stem):
    whole = open_design(demo_sites()[stem])
    compared = {one.name: one.room_hottest_c for one in places_of(whole)}
    said_the_same(whole)
    for place in whole.site.places[:1]:
        there = whole.changed({"room": {"place": place.name}})
        said_the_same(there)
        assert compared[place.name] == there.room_year.battery_c.max()


def said_the_same(site):
    """Every mean and hottest temperature of the batteries that a design prints is one series'."""
    series = site.room_year.battery_c
    mean, hottest = f"{series.mean():.1f}", f"{series.max():.1f}"
    values = earthing.values(site)
    assert f"{values['battery_mean_c']:.1f}" == mean
    assert f"{values['battery_hottest_c']:.1f}" == hottest
    rows = {row["Quantity"]: row["Value"] for row in site.room.rows}
    assert rows["battery temperature, annual mean"] == mean
    assert rows["battery temperature, maximum hourly"] == hottest
    said = [row["Value"] for row in life_table(site)
            if "mean battery temperature" in str(row["Quantity"])]
    assert said == [mean] * len(site.life)
    assert site.room.year.battery_c is series


@pytest.mark.parametrize("stem", sorted(demo_sites()))
def test_cycles_times_depth_is_what_goes_through_the_bank(stem):
    """Counted ranges against the mean of what is stored and what is taken, by the flows."""
    site = open_design(demo_sites()[stem])
    battery = site.site.battery
    for bank, (name, hours) in zip(
        site.supply.system.banks, site.supply.banks.items(), strict=True
    ):
        stored = float(hours["charge_w"].sum()) * bank.charge_efficiency_frac
        taken = float(hours["discharge_w"].sum()) / bank.discharge_efficiency_frac
        taken += float(hours["self_discharge_w"].sum())
        rated_wh = bank.capacity_wh * battery.rated_ah / wells_of(battery).capacity_ah
        counted_wh = site.life[name].life.full_depth_cycles_per_year * rated_wh
        assert counted_wh == pytest.approx((stored + taken) / 2.0, rel=0.01)


def test_charge_and_discharge_of_one_hour_are_both_counted():
    """A bank at rest by its hourly charge that gives and gets back a tenth in every hour."""
    site = open_design(demo_sites()["orchard-shop"])
    (bank,), hours = site.supply.system.banks, site.supply.banks["shared"].copy()
    bank = replace(bank, discharge_efficiency_frac=1.0)
    hours["stored_wh"] = bank.capacity_wh
    hours["discharge_w"] = 0.1 * bank.capacity_wh
    year = SimpleNamespace(system=SimpleNamespace(banks=(bank,)), banks={"shared": hours})
    life = battery_life.lives_of(site, year, site.room_year.battery_c)["shared"].life
    rated = site.site.battery.rated_ah / wells_of(site.site.battery).capacity_ah
    assert life.full_depth_cycles_per_year == pytest.approx(876.0 / rated, rel=0.001)
