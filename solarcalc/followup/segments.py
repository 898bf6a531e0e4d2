"""A noisy daily line in straight pieces: where it falls, where it steps, where shade comes back."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from solarcalc.basis.sourced import constant
from solarcalc.followup.daily import Measured, judged_steps

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
        """From its start to its end; positive where it falls.

        As a share of the expected power.
        """
        return self.start - self.end


def noise_of(value: Floats) -> float:
    """Scatter from day to day, blind to slow change: 1.4826 median |difference| / sqrt 2.

    `value`: (n,), a value for each day; the scatter in its unit.

    The factor makes the median of absolute deviations a standard deviation for normal noise.
    """
    if len(value) < 3:
        return 0.01
    return max(1.4826 * float(np.median(np.abs(np.diff(value)))) / math.sqrt(2.0), 0.004)


def without_outliers(value: Floats) -> Floats:
    """Days far from those before, around and after them, brought back to the band of these.

    Shape of `value`, (n,), a value for each day.

    Values, not places, are cut: a level of `LEAST_DAYS` days stays, though a step ends it on
    either side, since it is more than half of the days that begin, or of those that end, with it.
    """
    wide = 2 * LEAST_DAYS - 1
    if len(value) < wide:
        return value.copy()
    padded = np.pad(value, wide - 1, mode="reflect")
    medians = np.median(np.lib.stride_tricks.sliding_window_view(padded, wide), axis=1)
    count, half = len(value), LEAST_DAYS - 1
    three = [medians[first : first + count] for first in (0, half, 2 * half)]
    band = OUTLIER_SIGMAS * noise_of(value)
    return np.clip(value, np.min(three, axis=0) - band, np.max(three, axis=0) + band)


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


BIN_DEG = 10.0
BRIGHT_OF_CLEAR = float(constant("followup.bright_of_clear"))
LEAST_DEFICIT_FRAC = float(constant("followup.least_deficit_frac"))
LEAST_BINS = 2
LEAST_STEPS = 20
USUAL_SPREAD = float(constant("followup.usual_spread"))


@dataclass(frozen=True, kw_only=True)
class ShadePlace:
    """A stretch of the sun's path where power is missing.

    Parameters
    ----------
    from_deg, to_deg : float
        Azimuth of the sun [deg].
    deficit_frac : float
        Share of power missing there on bright days, [0 to 1].
    lost_kwh : float
        Over the file [kWh].
    since : date or None
        First day it was seen; None where it was there from the beginning.
    hours : str
        Clock hours in which the sun passes there, in words.
    agreed_frac : float
        Share of bright intervals there that miss at least half of it, [0 to 1].
    """

    from_deg: float
    to_deg: float
    deficit_frac: float
    lost_kwh: float
    since: date | None
    hours: str
    agreed_frac: float


def ratio_by_sun(measured: Measured, level: pd.Series) -> pd.DataFrame:
    """Bright intervals' power over expected and over the day's own level, by the sun's azimuth.

    Parameters
    ----------
    measured : Measured
    level : Series, shape (n,)
        The array's own level by interval, dust and lost strings in it; 1 is as expected.

    Returns
    -------
    DataFrame, one row a bin of 10 deg
        ``median``, ``error`` of it, ``count``, ``weight`` share of the expected energy.
    """
    bright = _bright(measured)
    expected = (measured.expected_w * level)[bright]
    table = pd.DataFrame(
        {"bin": np.floor(measured.sun_azimuth_deg[bright] / BIN_DEG) * BIN_DEG,
         "ratio": measured.power_w[bright] / expected, "expected": expected}
    )
    grouped = table.groupby("bin")
    spread = grouped["ratio"].quantile(0.75) - grouped["ratio"].quantile(0.25)
    count = grouped["ratio"].size()
    return pd.DataFrame(
        {"median": grouped["ratio"].median(), "error": 1.25 * spread / 1.35 / np.sqrt(count),
         "count": count, "weight": grouped["expected"].sum() / table["expected"].sum()}
    )


def shade_places(measured: Measured, level: pd.Series) -> tuple[ShadePlace, ...]:
    """Where the sun stands when at least a tenth is missing on bright days.

    `level`: one value for each interval, measured over expected.

    The usual is the median of all bins, weighted by energy, so shade over half of the day and
    more is not told from an array that is smaller than it should be.
    """
    bins = ratio_by_sun(measured, level)
    if len(bins) < 4:
        return ()
    ordered = bins.sort_values("median")
    half = ordered["weight"].cumsum() >= 0.5 * ordered["weight"].sum()
    usual = float(ordered["median"][half].iloc[0])
    deficit = 1.0 - bins["median"] / usual
    # a shadow has edges: what the bins around a place say is the measure of the model there
    low = (
        (deficit >= LEAST_DEFICIT_FRAC)
        & (deficit >= USUAL_SPREAD * bins["error"] / usual)
        & (bins["count"] >= LEAST_STEPS)
    )
    found: list[ShadePlace | None] = []
    run: list[float] = []
    stops = list(bins.index)
    for place, azimuth in enumerate(stops):
        if low.iloc[place] and (not run or azimuth - run[-1] <= BIN_DEG):
            run.append(azimuth)
        if run and (not low.iloc[place] or place == len(stops) - 1):
            if len(run) >= LEAST_BINS:
                found.append(_place(measured, level, run[0], run[-1] + BIN_DEG, usual))
            run = []
    return tuple(place for place in found if place is not None)


def _bright(measured: Measured) -> pd.Series:
    clear = measured.light_w_m2 > BRIGHT_OF_CLEAR * measured.clear_w_m2
    return judged_steps(measured) & clear


def _place(
    measured: Measured, level: pd.Series, from_deg: float, to_deg: float, usual: float
) -> ShadePlace | None:
    there = (measured.sun_azimuth_deg >= from_deg) & (measured.sun_azimuth_deg < to_deg)
    bright = _bright(measured) & there
    asked = measured.expected_w * level * usual
    missing = 1.0 - measured.power_w[bright] / asked[bright]
    days = missing.groupby(pd.DatetimeIndex(missing.index).normalize()).median()
    since, first = _since(days)
    inside = bright & (measured.power_w.index >= first)
    deficit = float((1.0 - measured.power_w[inside] / asked[inside]).median())
    if deficit < LEAST_DEFICIT_FRAC:
        return None
    after = (measured.power_w.index >= first) & there & measured.known & ~measured.full
    lost = (asked - measured.power_w).where(after & _bright(measured), 0.0).sum()
    hours = pd.DatetimeIndex(missing.index)
    clock = hours.hour + hours.minute / 60.0
    agreed = float((1.0 - measured.power_w[inside] / asked[inside] > 0.5 * deficit).mean())
    return ShadePlace(
        from_deg=from_deg, to_deg=to_deg, deficit_frac=deficit,
        lost_kwh=max(float(lost), 0.0) * measured.step_h / 1000.0, since=since,
        hours=f"{_clock(float(np.quantile(clock, 0.1)))} to"
        f" {_clock(float(np.quantile(clock, 0.9)))}",
        agreed_frac=agreed,
    )  # fmt: skip


def _clock(hour: float) -> str:
    return f"{int(hour):02d}:{int(60 * (hour % 1.0)):02d}"


def _since(days: pd.Series) -> tuple[date | None, pd.Timestamp]:
    """First day of the shade by the best single step; None where it is there throughout."""
    value, index = days.to_numpy(float), pd.DatetimeIndex(days.index)
    if len(value) < 10:
        return None, index[0]
    cut = np.arange(4, len(value) - 3)
    total = np.concatenate([[0.0], np.cumsum(np.clip(value, -0.5, 1.0))])
    before, after = total[cut] / cut, (total[-1] - total[cut]) / (len(value) - cut)
    gain = (after - before) * np.sqrt(cut * (len(value) - cut) / len(value))
    place = int(np.argmax(gain))
    if after[place] - before[place] < 0.6 * after[place] or after[place] < LEAST_DEFICIT_FRAC:
        return None, index[0]
    return index[cut[place]].date(), index[cut[place]]
