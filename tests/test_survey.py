"""The short site file: few keys, each answer in its place, each default told, faults by line."""

from __future__ import annotations

import itertools
import json
import math
import runpy
import tempfile
import tomllib
import unicodedata
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, data_rows
from solarcalc.basis.messages import languages
from solarcalc.basis.phrases import untranslated
from solarcalc.design import open_design
from solarcalc.loads.peaks import board_peaks
from solarcalc.loads.year import appliances_of, board_day_w
from solarcalc.powerroom.layout import floor_load, room_layout
from solarcalc.powerroom.racks import racks_of
from solarcalc.roof.packing import fit_on_roof
from solarcalc.roof.rows import pitch_of, rows_of
from solarcalc.search.bounds import Wish
from solarcalc.search.searched import search
from solarcalc.sitefile.array import Module, holds
from solarcalc.sitefile.chemistry import chemistries, most_strings
from solarcalc.sitefile.equipment import appliance_catalogue, bundled_equipment
from solarcalc.sitefile.first_loads import day_energy_wh, demand_of
from solarcalc.sitefile.first_size import (
    FEW_TOGETHER,
    HOT_FRAC,
    MOST_IN_PARALLEL,
)
from solarcalc.sitefile.guessed import is_given
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.read import SiteFile, read_site, surveyed_site
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.survey import place_of, read_answers, survey_of
from solarcalc.sitefile.survey_fields import Answers, by_key, fields, read_value, towns
from solarcalc.sitefile.survey_lines import load_tables, name_in
from solarcalc.sitefile.survey_text import new_answers, short_text, write_files
from solarcalc.sitefile.template import survey_lines, template_faults, template_lines
from solarcalc.sitefile.weather import above_air_kwh_m2_day, beam_on_plane
from solarcalc.supply.engine import derated_w
from solarcalc.wiring.string_plan import working_v

_RECORDS = runpy.run_path(str(Path(__file__).with_name("survey_records.py")))
load_lines, records, sound_records = (
    _RECORDS[name] for name in ("load_lines", "records", "sound_records"))
FOLDER = Path(tempfile.mkdtemp())
CATALOGUE = by_key()["loads"].choices


def site_of(text: str, name: str = "shop.toml") -> SiteFile:
    path = FOLDER / name
    path.write_text(text, encoding="utf-8")
    return read_site(path)


def faults_of(text: str) -> dict[str, Any]:
    with pytest.raises(InputError) as caught:
        site_of(text)
    return {fault.where: fault for fault in caught.value.faults}


# --- a fresh one


def test_a_fresh_short_file_has_at_most_twenty_keys_on_two_pages() -> None:
    text = short_text(new_answers("Hill Street Shop").values)
    table = tomllib.loads(text)
    assert list(table) == ["survey"]
    assert 15 <= len(table["survey"]) <= 20
    assert table["survey"].pop("name") == "Hill Street Shop"
    assert not any(table["survey"].values())
    whole = (data_folder() / "templates" / "site.toml").read_text(encoding="utf-8")
    assert len(text.splitlines()) < 100 < len(whole.splitlines())
    assert max(map(len, text.splitlines())) <= 100


def test_it_is_sound_tells_each_default_and_makes_no_report() -> None:
    site = site_of(short_text(new_answers("Hill Street Shop").values))
    told, sized, refused = template_lines(site)
    for one in fields():
        assert f"{one.key}: " in told or not one.first or one.key == "name", one.key
    assert "array, controller, inverter, battery" in sized
    assert refused.endswith("latitude_deg, longitude_deg, loads")
    assert [fault.where for fault in template_faults(site)] == [
        f"shop.toml: survey.{key}" for key in ("latitude_deg", "longitude_deg", "loads")]


def test_its_design_says_in_checks_what_was_not_answered_and_not_chosen() -> None:
    text = short_text(new_answers("Hill Street Shop").values)
    design = open_design(site_of(text))
    found = {check.rule: check for check in design.energy_checks}
    left, sizes = found["stages/survey-left"], found["stages/survey-sizes"]
    assert left.outcome == sizes.outcome == "review"
    assert left.found.startswith("19 of")
    assert "Roof: length along the eaves: 12 m" in left.remedy
    assert f"modules {design.site.array.module_count}," in sizes.found


@pytest.mark.parametrize("kind", [None, *by_key()["roof_kind"].choices])
@pytest.mark.parametrize("own", [None, "sheet"])
def test_the_kind_of_roof_that_was_told_is_what_the_modules_stand_on(
    kind: str | None, own: str | None
) -> None:
    """It was told, and the check asked for the covering of the roof all the same."""
    answers = {"name": "Shop"} | ({} if kind is None else {"roof_kind": kind})
    given = "" if own is None else f'\n[structure]\ncovering = "{own}"\n'
    said = site_of(short_text(answers) + given).site.structure.covering
    told = None if kind is None else {"flat slab": "concrete", "metal sheet": "sheet",
                                      "tiles": "tile"}[kind]
    assert said == (own or told)


# --- answers in their places


@pytest.mark.slow
@given(record=records())
def test_what_is_filled_in_is_read_again(record: dict[str, Any]) -> None:
    path = FOLDER / "record.toml"
    path.write_text(short_text(record), encoding="utf-8")
    answers = read_answers(tomllib.loads(path.read_text("utf-8"))["survey"], path, "record.toml")
    assert answers.values == record
    lines = path.read_text(encoding="utf-8").split("\n")
    for key, where in answers.places.items():
        if isinstance(key, str):
            number = int(where.rpartition("(line ")[2].rstrip(")"))
            assert lines[number - 1].startswith(f"{key} = ")


_DERIVED = {"grid_h_per_day", "roof_kind", "obstacles", "loads", "horizon", "room_m", "module",
            "battery", "weather", "phases", "eaves_height_m"}  # fmt: skip


@pytest.mark.slow
@settings(deadline=None, max_examples=60)
@given(record=sound_records())
def test_each_answer_stands_in_the_site_and_each_default_is_told(record: dict[str, Any]) -> None:
    path = FOLDER / "sound.toml"
    path.write_text(short_text(record), encoding="utf-8")
    site = read_site(path)
    assert site.survey is not None
    told = {one.key for one, _ in site.survey.defaults}
    assert told.isdisjoint(record)
    assert {one.key for one in fields() if one.first and one.key not in record} <= told
    for one in fields():
        if len(one.path) == 1 and one.key in record and one.key not in _DERIVED:
            found: Any = site.site
            for part in one.path[0].split("."):
                found = getattr(found, part)
            if one.key not in ("outage_h", "roof_azimuth_deg"):
                assert found == record[one.key], one.key
    if "eaves_height_m" in record:  # hand: eaves and the rise of the slope
        roof, eaves_m = site.site.roof, record["eaves_height_m"]
        top_m = eaves_m + roof.depth_m * math.sin(math.radians(record.get("roof_slope_deg", 0.0)))
        assert site.site.structure.height_m == (
            pytest.approx(top_m, abs=0.005) if top_m >= 0.005 else 6.0)
    assert is_given(site.site, "runs.dc_main.length_m") == ("roof_to_room_m" in record)
    assert len(site.site.loads.essential) + len(site.site.loads.nonessential) == len(
        record.get("loads", (1, 2)))
    assert site.site == surveyed_site(site.survey.answers, {}, path).site


@given(hours=some.floats(0.0, 24.0))
def test_the_grid_is_there_as_many_hours_as_was_said(hours: float) -> None:
    grid = survey_of(Answers(values={"grid_h_per_day": hours}), {}, "a").tables["grid"]
    away_h = {"none": 24.0, "always": 0.0}.get(grid["kind"], grid.get("outage_h_per_day"))
    assert away_h == pytest.approx(24.0 - hours, abs=1e-9)


@given(zone=some.sampled_from(sorted(towns())), east=some.floats(-180.0, 180.0))
def test_a_town_is_a_place_and_a_longitude_has_a_clock(zone: str, east: float) -> None:
    assert place_of({"time_zone": zone}) == (*towns()[zone], zone)
    hours = float(place_of({"longitude_deg": east})[2][3:6])
    assert abs(hours - east / 15.0) <= 0.5


def test_towns_stand_where_the_time_zone_database_has_them() -> None:
    """zone.tab of IANA tz: Africa/Lusaka -1525+02817, America/New_York +404251-0740023."""
    assert towns()["Africa/Lusaka"] == (-15.42, 28.28)
    assert towns()["America/New_York"] == (40.71, -74.01)


def test_tables_beside_the_answers_come_first_and_are_no_defaults() -> None:
    text = short_text({"name": "Shop", "roof_length_m": 10.0})
    site = site_of(text + "\n[roof]\nslope_deg = 12.0\n[battery]\nunits_in_parallel = 4\n")
    assert site.site.roof.length_m == 10.0
    assert site.site.roof.slope_deg == 12.0
    assert site.site.battery.units_in_parallel == 4
    assert site.site.battery.units_in_series == 1
    assert site.survey is not None
    assert "battery" not in site.survey.sized
    assert "roof_slope_deg" not in {one.key for one, _ in site.survey.defaults}


def test_answers_that_a_table_takes_the_place_of_are_told() -> None:
    """A lead who enters one pump as a table has no other load of that board left."""
    text = short_text({"name": "Shop", "elevation_m": 100.0, "loads": (
        "fridge, 1", "Pump 750 W, 1, 10-12, nonessential", "Saw 1 kW, 1, 9-10, nonessential")})
    pump = '[[loads.nonessential]]\nname = "Pump"\npower_w = 750.0\nuse = ["10:00-12:00"]\n'
    alone, beside = (site_of(text + more) for more in ("", f"\n[site]\nelevation_m = 5\n{pump}"))
    assert alone.survey is not None
    assert beside.survey is not None
    assert alone.survey.replaced == ()
    assert beside.survey.replaced == (
        "elevation_m", "loads of the nonessential board, 2 of 3 lines")
    assert any("2 of 3 lines" in line for line in survey_lines(beside.survey))


@pytest.mark.parametrize(("hours", "own", "asked"), [
    (0.0, {}, set()), (24.0, {}, {"grid_w"}), (9.0, {}, {"grid_w", "outage_h"}),
    (9.0, {"grid": {"kind": "rota"}}, {"grid_w"}), (9.0, {"grid": {"kind": "none"}}, set()),
    (0.0, {"grid": {"kind": "random"}}, {"grid_w", "outage_h"}),
])  # fmt: skip
def test_nothing_is_taken_for_a_grid_that_is_not_there(
    hours: float, own: dict[str, Any], asked: set[str]
) -> None:
    answers = Answers(values={"name": "A", "grid_h_per_day": hours})
    told = {one.key for one, _ in survey_of(answers, own, "a").defaults}
    assert told & {"grid_w", "outage_h"} == asked


@pytest.mark.parametrize("kind", sorted(chemistries()))
def test_a_battery_of_a_kind_takes_no_figure_of_another_kind(kind: str) -> None:
    """Nobody wished for a battery, and the file gives the kind of one that is there."""
    values = {"chemistry": kind, "unit_capacity_ah": 200.0}
    tables = survey_of(Answers(values={"name": "A"}), {"battery": values}, "a").tables
    use, listed = tables["battery"].get("use"), bundled_equipment()["batteries"]
    assert (use is None) == (kind not in {one.values["chemistry"] for one in listed.values()})
    assert use is None or listed[use].values["chemistry"] == kind


@settings(deadline=None)
@given(count=some.integers(1, 60), orientation=some.sampled_from(["portrait", "landscape"]))
def test_rows_of_a_first_size_follow_the_modules_of_the_file(count: int, orientation: str) -> None:
    """The fewest rows of that orientation that hold them, however many rules of thumb would lay."""
    text = short_text({"name": "Shop", "roof_length_m": 14.0, "roof_depth_m": 9.0})
    site = site_of(text + f"\n[array]\nmodule_count = {count}\nmodules_in_series = 1\n"
                   f'orientation = "{orientation}"\n').site  # fmt: skip
    wide_m = site.module.width_m if orientation == "portrait" else site.module.length_m
    row_m = 14.0 - 2.0 * site.roof.edge_setback_m + site.array.module_gap_m
    per_row = int(row_m / (wide_m + site.array.module_gap_m))
    assert (site.array.rows - 1) * per_row < count <= site.array.rows * per_row


def test_a_source_of_weather_beside_the_answers_comes_without_the_year_of_a_download() -> None:
    monthly = "\n[weather.monthly]\nghi_kwh_m2_day = [5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5]\n" \
        "temp_air_c = [20, 20, 20, 20, 20, 20, 20, 20, 20, 20, 20, 20]\n"
    text = short_text({"name": "Shop", "latitude_deg": -15.4, "longitude_deg": 28.3})
    site = site_of(f'{text}\n[weather]\nsource = "monthly"{monthly}')
    assert site.site.weather.year is None
    assert site_of(text).site.weather.year is not None


@given(planes=some.lists(some.sampled_from([None, 2, 6]), max_size=3), kilns=some.integers(1, 4),
       grid_h=some.sampled_from([0.0, 12.0]))
@settings(deadline=None, max_examples=40)
def test_roof_planes_share_the_modules_of_a_first_size(
    planes: list[int | None], kilns: int, grid_h: float
) -> None:
    """Each plane was given the modules of the whole system, the battery the current of one."""
    answers = {"name": "Bakery", "roof_length_m": 30.0, "roof_depth_m": 12.0,
               "roof_slope_deg": 20.0, "loads": (f"Kiln 900 W, {kilns}, 4-9", "fridge, 2"),
               "grid_h_per_day": grid_h}
    rows = "".join(
        f'\n[[planes]]\nname = "Plane {number}"\n'
        + (f"array.module_count = {count}\narray.modules_in_series = 2\n" if count else "")
        for number, count in enumerate(planes))  # fmt: skip
    alone, site = (site_of(short_text(answers) + more).site for more in ("", rows))
    alike = 1 + planes.count(None)
    own = sum(count for count in planes if count)
    most = max(alone.module_count, own + alike) + 2 * alike * site.array.modules_in_series
    assert alone.module_count - alone.array.modules_in_series <= site.module_count <= most
    assert site.module_count == alike * site.array.module_count + own
    taken_a = site.battery.units_in_parallel * (
        site.battery.unit_capacity_ah * site.battery.max_charge_c_rate)
    assert site.controllers_a <= taken_a or site.battery.units_in_parallel == MOST_IN_PARALLEL


@pytest.mark.parametrize("count", [12, 16, 18, 21])
def test_controllers_and_strings_follow_the_modules_of_the_file(count: int) -> None:
    """Two faces of a roof share the modules: each has controllers for its own."""
    loads = ("Oven 9 kW, 1, 4-9", "fridge, 2")
    answers = {"name": "Bakery", "roof_length_m": 16.0, "loads": loads}
    all_of_it = site_of(short_text(answers)).site
    site = site_of(short_text(answers) + f"\n[array]\nmodule_count = {count}\n").site
    assert site.array.module_count == count < all_of_it.array.module_count
    assert count % site.array.modules_in_series == 0
    assert site.controller_count * site.controller.max_charge_current_a <= (
        all_of_it.controller_count * all_of_it.controller.max_charge_current_a)
    taken_w = site.controller_count * site.controller.max_charge_current_a * 51.2
    assert taken_w >= 0.9 * site.array_w


@pytest.mark.parametrize("word", sorted(appliance_catalogue()))
def test_an_appliance_of_our_list_is_named_in_the_customers_language(word: str) -> None:
    lines = [f"{word}, 1, 8-20, essential", f"{word}, 2, 8-20, essential"]
    first, second = (row["name"] for row in load_tables(lines)["essential"])
    assert name_in(first, "en") == first
    assert untranslated(first, "fr") == ()
    assert first != second
    assert "(" not in second.removeprefix(first)
    assert name_in(second, "fr") == name_in(first, "fr")
    assert name_in(f"My {first}", "fr") == f"My {first}"


def test_a_load_without_a_count_is_one_in_a_first_size() -> None:
    rows = '[[loads.essential]]\nname = "Kettle"\ncatalogue = "kettle"\nuse = ["07:00-08:00"]\n'
    few, one = (site_of(f"{short_text({'name': 'Shop'})}\n{rows}{more}").site
                for more in ("", "count = 1\n"))  # fmt: skip
    assert few.array == one.array
    assert few.battery == one.battery


@given(table=some.sampled_from(["roof", "module", "battery", "array", "grid", "loads", "site"]),
       value=some.sampled_from(["3", '"x"', "[]", "{}", "{ use = 3 }", '{ length_m = "a" }',
                                "{ unit_voltage_v = 0.0 }", "{ essential = 3 }"]))
def test_own_tables_that_are_unsound_are_faults_and_no_more(table: str, value: str) -> None:
    text = f"{table} = {value}\n" + short_text({"name": "Shop"})
    faults: tuple[Any, ...] = ()
    try:
        site_of(text)
    except InputError as error:
        faults = error.faults
    assert all(fault.where and fault.allowed for fault in faults)


CONTROLLERS = sorted(bundled_equipment()["controllers"])
INVERTERS = sorted(bundled_equipment()["inverters"])


@some.composite
def own_tables(draw: some.DrawFn, phases: int) -> dict[str, dict[str, Any]]:
    """Some keys of array, controller, battery and inverters, each sound by itself."""
    array: dict[str, Any] = draw(some.fixed_dictionaries({}, optional={
        "modules_in_series": some.integers(1, 12),
        "orientation": some.sampled_from(["portrait", "landscape"])}))
    if draw(some.booleans()):
        array["module_count"] = array.get("modules_in_series", 1) * draw(some.integers(1, 12))
    inverter = some.fixed_dictionaries({}, optional={
        "use": some.sampled_from(INVERTERS), "count": some.sampled_from([1, phases, 2 * phases])})
    return {
        "array": array,
        "controller": draw(some.fixed_dictionaries({}, optional={
            "use": some.sampled_from(CONTROLLERS)})),
        "battery": draw(some.fixed_dictionaries({}, optional={
            "units_in_parallel": some.integers(1, 12)})),
        "inverter": {board: draw(inverter) for board in BOARDS},
    }  # fmt: skip


@settings(deadline=None, max_examples=100)
@given(record=sound_records(), data=some.data())
def test_a_first_size_follows_what_the_file_gives_itself(
    record: dict[str, Any], data: some.DataObject
) -> None:
    """Strings come out even and suit the controller where they can; the charger suits the bank."""
    phases = data.draw(some.sampled_from([1, 2, 3]))
    own = data.draw(own_tables(phases))
    site = surveyed_site(Answers(values=record | {"phases": str(phases)}), own,
                         FOLDER / "a.toml").site  # fmt: skip
    array, controller, module = site.array, site.controller, site.module
    for table, keys in (("array", own["array"]), ("battery", own["battery"])):
        assert all(getattr(getattr(site, table), key) == value for key, value in keys.items())
    assert array.module_count % array.modules_in_series == 0
    if "use" not in own["controller"] and "modules_in_series" not in own["array"] and (
            "module_count" not in own["array"]):
        assert array.modules_in_series * module.voc_v * 1.15 <= controller.max_pv_voltage_v
        assert array.modules_in_series * module.vmp_v * 0.85 >= controller.min_tracking_voltage_v
    elif "use" in own["controller"] and not own["array"].keys() & {
            "modules_in_series", "module_count"}:
        fits = [series for series in range(1, 20)
                if series * module.voc_v * 1.15 <= controller.max_pv_voltage_v
                and series * module.vmp_v * 0.85 >= controller.min_tracking_voltage_v
                and series * module.vmp_v <= controller.max_tracking_voltage_v]  # fmt: skip
        assert not fits or array.modules_in_series in fits
    assert controller.count <= array.string_count
    for board, given_keys in own["inverter"].items():
        inverter = site.inverter_of(board)
        assert inverter.count == given_keys.get("count", inverter.count)
        assert inverter.count == 1 or given_keys.keys() != {"use"} or phases > 1
    if site.supply.charger_power_w is not None:
        most_w = site.battery.max_charge_c_rate * site.battery.rated_wh
        drawn_w = site.inverter.essential.count * site.supply.charger_power_w
        assert drawn_w <= 0.2 * most_w + 1e-6


@settings(deadline=None, max_examples=60)
@given(record=sound_records())
def test_a_first_size_lies_in_portrait_where_as_many_fit(record: dict[str, Any]) -> None:
    """Whose rails are shorter: a decision sheet found portrait cheaper than its own first size."""
    def laid(own: dict[str, Any]) -> Any:
        return surveyed_site(Answers(values=record), own, FOLDER / "a.toml").site.array

    chosen = laid({})
    portrait, landscape = (laid({"array": {"orientation": one}})
                           for one in ("portrait", "landscape"))
    assert chosen == (portrait if portrait.module_count >= landscape.module_count else landscape)


@settings(deadline=None, max_examples=40)
@given(record=sound_records(), frac=some.sampled_from([None, 0.25, 0.5, 0.6667]))
def test_a_first_size_of_two_batteries_shares_out_whole_strings(
    record: dict[str, Any], frac: float | None
) -> None:
    """Each with a controller of its own: what divides a battery too large for any fuse."""
    supply = {"layout": "separate-banks"} | ({"essential_bank_frac": frac} if frac else {})
    site = surveyed_site(Answers(values=record), {"supply": supply}, FOLDER / "a.toml").site
    assert site.controller.count >= 2
    assert site.array.string_count >= site.controller.count
    shares = [one.units_in_parallel for one in site.banks.values()]
    assert len(shares) == 2
    assert min(shares) >= 1
    assert sum(shares) == site.battery.units_in_parallel
    assert shares[0] == pytest.approx((frac or 0.5) * sum(shares), abs=0.01)


@settings(deadline=None, max_examples=40)
@given(record=sound_records(), generator_w=some.integers(2000, 30000),
       height_m=some.integers(0, 3000))  # fmt: skip
def test_the_charger_of_a_first_size_leaves_the_generator_what_its_boards_need(
    record: dict[str, Any], generator_w: int, height_m: int
) -> None:
    """Beside the inverters' full power where that leaves some, else beside the highest demand."""
    answers = record | {"generator_w": float(generator_w), "elevation_m": float(height_m)}
    site = surveyed_site(Answers(values=answers), {}, FOLDER / "a.toml").site
    gives_w = derated_w(site)
    passed_w = sum(one.total_power_w for one in site.inverters.values())
    chargers_w = sum(one or 0.0 for one in site.charger_limits_w.values())
    assert chargers_w > 0.0
    if passed_w < 0.9 * gives_w:
        assert passed_w + chargers_w <= gives_w + 1e-6
    assert chargers_w <= gives_w


@pytest.mark.parametrize("power_w", [4.95, 5e6])
def test_a_generator_that_cannot_be_is_told_and_stops_no_first_size(power_w: float) -> None:
    answers = {"name": "Lodge", "latitude_deg": 9.0, "longitude_deg": 7.0, "generator_w": power_w,
               "loads": ("tube-led, 3, 18-23",)}  # fmt: skip
    with pytest.raises(InputError, match="generator"):
        site_of(short_text(answers))


@pytest.mark.parametrize("hall_kw", [3.0, 4.0, 5.0, 8.0])
@pytest.mark.parametrize("generator_w", [0.0, 12000.0])
def test_a_large_first_battery_is_divided_or_told_beyond_every_fuse(
    hall_kw: float, generator_w: float
) -> None:
    """For two boards with ten hours of it: laid, and no failed fuse without the plain statement."""
    answers = {"name": "Lodge", "roof_length_m": 36.0, "roof_depth_m": 14.0, "latitude_deg": 25.8,
               "longitude_deg": -80.3, "weather": "library:12839.tm2", "room_m": "6 x 4 x 2.8",
               "generator_w": generator_w,
               "loads": (f"Evening {hall_kw / 2.0:g} kW, 1, 14-24",
                         f"Other {hall_kw / 2.0:g} kW, 1, 14-24, nonessential")}  # fmt: skip
    design = open_design(site_of(short_text(answers)))
    assert design.site.supply.separate_banks
    assert design.installation
    unbroken = [one for one in design.all_checks
                if one.outcome == "failed" and "breaking-capacity" in one.rule]
    told = [one for one in design.all_checks if one.rule == "stages/survey-fuses"]
    assert bool(unbroken) is bool(told)
    assert not told or hall_kw > 4.0


@pytest.mark.parametrize("freezers", [2, 5, 8, 10])
def test_a_first_size_of_a_large_shop_can_be_laid(freezers: int) -> None:
    """The cables of many controllers are too many for one trunking, and none for a wall."""
    answers = {"name": "Shop", "roof_length_m": 34.0, "roof_depth_m": 18.0, "latitude_deg": 25.8,
               "longitude_deg": -80.3, "weather": "library:12839.tm2", "phases": "3",
               "loads": (f"freezer-chest, {freezers}", "display-cooler, 3", "tube-led, 30, 6-22",
                         "air-conditioner-inverter, 4, 10-18, nonessential")}  # fmt: skip
    design = open_design(site_of(short_text(answers)))
    on_wall = design.site.runs.controller_battery.method == "C-apart"
    assert on_wall is (design.site.controller.count > FEW_TOGETHER)
    assert design.electrical.sized
    assert design.bill


@pytest.mark.parametrize("hall_kw", [6.0, 10.0, 14.0, 20.0, 28.0, 40.0])
def test_a_first_size_too_large_for_any_cable_says_so_and_what_to_do(hall_kw: float) -> None:
    """Nobody entered the battery that is refused: what it follows from is told with it."""
    answers = {"name": "Hall", "roof_length_m": 60.0, "roof_depth_m": 40.0, "latitude_deg": 25.8,
               "longitude_deg": -80.3, "weather": "library:12839.tm2", "phases": "3",
               "loads": (f"Hall {hall_kw} kW three-phase, 1, 8-18",)}  # fmt: skip
    design = open_design(site_of(short_text(answers)))
    if hall_kw < 8.0:
        assert design.installation
        return
    with pytest.raises(InputError) as caught:
        assert design.installation
    (fault,) = caught.value.faults
    site = design.site
    assert f"modules {site.module_count}, controllers {site.controller_count}" in fault.given
    assert "several systems, each with part of the loads" in fault.remedy
    own = open_design(site_of(f"{short_text(answers)}\n[battery]\nunits_in_parallel = 20\n"))
    with pytest.raises(InputError) as caught:
        assert own.installation
    assert "first size" not in str(caught.value)


@pytest.mark.parametrize("at", [(7.5, 3.5), (2.0, 1.0), (0.6, 0.6), (5.0, 2.2)])
@pytest.mark.parametrize("slope_deg", [0.0, 18.0])
def test_the_roof_holds_a_first_size_beside_an_obstacle(
    at: tuple[float, float], slope_deg: float
) -> None:
    answers = {"name": "Bakery", "roof_length_m": 11.4, "roof_depth_m": 5.6,
               "roof_slope_deg": slope_deg, "roof_azimuth_deg": 180.0, "latitude_deg": 25.8,
               "longitude_deg": -80.3, "loads": ("Oven 5 kW, 1, 4-9", "fridge, 2"),
               "weather": "library:12839.tm2",
               "obstacles": (f"Flue: {at[0]:g} along, {at[1]:g} up, 0.5 x 0.5 x 1.2",)}
    design = open_design(site_of(short_text(answers)))
    (check,) = [one for one in design.roof_checks if one.rule == "stages/modules-on-roof"]
    assert check.outcome == "passed", check.found_words


@pytest.mark.parametrize("latitude_deg", [-50.0, -23.0, 0.0, 15.0, 38.0, 52.0, 56.0])
def test_the_roof_holds_a_first_size_on_frames_at_any_latitude(latitude_deg: float) -> None:
    """And where the roof is what limits it, little more would go on it."""
    months = [round(0.5 * one, 3) for one in above_air_kwh_m2_day(latitude_deg)]
    text = short_text({"name": "Shop", "latitude_deg": latitude_deg, "longitude_deg": 20.0,
                       "weather": "monthly", "roof_length_m": 12.0, "roof_depth_m": 9.0,
                       "loads": ("Oven 9 kW, 1, 4-12",)})  # fmt: skip
    site = site_of(f"{text}\n[weather.monthly]\nghi_kwh_m2_day = {months}\n"
                   f"temp_air_c = {[15] * 12}\n").site  # fmt: skip
    rows = rows_of(site.array, site.module, site.roof)
    pitch_m = pitch_of(site.array, rows, latitude_deg=latitude_deg)
    assert pitch_m is not None
    fit = fit_on_roof(rows, site.roof, pitch_m=pitch_m)
    count, series = site.array.module_count, site.array.modules_in_series
    assert holds(fit.row_sizes, site.array.rows, count)
    assert fit.module_count - count < max(fit.largest_row, 2 * series)


def test_equipment_of_the_firms_own_list_has_a_first_size(tmp_path: Path) -> None:
    listed = bundled_equipment()["modules"]["half108-397"].values
    entry = {**listed, "label": "Own", "pmax_w": 400.0}
    (tmp_path / "own.toml").write_text("[modules.own]\n" + "\n".join(
        f"{key} = {json.dumps(value)}" for key, value in entry.items()), encoding="utf-8")
    path = tmp_path / "shop.toml"
    path.write_text('equipment_files = ["own.toml"]\n' + short_text({"name": "Shop"})
                    + '\n[module]\nuse = "own"\n', encoding="utf-8")  # fmt: skip
    site = read_site(path).site
    assert site.module.label == "Own"
    assert site.array.module_count > 0


def test_a_fault_of_an_own_table_is_told_without_others_that_come_of_it() -> None:
    text = short_text({"name": "Shop"}) + '\n[[roof.obstacles]]\nname = "Tank"\nalong_m = 3.0\n' \
        "up_m = 1.0\nlength_m = 1.0\ndepth_m = 1.0\nheight_m = 1.0\n"
    assert [where.partition(" ")[2].partition(" ")[0] for where in faults_of(text)] == [
        "roof.obstacles[1].clearance_m"]


# --- faults


def test_faults_name_key_and_line_all_at_once() -> None:
    text = short_text({"name": "Shop"}).replace(
        'latitude_deg = ""', "latitude_deg = 95").replace(
        'roof_length_m = ""', 'roof_length_m = "3,5"').replace(
        "loads = []", 'loads = ["frige, 1", "lamp-led, 0", "fridge, 2, 18-18"]')
    text += "roof_lenght_m = 3\n"
    found = faults_of(text)
    line = {key: 1 + text.split("\n").index(row) for key, row in (
        ("latitude_deg", "latitude_deg = 95"), ("roof_length_m", 'roof_length_m = "3,5"'))}
    one = found[f"shop.toml: survey.latitude_deg (line {line['latitude_deg']})"]
    assert (one.given, one.allowed) == ("95", "-66 to 66 degrees")
    comma = found[f"shop.toml: survey.roof_length_m (line {line['roof_length_m']})"]
    assert "3.5" in comma.remedy
    loads = [fault for where, fault in found.items() if "survey.loads" in where]
    assert [fault.where.rpartition(", ")[2] for fault in loads] == ["entry 1", "entry 2", "entry 3"]
    assert "did you mean fridge?" in loads[0].why
    assert any("did you mean roof_length_m?" in fault.remedy for fault in found.values())


OTHERS = [(row["key"], row["value"], word) for row in data_rows("other_words")
          for word in row["words"].split("|")]  # fmt: skip


@pytest.mark.parametrize(("key", "value", "word"), OTHERS)
def test_a_word_of_the_trade_is_answered_with_the_word_that_is_meant(
    key: str, value: str, word: str
) -> None:
    """"tôle" was answered with "did you mean tiles?", "béton" with nothing."""
    choices = BOARDS if key == "board" else by_key()[key].choices
    assert value in choices
    for typed in {word, word.upper(), f"{word}s", unaccented(word)} - set(choices):
        asked, given = (("loads", f"fridge, 1, 8-18, {typed}") if key == "board" else
                        (key, typed))  # fmt: skip
        with pytest.raises(InputError) as caught:
            read_value(by_key()[asked], given, "here")
        fault = caught.value.faults[0]
        assert f"did you mean {value}?" in f"{fault.why} {fault.remedy}"


def unaccented(word: str) -> str:
    return unicodedata.normalize("NFKD", word).encode("ascii", "ignore").decode()


@pytest.mark.parametrize("language", languages())
def test_the_name_of_an_appliance_is_answered_with_its_word(language: str) -> None:
    by_name: dict[str, list[str]] = {}
    for word in CATALOGUE:
        (row,) = load_tables([f"{word}, 1, 8-20, essential"])["essential"]
        by_name.setdefault(name_in(row["name"], language), []).append(word)
    for name, words in by_name.items():
        if name.casefold() not in CATALOGUE:
            with pytest.raises(InputError, match=f"did you mean ({'|'.join(words)})"):
                read_value(by_key()["loads"], f"{name.replace(',', '')}, 1", "here")


def test_a_fault_between_answers_names_the_answer() -> None:
    text = short_text({"name": "Shop", "roof_length_m": 5.0,
                       "obstacles": ("Tank: 9 along, 1 up, 1 x 1 x 1",)})  # fmt: skip
    (where,) = faults_of(text)
    assert where.startswith("shop.toml: survey.obstacles (line ")


@pytest.mark.parametrize(
    ("key", "given"),
    [("latitude_deg", True), ("latitude_deg", float("nan")), ("latitude_deg", "north"),
     ("latitude_deg", 10**400), ("roof_kind", "thatch"), ("room_m", "3 x 2,4 x 2"),
     ("obstacles", "Tank"), ("obstacles", 3), ("loads", "fridge, 1, 25-26"), ("loads", [3]),
     ("loads", ["fridge"] * 61), ("horizon", "60"), ("horizon", "90:12, 60:0"),
     ("horizon", "60:0, 60:3"), ("horizon", "350:5, 370:3"), ("customer", "a\tb"),
     ("customer", "x" * 121), ("customer", "a\uffff"), ("time_zone", "Lusaka"),
     ("loads", "=cmd 5 W"), ("grid_h_per_day", {})],
)  # fmt: skip
def test_what_a_field_may_not_hold_is_refused(key: str, given: Any) -> None:
    with pytest.raises(InputError) as caught:
        read_value(by_key()[key], given, "here")
    for fault in caught.value.faults:
        assert fault.where.startswith("here")
        assert fault.given
        assert fault.allowed


@given(key=some.sampled_from([one.key for one in fields()]),
       given=some.one_of(some.text(max_size=40), some.integers(), some.floats(), some.none(),
                         some.booleans(), some.lists(some.text(max_size=20), max_size=3)))
def test_a_value_is_read_the_same_again_or_refused(key: str, given: Any) -> None:
    try:
        once = read_value(by_key()[key], given, "here")
    except InputError:
        return
    assert read_value(by_key()[key], once, "here") == once


def test_files_are_written_all_or_none(tmp_path: Path) -> None:
    (tmp_path / "b.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="exists already"):
        write_files([("a", "x"), ("b", "y")], tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["b.toml"]


def test_keys_that_are_filled_in_are_not_among_those_that_could_be() -> None:
    text = short_text({"name": "Shop", "phases": "3", "customer": "Ada"})
    (more,) = [part for part in text.split("\n\n") if "More keys of it" in part]
    assert "soil_kind" in more
    assert not {"phases", "customer"} & set(more.replace(",", " ").replace(".", " ").split())


# --- the first size


@settings(deadline=None)
@given(lines=some.lists(load_lines(CATALOGUE), min_size=1, max_size=6))
def test_energy_and_demand_agree_with_those_of_the_loads_stage(lines: list[str]) -> None:
    site = survey_of(Answers(values={"name": "A", "loads": tuple(lines)}), {}, "a")
    whole = surveyed_site(site.answers, {}, FOLDER / "a.toml").site
    for board, rows in load_tables(lines).items():
        day_wh = float(board_day_w(whole.loads, board, folder=FOLDER).sum()) / 60.0
        assert day_energy_wh(rows) == pytest.approx(day_wh, rel=1e-6, abs=1e-6)
        peaks = board_peaks(appliances_of(whole.loads, board))
        power_w, _ = demand_of(rows)
        assert power_w == pytest.approx(peaks.power_w)


def _sun_h(site: Site) -> float:
    """Half of the light above the air, half of that turned onto the plane: a day's, hand."""
    north, plane = site.site.latitude_deg, site.array
    flat = [0.5 * one for one in above_air_kwh_m2_day(north)]
    tilt = {"tilt_deg": float(plane.tilt_deg or 0.0), "azimuth_deg": float(plane.azimuth_deg or 0)}
    sky = (1.0 + math.cos(math.radians(tilt["tilt_deg"]))) / 2.0
    turned = [min(beam_on_plane(north, 16 + 30 * month, **tilt), 5.0) for month in range(12)]
    months = [0.5 * one * (sky + beam) for one, beam in zip(flat, turned, strict=True)]
    found = sum(months) / 12.0 if site.generator.power_w > 0.0 else min(months)
    return max(found, 0.5)


def test_a_board_too_large_for_one_inverter_has_several() -> None:
    """One on each phase, of a board with one phase side by side; each charges its share."""
    loads = ("Oven 9 kW three-phase, 1, 4-9", "Mixer 1500 W, 1, 3-5", "fridge, 2")
    answers = {"name": "Bakery", "loads": loads, "grid_h_per_day": 18.0, "grid_w": 17000.0}
    three = site_of(short_text({**answers, "phases": "3"})).site
    essential = three.inverter.essential
    assert (essential.count, essential.arrangement) == (3, "one-a-phase")
    assert essential.total_power_w >= 1.25 * 10500.0
    assert [one.phase for one in three.loads.essential] == ["three", "any", "any"]
    assert three.grid.limit_w == 17000.0
    assert three.inverter.nonessential.count == 1
    assert three.loads.nonessential_phases == 1, "one inverter feeds one of the phases"
    assert three.loads.essential_phases is None
    bank_w = three.battery.max_charge_c_rate * three.battery.rated_wh
    charged_w = 3 * float(three.supply.charger_power_w or 0.0)
    assert 0.19 * bank_w < charged_w <= 0.2 * bank_w
    one = site_of(short_text({**answers, "loads": ("Oven 9 kW, 1, 4-9",)})).site
    assert (one.inverter.essential.count, one.inverter.essential.arrangement) == (2, "parallel")
    assert "phase" in str(faults_of(short_text({**answers, "phases": "1"})))


@pytest.mark.parametrize(("phases", "line_v"), [("1", 230.0), ("2", 120.0), ("3", 230.0)])
def test_a_split_phase_supply_has_its_usual_voltage(phases: str, line_v: float) -> None:
    """120 V line to neutral, 240 V between the lines; not 230 and 460."""
    text = short_text({"name": "House", "phases": phases})
    assert site_of(text).site.supply.ac_voltage_v == line_v
    own = site_of(text + "\n[supply]\nac_voltage_v = 127.0\n").site
    assert own.supply.ac_voltage_v == 127.0
    for word in ("two", "2"):
        pump = short_text({"name": "House", "phases": phases,
                           "loads": (f"Pump 1.1 kW {word}-phase",)})  # fmt: skip
        if phases == "2":
            assert [one.phase for one in site_of(pump).site.loads.essential] == ["two"]
        else:
            assert "phase" in str(faults_of(pump))


def test_a_plate_in_other_units_says_what_to_enter() -> None:
    for plate, said in (("8 kVA", "6400 at the usual power factor of 0.8"), ("2.2 kW", "2200")):
        faults = faults_of(short_text({"name": "A"}) + f'generator_w = "{plate}"\n')
        assert said in str(next(iter(faults.values())))


def test_direct_light_on_a_plane_by_hand() -> None:
    """At an equinox a plane as steep as its latitude sees cos of the hour, the flat cos of both."""
    for north in (-52.0, 0.0, 31.0):
        on = beam_on_plane(north, 81, tilt_deg=abs(north), azimuth_deg=180.0 if north > 0 else 0.0)
        assert on == pytest.approx(1.0 / math.cos(math.radians(north)), rel=1e-3)
    assert beam_on_plane(20.0, 100, tilt_deg=0.0, azimuth_deg=90.0) == pytest.approx(1.0)
    assert beam_on_plane(80.0, 355, tilt_deg=80.0, azimuth_deg=180.0) == 0.0
    east, west = (beam_on_plane(10.0, 200, tilt_deg=40.0, azimuth_deg=way) for way in (90.0, 270.0))
    assert east == pytest.approx(west)


_CLINIC = ("fridge, 2, 0-24", "lamp-led, 12, 18-23", "Vaccine store 120 W, 1, 0-24",
           "laptop, 3, 8-17", "fan-ceiling, 4, 9-18, nonessential")
_SCHOOL = ("lamp-led, 40, 18-22", "laptop, 10, 8-16", "Pump 750 W, 1, 9-13, nonessential",
           "fridge, 1, 0-24", "Router 25 W, 1, 0-24")
_WORKSHOP = ("lamp-led, 14, 6-8+18-22", "Drill press 900 W, 1, 9-12",
             "Sewing machine 120 W, 6, 8-17", "fridge, 1, 0-24",
             "Iron 1200 W, 1, 10-12, nonessential")
_MONTHLY = """
[weather]
source = "monthly"
[weather.monthly]
ghi_kwh_m2_day = [5.2, 5.5, 5.4, 5.0, 4.8, 4.7, 4.6, 4.9, 5.2, 5.1, 4.9, 5.0]
temp_air_c = [22.5, 23.0, 22.8, 22.3, 22.0, 21.6, 21.2, 21.6, 22.0, 22.2, 22.1, 22.1]
"""


@pytest.mark.parametrize(("answers", "more"), [
    ({"latitude_deg": 25.8, "longitude_deg": -80.3, "time_zone": "America/New_York",
      "weather": "library:12839.tm2", "roof_length_m": 14.0, "loads": _CLINIC}, ""),
    ({"latitude_deg": -15.4, "longitude_deg": 28.3, "time_zone": "Africa/Lusaka",
      "weather": str(data_folder() / "weather/dry-plateau-synthetic.csv"),
      "roof_length_m": 20.0, "loads": _SCHOOL}, ""),
    ({"latitude_deg": 0.3, "longitude_deg": 32.6, "time_zone": "Africa/Kampala",
      "weather": "monthly", "grid_h_per_day": 10.0, "roof_length_m": 15.0,
      "roof_slope_deg": 12.0, "loads": _WORKSHOP}, _MONTHLY),
    ({"latitude_deg": 25.8, "longitude_deg": -80.3, "time_zone": "America/New_York",
      "weather": "library:12839.tm2", "roof_length_m": 14.0, "loads": _CLINIC,
      "grid_h_per_day": 18.0, "outage_h": 2.0}, ""),
    ({"latitude_deg": -15.4, "longitude_deg": 28.3, "time_zone": "Africa/Lusaka",
      "weather": str(data_folder() / "weather/dry-plateau-synthetic.csv"),
      "roof_length_m": 20.0, "loads": _SCHOOL, "grid_h_per_day": 22.0, "outage_h": 2.0}, ""),
], ids=["clinic", "school", "workshop", "clinic-18-h-of-grid", "school-22-h-of-grid"])  # fmt: skip
def test_a_first_size_serves_and_costs_little_more_than_the_least_that_does(
    tmp_path: Path, answers: dict[str, Any], more: str
) -> None:
    """Hardly an hour without supply, for a quarter more than the cheapest with the same hours."""
    path = tmp_path / "site.toml"
    path.write_text(short_text({"name": "Site", "roof_depth_m": 9.0, **answers}) + more,
                    encoding="utf-8")  # fmt: skip
    design = open_design(path)
    hours = float(design.supply.hours_without_supply("essential"))
    assert hours <= 8.0
    array, battery = design.site.array, design.site.battery
    table = search(design, wish=Wish(most_hours=hours), limits={
        "tilt_deg": [design.array.rows.tilt_deg], "orientation": [array.orientation],
        "modules_in_series": sorted({max(array.modules_in_series - 1, 1),
                                     array.modules_in_series}),
        "battery": ["as designed"], "strings": list(range(1, 2 * array.string_count + 1)),
        "units_in_parallel": list(range(1, battery.units_in_parallel + 3)),
    } if array.mounting == "open-frame" else {"battery": ["as designed"]}).table
    least = float(table[table["hours"] <= hours]["price"].min())
    assert least <= design.offer.total <= 1.25 * least


def _beside_grid(site: Site) -> tuple[float, float]:
    """Share of a day for the array, and the outage that the battery carries [h]; by hand."""
    grid = site.grid
    if grid.kind == "none":
        return 1.0, math.inf
    away_h = 0.0 if grid.kind == "always" else grid.outage_h_per_day
    spell_h = grid.mean_outage_h * math.log(365.0 * away_h / 8.0) if 365.0 * away_h > 8.0 else 0.0
    return min(max((away_h + 2.0 * grid.mean_outage_h) / 24.0, spell_h / 24.0, 0.25), 1.0), spell_h


def _most_wh(site: Site, hours: float) -> float:
    """Most energy of both boards in so many hours on end, window by window [Wh]."""
    if hours == math.inf:
        return math.inf
    minute_w = sum(board_day_w(site.loads, board, folder=FOLDER) for board in BOARDS)
    length = round(60.0 * hours)
    whole, rest = divmod(length, 1440)
    twice = np.concatenate([minute_w, minute_w])
    most = max(twice[start : start + rest].sum() for start in range(1440))
    return float(whole * minute_w.sum() + most) / 60.0


@settings(deadline=None, max_examples=60)
@given(record=sound_records(), hours=some.lists(
    some.floats(0.0, 24.0).map(lambda one: round(one, 2)), min_size=2, max_size=5))
def test_more_hours_of_grid_never_make_a_first_size_larger(
    record: dict[str, Any], hours: list[float]
) -> None:
    """Neither modules nor controllers nor battery.

    A battery without any grid is left out: beside one its charger takes a part of the charge
    current, and a battery that the current decides is then larger.
    """
    found = []
    for value in sorted({*hours, 24.0}):
        site = surveyed_site(Answers(values=record | {"grid_h_per_day": value}), {},
                             FOLDER / "a.toml").site  # fmt: skip
        of_grid = site.grid.kind != "none" or site.generator.power_w > 0.0
        found.append((site.array.module_count, site.controller.count, site.controllers_a,
                      site.battery.units_in_parallel if of_grid else 20))
    for less, more in itertools.pairwise(found):
        assert all(one >= other for one, other in zip(less, more, strict=True))


@settings(deadline=None, max_examples=60)
@given(record=sound_records())
def test_a_first_size_carries_the_loads_or_stands_at_a_limit(record: dict[str, Any]) -> None:
    site = surveyed_site(Answers(values=record), {}, FOLDER / "a.toml").site
    day_wh = sum(
        float(board_day_w(site.loads, board, folder=FOLDER).sum()) / 60.0 for board in BOARDS)
    array, battery, controller = site.array, site.battery, site.controller
    strings = array.module_count // array.modules_in_series
    assert array.modules_in_series * site.module.voc_v * 1.15 <= controller.max_pv_voltage_v
    assert array.modules_in_series * site.module.vmp_v * 0.85 >= controller.min_tracking_voltage_v
    assert controller.count <= strings
    usable_wh = battery.rated_wh * (1.0 - battery.min_soc_frac) * battery.discharge_efficiency_frac
    alone, spell_h = _beside_grid(site)
    days = 1.0 if site.grid.kind != "none" else 2.0
    if abs(site.site.latitude_deg) <= 25.0 or site.generator.power_w > 0.0:
        days *= 0.65
    elif abs(site.site.latitude_deg) < 35.0:
        days *= 0.65 + 0.35 * (abs(site.site.latitude_deg) - 25.0) / 10.0
    carried_wh = min(days * day_wh, _most_wh(site, spell_h))
    banks = len(site.banks)
    most = most_strings(battery.chemistry, battery.unit_capacity_ah)
    largest_bank = max(one.units_in_parallel for one in site.banks.values())
    at_fuse = largest_bank == most and usable_wh >= min(day_wh, carried_wh) * (1.0 - 1e-9)
    assert usable_wh >= carried_wh * (1.0 - 1e-9) or battery.units_in_parallel == 20 or at_fuse
    fewer = battery.units_in_parallel - banks
    charge_a = controller.count * controller.max_charge_current_a
    left = 0.8 if site.grid.kind != "none" or site.generator.power_w > 0.0 else 1.0
    if banks > 1:  # one bank has one of an odd number more
        charge_a *= 2.0 * ((controller.count + 1) // 2) / controller.count
        assert largest_bank * banks > most
    assert fewer == 0 or battery.units_in_parallel == 20 or (
        usable_wh * fewer / battery.units_in_parallel < carried_wh * (1.0 + 1e-9)
        or left * battery.max_charge_c_rate * battery.unit_capacity_ah * fewer < charge_a)
    listed = bundled_equipment()["inverters"].values()
    largest = max(one.values["continuous_power_w"] for one in listed)
    for board, inverter in (("essential", site.inverter.essential),
                            ("nonessential", site.inverter.nonessential)):
        peak_w = board_peaks(appliances_of(site.loads, board)).power_w
        assert inverter.total_power_w >= 1.25 * peak_w * (1.0 - 1e-9) or \
            (inverter.continuous_power_w, inverter.count) == (largest, 1)
        if inverter.count > 1:
            assert inverter.count == max(site.loads.phases, 2)
            assert controller.count <= 3
    area_m2 = array.module_count * site.module.length_m * site.module.width_m
    assert area_m2 <= site.roof.length_m * site.roof.depth_m or strings == 1
    wanted = math.ceil(alone * day_wh / (_sun_h(site) * 0.45 * site.module.pmax_w) - 1e-9)
    assert array.module_count >= wanted or area_m2 * 12 > site.roof.length_m * site.roof.depth_m \
        or strings == 20 or site.roof.length_m < 3.0 or site.roof.depth_m < 3.0


@settings(max_examples=200, deadline=None)
@given(some.sampled_from([one for one in fields() if one.kind == "number"]),
       some.integers(1, 999), some.integers(0, 999))
def test_a_point_before_three_figures_is_asked_about_where_the_field_holds_both(
    one: Any, whole: int, part: int
) -> None:
    """In a text, as a spreadsheet keeps it: 1.250 m up is a height as well as 1250 m."""
    readings = (float(f"{whole}.{part:03d}"), float(f"{whole}{part:03d}"))
    fit = [number for number in readings if one.low <= number <= one.high]
    try:
        found = read_value(one, f"{whole}.{part:03d}", "here")
    except InputError as error:
        said = error.faults[0].why
        assert ("it may mean" in said) if len(fit) == 2 else (fit == [] or one.unit == "W")
    else:
        assert [found] == fit[:1]
        assert len(fit) == 1


@given(some.integers(1, 12), some.integers(25, 90), some.booleans())
@settings(max_examples=40, deadline=None)
def test_a_first_rack_is_no_heavier_than_its_floor_bears_where_the_wall_has_room(
    count: int, tenths: int, grid: bool
) -> None:
    own = "grid_h_per_day = 12" if grid else ""
    site = site_of(f"""[survey]
name = "Shop"
latitude_deg = 9.0
longitude_deg = 8.0
time_zone = "Africa/Lagos"
roof_length_m = 20
roof_depth_m = 12
loads = ["fridge, {count}"]
room_m = "{tenths / 10.0} x 3 x 2.6"
{own}
""").site
    rows = racks_of(site)
    lower = site.model_copy(update={"room": site.room.model_copy(update={"rack_tiers": 1})})
    load = floor_load(site.battery, site.room, room_layout(site, 0.0))
    light = load.rack_kg_per_m2 <= site.room.floor_kg_per_m2
    assert light or len(racks_of(lower).boxes) > 1 or racks_of(lower).left_over
    if site.room.rack_tiers == 1:
        assert not rows.left_over
        assert len(rows.boxes) == 1


@pytest.mark.parametrize("key", sorted(bundled_equipment()["modules"]))
def test_a_first_string_still_works_in_the_heat(key: str) -> None:
    """The share taken of a module's voltage is about what its cells keep at 85 °C."""
    module = Module(**bundled_equipment()["modules"][key].values)
    assert working_v(module, 85.0) / module.vmp_v >= HOT_FRAC
