"""Light on a plane against the textbook, the library's own sum and what symmetry asks."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc import sun
from solarcalc.basis.files import demo_sites
from solarcalc.basis.hours import year_hours
from solarcalc.design import open_design
from solarcalc.sky import beam_above_air, even_and_band, month_light_kwh_m2, plane_light

PARTS = ["beam", "circumsolar", "sky", "horizon", "ground"]


def _light(zenith_deg, azimuth_deg, *, ghi=0.0, dni=0.0, dhi=0.0, tilt, facing, albedo=0.2):
    """Light under suns given by their angles; the dates only fill the index."""
    zenith = np.atleast_1d(np.asarray(zenith_deg, dtype=float))
    index = year_hours(0.0)[: len(zenith)]
    suns = pd.DataFrame(
        {"apparent_zenith_deg": zenith, "azimuth_deg": np.atleast_1d(azimuth_deg)}, index=index
    )
    hours = pd.DataFrame({"ghi": ghi, "dni": dni, "dhi": dhi}, index=index)
    return plane_light(hours, suns, tilt_deg=tilt, azimuth_deg=facing, albedo_frac=albedo)


def _incidence(day_of_year, solar_hour, latitude_deg, tilt_deg, facing_deg):
    zenith, azimuth = sun.sun_at_solar_time(day_of_year, solar_hour, latitude_deg)
    return _light(zenith, azimuth, tilt=tilt_deg, facing=facing_deg)["aoi_deg"].iloc[0]


def _beam_ratio(day_of_year, solar_hour, latitude_deg, tilt_deg, facing_deg):
    zenith, azimuth = sun.sun_at_solar_time(day_of_year, solar_hour, latitude_deg)
    light = _light(zenith, azimuth, dni=1000.0, tilt=tilt_deg, facing=facing_deg)
    return light["beam"].iloc[0] / (1000.0 * np.cos(np.deg2rad(zenith)))


def _diffuse_share(clearness, sunset_deg):
    """Erbs et al. 1982 for monthly means, Duffie and Beckman 2013 eq. 2.12.1."""
    k = clearness
    if sunset_deg <= 81.4:
        return 1.391 - 3.560 * k + 4.189 * k**2 - 2.137 * k**3
    return 1.311 - 3.022 * k + 3.427 * k**2 - 1.821 * k**3


def _monthly_mean_day(day_of_year, horizontal_mj_m2, albedo_frac, latitude_deg, tilt_deg):
    """The book's isotropic sum, its three parts taken from `plane_light`."""
    result = []
    for day, total, albedo in zip(day_of_year, horizontal_mj_m2, albedo_frac, strict=True):
        sunset = float(sun.sunset_hour_angle_deg(latitude_deg, sun.declination_deg(day)))
        above = float(sun.extraterrestrial_daily_mj_m2(day, latitude_deg))
        diffuse = total * _diffuse_share(total / above, sunset)
        hours = np.arange(0.0, 24.0, 0.01)
        zenith, azimuth = sun.sun_at_solar_time(day, hours, latitude_deg)
        day_light = _light(zenith, azimuth, dni=1.0, tilt=tilt_deg, facing=180.0)
        level = np.clip(np.cos(np.deg2rad(zenith)), 0.0, None)
        ratio = day_light["beam"].sum() / level.sum()
        still = _light(95.0, 180.0, ghi=total, dhi=diffuse, tilt=tilt_deg, facing=180.0,
                       albedo=albedo).iloc[0]  # fmt: skip
        result.append((total - diffuse) * ratio + still["sky"] + still["ground"])
    return result


QUANTITIES = {
    "incidence": _incidence,
    "beam_ratio": _beam_ratio,
    "monthly_mean_day": _monthly_mean_day,
}


@pytest.mark.published("sky/duffie-beckman.toml")
def test_published_figure(case):
    tolerance = case.get("tolerance", 0.5 * case["last_digit"])
    assert "tolerance" not in case or case["differs_because"]
    result = QUANTITIES[case["quantity"]](**case["inputs"])
    np.testing.assert_allclose(
        np.asarray(result, float), np.asarray(case["figure"], float),
        rtol=0.0, atol=tolerance * (1.0 + 1e-9),
    )  # fmt: skip


@pytest.fixture(scope="module")
def clinic():
    return open_design("ridge-clinic")


@pytest.mark.parametrize(("tilt", "facing"), [(0.0, 180.0), (20.0, 90.0), (35.0, 180.0),
                                               (60.0, 300.0), (90.0, 0.0)])  # fmt: skip
def test_every_hour_equals_the_library_total(clinic, tilt, facing):
    # The library lets a sun below the horizon shine on a plane that faces it; we do not, and
    # take the sky as even then.
    hours, suns = clinic.weather.hours, clinic.sun
    light = plane_light(hours, suns, tilt_deg=tilt, azimuth_deg=facing, albedo_frac=0.2)
    up = suns["apparent_zenith_deg"] < 90.0
    theirs = _library(hours, suns, tilt, facing, "perez-driesse")
    np.testing.assert_allclose(light["total"][up], theirs[up], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(light[PARTS].sum(axis=1), light["total"], rtol=1e-12, atol=1e-12)
    assert (light[[part for part in PARTS if part != "horizon"]] >= 0.0).all().all()
    assert (light["horizon"] < -1.0).any() == (light["horizon"] > 1.0).any() == (tilt > 0.0)


@given(planes=st.lists(st.tuples(st.floats(0.0, 90.0), st.floats(0.0, 359.0)), max_size=40))
@settings(max_examples=10, deadline=None)
def test_months_of_many_planes_are_the_sums_of_each(clinic, planes):
    hours, suns = clinic.weather.hours, clinic.sun
    albedo = pd.Series(np.linspace(0.1, 0.7, len(hours)), index=hours.index)
    each = [plane_light(hours, suns, tilt_deg=tilt, azimuth_deg=facing, albedo_frac=albedo)["total"]
            for tilt, facing in planes]  # fmt: skip
    sums = [(light.groupby(light.index.month).sum() / 1000.0).to_numpy() for light in each]
    np.testing.assert_allclose(month_light_kwh_m2(hours, suns, planes, albedo_frac=albedo),
                               np.array(sums).reshape(-1, 12), rtol=1e-9)  # fmt: skip


def _library(hours, suns, tilt, facing, model):
    """Its total [W/m2], with no beam while the sun of the middle of the hour is down."""
    zenith = suns["apparent_zenith_deg"]
    return pvlib.irradiance.get_total_irradiance(
        tilt, facing, zenith, suns["azimuth_deg"], hours["dni"].where(zenith < 90.0, 0.0),
        hours["ghi"], hours["dhi"], dni_extra=beam_above_air(hours), albedo=0.2, model=model,
    )["poa_global"]  # fmt: skip


@pytest.mark.parametrize("site", sorted(demo_sites()))
@pytest.mark.parametrize(("tilt", "facing"), [
    (0.0, 180.0), (12.0, 90.0), (25.0, 180.0), (30.0, 0.0), (35.0, 240.0), (50.0, 180.0),
    (60.0, 0.0), (60.0, 95.0), (75.0, 200.0), (90.0, 180.0), (90.0, 90.0), (90.0, 270.0),
    (90.0, 0.0),
])  # fmt: skip
def test_the_year_is_the_library_s_on_steep_planes_and_under_clouds_too(site, tilt, facing):
    # Asked for: 0.1 points a year. The places: 62 N under clouds, dry tropics, temperate, coast.
    this = open_design(site)
    hours, suns = this.weather.hours, this.sun
    year = plane_light(hours, suns, tilt_deg=tilt, azimuth_deg=facing, albedo_frac=0.2)["total"]
    theirs, steps = (_library(hours, suns, tilt, facing, model).sum()
                     for model in ("perez-driesse", "perez"))  # fmt: skip
    assert year.sum() == pytest.approx(theirs, rel=0.001)
    # The table of 1990 that the continuous form follows: 0.5 % at most here, Alaska's east wall.
    assert year.sum() == pytest.approx(steps, rel=0.006)


@pytest.mark.parametrize("name", ["FL-Miami_Intl_Ap.tmy3.csv", "HI-Honolulu_Intl_Arpt.tmy3.csv",
                                  "725650_Denver.tmy3.csv"])  # fmt: skip
def test_the_year_is_the_library_s_in_other_climates(shared_weather, name):
    table, meta = pvlib.iotools.read_tmy3(
        shared_weather(name), coerce_year=2001, map_variables=True
    )
    hours = table[["ghi", "dni", "dhi"]].shift(freq="-1h")
    suns = sun.sun_of_hours(hours.index, latitude_deg=meta["latitude"],
                            longitude_deg=meta["longitude"],
                            elevation_m=meta["altitude"])  # fmt: skip
    for tilt, facing in ((20.0, 180.0), (60.0, 180.0), (90.0, 90.0), (90.0, 0.0)):
        light = plane_light(hours, suns, tilt_deg=tilt, azimuth_deg=facing, albedo_frac=0.2)
        theirs = _library(hours, suns, tilt, facing, "perez-driesse")
        up = suns["apparent_zenith_deg"] < 90.0
        assert light["total"][up].sum() == pytest.approx(theirs[up].sum(), rel=0.001)
        # Honolulu's file has up to 70 W/m2 of sky light with the sun 5 deg down. The library
        # makes most of it circumsolar: 4 % more a year on an east wall, 0.2 % less at 20 deg.
        # The coefficients were found for suns above the horizon; those hours are left out here.


SKIES = st.tuples(
    st.floats(0.0, 1200.0), st.floats(0.0, 700.0), st.floats(0.0, 100.0), st.floats(0.0, 359.0)
)


@settings(max_examples=200, deadline=None)
@given(sky=SKIES, tilt=st.floats(0.0, 90.0), facing=st.floats(0.0, 359.0),
       kept=st.tuples(*[st.floats(0.0, 1.0)] * 2))  # fmt: skip
def test_no_part_that_can_be_hidden_is_negative(sky, tilt, facing, kept):
    # So hiding any share of any part can only take light away, whatever the sky.
    dni, dhi, zenith, azimuth = sky
    light = _light(zenith, azimuth, ghi=dhi, dni=dni, dhi=dhi, tilt=tilt, facing=facing)
    even, band = even_and_band(light)
    assert (light[["beam", "circumsolar", "sky", "ground"]] >= 0.0).all().all()
    assert min(even.iloc[0], band.iloc[0]) >= 0.0
    whole = light["sky"] + light["horizon"]
    np.testing.assert_allclose(even + band, whole, atol=1e-9)
    assert (even * kept[0] + band * kept[1] <= whole + 1e-9).all()


def test_albedo_may_change_by_the_hour(clinic):
    hours, suns = clinic.weather.hours, clinic.sun
    plane = {"tilt_deg": 60.0, "azimuth_deg": 180.0}
    winter = pd.DatetimeIndex(hours.index).month <= 2
    snow = pd.Series(np.where(winter, 0.7, 0.2), index=hours.index)
    by_hour = plane_light(hours, suns, albedo_frac=snow, **plane)
    for albedo, chosen in ((0.7, winter), (0.2, ~winter)):
        alone = plane_light(hours, suns, albedo_frac=albedo, **plane)
        pd.testing.assert_frame_equal(by_hour[chosen], alone[chosen])


def test_a_bright_and_a_dark_band():
    # Perez et al. 1990, table 1 of the paper as pvlib carries it: under a clear sky the horizon
    # is brighter than the rest (F2 > 0), under a closed one darker.
    clear = _light(40.0, 180.0, ghi=780.0, dni=900.0, dhi=90.0, tilt=90.0, facing=0.0).iloc[0]
    closed = _light(40.0, 180.0, ghi=150.0, dhi=150.0, tilt=90.0, facing=0.0).iloc[0]
    assert clear["horizon"] > 0.1 * 90.0
    assert -0.15 * 150.0 < closed["horizon"] < 0.0


def test_flat_plane_gives_back_the_global_light_of_a_year_that_closes(clinic):
    hours, suns = clinic.weather.hours, clinic.sun
    zenith = suns["apparent_zenith_deg"]
    level = np.cos(np.deg2rad(zenith))
    high = zenith < 85.0  # below this height the library holds the projection of circumsolar light
    closed = hours.assign(ghi=hours["dni"] * level + hours["dhi"])
    light = plane_light(closed, suns, tilt_deg=0.0, azimuth_deg=77.0, albedo_frac=0.9)
    np.testing.assert_allclose(light["total"][high], closed["ghi"][high], rtol=1e-9)
    assert light["ground"].abs().max() < 1e-9


def test_no_light_at_night(clinic):
    hours, suns = clinic.weather.hours, clinic.sun
    light = plane_light(hours, suns, tilt_deg=40.0, azimuth_deg=250.0, albedo_frac=0.3)
    night = suns["apparent_zenith_deg"] > 98.0  # down through the whole hour: 15 deg an hour
    assert night.sum() > 3000
    assert light["total"][night].max() == 0.0


def test_upright_planes_see_half_the_sky_and_half_the_ground():
    # The sun is down, so that the sky is even.
    grey = _light(95.0, 180.0, ghi=200.0, dhi=200.0, tilt=90.0, facing=10.0, albedo=0.3).iloc[0]
    assert grey["sky"] == pytest.approx(100.0)
    assert grey["ground"] == pytest.approx(30.0)
    assert (grey["beam"], grey["circumsolar"]) == (0.0, 0.0)


def test_sun_square_on_the_plane_gives_the_whole_beam():
    facing = _light(35.0, 180.0, dni=800.0, tilt=35.0, facing=180.0).iloc[0]
    assert facing["beam"] == pytest.approx(800.0)
    assert facing["aoi_deg"] == pytest.approx(0.0, abs=1e-5)
    behind = _light(80.0, 0.0, dni=800.0, dhi=100.0, tilt=60.0, facing=180.0).iloc[0]
    assert (behind["beam"], behind["circumsolar"]) == (0.0, 0.0)


def test_no_beam_from_a_sun_below_the_horizon():
    light = _light(90.5, 180.0, dni=300.0, dhi=20.0, tilt=90.0, facing=180.0).iloc[0]
    assert (light["beam"], light["circumsolar"]) == (0.0, 0.0)
    assert light["sky"] == pytest.approx(10.0)


@pytest.mark.parametrize("facing", [180.0, 150.0, 250.0])
def test_south_mirrors_north(facing):
    hours = np.arange(0.25, 24.0, 0.5)
    north = sun.sun_at_solar_time(300, hours, 35.0)
    south = sun.sun_at_solar_time(300, hours, 35.0)[0], (180.0 - north[1]) % 360.0
    values = {"ghi": 500.0, "dni": 600.0, "dhi": 150.0, "tilt": 28.0}
    one = _light(*north, facing=facing, **values)
    other = _light(*south, facing=(180.0 - facing) % 360.0, **values)
    np.testing.assert_allclose(one, other, rtol=1e-9, atol=1e-7)


def test_half_a_year_apart_the_hemispheres_get_alike():
    # 35 N facing south-east against 35 S facing north-east, beam alone, whole year with the exact
    # sun: alike but for the orbit (equation of time, 7 days between the half years).
    index = year_hours(0.0)
    sums = {}
    for latitude, facing in ((35.0, 150.0), (-35.0, 30.0)):
        suns = sun.sun_of_hours(index, latitude_deg=latitude, longitude_deg=0.0, elevation_m=0.0)
        hours = pd.DataFrame({"ghi": 0.0, "dni": 700.0, "dhi": 0.0}, index=index)
        light = plane_light(hours, suns, tilt_deg=30.0, azimuth_deg=facing, albedo_frac=0.2)
        sums[latitude] = light["beam"].groupby(index.month).mean()
    assert sums[-35.0].mean() == pytest.approx(sums[35.0].mean(), rel=0.005)
    shifted = np.roll(sums[-35.0].to_numpy(), 6)
    np.testing.assert_allclose(shifted, sums[35.0], rtol=0.03)  # half years differ by 3 days


def test_one_hour_alone_equals_that_hour_of_the_year(clinic):
    plane = {"tilt_deg": 33.0, "azimuth_deg": 200.0, "albedo_frac": 0.2}
    year = plane_light(clinic.weather.hours, clinic.sun, **plane)
    pick = slice(4000, 4001)
    alone = plane_light(clinic.weather.hours.iloc[pick], clinic.sun.iloc[pick], **plane)
    pd.testing.assert_frame_equal(alone, year.iloc[pick])
