"""Dust on the modules through the year: it settles on dry days, rain and washing take it off."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.sourced import Sourced
from solarcalc.sitefile.records import Soiling

DUST_MODEL = Sourced(
    label="Dust model",
    value="steady loss a dry day, reset by rain or washing",
    unit="",
    source="Kimber et al. 2006, through pvlib.soiling.kimber",
)
TILT_DEG = (0.0, 15.0, 30.0, 45.0, 60.0)
TILT_LOSS_PERCENT = (64.0, 48.0, 38.0, 30.0, 17.0)
DUST_BY_TILT = Sourced(
    label="Dust against tilt",
    value="64, 48, 38, 30, 17 % of the light lost at 0, 15, 30, 45, 60 deg, 38 days",
    unit="",
    source="Sayigh et al. 1985, glass plates in Kuwait; only the ratios are used",
)
SHORTEST_GRACE_DAYS = 1.0 / 24.0
"""One hourly step: what pvlib's model needs for a grace of none."""
RATE_TILT_DEG = Sourced(
    label="Tilt at which the loss a dry day is stated",
    value=20.0,
    unit="deg",
    source="common practice, no source",
)


def dust_by_tilt(tilt_deg: float) -> float:
    """Dust that settles at a tilt [deg], as a multiple of that at the rate's own tilt.

    Straight lines between the published tilts; held at the last one above 60 deg. It is the
    first model of what makes near-flat modules dirtier; the strip of dirt above the lower
    frame is not in it.
    """
    at_tilt, at_rate = np.interp([tilt_deg, float(RATE_TILT_DEG)], TILT_DEG, TILT_LOSS_PERCENT)
    return float(at_tilt / at_rate)


def rain_for_cleaning_mm(hours: pd.DataFrame, plan: Soiling) -> pd.Series:
    """Hourly rain [mm]: the weather's own, or one cleaning rain every so many days.

    Where the weather has no rain the site file says which months are dry and how many days
    pass between cleaning rains in the others.
    """
    if "precipitation" in hours:
        return hours["precipitation"]
    index = pd.DatetimeIndex(hours.index)
    day = np.arange(len(index)) // 24
    first_hour = np.arange(len(index)) % 24 == 0
    wet = ~index.month.isin(plan.dry_months)
    rains = wet & first_hour & (day % plan.days_between_rains == 0)
    return pd.Series(np.where(rains, plan.cleaning_rain_mm + 1.0, 0.0), index=index)


def soiling_loss_frac(hours: pd.DataFrame, plan: Soiling, *, tilt_deg: float) -> pd.Series:
    """Share of the light lost to dust, by hour, [0 to 1].

    Parameters
    ----------
    hours : DataFrame, shape (8760,)
        Weather; its ``precipitation`` [mm] is used where present.
    plan : Soiling
    tilt_deg : float
        Of the modules [deg].

    Returns
    -------
    Series, shape (8760,)
        The second of two like years, so that 1 January starts with the dust of 31 December
        and with the damp ground of its rain. Where nothing cleans all year the dust still
        grows and the second year is what is told.
    """
    index = pd.DatetimeIndex(hours.index).tz_localize(None)  # what pvlib's model can read
    washes = [
        index[index.get_indexer(pd.DatetimeIndex([_midnight(day, index)]), method="nearest")[0]]
        for day in plan.cleaning_dates
    ]
    year = pd.Timedelta(days=len(index) / 24.0)
    rain = np.tile(rain_for_cleaning_mm(hours, plan).to_numpy(), 2)
    loss: pd.Series = pvlib.soiling.kimber(
        pd.Series(rain, index=index.append(index + year)),
        cleaning_threshold=plan.cleaning_rain_mm,
        soiling_loss_rate=plan.loss_per_dry_day_frac * dust_by_tilt(tilt_deg),
        grace_period=plan.grace_days or SHORTEST_GRACE_DAYS,
        max_soiling=plan.max_loss_frac,
        manual_wash_dates=[*washes, *(wash + year for wash in washes)] or None,
    )
    return pd.Series(
        loss.to_numpy()[len(index) :], index=hours.index, name="soiling_loss_frac"
    )


def _midnight(day: str, index: pd.DatetimeIndex) -> datetime:
    return datetime(index[len(index) // 2].year, int(day[:2]), int(day[3:]))
