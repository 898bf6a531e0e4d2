"""Shade of row on row against the library, a published table, counts by hand and an integral."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest

from solarcalc.basis.hours import year_hours
from solarcalc.roof.rows import Rows, cosine_on, normal_vector
from solarcalc.shading.rows import (
    band_seen_frac,
    blocks_of,
    roof_hides_sun,
    shaded_fraction,
    sky_seen_frac,
)
from solarcalc.sitefile.array import Module
from solarcalc.sun import sun_of_hours


def _rows(slant_m=2.0, tilt=30.0, facing=180.0, slope=0.0, falls=180.0):
    return Rows(
        orientation="portrait", slant_m=slant_m, along_m=1.0, gap_m=0.02, modules_high=1,
        tilt_deg=tilt, azimuth_deg=facing, roof_slope_deg=slope, roof_azimuth_deg=falls,
    )  # fmt: skip


def _sun(zenith_deg, azimuth_deg):
    zenith = np.atleast_1d(np.asarray(zenith_deg, dtype=float))
    return pd.DataFrame({"apparent_zenith_deg": zenith, "azimuth_deg": azimuth_deg})


@pytest.fixture(scope="module")
def year_sun():
    return sun_of_hours(
        year_hours(-5.0), latitude_deg=36.1, longitude_deg=-79.9, elevation_m=270.0
    )


def _module(**more):
    figures = {"cell_build": "full", "bypass_diodes": 3, **more}
    return Module(
        label="Invented", pmax_w=300.0, voc_v=40.0, isc_a=9.8, vmp_v=32.6, imp_a=9.2,
        alpha_isc_pct_per_k=0.05, beta_voc_pct_per_k=-0.29, gamma_pmax_pct_per_k=-0.37,
        cells_in_series=60, length_m=1.64, width_m=0.99, mass_kg=18.0, **figures,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("rows", "pitch_m", "zenith", "azimuth", "expected"),
    [
        # Examples of the documentation of pvlib.shading.shaded_fraction1d (version 0.16). Its
        # pitch is level, ours lies in the roof. Equal rows: the offset to the axis drops out.
        (_rows(2.0, 30.0, 180.0), 3.0, 80.0, 135.0, 0.47755694708090535),
        (_rows(1.4, 30.0, 90.0, 7.0, 270.0), 3.0 / np.cos(np.deg2rad(7.0)), 80.0, 90.0,
         0.8242176864434579),
        (_rows(1.4, 30.0, 270.0, 7.0, 270.0), 3.0 / np.cos(np.deg2rad(7.0)), 80.0, 270.0,
         0.018002567182254348),
    ],
)  # fmt: skip
def test_documented_examples_of_the_library(rows, pitch_m, zenith, azimuth, expected):
    found = shaded_fraction(rows, _sun(zenith, azimuth), pitch_m=pitch_m)
    assert found.iloc[0] == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("tilt", "facing", "slope", "falls"),
    [
        (15.0, 180.0, 0.0, 180.0),
        (30.0, 140.0, 0.0, 0.0),
        (10.0, 90.0, 0.0, 180.0),
        (35.0, 180.0, 12.0, 180.0),  # roof falls to the sun
        (20.0, 180.0, 8.0, 0.0),  # roof falls away
        (5.0, 180.0, 20.0, 180.0),  # flatter than the roof
    ],
)
def test_every_hour_equals_the_library_where_the_sun_is_in_front(
    year_sun, tilt, facing, slope, falls
):
    rows, pitch_m = _rows(2.0, tilt, facing, slope, falls), 2.7
    ours = shaded_fraction(rows, year_sun, pitch_m=pitch_m)
    zenith, azimuth = year_sun["apparent_zenith_deg"], year_sun["azimuth_deg"]
    towards = 1.0 if falls == facing else -1.0
    library = pvlib.shading.shaded_fraction1d(
        zenith, azimuth, axis_azimuth=facing - 90.0, shaded_row_rotation=tilt,
        shading_row_rotation=tilt, collector_width=2.0,
        pitch=pitch_m * np.cos(np.deg2rad(slope)), cross_axis_slope=towards * slope,
    )  # fmt: skip
    # The sun is in front when it is on the side of the roof the modules look to.
    front = normal_vector(tilt, facing) - np.cos(np.deg2rad(rows.lift_deg)) * rows.roof_normal
    in_front = (cosine_on(front, zenith.to_numpy(), azimuth.to_numpy()) > 1e-3) & (zenith < 90.0)
    on_modules = cosine_on(rows.module_normal, zenith.to_numpy(), azimuth.to_numpy())
    above = cosine_on(rows.roof_normal, zenith.to_numpy(), azimuth.to_numpy()) > 0.0
    use = in_front & (on_modules > 1e-6) & above
    assert use.sum() > 1000
    np.testing.assert_allclose(ours[use], library[use], rtol=0.0, atol=1e-6)
    lit_from_behind = ~in_front & (on_modules > 1e-6) & above & (zenith < 90.0)
    assert ours[lit_from_behind].max() == 0.0 or not lit_from_behind.any()


def test_nothing_is_shaded_when_the_sun_is_behind_or_down(year_sun):
    rows = _rows(2.0, 40.0, 180.0)
    fraction = shaded_fraction(rows, year_sun, pitch_m=2.2)
    zenith, azimuth = year_sun["apparent_zenith_deg"], year_sun["azimuth_deg"]
    behind = cosine_on(rows.module_normal, zenith.to_numpy(), azimuth.to_numpy()) <= 0.0
    assert (fraction[behind | (zenith >= 90.0)] == 0.0).all()
    assert fraction.between(0.0, 1.0).all()
    assert fraction.max() > 0.5


def test_wider_pitch_shades_less_and_flush_rows_never(year_sun):
    sums = [
        shaded_fraction(_rows(), year_sun, pitch_m=pitch).sum() for pitch in (2.0, 2.5, 3.5, 8.0)
    ]
    assert sums == sorted(sums, reverse=True)
    assert sums[0] > sums[-1] > 0.0
    flush = _rows(2.0, 25.0, 200.0, 25.0, 200.0)
    assert shaded_fraction(flush, year_sun, pitch_m=2.02).max() == 0.0


def test_limiting_profile_angle():
    # tan(psi) = sin b / (1 / gcr - cos b): 17.878 deg at gcr 0.5, tilt 20; hand geometry.
    psi = 17.877987144333
    rows = _rows(2.0, 20.0, 180.0)
    shade = [
        shaded_fraction(rows, _sun(90.0 - psi + d, 180.0), pitch_m=4.0).iloc[0]
        for d in (-0.05, 0.05)
    ]
    assert shade[0] == 0.0
    assert 0.0 < shade[1] < 0.02


def test_roof_hides_the_low_sun_behind_its_ridge():
    rows = _rows(2.0, 30.0, 180.0, 15.0, 180.0)
    hidden = roof_hides_sun(rows, _sun([80.0, 70.0, 80.0, 95.0], [0.0, 0.0, 180.0, 0.0]))
    assert hidden.tolist() == [True, False, False, False]


@pytest.mark.parametrize(
    ("build", "diodes", "orientation", "expected"),
    [
        # By hand: substrings of a module run along its long side, side by side across the short
        # one; the halves of a half-cut module lie one above the other along the long side.
        ("full", 3, "portrait", (3, 1)),
        ("full", 3, "landscape", (1, 3)),
        ("half-cut", 3, "portrait", (3, 2)),
        ("half-cut", 3, "landscape", (2, 3)),
        ("full", 2, "landscape", (1, 2)),
    ],
)
def test_blocks_by_hand(build, diodes, orientation, expected):
    blocks = blocks_of(_module(cell_build=build, bypass_diodes=diodes), orientation)
    assert (blocks.across, blocks.up) == expected
    assert blocks.per_module == diodes * (2 if build == "half-cut" else 1)


def _sky_by_integral(lift_deg, cover):
    """Mean over the slant of half the integral of cos(angle to normal) over the sky in sight."""
    lift, seen = np.deg2rad(lift_deg), []
    top = np.array([-1.0 / cover + np.cos(lift), np.sin(lift)])  # upper edge of the row in front
    for along in (np.arange(300) + 0.5) / 300:
        point = along * np.array([np.cos(lift), np.sin(lift)])
        horizon = np.arctan2(top[1] - point[1], point[0] - top[0])
        angle = np.linspace(horizon, np.pi - lift, 2001)
        seen.append(np.trapezoid(np.cos(angle - (np.pi / 2.0 - lift)), angle) / 2.0)
    return float(np.mean(seen))


@pytest.mark.parametrize(
    ("tilt", "cover", "view_factor"),
    [
        (20.0, 0.5, 0.94295),  # the library's own figures for the view factor of the row
        (30.0, 0.5, 0.88034),
        (5.0, 0.9, None),
        (60.0, 0.7, None),
    ],
)
def test_sky_between_rows_against_an_integral(tilt, cover, view_factor):
    alone = (1.0 + np.cos(np.deg2rad(tilt))) / 2.0
    ours = sky_seen_frac(_rows(2.0, tilt), pitch_m=2.0 / cover)
    assert ours * alone == pytest.approx(_sky_by_integral(tilt, cover), abs=2e-6)
    if view_factor is not None:
        assert ours * alone == pytest.approx(view_factor, abs=5e-6)


def test_sky_limits():
    assert sky_seen_frac(_rows(2.0, 30.0), pitch_m=1e6) == pytest.approx(1.0, abs=1e-5)
    assert sky_seen_frac(_rows(2.0, 20.0, 180.0, 20.0, 180.0), pitch_m=2.02) == 1.0
    on_slope = sky_seen_frac(_rows(2.0, 30.0, 180.0, 10.0, 180.0), pitch_m=4.0)
    assert on_slope == pytest.approx(sky_seen_frac(_rows(2.0, 20.0), pitch_m=4.0), abs=1e-9)


def test_the_band_over_the_horizon_between_rows():
    # By hand, upright rows 2 m high: at the band's middle, 3.25 deg, a ray square to the rows
    # over the one in front 4 m off still lights 4 tan(3.25 deg) / 2 = 0.114 of the row.
    upright = band_seen_frac(_rows(2.0, 90.0), pitch_m=4.0)
    assert 0.1135 < upright < 0.2  # rays aslant have farther to go and light more
    assert band_seen_frac(_rows(2.0, 30.0), pitch_m=1e6) == pytest.approx(1.0)
    assert band_seen_frac(_rows(2.0, 20.0, 180.0, 20.0, 180.0), pitch_m=2.02) == 1.0
    seen = [band_seen_frac(_rows(2.0, 30.0), pitch_m=pitch) for pitch in (2.0, 3.0, 5.0, 20.0)]
    assert seen == sorted(seen)
    assert all(0.0 < one <= 1.0 for one in seen)
    # A roof that falls away from the side the modules face hides all of it.
    assert band_seen_frac(_rows(2.0, 20.0, 180.0, 40.0, 0.0), pitch_m=5.0) < 0.2
