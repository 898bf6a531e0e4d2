"""Whether the rain of a file can be trusted, and its depth by the hour."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Verdict

Rain = tuple["pd.Series[Any] | None", Verdict]

MIN_HOURS_GIVEN_FRAC = 0.99  # common practice, no source: as for the other columns
MAX_HOUR_MM = 305.0
"""Most rain in an hour ever recorded (Holt, Missouri, 1947): World Meteorological Organization,
Archive of weather and climate extremes; from memory."""

_MISSING_EPW = 999.0  # EnergyPlus auxiliary programs, field "liquid precipitation depth"
_HUNDREDTH_INCH_IN_TENTH_MM = 2.54  # 0.01 in = 0.254 mm exactly, the inch of 1959
_MIN_WET_HOURS = 20  # common practice, no source: fewer do not show the pattern
_MIN_ON_GRID_FRAC = 0.75  # by chance 10/25.4 = 0.39 of all whole numbers lie on the grid
_REMEDY = "soiling then goes by soiling.dry_months and soiling.days_between_rains"


def rain_of_tmy3(depth: pd.Series[Any], period_h: pd.Series[Any]) -> Rain:
    """Hourly rain [mm] of a TMY3 file, or None, and what was found.

    The depths of hourly gauges in this kind of file lie on the grid 3, 5, 8, 10, 13 ... which
    is 0.01 inch counted in tenths of a millimetre, although the column says millimetres. Where
    the pattern shows, the depths are divided by ten, and the verdict says so.
    """
    depths = depth.astype(float).where(depth >= 0)
    refusal = _refusal(depths, period_h)
    if refusal:
        return None, _refused(refusal)
    if in_tenths_of_mm(depths.to_numpy()):
        depths = depths / 10.0
        return depths.fillna(0.0), Verdict(
            item="Rain of the weather file",
            found=f"{depths.sum():.0f} mm a year, its figures read as tenths of a millimetre",
            limit="millimetres",
            unit="",
            outcome="caution",
            clause="the depths fall on steps of 0.01 inch only in that unit; " + NO_SOURCE,
            remedy="compare the yearly rain with what is known of the place",
        )
    return _accepted(depths)


def rain_of_epw(depth: pd.Series[Any], period_h: pd.Series[Any]) -> Rain:
    """Hourly rain [mm] of an EPW file, or None, and what was found."""
    depths = depth.astype(float)
    depths = depths.where((depths >= 0) & (depths < _MISSING_EPW))
    refusal = _refusal(depths, period_h)
    return (None, _refused(refusal)) if refusal else _accepted(depths)


def rain_of_table(depth: pd.Series[Any] | None) -> Rain:
    """Hourly rain [mm] of a CSV table, or None, and what was found."""
    if depth is None:
        return None, no_rain()
    refusal = _refusal(depth, None)
    return (None, _refused(refusal)) if refusal else _accepted(depth)


def in_tenths_of_mm(depths: NDArray[np.floating[Any]]) -> bool:
    """Whether whole-number depths are hundredths of an inch written in tenths of a millimetre."""
    wet = depths[depths > 0]
    if len(wet) < _MIN_WET_HOURS or (wet != np.round(wet)).any():
        return False
    steps = np.round(wet / _HUNDREDTH_INCH_IN_TENTH_MM)
    on_grid = np.abs(steps * _HUNDREDTH_INCH_IN_TENTH_MM - wet) <= 0.5 + 1e-9
    return float(on_grid.mean()) >= _MIN_ON_GRID_FRAC


def no_rain() -> Verdict:
    """Verdict for a file without rain."""
    return _refused("is not in the file")


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
            return "is summed over " + ", ".join(f"{span:g}" for span in spans) + " h spans"
    most = float(depths.max()) / (10.0 if in_tenths_of_mm(depths.to_numpy()) else 1.0)
    if most > MAX_HOUR_MM:
        return f"reaches {most:.0f} mm in an hour, above the world's record {MAX_HOUR_MM:.0f} mm"
    return ""


def _accepted(depths: pd.Series[Any]) -> Rain:
    missing = int(depths.isna().sum())
    return depths.fillna(0.0), Verdict(
        item="Rain of the weather file",
        found=f"{depths.sum():.0f} mm a year"
        + (f", {missing} missing hours taken as dry" if missing else ""),
        limit=f"given for {100 * MIN_HOURS_GIVEN_FRAC:.0f} % of the hours, {MAX_HOUR_MM:.0f} mm/h",
        unit="",
        outcome="caution" if missing else "passed",
        clause=NO_SOURCE,
        remedy="compare it with what is known of the place" if missing else "",
    )


def _refused(found: str) -> Verdict:
    return Verdict(
        item="Rain of the weather file",
        found=f"not used: it {found}",
        limit="hourly depths all year",
        unit="",
        outcome="caution",
        clause=NO_SOURCE,
        remedy=_REMEDY,
    )
