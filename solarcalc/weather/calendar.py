"""Whether a file's clock fits the sun; one typical year of 8760 hours out of its stamps."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pvlib import clearsky

from solarcalc.basis.check import Check, checked
from solarcalc.basis.hours import HOURS_IN_YEAR, TYPICAL_YEAR, fixed_zone
from solarcalc.basis.quantity import signed
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.worded import worded
from solarcalc.weather.closure import clock_remedy, shift_words
from solarcalc.weather.records import RADIATION, FileContent, Mask, Source, SunOfYear, list_hours

_HOUR = pd.Timedelta(hours=1)
_LEAP_YEAR_HOURS = HOURS_IN_YEAR + 24


def lay_on_year(content: FileContent, source: Source) -> tuple[pd.DataFrame, list[Check]]:
    """The hours of a file on the calendar of the typical year, in the file's own clock.

    Months may come from different years. Hours that are absent become rows of NaN; a later
    step fills or refuses them.

    Returns
    -------
    pandas.DataFrame
        8760 rows.
    list of Check
        What was put in order, dropped or found as it should be.

    Raises
    ------
    InputError
        When the step is not one hour, when there is more than a year, or when two rows of the
        same hour contradict each other.
    """
    hours = content.hours
    if hours.empty:
        raise source.error(
            found="has no rows", allowed=f"{HOURS_IN_YEAR} hourly rows", why="", remedy=""
        )
    stamps = pd.DatetimeIndex(hours.index).tz_convert(fixed_zone(content.offset_h))
    _check_step(stamps, source)
    _check_one_year(stamps, source)
    checks: list[Check] = []
    leap = (stamps.month == 2) & (stamps.day == 29)
    if leap.any():
        hours, stamps = hours[~leap], stamps[~leap]
        checks.append(
            _said("29 February", f"{int(leap.sum())} hours dropped", "none in a typical year")
        )
    years = stamps.year.nunique()
    hours = hours.set_axis(_on_typical_year(stamps, content.offset_h), axis=0)
    hours, ordered = _in_order(hours)
    hours, single = _without_repeats(hours, source)
    checks += [*ordered, *single]
    grid = _grid(pd.DatetimeIndex(hours.index), content.offset_h)
    checks.append(
        checked(len(hours) == HOURS_IN_YEAR, limit=str(HOURS_IN_YEAR), **worded(
            "weather", "hours-weather-file", hours_count=len(hours),
            years_said=f", of {years} different years" if years > 2 else "",
        ))
    )
    return hours.reindex(grid), checks


def _said(item: str, found: str, limit: str) -> Check:
    return Check(rule="weather/calendar", kind="data", item=item, found=found, limit=limit,
                 outcome="review",
                   clause=NO_SOURCE, remedy="nothing, if that is as expected")


def _check_step(stamps: pd.DatetimeIndex, source: Source) -> None:
    ordered = stamps.unique().sort_values()
    steps = pd.Series(ordered[1:] - ordered[:-1])
    step = steps.mode().iloc[0] if len(steps) else _HOUR
    odd = steps[(steps / _HOUR) % 1.0 != 0.0]
    if step == _HOUR and odd.empty:
        return
    found = step if step != _HOUR else odd.iloc[0]
    minutes = found.total_seconds() / 60.0
    raise source.error(**worded("weather", "wrong-step", minutes=minutes))


def _check_one_year(stamps: pd.DatetimeIndex, source: Source) -> None:
    count = stamps.nunique()
    if count <= _LEAP_YEAR_HOURS:
        return
    raise source.error(**worded(
        "weather", "check-one-year", count=count, first=stamps.min(), last=stamps.max(),
        hours_in_year=HOURS_IN_YEAR, leap_year_hours=_LEAP_YEAR_HOURS,
    ))  # fmt: skip


def _on_typical_year(stamps: pd.DatetimeIndex, offset_h: float) -> pd.DatetimeIndex:
    days_before = pd.Series(
        pd.date_range(f"{TYPICAL_YEAR}-01-01", periods=12, freq="MS").day_of_year - 1,
        index=range(1, 13),
    )
    minutes = (
        (days_before.loc[stamps.month].to_numpy() + stamps.day - 1) * 1440
        + stamps.hour * 60
        + stamps.minute
    )
    first = pd.Timestamp(datetime(TYPICAL_YEAR, 1, 1, tzinfo=fixed_zone(offset_h)))
    return pd.DatetimeIndex(first + pd.to_timedelta(minutes, unit="min"), name="time")


def _in_order(hours: pd.DataFrame) -> tuple[pd.DataFrame, list[Check]]:
    steps_back = int((hours.index[1:] < hours.index[:-1]).sum())
    wraps = int(hours.index[0] > hours.index[-1])  # a year that begins in the middle of another
    ordered = hours.sort_index(kind="stable")
    if steps_back <= wraps:
        return ordered, []
    return ordered, [
        _said("Order of the hours", f"{steps_back - wraps} steps back in time, put in order",
              "rows in order of time")
    ]


def _without_repeats(hours: pd.DataFrame, source: Source) -> tuple[pd.DataFrame, list[Check]]:
    repeated = hours.index.duplicated(keep="first")
    if not repeated.any():
        return hours, []
    same_row = hours.reset_index().duplicated(keep="first").to_numpy()
    differ = pd.DatetimeIndex(hours.index[repeated & ~same_row]).unique()
    if len(differ):
        raise source.error(**worded(
            "weather", "without-repeats", differ_count=len(differ), list_hours=list_hours(differ),
        ))  # fmt: skip
    return hours[~repeated], [
        _said(
            "Repeated hours",
            f"{int(repeated.sum())} identical rows dropped: "
            + list_hours(pd.DatetimeIndex(hours.index[repeated])),
            "each hour once",
        )
    ]


def _grid(index: pd.DatetimeIndex, offset_h: float) -> pd.DatetimeIndex:
    first = datetime(TYPICAL_YEAR, 1, 1, 0, int(index[0].minute), tzinfo=fixed_zone(offset_h))
    return pd.date_range(first, periods=HOURS_IN_YEAR, freq="h", name="time")


NIGHT_GHI_W_M2 = float(constant("weather.night_ghi_w_m2"))
NIGHT_ELEVATION_DEG = float(constant("weather.night_elevation_deg"))
MAX_NIGHT_HOURS = int(constant("weather.max_night_hours"))
MAX_NIGHT_ENERGY_FRAC = float(constant("weather.max_night_energy_frac"))
CLEAR_DAYS = int(constant("weather.clear_days"))
MIN_CLEAR_DAYS = int(constant("weather.min_clear_days"))
MIN_CLEARNESS = float(constant("weather.min_clearness"))
SHIFTS_MIN = tuple(range(-75, 90, 15))
MAX_SHIFT_MIN = int(constant("weather.max_shift_min"))


def night_hours(hours: pd.DataFrame, sun: SunOfYear) -> Mask:
    """Hours with light although the sun is down from their beginning to their end.

    Shape (8760,), a value for each hour.
    """
    lit = (hours["ghi"].to_numpy(float) > NIGHT_GHI_W_M2) & (
        sun.elevation_deg < NIGHT_ELEVATION_DEG
    )
    for minutes in (0.0, 60.0):
        lit[lit] = sun.elevation_at(minutes, lit) < NIGHT_ELEVATION_DEG
    return lit


def without_night_sun(
    hours: pd.DataFrame, sun: SunOfYear, source: Source
) -> tuple[pd.DataFrame, list[Check]]:
    """The year with stray light at night set to 0.

    One row an hour, light in [W/m2].

    Raises
    ------
    InputError
        When there is so much of it that the clock must be wrong.
    """
    lit = night_hours(hours, sun)
    stamps, count = pd.DatetimeIndex(hours.index[lit]), int(lit.sum())
    share = float(hours.loc[lit, "ghi"].sum()) / max(float(hours["ghi"].sum()), 1e-9)
    if count > MAX_NIGHT_HOURS or share > MAX_NIGHT_ENERGY_FRAC:
        raise source.error(**worded(
            "weather", "without-night-sun", count=count, night_ghi_w_m2=NIGHT_GHI_W_M2,
            list_hours=list_hours(stamps), max_night_hours=MAX_NIGHT_HOURS,
            max_night_energy_percent=100 * MAX_NIGHT_ENERGY_FRAC,
        ))  # fmt: skip
    hours = hours.copy()
    hours.loc[lit, [name for name in RADIATION if name in hours]] = 0.0
    return hours, [
        checked(
            not count,
            **worded(
                "weather", "light-while-sun", max_night_hours=MAX_NIGHT_HOURS,
                night_ghi_w_m2=NIGHT_GHI_W_M2,
            ),
            found="none" if not count else f"{count} hours set to 0: {list_hours(stamps)}",
        )
    ]


def clear_day_shift_min(hours: pd.DataFrame, sun: SunOfYear) -> int | None:
    """Shift [min, later is positive] at which the clearest days fit the sun best.

    On a clear day global radiation follows the sun's height; the days are compared with the
    Haurwitz 1945 curve, each scaled to fit, at shifts of a quarter of an hour. None where
    fewer than `MIN_CLEAR_DAYS` days are clear.
    """
    order = _solar_days(sun)
    ghi = np.nan_to_num(hours["ghi"].to_numpy(float))[order]
    above_air = (sun.normal_w_m2 * sun.upward)[order].sum(axis=1)
    clearness = ghi.sum(axis=1) / np.where(above_air > 0.0, above_air, np.inf)
    days = np.argsort(clearness)[::-1][:CLEAR_DAYS]
    days = days[clearness[days] >= MIN_CLEARNESS]
    if len(days) < MIN_CLEAR_DAYS:
        return None
    measured = ghi[days]
    misfit = {}
    for shift in SHIFTS_MIN:
        elevation = sun.elevation_at(30.0 + shift, order[days].ravel())
        curve = clearsky.haurwitz(pd.Series(90.0 - elevation))["ghi"].to_numpy()
        curve = curve.reshape(measured.shape)
        scale = (curve * measured).sum(axis=1) / (curve**2).sum(axis=1)
        misfit[shift] = float(np.abs(measured - scale[:, None] * curve).sum())
    return min(misfit, key=lambda shift: (misfit[shift], abs(shift)))


def _solar_days(sun: SunOfYear) -> NDArray[np.intp]:
    """Places of the hours, one row of 24 a day from about solar midnight, whatever the clock."""
    offset = sun.index[0].utcoffset()
    clock_h = offset.total_seconds() / 3600.0 if offset is not None else 0.0
    late_h = round(clock_h - sun.place.longitude_deg / 15.0)
    return np.roll(np.arange(len(sun.index)), -late_h).reshape(-1, 24)


def check_clear_days(
    hours: pd.DataFrame, sun: SunOfYear, source: Source, *, hour_label: str | None
) -> Check:
    """Check on the clock by the shape of clear days; for files without beam and diffuse.

    Raises
    ------
    InputError
        When the clear days fit the sun only after a shift of half an hour or more.
    """
    shift = clear_day_shift_min(hours, sun)
    if shift is not None and abs(shift) > MAX_SHIFT_MIN:
        raise source.error(
            field_name="hour_label" if hour_label else "source",
            found=f"its clearest days fit the sun best when moved {shift_words(shift)}",
            allowed=f"within {MAX_SHIFT_MIN} min",
            why="on a clear day the light rises and falls with the sun",
            remedy=clock_remedy(shift, hour_label),
        )
    return checked(
        shift is not None, **worded("weather", "clock-file-its", max_shift_min=MAX_SHIFT_MIN),
        found="too few clear days to tell" if shift is None else signed(shift, 0),
        unit="" if shift is None else "min",
    )  # fmt: skip
