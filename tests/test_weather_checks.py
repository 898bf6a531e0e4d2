"""Each thing that can be wrong with a weather year: mended and said, or refused with its reason."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.weather.limits import longest_run
from solarcalc.weather.read import distance_km
from solarcalc.weather.records import Place


@pytest.fixture
def site(clear_site):
    return clear_site()


def _outcome(year, item):
    return {check.item: check for check in year.checks}[item]


# Missing hours and values


def test_a_short_gap_is_filled_and_said(site):
    table = site.year()
    year = site.read(table.drop(index=[3995, 3996, 3997]))
    said = _outcome(year, "Missing hours and values")
    assert said.outcome == "review"
    assert said.found.startswith("3 hours filled in ghi, dni, dhi, temp_air, wind_speed: 06-16")
    whole = site.read(table).hours
    assert not year.hours.isna().any().any()
    # Filled through the clearness of a clear day: close to what was taken out.
    gap = year.hours.index[3995:3998]
    np.testing.assert_allclose(year.hours.loc[gap, "ghi"], whole.loc[gap, "ghi"], rtol=0.05)
    others = year.hours.index.delete([3995, 3996, 3997])
    pd.testing.assert_frame_equal(year.hours.loc[others], whole.loc[others])


def test_a_gap_over_new_year_is_one_gap(site):
    table = site.year()
    year = site.read(table.drop(index=[0, 8759]))
    assert year.hours["temp_air"].iloc[0] == pytest.approx(table["temp_air"].iloc[1], abs=2.5)
    with pytest.raises(InputError, match="4 hours without"):
        site.read(table.drop(index=[0, 1, 8758, 8759]))


def test_a_long_gap_is_refused_and_listed(site):
    table = site.year().drop(index=range(100, 104)).drop(index=[2000])
    with pytest.raises(InputError) as caught:
        site.read(table)
    assert "5 hours without ghi" in str(caught.value)
    assert "in 2 gaps, first 01-05 04:00 (4 h), 03-25 08:00 (1 h)" in str(caught.value)


def test_many_short_gaps_are_refused(site):
    with pytest.raises(InputError, match=r"100 hours[\s\S]*at most 1 % of the year"):
        site.read(site.year().drop(index=range(10, 8010, 80)))


@pytest.mark.parametrize("mark", [np.nan, -9999.0, 9999.0, -999.0])
def test_marks_of_missing_values(mark, site):
    table = site.year()
    table.loc[[10, 3996, 7000], "temp_air"] = mark
    table.loc[3996, "ghi"] = mark
    year = site.read(table)
    assert _outcome(year, "Missing hours and values").found.startswith(
        "3 hours filled in ghi, temp_air"
    )
    assert year.hours["temp_air"].between(0.0, 30.0).all()
    assert year.hours["ghi"].iloc[3996] == pytest.approx(site.year()["ghi"][3996], rel=0.05)


def _runs(flags):
    longest, now = 0, 0
    for flag in [*flags, *flags]:
        now = now + 1 if flag else 0
        longest = max(longest, now)
    return min(longest, len(flags))


@settings(max_examples=200, deadline=None)
@given(st.lists(st.booleans(), min_size=1, max_size=24))
def test_longest_run_goes_round_the_year(flags):
    assert longest_run(np.array(flags)) == _runs(flags)


# Hours that are there twice


def test_the_same_row_twice_is_dropped_and_said(site):
    table = site.year()
    year = site.read(pd.concat([table[:500], table[490:]]))
    said = _outcome(year, "Repeated hours")
    assert (said.outcome, said.found[:25]) == ("review", "10 identical rows dropped")
    pd.testing.assert_frame_equal(year.hours, site.read(table).hours)


def test_contradicting_rows_are_refused_and_listed(site):
    table = site.year()
    twice = pd.concat([table, table[4000:4002].assign(temp_air=40.0)])
    with pytest.raises(InputError, match=r"2 hours are duplicated.*06-16 16:00, 06-16 17:00"):
        site.read(twice)


def test_summer_time_in_the_clock_is_refused(clear_site):
    # A European clock: it skips an hour in March and repeats one in October.
    site = clear_site(45.0, 15.0, 100.0, 1.0)
    table = site.year()
    true = pd.to_datetime(table["time"]).dt.tz_localize("Etc/GMT-1")
    table["time"] = true.dt.tz_convert("Europe/Ljubljana").dt.strftime("%Y-%m-%d %H:%M")
    with pytest.raises(InputError, match="summer time repeats an hour in autumn"):
        site.read(table)
    once = table.drop_duplicates("time")
    with pytest.raises(InputError, match=r"Apr, May, Jun[\s\S]*closes when the radiation is moved"):
        site.read(once)


# Values that cannot be


@pytest.mark.parametrize(
    ("column", "value", "unit"),
    [
        ("ghi", 2500.0, "W/m2"),
        ("dni", 1500.0, "W/m2"),
        ("dhi", -40.0, "W/m2"),
        ("temp_air", 70.0, "degC"),
        ("wind_speed", -3.0, "m/s"),
    ],
)
def test_impossible_values(column, value, unit, site):
    table = site.year()
    table.loc[[1000, 4000], column] = value
    year = site.read(table)
    said = _outcome(year, f"Physically possible values of {column}")
    assert said.outcome == "review"
    assert said.found == "2 taken out and filled: 02-11 16:00, 06-16 16:00"
    assert _outcome(year, "Missing hours and values").outcome == "review"
    table.loc[range(1000, 1100, 2), column] = value
    with pytest.raises(InputError) as caught:
        site.read(table)
    text = str(caught.value)
    assert f"year.csv: column {column}: 51 impossible values, first 02-11 16:00" in text
    assert f"with {value:g} {unit}" in text
    assert "at most 0.1 % of the hours" in text


@pytest.mark.parametrize("change", [
    {"temp_air": lambda year: 32.0 + 1.8 * year["temp_air"].clip(3.0, 18.0)},
    {"wind_speed": lambda year: 10.0 * year["wind_speed"]},
])  # fmt: skip
def test_a_mean_that_no_place_has_is_another_unit(change, site):
    table = site.year()
    with pytest.raises(InputError, match=f"the mean of {next(iter(change))} over the year is"):
        site.read(table.assign(**change))


def test_all_impossible_columns_are_told_at_once(site):
    table = site.year().assign(temp_air=300.0, wind_speed=90.0)
    with pytest.raises(InputError) as caught:
        site.read(table)
    assert len(caught.value.faults) == 2


@pytest.mark.parametrize("factor", [0.001, 0.0036])
def test_radiation_in_another_unit(factor, site):
    table = site.year()
    table[["ghi", "dni", "dhi"]] *= factor  # kW/m2, or MJ/m2 in an hour; closes all the same
    with pytest.raises(InputError, match=r"of the extraterrestrial irradiation[\s\S]*0.2 to 0.85"):
        site.read(table)


def test_small_negatives_of_a_radiometer_become_nought(site):
    table = site.year()
    table.loc[table["ghi"] == 0.0, "ghi"] = -2.0
    year = site.read(table)
    assert year.hours["ghi"].min() == 0.0
    said = _outcome(year, "Small negative values of ghi")
    assert said.outcome == "review"
    assert "down to -2.0 set to 0" in said.found


# Global against beam and diffuse


def _noisy(table, share):
    """The same year with beam off by a share, up and down by turns: no time shift mends it."""
    signs = np.where(np.arange(len(table)) % 2 == 0, 1.0, -1.0)
    return table.assign(dni=table["dni"] * (1.0 + share * signs))


def test_a_small_misfit_is_a_caution(site):
    item = "Global irradiation against beam and diffuse"
    assert _outcome(site.read(site.year()), item).outcome == "passed"
    assert _outcome(site.read(_noisy(site.year(), 0.04)), item).outcome == "review"


def test_a_large_misfit_is_refused_unless_beam_is_rebuilt(site):
    table = _noisy(site.year(), 0.10)
    with pytest.raises(InputError, match=r"closes no month[\s\S]*weather\.rebuild_beam = true"):
        site.read(table)
    year = site.read(table, rebuild_beam=True)
    assert _outcome(year, "Beam and diffuse radiation").outcome == "review"
    np.testing.assert_allclose(year.hours["ghi"], table["ghi"])
    rebuilt = _outcome(year, "Beam and diffuse radiation")
    assert "made from the global radiation, as asked" in rebuilt.found
    assert "Erbs" in rebuilt.clause


def test_one_month_at_the_wrong_hour_is_found(site):
    table = site.year()
    columns = ["ghi", "dni", "dhi"]
    may = pd.to_datetime(table["time"]).dt.month == 5
    table.loc[may, columns] = np.roll(table.loc[may, columns].to_numpy(), 1, axis=0)
    with pytest.raises(InputError, match="May: closes when the radiation is moved 1 h earlier"):
        site.read(table)


@pytest.mark.parametrize("kept", [["dhi"], ["dni"], []])
def test_beam_and_diffuse_that_the_file_lacks(kept, site):
    table = site.year()
    year = site.read(table[["time", "ghi", *kept, "temp_air", "wind_speed"]])
    said = _outcome(year, "Beam and diffuse radiation")
    assert (said.outcome, "as the file lacks them" in said.found) == ("review", True)
    whole = site.read(table)
    limit = 0.01 if kept else 0.15  # by closure nearly the same; by decomposition a guess
    assert year.dni_kwh_m2_year == pytest.approx(whole.dni_kwh_m2_year, rel=limit)
    assert year.hours["dni"].between(0.0, 1420.0).all()
    assert _outcome(year, "Clock of the weather file, from its clearest days").outcome == "passed"


def test_without_clear_days_the_clock_is_not_vouched_for(site):
    dull = site.year().drop(columns=["dni", "dhi"])
    dull["ghi"] *= 0.4
    said = _outcome(site.read(dull), "Clock of the weather file, from its clearest days")
    assert (said.outcome, said.found) == ("review", "too few clear days to tell")


# Light at night


def test_a_little_light_at_night_is_put_out_and_said(site):
    table = site.year()
    table.loc[[24, 48], ["ghi", "dhi"]] = 45.0
    year = site.read(table)
    said = _outcome(year, "Irradiance while the sun is below the horizon")
    assert (said.outcome, said.found) == ("review", "2 hours set to 0: 01-02 00:00, 01-03 00:00")
    assert year.hours["ghi"].iloc[[24, 48]].tolist() == [0.0, 0.0]


def test_much_light_at_night_is_refused(site):
    table = site.year()
    table.loc[range(0, 24 * 30, 24), ["ghi", "dhi"]] = 45.0
    with pytest.raises(
        InputError, match=r"30 hours with more than 20 W/m².*01-01 00:00[\s\S]*zone"
    ):
        site.read(table)


def test_day_and_night_exchanged(site):
    table = site.year()
    columns = ["ghi", "dni", "dhi"]
    table[columns] = np.roll(table[columns].to_numpy(), 12, axis=0)
    with pytest.raises(InputError, match="while the sun is below the horizon"):
        site.read(table)


# Place


def test_distances():
    def at(latitude, longitude):
        return Place(name="", latitude_deg=latitude, longitude_deg=longitude, elevation_m=0.0)

    # Hand: one degree of a great circle is 6371 pi / 180 = 111.19 km.
    assert distance_km(at(0.0, 179.5), at(0.0, -179.5)) == pytest.approx(111.19, abs=0.01)
    assert distance_km(at(89.5, 0.0), at(89.5, 180.0)) == pytest.approx(111.19, abs=0.01)
    assert distance_km(at(10.0, 20.0), at(-10.0, -160.0)) == pytest.approx(20015.1, abs=0.1)
    assert distance_km(at(5.0, 5.0), at(5.0, 5.0)) == 0.0


def test_a_far_station_is_refused_with_both_places(site):
    with pytest.raises(InputError) as caught:
        site.read(site.year(), station_latitude_deg=-15.0, station_longitude_deg=32.0)
    text = str(caught.value)
    assert "site.toml: weather.max_distance_km" in text
    assert "year (-15.000, 32.000, 400 m) is 3336 km from the site (15.000, 32.000)" in text
    assert "allowed: at most 100 km" in text
    assert "signs of latitude and longitude" in text


def test_a_station_half_the_way_is_a_caution(site):
    def found(latitude, **choice):
        year = site.read(
            site.year(), station_latitude_deg=latitude, station_longitude_deg=32.0, **choice
        )
        return _outcome(year, "Distance of the weather station (year)").outcome

    assert found(15.3) == "passed"  # 33 km
    assert found(15.6) == "review"  # 67 km
    assert found(15.6, max_distance_km=200.0) == "passed"


def test_a_station_much_lower_is_a_caution(site):
    year = site.read(
        site.year(),
        station_latitude_deg=15.0, station_longitude_deg=32.0, station_elevation_m=50.0,
    )  # fmt: skip
    said = _outcome(year, "Elevation of the site above the weather station")
    assert (said.outcome, said.found, said.unit) == ("review", "350", "m")
    assert "not corrected" in said.remedy
    assert year.elevation_gap_m == 350.0


def test_clock_and_place_are_told_together(site):
    table = site.year()
    columns = ["ghi", "dni", "dhi"]
    table[columns] = np.roll(table[columns].to_numpy(), 3, axis=0)
    with pytest.raises(InputError) as caught:
        site.read(table, station_latitude_deg=17.0, station_longitude_deg=32.0)
    assert {fault.where for fault in caught.value.faults} >= {
        "site.toml: weather.max_distance_km", "site.toml: weather.source"
    }  # fmt: skip
