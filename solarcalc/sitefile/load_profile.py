"""A measured profile of a board: a CSV file with a column power_w, checked line by line."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.reading import UnreadableError, csv_rows, file_text, heads_told
from solarcalc.basis.typed import column_commas
from solarcalc.sitefile.base import Sound, plain, shown
from solarcalc.sitefile.loads import BOARDS

COLUMN = "power_w"
DAY_COUNTS = (24, 48, 96, 1440)
"""Rows of one day: by the hour, half hour, quarter hour, minute."""
MINUTES_IN_DAY = 1440

MAX_W = 200000.0
"""Largest power believed [W]: that of one appliance of the site file."""

MAX_BYTES = 4 * 1024 * 1024
"""A year by the hour is a quarter of a megabyte; more than 4 MiB is another kind of file."""

_COUNTS = "24, 48, 96 or 1440 rows (one day, repeated) or 8760 (a year, hourly)"
_NAMED = 3
"""Wrong lines that are named one by one; the others are counted."""


def read_profile_w(path: Path, *, where: str) -> tuple[float, ...]:
    """Mean power of each interval of a measured day or year [W].

    Parameters
    ----------
    path : Path
        A CSV file in UTF-8: lines that begin with ``#`` are left out, then a header with a column
        ``power_w`` (commas, semicolons or tabs between), then one row for each interval from
        midnight, or from midnight of 1 January, on. Other columns are left unread, but for
        ``time``, whose values must agree with that, by 24 hours in standard time.
    where : str
        File and key of the site file that name it.

    Returns
    -------
    tuple of float
        24, 48, 96, 1440 or 8760 values, all 0 or more.

    Raises
    ------
    InputError
        When the file cannot be read, has no such column, another number of rows, or a value that
        is negative, not a number, or beyond belief; it names the file, the line and the value.
    """
    rows = _rows(path, where)
    if not rows:
        raise InputError(_fault(path, where, "no row", f"a header with {COLUMN}, then values"))
    number, header = rows[0]
    names = [name.strip() for name in header]
    if names.count(COLUMN) != 1:
        raise InputError(
            _fault(
                path, where, f"the header {heads_told(names, [COLUMN, 'time'])}"[:100],
                f"a header with one column {COLUMN}", line=number,
                remedy=f"name the column of watts {COLUMN}",
            )
        )  # fmt: skip
    place = names.index(COLUMN)
    values, faults = _values(path, where, rows[1:], (place, len(names)))
    if not faults:
        faults = _count_faults(path, where, len(values))
        faults += _time_faults(path, where, rows[1:], names)
    if faults:
        raise InputError(faults)
    return tuple(values)


def profile_faults(sound: Sound, folder: Path) -> list[Fault]:
    """Every fault of the measured profiles that a site file in `folder` names."""
    faults: list[Fault] = []
    for board in BOARDS:
        name = sound.get("loads", f"{board}_profile")
        if not name:
            continue
        try:
            read_profile_w(
                folder / name, where=f"{plain(sound.origins.file)}: loads.{board}_profile"
            )
        except InputError as error:
            faults += error.faults
    return faults


def _rows(path: Path, where: str) -> list[tuple[int, list[str]]]:
    """Line number and cells of each row that is neither empty nor a remark."""
    try:
        text = file_text(path, MAX_BYTES)
    except UnreadableError as error:
        if error.kind in ("folder", "missing"):
            raise InputError(
                Fault(where=where, given=f"{shown(path.name)}, {error.given}",
                      allowed=f"a CSV file, path from {path.parent}",
                      remedy="correct the path; it starts from the folder of the site file")
            ) from None
        if error.kind == "no text":
            raise InputError(
                _fault(path, where, "text that is not UTF-8", "text in UTF-8",
                       remedy="save it again as UTF-8")
            ) from None  # fmt: skip
        given = "more than 4 MiB" if error.kind == "large" else error.given
        raise InputError(_fault(path, where, given, "a CSV file, " + _COUNTS)) from None
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    mark = next((mark for mark in ";\t" if lines and mark in lines[0][1]), ",")
    try:
        return list(csv_rows(lines, mark))
    except UnreadableError as error:
        raise InputError(_fault(path, where, error.given, "a CSV file, " + _COUNTS)) from None


def _values(
    path: Path, where: str, rows: Sequence[tuple[int, list[str]]], shape: tuple[int, int]
) -> tuple[list[float], list[Fault]]:
    values: list[float] = []
    wrong: list[tuple[int, str]] = []
    place, width = shape
    decimal, either = column_commas(
        cells[place].strip() for _, cells in rows if len(cells) == width)
    for number, cells in rows:
        whole = len(cells) == width
        text = cells[place].strip() if whole else ", ".join(cells)
        said = text.replace(",", ".") if decimal else text
        try:
            value = float(said) if whole and "_" not in text and text != either else math.nan
        except ValueError:
            value = math.nan
        if not 0.0 <= value <= MAX_W:
            wrong.append((number, text))
        values.append(value)
    faults = [
        _fault(
            path, where, shown(text) if text else "nothing",
            f"a number from 0 to {MAX_W:g} W, with a point, and a value for each column"
            + (f"; {text} may mean thousands or decimals" if text == either else ""),
            line=number,
            why="power drawn by a board is never negative, and a gap is not zero",
            remedy=f"correct it by hand{_more(len(wrong))}",
        )
        for number, text in wrong[:_NAMED]
    ]  # fmt: skip
    return values, faults


def _more(count: int) -> str:
    return f"; {count} lines of the file are wrong" if count > _NAMED else ""


def _count_faults(path: Path, where: str, count: int) -> list[Fault]:
    if count in (*DAY_COUNTS, HOURS_IN_YEAR):
        return []
    remedy = "leave out 29 February" if count == HOURS_IN_YEAR + 24 else ""
    if not remedy:
        remedy = "convert it to one of these: hourly means for a year, or one typical day"
    return [
        _fault(path, where, f"{count} rows", _COUNTS, remedy=remedy,
               why="the time step follows from the number of rows")
    ]  # fmt: skip


def _time_faults(
    path: Path, where: str, rows: Sequence[tuple[int, list[str]]], names: Sequence[str]
) -> list[Fault]:
    """A column `time` must begin where the profile does, and go on from row to row."""
    if "time" not in names or not rows:
        return []
    place, year = names.index("time"), len(rows) == HOURS_IN_YEAR
    texts = [cells[place].strip() for _, cells in rows]
    begin = r"\d{4}-01-01[ T]00:00" if year else r"(.*[ T])?0?0:00"
    if not re.match(begin, texts[0]):
        found, allowed = 0, (
            '"YYYY-01-01 00:00", the start of the year' if year else '"00:00", midnight')
    else:
        step_min = MINUTES_IN_DAY // (24 if year else len(rows))
        found = next((number for number, text in enumerate(texts) if _clock_min(text) not in (
            None, number * step_min % MINUTES_IN_DAY)), -1)
        at = found * step_min % MINUTES_IN_DAY
        allowed = f'"{at // 60:02d}:{at % 60:02d}", {step_min} min after the row above'
        dated = [(number, text[:10]) for number, text in enumerate(texts)
                 if re.match(r"\d{4}-\d\d-\d\d", text)]  # fmt: skip
        back = next((one[0] for before, one in pairwise(dated) if one[1] < before[1]), -1)
        if found < 0 <= back:
            found, allowed = back, "a day no earlier than the row above"
    if found < 0:
        return []
    return [
        _fault(
            path, where, shown(texts[found]), allowed, line=rows[found][0],
            why="each row is labelled by the start of its interval, beginning with the first; the"
            " clock is standard time the year round",
            remedy="put the rows in order from there, without summer time, or delete the column"
            " time",
        )
    ]  # fmt: skip


def _clock_min(text: str) -> int | None:
    """Minutes from midnight of a time by 24 hours; None for any other text [min]."""
    clock = re.search(r"(?<!\d)(\d{1,2}):(\d\d)", text)
    if clock is None or re.search(r"[ap]\.?m", text, re.IGNORECASE):
        return None
    return 60 * int(clock[1]) + int(clock[2])


def _fault(
    path: Path, where: str, given: str, allowed: str, *, line: int | None = None, why: str = "",
    remedy: str = "",
) -> Fault:  # fmt: skip
    place = plain(path.name) + (f", line {line}" if line else "")
    return Fault(where=f"{where} ({place})", given=given, allowed=allowed, why=why, remedy=remedy)
