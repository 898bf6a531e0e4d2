"""The site file: what is accepted, and that each fault names file, field, value and allowed."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.equipment import LISTS, bundled_equipment
from solarcalc.sitefile.place import MAX_GAP_H, gap_to_sun_h, standard_time_offset_h
from solarcalc.sitefile.read import read_site, weather_path
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.supply import Controller, Inverter
from solarcalc.sitefile.toml import MAX_BYTES, toml_text, write_new_site
from solarcalc.sitefile.wording import allowed_words, type_in_site

BASE = """
[site]
name = "Shop"
latitude_deg = 36.1
longitude_deg = -79.9
elevation_m = 270
time_zone = "America/New_York"

[weather]
source = "year.csv"

[roof]
length_m = 12.0
depth_m = 8.0
azimuth_deg = 180.0

[module]
label = "M"
pmax_w = 300.0
voc_v = 39.9
isc_a = 9.77
vmp_v = 32.6
imp_a = 9.20
alpha_isc_pct_per_k = 0.05
beta_voc_pct_per_k = -0.29
gamma_pmax_pct_per_k = -0.39
cells_in_series = 60
cell_build = "full"
length_m = 1.64
width_m = 0.992
mass_kg = 18.5

[array]
module_count = 6
modules_in_series = 3
orientation = "portrait"
rows = 1
tilt_deg = 20.0
azimuth_deg = 180.0
mounting = "open-frame"

[controller]
label = "C"
max_pv_voltage_v = 150.0
min_tracking_voltage_v = 62.0
max_tracking_voltage_v = 138.0
max_charge_current_a = 60.0
efficiency_frac = 0.97

[inverter.essential]
label = "I"
continuous_power_w = 1000.0
surge_power_va = 2000.0
efficiency_frac = 0.91
no_load_power_w = 9.0

[inverter.nonessential]
label = "J"
continuous_power_w = 2000.0
surge_power_va = 4000.0
efficiency_frac = 0.92
no_load_power_w = 13.0

[battery]
label = "B"
chemistry = "lifepo4"
unit_voltage_v = 51.2
unit_capacity_ah = 100.0
units_in_series = 1
units_in_parallel = 2
charge_efficiency_frac = 0.97
discharge_efficiency_frac = 0.98
max_charge_c_rate = 0.5
max_discharge_c_rate = 1.0
self_discharge_frac_per_month = 0.02
min_soc_frac = 0.2
nonessential_shed_frac = 0.35
nonessential_return_frac = 0.55

[[loads.essential]]
name = "Lamp"
power_w = 9.0
use = ["18:00-23:00"]

[[loads.essential]]
name = "Fridge"
power_w = 100.0
use = ["00:00-24:00"]
"""


def edited(changes: Mapping[str, str | None]) -> str:
    """BASE with values changed, added or (None) taken out; the last table of a name is edited.

    A whole table goes with ``{"[battery]": None}``.
    """
    lines = BASE.splitlines()
    for place, value in changes.items():
        table, _, key = place.rpartition(".")
        header = place if place.startswith("[") else f"[{table}]"
        start = max(
            number for number, line in enumerate(lines) if line in (header, f"[{header}]")
        )
        ends = (n for n in range(start + 1, len(lines)) if lines[n].startswith("["))
        end = next(ends, len(lines))
        if place.startswith("["):
            del lines[start:end]
            continue
        body = [line for line in lines[start + 1 : end] if not line.startswith(f"{key} =")]
        new = [] if value is None else [f"{key} = {value}"]
        lines[start + 1 : end] = new + body
    return "\n".join(lines) + "\n"


def put(folder: Path, text: str | bytes, name: str = "shop.toml") -> Path:
    (folder / "year.csv").touch()
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def faults(folder: Path, text: str | bytes) -> tuple[Fault, ...]:
    with pytest.raises(InputError) as caught:
        read_site(put(folder, text))
    return caught.value.faults


def only(folder: Path, text: str | bytes) -> Fault:
    found = faults(folder, text)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


# --- what is accepted


def test_sound_file_becomes_a_record(tmp_path: Path) -> None:
    sitefile = read_site(put(tmp_path, BASE))
    assert sitefile.site.site.elevation_m == 270.0
    assert isinstance(sitefile.site.site.elevation_m, float)
    assert sitefile.offset_h == -5.0
    assert sitefile.slug == "shop"
    assert sitefile.folder == tmp_path
    assert sitefile.equipment_keys == {}
    assert weather_path(sitefile) == tmp_path / "year.csv"


@pytest.mark.parametrize(
    "raw", [b"\xef\xbb\xbf" + BASE.encode(), BASE.replace("\n", "\r\n").encode()]
)
def test_byte_order_mark_and_line_ends_of_other_editors(tmp_path: Path, raw: bytes) -> None:
    assert read_site(put(tmp_path, raw)).site.site.name == "Shop"


# --- files that are no site file


@pytest.mark.parametrize(
    ("raw", "given", "allowed"),
    [
        (b"", "an empty file", "a site file"),
        (b" \n\t\n", "an empty file", "a site file"),
        (b"[site]\nname = \"caf\xe9\"\n", "0xe9 in line 2", "UTF-8"),
        (b"#" * (MAX_BYTES + 1), f"{MAX_BYTES + 1} bytes", "1 MiB"),
        (b"a = " + b"[" * 100_000, "nested too deep", "plain TOML"),
        (b"a = " + b"9" * 5000, "digits", "TOML"),
    ],
)
def test_files_that_cannot_be_read(tmp_path: Path, raw: bytes, given: str, allowed: str) -> None:
    fault = only(tmp_path, raw)
    assert fault.where.startswith("shop.toml")
    assert given in fault.given + fault.why
    assert allowed in fault.allowed


def test_missing_file_and_folder(tmp_path: Path) -> None:
    for path, words in ((tmp_path / "no.toml", "does not exist"), (tmp_path, "the folder")):
        with pytest.raises(InputError, match=words) as caught:
            read_site(path)
        assert caught.value.faults[0].where == path.name


@pytest.mark.parametrize("path", ["a\0b.toml", "x" * 300 + ".toml"])
def test_impossible_paths(path: str) -> None:
    with pytest.raises(InputError):
        read_site(path)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("[site]\nname = Shop\n", "line 2, column 8"),
        ("[site]\nlatitude_deg = 36,1\n", "line 2, column 18"),
        ("[site]\n[site]\n", "line 2, column 6"),
        ("[site]\nname = \"Shop", "line 2"),
    ],
)
def test_syntax_fault_names_line_and_column(tmp_path: Path, text: str, place: str) -> None:
    fault = only(tmp_path, text)
    assert fault.where.startswith(f"shop.toml: {place}")
    assert fault.why


# --- single fields

ONE_FIELD = [
    ("battery.min_soc_frac", "1.5", "1.5", "a number from 0 to 1"),
    ("site.latitude_deg", "91", "91", "a number from -90 to 90 degrees"),
    ("site.longitude_deg", "-181.0", "-181.0", "a number from -180 to 180 degrees"),
    ("roof.azimuth_deg", "360.0", "360.0", "a number from 0 to below 360 degrees"),
    ("roof.length_m", "0", "0", "a number above 0 up to 500 m"),
    ("roof.length_m", '"12"', "'12'", "a number above 0 up to 500 m"),
    ("roof.length_m", "nan", "nan", "a number above 0 up to 500 m"),
    ("roof.length_m", "inf", "inf", "a number above 0 up to 500 m"),
    ("roof.length_m", "true", "true", "a number above 0 up to 500 m"),
    ("array.modules_in_series", "0", "0", "a whole number from 1 to 60"),
    ("array.modules_in_series", "3.0", "3.0", "a whole number from 1 to 60"),
    ("array.orientation", '"upright"', "'upright'", "one of portrait, landscape"),
    ("weather.rebuild_beam", "1", "1", "true or false"),
    ("battery.room_c", "99", "99", "a number from -40 to 60 °C"),
    ("earthing.target_ohm", "0", "0", "a number above 0 up to 10000 Ω"),
    ("generator.power_w", "1e-9", "1e-09", "0 for no generator, or a number from 100 to 200000 W"),
    ("quote.valid_days", "1e308", "1e+308", "a whole number from 1 to 365"),
    ("search.tilt_deg", "5", "5", "a list of numbers, in degrees"),
    ("search.tilt_deg", '["3 m"]', "'3 m'", "a number, in degrees"),
    ("quote.grid_tariff_per_kwh", "-1", "-1", "a number from 0 to 1000000"),
    ("weather.utc_offset_h", "5.3", "5.3", "a number from -12 to 14 h, in steps of 0.25"),
    ("module.beta_voc_pct_per_k", "0.0", "0.0", "a number from -0.6 to below 0 % per kelvin"),
    ("site.name", '""', "''", "text in quotes, 1 to 120 characters"),
    ("site.name", '"  "', "'  '", "text, 1 to 120 characters, not only spaces"),
    ("site.name", "2001-01-01", "2001-01-01", "text in quotes, 1 to 120 characters"),
    ("site.name", f'"{"x" * 121}"', "'xxx", "text in quotes, 1 to 120 characters"),
    ("site.name", '"a\\nb"', r"'a\nb'", "without control characters; found U+000A"),
    ("site.name", '"a\\u001bb"', r"'a\x1bb'", "without control characters; found U+001B"),
    ("site.name", '"a\\u202eb"', r"'a\u202eb'", "without control characters; found U+202E"),
    ("site.customer", '"a\\u0007"', r"'a\x07'", "without control characters; found U+0007"),
    ("soiling.dry_months", "[0]", "[0]", "month numbers from 1 to 12, each once"),
    ("soiling.cleaning_dates", '["02-30"]', "['02-30']", 'each is "MM-DD"'),
    ("loads.essential", "7", "7", "a list of tables, [[loads.essential]]"),
]


@pytest.mark.parametrize(("place", "value", "given", "allowed"), ONE_FIELD)
def test_a_wrong_value_names_file_field_value_and_allowed(
    tmp_path: Path, place: str, value: str, given: str, allowed: str
) -> None:
    table, _, key = place.rpartition(".")
    added = table in ("soiling", "earthing", "search", "quote", "generator")
    text = edited({} if added or table == "loads" else {place: value})
    if added:
        text += f"[{table}]\n{key} = {value}\n"
    if table == "loads":
        text = edited({"[loads.essential]": None})
        text = text[: text.index("[[loads")] + f"[loads]\n{key} = {value}\n"
    fault = only(tmp_path, text)
    assert fault.where.partition("[")[0] == f"shop.toml: {place}"
    assert fault.given.startswith(given)
    assert len(fault.given) <= 80
    assert allowed in fault.allowed


def test_number_in_quotes_and_point_in_a_count_have_a_remedy(tmp_path: Path) -> None:
    assert "without quotes" in only(tmp_path, edited({"roof.depth_m": '"8"'})).remedy
    assert "enter 6" in only(tmp_path, edited({"array.module_count": "6.0"})).remedy
    assert not only(tmp_path, edited({"array.module_count": "1e308"})).remedy


def test_a_note_may_have_several_lines(tmp_path: Path) -> None:
    text = edited({"site.note": '"one\\n\\ttwo"'})
    assert read_site(put(tmp_path, text)).site.site.note == "one\n\ttwo"


@pytest.mark.parametrize(
    ("span", "allowed"),
    [
        ('"18-23"', 'each is "HH:MM-HH:MM"'),
        ('"18:00-25:00"', 'each is "HH:MM-HH:MM"'),
        ('"18:00-18:00"', "a span must have a length"),
        ('"18:00-24:30"', "24:00 is the last moment"),
        ('"24:00-06:00"', "begins at 00:00"),
    ],
)
def test_clock_spans(tmp_path: Path, span: str, allowed: str) -> None:
    fault = only(tmp_path, edited({"loads.essential.use": f"[{span}]"}))
    assert fault.where == 'shop.toml: loads.essential[2].use (appliance 2, "Fridge")'
    assert allowed in fault.allowed


def test_items_of_lists_are_counted_from_one_and_named(tmp_path: Path) -> None:
    fault = only(tmp_path, edited({"loads.essential.power_w": "-5"}))
    assert fault.where == 'shop.toml: loads.essential[2].power_w (appliance 2, "Fridge")'
    fault = only(tmp_path, edited({"loads.essential.use": '["08:00-09:00", 10]'}))
    assert fault.where == 'shop.toml: loads.essential[2].use[2] (appliance 2, "Fridge", item 2)'


# --- missing and unknown keys


def test_missing_key(tmp_path: Path) -> None:
    fault = only(tmp_path, edited({"battery.min_soc_frac": None}))
    assert fault.where == "shop.toml: battery.min_soc_frac"
    assert fault.given == "nothing"
    assert fault.allowed == "a number from 0 to 1"
    assert "min_soc_frac" in fault.remedy
    assert "[battery]" in fault.remedy


@pytest.mark.parametrize("table", ["roof", "battery", "inverter.nonessential"])
def test_missing_table(tmp_path: Path, table: str) -> None:
    fault = only(tmp_path, edited({f"[{table}]": None}))
    assert (fault.where, fault.given) == (f"shop.toml: {table}", "nothing")
    assert fault.remedy.startswith(f"add the table [{table}]")


def test_one_inverter_for_both_boards_is_entered_once(tmp_path: Path) -> None:
    one, alone = '\n[supply]\nlayout = "one-inverter"\n', {"[inverter.nonessential]": None}
    site = read_site(put(tmp_path, edited(alone) + one)).site
    assert site.inverter.nonessential == site.inverter.essential
    assert site.inverters == read_site(put(tmp_path, BASE + one)).site.inverters
    assert 'layout = "one-inverter"' in only(tmp_path, edited(alone)).remedy
    wrong = edited({"inverter.essential.surge_power_va": "-1.0", **alone})
    assert only(tmp_path, wrong + one).where == "shop.toml: inverter.essential.surge_power_va"
    assert len(faults(tmp_path, wrong)) == 2


@pytest.mark.parametrize(
    ("place", "remedy"),
    [
        ("battery.min_soc_fracc", "did you mean min_soc_frac?"),
        ("inverter.nonessential.no_load_w", "did you mean no_load_power_w?"),
        ("loads.essential.duty", "did you mean duty_frac?"),
        ("roof.tilt_deg", "tilt_deg belongs in [array]"),
        ("site.qqqq", "delete it"),
        ("roof.use", "use belongs in [module]"),
    ],
)
def test_unknown_key_is_refused_with_the_nearest(tmp_path: Path, place: str, remedy: str) -> None:
    fault = only(tmp_path, edited({place: "0.5"}))
    table, _, key = place.rpartition(".")
    if table == "loads.essential":
        assert fault.where == 'shop.toml: loads.essential[2].duty (appliance 2, "Fridge")'
    else:
        assert fault.where == f"shop.toml: {place}"
    assert key in fault.given
    assert "0.5" in fault.given
    assert fault.remedy.startswith(remedy)


def test_unknown_table(tmp_path: Path) -> None:
    fault = only(tmp_path, BASE + "[batery]\nx = 1\n")
    assert fault.where == "shop.toml: batery"
    assert fault.remedy == "did you mean battery?"


def test_hostile_key_is_printed_harmlessly(tmp_path: Path) -> None:
    fault = only(tmp_path, edited({'roof."\\u001b[31m"': "1"}))
    assert "\x1b" not in str(fault)


# --- contradictions between fields

CROSS = [
    ({"module.width_m": "1.7"}, "module.width_m", "at most length_m"),
    ({"module.voc_v": "32.6"}, "module.vmp_v", "below voc_v"),
    ({"module.isc_a": "9.2"}, "module.imp_a", "below isc_a"),
    ({"module.pmax_w": "310.0"}, "module.pmax_w", "within 3 % of vmp_v × imp_a"),
    ({"module.cells_in_series": "40"}, "module.cells_in_series", "equally many"),
    ({"module.cell_columns": "4"}, "module.cell_columns", "a multiple of bypass_diodes = 3"),
    ({"module.cell_columns": "9"}, "module.cell_columns", "equally many"),
    ({"inverter.nonessential.bank_voltage_v": "24.0"}, "inverter.nonessential.bank_voltage_v",
     "the battery voltage, within 10 %"),
    ({"array.module_count": "7"}, "array.module_count", "such as 6 or 9"),
    ({"array.module_count": "2"}, "array.module_count", "such as 3"),
    ({"controller.min_tracking_voltage_v": "138.0"}, "controller.min_tracking_voltage_v",
     "below max_tracking_voltage_v"),
    ({"controller.max_tracking_voltage_v": "151.0"}, "controller.max_tracking_voltage_v",
     "at most max_pv_voltage_v"),
    ({"battery.min_soc_frac": "0.4"}, "battery.min_soc_frac", "at most nonessential_shed_frac"),
    ({"battery.nonessential_return_frac": "0.35"}, "battery.nonessential_shed_frac",
     "below nonessential_return_frac"),
    ({"inverter.nonessential.surge_power_va": "1999.0"}, "inverter.nonessential.continuous_power_w",
     "at most surge_power_va"),
    ({"weather.format": '"epw"', "weather.hour_label": '"end"'}, "weather.hour_label",
     "for plain csv only"),
    ({"weather.source": '"library:12839.tm2"', "weather.utc_offset_h": "-5.0"},
     "weather.utc_offset_h", "for plain csv only"),
    ({"weather.source": '"library:703165TY.csv"', "weather.columns": '{ ghi = "g" }'},
     "weather.columns", "for plain csv only"),
    ({"weather.columns": '{ gih = "g" }'}, "weather.columns.gih", "ghi, dni, dhi"),
    ({"weather.station_latitude_deg": "36.0"}, "weather.station_longitude_deg", "both or neither"),
    ({"weather.station_longitude_deg": "-79.0"}, "weather.station_latitude_deg",
     "both or neither"),
    ({"loads.essential.name": '"lamp"'}, 'loads.essential[2].name (appliance 2, "lamp")',
     "each appliance once"),
    ({"site.time_zone": '"Africa/Harrare"'}, "site.time_zone", "a zone name such as"),
    ({"site.longitude_deg": "79.9"}, "site.time_zone", "within 3.5 h of mean solar time"),
    ({"weather.source": '"gone.csv"'}, "weather.source", "a weather file, looked for from"),
    ({"weather.source": '"."'}, "weather.source", "a weather file, looked for from"),
    ({"weather.source": f'"{"y" * 400}"'}, "weather.source", "a weather file, looked for from"),
    ({"weather.source": '"library:nowhere.tm2"'}, "weather.source", "12839.tm2"),
    ({"weather.source": '"library:../data/12839.tm2"'}, "weather.source", "12839.tm2"),
    ({"weather.source": '"library:"'}, "weather.source", "703165TY.csv, 723170TYA.CSV"),
]


@pytest.mark.parametrize(("changes", "place", "allowed"), CROSS)
def test_contradictions(
    tmp_path: Path, changes: dict[str, str], place: str, allowed: str
) -> None:
    fault = only(tmp_path, edited(changes))
    assert fault.where == f"shop.toml: {place}"
    assert allowed in fault.allowed


TANK = """
[[roof.obstacles]]
name = "Tank"
along_m = 9.0
up_m = 5.0
length_m = 1.2
depth_m = 1.2
height_m = 1.5
clearance_m = 0.3
"""
HATCH = TANK.replace("Tank", "Hatch").replace("along_m = 9.0", "along_m = 2.0")
WAY = """
[[roof.walkways]]
name = "Way"
runs = "along"
from_m = 4.0
width_m = 0.6
"""
SECOND = 'roof.obstacles[2]{} (obstacle 2, "Hatch")'
ON_THE_ROOF = [
    (TANK.replace("1.2", "-1.2", 1), 'roof.obstacles[1].length_m (obstacle 1, "Tank")',
     "-1.2", "above 0 up to 500 m"),
    (TANK.replace("0.3", "-0.3"), 'roof.obstacles[1].clearance_m (obstacle 1, "Tank")',
     "-0.3", "from 0 to 10 m"),
    (TANK.replace("height_m = 1.5\n", ""), 'roof.obstacles[1].height_m (obstacle 1, "Tank")',
     "nothing", "from 0 to 50 m"),
    (TANK.replace("height_m", "hight_m = 1.0\nheight_m"),
     'roof.obstacles[1].hight_m (obstacle 1, "Tank")', "hight_m", "height_m, clearance_m"),
    (TANK.replace("9.0", "11.0"), 'roof.obstacles[1].along_m (obstacle 1, "Tank")',
     "along_m = 11 with length_m = 1.2, up to 12.2 m", "up to 12 m, the end of the roof"),
    (TANK.replace("5.0", "7.0"), 'roof.obstacles[1].up_m (obstacle 1, "Tank")',
     "up_m = 7 with depth_m = 1.2, up to 8.2 m", "up to 8 m, the end of the roof"),
    (TANK + HATCH.replace("Hatch", "tank"),
     'roof.obstacles[2].name (obstacle 2, "tank")', "tank", "a different name for each"),
    (TANK + HATCH.replace("2.0", "8.0"), SECOND.format(""), "overlapping 'Tank'",
     "no overlap"),
    (WAY.replace("4.0", "7.5"), 'roof.walkways[1].from_m (walkway 1, "Way")',
     "from_m = 7.5 with width_m = 0.6, up to 8.1 m", "up to 8 m"),
    (WAY.replace('"along"', '"across"').replace("4.0", "11.5"),
     'roof.walkways[1].from_m (walkway 1, "Way")', "up to 12.1 m", "up to 12 m"),
    (WAY.replace('"along"', '"up"'), 'roof.walkways[1].runs (walkway 1, "Way")', "'up'",
     "one of along, across"),
    (WAY + WAY.replace("Way", "Other"), 'roof.walkways[2] (walkway 2, "Other")',
     "overlapping 'Way'", "no overlap"),
]  # fmt: skip


@pytest.mark.parametrize(("tables", "place", "given", "allowed"), ON_THE_ROOF)
def test_what_cannot_stand_on_the_roof(
    tmp_path: Path, tables: str, place: str, given: str, allowed: str
) -> None:
    fault = only(tmp_path, BASE + tables)
    assert fault.where == f"shop.toml: {place}"
    assert given in fault.given
    assert allowed in fault.allowed


def test_what_may_stand_on_the_roof(tmp_path: Path) -> None:
    """Against one another, against the edge, a walkway across another and past a box."""
    beside = HATCH.replace("2.0", "10.2")  # from where the tank ends
    corner = TANK.replace("Tank", "Corner").replace("9.0", "10.8").replace("5.0", "6.8")
    across = WAY.replace("Way", "Up").replace('"along"', '"across"').replace("4.0", "9.5")
    text = BASE + TANK + beside.replace("1.2", "0.5", 1) + corner + WAY + across
    roof = read_site(put(tmp_path, text)).site.roof
    assert [box.name for box in roof.obstacles] == ["Tank", "Hatch", "Corner"]
    assert [way.runs for way in roof.walkways] == ["along", "across"]


def test_faults_on_a_roof_of_unsound_size_are_not_guessed_at(tmp_path: Path) -> None:
    text = edited({"roof.length_m": "-1"}) + TANK.replace("5.0", "70.0") + WAY
    found = {fault.where.removeprefix("shop.toml: ") for fault in faults(tmp_path, text)}
    assert found == {"roof.length_m", 'roof.obstacles[1].up_m (obstacle 1, "Tank")'}


def test_rails_are_left_to_their_defaults_and_may_be_given(tmp_path: Path) -> None:
    assert read_site(put(tmp_path, BASE)).site.rails.stock_length_m == 4.2
    given = read_site(put(tmp_path, BASE + "[rails]\nstock_length_m = 3.3\n")).site.rails
    assert (given.stock_length_m, given.foot_spacing_m) == (3.3, 1.2)
    fault = only(tmp_path, BASE + "[rails]\nmass_kg_per_m = -1.0\n")
    assert fault.where == "shop.toml: rails.mass_kg_per_m"
    assert fault.allowed == "a number from 0 to 20 kg/m"


def test_equal_values_that_are_allowed(tmp_path: Path) -> None:
    text = edited(
        {
            "battery.min_soc_frac": "0.35",
            "controller.max_tracking_voltage_v": "150.0",
            "inverter.nonessential.surge_power_va": "2000.0",
            "module.width_m": "1.64",
            "module.pmax_w": "308.0",  # hand: 299.92 W x 1.03 = 308.9 W
        }
    )
    assert read_site(put(tmp_path, text)).site.module.pmax_w == 308.0


def test_no_appliance_at_all(tmp_path: Path) -> None:
    text = BASE[: BASE.index("[[loads")] + "[loads]\nessential = []\n"
    fault = only(tmp_path, text)
    assert fault.where == "shop.toml: loads"
    assert "at least one" in fault.allowed


def test_both_boards_may_have_an_appliance_of_the_same_name(tmp_path: Path) -> None:
    text = BASE + '[[loads.nonessential]]\nname = "Lamp"\npower_w = 9.0\nuse = ["18:00-23:00"]\n'
    assert len(read_site(put(tmp_path, text)).site.loads.nonessential) == 1


def test_all_faults_of_a_file_at_once(tmp_path: Path) -> None:
    changes = {
        "site.latitude_deg": "95",
        "site.time_zone": '"Nowhere/Town"',
        "weather.source": '"gone.csv"',
        "roof.slope": "3.0",
        "module.mass_kg": None,
        "module.width_m": "1.7",
        "array.module_count": "7",
        "controller.use": '"tracker-190v-70"',
        "battery.min_soc_frac": "0.4",
        "loads.essential.power_w": '"100 W"',
    }
    found = {fault.where.removeprefix("shop.toml: ") for fault in faults(tmp_path, edited(changes))}
    assert found == {
        "site.latitude_deg",
        "site.time_zone",
        "weather.source",
        "roof.slope",
        "module.mass_kg",
        "module.width_m",
        "array.module_count",
        "controller.use",
        "battery.min_soc_frac",
        'loads.essential[2].power_w (appliance 2, "Fridge")',
    }


def test_message_of_the_exception_holds_every_fault(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_site(put(tmp_path, edited({"roof.depth_m": "-1", "battery.min_soc_frac": "2"})))
    text = str(caught.value)
    for words in ("roof.depth_m", "-1", "up to 500 m", "battery.min_soc_frac", "from 0 to 1"):
        assert words in text


# --- the clock


@pytest.mark.parametrize(
    ("longitude", "zone", "offset"),
    [
        (-172.0, "UTC+13:00", 13.0),
        (-171.8, "Pacific/Apia", 13.0),
        (-176.5, "Pacific/Chatham", 12.75),
        (179.5, "UTC+12:00", 12.0),
        (-179.5, "UTC+12:00", 12.0),
        (-179.5, "UTC-12:00", -12.0),
        (-157.4, "Pacific/Kiritimati", 14.0),
        (85.3, "Asia/Kathmandu", 5.75),
        (77.2, "UTC+05:30", 5.5),
        (75.9, "Asia/Shanghai", 8.0),
        (29.5, "Africa/Harare", 2.0),
        (-8.5, "Europe/Dublin", 0.0),
        (151.2, "Australia/Sydney", 10.0),
        (-160.5, "UTC-09:00", -9.0),
    ],
)
def test_zones_on_both_sides_of_the_date_line(
    tmp_path: Path, longitude: float, zone: str, offset: float
) -> None:
    text = edited({"site.longitude_deg": str(longitude), "site.time_zone": f'"{zone}"'})
    assert read_site(put(tmp_path, text)).offset_h == offset


@pytest.mark.parametrize(
    ("zone", "remedy"),
    [
        ("Africa/Harrare", "did you mean Africa/Harare?"),
        ("africa/lusaka", "did you mean Africa/Lusaka?"),
        ("New York", "did you mean America/New_York?"),
        ("UTC+5", "did you mean UTC+05:00?"),
        ("GMT-3:30", "did you mean UTC-03:30?"),
        ("+0545", "did you mean UTC+05:45?"),
        ("UTC+15:00", ""),
        ("UTC+05:10", ""),
        ("UTC-12:15", ""),
        ("zzzzzzzz", "enter the fixed offset"),
        ("../../etc/passwd", ""),
    ],
)
def test_zone_that_is_not_known(zone: str, remedy: str) -> None:
    with pytest.raises(InputError) as caught:
        standard_time_offset_h(zone, where="shop.toml: site.time_zone")
    fault = caught.value.faults[0]
    assert fault.where == "shop.toml: site.time_zone"
    assert zone in fault.given
    assert "UTC-12:00 to UTC+14:00" in fault.allowed
    assert fault.remedy.startswith(remedy)


@given(
    longitude=st.floats(-180.0, 180.0),
    quarters=st.integers(-14, 14),
    days=st.sampled_from([-24.0, 0.0, 24.0]),
)
@settings(max_examples=200, deadline=None)
def test_gap_does_not_see_the_date_line(longitude: float, quarters: int, days: float) -> None:
    offset = longitude / 15.0 + quarters / 4.0
    assert gap_to_sun_h(offset + days, longitude) == pytest.approx(abs(quarters) / 4.0, abs=1e-9)
    assert gap_to_sun_h(offset, -180.0) == pytest.approx(gap_to_sun_h(offset, 180.0), abs=1e-9)


def test_gap_at_the_limit() -> None:
    # hand: longitude 30 E is 2 h; a clock of UTC+05:30 is 3.5 h ahead
    assert gap_to_sun_h(5.5, 30.0) == MAX_GAP_H


# --- equipment by key


def used(table: str, lines: str, top: str = "") -> str:
    text = edited({f"[{table}]": None})
    cut = text.index("[[loads")
    return f"{top}\n{text[:cut]}[{table}]\n{lines}\n{text[cut:]}"


def test_use_takes_the_entry_and_values_beside_it_replace_single_ones(tmp_path: Path) -> None:
    text = used("controller", 'use = "tracker-190v-70a"\nmin_tracking_voltage_v = 34.0\ncount = 2')
    sitefile = read_site(put(tmp_path, text))
    controller = sitefile.site.controller
    assert controller.min_tracking_voltage_v == 34.0
    assert controller.count == 2
    assert controller.max_charge_current_a == 70.0
    assert controller.label == (
        "Charge controller, not as tracker-190v-70a: own min_tracking_voltage_v")
    assert sitefile.equipment_keys == {"controller": "tracker-190v-70a"}


def test_unknown_equipment_key(tmp_path: Path) -> None:
    fault = only(tmp_path, used("inverter.nonessential", 'use = "inverter-1850"'))
    assert fault.where == "shop.toml: inverter.nonessential.use"
    assert fault.given == "'inverter-1850'"
    assert "inverter-1150w" in fault.allowed
    assert fault.remedy.startswith("did you mean inverter-1850w? Of another make: enter its data")


@pytest.mark.parametrize("key", ["7", "[]", "{}"])
def test_equipment_key_of_another_type(tmp_path: Path, key: str) -> None:
    assert only(tmp_path, used("module", f"use = {key}")).where == "shop.toml: module.use"


def test_missing_value_beside_use(tmp_path: Path) -> None:
    fault = only(tmp_path, used("battery", 'use = "agm-12v-183ah"\nunits_in_series = 4'))
    assert fault.where == "shop.toml: battery.units_in_parallel"
    assert "[battery]" in fault.remedy
    assert "agm-12v-183ah of batteries.toml" in fault.remedy


OWN = """
[controllers.mine]
label = "Own"
max_pv_voltage_v = 100.0
min_tracking_voltage_v = 32.0
max_tracking_voltage_v = 90.0
max_charge_current_a = 30.0
efficiency_frac = 0.96
"""


def test_own_equipment_list_stands_before_the_bundled_one(tmp_path: Path) -> None:
    (tmp_path / "my.toml").write_text(OWN + OWN.replace("mine", "tracker-190v-70a"))
    for key in ("mine", "tracker-190v-70a"):
        text = used("controller", f'use = "{key}"', 'equipment_files = ["my.toml"]')
        assert read_site(put(tmp_path, text)).site.controller.label == "Own"


def test_fault_in_an_own_list_names_that_file(tmp_path: Path) -> None:
    (tmp_path / "my.toml").write_text(OWN.replace("0.96", "96"))
    text = used("controller", 'use = "mine"', 'equipment_files = ["my.toml"]')
    fault = only(tmp_path, text)
    assert fault.where == "my.toml: controllers.mine.efficiency_frac"
    assert fault.given == "96"
    assert fault.allowed == "a number above 0.5 up to 1"


@pytest.mark.parametrize(
    ("files", "own", "where", "words"),
    [
        ('"my.toml"', OWN, "shop.toml: equipment_files", 'a list of file names, ["my.toml"]'),
        ('["gone.toml"]', OWN, "shop.toml: equipment_files[1] (item 1)", "does not exist"),
        ('["my.toml"]', "x = = 1", "shop.toml: equipment_files[1] (item 1)", "my.toml: line 1"),
        ('["my.toml"]', OWN + "[controler.x]\n", "my.toml: controler", "[controllers.KEY]"),
        ('["my.toml", "my.toml"]', OWN, "my.toml: controllers.mine", "each key once"),
    ],
)
def test_own_list_that_cannot_be_used(
    tmp_path: Path, files: str, own: str, where: str, words: str
) -> None:
    (tmp_path / "my.toml").write_text(own)
    fault = only(tmp_path, f"equipment_files = {files}\n{BASE}")
    assert fault.where == where
    assert words in f"{fault.allowed} {fault.why}"


RECORD_OF_LIST: dict[str, type[BaseModel]] = {
    "modules": Module,
    "controllers": Controller,
    "inverters": Inverter,
    "batteries": Battery,
}
IN_THE_SITE = {"units_in_series": 1, "units_in_parallel": 1}
ENTRIES = [(name, key) for name in LISTS for key in bundled_equipment()[name]]


@pytest.mark.parametrize(("name", "key"), ENTRIES)
def test_bundled_equipment_is_sound_and_says_it_is_invented(name: str, key: str) -> None:
    values = dict(bundled_equipment()[name][key].values)
    if name == "batteries":
        values |= IN_THE_SITE
    RECORD_OF_LIST[name].model_validate(values)
    assert values["label"].startswith("Invented ")
    head = (data_folder() / "equipment" / f"{name}.toml").read_text(encoding="utf-8")
    assert "INVENTED" in head.partition("\n[")[0]


def test_bundled_batteries_keep_within_usual_round_trip_efficiency() -> None:
    # Literature ranges, from memory: energy round trip of flooded 0.70-0.85, sealed lead
    # 0.75-0.88, lithium iron phosphate 0.92-0.97.
    usual = {
        "flooded": (0.70, 0.85), "agm": (0.75, 0.88), "gel": (0.75, 0.88), "lifepo4": (0.92, 0.97)
    }
    for entry in bundled_equipment()["batteries"].values():
        low, high = usual[entry.values["chemistry"]]
        both = entry.values["charge_efficiency_frac"] * entry.values["discharge_efficiency_frac"]
        assert low <= both <= high, entry.table


@pytest.mark.parametrize("key", bundled_equipment()["modules"])
def test_single_diode_model_fits_each_bundled_module(key: str) -> None:
    """The fitted model gives back the power of the sheet and its temperature slope."""
    from pvlib import pvsystem

    from solarcalc.circuit.module import five_parameters
    from solarcalc.energy.diode import diode_of

    module = Module.model_validate(bundled_equipment()["modules"][key].values)
    fit = diode_of(module)

    def power_w(cell_c: float) -> float:
        five = five_parameters(fit, 1000.0, cell_c)
        return float(pvsystem.max_power_point(*five, method="newton")["p_mp"])

    assert power_w(25.0) == pytest.approx(module.pmax_w, rel=0.001)
    slope_pct_per_k = (power_w(35.0) / power_w(25.0) - 1.0) * 10.0
    assert slope_pct_per_k == pytest.approx(module.gamma_pmax_pct_per_k, abs=0.01)


# --- demo sites


@pytest.mark.parametrize("stem", demo_sites())
def test_demo_site_is_sound_and_says_it_is_invented(stem: str) -> None:
    path = demo_sites()[stem]
    sitefile = read_site(path)
    monthly = sitefile.site.weather.source == "monthly"
    assert monthly == (sitefile.site.weather.monthly is not None)
    assert monthly or weather_path(sitefile).is_file()
    assert path.read_text(encoding="utf-8").startswith("# INVENTED")
    assert "Invented" in sitefile.site.site.note
    assert {key for key in sitefile.equipment_keys if not key.startswith("planes")} == {
        "module", "controller", "inverter.essential", "inverter.nonessential", "battery"
    }


def test_demo_sites_differ() -> None:
    sites = [read_site(path).site for path in demo_sites().values()]
    assert len(sites) >= 5
    assert len({site.battery.chemistry for site in sites}) == 4
    assert {site.array.mounting for site in sites} == {"open-frame", "small-gap", "flush"}
    assert {site.array.orientation for site in sites} == {"portrait", "landscape"}
    assert any(site.site.latitude_deg < 0.0 for site in sites)


@pytest.mark.parametrize("stem", demo_sites())
def test_demo_array_voltage_fits_its_controller(stem: str) -> None:
    """Cold open-circuit below the highest, hot working voltage above the lowest tracking one.

    Coldest hour of the year's weather less 5 K; cells 35 K above its hottest hour (common
    practice, no source).
    """
    from solarcalc.weather.read import read_weather

    sitefile = read_site(demo_sites()[stem])
    module, controller = sitefile.site.module, sitefile.site.controller
    series = sitefile.site.array.modules_in_series
    air_c = read_weather(sitefile).hours["temp_air"]
    cold_c, hot_c = float(air_c.min()) - 5.0, float(air_c.max()) + 35.0
    voc = module.voc_v * (1.0 + module.beta_voc_pct_per_k / 100.0 * (cold_c - 25.0))
    vmp = module.vmp_v * (1.0 + module.gamma_pmax_pct_per_k / 100.0 * (hot_c - 25.0))
    bank_v = sitefile.site.battery.unit_voltage_v * sitefile.site.battery.units_in_series
    assert series * voc < controller.max_pv_voltage_v
    assert series * vmp > controller.min_tracking_voltage_v > bank_v


# --- a fresh site file

TEMPLATE = (data_folder() / "templates" / "site.toml").read_text(encoding="utf-8")


def template_lines() -> dict[str, str]:
    """Each key of the template, by table, with its line."""
    found: dict[str, str] = {}
    table = ""
    for line in TEMPLATE.splitlines():
        header = re.match(r"^(?:# )?\[+([a-z_.]+)\]+$", line)
        if header:
            table = header[1]
        key = re.match(r"^(?:# )?([a-z0-9_]+) = ", line)
        if key:
            found[f"{table}.{key[1]}".lstrip(".")] = line
    return found


def record_keys(record: type[BaseModel], prefix: str = "") -> list[tuple[int | str, ...]]:
    keys: list[tuple[int | str, ...]] = []

    def walk(loc: tuple[int | str, ...]) -> None:
        annotation, _ = type_in_site(loc)
        if "list of tables" in allowed_words(loc):
            walk((*loc, 0))
        elif isinstance(annotation, type) and issubclass(annotation, BaseModel):
            for name in annotation.model_fields:
                walk((*loc, name))
        else:
            keys.append(loc)

    for name in record.model_fields:
        walk((name,))
    return keys


ALL_KEYS = record_keys(Site)


def test_template_has_each_key_and_no_other() -> None:
    wanted = {".".join(str(part) for part in loc if part != 0) for loc in ALL_KEYS}
    wanted -= {key for key in wanted if key.startswith("planes.") and key != "planes.name"}
    uses = {f"{name}.use" for name in
            ("module", "controller", "inverter.essential", "inverter.nonessential", "battery")}
    uses |= {f"loads.{board}.catalogue" for board in ("essential", "nonessential")}
    assert set(template_lines()) == wanted | uses | {"equipment_files", "base"}


OWN_KEYS = [loc for loc in ALL_KEYS if loc[0] != "planes" or len(loc) == 3]
"""Without those of a further plane, which are the keys of the site's own tables."""


@pytest.mark.parametrize("loc", OWN_KEYS, ids=lambda loc: ".".join(map(str, loc)))
def test_template_says_what_each_key_may_hold_and_its_default(loc: tuple[int | str, ...]) -> None:
    line = template_lines()[".".join(str(part) for part in loc if part != 0)]
    assert allowed_words(loc) in line
    _, info = type_in_site(loc)
    assert info is not None
    if info.is_required() or not line.startswith("# ") or (
        loc[0] in ("module", "loads", "places", "planes", "variants") or loc[1] == "tasks"
    ):
        return
    default = info.get_default(call_default_factory=True)
    if default is not None and default != {}:
        assert tomllib.loads(line.removeprefix("# "))[str(loc[-1])] == default


def test_template_is_sound_with_every_default_written_out(tmp_path: Path) -> None:
    """Taking the mark off any commented key of an ordinary table leaves the file sound."""
    skip = re.compile(
        r"^# (equipment_files|base|hour_label|utc_offset_h|station_|columns"
        r"|ghi_kwh_m2_day|temp_air_c|temp_range_k|wind_speed_m_s|rain_mm|seed|year"
        r"|gap_under_m|exposure|room_c|surge_va|ambient_c|logo|charge_current_a) ?"
    )
    lines = [
        line if skip.match(line) else re.sub(r"^# (?=[a-z0-9_.]+ = |\[\[)", "", line)
        for line in TEMPLATE.splitlines()
    ]
    read_site(put(tmp_path, "\n".join(lines).replace("@NAME@", "All")))


def test_new_site_passes_at_once_and_nothing_is_written_over(tmp_path: Path) -> None:
    path = write_new_site("My Shop", tmp_path)
    assert path == tmp_path / "my-shop.toml"
    assert read_site(path).site.site.name == "My Shop"
    before = path.read_bytes()
    with pytest.raises(InputError, match="exists already"):
        write_new_site("my shop!", tmp_path)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "name",
    [
        'The "Oak" \\ Elm',
        "C:\\new\\table",
        "Café 🌞 日本",
        "$x_1$ {{7*7}} <script>alert(1)</script>",
        "'''\"\"\" # no comment",
        "@NAME@ \"@NAME@\"",
        "../../up",
        "=cmd|' /C calc'!A0",
    ],
)
def test_weird_names_survive_the_round_trip(tmp_path: Path, name: str) -> None:
    path = write_new_site(name, tmp_path)
    assert path.parent == tmp_path
    assert re.fullmatch(r"[a-z0-9-]+\.toml", path.name)
    assert read_site(path).site.site.name == name


@pytest.mark.parametrize("name", ["", "   ", "a\nb", "a\x00b", "a\x7fb", "x" * 121, "a\u202eb"])
def test_names_that_are_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="NAME"):
        write_new_site(name, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_new_site_wants_a_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a folder that exists"):
        write_new_site("Shop", tmp_path / "gone")


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=200))
@settings(max_examples=200, deadline=None)
def test_any_text_is_a_toml_string(text: str) -> None:
    assert tomllib.loads(f"x = {toml_text(text)}")["x"] == text


def test_a_spreadsheet_in_place_of_a_site_file_is_told_what_makes_one(tmp_path):
    path = tmp_path / "survey.xlsx"
    path.write_bytes(b"PK\x03\x04")
    with pytest.raises(InputError, match=r"solarcalc new --from survey\.xlsx"):
        read_site(path)
