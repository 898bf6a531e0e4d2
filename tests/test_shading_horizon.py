"""The horizon against closed forms, published view factors, a documented example and rays."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pvlib.solarposition import get_solarposition
from pydantic import ValidationError

from solarcalc.basis.errors import InputError
from solarcalc.basis.hours import year_hours
from solarcalc.roof.rows import normal_vector
from solarcalc.shading.rows import horizon_height_deg, horizon_hides_sun, horizon_sky_seen_frac
from solarcalc.sitefile.place import Horizon
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.toml import write_new_site
from solarcalc.sun import sun_of_hours

OPEN = Horizon()
AROUND_DEG = np.arange(0.0, 360.0, 0.25)

# Profile of Golden, Colorado, every 7.5 deg from north by east, as printed in the pvlib
# documentation, example "Simple irradiance adjustment for horizon shading"; opened.
GOLDEN = Horizon(
    azimuth_deg=np.arange(0.0, 360.0, 7.5).tolist(),
    height_deg=[
        10.7, 11.8, 11.5, 10.3, 8.0, 6.5, 3.8, 2.3, 2.3, 2.3, 4.6, 8.0, 10.3, 11.1, 10.7, 10.3,
        9.2, 6.1, 5.3, 2.3, 3.1, 1.9, 1.9, 2.7, 3.8, 5.3, 6.5, 8.4, 8.8, 8.4, 8.4, 8.4, 6.5, 6.1,
        6.5, 6.1, 7.3, 9.2, 8.4, 8.0, 5.7, 5.3, 5.3, 4.2, 4.2, 4.2, 7.3, 9.5,
    ],
)  # fmt: skip


def _line(height_of) -> Horizon:
    return Horizon(azimuth_deg=AROUND_DEG.tolist(), height_deg=height_of(AROUND_DEG).tolist())


def _ridges(theta_deg, sides):
    """Endless ridges along north and south that stand at theta square to them."""

    def height(azimuth_deg):
        across = np.sin(np.radians(azimuth_deg))
        across = np.abs(across) if sides == 2 else np.maximum(across, 0.0)
        return np.degrees(np.arctan(np.tan(np.radians(theta_deg)) * across))

    return _line(height)


def _by_rays(profile, tilt, azimuth, count=400_000):
    """Share of the plane's sky left, by rays drawn at random evenly over the upper half space."""
    rng = np.random.default_rng(5)
    up = rng.random(count)
    around = rng.random(count) * 360.0
    level = np.sqrt(1.0 - up**2)
    rays = np.stack(
        [level * np.sin(np.radians(around)), level * np.cos(np.radians(around)), up], axis=1
    )
    weight = np.maximum(rays @ normal_vector(tilt, azimuth), 0.0)
    points = np.array([*profile.azimuth_deg, profile.azimuth_deg[0] + 360.0])
    heights = np.array([*profile.height_deg, profile.height_deg[0]])
    line = np.interp(np.where(around < points[0], around + 360.0, around), points, heights)
    return float(weight[np.degrees(np.arcsin(up)) > line].sum() / weight.sum())


# --- the line


def test_straight_lines_around_the_circle_by_hand():
    line = Horizon(azimuth_deg=[30.0, 90.0, 330.0], height_deg=[6.0, 12.0, 0.0])
    # 60 deg from 330 through north to 30: a tenth of a degree for each degree.
    azimuth = np.array([30.0, 60.0, 90.0, 210.0, 330.0, 345.0, 0.0, 15.0, 359.0])
    expected = [6.0, 9.0, 12.0, 6.0, 0.0, 1.5, 3.0, 4.5, 2.9]
    assert horizon_height_deg(line, azimuth) == pytest.approx(expected, abs=1e-9)


def test_no_point_is_open_and_one_point_is_level():
    assert horizon_height_deg(OPEN, np.array([0.0, 200.0])).tolist() == [0.0, 0.0]
    one = Horizon(azimuth_deg=[120.0], height_deg=[7.0])
    assert horizon_height_deg(one, np.array([0.0, 120.0, 359.9])).tolist() == [7.0, 7.0, 7.0]


# --- the sun


def test_sun_is_hidden_only_while_it_is_up_and_below_the_line():
    sun = pd.DataFrame(
        {"apparent_zenith_deg": [80.1, 79.9, 91.0, 80.1, 10.0, 90.0],
         "azimuth_deg": [90.0, 90.0, 90.0, 180.0, 90.0, 90.0]}
    )  # fmt: skip
    line = Horizon(azimuth_deg=[0.0, 90.0, 180.0], height_deg=[0.0, 10.0, 0.0])
    assert horizon_hides_sun(line, sun).tolist() == [True, False, False, False, False, False]
    assert not horizon_hides_sun(OPEN, sun).any()


def test_documented_example_of_the_library():
    """The hidden minutes of the example's own rule, DNI kept where elevation > np.interp(...)."""
    index = pd.date_range("2020-12-20 06:30", "2020-12-20 09:00", freq="1min", tz="Etc/GMT+7")
    place = get_solarposition(index.tz_convert("UTC"), 39.76, -105.22)
    elevation, azimuth = place["apparent_elevation"], place["azimuth"]
    rule = elevation > np.interp(azimuth, GOLDEN.azimuth_deg, GOLDEN.height_deg)
    sun = pd.DataFrame({"apparent_zenith_deg": place["apparent_zenith"], "azimuth_deg": azimuth})
    hidden = horizon_hides_sun(GOLDEN, sun)
    up = (elevation > 0.0).to_numpy()
    assert hidden[up].tolist() == (~rule)[up].tolist()
    assert not hidden[~up].any()
    assert 30 < hidden.sum() < up.sum() - 30  # both sides of the line are met


def test_higher_line_hides_more_hours_of_a_year():
    sun = sun_of_hours(
        year_hours(5.75), latitude_deg=27.7, longitude_deg=85.3, elevation_m=1350.0
    )
    counts = [
        horizon_hides_sun(Horizon(azimuth_deg=[0.0], height_deg=[height]), sun).sum()
        for height in (0.0, 5.0, 15.0, 80.0)
    ]
    assert counts == sorted(counts)
    assert counts[0] == 0
    # Hand: at 80 deg only hours near noon in summer are left of some 4400.
    assert 4000 < counts[3] < (sun["apparent_zenith_deg"] < 90.0).sum()


# --- the sky


@pytest.mark.parametrize("height", [0.0, 3.0, 20.0, 45.0, 80.0])
def test_flat_plane_under_an_even_line(height):
    line = Horizon(azimuth_deg=[0.0], height_deg=[height])
    expected = np.cos(np.radians(height)) ** 2
    assert horizon_sky_seen_frac(line, 0.0, 77.0) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("sides", "printed"),
    [
        # Bendix 2004, p. 63 eq. 3.15, as worked in the documentation of fieldClim
        # (terr_sky_view, theta 30 deg; opened): (1 + cos theta) / 2 and, in a valley, cos theta.
        (1, 0.9330127),
        (2, 0.8660254),
    ],
)
def test_published_view_factors_beside_a_ridge_and_in_a_valley(sides, printed):
    assert horizon_sky_seen_frac(_ridges(30.0, sides), 0.0, 0.0) == pytest.approx(
        printed, abs=2e-6
    )


def test_upright_plane_before_and_behind_a_ridge():
    # Crossed strings: an upright plane that faces an endless ridge at theta sees
    # (1 - sin theta) / 2 of a uniform sky, 1/2 without it; with its back to it, nothing changes.
    ridge = _ridges(30.0, 1)  # in the east
    assert horizon_sky_seen_frac(ridge, 90.0, 90.0) == pytest.approx(0.5, abs=1e-5)
    assert horizon_sky_seen_frac(ridge, 90.0, 270.0) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(("tilt", "toward"), [(20.0, 1.0), (50.0, 1.0), (20.0, -1.0), (50.0, -1.0)])
def test_tilted_plane_at_a_ridge_by_crossed_strings(tilt, toward):
    # Two dimensions: sky from angle low to high off the normal gives (sin high - sin low) / 2.
    # The normal leans by the tilt to the ridge (toward 1) or from it; the sky ends at the plane.
    theta = 35.0
    line_off_normal = 90.0 - theta - toward * tilt if toward > 0 else 90.0 - theta + tilt
    end = min(line_off_normal, 90.0)
    other_end = min(90.0 + toward * tilt, 90.0)
    expected = (np.sin(np.radians(end)) + np.sin(np.radians(other_end))) / 2.0
    alone = (1.0 + np.cos(np.radians(tilt))) / 2.0
    azimuth = 90.0 if toward > 0 else 270.0
    found = horizon_sky_seen_frac(_ridges(theta, 1), tilt, azimuth)
    assert found * alone == pytest.approx(expected, abs=2e-5)


@pytest.mark.parametrize(
    ("tilt", "azimuth"), [(0.0, 0.0), (10.0, 180.0), (35.0, 300.0), (60.0, 90.0), (90.0, 0.0)]
)
def test_against_rays_at_random(tilt, azimuth):
    jagged = Horizon(
        azimuth_deg=[20.0, 60.0, 61.0, 140.0, 200.0, 310.0],
        height_deg=[30.0, 5.0, 45.0, 0.0, 12.0, 70.0],
    )
    for line in (GOLDEN, jagged):
        found = horizon_sky_seen_frac(line, tilt, azimuth)
        # 400,000 rays: about 0.001 of chance in the estimate, three times that allowed.
        assert found == pytest.approx(_by_rays(line, tilt, azimuth), abs=3e-3)


def test_steps_are_fine_enough():
    jagged = Horizon(azimuth_deg=[60.0, 60.4, 200.0], height_deg=[0.0, 80.0, 10.0])
    around = (np.arange(720_000) + 0.5) / 2000.0
    height = np.radians(horizon_height_deg(jagged, around))
    exact = np.mean(np.cos(height) ** 2)  # flat plane: the closed form of each azimuth
    assert horizon_sky_seen_frac(jagged, 0.0, 0.0) == pytest.approx(exact, abs=1e-4)


@given(
    points=st.lists(
        st.tuples(st.integers(0, 359), st.floats(0.0, 80.0)), max_size=12, unique_by=lambda p: p[0]
    ),
    tilt=st.floats(0.0, 90.0),
    azimuth=st.floats(0.0, 359.9),
)
@settings(max_examples=100, deadline=None)
def test_a_share_of_the_sky_and_never_more_behind_a_higher_line(points, tilt, azimuth):
    points = sorted(points)
    where, heights = [float(p[0]) for p in points], [p[1] for p in points]
    line = Horizon(azimuth_deg=where, height_deg=heights)
    higher = Horizon(azimuth_deg=where, height_deg=[min(h + 3.0, 80.0) for h in heights])
    seen = horizon_sky_seen_frac(line, tilt, azimuth)
    assert 0.0 <= horizon_sky_seen_frac(higher, tilt, azimuth) <= seen + 1e-12 <= 1.0 + 1e-12


def test_open_horizon_takes_nothing():
    assert horizon_sky_seen_frac(OPEN, 30.0, 180.0) == 1.0
    low = Horizon(azimuth_deg=[0.0, 180.0], height_deg=[0.0, 0.0])
    assert horizon_sky_seen_frac(low, 30.0, 180.0) == pytest.approx(1.0, abs=1e-12)


# --- the site file


def _with_horizon(tmp_path: Path, lines: str) -> Path:
    path = write_new_site("Hill", tmp_path)
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[horizon]\n", f"[horizon]\n{lines}\n"), encoding="utf-8")
    return path


def test_profile_from_the_site_file(tmp_path):
    path = _with_horizon(tmp_path, "azimuth_deg = [60, 90.5, 150]\nheight_deg = [0, 12, 3.5]")
    line = read_site(path).site.horizon
    assert line.azimuth_deg == [60.0, 90.5, 150.0]
    assert line.height_deg == [0.0, 12.0, 3.5]


def test_site_without_a_profile_has_an_open_horizon(tmp_path):
    assert read_site(write_new_site("Plain", tmp_path)).site.horizon == OPEN


@pytest.mark.parametrize(
    ("lines", "field", "allowed"),
    [
        ("azimuth_deg = [10, 10]\nheight_deg = [1, 1]", "horizon.azimuth_deg", "each above"),
        ("azimuth_deg = [90, 10]\nheight_deg = [1, 1]", "horizon.azimuth_deg", "each above"),
        ("azimuth_deg = [0, 360]\nheight_deg = [1, 1]", "horizon.azimuth_deg", "below 360"),
        ("azimuth_deg = [-5]\nheight_deg = [1]", "horizon.azimuth_deg", "from 0"),
        ("azimuth_deg = [0, 90]\nheight_deg = [1]", "horizon.height_deg", "which has 2"),
        ("azimuth_deg = [0, 90]", "horizon.height_deg", "which has 2"),
        ("height_deg = [5]", "horizon.height_deg", "which has 0"),
        ("azimuth_deg = [0]\nheight_deg = [81]", "horizon.height_deg", "from 0 to 80"),
        ("azimuth_deg = [0]\nheight_deg = [-1]", "horizon.height_deg", "from 0 to 80"),
        ('azimuth_deg = "east"', "horizon.azimuth_deg", "a list of numbers"),
    ],
)
def test_faults_name_field_value_and_what_is_allowed(tmp_path, lines, field, allowed):
    with pytest.raises(InputError) as caught:
        read_site(_with_horizon(tmp_path, lines))
    fault = next(f for f in caught.value.faults if f"hill.toml: {field}" in f.where)
    assert allowed in fault.allowed
    assert fault.given


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_what_is_no_number_is_refused(bad):
    with pytest.raises(ValidationError):
        Horizon(azimuth_deg=[bad], height_deg=[0.0])
    with pytest.raises(ValidationError):
        Horizon(azimuth_deg=[0.0], height_deg=[bad])
