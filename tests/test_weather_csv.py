"""Plain tables: what is accepted, and the words a wrong one is refused with."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from solarcalc.basis.errors import InputError


@pytest.fixture
def site(clear_site):
    return clear_site()


def _outcome(year, item):
    return {check.item: check for check in year.checks}[item]


def test_own_column_names_separators_and_comments(site):
    table = site.year()
    plain = site.read(table)
    renamed = table.rename(columns={"time": "Stamp", "ghi": "Global W/m2", "temp_air": "T2m"})
    path = site.folder / "own.csv"
    path.write_text("# from a logger\n\n" + renamed.to_csv(index=False, sep=";"))
    columns = {"time": "Stamp", "ghi": "Global W/m2", "temp_air": "T2m"}
    year = site.read_path(path, columns=columns)
    pd.testing.assert_frame_equal(year.hours, plain.hours)
    assert year.source == "own.csv (CSV)"


def test_a_place_not_given_is_said(site):
    year = site.read(site.year())
    said = _outcome(year, "Place of the weather")
    assert (said.outcome, said.found) == ("review", "not given, taken as the site's")
    assert year.distance_km == 0.0


def test_half_a_place_is_refused(site):
    with pytest.raises(InputError, match=r"weather\.station_longitude_deg"):
        site.read(site.year(), station_latitude_deg=15.0)


@pytest.mark.parametrize("column", ["time", "ghi", "temp_air", "wind_speed"])
def test_a_column_that_is_needed(column, site):
    with pytest.raises(InputError) as caught:
        site.read(site.year().rename(columns={column: "other"}), format="csv")
    text = str(caught.value)
    if column != "time":  # without a time column the file is not even taken for a table
        assert f'site.toml: weather.columns\n    given:   year.csv: no column "{column}"' in text
    assert "year.csv" in text


def test_a_mapped_column_that_is_absent(site):
    with pytest.raises(InputError, match=r'no column "Diffuse"; the file has time, ghi'):
        site.read(site.year(), columns={"dhi": "Diffuse"})


def test_a_key_of_the_map_that_is_not_ours(site):
    with pytest.raises(InputError, match=r'columns\.gih[\s\S]*did you mean "ghi"'):
        site.read(site.year(), columns={"gih": "ghi"})


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2001-02-30 05:00", 'row 101 "2001-02-30 05:00"'),
        ("2001-01-04 24:00", "midnight is 00:00 of the new day"),
        ("04/01/2001 04:00", "2019-12-31 23:00"),
        ("", 'row 101 ""'),
        ("2001-01-05T04:00+02:00", "all rows alike"),
    ],
)
def test_a_time_that_cannot_be_used(text, words, site):
    table = site.year()
    table.loc[100, "time"] = text
    with pytest.raises(InputError, match="column time: 1 of 8760") as caught:
        site.read(table)
    assert words in str(caught.value)


def test_two_offsets_that_could_contradict(site):
    table = site.year()
    table["time"] += "+02:00"
    with pytest.raises(InputError, match=r"weather\.utc_offset_h[\s\S]*carry their own offset"):
        site.read(table, utc_offset_h=2.0)


def test_stamps_at_half_past_are_no_starts(site):
    table = site.year()
    moved = pd.to_datetime(table["time"]) + pd.Timedelta(minutes=30)
    table["time"] = moved.dt.strftime("%Y-%m-%d %H:%M")
    with pytest.raises(InputError, match=r'30 minutes past[\s\S]*hour_label = "middle"'):
        site.read(table)


def test_a_value_that_is_no_number(site):
    table = site.year().astype({"temp_air": object})
    table.loc[4, "temp_air"] = "12,5"
    with pytest.raises(
        InputError, match=r'column temp_air: 1 values are not numbers.*row 5 "12,5"'
    ):
        site.read(table)


def test_a_decimal_comma_where_semicolons_part_the_cells(site):
    """The same year either way; a comma that may part thousands is asked about."""
    table = site.year()
    path = site.folder / "comma.csv"
    path.write_text(table.to_csv(index=False, sep=";", decimal=","))
    pd.testing.assert_frame_equal(site.read_path(path).hours, site.read(table).hours)
    table["ghi"] = "1,100"
    path.write_text(table.to_csv(index=False, sep=";", decimal=","))
    with pytest.raises(InputError, match=r'column ghi: "1,100" may mean 1100 or 1.1'):
        site.read_path(path)


def test_rows_of_different_length(site):
    path = site.folder / "ragged.csv"
    lines = site.year().to_csv(index=False).splitlines()
    lines[7] += ",1,2,3"
    path.write_text("\n".join(lines))
    with pytest.raises(InputError, match=r"ragged\.csv: cannot be read as a table"):
        site.read_path(path)


def test_a_name_of_two_columns_is_refused(site):
    table = site.year()
    table.insert(2, " GHI2", 5.0)
    path = site.folder / "twice.csv"
    path.write_text(table.to_csv(index=False).replace(" GHI2", " ghi", 1))
    with pytest.raises(InputError, match=r'"ghi" more than once in the row of names'):
        site.read_path(path)


def test_a_header_and_nothing_else(site):
    with pytest.raises(InputError, match="has no rows"):
        site.read(site.year().head(0))


@pytest.mark.parametrize("minutes", [15, 30, 180])
def test_a_step_that_is_not_an_hour(minutes, site):
    table = site.year().head(2000)
    stamps = pd.date_range("2001-01-01", periods=2000, freq=f"{minutes}min")
    table["time"] = stamps.strftime("%Y-%m-%d %H:%M")
    with pytest.raises(InputError, match=rf"{minutes} minutes apart[\s\S]*average the rows"):
        site.read(table)


def test_more_than_a_year(site):
    table = pd.concat([site.year(), site.year().head(3000)])
    stamps = pd.date_range("2001-01-01", periods=len(table), freq="h")
    table["time"] = stamps.strftime("%Y-%m-%d %H:%M")
    with pytest.raises(InputError, match=r"11760 hours, 2001-01-01 to 2002-05-05[\s\S]*one year"):
        site.read(table)


def test_a_leap_year_loses_its_leap_day_and_says_so(site):
    table = site.year()
    by_hour = table.set_index(pd.to_datetime(table["time"]).dt.strftime("%m-%d %H"))
    leap = pd.date_range("2004-01-01", "2004-12-31 23:00", freq="h")
    keys = leap.strftime("%m-%d %H").str.replace("02-29", "02-28")
    long = by_hour.loc[keys].reset_index(drop=True).assign(time=leap.strftime("%Y-%m-%d %H:%M"))
    assert len(long) == 8784
    year = site.read(long)
    said = _outcome(year, "29 February")
    assert (said.outcome, said.found) == ("review", "24 hours dropped")
    pd.testing.assert_frame_equal(year.hours, site.read(table).hours)


def test_a_year_from_july_to_june_is_laid_on_the_calendar(site):
    table = site.year()
    stamps = pd.to_datetime(table["time"])
    later = stamps.where(stamps.dt.month >= 7, stamps + pd.DateOffset(years=1))
    turned = table.assign(time=later.dt.strftime("%Y-%m-%d %H:%M")).sort_values("time")
    year = site.read(turned)
    pd.testing.assert_frame_equal(year.hours, site.read(table).hours)
    assert not any(v.item == "Order of the hours" for v in year.checks)


def test_rows_out_of_order_are_sorted_and_said(site):
    table = site.year()
    mixed = pd.concat([table[100:200], table[:100], table[200:]])
    year = site.read(mixed)
    assert _outcome(year, "Order of the hours").outcome == "review"
    pd.testing.assert_frame_equal(year.hours, site.read(table).hours)


def test_rain_of_a_table(site):
    table = site.year()
    assert _outcome(site.read(table), "Rain of the weather file").outcome == "review"
    rain = np.zeros(8760)
    rain[::500] = 4.0
    year = site.read(table.assign(precipitation=rain))
    assert year.rain_mm_year == pytest.approx(72.0)
    assert _outcome(year, "Rain of the weather file").outcome == "passed"
    for bad, words in ((rain * 100.0, "above the world's record"), (-rain, "negative depths")):
        year = site.read(table.assign(precipitation=bad))
        assert not year.has_rain
        assert words in _outcome(year, "Rain of the weather file").found
    rain[3] = np.nan
    year = site.read(table.assign(precipitation=rain))
    assert year.hours["precipitation"].notna().all()
    assert "1 missing hours taken as dry" in _outcome(year, "Rain of the weather file").found
