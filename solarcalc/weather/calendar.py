"""One typical year of 8760 hours out of whatever stamps a file has."""

from __future__ import annotations

from datetime import datetime

import pandas as pd

from solarcalc.basis.hours import HOURS_IN_YEAR, TYPICAL_YEAR, fixed_zone
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Verdict
from solarcalc.weather.records import FileContent, Source, list_hours

_HOUR = pd.Timedelta(hours=1)
_LEAP_YEAR_HOURS = HOURS_IN_YEAR + 24


def lay_on_year(content: FileContent, source: Source) -> tuple[pd.DataFrame, list[Verdict]]:
    """The hours of a file on the calendar of the typical year, in the file's own clock.

    Months may come from different years. Hours that are absent become rows of NaN; a later
    step fills or refuses them.

    Returns
    -------
    pandas.DataFrame
        8760 rows.
    list of Verdict
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
    verdicts: list[Verdict] = []
    leap = (stamps.month == 2) & (stamps.day == 29)
    if leap.any():
        hours, stamps = hours[~leap], stamps[~leap]
        verdicts.append(
            _said("29 February", f"{int(leap.sum())} hours dropped", "none in a typical year")
        )
    years = stamps.year.nunique()
    hours = hours.set_axis(_on_typical_year(stamps, content.offset_h), axis=0)
    hours, ordered = _in_order(hours)
    hours, single = _without_repeats(hours, source)
    verdicts += [*ordered, *single]
    grid = _grid(pd.DatetimeIndex(hours.index), content.offset_h)
    verdicts.append(
        Verdict(
            item="Hours of the weather file",
            found=f"{len(hours)}" + (f", of {years} different years" if years > 2 else ""),
            limit=str(HOURS_IN_YEAR),
            unit="",
            outcome="passed" if len(hours) == HOURS_IN_YEAR else "caution",
            clause="a typical year has 365 days; " + NO_SOURCE,
            remedy="" if len(hours) == HOURS_IN_YEAR else "see the missing hours",
        )
    )
    return hours.reindex(grid), verdicts


def _said(item: str, found: str, limit: str) -> Verdict:
    return Verdict(
        item=item,
        found=found,
        limit=limit,
        unit="",
        outcome="caution",
        clause=NO_SOURCE,
        remedy="nothing, if that is as expected",
    )


def _check_step(stamps: pd.DatetimeIndex, source: Source) -> None:
    ordered = stamps.unique().sort_values()
    steps = pd.Series(ordered[1:] - ordered[:-1])
    step = steps.mode().iloc[0] if len(steps) else _HOUR
    odd = steps[(steps / _HOUR) % 1.0 != 0.0]
    if step == _HOUR and odd.empty:
        return
    found = step if step != _HOUR else odd.iloc[0]
    minutes = found.total_seconds() / 60.0
    raise source.error(
        found=f"its rows are {minutes:g} minutes apart",
        allowed="60 minutes",
        why="all sums of the year go by the hour",
        remedy="average the rows to hours first, each hour named by its start",
    )


def _check_one_year(stamps: pd.DatetimeIndex, source: Source) -> None:
    count = stamps.nunique()
    if count <= _LEAP_YEAR_HOURS:
        return
    raise source.error(
        found=f"{count} hours, {stamps.min():%Y-%m-%d} to {stamps.max():%Y-%m-%d}",
        allowed=f"one year, {HOURS_IN_YEAR} hours ({_LEAP_YEAR_HOURS} with 29 February)",
        why="only one year is laid on the calendar; two would contradict each other",
        remedy="cut out one year, or make a typical year of it",
    )


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


def _in_order(hours: pd.DataFrame) -> tuple[pd.DataFrame, list[Verdict]]:
    steps_back = int((hours.index[1:] < hours.index[:-1]).sum())
    wraps = int(hours.index[0] > hours.index[-1])  # a year that begins in the middle of another
    ordered = hours.sort_index(kind="stable")
    if steps_back <= wraps:
        return ordered, []
    return ordered, [
        _said(
            "Order of the hours",
            f"{steps_back - wraps} steps back in time, put in order",
            "rows in order of time",
        )
    ]


def _without_repeats(hours: pd.DataFrame, source: Source) -> tuple[pd.DataFrame, list[Verdict]]:
    repeated = hours.index.duplicated(keep="first")
    if not repeated.any():
        return hours, []
    same_row = hours.reset_index().duplicated(keep="first").to_numpy()
    differ = pd.DatetimeIndex(hours.index[repeated & ~same_row]).unique()
    if len(differ):
        raise source.error(
            found=f"{len(differ)} hours are there twice with different values: "
            + list_hours(differ),
            allowed="each hour once",
            why="nothing says which of the two is right",
            remedy="delete the wrong rows; a clock that kept summer time repeats an hour in autumn",
        )
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
