"""What is counted from the site file is counted once: bank, array, inverters, sources."""

from __future__ import annotations

import pytest

from solarcalc.basis.files import demo_sites
from solarcalc.sitefile.generator import Generator
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.supply import Grid

SITE = read_site(demo_sites()["ridge-clinic"]).site


def _with(table: str, **changes: object) -> Site:
    return SITE.model_copy(update={table: getattr(SITE, table).model_copy(update=changes)})


def test_a_bank_of_two_strings_by_hand():
    """Hand: 2 strings of 4 units of 12 V, 100 Ah are 48 V, 200 Ah, 9.6 kWh."""
    battery = _with(
        "battery", unit_voltage_v=12.0, unit_capacity_ah=100.0, units_in_series=4,
        units_in_parallel=2,
    ).battery  # fmt: skip
    assert (battery.unit_count, battery.unit_wh) == (8, 1200.0)
    assert (battery.nominal_voltage_v, battery.rated_ah, battery.rated_wh) == (48.0, 200.0, 9600.0)


@pytest.mark.parametrize(("units", "share", "essential"), [(4, 0.5, 2), (3, 0.5, 2), (5, 0.3, 2)])
def test_separate_banks_share_out_every_unit_and_no_other(units, share, essential):
    site = _with("battery", units_in_parallel=units)
    supply = site.supply.model_copy(
        update={"layout": "separate-banks", "essential_bank_frac": share}
    )
    banks = site.model_copy(update={"supply": supply}).banks
    assert {board: bank.units_in_parallel for board, bank in banks.items()} == {
        "essential": essential, "nonessential": units - essential,
    }  # fmt: skip
    assert {bank.nominal_voltage_v for bank in banks.values()} == {site.battery.nominal_voltage_v}


def test_one_inverter_serves_both_boards():
    site = _with("supply", layout="one-inverter")
    assert list(site.inverters) == ["essential"]
    assert site.inverter_of("nonessential") is site.inverter.essential
    both = _with("supply", layout="shared-bank")
    assert list(both.inverters) == ["essential", "nonessential"]
    assert both.inverter_of("nonessential") is both.inverter.nonessential


def test_array_by_hand():
    """Hand: 14 modules of 400 W, 7 in series, are 2 strings and 5.6 kW."""
    site = _with("array", module_count=14, modules_in_series=7)
    site = site.model_copy(update={"module": site.module.model_copy(update={"pmax_w": 400.0})})
    assert (site.array.string_count, site.array_w) == (2, 5600.0)


def test_what_is_there():
    assert [Grid().there, Grid(kind="timetable").there] == [False, True]
    assert [Generator().there, Generator(power_w=100.0).there] == [False, True]
