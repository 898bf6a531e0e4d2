"""Rows around obstacles and walkways: counts by hand, nothing touched, no better layout found."""

from __future__ import annotations

import math
import time
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.design import open_design
from solarcalc.roof.packing import fit_on_roof, kept_free
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.roof import Obstacle, Roof, Walkway


def _rows(slant_m=1.0, tilt=0.0, facing=180.0, slope=0.0, **more):
    figures = {"along_m": 2.0, "gap_m": 0.0, "modules_high": 1, "orientation": "landscape", **more}
    return Rows(
        slant_m=slant_m, tilt_deg=tilt, azimuth_deg=facing, roof_slope_deg=slope,
        roof_azimuth_deg=180.0, **figures,
    )  # fmt: skip


def _box(along, up, length, depth, clearance=0.0, name="Box"):
    return Obstacle(name=name, along_m=along, up_m=up, length_m=length, depth_m=depth,
                    height_m=1.0, clearance_m=clearance)  # fmt: skip


def _roof(length=10.0, depth=6.0, obstacles=(), walkways=(), setback=0.0, slope=0.0):
    return Roof(length_m=length, depth_m=depth, azimuth_deg=180.0, edge_setback_m=setback,
                slope_deg=slope, obstacles=list(obstacles), walkways=list(walkways))  # fmt: skip


def _strip(start, width, runs="along"):
    return Walkway(name="Way", runs=runs, from_m=start, width_m=width)


def _by_row(fit):
    return [
        [(round(p.along_m, 6), p.modules_along) for p in fit.places if p.row == row]
        for row in range(fit.row_count)
    ]


# --- hand: roof 10 x 6 m, no setback, modules 2.0 m along and 1.0 m up, no gap: 6 rows of 5


def test_the_bare_roof_is_full():
    fit = fit_on_roof(_rows(), _roof(), pitch_m=1.0)
    assert (fit.module_count, fit.row_sizes) == (30, (5,) * 6)


def test_a_box_takes_the_modules_it_touches_and_the_row_goes_on_beyond_it():
    # Box 4.5 to 5.5 m along, 0 to 0.8 m up: the lowest row keeps 4.5 m on either side, two
    # modules each. Rows that began above the box, at 0.8 m, would be five: 25, not 29.
    fit = fit_on_roof(_rows(), _roof(obstacles=[_box(4.5, 0.0, 1.0, 0.8)]), pitch_m=1.0)
    assert fit.row_sizes == (4, 5, 5, 5, 5, 5)
    assert [count for _, count in _by_row(fit)[0]] == [2, 2]
    left, right = _by_row(fit)[0]
    assert left[0] + 4.0 <= -0.5
    assert right[0] >= 0.5


def test_clearance_is_kept_all_around():
    # With 0.6 m around it the same box leaves 3.9 m on either side: one module each, and its
    # upper edge reaches to 1.4 m: the second row is broken alike.
    fit = fit_on_roof(_rows(), _roof(obstacles=[_box(4.5, 0.0, 1.0, 0.8, 0.6)]), pitch_m=1.0)
    assert fit.row_sizes == (2, 2, 5, 5, 5, 5)


def test_a_module_may_lie_against_what_is_kept_free():
    fit = fit_on_roof(_rows(), _roof(obstacles=[_box(4.0, 1.0, 2.0, 1.0)]), pitch_m=1.0)
    assert fit.row_sizes == (5, 4, 5, 5, 5, 5)


def test_rows_begin_anew_beyond_a_walkway():
    # Strip from 2.5 to 3.1 m up: two rows below it (2.0 m of 2.5), two above (2.9 m of roof).
    fit = fit_on_roof(_rows(), _roof(walkways=[_strip(2.5, 0.6)]), pitch_m=1.0)
    assert fit.row_sizes == (5,) * 4
    ups = [place.across_m + 3.0 for place in fit.places]
    assert ups == pytest.approx([0.0, 1.0, 3.1, 4.1])


def test_a_walkway_across_breaks_every_row():
    # From 4.0 to 4.7 m: two modules at the left, 5.3 m at the right hold two.
    fit = fit_on_roof(_rows(), _roof(walkways=[_strip(4.0, 0.7, "across")]), pitch_m=1.0)
    assert fit.row_sizes == (4,) * 6


def test_a_walkway_that_leaves_nothing():
    everywhere = [_strip(0.0, 6.0)]
    fit = fit_on_roof(_rows(), _roof(walkways=everywhere), pitch_m=1.0)
    assert (fit.module_count, fit.places, fit.row_count) == (0, (), 0)


def test_quarter_turned_rows_go_around_too():
    # Rows up the slope: 10 rows 1.0 m wide, each 6 m long with three modules. The box from 2.2
    # to 3.8 m up stands in the rows 4 to 5 and 5 to 6 m along: each keeps one above and one below.
    rows = _rows(tilt=1e-3, facing=90.0)
    roof = _roof(obstacles=[_box(4.2, 2.2, 1.6, 1.6)])
    fit = fit_on_roof(rows, roof, pitch_m=1.0)
    assert rows.turn_deg == pytest.approx(90.0)
    assert sorted(fit.row_sizes) == [2, 2] + [3] * 8


def test_tiers_of_flush_rows_are_filled_each_by_itself_and_frames_stay_whole():
    # Rows of three tiers, 3.0 m up, twice. The box 8.5 to 9.5 m along, 0.2 to 0.6 m up lies in
    # the lowest tier only: flush it costs one module, on a frame the three of its column.
    roof = _roof(obstacles=[_box(8.5, 0.2, 1.0, 0.4)])
    flush = fit_on_roof(_rows(3.0, modules_high=3), roof, pitch_m=3.0)
    frame = fit_on_roof(_rows(3.0, 1e-3, modules_high=3), roof, pitch_m=3.0)
    assert flush.row_sizes == (14, 15)
    assert frame.row_sizes == (12, 15)
    assert [place.modules_high for place in flush.places] == [1, 1, 1, 3]


def test_parts_keep_the_columns_of_whole_rows_where_they_can():
    fit = fit_on_roof(_rows(), _roof(obstacles=[_box(0.0, 0.0, 0.5, 0.5)]), pitch_m=1.0)
    lefts = {round(place.along_m % 2.0, 6) for place in fit.places}
    assert lefts == {1.0}
    assert fit.row_sizes == (4, 5, 5, 5, 5, 5)


# --- nothing is touched, whatever the roof


def _modules(fit):
    """Corners of every module about the roof's middle, along the eaves and up, (n, 4, 2)."""
    rows, found = fit.rows, []
    shrink = math.cos(math.radians(rows.lift_deg))
    up = (rows.slant_m - (rows.modules_high - 1) * rows.gap_m) / rows.modules_high
    for place in fit.places:
        for number in range(place.modules_along):
            for tier in range(place.modules_high):
                x = place.along_m + number * (rows.along_m + rows.gap_m)
                y = place.across_m + tier * (up + rows.gap_m) * shrink
                found.append([[x, y], [x + rows.along_m, y],
                              [x + rows.along_m, y + up * shrink], [x, y + up * shrink]])
    turn = math.radians(fit.turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    return np.array(found).reshape(-1, 4, 2) @ np.array([[c, s], [-s, c]])


def _depth_shared(one, other):
    """How far two convex shapes run into each other [m], by separating axes; 0: they do not."""
    least = math.inf
    for shape in (one, other):
        for edge in np.roll(shape, -1, axis=0) - shape:
            if np.hypot(*edge) < 1e-9:
                continue
            axis = np.array([-edge[1], edge[0]]) / np.hypot(*edge)
            a, b = one @ axis, other @ axis
            least = min(least, min(a.max(), b.max()) - max(a.min(), b.min()))
    return max(least, 0.0)


boxes = some.builds(
    lambda a, u, w, d, clear: (a, u, w, d, clear),
    some.floats(0.0, 0.9), some.floats(0.0, 0.9), some.floats(0.05, 0.5), some.floats(0.05, 0.5),
    some.floats(0.0, 0.8),
)  # fmt: skip


@settings(deadline=None, max_examples=80)
@given(
    length=some.floats(3.0, 14.0),
    depth=some.floats(3.0, 10.0),
    setback=some.floats(0.0, 0.6),
    facing=some.one_of(some.sampled_from([180.0, 90.0, 0.0]), some.floats(0.0, 359.9)),
    tilt=some.sampled_from([0.0, 12.0, 35.0]),
    up=some.integers(1, 3),
    gap=some.sampled_from([0.0, 0.02]),
    extra=some.floats(0.0, 1.5),
    placed=some.lists(boxes, max_size=4),
    way=some.one_of(some.none(), some.tuples(some.sampled_from(["along", "across"]),
                                             some.floats(0.0, 0.8), some.floats(0.3, 1.0))),
)  # fmt: skip
def test_no_module_touches_what_is_kept_free_or_another_module(
    length, depth, setback, facing, tilt, up, gap, extra, placed, way
):
    obstacles = [
        _box(a * length, u * depth, w * (1 - a) * length, d * (1 - u) * depth, clear)
        for a, u, w, d, clear in placed
    ]
    ways = []
    if way is not None:
        across = depth if way[0] == "along" else length
        ways = [_strip(way[1] * across, min(way[2], (1 - way[1]) * across), way[0])]
    roof = _roof(length, depth, obstacles, ways, setback)
    slant = up * 1.0 + (up - 1) * gap
    rows = _rows(slant, tilt, facing, modules_high=up, gap_m=gap, along_m=1.6)
    fit = fit_on_roof(rows, roof, pitch_m=rows.footprint_m + gap + extra)
    modules = _modules(fit)
    assert len(modules) == fit.module_count == sum(fit.row_sizes)
    half = np.array([length, depth]) / 2.0 - setback
    assert (np.abs(modules) <= half + 1e-6).all()
    for number, module in enumerate(modules):
        for block in kept_free(roof):
            assert _depth_shared(module, block) < 1e-6
        for other in modules[:number]:
            assert _depth_shared(module, other) < 1e-6
    starts = [min(p.across_m for p in fit.places if p.row == r) for r in range(fit.row_count)]
    if up == 1:
        assert all(b - a >= fit.pitch_m - 1e-6 for a, b in pairwise(starts))


def test_kept_free_by_hand():
    # Roof 10 x 6: middle at (5, 3). Box 4.5 to 5.5 along, 1 to 2 up, 0.5 kept free around it.
    roof = _roof(obstacles=[_box(4.5, 1.0, 1.0, 1.0, 0.5)],
                 walkways=[_strip(2.0, 1.0), _strip(7.0, 0.5, "across")])  # fmt: skip
    box, along, across = kept_free(roof)
    assert (box.min(axis=0).tolist(), box.max(axis=0).tolist()) == ([-1.0, -2.5], [1.0, -0.5])
    assert (along.min(axis=0).tolist(), along.max(axis=0).tolist()) == ([-5.0, -1.0], [5.0, 0.0])
    assert (across.min(axis=0).tolist(), across.max(axis=0).tolist()) == ([2.0, -3.0], [2.5, 3.0])


# --- no other layout of parallel rows takes more


def _most_by_search(rows, roof, pitch_m, step_m):
    """Most modules over all sets of row places on a grid, by plain recursion over lower edges."""
    free = [(b.min(axis=0), b.max(axis=0)) for b in kept_free(roof)]
    half = np.array([roof.length_m, roof.depth_m]) / 2.0

    def row_takes(low):
        cuts = sorted(
            (a[0], b[0]) for a, b in free if a[1] < low + rows.slant_m - 1e-9 and b[1] > low + 1e-9
        )
        here, taken = -half[0], 0
        for left, right in [*cuts, (half[0], half[0])]:
            taken += max(0, math.floor((min(left, half[0]) - here) / rows.along_m + 1e-9))
            here = max(here, right)
        return taken

    places = round((2.0 * half[1] - rows.slant_m) / step_m) + 1
    skip = round(pitch_m / step_m)
    most = [0] * (places + skip + 1)
    for n in range(places - 1, -1, -1):
        most[n] = max(most[n + 1], row_takes(-half[1] + n * step_m) + most[n + skip])
    return most[0]


@settings(deadline=None, max_examples=40)
@given(
    placed=some.lists(
        some.tuples(some.integers(0, 90), some.integers(0, 50), some.integers(1, 30),
                    some.integers(1, 30)), max_size=4,
    ),
    pitch=some.integers(10, 25),
)  # fmt: skip
def test_no_layout_found_by_search_holds_more(placed, pitch):
    # All sizes are whole decimetres, so a search on that grid meets the best layout as well.
    obstacles = [
        _box(a / 10, u / 10, min(w, 100 - a) / 10, min(d, 60 - u) / 10) for a, u, w, d in placed
    ]
    roof = _roof(obstacles=obstacles)
    fit = fit_on_roof(_rows(), roof, pitch_m=pitch / 10)
    assert fit.module_count == _most_by_search(_rows(), roof, pitch / 10, 0.1)


def test_a_large_roof_with_many_obstacles_takes_no_noticeable_time():
    # Not a benchmark: ten times the 20 ms that a slider may take, on any machine.
    obstacles = [_box(2.0 + 4.0 * n, 1.0 + 1.5 * (n % 5), 1.0, 0.8, 0.3) for n in range(8)]
    roof = _roof(40.0, 12.0, obstacles, [_strip(9.0, 0.6)], 0.5)
    start = time.perf_counter()
    fit = fit_on_roof(_rows(2.0, 10.0, 200.0, along_m=1.1, gap_m=0.02), roof, pitch_m=2.6)
    assert time.perf_counter() - start < 0.2
    assert fit.module_count > 50


@pytest.mark.parametrize("height_m", [0.6, 1.1])
def test_modules_kept_farther_from_a_parapet_lose_less_as_its_check_says(height_m: float) -> None:
    """A parapet along the eaves, on the side of the sun: the whole row moves up the roof."""
    lost = []
    for clear_m in (0.3, 1.2, 2.4):
        parapet = {"name": "Parapet", "along_m": 0.0, "up_m": 0.0, "length_m": 12.0,
                   "depth_m": 0.2, "height_m": height_m, "clearance_m": clear_m}  # fmt: skip
        design = open_design("orchard-shop", {
            "roof": {"length_m": 12.0, "depth_m": 8.0, "slope_deg": 0.0, "obstacles": [parapet],
                     "azimuth_deg": 180.0, "walkways": [], "neighbours": []},
            "array": {"module_count": 4, "modules_in_series": 2, "rows": 1, "tilt_deg": 20.0,
                      "azimuth_deg": 180.0, "mounting": "open-frame"},
        })  # fmt: skip
        found = next(one for one in design.all_checks if one.item.startswith("Beam irradiation"))
        lost.append(float(found.found))
        assert ("clearance_m" in found.remedy) is (found.outcome != "passed")
    assert lost == sorted(lost, reverse=True)
    assert lost[0] > 3.0 > lost[-1]
