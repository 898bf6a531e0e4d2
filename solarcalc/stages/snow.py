"""Snow of a site: its months, what they take of a row's power, and the light over snow."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check, checked
from solarcalc.basis.hours import MONTHS
from solarcalc.basis.keys import Same
from solarcalc.basis.worded import worded
from solarcalc.roof.rows import Rows
from solarcalc.siteyear import SiteYear
from solarcalc.sky import month_light_kwh_m2, plane_light
from solarcalc.snow import (
    MonthFigures,
    SnowYear,
    Table,
    albedo_by_month,
    by_hour,
    snow_loss_frac,
    snow_year_of,
)

_FROST_C = 3.0  # a month whose coldest hour is warmer has no snow; common practice, no source


def snow_of(own: SiteYear) -> SnowYear:
    """Snow of the site by month."""
    return _snow_of(Same(own.site.snow), Same(own.weather))


@lru_cache(maxsize=8)
def _snow_of(plan: Same, weather: Same) -> SnowYear:
    """Kept for the last few: every plane of a search asks."""
    return snow_year_of(plan.table, weather.table.hours, weather.table.winter.humidity_pct)


def albedo_of(own: SiteYear) -> MonthFigures:
    """Reflectance before the modules by month, [0 to 1]."""
    snow, given = own.site.snow, own.weather.winter.ground_days
    days = snow.ground_days if snow.ground_days is not None else given
    return albedo_by_month(own.site.roof.albedo_frac, snow.albedo_frac, days)


def open_light(own: SiteYear, tilt_deg: float, azimuth_deg: float) -> pd.DataFrame:
    """Light on an unshaded plane of the site by hour (`solarcalc.sky.plane_light`)."""
    return _open_light(Same(own.weather.hours), Same(own.sun), albedo_of(own), tilt_deg,
                       azimuth_deg)  # fmt: skip


@lru_cache(maxsize=8)
def _open_light(
    hours: Same, sun: Same, albedo: MonthFigures, tilt_deg: float, azimuth_deg: float
) -> pd.DataFrame:
    """Kept for the last few planes: rows at many pitches, and many changes, share one."""
    frac = by_hour(albedo, pd.DatetimeIndex(hours.table.index))
    return plane_light(hours.table, sun.table, tilt_deg=tilt_deg, azimuth_deg=azimuth_deg,
                       albedo_frac=frac)  # fmt: skip


def snow_loss_of(own: SiteYear, rows: Rows) -> MonthFigures:
    """Share of each month's power that snow takes of rows of the site's array, [0 to 1]."""
    if not snow_of(own).falls:
        return (0.0,) * 12
    total = open_light(own, rows.tilt_deg, rows.azimuth_deg)["total"]
    light = total.groupby(pd.DatetimeIndex(total.index).month).sum() / 1000.0
    return _loss_of(own, rows, light.to_numpy())


def _loss_of(own: SiteYear, rows: Rows, light_kwh_m2: np.ndarray) -> MonthFigures:
    table = Table(
        tilt_deg=rows.tilt_deg, slant_m=rows.slant_m, lower_edge_m=own.site.snow.lower_edge_m,
        several=rows.modules_high > 1 and own.site.array.string_layout == "tier-by-tier",
    )
    return snow_loss_frac(snow_of(own), table, light_kwh_m2)


def snow_leaves_frac(own: SiteYear, tried: Sequence[Rows]) -> np.ndarray:
    """Share of the year that snow leaves each of these rows, shape (rows,), [0 to 1].

    Its months are weighted by their light.
    """
    if not snow_of(own).falls:
        return np.ones(len(tried))
    hours = own.weather.hours
    planes = list(dict.fromkeys((rows.tilt_deg, rows.azimuth_deg) for rows in tried))
    light = dict(zip(planes, month_light_kwh_m2(
        hours, own.sun, planes,
        albedo_frac=by_hour(albedo_of(own), pd.DatetimeIndex(hours.index)),
    ), strict=True))  # fmt: skip
    left = []
    for rows in tried:
        months = light[rows.tilt_deg, rows.azimuth_deg]
        left.append(1.0 - float(months @ _loss_of(own, rows, months)) / float(months.sum()))
    return np.array(left)


def snow_checks(own: SiteYear, lost_frac: float) -> list[Check]:
    """What is known of the snow of a place that freezes or is said to have snow; else nothing.

    `lost_frac` is what the loss table says it takes, [0 to 1].
    """
    year, air = snow_of(own), own.weather.hours["temp_air"]
    if not year.falls and air.min() > 0.0:
        return []
    checks = [checked(not year.assumed, evidence="assumed" if year.assumed else "quoted", **worded(
        "stages", "snowfall", cm=sum(year.fall_cm), coldest_c=float(air.min()),
        lost_percent=100.0 * lost_frac,
        said="assumed" if year.assumed else "given",
    ))]  # fmt: skip
    coldest = air.groupby(pd.DatetimeIndex(air.index).month).min()
    odd = [name for name, cm, low in zip(MONTHS, year.fall_cm, coldest, strict=True)
           if cm > 0.0 and low > _FROST_C]
    if odd:
        checks.append(Check(outcome="review", **worded(
            "stages", "snow-in-warm-months", months=", ".join(odd), frost_c=_FROST_C,
        )))
    return checks
