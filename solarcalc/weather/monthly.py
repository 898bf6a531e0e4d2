"""A weather year made from twelve monthly means, for places that have no hourly file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from solarcalc.basis.hours import year_hours
from solarcalc.basis.sourced import NO_SOURCE, Sourced
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.sitefile.records import MonthlyMeans
from solarcalc.weather.beam import with_beam_and_diffuse
from solarcalc.weather.clearness import (
    Values,
    days_of_month,
    highest_clearness,
    mapped_series,
    scaled_to_sum,
    uniform_draws,
)
from solarcalc.weather.made_hours import (
    hour_angle_rad,
    light_of_hours,
    rain_of_hours,
    swing_by_clearness_k,
    temp_of_hours,
)
from solarcalc.weather.records import RAIN, FileContent, Place
from solarcalc.weather.sky_of_year import SunOfYear, sun_of_year

WIND_M_S = Sourced(
    label="Wind where none is given", value=2.0, unit="m/s", source=NO_SOURCE
)
MAX_SUM_GAP_FRAC = 0.01  # common practice, no source
METHOD = (
    "days: Saunier et al. 1987, in the order of Graham et al. 1988; hours: Aguiar and"
    " Collares-Pereira 1992; beam: Erbs et al. 1982 in the form of Driesse et al. 2024"
)
_DAYS, _HOURS, _RAIN = 1, 2, 3
"""Streams of draws: a change of one leaves the others as they are."""

_Count = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Grid:
    """The calendar and the sun of the year to be made."""

    sun: SunOfYear
    month: _Count
    day: _Count
    month_of_day: _Count

    @property
    def above_air_day(self) -> Values:
        """Radiation above the air on the horizontal, each day [Wh/m2]."""
        above = self.sun.normal_w_m2 * self.sun.upward
        return np.asarray(np.bincount(self.day, weights=above), dtype=float)


def content_from_means(means: MonthlyMeans, *, site: Place, offset_h: float) -> FileContent:
    """What a weather file would hold, made from monthly means.

    Use it where no hourly file of the place exists. It keeps the monthly means, the spread of
    clear and dull days and their runs; it has no hot or cold spells, no daily course of the
    wind, and its darkest fortnight is that of a usual year.

    Parameters
    ----------
    means : MonthlyMeans
        The table [weather.monthly] of the site file.
    site : Place
    offset_h : float
        Standard-time offset of the site's clock [h].

    Returns
    -------
    FileContent
        8760 hours, the same for the same figures and seed on every machine (to rounding).
    """
    grid = _grid(site, offset_h)
    chances = uniform_draws(means.seed, _HOURS, len(grid.day))
    day_frac, month_frac = _days(means, grid)
    hours = pd.DataFrame(
        {"ghi": light_of_hours(day_frac, grid.day, grid.sun, chances)}, index=grid.sun.index
    )
    hours, _ = with_beam_and_diffuse(hours, grid.sun, rebuild_beam=False)
    hours["temp_air"] = temp_of_hours(
        np.array(means.temp_air_c), _swing_k(means, month_frac), grid.month,
        hour_angle_rad(grid.sun),
    )
    wind = [float(WIND_M_S)] * 12 if means.wind_speed_m_s is None else means.wind_speed_m_s
    hours["wind_speed"] = np.array(wind)[grid.month]
    if means.rain_mm is not None:
        hours[RAIN] = rain_of_hours(
            np.array(means.rain_mm), grid.month_of_day, day_frac,
            uniform_draws(means.seed, _RAIN, 2 * len(day_frac)),
        )
    return FileContent(
        path=Path("twelve monthly means"),
        format_name=f"made into hours, seed {means.seed}",
        hours=hours,
        station=Place(
            name="monthly means of the site",
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
        ),
        offset_h=offset_h,
        label_convention="each hour was made for the time from its label on",
        verdicts=tuple(_verdicts(means, hours, grid)),
    )


def _grid(site: Place, offset_h: float) -> _Grid:
    index = year_hours(offset_h)
    month = np.asarray(index.month, dtype=np.intp) - 1
    return _Grid(
        sun=sun_of_year(index, site),
        month=month,
        day=np.asarray(index.day_of_year, dtype=np.intp) - 1,
        month_of_day=month[::24],
    )


def _days(means: MonthlyMeans, grid: _Grid) -> tuple[Values, Values]:
    """Clearness of each day, and the mean of each month, 0 where no sun rises."""
    mapped = mapped_series(uniform_draws(means.seed, _DAYS, len(grid.month_of_day)))
    above, days, months = grid.above_air_day, np.zeros(len(mapped)), np.zeros(12)
    for number, mean in enumerate(means.ghi_kwh_m2_day):
        place = np.flatnonzero(grid.month_of_day == number)
        whole = float(above[place].sum())
        if whole <= 0.0:
            continue
        total = mean * 1000.0 * len(place)
        months[number] = total / whole
        drawn = days_of_month(total / whole, mapped[place]) * above[place]
        most = max(highest_clearness(total / whole), total / whole) * above[place]
        light = scaled_to_sum(drawn, most, total)
        days[place] = np.divide(
            light, above[place], out=np.zeros(len(place)), where=above[place] > 0.0
        )
    return days, months


def _swing_k(means: MonthlyMeans, month_frac: Values) -> Values:
    if means.temp_range_k is not None:
        return np.array(means.temp_range_k)
    return np.array([swing_by_clearness_k(float(value)) for value in month_frac])


def _verdicts(means: MonthlyMeans, hours: pd.DataFrame, grid: _Grid) -> list[Verdict]:
    found = [
        Verdict(
            item="Weather of the year",
            found=f"made from monthly means, seed {means.seed}",
            limit="measured, or from satellites, hour by hour",
            unit="",
            outcome="caution",
            clause=METHOD,
            remedy="take an hourly file of the place when there is one; try other seeds to see"
            " how much the battery's answer rests on the order of the days; the three darkest days"
            " of a real year can be half as light, and the record cold that limits the string"
            " voltage is not in it",
        ),
        _sums(means, hours, grid),
    ]
    if means.temp_range_k is None:
        found.append(_left_out("Daily swing of the air temperature", "by the clearness of the"
                               " month", "Erbs et al. 1983, from memory", "temp_range_k"))
    if means.wind_speed_m_s is None:
        found.append(_left_out(WIND_M_S.label, f"{float(WIND_M_S):g} m/s in every hour",
                               WIND_M_S.source, "wind_speed_m_s"))
    if means.rain_mm is None:
        found.append(_left_out("Rain", "none: dust goes by soiling.dry_months and"
                               " soiling.days_between_rains", NO_SOURCE, "rain_mm"))
    return found


def _left_out(item: str, found: str, clause: str, key: str) -> Verdict:
    return Verdict(
        item=item, found=found, limit="twelve monthly figures", unit="", outcome="caution",
        clause=clause, remedy=f"give weather.monthly.{key} if it is known",
    )


def _sums(means: MonthlyMeans, hours: pd.DataFrame, grid: _Grid) -> Verdict:
    made = np.bincount(grid.month, weights=hours["ghi"].to_numpy(float)) / 1000.0
    given = np.array(means.ghi_kwh_m2_day) * np.bincount(grid.month_of_day)
    # A month with less than 1 kWh/m2 is held to a hundredth of that: no source.
    worst = float(np.max(np.abs(made - given) / np.maximum(given, 1.0)))
    return judged(
        worst <= MAX_SUM_GAP_FRAC,
        item="Monthly sums of global radiation",
        found=f"{100.0 * worst:.2f} off in the worst month",
        limit=f"{100.0 * MAX_SUM_GAP_FRAC:g}",
        unit="%",
        clause=NO_SOURCE,
        remedy="check the figures of months with hardly any sun",
    )
