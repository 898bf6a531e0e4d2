"""Yearly loss of power from several years of ratios, and what a battery still holds."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.followup.daily import YEAR_DAYS, Confidence, Finding

LEAST_DAYS = 730
"""Two years: each day needs its partner a year later, and a year of such pairs."""
USUAL_PER_YEAR = constant("followup.usual_per_year")


@dataclass(frozen=True, kw_only=True)
class YearlyLoss:
    """Loss of power a year, and the band that holds it in 68 of 100 cases.

    Parameters
    ----------
    loss_frac_per_year, low, high : float
        Positive is a loss.
    """

    loss_frac_per_year: float
    low: float
    high: float


def yearly_loss(ratio: pd.Series) -> YearlyLoss | None:
    """Yearly loss from daily ratios; None where they are too few or rdtools is not installed.

    Parameters
    ----------
    ratio : Series
        Ratio of each day with the heat taken out, index of days; days may be missing.
    """
    daily = ratio.dropna()
    if len(daily) < 60 or (daily.index[-1] - daily.index[0]).days < LEAST_DAYS:
        return None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # rdtools 3 with pandas 3 warns of its own code
            from rdtools import degradation  # type: ignore[import-untyped]  # no stubs

            percent, band, _ = degradation.degradation_year_on_year(
                daily.asfreq("D"), confidence_level=68.2
            )
    except ImportError:
        return None
    return YearlyLoss(
        loss_frac_per_year=-float(percent) / 100.0, low=-float(band[1]) / 100.0,
        high=-float(band[0]) / 100.0,
    )  # fmt: skip


def ageing_finding(ratio: pd.Series, *, design_frac_per_year: float) -> Finding:
    """Yearly loss against that of the design, or why it cannot be told.

    `ratio`: one value for each day, measured over expected; both losses a year [frac].
    """
    found = yearly_loss(ratio)
    if found is None:
        days = (ratio.index[-1] - ratio.index[0]).days if len(ratio) > 1 else 0
        return Finding(**worded("followup", "too-short-for-ageing", days=days), outcome="passed")
    fast = found.low > 2.0 * design_frac_per_year
    return Finding(
        size=max(found.loss_frac_per_year, 0.0), outcome="review" if fast else "passed",
        **worded("followup", "yearly-loss", percent=100 * found.loss_frac_per_year,
                 low=100 * found.low, high=100 * found.high, design=100 * design_frac_per_year),
    )  # fmt: skip


FULL_FRAC = float(constant("followup.full_frac"))
DEEP_ENOUGH_FRAC = float(constant("followup.deep_enough_frac"))
FEW_RUNS = 5
LATE_DAYS = 90
"""A bank is judged by its runs of the last season: one that faded in the year stands where it ended
(common practice, no source). Where these are few, earlier ones count too, none over a year old."""
TOLD_FALL_FRAC = 0.05
"""Fall within the record, of the rating, from which it is told; common practice, no source."""
WORN_FRAC = constant("followup.worn_frac")


@dataclass(frozen=True, kw_only=True, eq=False)
class CapacityFound:
    """Capacity by the runs of a record.

    Parameters
    ----------
    runs : DataFrame, one row a run
        ``start``, ``end``, ``drawn`` (Wh or Ah), ``depth_frac`` and ``capacity`` (drawn over
        depth, at 25 degC).
    capacity : float
        Median of the runs of the last 90 days, of the last five of a year where there are fewer;
        nan without any.
    of_rating_frac : float
        Over the rating.
    late_count : int
        Runs of which it is the median.
    began_frac : float
        Median of the first as many runs over the rating; nan where the record is too short to
        have others.
    confidence : {"high", "medium", "low"}
    """

    runs: pd.DataFrame
    capacity: float
    of_rating_frac: float
    late_count: int
    began_frac: float
    confidence: Confidence


def runs_to_low(drawn: pd.Series, charge_frac: pd.Series) -> pd.DataFrame:
    """Runs from full to the lowest charge before the battery is full again.

    Parameters
    ----------
    drawn : Series, shape (n,)
        Power or current out of the battery, negative while it charges [W or A]; regular.
    charge_frac : Series, shape (n,)
        State of charge at the label, [0 to 1].

    Returns
    -------
    DataFrame, one row a run
        ``start``, ``end``; ``drawn`` net [Wh or Ah]; ``depth_frac``; ``hours``; ``gaps`` (bool).
    """
    step_h = (drawn.index[1] - drawn.index[0]).total_seconds() / 3600.0
    full = (charge_frac >= FULL_FRAC).to_numpy()
    leaves = full & ~np.append(full[1:], True)
    group = np.cumsum(leaves)
    rows = []
    for number in range(1, int(group.max()) + 1 if len(group) else 1):
        first = int(np.searchsorted(group, number))
        last = int(np.searchsorted(group, number, side="right"))
        charge = charge_frac.to_numpy(float)[first:last]
        if len(charge) < 2 or not np.isfinite(charge).any():
            continue
        low = int(np.nanargmin(charge))
        part = drawn.to_numpy(float)[first : first + low]
        rows.append(
            (drawn.index[first], drawn.index[first + low], float(np.nansum(part)) * step_h,
             float(charge[0] - charge[low]), low * step_h, bool(np.isnan(part).any()))
        )  # fmt: skip
    return pd.DataFrame(rows, columns=["start", "end", "drawn", "depth_frac", "hours", "gaps"])


def capacity_found(
    drawn: pd.Series, charge_frac: pd.Series, *, rated_wh: float, per_k_frac: float,
    battery_c: pd.Series | None = None,
) -> CapacityFound:  # fmt: skip
    """Capacity of a bank from its runs, against its rating in the same unit.

    Parameters
    ----------
    drawn, charge_frac : Series, shape (n,)
        As in `runs_to_low`.
    rated_wh : float
        Rated capacity [Wh]; [Ah] where `drawn` is a current.
    per_k_frac : float
        Brings the result to 25 degC by C / (1 + per_k_frac (T - 25)) [1/K].
    battery_c : Series, optional
        Temperature of the battery or its room [degC]; left out: no correction.

    Notes
    -----
    A state of charge counted by a meter from the rated capacity hides the fade it is asked for:
    the answer is no better than the meter, and the confidence never above medium.
    """
    runs = runs_to_low(drawn, charge_frac)
    runs = runs[~runs["gaps"] & (runs["depth_frac"] >= DEEP_ENOUGH_FRAC) & (runs["drawn"] > 0.0)]
    warmth = np.ones(len(runs))
    if battery_c is not None:
        means = [float(battery_c[start:end].mean())
                 for start, end in zip(runs["start"], runs["end"], strict=True)]  # fmt: skip
        warmth = 1.0 + per_k_frac * (np.nan_to_num(np.array(means), nan=25.0) - 25.0)
    runs = runs.assign(capacity=runs["drawn"] / runs["depth_frac"] / warmth)
    season, year = (int((runs["start"] >= runs["start"].max() - pd.Timedelta(days=days)).sum())
                    for days in (LATE_DAYS, YEAR_DAYS))  # fmt: skip
    count = max(season, min(FEW_RUNS, year))
    late, early = runs["capacity"].tail(count), runs["capacity"].iloc[: len(runs) - count]
    found = float(late.median()) if count else float("nan")
    spread = float(late.std() / found) if count > 1 else float("inf")
    return CapacityFound(
        runs=runs, capacity=found, of_rating_frac=found / rated_wh, late_count=count,
        began_frac=float(early.head(count).median()) / rated_wh
        if len(early) >= FEW_RUNS else float("nan"),
        confidence="medium" if count >= FEW_RUNS and spread < 0.1 else "low",
    )  # fmt: skip


def capacity_finding(found: CapacityFound) -> Finding:
    """The battery's capacity in words."""
    if not len(found.runs):
        return Finding(outcome="passed", **worded(
            "followup", "no-deep-run",
            deep_enough_percent=100 * DEEP_ENOUGH_FRAC,
        ))  # fmt: skip
    share = found.of_rating_frac
    worn = share < float(WORN_FRAC)
    first = pd.Timestamp(found.runs["start"].iloc[-found.late_count])
    fell = found.began_frac - share > TOLD_FALL_FRAC
    began = f", {100 * found.began_frac:.0f} % when the record began" if fell else ""
    return Finding(
        **worded("followup", "capacity-finding", share=100 * share, runs_count=found.late_count,
                 began=began),
        size=max(1.0 - share, 0.0), since=first.date(), confidence=found.confidence,
        until=pd.Timestamp(found.runs["end"].iloc[-1]).date(),
        outcome="review" if worn else "passed",
    )  # fmt: skip
