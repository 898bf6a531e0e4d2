"""Rain of a weather file: its unit, as it is stated or as its figures show; what is not used."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from solarcalc.basis.check import Check, checked
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded

Rain = tuple["pd.Series[Any] | None", Check]

MIN_HOURS_GIVEN_FRAC = float(constant("weather.min_hours_given_frac"))
MAX_HOUR_MM = float(constant("weather.max_hour_mm"))
MEAN_WET_HOUR_MM = float(constant("weather.mean_wet_hour_mm"))
LOW_WET_HOUR_MM = float(constant("weather.low_wet_hour_mm"))
HEAVIEST_HOUR_MM = float(constant("weather.heaviest_hour_mm"))
MOST_RAIN_MM = float(constant("weather.most_rain_mm"))

_MISSING_EPW = float(constant("weather.missing_epw"))
_HUNDREDTH_INCH_IN_TENTH_MM = 2.54  # 0.01 in = 0.254 mm exactly, the inch of 1959
_MIN_WET_HOURS = int(constant("weather.min_wet_hours"))
_MIN_ON_GRID_FRAC = float(constant("weather.min_on_grid_frac"))
MM_OF = {"mm": 1.0, "tenths-of-mm": 0.1, "cm": 10.0, "inches": 25.4}
"""Millimetres of one of each unit that `weather.rain_unit` takes."""
_IN_NAMES = (("tenths-of-mm", r"0\.1 ?mm|mm ?/ ?10|tenth"), ("mm", r"(?<![a-z])mm(?![a-z])"),
             ("cm", r"(?<![a-z])cm(?![a-z])"), ("inches", r"(?<![a-z])in(ch(es)?)?(?![a-z])"))


def unit_in_name(name: str) -> str:
    """The unit that a column's own name states, or ``"auto"``.

    Examples
    --------
    >>> unit_in_name("Rain [0.1 mm]"), unit_in_name("rain_mm"), unit_in_name("precipitation")
    ('tenths-of-mm', 'mm', 'auto')
    """
    plain = name.lower().replace("_", " ")
    return next((unit for unit, sign in _IN_NAMES if re.search(sign, plain)), "auto")


def rain_of_tmy3(depth: pd.Series[Any], period_h: pd.Series[Any], unit: str = "auto") -> Rain:
    """Hourly rain [mm] of a TMY3 file, or None, and what was found.

    The depths of hourly gauges in this kind of file lie on the grid 3, 5, 8, 10, 13 ... which
    is 0.01 inch counted in tenths of a millimetre, although the column says millimetres. Where
    the pattern shows, the depths are divided by ten, and the check says so.
    """
    return _rain(depth.astype(float).where(depth >= 0), period_h, unit)


def rain_of_epw(depth: pd.Series[Any], period_h: pd.Series[Any], unit: str = "auto") -> Rain:
    """Hourly rain [mm] of an EPW file, or None, and what was found."""
    depths = depth.astype(float)
    return _rain(depths.where((depths >= 0) & (depths < _MISSING_EPW)), period_h, unit)


def rain_of_table(depth: pd.Series[Any] | None, unit: str = "auto") -> Rain:
    """Hourly rain [mm] of a CSV table, or None, and what was found."""
    return (None, no_rain()) if depth is None else _rain(depth, None, unit)


def no_rain() -> Check:
    """Check for a file without rain."""
    return _refused("is not in the file")


def _rain(depths: pd.Series[Any], period_h: pd.Series[Any] | None, unit: str) -> Rain:
    refusal = _refusal(depths, period_h)
    if refusal:
        return None, _refused(refusal)
    stated = unit != "auto"
    inch_steps = not stated and in_tenths_of_mm(depths.to_numpy())
    taken, doubt = (unit, "") if stated else _unit_of(depths.to_numpy())
    rain = depths * MM_OF["tenths-of-mm" if inch_steps else taken]
    if rain.max() > MAX_HOUR_MM:
        return None, _refused(f"reaches {rain.max():.0f} mm in an hour, above the world's record"
                              f" {MAX_HOUR_MM:.0f} mm")
    if inch_steps:
        return rain.fillna(0.0), Check(
            **worded("weather", "rain-weather-file-rain-of-tmy3", sum=rain.sum()),
            outcome="review",
        )  # fmt: skip
    doubt = _doubt(rain.to_numpy()) if stated else doubt
    if not doubt:
        return _accepted(rain)
    sums = {name: float(depths.sum()) * each for name, each in MM_OF.items()}
    return rain.fillna(0.0), Check(evidence="assumed", outcome="review", **worded(
        "weather", "rain-unit", doubt=doubt, taken=taken,
        stated="as it is stated" if stated else "as nothing states it",
        mm=sums["mm"], tenths=sums["tenths-of-mm"], inches=sums["inches"],
    ))  # fmt: skip


def _unit_of(depths: NDArray[np.floating[Any]]) -> tuple[str, str]:
    """The unit that figures of an unstated one are taken in, and what leaves it in doubt.

    Millimetres, unless they are too much and their tenths are not.
    """
    doubt = _doubt(depths)
    if doubt.startswith("too much") and not _doubt(depths / 10.0):
        return "tenths-of-mm", doubt
    return "mm", doubt or _may_be_tenths(depths)


def _doubt(rain_mm: NDArray[np.floating[Any]]) -> str:
    """What makes hourly rain [mm] unlikely on Earth; empty for nothing."""
    wet = rain_mm[rain_mm > 0]
    if len(wet) < _MIN_WET_HOURS:
        return ""
    if wet.mean() > MEAN_WET_HOUR_MM or wet.sum() > MOST_RAIN_MM:
        return (f"too much: {wet.mean():.1f} mm in a wet hour, elsewhere at most"
                f" {MEAN_WET_HOUR_MM:g}")
    if wet.max() < HEAVIEST_HOUR_MM:
        return f"hardly any: the heaviest hour of the year has {wet.max():.2g} mm"
    return ""


def _may_be_tenths(depths: NDArray[np.floating[Any]]) -> str:
    """What leaves the unit open: whole numbers that would be likely as tenths too."""
    wet = depths[depths > 0]
    whole = len(wet) >= _MIN_WET_HOURS and bool((wet == np.round(wet)).all())
    if whole and wet.mean() / 10.0 > LOW_WET_HOUR_MM:
        return f"open: whole numbers, {wet.mean():.1f} in a wet hour, may be tenths as well"
    return ""


def in_tenths_of_mm(depths: NDArray[np.floating[Any]]) -> bool:
    """Whether whole-number depths are hundredths of an inch written in tenths of a millimetre.

    `depths`: (n,), a value for each hour, as the file has them.
    """
    wet = depths[depths > 0]
    if len(wet) < _MIN_WET_HOURS or (wet != np.round(wet)).any():
        return False
    steps = np.round(wet / _HUNDREDTH_INCH_IN_TENTH_MM)
    on_grid = np.abs(steps * _HUNDREDTH_INCH_IN_TENTH_MM - wet) <= 0.5 + 1e-9
    return float(on_grid.mean()) >= _MIN_ON_GRID_FRAC


def _refusal(depths: pd.Series[Any], period_h: pd.Series[Any] | None) -> str:
    given = float(depths.notna().mean())
    if given < MIN_HOURS_GIVEN_FRAC:
        return f"is given for {100 * given:.0f} % of the hours only"
    if (depths < 0).any():
        return "has negative depths"
    if not (depths > 0).any():
        return "is nought in every hour, as where it was not recorded"
    if period_h is not None:
        spans = sorted({float(span) for span in period_h[depths > 0]})
        if spans != [1.0]:
            return "is summed over " + " and ".join(f"{span:g} h" for span in spans)
    return ""


def _accepted(depths: pd.Series[Any]) -> Rain:
    missing = int(depths.isna().sum())
    return depths.fillna(0.0), checked(not missing, **worded(
        "weather", "rain-weather-file-accepted", sum=depths.sum(),
        missing_said=f", {missing} missing hours taken as dry" if missing else "",
        min_hours_given_percent=100 * MIN_HOURS_GIVEN_FRAC, max_hour_mm=MAX_HOUR_MM,
    ))  # fmt: skip


def _refused(found: str) -> Check:
    return Check(**worded("weather", "rain-weather-file", found=found), outcome="review")
