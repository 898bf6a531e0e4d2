"""Real typical years: the formats, their clocks, their rain, and one that is out of order."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest
from pvlib import iotools

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import data_folder, demo_sites
from solarcalc.basis.hours import year_hours
from solarcalc.sitefile.read import library_folder, read_site
from solarcalc.sun import sun_of_hours
from solarcalc.weather.calendar import clear_day_shift_min
from solarcalc.weather.closure import SHIFTS_MIN, closure
from solarcalc.weather.rain import in_tenths_of_mm
from solarcalc.weather.read import read_weather
from solarcalc.weather.records import Place, sun_of_year

# File: place and clock of its station [deg, deg, m, h].
LIBRARY_FILES = {
    "703165TY.csv": (55.317, -160.517, 7.0, -9.0),
    "723170TYA.CSV": (36.1, -79.95, 273.0, -5.0),
    "12839.tm2": (25.8, -80.267, 2.0, -5.0),
}
MEASURED_FILES = {
    "AZ-Phoenix_Sky_Harbor_Intl_Ap.tmy3.csv": (33.45, -111.983, 337.0, -7.0),
    "FL-Miami_Intl_Ap.tmy3.csv": (25.817, -80.3, 11.0, -5.0),
    "725650_Denver.tmy3.csv": (39.833, -104.65, 1650.0, -7.0),
    "USA_AZ_Davis-Monthan.AFB.722745_TMY3.epw": (32.17, -110.88, 809.0, -7.0),
    "LKA_Colombo-Katunayake.434500_SWERA.epw": (7.17, 79.88, 8.0, 6.0),
}
# Sums of their columns, counted apart from this package: GHI, DNI, DHI [kWh/m2], mean [degC].
SUMS = {
    "AZ-Phoenix_Sky_Harbor_Intl_Ap.tmy3.csv": (2094.2, 2523.7, 564.3, 23.80),
    "FL-Miami_Intl_Ap.tmy3.csv": (1753.1, 1453.5, 811.1, 24.51),
    "725650_Denver.tmy3.csv": (1670.2, 1977.6, 556.5, 10.88),
    "USA_AZ_Davis-Monthan.AFB.722745_TMY3.epw": (2002.4, 2437.2, 539.2, 21.71),
    "LKA_Colombo-Katunayake.434500_SWERA.epw": (1969.2, 1341.9, 982.8, 27.36),
}
ALL_FILES = LIBRARY_FILES | MEASURED_FILES


@pytest.fixture
def read_real(clear_site, shared_weather):
    """Function that reads a real file as the weather of its own station."""

    def read(name, **choice):
        place = ALL_FILES[name]
        path = library_folder() / name if name in LIBRARY_FILES else shared_weather(name)
        return clear_site(*place).read_path(path, **choice)

    return read


def _sun(year):
    place = Place(
        name="station",
        latitude_deg=year.station_latitude_deg,
        longitude_deg=year.station_longitude_deg,
        elevation_m=year.station_elevation_m,
    )
    return sun_of_year(pd.DatetimeIndex(year.hours.index), place)


@pytest.mark.parametrize("name", ALL_FILES)
def test_one_frame_whatever_the_format(name, read_real):
    year = read_real(name)
    assert year.hours.index.equals(year_hours(ALL_FILES[name][3]))
    assert list(year.hours.columns)[:5] == ["ghi", "dni", "dhi", "temp_air", "wind_speed"]
    assert (year.hours.dtypes == np.float64).all()
    assert not year.hours.isna().any().any()
    assert year.distance_km < 1.0
    assert name in year.source
    assert year.station_offset_h == ALL_FILES[name][3]


@pytest.mark.parametrize("name", SUMS)
def test_sums_are_those_of_the_file(name, read_real):
    year = read_real(name)
    found = (
        year.ghi_kwh_m2_year,
        year.dni_kwh_m2_year,
        year.dhi_kwh_m2_year,
        year.temp_air_mean_c,
    )
    assert found == pytest.approx(SUMS[name], abs=0.06)


@pytest.mark.parametrize("name", ALL_FILES)
def test_the_convention_of_the_format_is_the_one_that_closes(name, read_real):
    # By the file itself, not by trust: global is beam and diffuse only with the right hour.
    year = read_real(name)
    sun = _sun(year)
    stands = closure(year.hours, sun.elevation_deg).year_frac
    moved = [closure(year.hours, sun.elevation_at(30.0 + shift)).year_frac for shift in SHIFTS_MIN]
    assert stands < 0.01
    assert min(moved) > 0.03


@pytest.mark.parametrize("name", ALL_FILES)
def test_mornings_and_afternoons_of_clear_days_are_alike(name, read_real):
    year = read_real(name)
    assert clear_day_shift_min(year.hours, _sun(year)) == 0
    late = year.hours.assign(ghi=np.roll(year.hours["ghi"], 1))
    assert clear_day_shift_min(late, _sun(year)) == -60


def test_tmy2_as_the_library_reads_it(read_real):
    name = "12839.tm2"
    year = read_real(name)
    theirs, meta = iotools.read_tmy2(library_folder() / name)
    pairs = {"ghi": ("GHI", 1), "dni": ("DNI", 1), "dhi": ("DHI", 1),
             "temp_air": ("DryBulb", 10), "wind_speed": ("Wspd", 10)}  # fmt: skip
    for ours, (column, part) in pairs.items():
        np.testing.assert_allclose(year.hours[ours], theirs[column] / part, atol=1e-12)
    assert year.station_latitude_deg == pytest.approx(meta["latitude"])
    assert year.station_longitude_deg == pytest.approx(meta["longitude"])
    assert year.station_elevation_m == meta["altitude"]


def test_tmy3_hours_stand_at_their_starts(read_real):
    # First lines of the file, read by eye: 01/01/1988 01:00 is midnight to one o'clock.
    name = "723170TYA.CSV"
    raw = pd.read_csv(library_folder() / name, skiprows=1)
    year = read_real(name)
    assert raw["Time (HH:MM)"].iloc[11] == "12:00"
    assert year.hours.loc["2001-01-01 11:00:00-05:00", "ghi"] == raw["GHI (W/m^2)"].iloc[11]
    assert year.hours["ghi"].to_numpy().tolist() == raw["GHI (W/m^2)"].tolist()


def test_a_file_on_another_clock_than_the_site(clear_site, shared_weather):
    # The file keeps UTC+6, the country UTC+5:30; the hours then begin at half past.
    site = clear_site(7.17, 79.88, 8.0, 5.5)
    year = site.read_path(shared_weather("LKA_Colombo-Katunayake.434500_SWERA.epw"))
    assert set(year.hours.index.minute) == {30}
    assert year.hours.index[0] == pd.Timestamp("2001-01-01 00:30:00+05:30")
    assert closure(year.hours, _sun(year).elevation_deg).year_frac < 0.01


def test_a_year_whose_months_keep_two_clocks_is_refused(clear_site, shared_weather):
    site = clear_site(21.317, -157.933, 2.0, -10.0)
    path = shared_weather("HI-Honolulu_Intl_Arpt.tmy3.csv")
    for rebuild_beam in (False, True):  # the global itself is an hour off: rebuilding is no cure
        with pytest.raises(InputError) as caught:
            site.read_path(path, rebuild_beam=rebuild_beam)
        text = str(caught.value)
        assert path.name in text
        assert "differs from beam and diffuse by 8.4 %" in text
        assert (
            "Jan, Apr, May, Jun, Jul, Aug, Oct, Nov, Dec: closes when the radiation is moved"
            " 1 h later; Feb, Mar, Sep: closes as it stands" in text
        )
        assert "no label and no offset mends the file" in text


def test_that_the_fault_of_that_year_is_in_the_file(shared_weather):
    # Its own extraterrestrial column fits its stamps; its global radiation in January is seen
    # before that column says the sun is up.
    raw = pd.read_csv(shared_weather("HI-Honolulu_Intl_Arpt.tmy3.csv"), skiprows=1)
    lit_before_sunrise = (raw["GHI (W/m^2)"] > 20) & (raw["ETR (W/m^2)"] == 0)
    months = pd.to_datetime(raw["Date (MM/DD/YYYY)"]).dt.month[lit_before_sunrise]
    assert len(months) > 100
    assert not set(months) & {2, 3, 9}


RAIN_MM = {  # snapshot; beside it the yearly normal of the place, from memory
    "723170TYA.CSV": (834.5, 1070.0),
    "FL-Miami_Intl_Ap.tmy3.csv": (1440.4, 1570.0),
    "AZ-Phoenix_Sky_Harbor_Intl_Ap.tmy3.csv": (117.4, 200.0),
    "725650_Denver.tmy3.csv": (195.9, 370.0),
}


@pytest.mark.parametrize("name", RAIN_MM)
def test_rain_in_tenths_of_a_millimetre_is_seen_and_said(name, read_real):
    year = read_real(name)
    total, normal = RAIN_MM[name]
    assert year.has_rain
    assert year.rain_mm_year == pytest.approx(total, abs=0.1)
    assert 0.5 < year.rain_mm_year / normal < 1.1  # read as millimetres it would be 5 to 10 times
    said = next(v for v in year.checks if v.item.startswith("Rain"))
    assert said.outcome == "review"
    assert "tenths of a millimetre" in said.found


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("703165TY.csv", "given for 9 % of the hours only"),
        ("USA_AZ_Davis-Monthan.AFB.722745_TMY3.epw", "given for 5 % of the hours only"),
        ("LKA_Colombo-Katunayake.434500_SWERA.epw", "nought in every hour"),
        ("12839.tm2", "is not in the file"),
    ],
)
def test_rain_that_cannot_be_trusted_is_left_out_and_said(name, words, read_real):
    year = read_real(name)
    assert not year.has_rain
    assert year.rain_mm_year is None
    assert "precipitation" not in year.hours
    said = next(v for v in year.checks if v.item.startswith("Rain"))
    assert (said.outcome, words in said.found) == ("review", True)


def test_the_pattern_of_hundredths_of_an_inch():
    inches = np.arange(1, 60) / 100.0
    assert in_tenths_of_mm(np.round(inches * 254.0))
    assert not in_tenths_of_mm(np.round(inches * 254.0)[:10])  # too few to tell
    assert not in_tenths_of_mm(np.arange(1.0, 60.0))  # every whole number: millimetres
    assert not in_tenths_of_mm(inches * 25.4)  # millimetres with decimals


def test_distance_between_extraterrestrial_beam_in_january_and_july(clear_site):
    # Earth to sun 0.98329 and 1.01671 of the mean distance (Astronomical Almanac, 2020).
    site = clear_site()
    sun = _sun(site.read(site.year()))
    ratio = sun.normal_w_m2.max() / sun.normal_w_m2.min()
    assert ratio == pytest.approx((1.01671 / 0.98329) ** 2, abs=0.002)


@pytest.mark.parametrize(
    ("format_name", "name"),
    [("epw", "723170TYA.CSV"), ("csv", "12839.tm2"), ("tmy2", "703165TY.csv")],
)
def test_a_format_that_the_content_denies(format_name, name, read_real):
    with pytest.raises(InputError, match=rf"weather\.format[\s\S]*{name}[\s\S]*looks like"):
        read_real(name, format=format_name)


def test_table_options_are_refused_with_other_formats(read_real):
    for choice in ({"hour_label": "end"}, {"utc_offset_h": -5.0}, {"columns": {"ghi": "x"}}):
        with pytest.raises(InputError, match="only with a csv file"):
            read_real("723170TYA.CSV", **choice)


def test_unknown_and_broken_files(clear_site, tmp_path):
    site = clear_site()
    unknown = tmp_path / "notes.txt"
    unknown.write_text("this is no weather\nat all\n")
    with pytest.raises(InputError, match=r"site.toml: weather.source[\s\S]*notes.txt[\s\S]*TMY3"):
        site.read_path(unknown)
    # a table by other names is asked for its names, whatever it calls its time
    for mark, time in ((",", "Time"), (";", "Zeit"), ("\t", "Date/Hour")):
        table = tmp_path / "table.csv"
        names = (time, "Global", "Air", "Wind")
        table.write_text(f"{mark.join(names)}\n{mark.join(('2023-01-01 00:00', '0', '19', '3'))}\n")
        with pytest.raises(InputError, match=r'weather.columns[\s\S]*no column "time", "ghi"'):
            site.read_path(table)
    empty = tmp_path / "empty.csv"
    empty.write_text("")
    with pytest.raises(InputError, match="not known here"):
        site.read_path(empty)
    with pytest.raises(InputError, match="cannot be opened"):
        site.read_path(tmp_path / "absent.csv")
    whole = (library_folder() / "723170TYA.CSV").read_text().splitlines()
    cut = tmp_path / "cut.csv"
    cut.write_text("\n".join([*whole[:50], whole[50][:40]]))
    with pytest.raises(InputError, match=r"cut.csv"):
        site.read_path(cut)
    garbled = tmp_path / "garbled.csv"
    garbled.write_text("\n".join([*whole[:50], whole[50].replace("/", "-"), *whole[51:]]))
    with pytest.raises(InputError, match=r"garbled.csv[\s\S]*cannot be read"):
        site.read_path(garbled)


@pytest.mark.parametrize(("content", "remedy"), [
    (b"time,ghi\n" + b"2019-01-01 00:00,1\n" * 1_200_000, "hours of one year"),
    (b"\0\1\2\3" * 50, "save it as CSV"), (None, "check the name"),
])  # fmt: skip
def test_what_to_do_fits_what_is_wrong_with_the_file(clear_site, tmp_path, content, remedy):
    """A file that was found is not looked for under another name."""
    path = tmp_path / "year.csv"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputError) as caught:
        clear_site().read_path(path)
    assert remedy in str(caught.value)


def test_months_of_several_years_are_laid_on_one(read_real):
    year = read_real("703165TY.csv")
    said = next(v for v in year.checks if v.item == "Hours of the weather file")
    assert "different years" in said.found
    assert set(year.hours.index.year) == {2001}


def _epw_text(site, offset_h, hours):
    """A made-up EPW file of a cloudless year; its hour h is the h-th of the day."""
    head = f"LOCATION,Nowhere,-,XXX,made up,000000,{site.latitude_deg},{site.longitude_deg}," + (
        f"{offset_h},{site.elevation_m}"
    )
    names = ("DESIGN CONDITIONS,0", "TYPICAL/EXTREME PERIODS,0", "GROUND TEMPERATURES,0",
             "HOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0", "COMMENTS 1,made up", "COMMENTS 2,",
             "DATA PERIODS,1,1,Data,Sunday, 1/ 1,12/31")  # fmt: skip
    rows = []
    for row in hours.itertuples():
        day, clock = row.time.split()
        year, month, date = day.split("-")
        fields = [year, month, date, int(clock[:2]) + 1, 0, "?", row.temp_air, 5, 50, 101325, 0, 0,
                  300, row.ghi, row.dni, row.dhi, 0, 0, 0, 0, 180, row.wind_speed, 5, 5, 10, 7777,
                  9, 999999999, 10, 0, 0, 88, 0.2, 0, 0]  # fmt: skip
        rows.append(",".join(str(field) for field in fields))
    return "\n".join([head, *names, *rows]) + "\n"


def test_epw_of_a_quarter_hour_zone_with_missing_values_and_a_leap_day(clear_site):
    site = clear_site(27.7, 85.3, 1300.0, 5.75)
    table = site.year()
    plain = site.read(table).hours
    leap_day = table[1392:1416].assign(time=table["time"][1392:1416].str.replace("02-28", "02-29"))
    leap_day["time"] = "2004-02-29" + table["time"][:24].str[10:].to_numpy()
    long = pd.concat([table[:1416], leap_day, table[1416:]])
    long.loc[[3000, 5000], "temp_air"] = 99.9
    long.loc[3005, "ghi"] = 9999
    path = site.folder / "made-up.epw"
    path.write_text(_epw_text(site, 5.75, long))
    year = site.read_path(path)
    items = {check.item: check for check in year.checks}
    assert items["29 February"].found == "24 hours dropped"
    assert items["Missing hours and values"].found.startswith("3 hours filled in ghi, temp_air")
    same = year.hours.index.delete([3000, 3005, 5000])
    pd.testing.assert_frame_equal(year.hours.loc[same], plain.loc[same])
    headless = site.folder / "headless.epw"
    headless.write_text("".join(line for line in path.read_text().splitlines(keepends=True)
                                if not line.startswith("DATA PERIODS")))
    with pytest.raises(InputError, match="no line DATA PERIODS"):
        site.read_path(headless)
    where = path.read_text().splitlines()[0].split(",")
    for number, given in product(range(6, 10), ("nan", "inf", "-99999")):
        nowhere = ",".join([*where[:number], given, *where[number + 1:]])
        headless.write_text(path.read_text().replace(",".join(where), nowhere, 1))
        with pytest.raises(InputError, match=r"not within|cannot be read"):
            site.read_path(headless)
    two_an_hour = site.folder / "two.epw"
    two_an_hour.write_text(path.read_text().replace("DATA PERIODS,1,1", "DATA PERIODS,1,2"))
    with pytest.raises(InputError, match="2 records an hour"):
        site.read_path(two_an_hour)


def test_tmy3_south_of_the_equator_with_missing_values(clear_site):
    site = clear_site(-33.0, 18.5, 50.0, 2.5)
    table = site.year()
    stamps = pd.to_datetime(table["time"])
    raw = pd.read_csv(library_folder() / "723170TYA.CSV", skiprows=1)
    raw["Date (MM/DD/YYYY)"] = stamps.dt.strftime("%m/%d/2004")  # a leap year, without its day
    raw["Time (HH:MM)"] = (stamps.dt.hour + 1).map("{:02d}:00".format)
    columns = {
        "ghi": "GHI (W/m^2)",
        "dni": "DNI (W/m^2)",
        "dhi": "DHI (W/m^2)",
        "temp_air": "Dry-bulb (C)",
        "wind_speed": "Wspd (m/s)",
    }
    for ours, theirs in columns.items():
        raw[theirs] = table[ours].astype(float)
    raw.loc[2000, "Dry-bulb (C)"] = -9900.0
    path = site.folder / "made-up.csv"
    path.write_text('1,"NOWHERE",XX,2.5,-33.0,18.5,50\n' + raw.to_csv(index=False))
    year = site.read_path(path)
    assert year.station_offset_h == 2.5
    plain = site.read(table, name="plain.csv").hours
    same = year.hours.index.delete([2000])
    pd.testing.assert_frame_equal(year.hours.loc[same, plain.columns], plain.loc[same])


def test_the_synthetic_year_is_what_its_script_makes():
    folder = data_folder() / "weather"
    spec = importlib.util.spec_from_file_location("make", folder / "make_dry_plateau.py")
    make = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(make)
    stored = pd.read_csv(folder / "dry-plateau-synthetic.csv", comment="#")
    made = make.make_year()
    assert made["time"].tolist() == stored["time"].tolist()
    for column, last_digit in {"ghi": 1.0, "dni": 1.0, "dhi": 1.0, "temp_air": 0.1,
                               "wind_speed": 0.1, "precipitation": 0.1}.items():  # fmt: skip
        # One step of rounding may fall the other way with another version of the library.
        assert np.abs(made[column] - stored[column]).max() <= last_digit * 1.001


def test_the_weather_of_a_site_file():
    sitefile = read_site(demo_sites()["plateau-school"])
    year = read_weather(sitefile)
    assert year.source.startswith("dry-plateau-synthetic.csv")
    assert year.hours.index.equals(year_hours(sitefile.offset_h))
    assert not [v for v in year.checks if v.outcome == "failed"]
    far = sitefile.site.site.model_copy(update={"latitude_deg": 17.9})
    moved = replace(sitefile, site=sitefile.site.model_copy(update={"site": far}))
    with pytest.raises(InputError, match=r"plateau-school\.toml: weather\.max_distance_km"):
        read_weather(moved)


def test_the_synthetic_demo_year(clear_site):
    folder = data_folder() / "weather"
    path = folder / "dry-plateau-synthetic.csv"
    assert path.stat().st_size <= 500_000
    assert path.read_text().startswith("# SYNTHETIC")
    year = clear_site(-17.9, 29.5, 1400.0, 2.0).read_path(path)
    assert 2000.0 < year.ghi_kwh_m2_year < 2100.0
    assert year.rain_mm_year == pytest.approx(750.0, abs=10.0)
    monthly = year.hours.groupby(year.hours.index.month).mean()
    assert monthly["temp_air"].idxmax() == 10
    assert monthly["temp_air"].idxmin() in (6, 7)
    sun = sun_of_hours(
        pd.DatetimeIndex(year.hours.index), latitude_deg=-17.9, longitude_deg=29.5,
        elevation_m=1400.0,
    )  # fmt: skip
    noon = sun["azimuth_deg"][year.hours.index.hour == 12]
    assert (np.cos(np.deg2rad(noon)) > 0.0).mean() > 0.7  # the sun is north most of the year
