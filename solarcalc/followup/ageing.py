"""Yearly loss of power from several years of daily ratios, year on year."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import pandas as pd

from solarcalc.basis.sourced import constant
from solarcalc.followup.finding import Finding

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


def left_after_frac(*, loss_frac: float, age_years: float) -> float:
    """Power left in the n-th year, (1 - d)^(n - 1), [0 to 1].

    Examples
    --------
    >>> round(left_after_frac(loss_frac=0.005, age_years=25.0), 4)
    0.8867
    """
    left: float = (1.0 - loss_frac) ** (age_years - 1.0)
    return left


def ageing_finding(ratio: pd.Series, *, design_frac_per_year: float) -> Finding:
    """Yearly loss against that of the design, or why it cannot be told."""
    found = yearly_loss(ratio)
    if found is None:
        days = (ratio.index[-1] - ratio.index[0]).days if len(ratio) > 1 else 0
        return Finding(
            kind="ageing", said=f"{days} days are too short; two years or more are needed",
            confidence="high", outcome="passed",
        )  # fmt: skip
    fast = found.low > 2.0 * design_frac_per_year
    return Finding(
        kind="ageing", size=max(found.loss_frac_per_year, 0.0),
        said=f"{100 * found.loss_frac_per_year:.1f} % a year, {100 * found.low:.1f} to"
        f" {100 * found.high:.1f}; the design has {100 * design_frac_per_year:.1f}",
        confidence="medium", outcome="caution" if fast else "passed",
        remedy="clean sensor and modules first; then compare with the maker's warranty",
    )  # fmt: skip
