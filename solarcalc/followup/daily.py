"""A record day by day: measured over expected, yields by IEC 61724-1, and what a finding is."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from itertools import pairwise
from typing import Literal

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check, Outcome
from solarcalc.basis.physics import STC_C
from solarcalc.basis.sourced import NO_SOURCE, constant

Kind = Literal[
    "file", "units", "clock", "dust", "string", "step", "outage", "shade", "heat", "full battery",
    "ageing", "capacity", "plane",
]  # fmt: skip
Confidence = Literal["high", "medium", "low"]


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing found.

    Parameters
    ----------
    kind : str
        What it is, of a closed list.
    said : str
        In words, with its figures.
    size : float
        Share of what was expected while it lasted, [0 to 1]; for a clock, minutes; for notes on
        the file, a count.
    lost_kwh : float
        Energy of the array that it cost over the whole file [kWh]; 0 where it cost none.
    since, until : date or None
        First and last day; None where that has no meaning, and no last day of what goes on.
    confidence : {"high", "medium", "low"}
    remedy : str
        What to do.
    outcome : {"passed", "review", "failed"}
        "passed" for what is said and needs no action.
    count, of : int
        Strings that are out and strings before; days without power.
    """

    kind: Kind
    said: str
    size: float = 0.0
    lost_kwh: float = 0.0
    since: date | None = None
    until: date | None = None
    confidence: Confidence = "medium"
    remedy: str = ""
    outcome: Outcome = "review"
    count: int = 0
    of: int = 0

    @property
    def when(self) -> str:
        """The days it lasted, in words."""
        if self.since is None:
            return ""
        return f"{self.since}" if self.until is None else f"{self.since} to {self.until}"

    @property
    def is_over(self) -> bool:
        """Whether it ended within the record: repaired, washed, switched on again.

        A battery's days are those of its discharges, no end.
        """
        return self.until is not None and self.kind != "capacity"

    def check(self) -> Check:
        """The same as a check with its figures."""
        return Check(
            rule="followup/loss", kind="yield",
            item=ITEMS[self.kind], found=f"{self.said} ({self.confidence} confidence)",
            limit=LIMITS[self.kind], unit="", outcome=self.outcome, clause=NO_SOURCE,
            remedy="" if self.outcome == "passed" else self.remedy,
        )  # fmt: skip


ITEMS: dict[Kind, str] = {
    "file": "The logger's file",
    "units": "Unit of logged power",
    "clock": "Logger clock error, against the sun",
    "dust": "Gradual soiling loss",
    "string": "Strings in operation",
    "step": "Sudden drop at all hours",
    "outage": "Days of little or no power",
    "shade": "Shading at the same hour every day",
    "heat": "Module temperature",
    "full battery": "Energy curtailed, battery full",
    "ageing": "Annual loss of power",
    "capacity": "Battery capacity",
    "plane": "Orientation of the array, from clear days",
}
LIMITS: dict[Kind, str] = {
    "file": "a value in every interval",
    "units": "highest power between 1/100 and 1.5 of the rated power",
    "clock": "within 25 min",
    "dust": "less than 3 % between cleanings",
    "string": "all of them",
    "step": "no drop of 5 % or more from one day to the next",
    "outage": "none",
    "shade": "less than 10 % at any hour, beyond the design",
    "heat": "within 8 K of the design",
    "full battery": "reported, no fault of the array",
    "ageing": "as in the design",
    "capacity": "at least 80 % of the rating",
    "plane": "clear days agree with tilt and azimuth of the site file",
}


LEAST_OF_PEAK = float(constant("followup.least_of_peak"))
HELD_FRAC = float(constant("followup.held_frac"))
LEAST_OF_DAY = float(constant("followup.least_of_day"))
KNOWN_OF_DAY = float(constant("followup.known_of_day"))
LEAST_OF_CLEAR = float(constant("followup.least_of_clear"))
OUTAGE_OF_USUAL = float(constant("followup.outage_of_usual"))
STALE_STEPS = 6
USUAL_DAYS = 15
"""Days whose median is what a day usually gives."""
YEAR_DAYS = 365
APART_DAYS = 30
"""Days between outages that are told apart; common practice, no source."""


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
        """Intervals with both a measured and an expected power (bool).

        One value for each interval of the logger.
        """
        return self.power_w.notna() & self.expected_w.notna()


def judged_steps(measured: Measured) -> pd.Series:
    """Intervals that say something about the array (bool).

    One value for each interval of the logger.
    """
    expected = measured.expected_w
    high = float(expected.quantile(0.995))
    fit = measured.known & ~measured.full & (expected > LEAST_OF_PEAK * high)
    return fit & ~stale(measured.power_w)


def held_while_filling(measured: Measured, filling: pd.Series) -> Measured:
    """A record that knows the intervals in which a battery became full and held the array back.

    They are full for the rest of the interval, so the array gives less than in the other
    intervals of the day; one that gives as much tells of the array as those do. Of a day that has
    no others nothing can be told.

    Parameters
    ----------
    measured : Measured
    filling : Series of bool, shape (n,)
        Intervals at whose end the battery was full.
    """
    by_day = pd.DatetimeIndex(measured.power_w.index).normalize()
    others = judged_steps(measured) & ~filling
    power_w, expected_w = (one.where(others).groupby(by_day).transform("sum")
                           for one in (measured.power_w, measured.expected_w))  # fmt: skip
    usual_w = measured.expected_w * power_w / expected_w.mask(expected_w <= 0.0)
    as_usual = measured.power_w >= HELD_FRAC * usual_w
    return replace(measured, full=measured.full | (filling & ~as_usual))


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
        while the battery was full; ``ratio`` of checked intervals, nan on days that do not count;
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
    usual = _usual(ratio)
    table["ratio"], table["brightness"] = ratio, brightness
    table["outage"] = (ratio < OUTAGE_OF_USUAL * usual).fillna(False)
    return table[
        ["measured_kwh", "expected_kwh", "held_kwh", "ratio", "brightness", "outage"]
    ]  # fmt: skip


def _usual(ratio: pd.Series) -> pd.Series:
    """Median of the days around; near an end of the record of as many, all on one side.

    With half of them, what ended or began the record would be the usual itself. Where fewer than
    half of the days around count because the battery is full, dark ones, which all count, would be
    among themselves: then as many that count.
    """
    half, counted = USUAL_DAYS // 2, ratio.dropna()
    around, wider = (one.rolling(USUAL_DAYS, center=True, min_periods=least).median()
                     for one, least in ((ratio, half + 1), (counted, 3)))  # fmt: skip
    for usual in (around, wider):
        if len(usual) > 2 * half:
            usual.iloc[:half], usual.iloc[-half:] = usual.iloc[half], usual.iloc[-half - 1]
    return around.fillna(wider.reindex(ratio.index))


def spells_of(stamps: pd.DatetimeIndex) -> list[pd.DatetimeIndex]:
    """Days in order, parted where more than `APART_DAYS` lie between one and the next."""
    gaps = np.flatnonzero(np.diff(stamps) > pd.Timedelta(days=APART_DAYS)) + 1
    ends = [0, *(int(gap) for gap in gaps), len(stamps)]
    return [stamps[first:last] for first, last in pairwise(ends) if last > first]


def some_named(stamps: pd.DatetimeIndex) -> str:
    """The first four of some days, and how many more there are."""
    return ", ".join(f"{one:%Y-%m-%d}" for one in stamps[:4]) + (
        f" and {len(stamps) - 4} more" if len(stamps) > 4 else "")  # fmt: skip


def day_numbers(index: pd.DatetimeIndex) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Days since the first one, as numbers.

    Shape (d,), one for each day [days].
    """
    return np.asarray((index - index[0]).total_seconds() / 86400.0, dtype=float).round()


def ratio_table(
    power_w: pd.Series,
    light_w_m2: pd.Series,
    module_c: pd.Series,
    *,
    rated_w: float,
    gamma_per_k: float,
    by: str = "D",
) -> pd.DataFrame:
    """Performance ratio of the array by day, month or the whole, three ways.

    Intervals without one of the three figures are left out of all sums. The array's energy is
    used, so this is the array's share of the ratio; the converters' loss is not in it.

    Parameters
    ----------
    power_w, light_w_m2, module_c : Series, shape (n,)
        Array power [W], light on its plane [W/m2], temperature of the modules [degC]; same
        index, regular.
    rated_w : float
        [W].
    gamma_per_k : float
        Change of power with heat [1/K], negative.
    by : {"D", "MS", "all"}

    Returns
    -------
    DataFrame, one row a period
        ``ratio`` as it is; ``ratio_25c`` brought to 25 degC; ``ratio_mean`` brought to the mean
        module temperature of the file weighted by light, which keeps the yearly level and takes
        the seasons out; ``light_kwh_m2``, ``energy_kwh``, ``share`` of lit intervals used;
        ``light_25c_kwh_m2``, the light times what the heat leaves of the power.

    Notes
    -----
    PR' = sum P / (P0 sum G/1000 (1 + gamma (T - T0))), T0 = 25 degC or the mean.
    """
    step_h = (power_w.index[1] - power_w.index[0]).total_seconds() / 3600.0
    table = pd.DataFrame({"p": power_w, "g": light_w_m2, "t": module_c})
    lit = table["g"] > 0.0
    good = lit & table.notna().all(axis=1)
    used = table.where(good)
    mean_c = float(np.average(used["t"][good], weights=used["g"][good])) if good.any() else 25.0
    sums = pd.DataFrame(
        {"energy_kwh": used["p"] * step_h / 1000.0, "light_kwh_m2": used["g"] * step_h / 1000.0,
         "at_25c": used["g"] * (1.0 + gamma_per_k * (used["t"] - STC_C)) * step_h / 1000.0,
         "at_mean": used["g"] * (1.0 + gamma_per_k * (used["t"] - mean_c)) * step_h / 1000.0,
         "used": good.astype(float),
         "lit": (lit | table["g"].isna() & (table["p"] > 0.0)).astype(float)}
    )
    total = sums.sum().to_frame().T if by == "all" else sums.resample(by).sum()
    rated_kw = rated_w / 1000.0
    none = total["light_kwh_m2"] <= 0.0
    for name, under in (
        ("ratio", "light_kwh_m2"), ("ratio_25c", "at_25c"), ("ratio_mean", "at_mean"),
    ):  # fmt: skip
        total[name] = (total["energy_kwh"] / rated_kw / total[under].mask(none)).astype(float)
    total["share"] = total["used"] / total["lit"].mask(total["lit"] == 0.0)
    total = total.rename(columns={"at_25c": "light_25c_kwh_m2"})
    return total[["ratio", "ratio_25c", "ratio_mean", "light_kwh_m2", "light_25c_kwh_m2",
                  "energy_kwh", "share"]]
