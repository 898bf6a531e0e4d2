"""Straight pieces of a noisy daily line: where it falls slowly, where it jumps."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from solarcalc.basis.sourced import constant

Floats = NDArray[np.float64]

PIECE_PENALTY = float(constant("followup.piece_penalty"))
SLOPE_PENALTY = float(constant("followup.slope_penalty"))
OUTLIER_SIGMAS = float(constant("followup.outlier_sigmas"))
LEAST_DAYS = 4
"""Shortest piece [days]."""


@dataclass(frozen=True, kw_only=True)
class Piece:
    """One straight piece.

    Parameters
    ----------
    first, last : int
        Places of its first and last day among the days given.
    start, end : float
        Value of the line at those days.
    slope_per_day : float
        0 where a level was enough.
    error : float
        Standard error of its mean.
    """

    first: int
    last: int
    start: float
    end: float
    slope_per_day: float
    error: float

    @property
    def count(self) -> int:
        """How many days it stands on."""
        return self.last - self.first + 1

    @property
    def fall(self) -> float:
        """From its start to its end; positive where it falls."""
        return self.start - self.end


def noise_of(value: Floats) -> float:
    """Scatter from day to day, blind to slow change: 1.4826 median |difference| / sqrt 2.

    The factor makes the median of absolute deviations a standard deviation for normal noise.
    """
    if len(value) < 3:
        return 0.01
    return max(1.4826 * float(np.median(np.abs(np.diff(value)))) / math.sqrt(2.0), 0.004)


def without_outliers(value: Floats, *, half_width: int = 7) -> Floats:
    """Days far from the median of the days around them, brought back to that band.

    Values, not places, are cut: a level that lasts longer than `half_width` days stays.
    """
    if len(value) < 5:
        return value.copy()
    padded = np.pad(value, half_width, mode="reflect" if len(value) > half_width else "edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half_width + 1)
    middle, band = np.median(windows, axis=1), OUTLIER_SIGMAS * noise_of(value)
    return np.clip(value, middle - band, middle + band)


def straight_pieces(day: Floats, value: Floats) -> tuple[Piece, ...]:
    """The least-cost division of a daily line into level or sloping pieces.

    Parameters
    ----------
    day : array, shape (n,)
        Day number of each value, rising; days may be missing.
    value : array, shape (n,)

    Notes
    -----
    Exact dynamic programming over all divisions; cost is squared misfit over the noise squared
    plus a price a piece and a price a slope (Jackson et al. 2005, IEEE Signal Processing Letters
    12:105, from memory, is the method).
    """
    count = len(value)
    if count < 2 * LEAST_DAYS:
        return (_piece(day, value, 0, count - 1, sloping=False),) if count else ()
    log_n = math.log(count)
    best = np.full(count + 1, np.inf)
    best[0] = -PIECE_PENALTY * log_n
    came = np.zeros(count + 1, dtype=int)
    slopes = np.zeros(count + 1, dtype=bool)
    sums = _sums(day, value)
    noise = noise_of(value)
    for stop in range(LEAST_DAYS, count + 1):
        begin = np.arange(0, stop - LEAST_DAYS + 1)
        level, line = _misfits(sums, begin, stop)
        level, line = level / noise**2, line / noise**2 + SLOPE_PENALTY * log_n
        cost = best[begin] + np.minimum(level, line) + PIECE_PENALTY * log_n
        place = int(np.argmin(cost))
        best[stop], came[stop], slopes[stop] = cost[place], place, line[place] < level[place]
    pieces, stop = [], count
    while stop > 0:
        first = int(came[stop])
        pieces.append(_piece(day, value, first, stop - 1, sloping=bool(slopes[stop])))
        stop = first
    return tuple(pieces[::-1])


def line_of(day: Floats, pieces: tuple[Piece, ...]) -> Floats:
    """The value of the pieces at each day they stand on."""
    parts = []
    for piece in pieces:
        days = day[piece.first : piece.last + 1]
        parts.append(piece.start + piece.slope_per_day * (days - days[0]))
    return np.concatenate(parts) if parts else np.empty(0)


def _sums(day: Floats, value: Floats) -> tuple[Floats, ...]:
    zero = np.zeros(1)
    x = day - day[0]
    return tuple(
        np.concatenate([zero, np.cumsum(term)])
        for term in (np.ones_like(x), x, x * x, value, value * value, x * value)
    )


def _misfits(
    sums: tuple[Floats, ...], begin: NDArray[np.intp], stop: int
) -> tuple[Floats, Floats]:
    """Squared misfit of a level and of a line over [begin, stop), for every begin."""
    n, x, xx, y, yy, xy = (total[stop] - total[begin] for total in sums)
    flat = yy - y * y / n
    spread = xx - x * x / n
    together = xy - x * y / n
    sloped = flat - np.where(spread > 0.0, together**2 / np.where(spread > 0.0, spread, 1.0), 0.0)
    return np.maximum(flat, 0.0), np.maximum(sloped, 0.0)


def _piece(day: Floats, value: Floats, first: int, last: int, *, sloping: bool) -> Piece:
    x, y = day[first : last + 1], value[first : last + 1]
    slope = 0.0
    if sloping:
        centred = x - x.mean()
        slope = float((centred * (y - y.mean())).sum() / (centred**2).sum())
    start = float(y.mean()) + slope * float(x[0] - x.mean())
    end = float(y.mean()) + slope * float(x[-1] - x.mean())
    return Piece(
        first=first, last=last, start=start, end=end, slope_per_day=slope,
        error=noise_of(value) / math.sqrt(len(y)),
    )  # fmt: skip
