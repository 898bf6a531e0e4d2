"""When the grid is there, and what a site file may say of grid, generator and layout."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.hours import year_hours
from solarcalc.battery.bank import Bank
from solarcalc.design import open_design
from solarcalc.sitefile.generator import Generator
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.supply import Grid, GridDays, Supply
from solarcalc.supply.site import grid_checks, grid_present_frac, random_presence, system_of

_SITE = runpy.run_path(str(Path(__file__).with_name("test_sitefile.py")))
BASE, put, only, faults = (_SITE[name] for name in ("BASE", "put", "only", "faults"))
YEAR = year_hours(2.0)


# --- presence


def test_none_and_always():
    assert (grid_present_frac(Grid(), YEAR) == 0.0).all()
    assert (grid_present_frac(Grid(kind="always"), YEAR) == 1.0).all()


def _table(**days):
    rows = [GridDays(days=name, present=spans) for name, spans in days.items()]
    return Grid(kind="timetable", timetable=rows)


def test_timetable_by_kind_of_day():
    # hand: 2001 begins on a Monday; the sixth day is a Saturday.
    grid = _table(weekdays=["06:00-09:00", "17:30-24:00"], weekends=["00:00-24:00"])
    present = grid_present_frac(grid, YEAR).reshape(365, 24)
    weekday = np.r_[np.zeros(6), np.ones(3), np.zeros(8), 0.5, np.ones(6)]
    for day in range(14):
        np.testing.assert_allclose(present[day], np.ones(24) if day % 7 >= 5 else weekday)


def test_timetable_on_a_clock_of_half_hours_and_over_midnight():
    # hand: hours labelled at half past; that of 23:30 has half of each day.
    index = YEAR.shift(30, freq="min")
    present = grid_present_frac(_table(weekdays=["06:00-09:00"], weekends=["00:00-24:00"]), index)
    np.testing.assert_allclose(present[4:10], [0.0, 0.5, 1.0, 1.0, 0.5, 0.0])
    friday_night, sunday_night = 4 * 24 + 23, 6 * 24 + 23
    assert (present[friday_night], present[sunday_night]) == (0.5, 0.5)


def test_a_day_without_grid_is_an_empty_list():
    present = grid_present_frac(_table(weekdays=["00:00-12:00"], weekends=[]), YEAR)
    assert present.reshape(365, 24)[5:7].sum() == 0.0


@pytest.mark.parametrize(
    ("outage_h_per_day", "mean_outage_h"), [(6.0, 2.0), (16.0, 5.0), (0.5, 1.5), (2.0, 30.0)]
)
def test_random_outages_have_the_hours_and_the_mean_length_asked_for(
    outage_h_per_day, mean_outage_h
):
    for seed in range(20):
        present = random_presence(8760, outage_h_per_day=outage_h_per_day,
                                  mean_outage_h=mean_outage_h, seed=seed)  # fmt: skip
        assert ((present >= 0.0) & (present <= 1.0)).all()
        assert (1.0 - present).sum() == pytest.approx(365.0 * outage_h_per_day, abs=1e-6)


def test_lengths_of_random_outages_are_exponential():
    # Outages of 40 h on average among supply of 120 h: whole hours show their lengths well. A
    # spell is a run of hours with less than half an hour of grid. 20 years, one after another.
    lengths = []
    for seed in range(20):
        dark = random_presence(8760, outage_h_per_day=6.0, mean_outage_h=40.0, seed=seed) < 0.5
        dark = np.roll(dark, -int(np.argmin(dark)))
        edges = np.flatnonzero(np.diff(np.r_[0, dark.astype(int), 0]))
        lengths += list(edges[1::2] - edges[::2])
    lengths = np.array(lengths)
    error = lengths.std() / np.sqrt(len(lengths))
    assert lengths.mean() == pytest.approx(40.0, abs=3.0 * error)
    for spell_h in (20.0, 40.0, 80.0):
        share, expected = (lengths > spell_h).mean(), np.exp(-spell_h / 40.0)
        spread = np.sqrt(expected * (1.0 - expected) / len(lengths))
        assert share == pytest.approx(expected, abs=3.5 * spread)


def test_outages_fall_at_any_time_of_day_and_the_seed_decides():
    years = [random_presence(8760, outage_h_per_day=6.0, mean_outage_h=2.0, seed=seed)
             for seed in range(30)]  # fmt: skip
    by_hour = 1.0 - np.mean(years, axis=0).reshape(365, 24).mean(axis=0)
    np.testing.assert_allclose(by_hour, 0.25, atol=0.02)
    again = random_presence(8760, outage_h_per_day=6.0, mean_outage_h=2.0, seed=3)
    np.testing.assert_array_equal(again, years[3])
    assert (years[3] != years[4]).any()


def test_no_outage_and_nothing_else():
    assert (random_presence(48, outage_h_per_day=0.0, mean_outage_h=2.0, seed=1) == 1.0).all()
    assert (random_presence(48, outage_h_per_day=24.0, mean_outage_h=2.0, seed=1) == 0.0).all()


# --- the site file

DAYS = '\n[[grid.timetable]]\ndays = "{}"\npresent = {}\n'
TIMETABLE = '\n[grid]\nkind = "timetable"\n'
WRONG = [
    (TIMETABLE, "grid.timetable", "nothing for weekdays and weekends", 'days = "all"'),
    (TIMETABLE + DAYS.format("weekdays", '["06:00-09:00"]'), "grid.timetable",
     "nothing for weekends", 'days = "weekends"'),
    (TIMETABLE + DAYS.format("all", "[]") + DAYS.format("weekends", "[]"),
     "grid.timetable[2].days (item 2)", "weekends again", "in one table"),
    (TIMETABLE + DAYS.format("all", '["06:00-09:00", "08:00-10:00"]'),
     "grid.timetable[1].present (item 1)", "['06:00-09:00', '08:00-10:00']", ""),
    (TIMETABLE + DAYS.format("all", '["22:00-02:00"]'),
     "grid.timetable[1].present (item 1)", "['22:00-02:00']", ""),
    (TIMETABLE + DAYS.format("all", '["6-9"]'), "grid.timetable[1].present (item 1)", "['6-9']",
     ""),
    ('\n[grid]\nkind = "sometimes"\n', "grid.kind", "'sometimes'", ""),
    ('\n[grid]\nkind = "always"\ncharge_below_frac = 0.2\n', "grid.charge_below_frac",
     "charge_below_frac = 0.2 with battery.min_soc_frac = 0.2",
     "or enter 0 for a grid that does not charge"),
    ("\n[grid]\noutage_h_per_day = 25.0\n", "grid.outage_h_per_day", "25.0", ""),
    ("\n[generator]\npower_w = 2000.0\nstop_frac = 0.3\n", "generator.stop_frac",
     "stop_frac = 0.3 with start_frac = 0.4", "raise stop_frac"),
    ("\n[generator]\npower_w = 2000.0\nstart_frac = 0.2\n", "generator.start_frac",
     "start_frac = 0.2 with battery.min_soc_frac = 0.2", "above 0.35"),
    ('\n[supply]\nlayout = "three-banks"\n', "supply.layout", "'three-banks'", ""),
]  # fmt: skip


@pytest.mark.parametrize(("text", "where", "given", "remedy"), WRONG)
def test_what_is_refused_names_field_and_remedy(tmp_path, text, where, given, remedy):
    fault = only(tmp_path, BASE + text)
    assert fault.where == f"shop.toml: {where}"
    assert given in fault.given
    assert remedy in fault.remedy


def test_litres_have_their_units(tmp_path):
    fault = only(tmp_path, BASE + "\n[generator]\nno_load_fuel_l_per_h_per_kw = -1.0\n")
    assert fault.allowed == "a number from 0 to 1"
    fault = only(tmp_path, BASE + "\n[generator]\nfuel_l_per_kwh = -1.0\n")
    assert fault.allowed == "a number from 0 to 5 l/kWh"


def test_levels_of_a_generator_that_is_not_there_are_of_no_matter(tmp_path):
    site = read_site(put(tmp_path, BASE + "\n[generator]\nstop_frac = 0.2\n")).site
    assert site.generator.power_w == 0.0


def test_shed_level_below_the_cut_off_is_refused(tmp_path):
    text = BASE.replace("nonessential_shed_frac = 0.35", "nonessential_shed_frac = 0.1")
    fault = only(tmp_path, text)
    assert fault.where == "shop.toml: battery.min_soc_frac"
    assert "at most nonessential_shed_frac" in fault.allowed


def test_left_out_there_is_neither_grid_nor_generator(tmp_path):
    site = read_site(put(tmp_path, BASE)).site
    assert (site.grid, site.generator, site.supply) == (Grid(), Generator(), Supply())
    system = system_of(site, (_bank(),), YEAR)
    assert (system.grid, system.generator) == (None, None)
    assert system.shedding.off_frac == 0.35
    assert system.boards["nonessential"].rating_w == 2000.0


def test_a_site_with_all_of_it(tmp_path):
    text = BASE + (
        '\n[supply]\nlayout = "separate-banks"\norder = "sun-grid-battery"\n'
        'essential_array_frac = 0.7\n[grid]\nkind = "random"\nlimit_w = 900.0\n'
        "[generator]\npower_w = 2500.0\n"
    )
    site = read_site(put(tmp_path, text)).site
    system = system_of(site, (_bank(), _bank()), YEAR)
    assert system.separate
    assert system.architecture.essential_array_frac == 0.7
    assert system.grid.limit_w == 900.0
    assert system.grid.present_frac.mean() == pytest.approx(0.75)
    assert system.generator.power_w == pytest.approx(2342.2, abs=0.1)  # 40 degC, the sea's height


def _bank():
    return Bank(
        capacity_wh=10000.0, voltage_v=51.2, available_frac=1.0, exchange_per_h=1.0,
        min_soc_frac=0.2, charge_efficiency_frac=0.97, discharge_efficiency_frac=0.98,
        max_charge_w=5000.0, max_discharge_w=10000.0, acceptance_per_h=float("inf"),
        self_discharge_frac_per_h=0.0, capacity_factor=np.ones(8760), charge_factor=np.ones(8760),
    )  # fmt: skip


def _year(start="00:00"):
    return YEAR.shift(30 * start.endswith("30"), freq="min")


def _of(kind, **keys):
    return Grid.model_validate({"kind": kind, **keys})


def test_a_rota_of_three_days_by_hand():
    """8 h on the first day, 4 h on the second, none on the third; then again."""
    grid = _of("rota", rota=[{"present": ["06:00-14:00"]}, {"present": ["20:00-24:00"]},
                               {"present": []}])  # fmt: skip
    days = grid_present_frac(grid, _year()).reshape(365, 24)
    assert days.sum(axis=1)[:7].tolist() == [8.0, 4.0, 0.0, 8.0, 4.0, 0.0, 8.0]
    assert days[0, 6:14].tolist() == [1.0] * 8
    half = grid_present_frac(_of("rota", rota=[{"present": ["06:30-07:00"]}]), _year())
    assert half.reshape(365, 24)[:, 6].tolist() == [0.5] * 365


SPANS = some.lists(some.integers(0, 47), max_size=12, unique=True).map(sorted).map(lambda starts: [
    f"{one // 2:02d}:{30 * (one % 2):02d}-{(one + 1) // 2:02d}:{30 * ((one + 1) % 2):02d}"
    for one in starts])  # fmt: skip
"""Half hours of a day, apart from one another."""


@pytest.mark.slow
@settings(deadline=None)
@given(days=some.lists(SPANS, min_size=1, max_size=5), low=SPANS,
       start=some.sampled_from(["00:00", "00:30"]))  # fmt: skip
def test_a_rota_of_one_day_is_a_timetable_and_low_voltage_takes_hours_away(days, low, start):
    index = _year(start)
    rota = _of("rota", rota=[{"present": spans} for spans in days])
    one = grid_present_frac(_of("rota", rota=[{"present": days[0]}]), index)
    table = [{"days": "all", "present": days[0]}]
    assert np.allclose(one, grid_present_frac(_of("timetable", timetable=table), index))
    for grid in (rota, _of("timetable", timetable=table), _of("always"), _of("random")):
        plain = grid_present_frac(grid, index)
        less = grid_present_frac(grid.model_copy(update={"low_voltage": low}), index)
        assert ((less >= -1e-12) & (less <= plain + 1e-12)).all()
    always = grid_present_frac(_of("always", low_voltage=low), index)
    assert always.sum() == pytest.approx(8760.0 - 365.0 * 0.5 * len(low), abs=0.5 * 24.0)


@pytest.mark.parametrize(("grid", "where"), [
    ({"kind": "rota"}, "grid.kind"),
    ({"kind": "rota", "rota": [{"present": ["25:00-26:00"]}]}, "present"),
    ({"kind": "always", "low_voltage": ["20:00-19:00"]}, "grid.low_voltage"),
])
def test_a_fault_of_rota_and_low_voltage_names_its_field(grid, where):
    with pytest.raises(InputError) as caught:
        with_changes(read_site(demo_sites()["ridge-clinic"]), {"grid": grid})
    assert where in caught.value.faults[0].where


def test_low_voltage_is_told():
    site = read_site(demo_sites()["ridge-clinic"])
    low = {"grid": {"kind": "always", "low_voltage": ["18:00-22:00"]}}
    found = [check for check in grid_checks(with_changes(site, low).site)
             if check.rule == "supply/low-voltage"]
    assert [(check.found, check.outcome) for check in found] == [("4.0", "review")]


@pytest.mark.slow
@settings(deadline=None, max_examples=10, suppress_health_check=list(HealthCheck))
@given(name=some.sampled_from(sorted(demo_sites())), hours=some.integers(0, 20),
       more=some.integers(1, 4), by=some.sampled_from(["rota", "low"]))
def test_more_hours_without_grid_never_fewer_hours_without_supply(name, hours, more, by):
    """Without a generator, whose own rhythm the hours of the grid may shift."""
    design, found = open_design(demo_sites()[name]), []
    for count in (hours, hours + more):
        spans = [f"00:00-{24 - count:02d}:00"] if count < 24 else []
        low = [f"{24 - count:02d}:00-24:00"] if count else []
        grid = {"kind": "rota", "rota": [{"present": ["00:00-24:00"]}, {"present": spans}]} \
            if by == "rota" else {"kind": "always", "low_voltage": low}
        one = design.changed({"grid": grid, "generator": {"power_w": 0.0},
                              "array": {"module_count": design.site.array.modules_in_series}})
        found.append(one.supply.hours_without_supply("essential"))
    assert found[0] <= found[1]
