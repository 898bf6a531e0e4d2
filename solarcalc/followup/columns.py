"""A logger's text as columns of text, numbers and instants, its stamps put in order."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from datetime import timezone
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.reading import UnreadableError, csv_rows, file_bytes, text_of
from solarcalc.basis.sourced import constant
from solarcalc.basis.text import nearest
from solarcalc.basis.typed import column_commas, readings_of
from solarcalc.basis.worded import worded
from solarcalc.followup.daily import Finding

COLUMNS = (
    "time", "array_power", "load_power", "battery_power", "battery_voltage", "state_of_charge",
    "irradiance", "module_temp", "air_temp",
)  # fmt: skip
"""Our names for the columns of a logger's file."""
NEEDED = ("time", "array_power")
MISSING = frozenset({"", "-", "--", "---", "nan", "na", "n/a", "#n/a", "null", "none"})
"""What loggers write for no value (common practice, no source)."""
MOST_TEXT_FRAC = float(constant("followup.most_text_frac"))
MOST_BAD_TIMES_FRAC = float(constant("followup.most_bad_times_frac"))
_COMMA_NUMBER = re.compile(r"^[+-]?\d+,\d+$")
_OFFSET = re.compile(r"(?:[+-]\d\d:?\d\d|Z)$")
_FORMATS = (
    "ISO8601", "%d/%m/%Y %H:%M", "%d/%m/%Y %H:%M:%S", "%m/%d/%Y %H:%M", "%m/%d/%Y %H:%M:%S",
    "%d.%m.%Y %H:%M", "%d.%m.%Y %H:%M:%S", "%d-%m-%Y %H:%M", "%d-%m-%Y %H:%M:%S",
    "%m/%d/%Y %I:%M %p", "%m/%d/%Y %I:%M:%S %p", "%d/%m/%Y %I:%M %p", "%d/%m/%Y %I:%M:%S %p",
    "%d/%m/%y %H:%M", "%m/%d/%y %H:%M", "%d.%m.%y %H:%M", "%d.%m.%y %H:%M:%S",
)  # fmt: skip
_FIRST_LINES = 60
OTHER_STEP, OTHER_STEP_DAYS = 1.9, 30
"""Times the usual step, or part of it, and days on end from which it is a step of its own (common
practice, no source)."""
LEAST_NAMES = 2
"""Names of columns in one line that make it a line of names."""
MOST_BYTES = 200_000_000
"""A year by the minute with ten columns is some 50 MB."""


def file_text(path: Path, *, where: str) -> str:
    """The whole text of a file, read once and closed; the file is neither changed nor locked.

    Raises
    ------
    InputError
        When it cannot be read, is empty, or holds no text.
    """
    try:
        data = file_bytes(path, MOST_BYTES)
        if not data.strip():
            raise InputError(
                Fault(**worded("followup", "file-empty", path_name=path.name), where=where)
            )  # fmt: skip
        wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
        return text_of(data, encodings=("utf-8-sig", "utf-16" if wide else "cp1252"))
    except UnreadableError as error:
        if error.kind == "no text":
            raise InputError(
                Fault(**worded("followup", "file-without-text", path_name=path.name), where=where)
            ) from None
        raise InputError(
            Fault(where=where, **worded(
                "followup", "file-not-read", path_name=path.name, strerror=error.given,
            ))
        ) from None


def text_table(text: str, columns: Mapping[str, str], *, where: str, name: str) -> pd.DataFrame:
    """The named columns as text under our names, one row a line of the file.

    The line of names is looked for in the first lines, so a preamble does no harm; comma,
    semicolon or tab may stand between the cells.

    Raises
    ------
    InputError
        Unknown or missing names of columns, or no rows under the names.
    """
    faults = [
        Fault(where=f"{where}.columns.{ours}", given=theirs, allowed=", ".join(COLUMNS),
              why="the key is our name, the text is the name in the file",
              remedy=f"did you mean {nearest(ours, COLUMNS)}?" if nearest(ours, COLUMNS) else "")
        for ours, theirs in columns.items() if ours not in COLUMNS
    ] + [
        Fault(**worded("followup", "columns", where=where, needed=needed))
        for needed in NEEDED if needed not in columns
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
    skip, mark, heads = _header(text, columns)
    faults = [
        Fault(where=f"{where}.columns.{ours}", given=f'"{theirs}", not in {name}',
              allowed="one of " + ", ".join(f'"{head[:60]}"' for head in heads[:40])
              if any(one in heads for one in columns.values()) else
              f"a line of names among the first {_FIRST_LINES}",
              remedy=f'did you mean "{near[:60]}"?' if (near := nearest(theirs, heads)) else "")
        for ours, theirs in columns.items() if theirs not in heads
    ] + [
        Fault(where=f"{where}.columns.{ours}", given=f'"{theirs}", {heads.count(theirs)} times in'
              f" the line of names of {name}", allowed="a name that stands there once",
              remedy="give the columns different names in the file")
        for ours, theirs in columns.items() if heads.count(theirs) > 1
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
    places = {ours: heads.index(theirs) for ours, theirs in columns.items()}
    beyond = len(heads)  # a first cell without a name: decimal commas among commas, say
    wanted = sorted({*places.values(), beyond})
    body = text[len("".join(text.splitlines(keepends=True)[:skip + 1])):]
    try:
        table = pd.read_csv(
            io.StringIO(f"{mark * beyond}\n{body}"), sep=mark, header=None, names=range(beyond + 1),
            usecols=wanted, dtype=str, keep_default_na=False, na_values=[], skip_blank_lines=True,
            on_bad_lines="skip", engine="c", index_col=False, quoting=csv.QUOTE_MINIMAL,
        )  # fmt: skip
    except (ValueError, pd.errors.ParserError) as error:  # such as a quote that never ends
        raise InputError(Fault(
            where=where, given=f"{name}, no table under its line of names"
            f" ({str(error).splitlines()[0][:80]})",
            allowed="a row an interval, quotes in pairs")) from None  # fmt: skip
    table = table.iloc[1:].reset_index(drop=True).fillna("")  # the first has a cell for each name
    if table.empty:
        raise InputError(Fault(**worded("followup", "no-line-under-names", where=where, name=name)))
    longer = table[beyond].str.strip() != ""
    if longer.mean() > MOST_BAD_TIMES_FRAC:
        raise InputError(Fault(
            where=where, given=f"{name}, {int(longer.sum())} of {len(table)} lines with more cells"
            " than the line of names", allowed="a name for each cell",
            why="a comma within a number parts it in two",
            remedy="export the file with semicolons between the cells, or with decimal points",
        ))  # fmt: skip
    table[longer] = ""  # which cell is which nobody knows: told as lines without a time
    table = _without_names(table, {place: columns[ours] for ours, place in places.items()},
                           where=where, name=name)  # fmt: skip
    return pd.DataFrame({ours: table[place] for ours, place in places.items()})


def _without_names(
    table: pd.DataFrame, names: Mapping[int, str], *, where: str, name: str
) -> pd.DataFrame:
    """The table without lines of names between its rows: files of several years in one.

    Raises
    ------
    InputError
        When such a line has the names in another order.
    """
    cells = table[list(names)].apply(lambda column: column.str.strip())
    known = cells.isin(list(names.values())).sum(axis=1) >= min(len(names), LEAST_NAMES)
    right = (cells == pd.Series(names)).all(axis=1)
    if (known & ~right).any():
        place = int(np.flatnonzero(known & ~right)[0])
        raise InputError(Fault(**worded(
            "followup", "columns-in-another-order", where=where, name=name, row=place,
            seen=", ".join(cells.loc[place]), first=", ".join(names.values()))))  # fmt: skip
    left: pd.DataFrame = table[~right].reset_index(drop=True)
    return left


def _header(text: str, columns: Mapping[str, str]) -> tuple[int, str, list[str]]:
    """Line of names, separator and names: the line that holds most of the names wanted."""
    best: tuple[int, int, str, list[str]] = (-1, 0, ",", [])
    for number, line in enumerate(text.splitlines()[:_FIRST_LINES]):
        for mark in (",", ";", "\t"):
            if line.strip():
                heads = _heads(number, line, mark)
                hits = sum(theirs in heads for theirs in columns.values())
                if (hits, len(heads) if best[0] <= 0 else 0) > (best[0], len(best[3])):
                    best = (hits, number, mark, heads)
    return best[1], best[2], best[3]


def _heads(number: int, line: str, mark: str) -> list[str]:
    try:
        ((_, cells),) = csv_rows([(number + 1, line)], mark)
    except UnreadableError:
        return []
    return [cell.strip() for cell in cells]


def numbers_of(text: pd.Series, *, where: str) -> tuple[pd.Series, list[tuple[int, str]]]:
    """Numbers of a column of text, and the rows with text that is none.

    A comma is the decimal mark where the column shows that it is. Missing marks become nan.

    Raises
    ------
    InputError
        When more than half of the cells with something in them are no numbers, or when one of
        them may have thousands or decimals and no other shows which.
    """
    bare = text.str.strip()
    value = pd.to_numeric(bare, errors="coerce")
    odd = value.isna()
    decimal, either = column_commas(bare.unique())
    if either:
        both = readings_of(either)
        meant = f", which may mean {both[0]} or {both[1]}" if both else ""
        raise InputError(Fault(
            where=where, given=f"{either!r}{meant}", allowed="numbers",
            remedy="export the file without marks between thousands"))  # fmt: skip
    if odd.any():
        left = bare[odd]
        comma = left.str.match(_COMMA_NUMBER) & decimal
        value = value.astype(float)
        value[left.index[comma]] = left[comma].str.replace(",", ".").astype(float)
        said = value.isna() & ~bare.str.lower().isin(MISSING)
        filled = int((~bare.str.lower().isin(MISSING)).sum())
        if filled and said.sum() > MOST_TEXT_FRAC * filled:
            raise InputError(
                Fault(where=where, given=f"{int(said.sum())} of {filled} cells are text, such as"
                      f" {bare[said].iloc[0]!r}", allowed="numbers",
                      remedy="name another column, or take units out of the cells")
            )  # fmt: skip
        return value, [(int(row), str(bare[row])) for row in bare.index[said]]
    return value.astype(float), []


def instants_of(text: pd.Series, *, where: str) -> tuple[pd.Series, bool]:
    """Instants of a column of text (nat where there is none), and whether they carry an offset.

    Of several readings that fit (day or month first), the one with rising stamps and the
    shortest whole time is taken.

    Raises
    ------
    InputError
        When more than one in twenty is no instant in any of the known ways of writing.
    """
    bare = text.str.strip()
    filled = bare != ""
    carried = bare.str.contains(_OFFSET) & filled
    share = float(carried[filled].mean()) if filled.any() else 0.0
    if min(share, 1.0 - share) > MOST_BAD_TIMES_FRAC:
        raise InputError(Fault(
            where=where, given=f"{int(carried.sum())} of {int(filled.sum())} times with an offset,"
            f" such as {bare[carried].iloc[0]!r} and {bare[filled & ~carried].iloc[0]!r}",
            allowed="times that all carry their offset, or none",
            remedy="export the file with one clock"))  # fmt: skip
    has_offset = share > 0.5
    bare = bare.where(carried == has_offset, "")  # the few others are left out, and told
    best: tuple[float, float, float, pd.Series | None] = (2.0, 0.0, 0.0, None)
    for form in _FORMATS:
        with_zone = has_offset and form == "ISO8601"
        tried = pd.to_datetime(bare, format=form, errors="coerce", utc=with_zone)
        if not pd.api.types.is_datetime64_any_dtype(tried):
            continue
        bad = float(tried[filled].isna().mean()) if filled.any() else 1.0
        if bad >= 1.0:
            continue
        back = float((tried.diff() < pd.Timedelta(0)).mean())
        back = min(back, 1.0 - back)  # some loggers write the newest line first
        span = float((tried.max() - tried.min()).total_seconds())
        if (round(bad, 2), round(back, 3), span) < best[:3]:
            best = (round(bad, 2), round(back, 3), span, tried)
        if bad == 0.0 and form == "ISO8601":
            break
    if best[3] is None or best[0] > MOST_BAD_TIMES_FRAC:
        example = bare[filled].iloc[0] if filled.any() else ""
        raise InputError(Fault(**worded("followup", "instants-of", example=example), where=where))
    return best[3], has_offset


LONGEST_GAP_DAYS = 730.0
"""A record that stands still for longer goes on as another one (common practice, no source)."""
LONGEST_RECORD_DAYS = 30.0 * 365.0
"""No record is longer; no source."""


def without_far(stamps: pd.Series, *, where: str) -> tuple[pd.Series, list[Finding]]:
    """The stamps without those far off the others, such as a clock that was reset, or one typo.

    Between parts that are years apart the one with most lines is kept: a year between them would
    be filled with gaps, and one wrong digit makes two hundred of them.

    Raises
    ------
    InputError
        When what is left is still longer than any record.
    """
    known = stamps.dropna().sort_values()
    part = (known.diff() > pd.Timedelta(days=LONGEST_GAP_DAYS)).cumsum()
    kept = known[part == part.mode().iloc[0]] if len(known) else known
    length = (kept.iloc[-1] - kept.iloc[0]).total_seconds() / 86_400.0 if len(kept) else 0.0
    if length > LONGEST_RECORD_DAYS:
        raise InputError(Fault(
            where=where, given=f"{kept.iloc[0]:%Y-%m-%d} to {kept.iloc[-1]:%Y-%m-%d}",
            allowed=f"a record of at most {LONGEST_RECORD_DAYS / 365.0:.0f} years"))  # fmt: skip
    far = known.index.difference(kept.index)
    if far.empty:
        return stamps, []
    first = stamps[far[0]]
    return stamps.mask(stamps.index.isin(far)), [Finding(
        size=len(far),
        **worded("followup", "times-far-off", count=len(far), first=f"{first:%Y-%m-%d}"),
    )]  # fmt: skip


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
            return moved, [Finding(size=60.0, **worded("followup", "summer-time"))]
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
    moved: pd.Series = stamps.dt.tz_localize(summer, ambiguous=early, nonexistent="shift_forward")
    return moved


def step_min_of(stamps: pd.Series, *, where: str) -> float:
    """The usual step of the file [min].

    Raises
    ------
    InputError
        Fewer than two instants, less than a day, steps longer than an hour, or another step for a
        month on end: files of two loggers in one.
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
        raise InputError(Fault(**worded("followup", "step-min-of", step_min=step_min), where=where))
    by_day = seconds.groupby(ordered[seconds.index].dt.date).median() / 60.0
    times = np.maximum(by_day / step_min, step_min / by_day)
    other = times >= OTHER_STEP
    for _, run in by_day[other].groupby((~other).cumsum()[other]):
        if len(run) >= OTHER_STEP_DAYS:
            raise InputError(Fault(where=where, **worded(
                "followup", "two-steps", step_min=step_min, other_min=float(run.median()),
                first=run.index[0], last=run.index[-1])))  # fmt: skip
    return max(round(step_min * 60.0), 1) / 60.0


def on_grid(
    table: pd.DataFrame, *, step_min: float
) -> tuple[pd.DataFrame, list[Finding]]:
    """The table on a regular grid, labels at the start; what was mended is said.

    One row an interval, the columns as they are.

    Duplicate stamps and stamps that round to one place give their mean; missing places are nan.
    """
    notes: list[Finding] = []
    index = pd.DatetimeIndex(table.index)
    back = int((np.diff(index.asi8) < 0).sum())
    if back:
        notes.append(Finding(size=back, **worded("followup", "steps-back", count=back,
                                                 s="s" * (back > 1))))  # fmt: skip
    table = table.sort_index(kind="stable")
    twice = int(table.index.duplicated().sum())
    if twice:
        notes.append(Finding(size=twice, **worded("followup", "duplicates", count=twice)))
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
    table.index.name = "time"
    return table, notes


def coarser(table: pd.DataFrame, *, step_min: float) -> tuple[pd.DataFrame, float]:
    """Means over a quarter of an hour where steps are short, and the step it then has [min].

    One row an interval, the columns as they are. For powers, not for energies: the mean of what
    fifteen intervals gave is not what a quarter of an hour gave.
    """
    if step_min >= SHORT_STEP_MIN:
        return table, step_min
    return table.resample(f"{MEAN_STEP_MIN:g}min").mean(), MEAN_STEP_MIN


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
    return [Finding(
        size=share, since=first.date(), outcome="review" if share > 0.02 else "passed",
        **worded("followup", "gaps", count=len(sizes), s="s" * (len(sizes) > 1),
                 share=100.0 * share, longest_h=longest * step_min / 60.0,
                 first=f"{first:%Y-%m-%d %H:%M}"),
    )]  # fmt: skip


def _phase(index: pd.DatetimeIndex, first: pd.Timestamp, step: pd.Timedelta) -> pd.Timedelta:
    """How far most stamps stand from a grid that begins at the first one."""
    seconds = (index - first).total_seconds().to_numpy() % step.total_seconds()
    values, counts = np.unique(np.round(seconds), return_counts=True)
    return pd.Timedelta(seconds=float(values[int(np.argmax(counts))]))
