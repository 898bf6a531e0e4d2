"""The energies of a record that was taken apart, by day and year by year."""

from __future__ import annotations

import numpy as np
import pandas as pd

from solarcalc.followup.daily import Measured
from solarcalc.followup.separate import Separated, curtailed_kwh

LEAST_DAYS = 456
"""Fifteen months: the second year holds a season; common practice, no source."""


def due_kwh(separated: Separated, measured: Measured) -> tuple[pd.Series, pd.Series]:
    """What nothing needed, and what should have come of the rest, by day [kWh].

    Parameters
    ----------
    separated : Separated
    measured : Measured
    """
    spare = curtailed_kwh(measured)
    return spare, separated.days["expected_kwh"].sub(spare, fill_value=0.0).clip(lower=0.0)


def years_kwh(separated: Separated, measured: Measured) -> pd.DataFrame:
    """A record year by year, each of twelve months from its first day; the last may be shorter.

    None of a record under `LEAST_DAYS`. Days without light or power count in neither energy.

    Parameters
    ----------
    separated : Separated
    measured : Measured

    Returns
    -------
    DataFrame, shape (years,)
        ``first``, ``last`` (date), ``days`` with a record, ``spare_kwh``, ``due_kwh`` as `due_kwh`
        gives them, ``measured_kwh``; each column of energy adds up to that of the whole record.
    """
    index = pd.DatetimeIndex(separated.days.index)
    begins = [index[0]]
    while (later := index[0] + pd.DateOffset(years=len(begins))) <= index[-1]:
        begins.append(later)
    year = np.searchsorted(pd.DatetimeIndex(begins), index, side="right")
    spare, due = due_kwh(separated, measured)
    years = pd.DataFrame({
        "first": index.date, "last": index.date, "days": separated.days["expected_kwh"] > 0.0,
        "spare_kwh": spare.reindex(index, fill_value=0.0), "due_kwh": due,
        "measured_kwh": separated.days["measured_kwh"],
    }, index=index).groupby(year).agg({
        "first": "first", "last": "last", "days": "sum", "spare_kwh": "sum", "due_kwh": "sum",
        "measured_kwh": "sum",
    })  # fmt: skip
    return years if len(index) >= LEAST_DAYS else years[:0]
