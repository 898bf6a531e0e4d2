"""Light on a plane against the textbook, the library's own sum and what symmetry asks."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest

from solarcalc import sun
from solarcalc.basis.hours import mid_hour, year_hours
from solarcalc.design import open_design
from solarcalc.sky import plane_light

PARTS = ["beam", "circumsolar", "sky", "ground"]


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
        still = _light(60.0, 180.0, ghi=total, dhi=diffuse, tilt=tilt_deg, facing=180.0,
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
    # The library lets a sun below the horizon shine on a plane that faces it; we do not, so its
    # beam is taken as 0 there.
    hours, suns = clinic.weather.hours, clinic.sun
    light = plane_light(hours, suns, tilt_deg=tilt, azimuth_deg=facing, albedo_frac=0.2)
    day = mid_hour(hours.index).tz_convert("UTC").day_of_year.to_numpy()
    theirs = pvlib.irradiance.get_total_irradiance(
        tilt, facing, suns["apparent_zenith_deg"], suns["azimuth_deg"],
        hours["dni"].where(suns["apparent_zenith_deg"] < 90.0, 0.0), hours["ghi"], hours["dhi"],
        dni_extra=pd.Series(pvlib.irradiance.get_extra_radiation(day), index=hours.index),
        albedo=0.2, model="haydavies",
    )  # fmt: skip
    np.testing.assert_allclose(light["total"], theirs["poa_global"], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(light[PARTS].sum(axis=1), light["total"], rtol=1e-12)
    assert (light[PARTS] >= 0.0).all().all()


def test_flat_plane_gives_back_the_global_light_of_a_year_that_closes(clinic):
    hours, suns = clinic.weather.hours, clinic.sun
    zenith = suns["apparent_zenith_deg"]
    level = np.cos(np.deg2rad(zenith))
    high = zenith < 88.9  # below this height the library holds the projection of circumsolar light
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
    grey = _light(50.0, 180.0, ghi=200.0, dhi=200.0, tilt=90.0, facing=10.0, albedo=0.3).iloc[0]
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
