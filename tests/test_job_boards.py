"""The boards of a job: loads, banks, low sun, sizes, the book, life and what would change them."""

from __future__ import annotations

import runpy
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.battery.existing import existing_table
from solarcalc.design import open_design
from solarcalc.sitefile.loads import BOARDS
from solarcalc.stages.boards import (
    banks_of,
    board_checks,
    daily_energy_wh,
    loads_of,
    supply_system,
)
from solarcalc.stages.worksheet import sizing_input
from solarcalc.views import battery_tried
from solarcalc.views.battery import (
    bank_inputs,
    day_kinds_of,
    existing_judgements,
    flow_table,
    life_table,
    peak_table,
    phase_rows,
    wiring_rows,
    wiring_words,
    worksheet_rows,
)
from solarcalc.views.battery_tried import (
    LOW_DAYS,
    hardest_day,
    low_irradiance_sentence,
    low_irradiance_table,
    what_would_change_the_supply,
    why_no_years,
)

CASES = runpy.run_path(str(Path(__file__).with_name("design_cases.py")))
with_stages = CASES["with_stages"]


@pytest.fixture(scope="module")
def school():
    return open_design(Path(__file__).with_name("frozen") / "plateau-school.toml")


@pytest.fixture(scope="module")
def harvest(school):
    return school.energy


@pytest.fixture(scope="module")
def year(school, harvest):
    return school.supply


@pytest.fixture(scope="module")
def table(school, harvest):
    return battery_tried.size_table(school)


def test_the_year_balances_and_closes(year):
    throughput = float(year.hours[["charge_w", "discharge_w"]].to_numpy().max())
    assert year.balance_error_w().max() <= 1e-9 * throughput
    assert abs(year.closing_gap_frac) < 1e-5


def test_loads_are_those_of_the_lists(school):
    loads = loads_of(school)
    for board in BOARDS:
        assert loads[board].sum() / 365.0 == pytest.approx(daily_energy_wh(school, board))


def test_two_banks_share_the_units(school):
    apart = school.changed(
        {"supply": {"layout": "separate-banks", "essential_bank_frac": 1.0 / 3.0}}
    )
    essential, nonessential = banks_of(apart)
    (shared,) = banks_of(school)
    assert essential.capacity_wh == pytest.approx(shared.capacity_wh / 3.0)
    assert essential.capacity_wh + nonessential.capacity_wh == pytest.approx(shared.capacity_wh)
    run = apart.supply
    assert set(run.banks) == {"essential", "nonessential"}
    assert run.balance_error_w().max() < 1e-5
    assert len(life_table(apart)) == 2 * len(life_table(
        school))  # fmt: skip


def test_units_that_cannot_be_shared_are_refused(school):
    with pytest.raises(InputError, match="essential_bank_frac"):
        school.changed({"supply": {"layout": "separate-banks", "essential_bank_frac": 0.5}})


def test_a_low_irradiance_week_is_the_year_with_that_week_dimmed(school, harvest, year):
    rows = low_irradiance_table(school)
    first = hardest_day(year)
    daily = year.state_of_charge.to_numpy().reshape(-1, 24).mean(axis=1)
    weeks = [daily[n : n + LOW_DAYS].mean() for n in range(len(daily) - LOW_DAYS + 1)]
    assert first == int(np.argmin(weeks))
    dark = [row["essential loads without supply [h/year]"] for row in rows]
    assert dark[0] == year.hours_without_supply("essential")
    assert dark == sorted(dark)
    assert rows[-1]["lowest state of charge [%]"] <= rows[0]["lowest state of charge [%]"]
    hours = harvest.hours.copy()
    hours.iloc[24 * first : 24 * (first + 7), hours.columns.get_loc("bus_w")] *= 0.3
    by_hand = with_stages(school, energy=replace(harvest, hours=hours)).supply
    hours_without = rows[2]["essential loads without supply [h/year]"]
    assert hours_without == by_hand.hours_without_supply("essential")
    assert str(dark[1] - dark[0]) in low_irradiance_sentence(rows)


def test_a_size_is_the_year_of_that_size(school, harvest, table):
    array, bank, module = school.site.array, school.site.battery, school.site.module
    own_strings = array.module_count // array.modules_in_series
    unit_kwh = bank.unit_voltage_v * bank.unit_capacity_ah / 1000.0
    for strings, units in ((3, 3), (5, 2)):
        line = table[(table["strings"] == strings) & (table["units"] == units)].iloc[0]
        tried = school.changed({"battery": {"units_in_parallel": units}})
        hours = harvest.hours.assign(bus_w=harvest.hours["bus_w"] * strings / own_strings)
        run = with_stages(tried, energy=replace(harvest, hours=hours)).supply
        assert line["essential_without_supply_h"] == run.hours_without_supply("essential")
        assert line["nonessential_without_supply_h"] == run.hours_without_supply("nonessential")
        assert line["bank_kwh"] == pytest.approx(units * bank.units_in_series * unit_kwh)
        assert line["array_kwp"] == pytest.approx(
            strings * array.modules_in_series * module.pmax_w / 1000.0
        )


def test_smallest_and_front_by_brute_force(school, table):
    best = battery_tried.smallest(table, allowed_without_supply_h=0.0)
    dark_free = table[table["essential_without_supply_h"] == 0.0]
    assert best["cost"] == dark_free["cost"].min()
    front = battery_tried.front_of_sizes(table)
    for _, line in front.iterrows():
        better = (table["cost"] <= line["cost"]) & (
            table["essential_without_supply_h"] <= line["essential_without_supply_h"]
        )
        strictly = (table["cost"] < line["cost"]) | (
            table["essential_without_supply_h"] < line["essential_without_supply_h"]
        )
        assert not (better & strictly).any()
    costs = school.site.costs
    own = battery_tried.own_line(school, table)
    bank = school.site.battery
    units = bank.units_in_series * bank.units_in_parallel
    expected = school.site.array.module_count * costs.per_module
    expected += units * costs.per_battery_unit + costs.fixed
    assert own["cost"] == pytest.approx(expected)
    assert f"{best['bank_kwh']:.1f} kWh" in battery_tried.sizes_sentence(
        school, table, allowed_without_supply_h=0.0
    )
    none_meets = table.assign(essential_without_supply_h=1 + table["essential_without_supply_h"])
    assert battery_tried.smallest(none_meets, allowed_without_supply_h=0.0) is None
    said = battery_tried.sizes_sentence(school, none_meets, allowed_without_supply_h=0.0)
    assert "None of the" in said


def test_no_size_is_tried_that_the_roof_does_not_hold(school):
    """Counted off the roof: the larger of the two counts of the orientation."""
    held = max(way.most_count for way in school.orientation.ways.values())
    own, series = school.site.array.string_count, school.site.array.modules_in_series
    table = battery_tried.size_table(school)
    assert table["strings"].max() * series <= max(held, own * series)
    said = battery_tried.sizes_sentence(school, table, allowed_without_supply_h=0.0)
    assert ("modules that this roof holds" in said) == (held >= own * series)


def test_what_the_book_is_filled_in_with(school, harvest):
    figures = sizing_input(school, harvest, school.room_year.battery_c)
    assert figures.bank_voltage_v == 48.0
    assert figures.daily_load_wh == pytest.approx(
        sum(daily_energy_wh(school, board) for board in BOARDS), rel=1e-6
    )  # every day alike
    light = harvest.by_month()["plane_kwh_m2"].to_numpy()
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    assert figures.sun_hours_h_per_day == pytest.approx(float((light / days).min()))
    assert figures.lowest_temp_c >= school.room_year.battery_c.min()
    sheet = school.worksheet.sheet
    assert len(worksheet_rows(school)) == len(sheet.lines)


def test_a_warm_room_shortens_the_life(school, harvest, year):
    life = school.life["shared"].life
    warm = school.changed({"battery": {"room_c": 35.0}})
    hot, room = warm.life["shared"].life, warm.life["shared"].place
    assert hot.years < life.years
    assert room.years_lost > 0.0
    rows = {row["changed parameter"]: row for row in what_would_change_the_supply(
        school)}  # fmt: skip
    assert rows["warm battery room, 35 °C"]["battery service life [years]"] == pytest.approx(
        hot.years, abs=0.05)
    first = rows["as designed"]
    assert (
        rows["one PV string more"]["essential loads without supply [h/year]"]
        <= (first["essential loads without supply [h/year]"])
    )
    assert rows["one battery string fewer"]["lowest state of charge [%]"] < first[
        "lowest state of charge [%]"]
    weak = rows["grid available half of the time"]
    share = "non-essential energy not supplied [%]"
    assert weak[share] < first[share]


@pytest.mark.parametrize("name", ["coral-pharmacy", "cove-cannery", "orchard-shop"])
def test_every_demo_site_can_be_changed_one_thing_at_a_time(name):
    this = open_design(name)
    rows = what_would_change_the_supply(this)
    assert len(rows) >= 7
    years = [row["battery service life [years]"] for row in rows]
    assert all(one == "not stated" or one > 0.0 for one in years)
    why = why_no_years(this)
    told = [name for one in why for name in one.rpartition(": ")[2].removesuffix(".").split(", ")]
    without = [row["changed parameter"] for row, one in zip(rows, years, strict=True)
               if one == "not stated"]  # fmt: skip
    assert sorted(", ".join(told).split(", ")) == sorted(", ".join(without).split(", "))
    assert len({one.partition(": ")[0] for one in why}) == len(why)  # each cause once


def test_what_is_existing_is_judged(school, harvest):
    (checked,) = existing_judgements(school)
    assert checked.choice in ("keep", "other board", "replace", "test first")
    assert checked.choice == "replace"  # 71 % of its rating left, under the 80 % of end of life
    assert len(existing_table([checked])) == 1
    assert existing_judgements(open_design("ridge-clinic")) == []


def test_grid_of_a_site_serves_and_is_told(school):
    coral = open_design("coral-pharmacy")
    system = supply_system(coral)
    away = 24.0 * (1.0 - float(system.grid.present_frac.mean()))
    assert away == pytest.approx(10.0, abs=0.2)
    flows = flow_table(coral)
    assert "grid [kWh]" in flows.columns
    assert "grid [kWh]" not in flow_table(school).columns
    assert isinstance(flows, pd.DataFrame)


def test_peaks_and_kinds_of_day(school):
    rows = {row["board"]: row for row in peak_table(school)}
    # 10 computers of 45 W, the fridge of 100 W, the router of 15 W: all at once from 08:00.
    assert rows["essential loads"]["maximum coincident demand [W]"] == pytest.approx(565.0)
    assert rows["non-essential loads"]["maximum coincident demand [W]"] == pytest.approx(1100.0)
    assert len(day_kinds_of(school)) == 1
    assert phase_rows(school) == []
    two = school.changed({"loads": {"phases": 2}})
    assert len({row["board"] for row in phase_rows(two)}) == len(BOARDS)


def test_bank_is_told_with_its_links(school):
    rows = {row["Quantity"]: row["Value"] for row in wiring_rows(school)}
    bank = school.site.battery
    links = (bank.units_in_series - 1) * bank.units_in_parallel
    assert rows["Monoblocs or modules"] == bank.units_in_series * bank.units_in_parallel
    assert rows["Inter-unit connectors in series"] == links
    assert wiring_words(school)
    inputs = {row["Quantity"]: row["Value"] for row in bank_inputs(school)}
    assert inputs["Grid"] == "none"


def test_the_maker_s_own_life_table_is_used(school, harvest, year):
    sheet = {"life_depth_frac": [0.3, 0.8], "life_cycles": [6000.0, 2000.0], "life_years": 18.0}
    better = school.changed({"battery": sheet})
    usual, own = (one.life["shared"].life for one in (school, better))
    assert own.calendar_years == pytest.approx(usual.calendar_years * 18.0 / 12.0)
    assert own.cycle_years > usual.cycle_years


@pytest.mark.parametrize(
    ("keys", "match"),
    [
        ({"life_depth_frac": [0.5], "life_cycles": [900.0]}, "two or more numbers"),
        ({"life_depth_frac": [0.5, 0.3], "life_cycles": [900.0, 400.0]}, "rising"),
        ({"life_depth_frac": [0.3, 0.5], "life_cycles": [900.0]}, "as many numbers"),
        ({"life_depth_frac": [0.3, 0.5], "life_cycles": [400.0, 900.0]}, "each below the one"),
    ],
)
def test_life_tables_that_are_none(school, keys, match):
    with pytest.raises(InputError, match=match):
        school.changed({"battery": keys})


def test_phases_are_judged_where_there_are_any(school, year):
    items = [check.item for check in board_checks(school, year)]
    two = school.changed({"loads": {"phases": 2}})
    more = [check.item for check in board_checks(two, year)]
    assert len(more) > len(items)
