"""Stamps of a logger put in order: summer time, duplicates, steps back, a regular grid."""

from __future__ import annotations

from datetime import timezone
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.followup.finding import Finding

LONGEST_STEP_MIN = 61.0
"""Longest interval with which hours of the day can be told apart."""
LEAST_DAYS = 1.0
SHORT_STEP_MIN = 5.0
MEAN_STEP_MIN = 15.0
"""Files with shorter steps than the first are averaged to the second; a year stays quick."""


def at_fixed_offset(
    stamps: pd.Series, *, has_offset: bool, zone: timezone, summer: ZoneInfo | None
) -> tuple[pd.Series, list[Finding]]:
    """The stamps as instants at the site's fixed offset.

    Stamps with an offset of their own keep their instants. Others are taken to stand at the
    fixed offset, unless they jump as the zone's clocks do: an hour left out in spring or told
    twice in autumn means that the logger kept summer time, and it is taken out.
    """
    if has_offset:
        return stamps.dt.tz_convert(zone), []
    if summer is not None:
        wall = _wall_clock(stamps, summer)
        if wall is not None:
            moved = wall.dt.tz_convert(zone)
            said = "the logger's clock kept summer time; it was taken out"
            return moved, [Finding(kind="clock", said=said, confidence="high",
                                   remedy="set the logger to standard time all year",
                                   outcome="caution", size=60.0)]  # fmt: skip
    return stamps.dt.tz_localize(zone), []


def _wall_clock(stamps: pd.Series, summer: ZoneInfo) -> pd.Series | None:
    """The stamps read as wall-clock time, where they jump as the zone's clocks do."""
    known = stamps.dropna()
    if len(known) < 3:
        return None
    step_s = float(known.diff().dt.total_seconds().median())
    hour = pd.Timedelta(hours=1)
    days = pd.date_range(known.min().normalize(), known.max().normalize() + hour * 48, freq="D")
    offsets = pd.Series([day.replace(tzinfo=summer).utcoffset() for day in days], index=days)
    change = offsets.diff()
    found = missed = 0
    for day, by in change[change.abs() == hour].items():
        first = pd.Timestamp(str(day)) - 24 * hour  # the night before
        near = known[(known >= first) & (known < first + 30 * hour)]
        if len(near) < 3:
            continue
        if by > pd.Timedelta(0):
            jumped = near.sort_values().diff().dt.total_seconds() - step_s
            hit = bool(((jumped - 3600.0).abs() < step_s / 2.0).any())
        else:
            hit = float(near.duplicated().sum()) >= 0.8 * 3600.0 / step_s
        found, missed = found + hit, missed + (not hit)
    if found == 0 or missed > found:
        return None
    later = known.duplicated(keep="first")
    twice = known.duplicated(keep=False)
    early = (~later).reindex(stamps.index, fill_value=True).to_numpy()
    early = np.where(twice.reindex(stamps.index, fill_value=False).to_numpy(), early, True)
    moved: pd.Series = stamps.dt.tz_localize(
        summer, ambiguous=early, nonexistent="shift_forward"
    )
    return moved


def step_min_of(stamps: pd.Series, *, where: str) -> float:
    """The usual step of the file [min].

    Raises
    ------
    InputError
        Fewer than two instants, less than a day, or steps longer than an hour.
    """
    ordered = stamps.dropna().sort_values().drop_duplicates()
    span_d = (ordered.iloc[-1] - ordered.iloc[0]).total_seconds() / 86400.0 if len(ordered) else 0
    if len(ordered) < 3 or span_d < LEAST_DAYS:
        raise InputError(
            Fault(where=where, given=f"{len(ordered)} instants over {span_d:.2f} days",
                  allowed="at least a day", remedy="take a longer record off the logger")
        )  # fmt: skip
    seconds = ordered.diff().dt.total_seconds().dropna()
    step_min = float(seconds.median()) / 60.0
    if step_min > LONGEST_STEP_MIN:
        raise InputError(
            Fault(where=where, given=f"a value every {step_min:g} min", allowed="every hour or more"
                  " often", remedy="set the logger to a quarter of an hour")
        )  # fmt: skip
    return max(round(step_min * 60.0), 1) / 60.0


def on_grid(
    table: pd.DataFrame, *, step_min: float
) -> tuple[pd.DataFrame, list[Finding]]:
    """The table on a regular grid, labels at the start; what was mended is said.

    Duplicate stamps and stamps that round to one place give their mean; missing places are nan.
    """
    notes: list[Finding] = []
    index = pd.DatetimeIndex(table.index)
    back = int((np.diff(index.asi8) < 0).sum())
    if back:
        notes.append(_note(f"the stamps step back {back} times; rows were put in order",
                           back, "see whether the logger was reset there"))  # fmt: skip
    table = table.sort_index(kind="stable")
    twice = int(table.index.duplicated().sum())
    if twice:
        notes.append(_note(f"{twice} stamps stand twice; their mean is used", twice,
                           "see whether two files were joined"))  # fmt: skip
    step = pd.Timedelta(seconds=round(step_min * 60.0))
    first = pd.Timestamp(pd.DatetimeIndex(table.index)[0])
    phase = _phase(pd.DatetimeIndex(table.index), first, step)
    places = np.floor((pd.DatetimeIndex(table.index) - (first + phase)) / step + 0.5).astype(int)
    if len(places) != len(set(places.tolist())):
        table = table.groupby(places).mean()
    else:
        table = table.set_axis(places)
    grid = pd.date_range(first + phase + int(table.index[0]) * step,
                         periods=int(table.index[-1] - table.index[0]) + 1, freq=step)  # fmt: skip
    table = table.reindex(np.arange(table.index[0], table.index[-1] + 1)).set_axis(grid)
    if step_min < SHORT_STEP_MIN:
        table = table.resample(f"{MEAN_STEP_MIN:g}min").mean()
    table.index.name = "time"
    return table, notes


def gap_notes(table: pd.DataFrame, column: str, *, step_min: float) -> list[Finding]:
    """What is missing of a column, in words."""
    gone = table[column].isna()
    count = int(gone.sum())
    if not count:
        return []
    runs = (gone != gone.shift()).cumsum()[gone]
    sizes = runs.value_counts()
    longest = int(sizes.iloc[0])
    first = pd.Timestamp(runs.index[runs == sizes.index[0]][0])
    share = count / len(table)
    said = (
        f"{len(sizes)} gaps, {100.0 * share:.1f} % of the time; the longest"
        f" {longest * step_min / 60.0:.1f} h from {first:%Y-%m-%d %H:%M}"
    )
    return [Finding(kind="file", said=said, size=share, confidence="high", since=first.date(),
                    outcome="caution" if share > 0.02 else "passed",
                    remedy="nothing is filled in; see why the logger stopped")]  # fmt: skip


def _phase(index: pd.DatetimeIndex, first: pd.Timestamp, step: pd.Timedelta) -> pd.Timedelta:
    """How far most stamps stand from a grid that begins at the first one."""
    seconds = (index - first).total_seconds().to_numpy() % step.total_seconds()
    values, counts = np.unique(np.round(seconds), return_counts=True)
    return pd.Timedelta(seconds=float(values[int(np.argmax(counts))]))


def _note(said: str, count: int, remedy: str) -> Finding:
    return Finding(kind="file", said=said, size=float(count), confidence="high", remedy=remedy)
