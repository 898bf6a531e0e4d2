"""Keys of [loads] and its lists: what is accepted, filled in from the catalogue, and refused."""

from __future__ import annotations

import pandas as pd
import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.basis.hours import year_hours
from solarcalc.loads.days import hourly_power_w
from solarcalc.loads.year import board_hours_w
from solarcalc.sitefile.equipment import KEYS, appliance_catalogue
from solarcalc.sitefile.load_profile import read_profile_w
from solarcalc.sitefile.loads import Appliance
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.toml import write_new_site

LAMP = """
[[loads.essential]]
name = "Lamp"
power_w = 9.0
use = ["18:00-23:00"]
"""
SECOND = LAMP.replace("9.0", "12.0")
AT = 'shop.toml: loads.essential[{}].{} (appliance {}, "Lamp"'


@pytest.fixture
def put(tmp_path):
    """Function that writes a sound site with other loads and gives its path."""
    text = write_new_site("Shop", tmp_path).read_text(encoding="utf-8")
    head = text[: text.index("\n[loads]\n")]

    def write(loads):
        path = tmp_path / "shop.toml"
        path.write_text(f"{head}\n{loads}", encoding="utf-8")
        return path

    return write


def _faults(path):
    with pytest.raises(InputError) as caught:
        read_site(path)
    return caught.value.faults


def _only(path):
    found = _faults(path)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def test_every_new_key_is_accepted(put):
    site = read_site(put("""
[loads]
phases = 3
variation_frac = 0.15
variation_seed = 42
""" + LAMP + """
count = 4
days = ["weekends", "wednesday"]
months = [12, 1, 2]
power_factor = 0.6
surge_va = 40.0
phase = "c"
""")).site  # fmt: skip
    (lamp,) = site.loads.essential
    assert lamp.days == ["weekends", "wednesday"]
    assert (lamp.surge_va, lamp.phase, site.loads.phases) == (40.0, "c", 3)


def test_a_word_by_itself_is_a_list_of_one(put):
    site = read_site(put(LAMP + 'days = "weekdays"\n')).site
    assert site.loads.essential[0].days == ["weekdays"]


BAD = [
    ("days", '"holidays"', "'holidays'", "every-day, weekdays"),
    ("days", '["monday", "monday"]', "['monday', 'monday']", "each once"),
    ("days", "[1]", "1", "text in quotes"),
    ("days", "[]", "[]", "a list of texts in quotes"),
    ("days", "7", "7", "a list of texts in quotes"),
    ("months", "[0, 3]", "[0, 3]", "month numbers from 1 to 12, each once"),
    ("months", "[13]", "[13]", "month numbers from 1 to 12, each once"),
    ("months", "[5, 5]", "[5, 5]", "month numbers from 1 to 12, each once"),
    ("months", "[]", "[]", "a list of whole numbers, at least 1"),
    ("power_factor", "0.0", "0.0", "a number above 0 up to 1"),
    ("power_factor", "1.01", "1.01", "a number above 0 up to 1"),
    ("power_factor", "nan", "nan", "a number above 0 up to 1"),
    ("surge_factor", "0.9", "0.9", "a number from 1 to 20"),
    ("surge_va", "0", "0", "a number above 0 up to 600000 VA"),
    ("surge_va", "8.9", "surge_va = 8.9 where one runs at 9 VA", "at least 9 VA"),
    ("phase", '"d"', "'d'", "one of any, a, b, c, two, three"),
    ("phase", '"b"', "phase = 'b' with phases = 1", "one of any, a"),
]


@pytest.mark.parametrize(("key", "value", "given", "allowed"), BAD)
def test_a_wrong_value_names_file_field_value_and_allowed(put, key, value, given, allowed):
    fault = _only(put(f"{LAMP}{key} = {value}\n"))
    assert fault.where.startswith(AT.format(1, key, 1)[:-len(' (appliance 1, "Lamp"')])
    assert '(appliance 1, "Lamp"' in fault.where
    assert fault.given.startswith(given)
    assert allowed in fault.allowed


@pytest.mark.parametrize(
    ("line", "place", "allowed"),
    [
        ("phases = 4", "loads.phases", "one of 1, 2, 3"),
        ("variation_frac = -0.1", "loads.variation_frac", "a number from 0 to 1"),
        ("variation_frac = nan", "loads.variation_frac", "a number from 0 to 1"),
        ("variation_seed = -1", "loads.variation_seed", "a whole number from 0 to 999999"),
        ("variation_sed = 1", "loads.variation_sed", "variation_seed"),
    ],
)
def test_wrong_values_of_the_table(put, line, place, allowed):
    fault = _only(put(f"[loads]\n{line}\n{LAMP}"))
    assert fault.where == f"shop.toml: {place}"
    assert allowed in fault.allowed


@pytest.mark.parametrize(
    ("phases", "phase", "allowed"),
    [(1, "two", "any, a"), (2, "c", "any, a, b, two"), (2, "three", "any, a, b, two"),
     (3, "two", "any, a, b, c, three")],
)  # fmt: skip
def test_phases_that_are_not_there(put, phases, phase, allowed):
    fault = _only(put(f'[loads]\nphases = {phases}\n{LAMP}phase = "{phase}"\n'))
    assert fault.where == AT.format(1, "phase", 1) + ")"
    assert fault.allowed == f"one of {allowed}"


def test_both_ways_to_say_how_it_starts(put):
    fault = _only(put(f"{LAMP}surge_va = 40.0\nsurge_factor = 3.0\n"))
    assert fault.where == AT.format(1, "surge_va", 1) + ")"
    assert fault.allowed == "one of the two"


# --- the same name again


def test_a_name_may_come_again_on_other_days_or_months(put):
    weekdays, weekends = f'{LAMP}days = "weekdays"\n', f'{SECOND}days = "weekends"\n'
    summer = f'{LAMP.replace("Lamp", "Fan")}months = [6, 7]\n'
    winter = f'{LAMP.replace("Lamp", "fan")}months = [12, 1]\n'
    assert len(read_site(put(weekdays + weekends + summer + winter)).site.loads.essential) == 4


@pytest.mark.parametrize(
    ("one", "two"),
    [
        ("", ""),
        ('days = "weekdays"\n', 'days = ["weekends", "friday"]\n'),
        ("months = [1, 2]\n", "months = [2, 3]\n"),
        ('days = "weekdays"\nmonths = [1]\n', "months = [1]\n"),
    ],
)
def test_a_name_may_not_come_again_on_the_same_days(put, one, two):
    fault = _only(put(LAMP + one + SECOND + two))
    assert fault.where == AT.format(2, "name", 2) + ")"
    assert "each appliance once per board, or on different days or months" in fault.allowed


def test_lines_of_one_name_stay_on_one_phase(put):
    loads = f'[loads]\nphases = 2\n{LAMP}days = "weekdays"\nphase = "a"\n'
    fault = _only(put(f'{loads}{SECOND}days = "weekends"\nphase = "b"\n'))
    assert fault.where == AT.format(2, "phase", 2) + ")"
    assert "'a', as for appliance 1" in fault.allowed


# --- the catalogue


def test_catalogue_fills_in_and_values_beside_it_stand(put):
    text = LAMP.replace("power_w = 9.0", 'catalogue = "fridge"\nduty_frac = 0.5')
    item = read_site(put(text)).site.loads.essential[0]
    entry = appliance_catalogue()["fridge"]
    assert (item.power_w, item.power_factor) == (entry["power_w"], entry["power_factor"])
    assert item.surge_factor == entry["surge_factor"]
    assert item.duty_frac == 0.5


def test_surge_va_beside_the_catalogue_replaces_its_factor(put):
    text = LAMP.replace("power_w = 9.0", 'catalogue = "fridge"\nsurge_va = 900.0')
    item = read_site(put(text)).site.loads.essential[0]
    assert (item.surge_va, item.surge_factor) == (900.0, None)


@pytest.mark.parametrize(
    ("key", "remedy"),
    [('"fridg"', "did you mean fridge?"), ('"wall-lamp"', "did you mean lamp-led?"),
     ('"zzz"', ""), ("7", ""), ("[]", "")],
)  # fmt: skip
def test_unknown_catalogue_key_is_one_fault(put, key, remedy):
    fault = _only(put(LAMP.replace("power_w = 9.0", f"catalogue = {key}")))
    assert fault.where == "shop.toml: loads.essential[1].catalogue (appliance 1)"
    assert "a key of appliances.toml: lamp-led" in fault.allowed
    assert fault.remedy == remedy


def test_missing_power_says_that_there_is_a_catalogue(put):
    fault = _only(put(LAMP.replace("power_w = 9.0\n", "")))
    assert fault.where == AT.format(1, "power_w", 1) + ")"
    assert 'catalogue = "KEY"' in fault.remedy
    unused = _only(put(LAMP.replace('use = ["18:00-23:00"]\n', "")))
    assert "KEY" not in unused.remedy


@pytest.mark.parametrize("key", list(appliance_catalogue()))
def test_each_entry_is_sound_generic_and_says_where_its_figures_are_from(key):
    entry = appliance_catalogue()[key]
    assert set(entry) == {*KEYS, "about"}
    item = Appliance(name=key, use=["00:00-24:00"], **{name: entry[name] for name in KEYS})
    assert item.power_w > 0.0
    head = (data_folder() / "appliances.toml").read_text(encoding="utf-8").partition("\n[")[0]
    assert "GENERIC" in head
    assert "common practice, no source" in head


@pytest.mark.published("loads/ratings.toml")
def test_catalogue_against_usual_ratings(case):
    for key, watts in case.get("watts", {}).items():
        assert appliance_catalogue()[key]["power_w"] == pytest.approx(watts, rel=case["within"])
    for key, (low, high) in case.get("starts", {}).items():
        assert low <= appliance_catalogue()[key]["surge_factor"] <= high, key


# --- measured profiles


def _profile(folder, text, name="board.csv"):
    (folder / name).write_text(text, encoding="utf-8")
    return f'[loads]\nessential_profile = "{name}"\n'


def _day(count=24, header="power_w"):
    return header + "\n" + "100.0\n" * count


def test_a_profile_is_enough_of_a_load(put, tmp_path):
    sitefile = read_site(put(_profile(tmp_path, _day())))
    hours = board_hours_w(
        sitefile.site.loads, "essential", year_hours(0.0), folder=sitefile.folder
    )
    assert hours.sum() == pytest.approx(876000.0)


def test_forms_of_csv_that_are_read(tmp_path):
    for text in (
        "# remark\ntime;power_w;note\n" + "".join(f"{hour:02d}:00;5;x\n" for hour in range(24)),
        "time,power_w\n" + "0:00,5\n" + ",5\n" * 23,
        "power_w\tother\r\n" + "5\t\r\n" * 24,
        "\ufeff power_w \n" + "5\n\n" * 24,
    ):
        _profile(tmp_path, text)
        assert read_profile_w(tmp_path / "board.csv", where="x") == (5.0,) * 24


@pytest.mark.parametrize(
    ("text", "line", "given", "allowed"),
    [
        ("power_w\n" + "1\n" * 10 + "-3.5\n" + "1\n" * 13, 12, "'-3.5'", "0 to 200000 W"),
        ("power_w\nnan\n" + "1\n" * 23, 2, "'nan'", "0 to 200000 W"),
        ("# a\n\npower_w\n1\ninf\n" + "1\n" * 22, 5, "'inf'", "0 to 200000 W"),
        ("power_w\n12,5\n" + "1\n" * 23, 2, "'12, 5'", "a value for each column"),
        ("power_w;b\n12,500;1\n" + "1;1\n" * 23, 2, "'12,500'", "thousands or decimals"),
        ("power_w,b\n1\n" + "1,1\n" * 23, 2, "'1'", "a value for each column"),
        ("power_w,b\n,1\n" + "1,1\n" * 23, 2, "nothing", "0 to 200000 W"),
        ("power_w\n200001\n" + "1\n" * 23, 2, "'200001'", "0 to 200000 W"),
        ("power_w\n1_0\n" + "1\n" * 23, 2, "'1_0'", "0 to 200000 W"),
        ("power_w\n" + "1" * 200_000, None, "more than 100000 characters", "a CSV file, 24, 48"),
        (_day(23), None, "23 rows", "24, 48, 96 or 1440 rows"),
        (_day(8784), None, "8784 rows", "8760 (a year, hourly)"),
        ("power_w\n", None, "0 rows", "24, 48"),
        (_day(24, "watts"), 1, "the header another", "one column power_w"),
        (_day(24, "power_w,power_w"), 1, "the header", "one column power_w"),
        ("", None, "no row", "a header with power_w"),
        ("time,power_w\n" + "01:00,1\n" * 24, 2, "'01:00'", '"00:00", midnight'),
        ("time,power_w\n" + "2024-07-01 00:00,1\n" * 8760, 2, "'2024-07-01 00:00'",
         '"YYYY-01-01 00:00"'),
    ],
)  # fmt: skip
def test_faults_of_a_profile_name_file_line_value_and_allowed(
    put, tmp_path, text, line, given, allowed
):
    fault = _only(put(_profile(tmp_path, text)))
    place = f"board.csv, line {line}" if line else "board.csv"
    assert fault.where == f"shop.toml: loads.essential_profile ({place})"
    assert given in fault.given
    assert allowed in fault.allowed


def _year(texts):
    return "time,power_w\n" + "".join(f"{text},{row}\n" for row, text in enumerate(texts))


def test_a_profile_out_of_order_or_in_summer_time_is_refused(tmp_path):
    """Every row would stand at another hour, and none would be missing."""
    hours = pd.date_range("2025-01-01", periods=8760, freq="h")
    clock = hours.tz_localize("Etc/GMT-1").tz_convert("Europe/Berlin")
    plain = [f"{hour:%Y-%m-%d %H:%M}" for hour in hours]
    turned = [*plain[:24], *plain[48:72], *plain[24:48], *plain[72:]]
    for texts, given, allowed in (
        ([f"{hour:%Y-%m-%d %H:%M}" for hour in clock], "2025-03-30 03:00", '"02:00", 60 min'),
        (turned, "2025-01-02 00:00", "no earlier"),
        ([plain[0], *plain[:0:-1]], "2025-12-31 23:00", '"01:00", 60 min'),
    ):
        _profile(tmp_path, _year(texts))
        with pytest.raises(InputError) as caught:
            read_profile_w(tmp_path / "board.csv", where="x")
        (fault,) = caught.value.faults
        assert given in fault.given
        assert allowed in fault.allowed
    for texts in (plain, [f"{text}:00+01:00".replace(" ", "T") for text in plain]):
        _profile(tmp_path, _year(texts))
        assert read_profile_w(tmp_path / "board.csv", where="x") == tuple(map(float, range(8760)))


def test_many_wrong_lines_are_counted(put, tmp_path):
    found = _faults(put(_profile(tmp_path, "power_w\n" + "-1\n" * 24)))
    assert len(found) == 3
    assert "24 lines of the file are wrong" in found[0].remedy


@pytest.mark.parametrize(
    ("name", "words"),
    [("gone.csv", "does not exist"), (".", "a folder"), ("latin.csv", "not UTF-8"),
     ("big.csv", "more than 4 MiB")],
)  # fmt: skip
def test_profile_files_that_cannot_be_read(put, tmp_path, name, words):
    (tmp_path / "latin.csv").write_bytes(b"power_w caf\xe9\n")
    (tmp_path / "big.csv").write_bytes(b"power_w\n" + b"1\n" * 3_000_000)
    fault = _only(put(f'[loads]\nessential_profile = "{name}"\n'))
    assert fault.where.startswith("shop.toml: loads.essential_profile")
    assert words in fault.given


def test_a_list_and_a_profile_for_one_board(put, tmp_path):
    fault = _only(put(_profile(tmp_path, _day()) + LAMP))
    assert fault.where == "shop.toml: loads.essential_profile"
    assert fault.allowed == "one of the two per board"
    other = _profile(tmp_path, _day()) + LAMP.replace("essential", "nonessential")
    assert len(read_site(put(other)).site.loads.nonessential) == 1


def test_changes_are_checked_as_the_file_is(put):
    sitefile = read_site(put(LAMP + 'days = "weekdays"\nsurge_factor = 2.0\n'))
    assert with_changes(sitefile, {"loads": {"phases": 3}}).site.loads.essential == (
        sitefile.site.loads.essential
    )
    rows = [{"name": "Lamp", "power_w": 9.0, "use": ["18:00-23:00"], "phase": "b"}]
    with pytest.raises(InputError, match=r"as changed: loads\.essential"):
        with_changes(sitefile, {"loads": {"essential": rows}})


# --- the sites that stand


@pytest.mark.parametrize("stem", ["coral-pharmacy", "cove-cannery", "orchard-shop",
                                  "plateau-school", "ridge-clinic"])
def test_demo_sites_ask_for_what_they_did(stem):
    """A list in which no appliance names days or months is one day, repeated, to the last bit."""
    sitefile = read_site(demo_sites()[stem])
    index = year_hours(sitefile.offset_h)
    for board in ("essential", "nonessential"):
        items = getattr(sitefile.site.loads, board)
        year = board_hours_w(sitefile.site.loads, board, index, folder=sitefile.folder)
        assert (year == hourly_power_w(items, index)).all()
        days = year.to_numpy().reshape(365, 24)
        assert (days == days[0]).all()
