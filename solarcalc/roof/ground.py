"""The ground of a roof plane: what may carry modules, and what obstacles and walkways take."""

from __future__ import annotations

import math

import numpy as np

from solarcalc.sitefile.records import Roof

TOUCH_M = 1e-9
"""Closer than this, two edges lie against each other: a guard against rounding, no more."""


def kept_free(roof: Roof) -> tuple[np.ndarray, ...]:
    """Corners of each piece of roof kept free of modules [m], each of shape (4, 2).

    Boxes with their clearance all around (square at its corners), then walkways over the whole
    roof; along the eaves and up the slope, about the roof's middle. Heights play no part: what
    an obstacle shades is not looked at here.
    """
    half_length, half_depth = roof.length_m / 2.0, roof.depth_m / 2.0
    boxes = [
        (
            box.along_m - box.clearance_m,
            box.up_m - box.clearance_m,
            box.along_m + box.length_m + box.clearance_m,
            box.up_m + box.depth_m + box.clearance_m,
        )
        for box in roof.obstacles
    ]
    for way in roof.walkways:
        low, high = way.from_m, way.from_m + way.width_m
        along = way.runs == "along"
        boxes.append((0.0, low, roof.length_m, high) if along else (low, 0.0, high, roof.depth_m))
    middle = np.array([half_length, half_depth])
    return tuple(_rectangle(*box) - middle for box in boxes)


def usable(roof: Roof) -> np.ndarray:
    """Corners of the roof inside its edge setback, about its middle [m], shape (4, 2)."""
    half_length = max(roof.length_m / 2.0 - roof.edge_setback_m, 0.0)
    half_depth = max(roof.depth_m / 2.0 - roof.edge_setback_m, 0.0)
    return _rectangle(-half_length, -half_depth, half_length, half_depth)


def _rectangle(left: float, low: float, right: float, high: float) -> np.ndarray:
    return np.array([[left, low], [right, low], [right, high], [left, high]])


def turned(corners: np.ndarray, turn_deg: float) -> np.ndarray:
    """Corners in axes along and across rows that stand at an angle to the eaves."""
    turn = math.radians(turn_deg)
    back: np.ndarray = np.array(
        [[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]
    )
    result: np.ndarray = corners @ back
    return result


def reach_in_bands(
    corners: np.ndarray, low: np.ndarray, high: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest coordinate along the rows of a shape inside bands across them.

    Parameters
    ----------
    corners : array (m, 2)
        Of a convex shape, in order [m].
    low, high : array (n,)
        Edges of each band [m].

    Returns
    -------
    left, right : array (n,)
        Infinite, left above right, where the shape has no point in the band.
    """
    left, right = np.full(low.shape, math.inf), np.full(low.shape, -math.inf)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        below, above = min(y0, y1), max(y0, y1)
        within = (low <= above + TOUCH_M) & (high >= below - TOUCH_M)
        if above - below < TOUCH_M:
            ends = (np.full(low.shape, x0), np.full(low.shape, x1))
        else:
            slope = (x1 - x0) / (y1 - y0)
            first, last = (x0 + slope * (np.clip(y, below, above) - y0) for y in (low, high))
            ends = (first, last)
        left = np.where(within, np.minimum(left, np.minimum(*ends)), left)
        right = np.where(within, np.maximum(right, np.maximum(*ends)), right)
    return left, right
