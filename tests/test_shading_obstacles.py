"""Shadows of boxes against handbook lengths, sums by hand, rays, and view factors of a wall."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarcalc.basis.hours import year_hours
from solarcalc.roof.packing import RoofFit, RowPlace, fit_on_roof, modules_on_roof
from solarcalc.roof.rows import Rows, cosine_on, normal_vector
from solarcalc.shading.obstacles import (
    ObstacleShade,
    module_beam_kept_frac,
    module_shade_table,
    obstacle_kept_frac,
    obstacle_shade,
    obstacle_sky_seen_frac,
    string_kept_frac,
)
from solarcalc.shading.rows import Blocks
from solarcalc.sitefile.roof import Obstacle, Roof
from solarcalc.sun import sun_of_hours

WHOLE = Blocks(across=3, up=2)


def _rows(tilt=0.0, facing=180.0, slope=0.0, falls=180.0, modules_high=1, up_m=1.6, along_m=1.0):
    return Rows(
        orientation="portrait", slant_m=modules_high * up_m + (modules_high - 1) * 0.02,
        along_m=along_m, gap_m=0.02, modules_high=modules_high, tilt_deg=tilt, azimuth_deg=facing,
        roof_slope_deg=slope, roof_azimuth_deg=falls,
    )  # fmt: skip


def _box(along, up, length, depth, height):
    return Obstacle(
        name="Box", along_m=along, up_m=up, length_m=length, depth_m=depth, height_m=height,
        clearance_m=0.0,
    )  # fmt: skip


def _roof(*boxes, length=10.0, depth=10.0, slope=0.0, falls=180.0):
    return Roof(
        length_m=length, depth_m=depth, slope_deg=slope, azimuth_deg=falls, obstacles=list(boxes)
    )


def _placed(rows, roof, along, up, modules_along=1):
    """Modules whose row begins at a point of the roof, from the left end of the eaves."""
    part = RowPlace(
        along_m=along - roof.length_m / 2.0, across_m=up - roof.depth_m / 2.0,
        modules_along=modules_along, modules_high=rows.modules_high, row=0,
    )  # fmt: skip
    return modules_on_roof(RoofFit(rows=rows, pitch_m=5.0, places=(part,), turn_deg=rows.turn_deg))


def _sun(elevation, azimuth):
    elevation = np.atleast_1d(np.asarray(elevation, dtype=float))
    index = pd.date_range("2001-06-01", periods=len(elevation), freq="h", tz="UTC")
    return pd.DataFrame(
        {"apparent_zenith_deg": 90.0 - elevation, "azimuth_deg": azimuth}, index=index
    )


def _fractions(shade: ObstacleShade) -> np.ndarray:
    """Hours by modules."""
    table = np.zeros((len(shade.index), shade.module_count))
    table[shade.hour, shade.module] = shade.shaded_frac
    return table


# --- lengths of shadows


@pytest.mark.parametrize(
    ("latitude", "declination"),
    [(0.0, 23.45), (15.0, -23.45), (36.1, -23.45), (51.5, 0.0), (59.9, 0.0), (-33.9, 23.45)],
)
def test_noon_shadow_is_as_long_as_the_handbook_says(latitude, declination):
    """Length = height / tan(elevation), elevation at solar noon 90 - |latitude - declination|."""
    elevation = 90.0 - abs(latitude - declination)
    reach = 1.5 / np.tan(np.radians(elevation))
    poleward = 1.0 if latitude > declination else -1.0
    roof = _roof(_box(4.0, 9.0, 2.0, 2.0, 1.5), length=20.0, depth=20.0)
    sun = _sun(elevation, 180.0 if poleward > 0.0 else 0.0)
    edge = 11.0 + reach if poleward > 0.0 else 9.0 - reach
    rows = _rows(up_m=0.2, along_m=0.5)
    for inside in (0.01, 0.07, 0.2, -0.001, -0.3):
        # The module's edge towards the box lies so far inside the shadow's end.
        low = edge - inside if poleward > 0.0 else edge + inside - 0.2
        found = _fractions(obstacle_shade(_placed(rows, roof, 4.7, low), roof, sun, WHOLE))[0, 0]
        assert found == pytest.approx(np.clip(inside / 0.2, 0.0, 1.0), abs=1e-9)


def test_side_of_a_shadow_runs_with_the_sun():
    # Sun in the south-west at 45 deg: the top of a box 1 m high throws 0.707 m north and east.
    roof = _roof(_box(2.0, 2.0, 1.0, 1.0, 1.0))
    rows, sun = _rows(up_m=0.1, along_m=0.1), _sun(45.0, 225.0)

    def shaded(along, up):
        place = _placed(rows, roof, along - 0.05, up - 0.05)
        return _fractions(obstacle_shade(place, roof, sun, WHOLE))[0, 0]

    assert shaded(3.5, 3.5) == pytest.approx(1.0, abs=1e-12)
    assert shaded(3.64, 3.64) == pytest.approx(1.0, abs=1e-12)
    assert shaded(3.77, 3.77) == 0.0
    assert shaded(3.4, 2.2) == 0.0  # beside the slanting side, 0.2 m down: 0.4 m east is lit
    assert shaded(3.2, 2.5) == pytest.approx(1.0, abs=1e-12)
    # Half way on the slanting side, the diagonal halves the module.
    assert shaded(3.3, 2.3) == pytest.approx(0.5, abs=0.03)


def test_plumb_sides_on_a_sloping_roof():
    # By hand, section north to south: the roof rises north at 30 deg, the sun stands at 50 deg
    # in the south. The tip's shadow runs d level: h - d tan 50 = d tan 30, along the roof
    # d / cos 30.
    height, slope, elevation = 1.2, np.radians(30.0), np.radians(50.0)
    along_roof = height / (np.tan(elevation) + np.tan(slope)) / np.cos(slope)
    roof = _roof(_box(4.0, 2.0, 2.0, 1.0, height), slope=30.0)
    rows = _rows(30.0, 180.0, 30.0)
    place = _placed(rows, roof, 4.5, 3.0)
    found = _fractions(obstacle_shade(place, roof, _sun(50.0, 180.0), WHOLE))[0, 0]
    assert 0.2 < along_roof / 1.6 < 0.8
    assert found == pytest.approx(along_roof / 1.6, abs=1e-9)


def test_tilted_module_behind_a_box_by_hand():
    # Lower edge 1 m behind a wall 1 m high, tilt 30, sun at 30 in the south: the edge of the
    # shadow on the module is where 1 - (1 + x) tan 30 = x tan 30, x = (cot 30 - 1) / 2 level.
    level = (1.0 / np.tan(np.radians(30.0)) - 1.0) / 2.0
    roof = _roof(_box(0.0, 2.0, 10.0, 0.2, 1.0))
    place = _placed(_rows(30.0), roof, 4.5, 3.2)
    found = _fractions(obstacle_shade(place, roof, _sun(30.0, 180.0), WHOLE))[0, 0]
    assert found == pytest.approx(level / np.cos(np.radians(30.0)) / 1.6, abs=1e-9)


def test_part_of_a_box_below_the_modules_plane_throws_no_shadow_on_it():
    # The box stands behind a module that rises towards it; the sun is in front of both.
    roof = _roof(_box(4.0, 4.8, 2.0, 1.0, 0.6))
    place = _placed(_rows(30.0), roof, 4.5, 3.2)
    assert len(obstacle_shade(place, roof, _sun(40.0, 180.0), WHOLE).hour) == 0


def test_parapet_along_the_eaves():
    # A parapet is a box along an edge; flush row 0.5 m behind it, sun in the south at 35 deg.
    roof = _roof(_box(0.0, 0.0, 10.0, 0.2, 0.9))
    place = _placed(_rows(), roof, 1.0, 0.7, modules_along=7)
    reach = 0.9 / np.tan(np.radians(35.0)) - 0.5
    shade = obstacle_shade(place, roof, _sun([35.0, 62.0], 180.0), WHOLE)
    found = _fractions(shade)
    assert found[0] == pytest.approx(np.full(7, reach / 1.6), abs=1e-9)
    assert (found[1] == 0.0).all()  # 0.9 / tan 62 is 0.48 m, just short of the row
    assert shade.shaded_blocks.tolist() == [3] * 7  # all of the lower half, nothing above it


def test_boxes_that_overlap_count_once_and_boxes_apart_add_up():
    sun, rows = _sun(45.0, 180.0), _rows()
    one, other = _box(4.0, 1.0, 0.5, 1.0, 1.0), _box(4.5, 1.0, 0.5, 1.0, 0.5)
    inside = _box(4.0, 1.5, 0.5, 0.5, 0.8)

    def shaded(*boxes):
        roof = _roof(*boxes)
        place = _placed(rows, roof, 4.0, 2.0)
        return _fractions(obstacle_shade(place, roof, sun, WHOLE))[0, 0]

    # Shadows 1.0 m and 0.5 m long, each over half the width of a module 1.6 m deep.
    assert shaded(one) == pytest.approx(0.5 * 1.0 / 1.6, abs=1e-9)
    assert shaded(one, other) == pytest.approx(0.5 * 1.5 / 1.6, abs=1e-9)
    assert shaded(one, inside, one) == pytest.approx(0.5 * 1.0 / 1.6, abs=1e-9)


def test_night_flat_boxes_and_bare_roofs_have_no_shadow():
    rows = _rows(20.0)
    high, flat = _roof(_box(0.0, 0.0, 9.0, 1.0, 3.0)), _roof(_box(0.0, 0.0, 9.0, 1.0, 0.0))
    behind = _sun([10.0, -3.0], [0.0, 180.0])  # behind the modules; down
    assert len(obstacle_shade(_placed(rows, high, 4.0, 2.0), high, behind, WHOLE).hour) == 0
    for roof in (flat, _roof()):
        place = _placed(rows, roof, 4.0, 2.0)
        shade = obstacle_shade(place, roof, _sun([10.0, 40.0], 180.0), WHOLE)
        assert len(shade.hour) == 0
        assert obstacle_kept_frac(shade, modules_in_series=3).tolist() == [1.0, 1.0]
        assert obstacle_sky_seen_frac(place, roof).tolist() == [1.0]


def test_layout_without_modules():
    empty = modules_on_roof(RoofFit(rows=_rows(), pitch_m=2.0, places=(), turn_deg=0.0))
    roof = _roof(_box(1.0, 1.0, 1.0, 1.0, 1.0))
    shade = obstacle_shade(empty, roof, _sun([30.0, 40.0], 180.0), WHOLE)
    assert obstacle_kept_frac(shade, modules_in_series=4).tolist() == [1.0, 1.0]
    assert obstacle_sky_seen_frac(empty, roof).shape == (0,)
    assert empty.plan_corners_m.shape == (0, 4, 2)


# --- rays, in world axes (east, north, up) and by triangles


def _world(roof: Roof, points) -> np.ndarray:
    """Points (along, up the slope, square to the roof) from its middle, as (east, north, up)."""
    azimuth, slope = np.radians(roof.azimuth_deg), np.radians(roof.slope_deg)
    fall = np.array([np.sin(azimuth), np.cos(azimuth), 0.0])
    along = np.array([-np.cos(azimuth), np.sin(azimuth), 0.0])
    up = -fall * np.cos(slope) + np.array([0.0, 0.0, np.sin(slope)])
    square = fall * np.sin(slope) + np.array([0.0, 0.0, np.cos(slope)])
    return np.asarray(points) @ np.array([along, up, square])


def _triangles(roof: Roof) -> np.ndarray:
    """Two triangles for each face of each box, shape (t, 3, 3)."""
    faces = []
    for box in roof.obstacles:
        x0, y0 = box.along_m - roof.length_m / 2.0, box.up_m - roof.depth_m / 2.0
        x1, y1 = x0 + box.length_m, y0 + box.depth_m
        foot = _world(roof, [(x0, y0, 0.0), (x1, y0, 0.0), (x1, y1, 0.0), (x0, y1, 0.0)])
        head = foot + np.array([0.0, 0.0, box.height_m])
        quads = [foot, head]
        quads += [
            np.array([foot[n], foot[(n + 1) % 4], head[(n + 1) % 4], head[n]]) for n in range(4)
        ]
        faces += [quad[[0, 1, 2]] for quad in quads] + [quad[[0, 2, 3]] for quad in quads]
    return np.array(faces)


def _hit(points: np.ndarray, ray: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Whether a ray from each point meets any triangle ahead, by barycentric coordinates."""
    hit = np.zeros(len(points), dtype=bool)
    for a, b, c in triangles:
        matrix = np.array([b - a, c - a, -ray]).T
        if abs(np.linalg.det(matrix)) < 1e-12:
            continue
        u, v, t = np.linalg.solve(matrix, (points - a).T)
        hit |= (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (t > 0.0)
    return hit


BOXES = st.lists(
    st.tuples(
        st.floats(0.0, 6.0), st.floats(0.0, 6.0), st.floats(0.1, 4.0), st.floats(0.1, 4.0),
        st.floats(0.1, 3.0),
    ),
    min_size=1, max_size=3,
)  # fmt: skip


@pytest.mark.slow
@given(
    boxes=BOXES,
    elevation=st.floats(3.0, 89.0),
    azimuth=st.floats(0.0, 360.0),
    tilt=st.sampled_from([0.0, 10.0, 35.0, 60.0]),
    facing=st.sampled_from([0.0, 90.0, 180.0, 205.0]),
    slope=st.sampled_from([0.0, 12.0, 35.0]),
    falls=st.sampled_from([0.0, 90.0, 180.0, 200.0]),
    modules_high=st.sampled_from([1, 2]),
)
@settings(max_examples=150, deadline=None)
def test_random_shadows_against_rays(
    boxes, elevation, azimuth, tilt, facing, slope, falls, modules_high
):
    roof = _roof(*(_box(*box) for box in boxes), slope=slope, falls=falls)
    rows = _rows(tilt, facing, slope, falls, modules_high)
    fit = RoofFit(
        rows=rows, pitch_m=3.0, turn_deg=rows.turn_deg,
        places=(
            RowPlace(along_m=-1.5, across_m=-1.0, modules_along=3, modules_high=modules_high,
                     row=0),
        ),
    )  # fmt: skip
    places = modules_on_roof(fit)
    shade = obstacle_shade(places, roof, _sun(elevation, azimuth), WHOLE)
    found = _fractions(shade)[0]
    ray = normal_vector(90.0 - elevation, azimuth)
    if min(ray @ rows.module_normal, ray @ rows.roof_normal) <= 0.0:
        assert (found == 0.0).all()
        return
    triangles = _triangles(roof)
    u, v = (np.arange(48) + 0.5) / 48.0 * rows.along_m, (np.arange(80) + 0.5) / 80.0 * 1.6
    touched = dict(zip(shade.module.tolist(), shade.shaded_blocks.tolist(), strict=True))
    for number, corner in enumerate(places.corner_m):
        grid = corner + u[:, None, None] * places.right + v[:, None] * places.up
        points = _world(roof, grid.reshape(-1, 3))
        hit = _hit(points, ray, triangles).reshape(48, 80)
        # The rays' own steps are 1/80 and 1/48 of a side, our strips 1/24 of the width.
        assert found[number] == pytest.approx(hit.mean(), abs=0.045)
        # Every part that rays of our strips meet is touched; slivers between rays may add some.
        seen = hit[0::2] & hit[1::2]
        parts = seen.reshape(3, 8, 2, 40).any(axis=(1, 3)).sum()
        assert touched.get(number, 0) >= parts - (0 if found[number] > 1e-3 else 6)


@pytest.mark.slow
def test_yearly_shade_against_rays_is_unbiased():
    roof = _roof(_box(4.0, 4.2, 1.2, 0.7, 1.6), _box(2.0, 1.0, 0.3, 0.3, 2.5))
    rows = _rows(20.0, 170.0)
    place = _placed(rows, roof, 3.0, 5.5, modules_along=3)
    rng = np.random.default_rng(3)
    elevation, azimuth = rng.uniform(8.0, 60.0, 250), rng.uniform(110.0, 250.0, 250)
    found = _fractions(obstacle_shade(place, roof, _sun(elevation, azimuth), WHOLE))
    u, v = (np.arange(40) + 0.5) / 40.0, (np.arange(64) + 0.5) / 64.0 * 1.6
    for number, corner in enumerate(place.corner_m):
        grid = corner + u[:, None, None] * place.right + v[:, None] * place.up
        points = _world(roof, grid.reshape(-1, 3))
        rays = [
            _hit(points, normal_vector(90.0 - up, at), _triangles(roof)).mean()
            for up, at in zip(elevation, azimuth, strict=True)
        ]
        assert 0.02 < np.mean(rays) < 0.6
        assert found[:, number].mean() == pytest.approx(np.mean(rays), abs=1e-3)


@given(more=st.floats(0.05, 3.0), elevation=st.floats(5.0, 80.0), azimuth=st.floats(91.0, 269.0))
@settings(max_examples=50, deadline=None)
def test_taller_box_never_shades_less(more, elevation, azimuth):
    low, high = _roof(_box(4.0, 3.0, 1.0, 1.0, 0.5)), _roof(_box(4.0, 3.0, 1.0, 1.0, 0.5 + more))
    place, sun = _placed(_rows(15.0), low, 3.0, 4.2, modules_along=3), _sun(elevation, azimuth)
    less, greater = (
        _fractions(obstacle_shade(place, roof, sun, WHOLE)) for roof in (low, high)
    )
    assert (greater >= less - 1e-12).all()
    sky = [obstacle_sky_seen_frac(place, roof) for roof in (low, high)]
    assert (sky[1] <= sky[0] + 1e-12).all()


# --- where modules stand


@pytest.mark.parametrize(
    ("tilt", "facing", "slope", "falls", "modules_high"),
    [
        (20.0, 180.0, 0.0, 180.0, 1),
        (20.0, 0.0, 0.0, 180.0, 2),  # rows face up the roof: their lower edge is the far one
        (25.0, 205.0, 0.0, 180.0, 1),
        (10.0, 90.0, 15.0, 180.0, 1),
        (5.0, 180.0, 20.0, 180.0, 2),  # flatter than the roof
        (20.0, 180.0, 20.0, 180.0, 2),  # flush
    ],
)
def test_modules_lie_in_their_plane_inside_their_row(tilt, facing, slope, falls, modules_high):
    rows = _rows(tilt, facing, slope, falls, modules_high)
    roof = _roof(_box(4.0, 4.0, 1.0, 1.0, 1.0), slope=slope, falls=falls)
    fit = fit_on_roof(rows, roof, pitch_m=rows.least_pitch_m + 0.4)
    places = modules_on_roof(fit)
    assert places.count == fit.module_count > 6
    sizes = np.bincount(places.row)
    assert sizes.tolist() == list(fit.row_sizes)
    normal = np.cross(*_world(roof, [places.right, places.up]))
    assert abs(normal @ rows.module_normal) == pytest.approx(1.0, abs=1e-9)
    lowest = places.corner_m[:, 2]
    step = (rows.module_up_m + rows.gap_m) * places.up[2]
    assert set(np.round(lowest, 9)) == {round(n * step, 9) for n in range(modules_high)}
    assert places.up[2] >= 0.0
    turn = np.radians(fit.turn_deg)
    axes = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    for place in fit.places:  # the ground each part covers is what its modules cover
        mine = (places.plan_corners_m @ axes)[places.row == place.row]
        low, high = place.along_m, place.along_m + place.modules_along * 1.02 - 0.02
        within = (mine[..., 0] > low - 1e-5) & (mine[..., 0] < high + 1e-5)
        part = mine[within.all(axis=1)]
        assert len(part) >= place.module_count
        if rows.lift_deg > 0.0:
            assert part[..., 1].min() == pytest.approx(place.across_m, abs=1e-9)
            assert part[..., 1].max() == pytest.approx(
                place.across_m + rows.footprint_m, abs=1e-9
            )


def test_modules_of_a_row_come_column_by_column_and_rows_from_the_eaves():
    rows = _rows(20.0, modules_high=2)
    fit = fit_on_roof(rows, _roof(length=5.0, depth=10.0), pitch_m=4.5)
    places = modules_on_roof(fit)
    assert places.row.tolist() == [0] * 8 + [1] * 8
    middle = places.middle_m
    assert np.allclose(middle[0:8:2, 0], middle[1:8:2, 0])  # two of one column, lower one first
    assert (middle[1:8:2, 2] > middle[0:8:2, 2]).all()
    assert (np.diff(middle[0:8:2, 0]) > 0.0).all()
    assert (middle[8:, 1] > middle[:8, 1].max()).all()


def test_array_smaller_than_the_roof_takes_the_fullest_rows():
    # A box takes two modules out of the first of three rows of eight.
    roof = _roof(_box(0.4, 0.4, 2.0, 1.0, 1.0), length=9.0, depth=8.0)
    fit = fit_on_roof(_rows(20.0), roof, pitch_m=2.4)
    assert fit.row_sizes == (6, 8, 8)
    assert modules_on_roof(fit, module_count=12, row_count=2).row.tolist() == [1] * 6 + [2] * 6
    assert modules_on_roof(fit, module_count=15, row_count=2).row.tolist() == [1] * 8 + [2] * 7
    assert modules_on_roof(fit, module_count=9).row.tolist() == [0] * 6 + [1] * 3
    assert modules_on_roof(fit, module_count=3, row_count=1).row.tolist() == [1] * 3
    assert modules_on_roof(fit, module_count=99, row_count=3).count == 22  # what there is


# --- strings


def _shade(entries, module_count, blocks=WHOLE, hours=2):
    """ObstacleShade from (hour, module, shaded fraction, shaded blocks)."""
    hour, module, fraction, touched = (np.array(column) for column in zip(*entries, strict=True))
    return ObstacleShade(
        index=pd.date_range("2001-01-01", periods=hours, freq="h", tz="UTC"),
        module_count=module_count, blocks=blocks, hour=hour, module=module,
        shaded_frac=fraction, shaded_blocks=touched,
    )  # fmt: skip


def test_cost_of_a_string_by_hand():
    # Two strings of four full-cell modules, 12 parts each. First: half of one module, two of
    # its parts: (1 - 0.125) (1 - 2/13). Second: all of one, a tenth of another: mean 0.275,
    # 3 + 1 parts.
    entries = [(1, 0, 0.5, 2), (1, 5, 1.0, 3), (1, 7, 0.1, 1)]
    shade = _shade(entries, 8, Blocks(across=3, up=1))
    kept = string_kept_frac(shade, modules_in_series=4)
    first, second = (1.0 - 0.125) * (1.0 - 2.0 / 13.0), (1.0 - 0.275) * (1.0 - 4.0 / 13.0)
    assert kept.iloc[0].tolist() == [1.0, 1.0]
    assert kept.iloc[1].tolist() == pytest.approx([first, second], abs=1e-12)
    whole = obstacle_kept_frac(shade, modules_in_series=4)
    assert whole.tolist() == pytest.approx([1.0, (first + second) / 2.0], abs=1e-12)


def test_remainder_is_a_string_of_its_own_and_counts_by_its_modules():
    # Five modules in strings of three, six parts each; the last two dark: 1 and 0 of 3 and 2.
    shade = _shade([(0, 3, 1.0, 6), (0, 4, 1.0, 6)], 5)
    assert string_kept_frac(shade, modules_in_series=3).iloc[0].tolist() == [1.0, 0.0]
    assert obstacle_kept_frac(shade, modules_in_series=3).iloc[0] == pytest.approx(0.6)


def test_small_shadow_costs_a_long_string_more_than_its_area():
    # A chimney's shadow on a sixth of one of ten modules, in two of its six parts.
    kept = obstacle_kept_frac(_shade([(0, 4, 1.0 / 6.0, 2)], 10), modules_in_series=10).iloc[0]
    area = 1.0 - 1.0 / 60.0
    assert kept == pytest.approx(area * (1.0 - 2.0 / 61.0), abs=1e-12)
    assert kept < area


def test_touched_parts_by_hand():
    # Flush module 1.0 by 1.6 m in three columns and two halves; sun in the south at 45 deg. A
    # box 1.0 m high over its left 0.4 m reaches 1.0 m: two columns, both halves. 0.5 m: 2.
    rows = _rows()
    for height, blocks, expected in (
        (1.0, WHOLE, 4),
        (0.5, WHOLE, 2),
        (1.0, Blocks(across=3, up=1), 2),
        (1.0, Blocks(across=1, up=3), 2),
        (0.5, Blocks(across=2, up=3), 1),
    ):
        roof = _roof(_box(4.0, 1.0, 0.4, 1.0, height))
        place = _placed(rows, roof, 4.0, 2.0)
        shade = obstacle_shade(place, roof, _sun(45.0, 180.0), blocks)
        assert shade.shaded_blocks.tolist() == [expected]
        assert shade.shaded_frac[0] == pytest.approx(0.4 * height / 1.6, abs=0.5 / 24)


# --- the year


@pytest.fixture(scope="module")
def year():
    sun = sun_of_hours(
        year_hours(-5.0), latitude_deg=36.1, longitude_deg=-79.9, elevation_m=270.0
    )
    rows = _rows(15.0)
    cosine = cosine_on(
        rows.module_normal, sun["apparent_zenith_deg"].to_numpy(), sun["azimuth_deg"].to_numpy()
    )
    up = sun["apparent_zenith_deg"] < 90.0
    return rows, sun, pd.Series(np.maximum(cosine, 0.0) * 800.0, index=sun.index).where(up, 0.0)


def test_year_of_a_roof_with_a_tank(year):
    rows, sun, direct = year
    roof = _roof(_box(4.5, 3.0, 1.2, 1.2, 1.5), length=12.0, depth=9.0)
    fit = fit_on_roof(rows, roof, pitch_m=2.4)
    places = modules_on_roof(fit)
    shade = obstacle_shade(places, roof, sun, WHOLE)
    assert np.unique(shade.hour * places.count + shade.module).size == len(shade.hour)
    assert ((shade.shaded_frac > 0.0) & (shade.shaded_frac <= 1.0 + 1e-12)).all()
    assert ((shade.shaded_blocks >= 1) & (shade.shaded_blocks <= 6)).all()
    assert (sun["apparent_zenith_deg"].to_numpy()[shade.hour] < 90.0).all()
    kept = obstacle_kept_frac(shade, modules_in_series=8)
    assert kept.between(0.0, 1.0).all()
    by_module = module_beam_kept_frac(shade, direct)
    table = module_shade_table(
        places, roof, beam_kept_frac=by_module, sky_seen_frac=obstacle_sky_seen_frac(places, roof),
        modules_in_series=8,
    )  # fmt: skip
    # The module that loses most stands just north of the tank, in line with it.
    worst = table.loc[table["beam_kept_frac"].idxmin()]
    assert 4.0 < worst["along_m"] < 6.2
    assert 4.2 < worst["up_m"] < 6.0
    assert 0.6 < worst["beam_kept_frac"] < 0.95
    assert table["beam_kept_frac"].max() > 0.99
    # Balance: the light the modules miss is the light the fractions take.
    missed = (shade.shaded_frac * direct.to_numpy()[shade.hour]).sum() / direct.sum()
    assert (1.0 - by_module).sum() == pytest.approx(missed)
    # Strings lose more than the area in shadow.
    assert 1.0 - (kept * direct).sum() / direct.sum() > (1.0 - by_module).mean()


def test_year_without_direct_light_loses_none_of_it(year):
    rows, sun, direct = year
    roof = _roof(_box(4.0, 3.0, 1.2, 1.2, 1.5))
    place = _placed(rows, roof, 4.0, 4.5)
    shade = obstacle_shade(place, roof, sun, WHOLE)
    assert len(shade.hour) > 100
    assert module_beam_kept_frac(shade, direct * 0.0).tolist() == [1.0]


# --- the sky


@pytest.mark.parametrize(("height", "away"), [(5.0, 5.0), (2.0, 5.0), (10.0, 3.0), (1.0, 4.0)])
def test_sky_before_an_endless_wall(height, away):
    # Crossed strings: a level point sees (1 + cos theta) / 2 past a wall at elevation theta;
    # 2e-3 is what the rays are stated to be good for.
    roof = _roof(_box(0.0, 50.0, 500.0, 0.5, height), length=500.0, depth=100.0)
    place = _placed(_rows(up_m=0.1, along_m=0.1), roof, 250.0, 50.0 - away - 0.05)
    theta = np.arctan2(height, away)
    seen = obstacle_sky_seen_frac(place, roof)[0]
    assert seen == pytest.approx((1.0 + np.cos(theta)) / 2.0, abs=2e-3)


def test_sky_of_tilted_modules_at_a_wall():
    # Two dimensions: sky from one angle to another off the normal gives the half difference of
    # their sines. Tilt 40 to the south; a wall at 35 deg there, or behind them at 60.
    tilt, alone = 40.0, (1.0 + np.cos(np.radians(40.0))) / 2.0
    rows = _rows(tilt, up_m=0.1, along_m=0.1)
    half_up, raised = 0.05 * np.cos(np.radians(tilt)), 0.05 * np.sin(np.radians(tilt))
    for up, height, low, high in (
        (44.5, 5.0 * np.tan(np.radians(35.0)), 90.0 - 40.0 - 35.0, 90.0),
        (55.0, 5.0 * np.tan(np.radians(60.0)), 90.0 - 40.0, 30.0 + 40.0),
    ):
        roof = _roof(_box(0.0, up, 500.0, 0.5, height + raised), length=500.0, depth=100.0)
        place = _placed(rows, roof, 250.0, 50.0 - half_up)
        expected = (np.sin(np.radians(low)) + np.sin(np.radians(high))) / 2.0 / alone
        assert obstacle_sky_seen_frac(place, roof)[0] == pytest.approx(expected, abs=2e-3 / alone)


def test_sky_of_a_module_beside_a_box_against_rays():
    rows = _rows(20.0, 200.0, 10.0)
    roof = _roof(_box(4.0, 5.0, 1.5, 1.0, 2.0), _box(5.0, 2.0, 0.5, 0.5, 1.0), slope=10.0)
    fit = fit_on_roof(rows, roof, pitch_m=2.4)
    places = modules_on_roof(fit)
    seen = obstacle_sky_seen_frac(places, roof)
    number = int(seen.argmin())
    rng = np.random.default_rng(11)
    up, around = rng.random(1500), rng.random(1500) * 360.0
    rays = np.array(
        [normal_vector(np.degrees(np.arccos(u)), a) for u, a in zip(up, around, strict=True)]
    )
    weight = np.maximum(rays @ rows.module_normal, 0.0)
    point = _world(roof, places.middle_m[number])[None]
    hidden = np.array([_hit(point, ray, _triangles(roof))[0] for ray in rays])
    expected = 1.0 - weight[hidden].sum() / weight.sum()
    assert 0.6 < seen[number] < 0.97
    assert seen[number] == pytest.approx(expected, abs=0.03)  # of chance, 1500 rays
