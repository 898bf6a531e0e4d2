"""Days of a month drawn from its mean: how clear they are and in what order they come."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtri

Values = NDArray[np.float64]

DAY_TO_DAY = 0.29  # Graham et al. 1988, from memory: lag-one correlation of the mapped series
MEANS = (0.10, 0.82)
"""Monthly mean clearness the distribution is used for; common practice, no source."""

_POSITIONS = np.linspace(0.0, 1.0, 4001)


@dataclass(frozen=True, kw_only=True, eq=False)
class Clearness:
    """How the clearness of single days spreads about its monthly mean.

    Parameters
    ----------
    high : float
        Clearness of the clearest day, 0 to 1.
    steepness : float
        gamma below; above 0 where clear days are the more frequent.
    shares : array (4001,)
        Share of the days that do not exceed each of even steps from 0 to `high`.

    Notes
    -----
    Density proportional to x (1 - x) exp(gamma x) with x = K / `high`: Saunier et al. 1987
    (form from memory), meant for tropical and temperate places alike. Of the published forms
    (Bendt et al. 1981, Hollands and Huget 1983 and this one) it lies nearest to the days of eight
    real years of hourly weather; ``tests/test_weather_monthly.py`` states the distances.
    """

    high: float
    steepness: float
    shares: Values

    def quantile(self, chances: Values) -> Values:
        """Clearness that a share `chances` (0 to 1) of the days does not exceed."""
        return np.asarray(self.high * np.interp(chances, self.shares, _POSITIONS), dtype=float)

    def share_below(self, clearness: Values) -> Values:
        """Share of the days (0 to 1) that do not exceed `clearness`."""
        return np.asarray(np.interp(clearness / self.high, _POSITIONS, self.shares), dtype=float)


def highest_clearness(mean_frac: float) -> float:
    """Clearness of the clearest day of a month of mean `mean_frac`, 0.1 to 0.82.

    Notes
    -----
    0.6313 + 0.267 K - 11.9 (K - 0.75)^8; Duffie and Beckman 2013 sec. 2.9, from memory.

    Examples
    --------
    >>> round(highest_clearness(0.5), 3)
    0.765
    """
    return float(0.6313 + 0.267 * mean_frac - 11.9 * (mean_frac - 0.75) ** 8)


def clearness_about(mean_frac: float) -> Clearness:
    """Spread of the days about a monthly mean clearness; means beyond `MEANS` are drawn to it."""
    mean = min(max(mean_frac, MEANS[0]), MEANS[1])
    high = highest_clearness(mean)
    root = brentq(
        lambda gamma: float((_weights(gamma) * _POSITIONS).sum()) - mean / high, -300.0, 300.0
    )
    return Clearness(high=high, steepness=float(root), shares=np.cumsum(_weights(float(root))))


def _weights(steepness: float) -> Values:
    """Share of the days at each of the positions."""
    power = steepness * _POSITIONS
    density = _POSITIONS * (1.0 - _POSITIONS) * np.exp(power - power.max())
    return np.asarray(density / density.sum(), dtype=float)


def uniform_draws(seed: int, purpose: int, count: int) -> Values:
    """Numbers above 0 and below 1, the same on every machine for a seed and a purpose.

    Taken from the raw stream of PCG64, which NumPy promises not to change (NEP 19), while it
    may change what its distributions make of it.
    """
    stream = np.random.PCG64(np.random.SeedSequence([seed, purpose]))
    raw = np.asarray(stream.random_raw(count), dtype=np.uint64)
    return np.asarray(((raw >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53, dtype=float)


def days_of_month(mean_frac: float, mapped: Values) -> Values:
    """Clearness of each day of a month.

    Parameters
    ----------
    mean_frac : float
        Mean clearness of the month, 0 to 1.
    mapped : array (days,)
        A stretch of `mapped_series`.

    Returns
    -------
    array (days,)
        The days take the middles of equal shares of the distribution, in the order of the
        series: a month of a typical year has the typical spread, whatever the seed.
    """
    rank = np.argsort(np.argsort(mapped, kind="stable"), kind="stable")
    return clearness_about(mean_frac).quantile((rank + 0.5) / len(mapped))


def mapped_series(chances: Values) -> Values:
    """Normal numbers, each correlated with the one before by `DAY_TO_DAY` (Graham et al. 1988)."""
    fresh = np.asarray(np.sqrt(1.0 - DAY_TO_DAY**2) * ndtri(chances), dtype=float)
    series = np.empty_like(fresh)
    last = float(ndtri(chances[0]))
    for day, new in enumerate(fresh):
        last = last if day == 0 else DAY_TO_DAY * last + float(new)
        series[day] = last
    return series


def scaled_to_sum(parts: Values, most: Values, value: float) -> Values:
    """Parts in proportion that sum to `value`, none above `most` as long as that is possible."""
    if value <= 0.0 or parts.sum() <= 0.0:
        return np.zeros_like(parts)
    scaled, filled = np.minimum(parts, most), float(most.sum())
    for _ in range(100):
        gap = value - float(scaled.sum())
        if abs(gap) <= 1e-12 * value:
            break
        if gap < 0.0:
            scaled = scaled * (value / float(scaled.sum()))
            continue
        free = np.where(scaled < most, scaled, 0.0)
        if value >= filled or free.sum() <= 0.0:
            return np.asarray(most * (value / filled), dtype=float)
        scaled = np.minimum(scaled + free / free.sum() * gap, most)
    return np.asarray(scaled, dtype=float)
