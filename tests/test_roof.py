"""Rows on a roof: pitches against handbook geometry and a ray-trace, counts by hand, no overlap."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.roof.packing import fit_on_roof
from solarcalc.roof.rows import (
    Rows,
    cosine_on,
    normal_vector,
    pitch_of,
    rows_of,
    shadow_rule_pitch_m,
)
from solarcalc.sitefile.array import Array, Module
from solarcalc.sitefile.roof import WALKWAY_M, Roof
from solarcalc.sun import sun_at_solar_time

MODULE = Module(
    label="Invented, 2.0 x 1.0 m", pmax_w=400.0, voc_v=49.0, isc_a=10.5, vmp_v=41.0, imp_a=9.756,
    alpha_isc_pct_per_k=0.05, beta_voc_pct_per_k=-0.28, gamma_pmax_pct_per_k=-0.35,
    cells_in_series=72, cell_build="half-cut", length_m=2.0, width_m=1.0, mass_kg=22.0,
)  # fmt: skip


def _rows(slant_m=2.0, tilt=30.0, facing=180.0, slope=0.0, falls=180.0, **more):
    figures = {"along_m": 1.0, "gap_m": 0.02, "modules_high": 1, "orientation": "portrait", **more}
    return Rows(
        slant_m=slant_m, tilt_deg=tilt, azimuth_deg=facing, roof_slope_deg=slope,
        roof_azimuth_deg=falls, **figures,
    )  # fmt: skip


def _pitch(latitude_deg, from_solar_h, slant_m=2.0, tilt_deg=30.0, facing_deg=180.0):
    rows = _rows(slant_m, tilt_deg, facing_deg)
    return [
        shadow_rule_pitch_m(
            rows, latitude_deg=latitude, from_solar_h=from_solar_h, to_solar_h=24.0 - from_solar_h
        )
        for latitude in latitude_deg
    ]


def _shadow(latitude_deg, from_solar_h):
    """Length of shadow of one metre of height: what an upright metre asks beyond no footprint."""
    return _pitch(latitude_deg, from_solar_h, slant_m=1.0, tilt_deg=90.0)


QUANTITIES = {"pitch": _pitch, "shadow": _shadow}


@pytest.mark.published("roof/row-geometry.toml")
def test_published_figure(case):
    result = QUANTITIES[case["quantity"]](**case["inputs"])
    assert "tolerance" not in case or case["differs_because"]
    atol = case.get("tolerance", 0.5 * case["last_digit"]) * (1.0 + 1e-9)
    tilt, slant = (case["inputs"].get(name, 0.0) for name in ("tilt_deg", "slant_m"))
    strip = slant * math.cos(math.radians(tilt)) + float(WALKWAY_M)
    # Near the equator the handbook's pitch leaves less than the free strip; ours keeps the strip.
    expected = np.maximum(case["figure"], strip) if slant else case["figure"]
    np.testing.assert_allclose(result, expected, rtol=0.0, atol=atol)


def _basis(rows):
    """Unit vectors of the row as hands would measure them: along, up its slope, on the roof."""
    n_module, n_roof = rows.module_normal, rows.roof_normal
    along = np.cross(n_roof, n_module)
    along /= np.linalg.norm(along)
    up_module = np.cross(n_module, along)
    up_module *= np.sign(up_module @ n_roof)  # the raised edge is off the roof
    across = np.cross(n_roof, along)
    across *= np.sign(across @ up_module)
    return along, up_module, across


def _reach_of_shadow(rows, suns, pitch_m):
    """How far up the slant of the row behind the shadow of the top edge in front reaches [m].

    A ray from the raised edge of the front row (foot at the origin) is followed away from the
    sun until it meets the plane of the row behind, whose foot is one pitch further back. A ray
    that meets it only towards the sun casts no shadow there.
    """
    _, up_module, across = _basis(rows)
    top, foot_behind = rows.slant_m * up_module, pitch_m * across
    steps = rows.module_normal @ (top - foot_behind) / (suns @ rows.module_normal)
    reach = (top - steps[:, None] * suns - foot_behind) @ up_module
    return np.where(steps > 0.0, reach, -math.inf)


@settings(deadline=None, max_examples=100)
@given(
    latitude=some.floats(-60.0, 60.0),
    tilt=some.floats(3.0, 60.0),
    facing=some.floats(0.0, 359.0),
    slope=some.floats(0.0, 30.0),
    falls=some.floats(0.0, 359.0),
    start=some.floats(8.0, 11.5),
)
def test_pitch_of_the_rule_is_the_least_that_a_ray_trace_allows(
    latitude, tilt, facing, slope, falls, start
):
    rows = _rows(2.0, tilt, facing, slope, falls)
    pitch = shadow_rule_pitch_m(
        rows, latitude_deg=latitude, from_solar_h=start, to_solar_h=24.0 - start
    )
    if pitch is None or rows.lift_deg < 0.5:
        return
    hours = np.linspace(start, 24.0 - start, 121)
    angles = [sun_at_solar_time(day, hours, latitude) for day in (172, 355)]
    suns = np.array([normal_vector(z, a) for pair in angles for z, a in zip(*pair, strict=True)])
    suns = suns[suns @ rows.module_normal > 1e-6]
    highest = _reach_of_shadow(rows, suns, pitch).max(initial=-math.inf)
    assert highest < 1e-6
    if pitch > rows.least_pitch_m + 1e-9:
        assert highest == pytest.approx(0.0, abs=1e-6)  # and not a hair wider than needed


@pytest.mark.parametrize("facing", [90.0, 135.0, 180.0, 215.0, 0.0])
@pytest.mark.parametrize("latitude", [-35.0, 0.0, 9.0, 45.0])
def test_no_day_of_the_year_asks_for_more_than_the_solstices(latitude, facing):
    rows = _rows(2.0, 25.0, facing, 5.0, 200.0)
    rule = shadow_rule_pitch_m(rows, latitude_deg=latitude, from_solar_h=9.0, to_solar_h=15.0)
    days = np.arange(1, 366)[:, None]
    zenith, azimuth = sun_at_solar_time(days, np.linspace(9.0, 15.0, 61)[None, :], latitude)
    on_modules = cosine_on(rows.module_normal, zenith, azimuth)
    ratio = on_modules / cosine_on(rows.roof_normal, zenith, azimuth)
    needed = rows.slant_m * ratio[on_modules > 0.0].max()
    assert max(needed, rows.least_pitch_m) <= rule + 1e-9


def test_hemispheres_mirror():
    north = _pitch([35.0], 9.0)[0]
    south = _pitch([-35.0], 9.0, facing_deg=0.0)[0]
    assert south == pytest.approx(north, rel=1e-9)


def test_a_roof_that_falls_to_the_sun_needs_less_and_one_that_falls_away_more():
    flat, towards, away = (
        shadow_rule_pitch_m(
            _rows(2.0, 30.0, 180.0, slope, falls),
            latitude_deg=40.0, from_solar_h=10.0, to_solar_h=14.0,
        )
        for slope, falls in ((0.0, 180.0), (10.0, 180.0), (10.0, 0.0))
    )  # fmt: skip
    assert towards < flat < away


@pytest.mark.parametrize("latitude", [70.0, -70.0])
def test_polar_night_has_no_answer(latitude):
    facing = 180.0 if latitude > 0.0 else 0.0
    assert _pitch([latitude], 10.0, facing_deg=facing) == [None]


def test_flush_rows_need_only_the_gap():
    rows = _rows(2.0, 20.0, 170.0, 20.0, 170.0)
    assert (rows.lift_deg, rows.turn_deg) == (0.0, 0.0)
    rule = shadow_rule_pitch_m(rows, latitude_deg=50.0, from_solar_h=9.0, to_solar_h=15.0)
    assert rule == pytest.approx(2.02)


def _array(**more):
    figures = {
        "module_count": 4, "modules_in_series": 2, "orientation": "landscape", "rows": 2,
        "tilt_deg": 20.0, "azimuth_deg": 180.0, "mounting": "open-frame", **more,
    }  # fmt: skip
    return Array(**figures)


LEVEL = Roof(length_m=10.0, depth_m=8.0, azimuth_deg=180.0, edge_setback_m=0.5)


def test_rows_take_the_module_the_chosen_way_round():
    portrait = rows_of(_array(), MODULE, LEVEL, orientation="portrait")
    landscape = rows_of(_array(modules_high=2), MODULE, LEVEL)
    assert (portrait.slant_m, portrait.along_m) == (2.0, 1.0)
    assert (landscape.slant_m, landscape.along_m) == (2.02, 2.0)
    three_high = rows_of(_array(modules_high=3), MODULE, LEVEL, orientation="portrait")
    assert (three_high.modules_high, three_high.slant_m) == (2,
                                                             4.02)  # 1.5 widths: two up, not three
    two_high = rows_of(_array(orientation="portrait", modules_high=2), MODULE, LEVEL,
                     orientation="landscape")  # fmt: skip
    assert (two_high.modules_high, two_high.slant_m) == (2, 2.02)
    sloped = Roof(length_m=9.0, depth_m=5.0, slope_deg=25.0, azimuth_deg=200.0)
    flush = rows_of(_array(mounting="flush"), MODULE, sloped)
    assert (flush.tilt_deg, flush.azimuth_deg, flush.lift_deg) == (25.0, 200.0, 0.0)


def test_pitch_below_the_footprint_names_the_field():
    array = _array(row_pitch_m=0.9)
    rows = rows_of(array, MODULE, LEVEL)
    with pytest.raises(InputError, match=r"array\.row_pitch_m") as caught:
        pitch_of(array, rows, latitude_deg=10.0)
    assert "0.94 m" in caught.value.faults[0].allowed  # 1.0 cos 20
    assert "0.9 m" in caught.value.faults[0].given
    with pytest.raises(InputError, match="pitch_m"):
        fit_on_roof(rows, LEVEL, pitch_m=0.9)


def test_a_set_pitch_does_not_stop_the_other_orientation():
    array = _array(row_pitch_m=1.3)  # right for landscape, less than a portrait row covers
    other = rows_of(array, MODULE, LEVEL, orientation="portrait")
    assert pitch_of(array, rows_of(array, MODULE, LEVEL), latitude_deg=10.0) == 1.3
    assert pitch_of(array, other, latitude_deg=10.0) == pytest.approx(
        2.0 * math.cos(math.radians(20.0)) + float(WALKWAY_M)
    )
    wide = _array(row_pitch_m=4.0)
    assert pitch_of(wide, other, latitude_deg=10.0) == 4.0


def test_row_counts_by_hand():
    # Usable 9.0 x 7.0 m. Landscape modules 2.0 m along with 0.02 m gaps: 4 fit in 8.06 m, 5 ask
    # 10.08 m. Flat rows 1.0 m wide at 1.1 m pitch: 1 + floor((7.0 - 1.0) / 1.1) = 6 rows.
    flat = _rows(1.0, 0.0, along_m=2.0)
    fit = fit_on_roof(flat, LEVEL, pitch_m=1.1)
    assert [place.modules_along for place in fit.places] == [4] * 6
    assert fit.module_count == 24
    assert fit.largest_row == 4
    # Portrait rows 2.0 m wide lifted 60 deg cover 1.0 m: six rows again, of floor(9.02/1.02) = 8.
    upright = fit_on_roof(_rows(2.0, 60.0), LEVEL, pitch_m=1.1)
    assert upright.module_count == 6 * 8
    # Two modules high count twice.
    double = _rows(2.02, 0.0, along_m=2.0, modules_high=2)
    assert fit_on_roof(double, LEVEL, pitch_m=2.1).module_count == 3 * 4 * 2
    # Exactly as long as the roof still fits.
    exact = _rows(1.0, 0.0, along_m=2.235)  # 4 x 2.235 + 3 x 0.02 = 9.0
    assert fit_on_roof(exact, LEVEL, pitch_m=1.0).module_count == 4 * 7


def test_nothing_fits_on_a_roof_smaller_than_its_setback():
    tiny = Roof(length_m=0.8, depth_m=0.8, azimuth_deg=0.0, edge_setback_m=0.5)
    fit = fit_on_roof(_rows(), tiny, pitch_m=3.0)
    assert (fit.module_count, fit.largest_row, fit.places) == (0, 0, ())


def test_quarter_turn_swaps_length_and_depth():
    # Modules that face east on a roof that falls south: rows run up the slope.
    level = Roof(length_m=12.0, depth_m=7.0, azimuth_deg=180.0, edge_setback_m=0.5)
    turned = Roof(length_m=7.0, depth_m=12.0, azimuth_deg=90.0, edge_setback_m=0.5)
    east = _rows(2.0, 10.0, 90.0, 0.0, 180.0)
    along_eaves = _rows(2.0, 10.0, 90.0, 0.0, 90.0)
    assert east.turn_deg == 90.0
    assert along_eaves.turn_deg == 0.0
    one, other = (fit_on_roof(r, f, pitch_m=2.4) for r, f in ((east, level), (along_eaves, turned)))
    # 1 + floor((11 - 1.97) / 2.4) = 4 rows of floor(6.02 / 1.02) = 5.
    assert one.module_count == other.module_count == 4 * 5


@pytest.mark.parametrize(
    ("facing", "falls", "expected"),
    [
        # Plan: the roof falls down the page. Roof falls south: page right is east, page up north.
        (180.0, 180.0, 0.0),
        (150.0, 180.0, 30.0),  # south-east: rows climb to the right (north-east), 30 deg
        (210.0, 180.0, 150.0),  # south-west: rows fall to the right
        (0.0, 180.0, 0.0),
        # Roof falls east: page right is north, page up west.
        (60.0, 90.0, 30.0),  # faces north of east: rows run from south-east to north-west
        (120.0, 90.0, 150.0),
    ],
)
def test_rows_turn_the_right_way_on_the_plan(facing, falls, expected):
    rows = _rows(2.0, 15.0, facing, 0.0, falls)
    assert rows.turn_deg == pytest.approx(expected, abs=1e-6)
    # Vectors by hand: page right and up as compass directions, the row square to its facing.
    right = math.radians(falls - 90.0)
    page = np.array([[math.sin(right), math.cos(right)], [-math.sin(math.radians(falls)),
                                                          -math.cos(math.radians(falls))]])
    row = np.array([math.sin(math.radians(facing - 90.0)), math.cos(math.radians(facing - 90.0))])
    x, y = page @ row
    assert round(math.degrees(math.atan2(y, x)), 6) % 180.0 == pytest.approx(expected, abs=1e-6)
    assert np.linalg.det(page) == pytest.approx(1.0)  # right-handed: seen from above


def test_turn_on_a_sloped_roof_is_measured_in_the_roof():
    rows = _rows(2.0, 30.0, 140.0, 20.0, 180.0)
    along, _, _ = _basis(rows)
    assert along @ rows.roof_normal == pytest.approx(0.0, abs=1e-12)
    eaves = np.array([1.0, 0.0, 0.0])
    angle = math.degrees(math.acos(abs(along @ eaves)))
    assert min(rows.turn_deg, 180.0 - rows.turn_deg) == pytest.approx(angle, abs=1e-6)
    assert rows.turn_deg < 90.0  # turned to the east: the right end stands higher


def test_section_slope_follows_the_raised_edge():
    assert _rows(2.0, 30.0, 180.0, 20.0, 180.0).section_slope_deg == pytest.approx(20.0)
    assert _rows(2.0, 10.0, 180.0, 20.0, 180.0).section_slope_deg == pytest.approx(-20.0)
    assert _rows(2.0, 10.0, 0.0, 20.0, 180.0).section_slope_deg == pytest.approx(-20.0)
    assert _rows(2.0, 20.0, 180.0, 20.0, 180.0).section_slope_deg == 20.0
    across = _rows(2.0, 10.0, 90.0, 0.0, 180.0)
    assert across.section_slope_deg == pytest.approx(0.0, abs=1e-9)


def test_section_gives_the_tilt_back():
    for tilt, slope, facing in ((35.0, 10.0, 180.0), (5.0, 25.0, 180.0), (15.0, 10.0, 0.0)):
        rows = _rows(2.0, tilt, facing, slope, 180.0)
        assert abs(rows.section_slope_deg + rows.lift_deg) == pytest.approx(tilt, abs=1e-6)


def _corners(fit, place):
    """Corners of every module of one row, in row axes, shape (modules, 4, 2)."""
    rows = fit.rows
    result = []
    for number in range(place.modules_along):
        left = place.along_m + number * (rows.along_m + rows.gap_m)
        x = [left, left + rows.along_m, left + rows.along_m, left]
        low, high = place.across_m, place.across_m + rows.footprint_m
        result.append(np.column_stack([x, [low, low, high, high]]))
    return result


@settings(deadline=None, max_examples=50)
@given(
    length=some.floats(1.0, 30.0),
    depth=some.floats(1.0, 30.0),
    setback=some.floats(0.0, 1.0),
    facing=some.floats(0.0, 359.9),
    tilt=some.floats(0.0, 80.0),
    slope=some.floats(0.0, 40.0),
    extra=some.floats(0.0, 2.0),
    landscape=some.booleans(),
)
def test_modules_lie_inside_the_setback_and_apart(
    length, depth, setback, facing, tilt, slope, extra, landscape
):
    roof = Roof(
        length_m=length, depth_m=depth, slope_deg=slope, azimuth_deg=180.0, edge_setback_m=setback
    )
    slant, along = (1.0, 2.0) if landscape else (2.0, 1.0)
    rows = _rows(slant, tilt, facing, slope, 180.0, along_m=along)
    fit = fit_on_roof(rows, roof, pitch_m=rows.footprint_m + 0.02 + extra)
    turn = math.radians(fit.turn_deg)
    back = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    half = np.array([length, depth]) / 2.0 - setback
    across = sorted(place.across_m for place in fit.places)
    assert all(b - a >= fit.pitch_m - 1e-9 for a, b in pairwise(across))
    for place in fit.places:
        modules = _corners(fit, place)
        on_roof = np.concatenate(modules) @ back
        assert (np.abs(on_roof) <= half + 1e-6).all()
        edges = [(m[:, 0].min(), m[:, 0].max()) for m in modules]
        assert all(b[0] >= a[1] for a, b in pairwise(edges))
    area = fit.module_count * along * rows.footprint_m
    assert area <= max(2.0 * half[0], 0.0) * max(2.0 * half[1], 0.0) + 1e-6


def test_wider_pitch_never_fits_more_rows_along_the_eaves():
    counts = [
        fit_on_roof(_rows(), LEVEL, pitch_m=pitch).module_count for pitch in (2.1, 2.5, 3.0, 4.0)
    ]
    assert counts == sorted(counts, reverse=True)
    steeper = replace(_rows(), tilt_deg=45.0)
    assert steeper.footprint_m < _rows().footprint_m
