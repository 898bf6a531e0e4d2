"""Shadows on the strips of a module: where each begins and ends, what several cover together."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from solarcalc.roof import LOWEST_COSINE
from solarcalc.shading.rows import Blocks

_TOUCH_M = 1e-6
"""Less than this is rounding, not shadow."""

_PAIRS = ((0, 1), (1, 0), (0, 2), (2, 0), (1, 2), (2, 1), (3, 0), (3, 1), (3, 2))
"""Lower and upper bounds along the ray: the three pairs of faces, and 3, the module itself."""


class ShadowLines:
    """The nine lines that bound a box's shadow, for hours and pairs of module and box.

    Each is constant + a u + b v <= 0 on the module's face, u along its row and v up its slope.
    """

    def __init__(
        self,
        towards: np.ndarray,
        low: np.ndarray,
        high: np.ndarray,
        right: np.ndarray,
        up: np.ndarray,
    ) -> None:
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
