"""Values that cannot be: a few are taken out and said, many stop the work."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault
from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Verdict
from solarcalc.weather.records import RADIATION, UNITS, Source, list_hours
from solarcalc.weather.sky_of_year import SunOfYear, Values

BSRN = (
    "Long and Dutton 2002, BSRN global network recommended QC tests v2.0, physically possible"
    " limits (from memory); nothing below -5 W/m2"
)
RADIATION_LOW_W_M2 = -5.0  # Long and Dutton 2002 have -4 W/m2; rounded as files are
TEMP_LIMITS_C = (-90.0, 65.0)  # coldest and hottest air on record with a margin; from memory
WIND_LIMITS_M_S = (0.0, 75.0)  # hourly mean of the strongest storms; common practice, no source
CLEARNESS_LIMITS = (0.2, 0.85)  # common practice, no source; measured: 0.36 to 0.67
MAX_BAD_FRAC = 0.001  # common practice, no source


def limits_of(name: str, sun: SunOfYear) -> tuple[float, float | Values, str]:
    """Lowest and highest possible value of a column, and where they are from."""
    if name == "temp_air":
        return *TEMP_LIMITS_C, "records of air temperature, from memory"
    if name == "wind_speed":
        return *WIND_LIMITS_M_S, NO_SOURCE
    beam, height = sun.normal_w_m2, sun.upward**1.2
    high = {"ghi": 1.5 * beam * height + 100.0, "dhi": 0.95 * beam * height + 50.0, "dni": beam}
    return RADIATION_LOW_W_M2, high[name], BSRN


def without_impossible(
    hours: pd.DataFrame, sun: SunOfYear, source: Source
) -> tuple[pd.DataFrame, list[Verdict], list[Fault]]:
    """The year with impossible values taken out (to be filled) and small negatives set to 0.

    A column with more than `MAX_BAD_FRAC` of impossible values makes a fault, which names
    column, first hour, value and limit; it is for the caller to raise, as a wrong clock may be
    behind it.
    """
    hours = hours.copy()
    verdicts: list[Verdict] = []
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
        verdicts.append(_verdict(name, hours.index[bad], count, low, clause))
        negative = (values < 0.0) & ~bad
        if name in RADIATION and negative.any():
            hours.loc[negative, name] = 0.0
            lowest = float(values[negative].min())
            verdicts.append(_set_to_nought(name, int(negative.sum()), lowest))
    share = yearly_clearness(hours, sun)
    low, high = CLEARNESS_LIMITS
    if not low <= share <= high:
        faults.append(_clearness_fault(share, source))
    verdicts.append(_clearness_verdict(share))
    return hours, verdicts, faults


def yearly_clearness(hours: pd.DataFrame, sun: SunOfYear) -> float:
    """Global radiation of the year over what comes above the air, on the horizontal."""
    known = hours["ghi"].notna().to_numpy()
    above_air = float((sun.normal_w_m2 * sun.upward)[known].sum())
    return float(hours["ghi"].sum()) / above_air if above_air > 0.0 else 0.0


def _fault(
    name: str,
    stamps: Any,
    values: Values,
    low: float,
    high: float | Values,
    bad: Any,
    source: Source,
) -> Fault:
    unit = UNITS[name]
    top = float(high if isinstance(high, float) else high[bad][0])
    return source.fault(
        found=f"column {name}: {len(values)} impossible values, first {stamps[0]:%m-%d %H:%M}"
        f" with {values[0]:g} {unit}",
        allowed=f"{low:g} to {top:.0f} {unit} in that hour; at most"
        f" {100 * MAX_BAD_FRAC:g} % of the hours may fail and are then filled",
        why="figures that cannot be point to a wrong unit, column or clock",
        remedy="look at the column's unit and at the map of columns",
    )


def _verdict(name: str, stamps: Any, count: int, low: float, clause: str) -> Verdict:
    return Verdict(
        item=f"Possible values of {name}",
        found="all"
        if not count
        else f"{count} taken out and filled: " + list_hours(pd.DatetimeIndex(stamps)),
        limit=f"at most {100 * MAX_BAD_FRAC:g} % of the hours outside",
        unit="",
        outcome="caution" if count else "passed",
        clause=clause,
        remedy="look at these hours in the file" if count else "",
    )


def _set_to_nought(name: str, count: int, lowest: float) -> Verdict:
    return Verdict(
        item=f"Small negative values of {name}",
        found=f"{count} hours down to {lowest:.1f} set to 0",
        limit=f"{RADIATION_LOW_W_M2:g} or more",
        unit="W/m2",
        outcome="caution",
        clause="a radiometer that cools to the night sky reads a little below nought; from memory",
        remedy="none needed",
    )


def _clearness_fault(share: float, source: Source) -> Fault:
    low, high = CLEARNESS_LIMITS
    return source.fault(
        found=f"the year's global radiation is {share:.3g} of what comes above the air",
        allowed=f"{low:g} to {high:g}",
        why="no place on Earth is so dull or so clear: the unit is another, or values are cut off",
        remedy="give W/m2 (kW/m2 times 1000; MJ/m2 in an hour times 277.8)",
    )


def _clearness_verdict(share: float) -> Verdict:
    low, high = CLEARNESS_LIMITS
    return Verdict(
        item="Year's global radiation over that above the air",
        found=f"{share:.2f}",
        limit=f"{low:g} to {high:g}",
        unit="",
        outcome="passed",
        clause=NO_SOURCE,
    )
