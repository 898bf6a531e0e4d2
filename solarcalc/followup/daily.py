"""A record day by day: measured over expected where the array could give what the sun offered."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from solarcalc.basis.sourced import constant

LEAST_OF_PEAK = float(constant("followup.least_of_peak"))
LEAST_OF_DAY = float(constant("followup.least_of_day"))
KNOWN_OF_DAY = float(constant("followup.known_of_day"))
LEAST_OF_CLEAR = float(constant("followup.least_of_clear"))
OUTAGE_OF_USUAL = float(constant("followup.outage_of_usual"))
STALE_STEPS = 6


@dataclass(frozen=True, kw_only=True, eq=False)
class Measured:
    """What a judgement needs, all on one regular index labelled at the start.

    Parameters
    ----------
    power_w, expected_w : Series, shape (n,)
        Measured power of the array, and that of a clean, whole, unshaded one in the same light
        and heat [W]; nan where there is none.
    clear_w_m2, light_w_m2 : Series, shape (n,)
        Light on the plane under a clear sky, and as it was [W/m2].
    sun_azimuth_deg : Series, shape (n,)
        Of the middle of each interval [deg].
    full : Series of bool, shape (n,)
        The battery was full or held, so the array was held back.
    """

    power_w: pd.Series = field(repr=False)
    expected_w: pd.Series = field(repr=False)
    clear_w_m2: pd.Series = field(repr=False)
    light_w_m2: pd.Series = field(repr=False)
    sun_azimuth_deg: pd.Series = field(repr=False)
    full: pd.Series = field(repr=False)

    @property
    def step_h(self) -> float:
        """Length of an interval [h]."""
        index = pd.DatetimeIndex(self.power_w.index)
        return float((index[1] - index[0]).total_seconds()) / 3600.0

    @property
    def known(self) -> pd.Series:
        """Intervals with both a measured and an expected power (bool)."""
        return self.power_w.notna() & self.expected_w.notna()


def judged_steps(measured: Measured) -> pd.Series:
    """Intervals that say something about the array (bool)."""
    expected = measured.expected_w
    high = float(expected.quantile(0.995))
    fit = measured.known & ~measured.full & (expected > LEAST_OF_PEAK * high)
    return fit & ~stale(measured.power_w)


def stale(power_w: pd.Series) -> pd.Series:
    """Intervals in which a daytime value stands still, six in a row or more (bool)."""
    value = power_w.where(power_w > 0.0)
    runs = (value != value.shift()).cumsum()
    return (value.groupby(runs).transform("size") >= STALE_STEPS) & value.notna()


def day_table(measured: Measured) -> pd.DataFrame:
    """Day by day, shape (days,).

    Returns
    -------
    DataFrame
        ``measured_kwh``, ``expected_kwh`` of intervals that have both; ``held_kwh`` expected
        while the battery was full; ``ratio`` of judged intervals, nan on days that do not count;
        ``brightness`` light over that of a clear day; ``outage`` (bool).
    """
    index = pd.DatetimeIndex(measured.power_w.index)
    day = index.normalize()
    used, known = judged_steps(measured), measured.known
    kwh = measured.step_h / 1000.0
    table = pd.DataFrame(
        {
            "measured_kwh": measured.power_w.where(known) * kwh,
            "expected_kwh": measured.expected_w.where(known) * kwh,
            "held_kwh": measured.expected_w.where(known & measured.full, 0.0) * kwh,
            "used_measured": measured.power_w.where(used, 0.0) * kwh,
            "used_expected": measured.expected_w.where(used, 0.0) * kwh,
            "light": measured.light_w_m2.where(known, 0.0),
            "clear": measured.clear_w_m2.where(known, 0.0),
            "whole_clear": measured.clear_w_m2,
        }
    ).groupby(day).sum()
    brightness = table["light"] / table["clear"].mask(table["clear"] <= 0.0)
    enough = (
        (table["used_expected"] >= LEAST_OF_DAY * table["expected_kwh"])
        & (table["clear"] >= KNOWN_OF_DAY * table["whole_clear"])
        & (brightness >= LEAST_OF_CLEAR)
        & (table["used_expected"] > 0.0)
    )  # fmt: skip
    ratio = (table["used_measured"] / table["used_expected"].mask(~enough)).astype(float)
    usual = ratio.rolling(15, center=True, min_periods=3).median()
    table["ratio"], table["brightness"] = ratio, brightness
    table["outage"] = (ratio < OUTAGE_OF_USUAL * usual).fillna(False)
    return table[
        ["measured_kwh", "expected_kwh", "held_kwh", "ratio", "brightness", "outage"]
    ]  # fmt: skip


def day_numbers(index: pd.DatetimeIndex) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Days since the first one, as numbers."""
    return np.asarray((index - index[0]).total_seconds() / 86400.0, dtype=float).round()
