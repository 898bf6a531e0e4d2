"""The text of a logger's file into columns of text, numbers and instants; nothing is changed."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from pathlib import Path

import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import nearest

COLUMNS = (
    "time", "array_power", "load_power", "battery_power", "battery_voltage", "state_of_charge",
    "irradiance", "module_temp", "air_temp",
)  # fmt: skip
"""Our names for the columns of a logger's file."""
NEEDED = ("time", "array_power")
MISSING = frozenset({"", "-", "--", "---", "nan", "na", "n/a", "#n/a", "null", "none"})
"""What loggers write for no value (common practice, no source)."""
MOST_TEXT_FRAC = 0.5
MOST_BAD_TIMES_FRAC = 0.05
"""Shares of a column past which it is the wrong column (common practice, no source)."""
_COMMA_NUMBER = re.compile(r"^[+-]?\d+,\d+$")
_OFFSET = re.compile(r"(?:[+-]\d\d:?\d\d|Z)$")
_FORMATS = (
    "ISO8601", "%d/%m/%Y %H:%M", "%d/%m/%Y %H:%M:%S", "%m/%d/%Y %H:%M", "%m/%d/%Y %H:%M:%S",
    "%d.%m.%Y %H:%M", "%d.%m.%Y %H:%M:%S", "%d-%m-%Y %H:%M", "%d-%m-%Y %H:%M:%S",
)  # fmt: skip
_FIRST_LINES = 60


def file_text(path: Path, *, where: str) -> str:
    """The whole text of a file, read once and closed; the file is neither changed nor locked.

    Raises
    ------
    InputError
        When it cannot be read, is empty, or holds no text.
    """
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(
            Fault(
                where=where, given=f"{path.name}: {error.strerror or 'cannot be read'}",
                allowed="a CSV file beside the site file",
                remedy="copy the logger's file there, or correct its name",
            )
        ) from None  # fmt: skip
    if not data.strip():
        raise InputError(
            Fault(where=where, given=f"{path.name}, which is empty", allowed="a CSV file with"
                  " a line of names and a line an interval",
                  remedy="take it off the logger again")
        )  # fmt: skip
    for encoding in ("utf-8-sig", "utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "cp1252"):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text
    raise InputError(
        Fault(where=where, given=f"{path.name}, which holds no text", allowed="a CSV file",
              remedy="save the logger's table as CSV text")
    )  # fmt: skip


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
        Fault(where=f"{where}.columns", given=f"nothing for {needed}",
              allowed=f'{needed} = "name in the file"', remedy="say which column it is")
        for needed in NEEDED if needed not in columns
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
    skip, mark, heads = _header(text, columns)
    faults = [
        Fault(where=f"{where}.columns.{ours}", given=f'"{theirs}", not in {name}',
              allowed="one of " + ", ".join(f'"{head}"' for head in heads[:40]),
              remedy=f'did you mean "{nearest(theirs, heads)}"?' if nearest(theirs, heads) else "")
        for ours, theirs in columns.items() if theirs not in heads
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
    places = {ours: heads.index(theirs) for ours, theirs in columns.items()}
    wanted = sorted(set(places.values()))
    table = pd.read_csv(
        io.StringIO(text), sep=mark, skiprows=skip + 1, header=None, names=range(len(heads)),
        usecols=wanted, dtype=str, keep_default_na=False, na_values=[], skip_blank_lines=True,
        on_bad_lines="skip", engine="c", index_col=False, quoting=csv.QUOTE_MINIMAL,
    )  # fmt: skip
    if table.empty:
        raise InputError(
            Fault(where=f"{where}.file", given=f"{name}, no line under the names",
                  allowed="a line an interval", remedy="take it off the logger again")
        )  # fmt: skip
    return pd.DataFrame({ours: table[place] for ours, place in places.items()}).fillna("")


def _header(text: str, columns: Mapping[str, str]) -> tuple[int, str, list[str]]:
    """Line of names, separator and names: the line that holds most of the names wanted."""
    best: tuple[int, int, str, list[str]] = (-1, 0, ",", [])
    for number, line in enumerate(text.splitlines()[:_FIRST_LINES]):
        for mark in (",", ";", "\t"):
            if line.strip():
                heads = [cell.strip() for cell in next(csv.reader([line], delimiter=mark))]
                hits = sum(theirs in heads for theirs in columns.values())
                if (hits, len(heads) if best[0] <= 0 else 0) > (best[0], len(best[3])):
                    best = (hits, number, mark, heads)
    return best[1], best[2], best[3]


def numbers_of(text: pd.Series, *, where: str) -> tuple[pd.Series, list[tuple[int, str]]]:
    """Numbers of a column of text, and the rows with text that is none.

    A decimal comma is taken where most cells have one. Missing marks become nan.

    Raises
    ------
    InputError
        When more than half of the cells with something in them are no numbers.
    """
    bare = text.str.strip()
    value = pd.to_numeric(bare, errors="coerce")
    odd = value.isna()
    if odd.any():
        left = bare[odd]
        comma = left.str.match(_COMMA_NUMBER)
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
    has_offset = bool(bare[filled].str.contains(_OFFSET).mean() > 0.5) if filled.any() else False
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
        span = float((tried.max() - tried.min()).total_seconds())
        if (round(bad, 2), round(back, 3), span) < best[:3]:
            best = (round(bad, 2), round(back, 3), span, tried)
        if bad == 0.0 and form == "ISO8601":
            break
    if best[3] is None or best[0] > MOST_BAD_TIMES_FRAC:
        example = bare[filled].iloc[0] if filled.any() else ""
        raise InputError(
            Fault(where=where, given=f"{example!r}", allowed="date and time, such as 2025-06-30"
                  " 14:15, 30/06/2025 14:15 or 30.06.2025 14:15",
                  remedy="name the column that holds both date and time")
        )  # fmt: skip
    return best[3], has_offset
