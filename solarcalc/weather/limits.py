"""Values that cannot be and hours that are missing: mended or refused."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault
from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.worded import worded
from solarcalc.weather.records import (
    RADIATION,
    RAIN,
    UNITS,
    Mask,
    Source,
    SunOfYear,
    Values,
    list_hours,
)

BSRN = (
    "Long and Dutton 2002, BSRN global network recommended QC tests v2.0, physically possible"
    " limits (from memory); nothing below -5 W/m2"
)
RADIATION_LOW_W_M2 = float(constant("weather.radiation_low_w_m2"))
TEMP_LIMITS_C = (-90.0, 65.0)  # coldest and hottest air on record with a margin; from memory
WIND_LIMITS_M_S = (0.0, 75.0)  # hourly mean of the strongest storms; common practice, no source
MEAN_LIMITS = {"temp_air": (-60.0, 36.0), "wind_speed": (0.0, 20.0)}
"""Of a year: -57 to 34 degC and 19 m/s are on record, from memory. No hour tells mild degF."""
CLEARNESS_LIMITS = (0.2, 0.85)  # common practice, no source; measured: 0.36 to 0.67
MAX_BAD_FRAC = float(constant("weather.max_bad_frac"))


def limits_of(name: str, sun: SunOfYear) -> tuple[float, float | Values, str]:
    """Lowest and highest possible value of a column, and where they are from.

    In the unit of the column [W/m2, degC, m/s or mm].
    """
    if name == "temp_air":
        return *TEMP_LIMITS_C, "records of air temperature, from memory"
    if name == "wind_speed":
        return *WIND_LIMITS_M_S, NO_SOURCE
    beam, height = sun.normal_w_m2, sun.upward**1.2
    high = {"ghi": 1.5 * beam * height + 100.0, "dhi": 0.95 * beam * height + 50.0, "dni": beam}
    return RADIATION_LOW_W_M2, high[name], BSRN


def without_impossible(
    hours: pd.DataFrame, sun: SunOfYear, source: Source
) -> tuple[pd.DataFrame, list[Check], list[Fault]]:
    """The year with impossible values taken out (to be filled) and small negatives set to 0.

    A column with more than `MAX_BAD_FRAC` of impossible values makes a fault, which names
    column, first hour, value and limit; it is for the caller to raise, as a wrong clock may be
    behind it.
    """
    hours = hours.copy()
    checks: list[Check] = []
    faults: list[Fault] = []
    for name in (column for column in hours.columns if column != "precipitation"):
        low, high, clause = limits_of(name, sun)
        values = hours[name].to_numpy(dtype=float)
        bad = (values < low) | (values > high)
        count = int(bad.sum())
        hours[name] = np.where(bad, np.nan, values)
        if count > MAX_BAD_FRAC * HOURS_IN_YEAR:
            faults.append(_fault(name, hours.index[bad], values[bad], low, high, bad, source))
            continue
        checks.append(_limit_check(name, hours.index[bad], count, low, clause))
        mean, (least, most) = float(hours[name].mean()), MEAN_LIMITS.get(name, (-np.inf, np.inf))
        if not (least <= mean <= most or np.isnan(mean)):  # all missing: told by the gaps
            faults.append(source.fault(**worded("weather", "mean-fault", name=name, mean=mean,
                                                unit=UNITS[name], low=least, high=most)))
        negative = (values < 0.0) & ~bad
        if name in RADIATION and negative.any():
            hours.loc[negative, name] = 0.0
            lowest = float(values[negative].min())
            checks.append(_set_to_nought(name, int(negative.sum()), lowest))
    share = yearly_clearness(hours, sun)
    low, high = CLEARNESS_LIMITS
    if not low <= share <= high:
        faults.append(_clearness_fault(share, source))
    return hours, checks, faults


def yearly_clearness(hours: pd.DataFrame, sun: SunOfYear) -> float:
    """Global radiation of the year over what comes above the air, on the horizontal.

    A share; `hours` as `WeatherYear` has them, one row an hour.
    """
    known = hours["ghi"].notna().to_numpy()
    above_air = float((sun.normal_w_m2 * sun.upward)[known].sum())
    return float(hours["ghi"].sum()) / above_air if above_air > 0.0 else 0.0


def _fault(
    name: str, stamps: Any, values: Values, low: float, high: float | Values, bad: Any,
    source: Source,
) -> Fault:  # fmt: skip
    unit = UNITS[name]
    top = float(high if isinstance(high, float) else high[bad][0])
    return source.fault(**worded(
        "weather", "fault", name=name, values_count=len(values), stamps_0=stamps[0],
        values_0=values[0], unit=unit, low=low, top=top, max_bad_percent=100 * MAX_BAD_FRAC,
    ))  # fmt: skip


def _limit_check(name: str, stamps: Any, count: int, low: float, clause: str) -> Check:
    return checked(
        not count,
        **worded("weather", "possible-values", name=name, max_bad_percent=100 * MAX_BAD_FRAC),
        found="all" if not count
        else f"{count} taken out and filled: " + list_hours(pd.DatetimeIndex(stamps)),
        clause=clause,
    )  # fmt: skip


def _set_to_nought(name: str, count: int, lowest: float) -> Check:
    return Check(outcome="review", **worded(
        "weather", "small-negative-values", name=name, count=count, lowest=lowest,
        radiation_low_w_m2=RADIATION_LOW_W_M2,
    ))  # fmt: skip


def _clearness_fault(share: float, source: Source) -> Fault:
    low, high = CLEARNESS_LIMITS
    return source.fault(**worded("weather", "clearness-fault", share=share, low=low, high=high))


MAX_GAP_H = int(constant("weather.max_gap_h"))
MAX_MISSING_FRAC = float(constant("weather.max_missing_frac"))
_LOW_SUN = float(np.sin(np.deg2rad(5.0)))  # clearness nearer the horizon is noise; no source


def without_gaps(
    hours: pd.DataFrame, sun: SunOfYear, source: Source
) -> tuple[pd.DataFrame, list[Check]]:
    """The year with its short gaps filled.

    Radiation is filled by a straight line through its clearness (its share of what comes above
    the air), temperature and wind by a straight line, rain by none. December joins January.

    Raises
    ------
    InputError
        When a gap is longer than `MAX_GAP_H` or more than `MAX_MISSING_FRAC` of a column is
        missing; lists the first gaps.
    """
    columns = [name for name in hours.columns if name != RAIN]
    missing = hours[columns].isna()
    any_missing = missing.any(axis=1).to_numpy()
    bad = [
        name
        for name in columns
        if missing[name].sum() > MAX_MISSING_FRAC * HOURS_IN_YEAR
        or longest_run(missing[name].to_numpy()) > MAX_GAP_H
    ]
    if bad:
        raise _error(missing[bad], source)
    filled = hours.copy()
    for name in columns:
        gap = missing[name].to_numpy()
        if gap.any():
            filled[name] = _filled(hours[name].to_numpy(float), gap, name, sun)
    if RAIN in filled:
        filled[RAIN] = filled[RAIN].fillna(0.0)
    return filled, [
        _gap_check(
            pd.DatetimeIndex(hours.index[any_missing]), [n for n in columns if missing[n].any()]
        )
    ]


def longest_run(flags: Mask) -> int:
    """Length of the longest run of True, the end joined to the beginning."""
    if flags.all():
        return len(flags)
    first_false = int(np.argmin(flags))
    turned = np.concatenate([np.roll(flags, -first_false), [False]])
    ends = np.flatnonzero(~turned)
    return int(np.diff(ends).max(initial=1)) - 1


def _filled(values: Values, gap: Mask, name: str, sun: SunOfYear) -> Values:
    if name not in RADIATION:
        return _straight(values, gap, ~gap)
    above_air = sun.normal_w_m2 * (1.0 if name == "dni" else sun.upward)
    known = ~gap & (sun.upward > _LOW_SUN)
    clearness = np.divide(values, above_air, out=np.zeros_like(values), where=known)
    return np.where(gap, _straight(clearness, gap, known) * above_air * (sun.upward > 0.0), values)


def _straight(values: Values, gap: Mask, known: Mask) -> Values:
    place = np.arange(len(values), dtype=float)
    between = np.interp(place[gap], place[known], values[known], period=float(len(values)))
    filled = values.copy()
    filled[gap] = between
    return filled


def _gaps(flags: Mask, index: pd.DatetimeIndex) -> list[str]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(int), [0]])))
    return [
        f"{index[start]:%m-%d %H:%M} ({stop - start} h)"
        for start, stop in zip(edges[::2], edges[1::2], strict=True)
    ]


def _error(missing: pd.DataFrame, source: Source) -> Exception:
    flags = missing.any(axis=1).to_numpy()
    gaps = _gaps(flags, pd.DatetimeIndex(missing.index))
    return source.error(**worded(
        "weather", "gaps-too-long", hours=int(flags.sum()), columns=", ".join(missing.columns),
        gaps_count=len(gaps), gaps=", ".join(gaps[:5]), max_gap_h=MAX_GAP_H,
        max_missing_percent=100 * MAX_MISSING_FRAC,
    ))  # fmt: skip


def _gap_check(stamps: pd.DatetimeIndex, columns: list[str]) -> Check:
    count = len(stamps)
    return checked(
        not count,
        **worded(
            "weather", "missing-hours-values", max_gap_h=MAX_GAP_H,
            max_missing_percent=100 * MAX_MISSING_FRAC,
        ),
        found="none" if not count
        else f"{count} hours filled in {', '.join(columns)}: {list_hours(stamps)}"
        " (radiation by its clearness, the rest by a straight line)",
    )  # fmt: skip
