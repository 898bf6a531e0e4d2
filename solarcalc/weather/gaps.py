"""Missing hours and values: short gaps are filled and said, long ones stop the work."""

from __future__ import annotations

import numpy as np
import pandas as pd

from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Verdict
from solarcalc.weather.records import RADIATION, RAIN, Source, list_hours
from solarcalc.weather.sky_of_year import Mask, SunOfYear, Values

MAX_GAP_H = 3  # common practice, no source
MAX_MISSING_FRAC = 0.01  # common practice, no source
_LOW_SUN = float(np.sin(np.deg2rad(5.0)))  # clearness nearer the horizon is noise; no source


def without_gaps(
    hours: pd.DataFrame, sun: SunOfYear, source: Source
) -> tuple[pd.DataFrame, list[Verdict]]:
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
        _verdict(
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
    return source.error(
        found=f"{int(flags.sum())} hours without {', '.join(missing.columns)} in {len(gaps)} gaps,"
        " first " + ", ".join(gaps[:5]),
        allowed=f"gaps of at most {MAX_GAP_H} h, at most {100 * MAX_MISSING_FRAC:g} % of the year",
        why="short gaps can be bridged; long ones would be invention",
        remedy="take another file, or fill these hours from a station near by; a clock that kept"
        " summer time lacks an hour in spring",
    )


def _verdict(stamps: pd.DatetimeIndex, columns: list[str]) -> Verdict:
    count = len(stamps)
    return Verdict(
        item="Missing hours and values",
        found="none"
        if not count
        else f"{count} hours filled in {', '.join(columns)}: {list_hours(stamps)}"
        " (radiation by its clearness, the rest by a straight line)",
        limit=f"gaps of at most {MAX_GAP_H} h, at most {100 * MAX_MISSING_FRAC:g} % of the year",
        unit="",
        outcome="caution" if count else "passed",
        clause=NO_SOURCE,
        remedy="look at these hours in the file" if count else "",
    )
