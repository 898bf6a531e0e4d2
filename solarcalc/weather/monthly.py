"""A weather year made from twelve monthly means, for places that have no hourly file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from solarcalc.basis.check import Check, checked
from solarcalc.basis.hours import year_hours
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.weather import MonthlyMeans
from solarcalc.sun import equation_of_time_min
from solarcalc.weather.closure import with_beam_and_diffuse
from solarcalc.weather.records import RAIN, FileContent, Place, SunOfYear, sun_of_year

Values = NDArray[np.float64]

DAY_TO_DAY = float(constant("weather.day_to_day"))
MEANS = (0.10, 0.82)
"""Monthly mean clearness the distribution is used for; common practice, no source."""

_POSITIONS = np.linspace(0.0, 1.0, 4001)


@dataclass(frozen=True, kw_only=True, eq=False)
class Clearness:
    """How the clearness of single days spreads about its monthly mean.

    Parameters
    ----------
    high : float
        Clearness of the clearest day, 0 to 1.
    steepness : float
        gamma below; above 0 where clear days are the more frequent.
    shares : array (4001,)
        Share of the days that do not exceed each of even steps from 0 to `high`.

    Notes
    -----
    Density proportional to x (1 - x) exp(gamma x) with x = K / `high`: Saunier et al. 1987
    (form from memory), meant for tropical and temperate places alike. Of the published forms
    (Bendt et al. 1981, Hollands and Huget 1983 and this one) it lies nearest to the days of eight
    real years of hourly weather; ``tests/test_weather_monthly.py`` states the distances.
    """

    high: float
    steepness: float
    shares: Values

    def quantile(self, chances: Values) -> Values:
        """Clearness that a share `chances` (0 to 1) of the days does not exceed.

        Shape of `chances`, (n,).
        """
        return np.asarray(self.high * np.interp(chances, self.shares, _POSITIONS), dtype=float)

    def share_below(self, clearness: Values) -> Values:
        """Share of the days (0 to 1) that do not exceed `clearness`.

        Shape of what is given, (n,).
        """
        return np.asarray(np.interp(clearness / self.high, _POSITIONS, self.shares), dtype=float)


def highest_clearness(mean_frac: float) -> float:
    """Clearness of the clearest day of a month of mean `mean_frac`, 0.1 to 0.82.

    A share of the light above the air.

    Notes
    -----
    0.6313 + 0.267 K - 11.9 (K - 0.75)^8; Duffie and Beckman 2013 sec. 2.9, from memory.

    Examples
    --------
    >>> round(highest_clearness(0.5), 3)
    0.765
    """
    return float(0.6313 + 0.267 * mean_frac - 11.9 * (mean_frac - 0.75) ** 8)


def clearness_about(mean_frac: float) -> Clearness:
    """Spread of the days about a monthly mean clearness; means beyond `MEANS` are drawn to it."""
    mean = min(max(mean_frac, MEANS[0]), MEANS[1])
    high = highest_clearness(mean)
    root = brentq(
        lambda gamma: float((_weights(gamma) * _POSITIONS).sum()) - mean / high, -300.0, 300.0
    )
    return Clearness(high=high, steepness=float(root), shares=np.cumsum(_weights(float(root))))


def _weights(steepness: float) -> Values:
    """Share of the days at each of the positions."""
    power = steepness * _POSITIONS
    density = _POSITIONS * (1.0 - _POSITIONS) * np.exp(power - power.max())
    return np.asarray(density / density.sum(), dtype=float)


def uniform_draws(seed: int, purpose: int, count: int) -> Values:
    """Numbers above 0 and below 1, the same on every machine for a seed and a purpose.

    Shape (count,).

    Taken from the raw stream of PCG64, which NumPy promises not to change (NEP 19), while it
    may change what its distributions make of it.
    """
    stream = np.random.PCG64(np.random.SeedSequence([seed, purpose]))
    raw = np.asarray(stream.random_raw(count), dtype=np.uint64)
    return np.asarray(((raw >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53, dtype=float)


def days_of_month(mean_frac: float, mapped: Values) -> Values:
    """Clearness of each day of a month.

    Parameters
    ----------
    mean_frac : float
        Mean clearness of the month, 0 to 1.
    mapped : array (days,)
        A stretch of `mapped_series`.

    Returns
    -------
    array (days,)
        The days take the middles of equal shares of the distribution, in the order of the
        series: a month of a typical year has the typical spread, whatever the seed.
    """
    rank = np.argsort(np.argsort(mapped, kind="stable"), kind="stable")
    return clearness_about(mean_frac).quantile((rank + 0.5) / len(mapped))


def mapped_series(chances: Values) -> Values:
    """Normal numbers, each correlated with the one before by `DAY_TO_DAY` (Graham et al. 1988)."""
    fresh = np.asarray(np.sqrt(1.0 - DAY_TO_DAY**2) * ndtri(chances), dtype=float)
    series = np.empty_like(fresh)
    last = float(ndtri(chances[0]))
    for day, new in enumerate(fresh):
        last = last if day == 0 else DAY_TO_DAY * last + float(new)
        series[day] = last
    return series


def scaled_to_sum(parts: Values, most: Values, value: float) -> Values:
    """Parts in proportion that sum to `value`, none above `most` as long as that is possible.

    Shape of `parts`, (n,).
    """
    if value <= 0.0 or parts.sum() <= 0.0:
        return np.zeros_like(parts)
    scaled, filled = np.minimum(parts, most), float(most.sum())
    for _ in range(100):
        gap = value - float(scaled.sum())
        if abs(gap) <= 1e-12 * value:
            break
        if gap < 0.0:
            scaled = scaled * (value / float(scaled.sum()))
            continue
        free = np.where(scaled < most, scaled, 0.0)
        if value >= filled or free.sum() <= 0.0:
            return np.asarray(most * (value / filled), dtype=float)
        scaled = np.minimum(scaled + free / free.sum() * gap, most)
    return np.asarray(scaled, dtype=float)


RAIN_DAY_MM = float(constant("weather.rain_day_mm"))
SHOWER_HOURS = int(constant("weather.shower_hours"))

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

    Shape of the angles, (n,).

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


WIND_M_S = constant("weather.wind_m_s")
MAX_SUM_GAP_FRAC = float(constant("weather.max_sum_gap_frac"))
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


@lru_cache(maxsize=8)
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
        8760 hours, the same for the same figures and seed on every machine (to rounding); kept.
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
        station=Place(name="monthly means of the site", latitude_deg=site.latitude_deg,
                      longitude_deg=site.longitude_deg, elevation_m=site.elevation_m),
        offset_h=offset_h,
        label_convention="each hour was made for the time from its label on",
        checks=tuple(_checks(means, hours, grid)),
    )


def _grid(site: Place, offset_h: float) -> _Grid:
    index = year_hours(offset_h)
    month = np.asarray(index.month, dtype=np.intp) - 1
    return _Grid(sun=sun_of_year(index, site), month=month,
                 day=np.asarray(index.day_of_year, dtype=np.intp) - 1, month_of_day=month[::24])


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


def _checks(means: MonthlyMeans, hours: pd.DataFrame, grid: _Grid) -> list[Check]:
    found = [
        Check(**worded("weather", "weather-year-checks", seed=means.seed), outcome="review"),
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


def _left_out(item: str, found: str, clause: str, key: str) -> Check:
    return Check(
        rule="weather/monthly-figures", kind="data", item=item, found=found,
        limit="twelve monthly figures", outcome="review",
        clause=clause, remedy=f"give weather.monthly.{key} if it is known",
    )


def _sums(means: MonthlyMeans, hours: pd.DataFrame, grid: _Grid) -> Check:
    made = np.bincount(grid.month, weights=hours["ghi"].to_numpy(float)) / 1000.0
    given = np.array(means.ghi_kwh_m2_day) * np.bincount(grid.month_of_day)
    # A month with less than 1 kWh/m2 is held to a hundredth of that: no source.
    worst = float(np.max(np.abs(made - given) / np.maximum(given, 1.0)))
    return checked(worst <= MAX_SUM_GAP_FRAC,
    rule="weather/monthly-sums", kind="data",
    item="Monthly sums of global radiation",
                  found=f"{100.0 * worst:.2f} off in the worst month",
                  limit=f"{100.0 * MAX_SUM_GAP_FRAC:g}", unit="%", clause=NO_SOURCE,
                  remedy="check the figures of months with hardly any sun")
