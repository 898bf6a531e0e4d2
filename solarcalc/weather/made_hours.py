"""Hours made from days: light by its clearness, air by a daily course, rain in showers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from solarcalc.sun import equation_of_time_min
from solarcalc.weather.clearness import Values, scaled_to_sum
from solarcalc.weather.sky_of_year import SunOfYear

RAIN_DAY_MM = 8.0  # common practice, no source: mean depth of a day with rain
SHOWER_HOURS = 4  # common practice, no source

_SWING_SHAPE = ((0.4632, 3.805), (0.0984, 0.360), (0.0168, 0.822), (0.0138, 3.513))
"""Erbs et al. 1983, from memory: parts of the daily course, (share of the swing, phase in rad)."""


def hour_angle_rad(sun: SunOfYear) -> Values:
    """Hour angle of the middle of each hour [rad], -pi to pi, 0 at solar noon."""
    middle = sun.index.tz_convert("UTC")
    clock_h = np.asarray(middle.hour + middle.minute / 60.0, dtype=float) + 0.5
    late_h = np.asarray(equation_of_time_min(np.asarray(sun.index.day_of_year)), float) / 60.0
    solar_h = clock_h + sun.place.longitude_deg / 15.0 + late_h
    return np.deg2rad((solar_h * 15.0) % 360.0 - 180.0)


def light_of_hours(
    day_frac: Values, day_of_hour: NDArray[np.intp], sun: SunOfYear, chances: Values
) -> Values:
    """Global radiation of each hour [W/m2] for the clearness of each day.

    Parameters
    ----------
    day_frac : array (days,)
        Clearness of each day, 0 to 1.
    day_of_hour : array (hours,)
        Day each hour belongs to, from 0.
    sun : SunOfYear
    chances : array (hours,)
        From `uniform_draws`.

    Notes
    -----
    Aguiar and Collares-Pereira 1992: clearness of an hour is normal about a mean that follows
    the sun's height, correlated with the hour before, above 0 and below that of a clear sky.
    Their rule draws again until a value lies within; here it is drawn from the cut normal at
    once, which is the same. Each day is then brought to its own sum.
    """
    above_air = sun.normal_w_m2 * sun.upward
    clear = np.clip(0.88 * np.cos(0.4 * hour_angle_rad(sun)), 0.0, None)
    share = _share_of_hours(day_frac[day_of_hour], day_of_hour, sun.upward, clear, chances)
    light = np.zeros_like(above_air)
    for day, wanted in enumerate(day_frac):
        hours = np.flatnonzero(day_of_hour == day)
        air = above_air[hours]
        light[hours] = scaled_to_sum(
            share[hours] * air, clear[hours] * air, float(wanted * air.sum())
        )
    return light


def _share_of_hours(
    day: Values, day_of_hour: NDArray[np.intp], sine: Values, clear: Values, chances: Values
) -> Values:
    """Clearness of each hour before the day's sum is met; formulas as printed in the paper."""
    up = sine > 0.0
    height = np.where(up, sine, 1.0)
    mean = (
        (-0.19 + 1.12 * day + 0.24 * np.exp(-8.0 * day))
        + (0.32 - 1.6 * (day - 0.5) ** 2)
        * np.exp(-(0.19 + 2.27 * day**2 - 2.51 * day**3) / height)
    )
    spread = 0.14 * np.exp(-20.0 * (day - 0.35) ** 2) * np.exp(
        (3.0 * (day - 0.45) ** 2 + 16.0 * day**5) * (1.0 - height)
    )
    spread = np.maximum(spread, 1e-6)
    hold = 0.38 + 0.06 * np.cos(7.4 * day - 2.5)
    low, high = -mean / spread, (clear - mean) / spread
    found, last = np.zeros_like(day), 0.0
    for hour in np.flatnonzero(up):
        follows = hour > 0 and up[hour - 1] and day_of_hour[hour] == day_of_hour[hour - 1]
        kept = float(hold[hour]) if follows else 0.0
        last = _cut_normal(
            kept * last, float(np.sqrt(1.0 - kept**2)), float(low[hour]), float(high[hour]),
            float(chances[hour]),
        )
        found[hour] = mean[hour] + spread[hour] * last
    return np.clip(found, 0.0, clear)


def _cut_normal(centre: float, width: float, low: float, high: float, chance: float) -> float:
    """A normal number between low and high; the nearer bound where nearly none lies between."""
    first, final = ndtr((low - centre) / width), ndtr((high - centre) / width)
    if final - first < 1e-9:
        return min(max(centre, low), high)
    return centre + width * float(ndtri(first + chance * (final - first)))


def daily_course(solar_angle_rad: Values) -> Values:
    """Air temperature less the day's mean, over the daily swing, at hour angles [rad].

    Notes
    -----
    Erbs et al. 1983 (from memory): sum of four cosines of t* = 2 pi (t - 1) / 24.
    """
    t_star = solar_angle_rad + np.pi - 2.0 * np.pi / 24.0
    return np.asarray(
        sum(
            share * np.cos(number * t_star - phase)
            for number, (share, phase) in enumerate(_SWING_SHAPE, start=1)
        ),
        dtype=float,
    )


def swing_by_clearness_k(mean_frac: float) -> float:
    """Daily swing of the air temperature [K] for a monthly mean clearness; Erbs et al. 1983.

    Examples
    --------
    >>> round(swing_by_clearness_k(0.5), 2)
    7.69
    """
    return max(25.8 * mean_frac - 5.21, 0.0)


def temp_of_hours(
    mean_c: Values, swing_k: Values, month: NDArray[np.intp], solar_angle_rad: Values
) -> Values:
    """Air temperature of each hour [degC] with the given mean of each month.

    Parameters
    ----------
    mean_c, swing_k : array (12,)
        Monthly means [degC] and daily swing from lowest to highest [K].
    month : array (hours,)
        0 to 11.
    solar_angle_rad : array (hours,)
        Hour angle [rad].
    """
    count = len(month)
    middles = np.array([np.flatnonzero(month == number).mean() for number in range(12)])
    course = np.interp(np.arange(count), middles, mean_c, period=float(count))
    temp = course + swing_k[month] * daily_course(solar_angle_rad)
    for number in range(12):
        hours = month == number
        temp[hours] += mean_c[number] - temp[hours].mean()
    return temp


def rain_of_hours(
    rain_mm: Values, month_of_day: NDArray[np.intp], day_frac: Values, chances: Values
) -> Values:
    """Rain of each hour [mm] that sums to the given depth of each month.

    Parameters
    ----------
    rain_mm : array (12,)
        Of each month [mm].
    month_of_day : array (days,)
        0 to 11.
    day_frac : array (days,)
        Clearness; rain falls on the dullest days of its month (common practice, no source).
    chances : array (2 x days,)
        From `uniform_draws`; depths are spread exponentially (Richardson 1981, from memory).
    """
    days = len(month_of_day)
    depth = np.zeros(days)
    for number, total in enumerate(rain_mm):
        place = np.flatnonzero(month_of_day == number)
        wet = min(max(round(float(total) / RAIN_DAY_MM), 1), len(place))
        chosen = place[np.argsort(day_frac[place], kind="stable")[:wet]]
        share = -np.log(chances[chosen])
        depth[chosen] = total * share / share.sum()
    rain = np.zeros((days, 24))
    first = (chances[days:] * (25 - SHOWER_HOURS)).astype(int)
    for day in np.flatnonzero(depth > 0.0):
        rain[day, first[day] : first[day] + SHOWER_HOURS] = depth[day] / SHOWER_HOURS
    return rain.ravel()
