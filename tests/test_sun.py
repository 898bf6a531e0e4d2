"""The sun against published figures, an independent astronomy library and its own limits."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pvlib import irradiance

from solarcalc import sun
from solarcalc.basis.hours import fixed_zone, year_hours


def _incidence(day_of_year, solar_hour, latitude_deg, tilt_deg, facing_deg):
    zenith, azimuth = sun.sun_at_solar_time(day_of_year, solar_hour, latitude_deg)
    return irradiance.aoi(tilt_deg, facing_deg, zenith, azimuth)


def _beam_ratio(day_of_year, solar_hour, latitude_deg, tilt_deg, facing_deg):
    zenith, _ = sun.sun_at_solar_time(day_of_year, solar_hour, latitude_deg)
    angle = _incidence(day_of_year, solar_hour, latitude_deg, tilt_deg, facing_deg)
    return np.cos(np.deg2rad(angle)) / np.cos(np.deg2rad(zenith))


def _profile(day_of_year, solar_hour, latitude_deg, facing_deg):
    zenith, azimuth = sun.sun_at_solar_time(day_of_year, solar_hour, latitude_deg)
    return sun.profile_angle_deg(zenith, azimuth, facing_deg=facing_deg)


def _spa_example(when, slope_deg, facing_deg, **place):
    at = sun.sun_position(pd.DatetimeIndex([pd.Timestamp(when)]), **place).iloc[0]
    angle = irradiance.aoi(slope_deg, facing_deg, at["apparent_zenith_deg"], at["azimuth_deg"])
    return {
        "zenith_deg": at["apparent_zenith_deg"],
        "azimuth_deg": at["azimuth_deg"],
        "incidence_deg": angle,
    }


def _height_and_azimuth(**inputs):
    zenith, azimuth = sun.sun_at_solar_time(**inputs)
    return 90.0 - zenith, azimuth


QUANTITIES = {
    "spa_example": _spa_example,
    "julian_day": lambda when: pd.Timestamp(when).to_julian_date(),
    "declination": sun.declination_deg,
    "equation_of_time": sun.equation_of_time_min,
    "sun": sun.sun_at_solar_time,
    "incidence": _incidence,
    "beam_ratio": _beam_ratio,
    "profile": _profile,
    "sunset": lambda day_of_year, latitude_deg: sun.sunset_hour_angle_deg(
        latitude_deg, sun.declination_deg(day_of_year)
    ),
    "above_air_day": sun.extraterrestrial_daily_mj_m2,
    "above_air": sun.extraterrestrial_mj_m2,
    "day_length": lambda latitude_deg, declination_deg: (
        2.0 * sun.sunset_hour_angle_deg(latitude_deg, declination_deg) / 15.0
    ),
    "noon_height": lambda day_of_year, latitude_deg: (
        90.0 - sun.sun_at_solar_time(day_of_year, 12.0, latitude_deg)[0]
    ),
    "height_and_azimuth": _height_and_azimuth,
}


@pytest.mark.published(
    "sun/spa-tp-560-34302.toml", "sun/duffie-beckman.toml", "sun/spherical-astronomy.toml"
)
def test_published_figure(case):
    tolerance = case.get("tolerance", 0.5 * case["last_digit"])
    assert "tolerance" not in case or case["differs_because"]
    result = QUANTITIES[case["quantity"]](**case["inputs"])
    printed = case["figure"]
    if isinstance(printed, dict):
        result, printed = [result[name] for name in printed], list(printed.values())
    np.testing.assert_allclose(
        np.asarray(result, dtype=float),
        np.asarray(printed, dtype=float),
        rtol=0.0,
        atol=tolerance * (1.0 + 1e-9),
    )


PLACES = {
    "low-north-island": (21.3, -157.9, 2.0, -10.0),
    "55-north": (55.3, -160.5, 7.0, -9.0),
    "70-north": (70.0, 20.0, 10.0, 1.0),
    "33-south": (-33.0, 18.5, 50.0, 2.0),
    "54-south": (-54.8, -68.3, 10.0, -3.0),
    "west-of-date-line": (-17.0, 179.5, 5.0, 12.0),
    "east-of-date-line": (-16.0, -179.5, 5.0, 12.0),
    "quarter-hour-zone": (27.7, 85.3, 1300.0, 5.75),
}
# Measured over these eight years of hours: at most 0.00052 deg apart.
ASTRONOMY_TOLERANCE_DEG = 0.001


def _direction(zenith_deg, azimuth_deg):
    zenith, azimuth = np.deg2rad(zenith_deg), np.deg2rad(azimuth_deg)
    return np.stack(
        [np.sin(zenith) * np.sin(azimuth), np.sin(zenith) * np.cos(azimuth), np.cos(zenith)]
    )


@pytest.fixture(scope="module")
def astronomy():
    """Every hour of a year, and the sun of it seen from the middle of the Earth."""
    coordinates = pytest.importorskip("astropy.coordinates")
    from astropy.time import Time
    from astropy.utils import iers

    with iers.conf.set_temp("auto_download", False):
        hours = year_hours(0.0)
        times = Time(hours.tz_localize(None).to_numpy(), scale="utc")
        yield hours, times, coordinates.get_sun(times)


@pytest.mark.slow
@pytest.mark.parametrize("place", PLACES)
def test_every_hour_of_a_year_agrees_with_an_astronomy_library(place, astronomy):
    from astropy import units
    from astropy.coordinates import AltAz, EarthLocation

    hours, times, far_sun = astronomy
    latitude, longitude, elevation, offset_h = PLACES[place]
    ours = sun.sun_position(
        hours.tz_convert(fixed_zone(offset_h)),
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=elevation,
    )
    ground = EarthLocation.from_geodetic(
        longitude * units.deg, latitude * units.deg, elevation * units.m
    )
    theirs = far_sun.transform_to(AltAz(obstime=times, location=ground, pressure=0.0 * units.hPa))
    one = _direction(ours["zenith_deg"].to_numpy(), ours["azimuth_deg"].to_numpy())
    other = _direction(90.0 - theirs.alt.deg, theirs.az.deg)
    apart_deg = np.rad2deg(2.0 * np.arcsin(np.linalg.norm(one - other, axis=0) / 2.0))
    assert apart_deg.max() < ASTRONOMY_TOLERANCE_DEG


def test_highest_sun_over_the_pole_is_the_obliquity():
    # Obliquity 23.43668 deg in 2020 (Astronomical Almanac). At the pole the height of the sun is
    # its declination less the parallax 8.794" cos(23.44 deg) = 0.0022 deg.
    june = pd.date_range("2020-06-18", "2020-06-24", freq="h", tz="UTC")
    top = sun.sun_position(june, latitude_deg=90.0, longitude_deg=0.0, elevation_m=0.0)
    parallax_deg = 8.794 / 3600.0 * np.cos(np.deg2rad(23.44))
    assert top["elevation_deg"].max() + parallax_deg == pytest.approx(23.43668, abs=0.001)


def test_sun_of_an_hour_is_the_sun_of_its_middle():
    hours = year_hours(5.5)[4000:4024]
    place = {"latitude_deg": 12.0, "longitude_deg": 77.0, "elevation_m": 900.0}
    of_hours = sun.sun_of_hours(hours, **place)
    at_middle = sun.sun_position(hours + pd.Timedelta(minutes=30), **place)
    assert of_hours.index.equals(hours)
    np.testing.assert_array_equal(of_hours.to_numpy(), at_middle.to_numpy())
    at_start = sun.sun_position(hours, **place)
    assert (of_hours["azimuth_deg"] - at_start["azimuth_deg"]).abs().max() > 1.0


def test_refraction_lifts_the_sun_near_the_horizon():
    day = pd.date_range("2001-03-21", periods=1440, freq="min", tz="UTC")
    low = sun.sun_position(day, latitude_deg=0.0, longitude_deg=0.0, elevation_m=0.0)
    lift = low["zenith_deg"] - low["apparent_zenith_deg"]
    at_horizon = lift[low["apparent_zenith_deg"].between(89.7, 90.0)]
    # About 0.48 to 0.57 deg at the horizon: Meeus, Astronomical Algorithms, ch. 16 (from memory).
    assert at_horizon.between(0.40, 0.60).all()
    assert lift[low["zenith_deg"] < 45.0].max() < 0.02


def test_instants_without_a_zone_are_refused():
    with pytest.raises(ValueError, match="time zone"):
        sun.sun_position(
            pd.DatetimeIndex(["2001-01-01"]), latitude_deg=0.0, longitude_deg=0.0, elevation_m=0.0
        )


def test_polar_day_and_polar_night():
    assert sun.sunset_hour_angle_deg([70.0, -70.0], 23.0) == pytest.approx([180.0, 0.0])
    assert sun.extraterrestrial_daily_mj_m2(355, 70.0) == pytest.approx(0.0, abs=1e-12)
    assert sun.sunset_hour_angle_deg([-90.0, 0.0, 90.0], [10.0, 10.0, 10.0]) == pytest.approx(
        [0.0, 90.0, 180.0]
    )


def test_solar_time_south_of_the_equator_mirrors_north():
    hours = np.arange(0.0, 24.0, 0.5)
    zenith_n, azimuth_n = sun.sun_at_solar_time(355, hours, 35.0)
    zenith_s, azimuth_s = sun.sun_at_solar_time(172, hours, -35.0)
    np.testing.assert_allclose(zenith_n, zenith_s, atol=1e-9)
    np.testing.assert_allclose(np.cos(np.deg2rad(azimuth_n + azimuth_s)), -1.0, atol=1e-9)
    assert sun.sun_at_solar_time(172, 12.0, -35.0)[1] == pytest.approx(0.0, abs=1e-9)
    assert sun.sun_at_solar_time(172, 9.0, -35.0)[1] == pytest.approx(43.0, abs=2.0)  # north-east


@pytest.mark.parametrize("latitude", [-66.0, -35.0, 9.0, 40.0, 60.0])
def test_solar_time_agrees_with_the_exact_sun(latitude):
    # At Greenwich the clock is off from solar time by the equation of time alone.
    day, hours = 100, np.arange(1.0, 24.0)
    minutes = hours * 60.0 - sun.equation_of_time_min(day)
    instants = pd.Timestamp("2001-01-01", tz="UTC") + pd.to_timedelta(
        (day - 1) * 1440 + minutes, unit="min"
    )
    exact = sun.sun_position(
        pd.DatetimeIndex(instants), latitude_deg=latitude, longitude_deg=0.0, elevation_m=0.0
    )
    zenith, azimuth = sun.sun_at_solar_time(day, hours, latitude)
    one, other = _direction(zenith, azimuth), _direction(exact["zenith_deg"], exact["azimuth_deg"])
    # Up to 1 deg: that is how far the simple declination departs (Duffie and Beckman sec. 1.6).
    assert np.rad2deg(np.arccos(np.clip((one * other).sum(axis=0), -1, 1))).max() < 1.0


def test_one_at_a_time_equals_all_at_once():
    days = np.array([10, 172, 355])
    together = sun.sun_at_solar_time(days, 10.0, -20.0)
    for number, day in enumerate(days):
        alone = sun.sun_at_solar_time(day, 10.0, -20.0)
        assert (alone[0], alone[1]) == (together[0][number], together[1][number])


def test_a_sun_that_is_kept_is_nobodys_to_change():
    """Two sites of one town share a table; what one writes into it the other does not see."""
    index = pd.date_range("2026-03-01 08:00", periods=5, freq="h", tz="Africa/Lusaka")
    place = {"latitude_deg": -15.4, "longitude_deg": 28.3, "elevation_m": 1200.0}
    one = sun.sun_position(index, **place)
    before = one["zenith_deg"].tolist()
    one["zenith_deg"] = 0.0
    assert sun.sun_position(index, **place)["zenith_deg"].tolist() == before
    elsewhere = sun.sun_position(index.tz_convert("UTC"), **place)
    assert elsewhere.index.tz != one.index.tz
    assert elsewhere["zenith_deg"].tolist() == before
    further = sun.sun_position(index, **(place | {"longitude_deg": 30.0}))
    assert further["zenith_deg"].tolist() != before
