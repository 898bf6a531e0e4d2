"""Shadow of what stands on the roof, module by module: tank, chimney, hatch, parapet.

Each is a box with plumb sides on the rectangle the site file gives it, its top parallel to the
roof at its height above it. A parapet is a long thin box along an edge.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solarcalc.basis.sourced import constant
from solarcalc.roof import LOWEST_COSINE, cosine_on
from solarcalc.shading.places import ModulePlaces, roof_axes
from solarcalc.shading.rows import SIGHT_MARGIN, Blocks
from solarcalc.shading.spans import (
    ShadowLines,
    covered_frac,
    spans_by_pair,
    touched_parts,
)
from solarcalc.sitefile.records import Roof

OBSTACLE_MODEL = constant("shading.obstacle_model")

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
        For its obstacles; its slope and azimuth are those of the rows.
    sun : DataFrame, shape (n,)
        ``apparent_zenith_deg``, ``azimuth_deg`` [deg].
    blocks : Blocks
        From `solarcalc.shading.blocks_of`.

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
    return ObstacleShade(
        index=pd.DatetimeIndex(sun.index),
        module_count=places.count,
        blocks=blocks,
        hour=hour[order],
        module=module[order],
        shaded_frac=fraction[order],
        shaded_blocks=touched[order],
    )


def obstacle_sky_seen_frac(places: ModulePlaces, roof: Roof) -> np.ndarray:
    """Share of its own sky that the middle of each module sees past the boxes, shape (m,).

    Sky as in `solarcalc.shading.horizon_sky_seen_frac`: uniform, over a flat horizon, the box's
    own brightness not counted.
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
    return low - middle, low + size - middle


def _upright(vectors: np.ndarray, slope_deg: float) -> np.ndarray:
    """Vectors in the roof's axes, along the eaves, up the slope and plumb in its stead."""
    slope = math.radians(slope_deg)
    plumb = vectors[..., 2] / math.cos(slope)
    return np.stack(
        [vectors[..., 0], vectors[..., 1] - plumb * math.sin(slope), plumb], axis=-1
    )


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
    places: ModulePlaces,
    hours: np.ndarray,
    rays: np.ndarray,
    boxes: tuple[np.ndarray, np.ndarray],
    blocks: Blocks,
) -> Iterator[tuple[np.ndarray, ...]]:
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
            yield (
                some[pair // places.count],
                pair % places.count,
                covered_frac(lows, highs, rows.module_up_m),
                touched_parts(lows, highs, blocks, rows.module_up_m),
            )
