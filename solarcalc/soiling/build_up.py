"""Dust on the modules through the year: it settles on dry days, rain and washing take it off."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.sourced import Sourced, constant
from solarcalc.sitefile.records import Soiling
from solarcalc.soiling.particulates import clean_hours, loss_of_particulates

DUST_MODEL = constant("soiling.dust_model")
PARTICULATE_MODEL = constant("soiling.particulate_model")
TILT_DEG = (0.0, 15.0, 30.0, 45.0, 60.0)
TILT_LOSS_PERCENT = (64.0, 48.0, 38.0, 30.0, 17.0)
DUST_BY_TILT = constant("soiling.dust_by_tilt")
SHORTEST_GRACE_DAYS = 1.0 / 24.0
"""One hourly step: what pvlib's model needs for a grace of none."""
RATE_TILT_DEG = constant("soiling.rate_tilt_deg")


def dust_model(plan: Soiling) -> Sourced:
    """The dust model of a plan, with its source."""
    return PARTICULATE_MODEL if plan.model == "particulates" else DUST_MODEL


def dust_by_tilt(tilt_deg: float) -> float:
    """Dust that settles at a tilt [deg], as a multiple of that at the rate's own tilt.

    Straight lines between the published tilts; held at the last one above 60 deg. It is the
    first model of what makes near-flat modules dirtier; the strip of dirt above the lower
    frame is `solarcalc.soiling.strip`.
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


def rate_per_dry_day_frac(hours: pd.DataFrame, plan: Soiling) -> np.ndarray:
    """Loss a dry day at the rate's own tilt, by hour, shape (n,), [0 to 1]: that of its season."""
    in_season = pd.DatetimeIndex(hours.index).month.isin(plan.dust_season_months)
    result: np.ndarray = np.where(
        in_season, plan.dust_season_loss_per_dry_day_frac, plan.loss_per_dry_day_frac
    )
    return result


@dataclass(frozen=True, kw_only=True, eq=False)
class TwoYears:
    """Two like years of rain by hour [mm], on an index without a zone, and the days of washing.

    The second is the one that is told: 1 January starts with the dust of 31 December and with
    the damp ground of its rain.
    """

    rain_mm: pd.Series
    washes: list[pd.Timestamp]


def two_years(hours: pd.DataFrame, plan: Soiling) -> TwoYears:
    """Two like years of a site's rain and washing."""
    index = pd.DatetimeIndex(hours.index).tz_localize(None)  # what pvlib's models can read
    washes = [
        index[index.get_indexer(pd.DatetimeIndex([_midnight(day, index)]), method="nearest")[0]]
        for day in plan.cleaning_dates
    ]
    year = pd.Timedelta(days=len(index) / 24.0)
    rain = np.tile(rain_for_cleaning_mm(hours, plan).to_numpy(float), 2)
    return TwoYears(
        rain_mm=pd.Series(rain, index=index.append(index + year)),
        washes=[*washes, *(wash + year for wash in washes)],
    )


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

    Notes
    -----
    By dry days: the rate of the hour's season adds up, as Kimber et al. 2006 with a rate that
    changes with the month. By particulates: the loss of Coello and Boyle 2019 at the tilt the
    rate is stated for, times `dust_by_tilt`, since their own change with tilt is the cosine
    alone: 6 % from flat to 20 deg, where plates and modules left outside differ by half or more.
    """
    years = two_years(hours, plan)
    by_model = _by_particulates if plan.model == "particulates" else _by_dry_days
    loss = by_model(hours, plan, years, dust_by_tilt(tilt_deg))
    return pd.Series(loss[len(hours) :], index=hours.index, name="soiling_loss_frac")


def _by_dry_days(
    hours: pd.DataFrame, plan: Soiling, years: TwoYears, against_rate: float
) -> np.ndarray:
    """The library spreads the rate over the hours, so it may be one for each hour."""
    loss: pd.Series = pvlib.soiling.kimber(
        years.rain_mm,
        cleaning_threshold=plan.cleaning_rain_mm,
        soiling_loss_rate=np.tile(rate_per_dry_day_frac(hours, plan) * against_rate, 2),
        grace_period=plan.grace_days or SHORTEST_GRACE_DAYS,
        max_soiling=plan.max_loss_frac,
        manual_wash_dates=years.washes or None,
    )
    return loss.to_numpy()


def _by_particulates(
    hours: pd.DataFrame, plan: Soiling, years: TwoYears, against_rate: float
) -> np.ndarray:
    clean = clean_hours(
        years.rain_mm,
        threshold_mm=plan.cleaning_rain_mm,
        grace_hours=24 * plan.grace_days or 1,
        washes=years.washes,
    )
    month = pd.DatetimeIndex(hours.index).month.to_numpy() - 1
    fine, coarse = (
        np.tile(np.resize(figures, 12)[month], 2) for figures in (plan.pm2_5_ug_m3, plan.pm10_ug_m3)
    )
    loss = loss_of_particulates(
        clean, pm2_5_ug_m3=fine, pm10_ug_m3=coarse, tilt_deg=float(RATE_TILT_DEG)
    )
    result: np.ndarray = np.minimum(loss.to_numpy() * against_rate, plan.max_loss_frac)
    return result


def _midnight(day: str, index: pd.DatetimeIndex) -> datetime:
    return datetime(index[len(index) // 2].year, int(day[:2]), int(day[3:]))
