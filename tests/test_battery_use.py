"""A bank that is used so that no years can be told of it: what is printed, and what money takes."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.stages import battery_life
from solarcalc.views.battery import life_table


@pytest.fixture(scope="module")
def starved():
    """A lead-acid bank with next to no array."""
    site = open_design(demo_sites()["plateau-school"])
    bank, charge = site.supply.system.banks[0], site.supply.banks["shared"].copy()
    charge["stored_wh"] = 0.9 * bank.capacity_wh
    year = SimpleNamespace(system=site.supply.system, banks={"shared": charge})
    return site, year


def test_years_are_told_only_of_a_bank_that_is_full_now_and_then(starved):
    site, year = starved
    years = battery_life.shortest_years(site.life)
    assert battery_life.told_years(site, site.supply, years) == years
    assert battery_life.said_years(site, site.supply, years) == round(years, 1)
    assert battery_life.told_years(site, year, years) is None
    assert battery_life.said_years(site, year, years) == "not as it is used: it is never full"
    assert site.economics.plan.battery_years == years
    assert "not as" not in str(life_table(site))


def test_a_check_names_the_cause(starved):
    site, year = starved
    found = [check for check in battery_life.life_checks(site, year, site.life)
             if check.item == "Years of the bank: how it is used"]  # fmt: skip
    assert [check.outcome for check in found] == ["review"]
    assert found[0].found == "it is never full"
