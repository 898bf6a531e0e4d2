"""Shade that comes back: where the sun stands when power is missing, day after day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from solarcalc.basis.sourced import constant
from solarcalc.followup.daily import Measured, judged_steps

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
        {
            "bin": np.floor(measured.sun_azimuth_deg[bright] / BIN_DEG) * BIN_DEG,
            "ratio": measured.power_w[bright] / expected,
            "expected": expected,
        }
    )
    grouped = table.groupby("bin")
    spread = grouped["ratio"].quantile(0.75) - grouped["ratio"].quantile(0.25)
    count = grouped["ratio"].size()
    return pd.DataFrame(
        {
            "median": grouped["ratio"].median(),
            "error": 1.25 * spread / 1.35 / np.sqrt(count),
            "count": count,
            "weight": grouped["expected"].sum() / table["expected"].sum(),
        }
    )


def shade_places(measured: Measured, level: pd.Series) -> tuple[ShadePlace, ...]:
    """Where the sun stands when at least a tenth is missing on bright days.

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
