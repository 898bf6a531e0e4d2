"""Shadows of what stands on the roof and beside it, module by module, and what they cost strings.

Each obstacle is a box with plumb sides on the rectangle the site file gives it, its top parallel
to the roof at its height above it. A parapet is a long thin box along an edge. A tree, pole or wall
beside the roof is a row of square posts from the ground to its top.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.sourced import constant
from solarcalc.roof.packing import ModulePlaces, roof_axes
from solarcalc.roof.rows import LOWEST_COSINE, cosine_on
from solarcalc.shading.rows import SIGHT_MARGIN, Blocks
from solarcalc.sitefile.roof import Roof

_GROUND_M = -1000.0
"""Foot of what stands beside the roof: below anything that a module sees."""
_TOUCH_M = 1e-6
"""Less than this is rounding, not shadow."""

_PAIRS = ((0, 1), (1, 0), (0, 2), (2, 0), (1, 2), (2, 1), (3, 0), (3, 1), (3, 2))
"""Lower and upper bounds along the ray: the three pairs of faces, and 3, the module itself."""


class ShadowLines:
    """The nine lines that bound a box's shadow, for hours and pairs of module and box.

    Each is constant + a u + b v <= 0 on the module's face, u along its row and v up its slope.
    """

    def __init__(
        self, towards: np.ndarray, low: np.ndarray, high: np.ndarray, right: np.ndarray,
        up: np.ndarray,
    ) -> None:  # fmt: skip
        self._d = np.column_stack([towards, np.ones(len(towards))])
        self._low = np.column_stack([low, np.zeros(len(low))])
        self._high = high
        self._right, self._up = np.append(right, 0.0), np.append(up, 0.0)

    def _slopes(self, i: int, j: int) -> tuple[np.ndarray, np.ndarray]:
        d_i, d_j = self._d[:, i], self._d[:, j]
        return self._right[j] * d_i - self._right[i] * d_j, self._up[j] * d_i - self._up[i] * d_j

    def _least(self, i: int, j: int, width_m: float, height_m: float) -> np.ndarray:
        a, b = self._slopes(i, j)
        result: np.ndarray = np.minimum(a, 0.0) * width_m + np.minimum(b, 0.0) * height_m
        return result

    def may_meet(self, width_m: float, height_m: float) -> tuple[np.ndarray, np.ndarray]:
        """Hours, and pairs, for which no single line has the whole face outside.

        Most are out by the two lines that look past the sides of the box: those go first.
        """
        met = np.ones((len(self._d), len(self._low)), dtype=bool)
        for i, j in _PAIRS[:2]:
            constant = np.multiply.outer(self._d[:, j], self._low[:, i])
            constant -= np.multiply.outer(self._d[:, i], self._high[:, j])
            met &= constant < -self._least(i, j, width_m, height_m)[:, None]
        hour, box = np.nonzero(met)
        for i, j in _PAIRS[2:]:
            least = self._constant(i, j, hour, box) + self._least(i, j, width_m, height_m)[hour]
            hour, box = hour[least < 0.0], box[least < 0.0]
        return hour, box

    def _constant(self, i: int, j: int, hour: np.ndarray, box: np.ndarray) -> np.ndarray:
        result: np.ndarray = (
            self._low[box, i] * self._d[hour, j] - self._high[box, j] * self._d[hour, i]
        )
        return result

    def spans(
        self, hour: np.ndarray, box: np.ndarray, along_m: np.ndarray, height_m: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """Lower and upper end of the shadow on each strip [m], (k, strips); none: upper 0."""
        low = np.zeros((len(hour), len(along_m)))
        high = np.full_like(low, height_m)
        line = np.empty_like(low)
        for i, j in _PAIRS:
            a, b = self._slopes(i, j)
            b = np.where(np.abs(b) < LOWEST_COSINE, LOWEST_COSINE, b)
            at = -self._constant(i, j, hour, box) / b[hour]
            slope, above = (-a / b)[hour], (b < 0.0)[hour]
            for limit, take, mine, none in (
                (low, np.maximum, above, 0.0), (high, np.minimum, ~above, height_m)
            ):
                np.multiply(np.where(mine, slope, 0.0)[:, None], along_m, out=line)
                line += np.where(mine, at, none)[:, None]
                take(limit, line, out=limit)
        empty = high - low < _TOUCH_M
        low[empty], high[empty] = height_m, 0.0
        return low, high


def spans_by_pair(
    key: np.ndarray, low: np.ndarray, high: np.ndarray
) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Spans of all boxes on one module side by side, (pairs, boxes, strips), lowest first.

    By how many boxes there are, as most shadows are of one.
    """
    pair, first, count = np.unique(key, return_index=True, return_counts=True)
    parts = [(key[:0], low[:0, None], high[:0, None])]
    for boxes in np.unique(count):
        alike = count == boxes
        rows = first[alike][:, None] + np.arange(boxes)
        lows, highs = low[rows], high[rows]
        if boxes > 1:
            order = np.argsort(lows, axis=1)
            lows, highs = (np.take_along_axis(span, order, 1) for span in (lows, highs))
        parts.append((pair[alike], lows, highs))
    return parts


def covered_frac(low: np.ndarray, high: np.ndarray, height_m: float) -> np.ndarray:
    """Share of a face under at least one of its spans, (pairs,)."""
    reached, covered = high[:, 0], np.maximum(high[:, 0] - low[:, 0], 0.0)
    for box in range(1, low.shape[1]):
        covered += np.maximum(high[:, box] - np.maximum(low[:, box], reached), 0.0)
        reached = np.maximum(reached, high[:, box])
    result: np.ndarray = np.minimum(covered.mean(axis=1) / height_m, 1.0)
    return result


def touched_parts(low: np.ndarray, high: np.ndarray, blocks: Blocks, height_m: float) -> np.ndarray:
    """Parts of each module that any span reaches into, (pairs,)."""
    edges = np.linspace(0.0, height_m, blocks.up + 1)
    count = np.zeros(len(low), dtype=int)
    for bottom, top in pairwise(edges):
        into = (low < top - _TOUCH_M) & (high > bottom + _TOUCH_M)
        strips = into.any(axis=1).reshape(len(low), blocks.across, low.shape[2] // blocks.across)
        count += strips.any(axis=2).sum(axis=1)
    return count


OBSTACLE_MODEL = constant("shading.obstacle_model")
NEIGHBOUR_MODEL = constant("shading.neighbour_model")

STRIPS = 24
"""Strips a module is cut in along its row, at least: 5 cm of a module in portrait, 7 cm in
landscape. A shadow narrower than that between two strips is missed; the shaded area is off by
half a strip where an edge of the shadow lies along them."""

SKY_RAYS = 4000
"""Rays by which the hidden sky is found, to 0.2 % of the sky (held to a wall's closed form)."""

_AT_ONCE = 50_000
"""Hours by pairs of module and box worked on together: what the processor's own memory holds."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ObstacleShade:
    """Shadows of boxes on modules: one entry for each hour and module that has some.

    Parameters
    ----------
    index : DatetimeIndex, shape (n,)
        Hours of the sun it was found for.
    module_count : int
    blocks : Blocks
        Parts of a module that its bypass diodes and halves make.
    hour, module : array (k,)
        Place of each entry in the index, and number of its module.
    shaded_frac : array (k,)
        Share of the module's face in shadow, [0 to 1]; boxes that overlap count once.
    shaded_blocks : array (k,)
        Parts of that module which a shadow touches.
    """

    index: pd.DatetimeIndex
    module_count: int
    blocks: Blocks
    hour: np.ndarray
    module: np.ndarray
    shaded_frac: np.ndarray
    shaded_blocks: np.ndarray


def obstacle_shade(
    places: ModulePlaces, roof: Roof, sun: pd.DataFrame, blocks: Blocks
) -> ObstacleShade:
    """Share of every module in the shadow of the roof's boxes, hour by hour.

    Parameters
    ----------
    places : ModulePlaces
    roof : Roof
        For its obstacles and neighbours; its slope and azimuth are those of the rows.
    sun : DataFrame, shape (n,)
        ``apparent_zenith_deg``, ``azimuth_deg`` [deg].
    blocks : Blocks
        From `solarcalc.shading.rows.blocks_of`.

    Notes
    -----
    A ray from a point of the module to the sun meets a box where it is between all three pairs
    of its faces at once, somewhere ahead of the module. Those conditions are linear in the
    point and the distance along the ray; with the distance eliminated (each lower bound below
    each upper one) they leave nine straight lines on the module's face that bound the shadow.
    On each strip the shadow is then exact, and so is the union of several.
    """
    zenith, azimuth = sun["apparent_zenith_deg"].to_numpy(), sun["azimuth_deg"].to_numpy()
    rows = places.rows
    lit = zenith < 90.0
    for normal in (rows.module_normal, rows.roof_normal):
        lit &= cosine_on(normal, zenith, azimuth) > LOWEST_COSINE
    boxes = _boxes(roof)
    rays = _rays(rows.roof_slope_deg, roof_axes(rows), zenith, azimuth)
    quarter = (rays[:, 0] < 0.0) * 2 + (rays[:, 1] < 0.0)
    none = np.empty(0, dtype=int)
    parts: list[tuple[np.ndarray, ...]] = [(none, none, np.empty(0), none)]
    for number in range(4):
        hours = np.flatnonzero(lit & (quarter == number))
        parts += _shadows(places, hours, rays, boxes, blocks)
    hour, module, fraction, touched = map(np.concatenate, zip(*parts, strict=True))
    order = np.lexsort((module, hour))
    order = order[fraction[order] > SIGHT_MARGIN]
    return ObstacleShade(index=pd.DatetimeIndex(sun.index), module_count=places.count,
                         blocks=blocks, hour=hour[order], module=module[order],
                         shaded_frac=fraction[order], shaded_blocks=touched[order])


def obstacle_sky_seen_frac(places: ModulePlaces, roof: Roof) -> np.ndarray:
    """Share of its own sky that the middle of each module sees past the boxes, shape (m,).

    Sky as in `solarcalc.shading.rows.horizon_sky_seen_frac`: uniform, over a flat horizon, the
    box's own brightness not counted.
    """
    axes, rows = roof_axes(places.rows), places.rows
    rays = _sky_rays(axes @ rows.module_normal)
    rays = rays[rays @ axes[:, 2] > 0.0]
    low, high = _boxes(roof)
    steps = (1.0 / _upright(rays, rows.roof_slope_deg)).T
    seen = np.ones(places.count)
    for number, start in enumerate(_upright(places.middle_m, rows.roof_slope_deg)):
        enter, leave = np.zeros((len(low), len(rays))), np.full((len(low), len(rays)), np.inf)
        for axis, step in enumerate(steps):
            ends = [np.multiply.outer((face - start)[:, axis], step) for face in (low, high)]
            np.maximum(enter, np.minimum(*ends), out=enter)
            np.minimum(leave, np.maximum(*ends), out=leave)
        seen[number] = 1.0 - np.mean((leave > enter).any(axis=0))
    return seen


def _boxes(roof: Roof) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest coordinate of each box along, up the slope and plumb [m], (b, 3)."""
    middle = np.array([roof.length_m / 2.0, roof.depth_m / 2.0, 0.0])
    boxes = [box for box in roof.obstacles if box.height_m > 0.0]
    low = np.array([(box.along_m, box.up_m, 0.0) for box in boxes]).reshape(-1, 3)
    size = np.array([(box.length_m, box.depth_m, box.height_m) for box in boxes]).reshape(-1, 3)
    feet, tops = _posts(roof)
    return np.vstack([low - middle, feet]), np.vstack([low + size - middle, tops])


def _posts(roof: Roof) -> tuple[np.ndarray, np.ndarray]:
    """The same of the posts beside the roof, whose tops stand so far above the eaves."""
    slope = math.radians(roof.slope_deg)
    eaves_m = -roof.depth_m / 2.0 * math.sin(slope)  # below the middle of the roof
    feet, tops = [], []
    for thing in roof.neighbours:
        half = thing.width_m / thing.post_count / 2.0
        for along_m, level_m in thing.posts_m(roof.azimuth_deg):
            top_m = thing.top_m + eaves_m - level_m * math.tan(slope)
            up_m, half_up_m = level_m / math.cos(slope), half / math.cos(slope)
            feet.append((along_m - half, up_m - half_up_m, _GROUND_M))
            tops.append((along_m + half, up_m + half_up_m, max(top_m, _GROUND_M)))
    return np.array(feet).reshape(-1, 3), np.array(tops).reshape(-1, 3)


def _upright(vectors: np.ndarray, slope_deg: float) -> np.ndarray:
    """Vectors in the roof's axes, along the eaves, up the slope and plumb in its stead."""
    slope = math.radians(slope_deg)
    plumb = vectors[..., 2] / math.cos(slope)
    return np.stack([vectors[..., 0], vectors[..., 1] - plumb * math.sin(slope), plumb], axis=-1)


def _rays(
    slope_deg: float, axes: np.ndarray, zenith_deg: np.ndarray, azimuth_deg: np.ndarray
) -> np.ndarray:
    zenith, azimuth = np.radians(zenith_deg), np.radians(azimuth_deg)
    level = np.sin(zenith)
    sun = np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.cos(zenith)], axis=1)
    return _upright(sun @ axes.T, slope_deg)


def _sky_rays(normal: np.ndarray) -> np.ndarray:
    """Directions spread evenly over a half space as a plane weighs them, shape (r, 3).

    Points evenly on a disc (sunflower pattern), lifted onto the half sphere over it.
    """
    count = np.arange(SKY_RAYS) + 0.5
    radius, angle = np.sqrt(count / SKY_RAYS), count * math.pi * (3.0 - math.sqrt(5.0))
    helper = np.array([1.0, 0.0, 0.0]) if abs(normal[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
    first = np.cross(normal, helper)
    first /= np.linalg.norm(first)
    frame = np.array([first, np.cross(normal, first), normal])
    local = np.stack(
        [radius * np.cos(angle), radius * np.sin(angle), np.sqrt(1.0 - radius**2)], axis=1
    )
    result: np.ndarray = local @ frame
    return result


def _shadows(
    places: ModulePlaces, hours: np.ndarray, rays: np.ndarray,
    boxes: tuple[np.ndarray, np.ndarray], blocks: Blocks,
) -> Iterator[tuple[np.ndarray, ...]]:  # fmt: skip
    """Hour, module, shaded share and touched parts of every shadow in the hours given.

    Their rays run to the same side of every axis, so that the axes can be turned to count with
    them, and boxes behind a module on any of them left out.
    """
    if len(hours) == 0:
        return
    rows, slope = places.rows, places.rows.roof_slope_deg
    side = np.where(rays[hours[0]] < 0.0, -1.0, 1.0)
    ends = [face * side for face in boxes]
    start = (_upright(places.corner_m, slope) * side)[:, None, :]
    low, high = (
        (face - start).reshape(-1, 3) for face in (np.minimum(*ends), np.maximum(*ends))
    )
    right, up = (_upright(v, slope) * side for v in (places.right, places.up))
    least = np.minimum(right, 0.0) * rows.along_m + np.minimum(up, 0.0) * rows.module_up_m
    ahead = np.flatnonzero((high > least).all(axis=1))
    module = ahead // len(boxes[0])
    strips = -(-STRIPS // blocks.across) * blocks.across
    middles_m = (np.arange(strips) + 0.5) / strips * rows.along_m
    step = max(1, _AT_ONCE // max(len(ahead), 1))
    for begin in range(0, len(hours), step):
        some = hours[begin : begin + step]
        lines = ShadowLines(rays[some] * side, low[ahead], high[ahead], right, up)
        hour, box = lines.may_meet(rows.along_m, rows.module_up_m)
        spans = lines.spans(hour, box, middles_m, rows.module_up_m)
        for pair, lows, highs in spans_by_pair(hour * places.count + module[box], *spans):
            yield (some[pair // places.count], pair % places.count,
                   covered_frac(lows, highs, rows.module_up_m),
                   touched_parts(lows, highs, blocks, rows.module_up_m))


OBSTACLE_COST_MODEL = constant("shading.obstacle_cost_model")


def string_of(module_count: int, modules_in_series: int) -> np.ndarray:
    """Number of the string each module belongs to, in the order of the places, shape (m,).

    A remainder that fills no string counts as a shorter one of its own.
    """
    return np.arange(module_count) // modules_in_series


def string_kept_frac(shade: ObstacleShade, *, modules_in_series: int) -> pd.DataFrame:
    """Share of the beam each string still turns into power, by hour, (n, strings), [0 to 1].

    Parameters
    ----------
    shade : ObstacleShade
    modules_in_series : int
        Modules of one string, taken in the order of the places.

    Notes
    -----
    (1 - shaded fraction) (1 - touched parts / (all parts + 1)) of the whole string. A part is
    a substring of a module, or the half of one where its cells are cut; one touched at a corner
    counts like one in full shade, so small shadows are checked on the strict side. The shaded
    fraction is the mean over the string's modules. The table made for strips of shade along an
    edge does not fit the shape of these shadows and is not used.
    """
    string = string_of(shade.module_count, modules_in_series)
    count = int(string.max(initial=-1)) + 1
    size = np.bincount(string, minlength=count)
    hours, inverse = np.unique(shade.hour, return_inverse=True)
    key = inverse * count + string[shade.module]
    shape = (len(hours), count)
    area, touched = (
        np.bincount(key, weights=what, minlength=len(hours) * count).reshape(shape)
        for what in (shade.shaded_frac, shade.shaded_blocks)
    )
    fraction = area / size
    lost = pvlib.shading.direct_martinez(
        np.ones(shape), np.ones(shape), fraction, touched, size * shade.blocks.per_module
    )
    kept = np.ones((len(shade.index), count))
    kept[hours] = 1.0 - lost
    return pd.DataFrame(kept, index=shade.index)


def obstacle_kept_frac(shade: ObstacleShade, *, modules_in_series: int) -> pd.Series:
    """Share of the direct light (beam and circumsolar) the array still uses, (n,), [0 to 1].

    The mean over its strings, each by its modules: strings are taken to find their best point
    each by itself, though they share a tracker. Multiply with the share left by row on row: an
    area under both shadows then counts twice, on the strict side.
    """
    kept = string_kept_frac(shade, modules_in_series=modules_in_series)
    if kept.shape[1] == 0:
        return pd.Series(1.0, index=shade.index, name="obstacle_kept_frac")
    size = np.bincount(string_of(shade.module_count, modules_in_series))
    mean = kept.to_numpy() @ (size / size.sum())
    return pd.Series(mean, index=shade.index, name="obstacle_kept_frac")


def module_beam_kept_frac(shade: ObstacleShade, direct_w_m2: pd.Series) -> np.ndarray:
    """Share of a year's direct light that still falls on each module, shape (m,), [0 to 1].

    By area alone, for the plan of the roof: what the string loses is more.

    Parameters
    ----------
    shade : ObstacleShade
    direct_w_m2 : Series, shape (n,)
        Beam and circumsolar on the plane of the modules [W/m2].
    """
    direct = direct_w_m2.to_numpy()
    lost = np.bincount(
        shade.module, weights=shade.shaded_frac * direct[shade.hour], minlength=shade.module_count
    )
    whole = float(direct.sum())
    kept: np.ndarray = 1.0 - lost / whole if whole > 0.0 else np.ones(shade.module_count)
    return kept


def module_shade_table(
    places: ModulePlaces, roof: Roof, *, beam_kept_frac: np.ndarray, sky_seen_frac: np.ndarray,
    modules_in_series: int,
) -> pd.DataFrame:  # fmt: skip
    """One line a module, numbered from 1: where it stands and what the boxes leave of its light.

    Returns
    -------
    DataFrame, shape (m,)
        ``row`` and ``string`` from 1; ``along_m``, ``up_m`` of its middle from the left end of
        the eaves [m]; ``beam_kept_frac`` of the year and ``sky_seen_frac`` [0 to 1]. The
        corners for a drawing are ``places.plan_corners_m``, in the same order.
    """
    middle = places.middle_m
    return pd.DataFrame(
        {"row": places.row + 1, "string": string_of(places.count, modules_in_series) + 1,
         "along_m": middle[:, 0] + roof.length_m / 2.0, "up_m": middle[:, 1] + roof.depth_m / 2.0,
         "beam_kept_frac": beam_kept_frac, "sky_seen_frac": sky_seen_frac},
        index=pd.RangeIndex(1, places.count + 1, name="module"),
    )
