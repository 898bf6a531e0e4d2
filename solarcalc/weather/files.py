"""Weather files: TMY3, TMY2, EPW, and plain CSV tables with a header row."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import pandas as pd
from pvlib.iotools.epw import read_epw
from pvlib.iotools.tmy import read_tmy3

from solarcalc.basis.hours import fixed_zone
from solarcalc.basis.keys import Digested
from solarcalc.basis.reading import UnreadableError, file_text, heads_told
from solarcalc.basis.text import nearest
from solarcalc.basis.typed import column_commas, decimal_by, readings_of
from solarcalc.basis.worded import worded
from solarcalc.sitefile.weather import WeatherChoice
from solarcalc.weather.rain import (
    no_rain,
    rain_of_epw,
    rain_of_table,
    rain_of_tmy3,
    unit_in_name,
)
from solarcalc.weather.records import (
    AIR,
    RADIATION,
    RAIN,
    UNITS,
    FileContent,
    MonthFigures,
    Place,
    Source,
    Winter,
)

LABEL_SHIFT = {"start": pd.Timedelta(0), "middle": pd.Timedelta(minutes=-30),
               "end": pd.Timedelta(minutes=-60)}
MISSING = (-9999.0, -9900.0, -999.0, 9999.0, 99999.0)
"""Figures that no column can hold and that tables use for "missing"; common practice, no source."""

_OFFSET_AT_END = r"(?:[Zz]|[+-]\d\d:?\d\d)$"
MOST_BYTES = 20_000_000
"""A year by the hour with forty columns is some 2 MB."""
_SHOWN_ROWS = 5
CARRIED = "times carry their offset"


def read_table(
    text: str, choice: WeatherChoice, *, site: Place, offset_h: float, source: Source
) -> FileContent:
    """What is in a CSV weather table, with its hours moved to their starts.

    Lines that begin with ``#`` are comments. Columns are ghi, dni, dhi, temp_air, wind_speed,
    precipitation and time, or what `choice.columns` names instead.

    Raises
    ------
    InputError
        Names the file, the column or rows, what is there and what is accepted.
    """
    frame, mark = _frame(text, choice, source)
    stamps, clock_h, zone_words = _stamps(frame["time"], choice, offset_h, source)
    hours = pd.DataFrame(
        {name: _numbers(frame[name], name, source, mark) for name in UNITS if name in frame}
    )
    named = unit_in_name(choice.columns.get(RAIN, RAIN))
    unit = named if choice.rain_unit == "auto" else choice.rain_unit
    rain, check = rain_of_table(hours.pop(RAIN) if RAIN in hours else None, unit)
    if rain is not None:
        hours[RAIN] = rain
    starts = stamps + LABEL_SHIFT[choice.hour_label]
    _check_whole_hours(starts, choice, zone_words, source)
    hours.index = starts
    return FileContent(
        path=source.path, format_name="CSV", hours=hours, station=_station(choice, site, source),
        offset_h=clock_h,
        label_convention=f"each hour is named by its {choice.hour_label}; {zone_words}",
        checks=(check,),
    )


def _frame(text: str, choice: WeatherChoice, source: Source) -> tuple[pd.DataFrame, str]:
    """The columns of the table as text under our names, and what parts its cells."""
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    separator = max(",;\t", key=lines[0].count)
    try:
        frame = pd.read_csv(
            io.StringIO("\n".join(lines)), sep=separator, skipinitialspace=True, dtype=str
        )
    except (ValueError, pd.errors.ParserError) as error:
        raise source.error(**worded("weather", "no-table", error=error)) from error
    if not isinstance(frame.index, pd.RangeIndex):  # rows longer than the heading name themselves
        raise source.error(**worded("weather", "no-table", error="rows with more cells than names"))
    frame = frame.rename(columns=lambda name: str(name).strip())
    ours = {name: name for name in ("time", *UNITS)} | _checked_map(choice, source)
    kept = {theirs: name for name, theirs in ours.items() if theirs in frame.columns}
    needed = ["time", "ghi", *AIR] + [name for name in choice.columns if name != "time"]
    heads = [head.strip() for head in next(csv.reader(lines[:1], delimiter=separator))]
    if twice := [theirs for theirs in kept if heads.count(theirs) > 1]:
        raise source.error(**worded("weather", "columns-twice",
                                    names=", ".join(f'"{theirs}"' for theirs in twice)))
    absent = [name for name in dict.fromkeys(needed) if ours[name] not in frame.columns]
    if absent:
        raise source.error(**worded(
            "weather", "no-such-columns", absent=", ".join(f'"{ours[name]}"' for name in absent),
            columns=heads_told([str(name) for name in frame.columns], ours.values())[:200],
        ))  # fmt: skip
    return frame[list(kept)].rename(columns=kept), separator


def _checked_map(choice: WeatherChoice, source: Source) -> dict[str, str]:
    known = ("time", *UNITS)
    for name in choice.columns:
        if name not in known:
            near = nearest(name, known)
            raise source.error(
                **worded("weather", "checked-map", name=name), allowed=", ".join(known),
                remedy=f'did you mean "{near}"?' if near else "take one of the names allowed",
            )  # fmt: skip
    return dict(choice.columns)


def _numbers(
    texts: pd.Series[Any], name: str, source: Source, mark: str
) -> pd.Series[Any]:
    texts, either = _pointed(texts, mark)
    if either:
        raise source.error(**worded(
            "weather", "comma-either", name=name, given=either, units=UNITS[name],
            readings=" or ".join(readings_of(either) or ("thousands", "nothing")),
        ))  # fmt: skip
    values = pd.to_numeric(texts, errors="coerce")
    wrong = values.isna() & texts.notna()
    if wrong.any():
        rows = ", ".join(
            f'row {row + 1} "{texts[row]}"' for row in values.index[wrong][:_SHOWN_ROWS]
        )
        raise source.error(**worded(
            "weather", "numbers", name=name, wrong=int(wrong.sum()), rows=rows, units=UNITS[name],
        ))  # fmt: skip
    return values.astype(float).mask(values.isin(MISSING))


def _pointed(texts: pd.Series[Any], mark: str) -> tuple[pd.Series[Any], str]:
    """Numbers with points for their decimal commas, and one that can be read two ways."""
    if not decimal_by(mark) or not texts.str.contains(",", regex=False).any():
        return texts, ""
    decimal, either = column_commas(texts.dropna().str.strip().unique())
    return texts.str.replace(",", ".", regex=False) if decimal else texts, either


def _stamps(
    texts: pd.Series[Any], choice: WeatherChoice, offset_h: float, source: Source
) -> tuple[pd.DatetimeIndex, float, str]:
    texts = texts.fillna("").str.strip()
    with_offset = texts.str.contains(r"\d\d:?\d\d" + _OFFSET_AT_END) | texts.str.endswith("Z")
    stamps = pd.to_datetime(texts, format="ISO8601", errors="coerce", utc=True)
    if stamps.isna().any() or (with_offset.any() and not with_offset.all()):
        odd_ones = with_offset if with_offset.mean() < 0.5 else ~with_offset
        wrong = stamps.isna() if stamps.isna().any() else odd_ones
        first = texts.index[wrong][:_SHOWN_ROWS]
        rows = ", ".join(f'row {row + 1} "{texts[row]}"' for row in first)
        raise source.error(**worded(
            "weather", "stamps", wrong=int(wrong.sum()), texts_count=len(texts), rows=rows
        ))  # fmt: skip
    if with_offset.all():
        if choice.utc_offset_h is not None:
            raise source.error(**worded("weather", "two-offsets"))
        zone = fixed_zone(offset_h)
        return pd.DatetimeIndex(stamps).tz_convert(zone), offset_h, CARRIED
    clock_h = offset_h if choice.utc_offset_h is None else choice.utc_offset_h
    naive = pd.DatetimeIndex(stamps).tz_localize(None)
    return naive.tz_localize(fixed_zone(clock_h)), clock_h, f"clock is UTC{clock_h:+g}"


def _check_whole_hours(
    starts: pd.DatetimeIndex, choice: WeatherChoice, zone_words: str, source: Source
) -> None:
    """Refuse stamps that all lie at one odd minute of the file's own clock."""
    minutes = starts.minute.unique()
    if zone_words == CARRIED or len(minutes) != 1 or minutes[0] == 0:
        return
    raise source.error(**worded(
        "weather", "check-whole-hours", hour_label=choice.hour_label, minutes_0=minutes[0],
    ))  # fmt: skip


def _station(choice: WeatherChoice, site: Place, source: Source) -> Place | None:
    latitude, longitude = choice.station_latitude_deg, choice.station_longitude_deg
    if latitude is None and longitude is None:
        return None
    if latitude is None or longitude is None:
        name = "station_latitude_deg" if latitude is None else "station_longitude_deg"
        raise source.error(**worded("weather", "station", name=name), field_name=name)
    height = choice.station_elevation_m
    return Place(
        name=source.path.stem,
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=site.elevation_m if height is None else height,
    )


END_OF_HOUR = "each hour is named by its end (01:00 is midnight to 1 o'clock)"
HOUR_NUMBER = "hours are numbered 1 to 24 (hour 1 is midnight to 1 o'clock)"

ACCEPTED = "a TMY3, TMY2 or EPW file, or a CSV whose header row has a time column"

# Where each figure stands in a TMY2 line, counted from 0, and what it is divided by:
# Marion and Urban 1995, User's manual for TMY2s, NREL, Table 3-2.
_TMY2 = {"ghi": (17, 21, 1.0), "dni": (23, 27, 1.0), "dhi": (29, 33, 1.0),
         "temp_air": (67, 71, 10.0), "wind_speed": (95, 98, 10.0)}
_TMY2_WINTER = {"relative_humidity": (79, 82, 1.0), "snow_depth": (133, 136, 1.0)}
_TMY2_CENTURY = 1900

# Values that stand for "missing": Marion and Urban 1995 Table 3-2; Wilcox and Marion 2008,
# User's manual for TMY3, sec. 2 (-9900); EnergyPlus auxiliary programs, weather file fields.
_MISSING: dict[str, dict[str, tuple[float, ...]]] = {
    "tmy2": {"ghi": (9999.0,), "dni": (9999.0,), "dhi": (9999.0,), "temp_air": (999.9,),
             "wind_speed": (99.9,)},
    "tmy3": dict.fromkeys((*RADIATION, *AIR), (-9900.0, -9999.0)),
    "epw": {"ghi": (9999.0,), "dni": (9999.0,), "dhi": (9999.0,), "temp_air": (99.9,),
            "wind_speed": (999.0,)},
}


def sniff(path: Path, text: str, choice: WeatherChoice) -> str:
    """Format of a weather file by its content; empty when it is none that we read."""
    lines = text[:20000].splitlines()
    if not lines:
        return ""
    if lines[0].upper().startswith("LOCATION,"):
        return "epw"
    if len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY),Time (HH:MM)"):
        return "tmy3"
    if len(lines) > 1 and len(lines[1]) > 140 and lines[1][1:9].isdigit() and "," not in lines[1]:
        return "tmy2"
    header, *rows = [line for line in lines if line.strip() and not line.startswith("#")] or [""]
    mark = max(",;\t", key=header.count)
    if choice.columns.get("time", "time") in header and mark in header:
        return "csv"
    return "csv" if _names_columns(header, rows, mark) else ""


def _names_columns(header: str, rows: list[str], mark: str) -> bool:
    """Whether a line of names stands over figures, so that those of ours can be asked for."""
    cells = [cell.strip() for cell in header.split(mark)]
    return len(cells) >= 1 + len(AIR) and bool(rows) and header.count(mark) == rows[0].count(
        mark) and all(cell[:1].isalpha() or cell[:1] == '"' for cell in cells) and any(
        cell[:1].isdigit() for cell in rows[0].split(mark))


def read_file(
    path: Path, choice: WeatherChoice, *, site: Place, offset_h: float, source: Source
) -> FileContent:
    """What is in a weather file, with its hours moved to their starts.

    Raises
    ------
    InputError
        When the file is none that we read, is not the format asked for, or is broken.
    """
    text = _text(path, source)
    found = sniff(path, text, choice)
    wanted = found if choice.format == "auto" else choice.format
    if not found or found != wanted:
        raise source.error(
            field_name="source" if choice.format == "auto" else "format",
            found=f"its content looks like {found}" if found else "its content is not known here",
            allowed=ACCEPTED if choice.format == "auto" else f"a file of format {wanted}",
            why="the first lines decide; the name of the file does not matter",
            remedy='take another file, or set format = "auto"' if found else "take another file",
        )
    if found == "csv":
        return _table(_Asked(text=Digested.of_text(text), path=path, site=site, offset_h=offset_h,
                             choice=choice, options=choice.model_dump_json(),
                             source=source))  # fmt: skip
    _refuse_table_options(choice, found, source)
    try:
        return _typical_year(found, path, Digested.of_text(text), choice.rain_unit)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError) as error:
        raise source.error(
            **worded("weather", "read-file"),
            found=f"starts as a {found.upper()} file and then cannot be read ({error})"[:300],
        ) from error


_HIGHEST_M = 9000.0
"""No station stands higher, or as far below the sea."""


@lru_cache(maxsize=8)
def _typical_year(found: str, path: Path, text: Digested, rain_unit: str) -> FileContent:
    """Kept: a site is opened again, and sites of one batch share a file."""
    readers: dict[str, Callable[[Path, str, str], FileContent]] = {
        "tmy3": _read_tmy3, "tmy2": _read_tmy2, "epw": _read_epw,
    }
    content = readers[found](path, text.taken(), rain_unit)
    station = content.station
    there = () if station is None else (
        ("latitude", station.latitude_deg, 90.0), ("longitude", station.longitude_deg, 180.0),
        ("height", station.elevation_m, _HIGHEST_M))  # fmt: skip
    for name, value, most in (*there, ("time zone", content.offset_h, 14.0)):
        if value is not None and not -most <= value <= most:
            raise ValueError(f"{name} {value:g}, not within {most:g} of 0")
    return content


@dataclass(frozen=True, kw_only=True)
class _Asked:
    """A table and all that it is read with; what only words a fault does not count."""

    text: Digested
    path: Path
    site: Place
    offset_h: float
    options: str
    choice: WeatherChoice = field(compare=False)
    source: Source = field(compare=False)


@lru_cache(maxsize=8)
def _table(asked: _Asked) -> FileContent:
    """Kept, as a typical year is."""
    return read_table(asked.text.taken(), asked.choice, site=asked.site, offset_h=asked.offset_h,
                      source=asked.source)


def _text(path: Path, source: Source) -> str:
    try:
        return file_text(path, MOST_BYTES, encodings=("utf-8-sig", "latin-1"))
    except UnreadableError as error:
        raise source.error(**worded(
            "weather", "text-large" if error.kind == "large" else
            "no-text" if error.kind == "no text" else "text", strerror=error.given,
        )) from error  # fmt: skip


def _refuse_table_options(choice: WeatherChoice, found: str, source: Source) -> None:
    given = {"hour_label": choice.hour_label != "start",
             "utc_offset_h": choice.utc_offset_h is not None, "columns": bool(choice.columns),
             "station_latitude_deg": choice.station_latitude_deg is not None,
             "station_longitude_deg": choice.station_longitude_deg is not None,
             "station_elevation_m": choice.station_elevation_m is not None}
    for name, is_given in given.items():
        if is_given:
            raise source.error(
                **worded("weather", "refuse-table-options", found=found.upper(), name=name),
                field_name=name,
            )  # fmt: skip


def _place(name: str, meta: dict[str, Any]) -> Place:
    return Place(
        name=name.strip() or "unnamed station",
        latitude_deg=float(meta["latitude"]),
        longitude_deg=float(meta["longitude"]),
        elevation_m=float(meta["altitude"]),
    )


def _hours(
    table: pd.DataFrame, days: pd.Series[Any], hour_start: pd.Series[Any], offset_h: float,
    format_name: str,
) -> pd.DataFrame:  # fmt: skip
    stamps = pd.DatetimeIndex(days + pd.to_timedelta(hour_start, unit="h"))
    hours = table.astype(float)
    for name, marks in _MISSING[format_name].items():
        hours[name] = hours[name].mask(hours[name].isin(marks))
    hours.index = stamps.tz_localize(fixed_zone(offset_h))
    return hours


def _read_tmy3(path: Path, text: str, rain_unit: str) -> FileContent:
    data, meta = read_tmy3(io.StringIO(text), map_variables=True)
    clock = data["Time (HH:MM)"].tolist()
    odd = [text for text in clock if not text.endswith(":00")]
    if odd:
        raise ValueError(f"an hour ends at {odd[0]}")
    ends = pd.Series([int(text.split(":")[0]) for text in clock])
    data = data.reset_index(drop=True)
    days = pd.to_datetime(data["Date (MM/DD/YYYY)"], format="%m/%d/%Y")
    offset_h = float(meta["TZ"])
    hours = _hours(data[[*RADIATION, *AIR]], days, ends - 1, offset_h, "tmy3")
    rain, check = rain_of_tmy3(
        data["Lprecip depth (mm)"], data["Lprecip quantity (hr)"], rain_unit
    )
    if rain is not None:
        hours["precipitation"] = rain.to_numpy()
    return FileContent(path=path, format_name="TMY3", hours=hours, offset_h=offset_h,
                       station=_place(str(meta["Name"]).strip('"'), meta),
                       label_convention=END_OF_HOUR, checks=(check,),
                       winter=winter_of(days, data["relative_humidity"]))


def _read_tmy2(path: Path, text: str, _rain_unit: str) -> FileContent:
    # Read here and not by pvlib, which takes 1.3 s for what this takes 0.03 s; a test compares.
    head, *lines = [line for line in text.splitlines() if line.strip()]
    rows = pd.Series(lines)
    table, winter = (
        pd.DataFrame({name: rows.str[a:b].astype(float) / part
                      for name, (a, b, part) in places.items()})
        for places in (_TMY2, _TMY2_WINTER)
    )
    date = {
        name: rows.str[a : a + 2].astype(int)
        for name, a in (("year", 1), ("month", 3), ("day", 5), ("hour", 7))
    }
    days = pd.to_datetime(
        {"year": date["year"] + _TMY2_CENTURY, "month": date["month"], "day": date["day"]}
    )
    # After the name: offset, N degrees minutes, W degrees minutes, height.
    zone, north, lat_deg, lat_min, east, lon_deg, lon_min, height = head[33:].split()
    offset_h = float(zone)
    latitude = (float(lat_deg) + float(lat_min) / 60.0) * (-1.0 if north == "S" else 1.0)
    longitude = (float(lon_deg) + float(lon_min) / 60.0) * (-1.0 if east == "W" else 1.0)
    return FileContent(
        path=path,
        format_name="TMY2",
        offset_h=offset_h,
        label_convention=HOUR_NUMBER,
        hours=_hours(table, days, date["hour"] - 1, offset_h, "tmy2"),
        station=Place(name=head[7:29].strip(), latitude_deg=latitude, longitude_deg=longitude,
                      elevation_m=float(height)),
        checks=(no_rain(),),
        winter=winter_of(days, winter["relative_humidity"], winter["snow_depth"]),
    )


def _read_epw(path: Path, text: str, rain_unit: str) -> FileContent:
    data, meta = read_epw(io.StringIO(text))
    period = next((line for line in text.splitlines()
                   if line.upper().startswith("DATA PERIODS,")), "")  # fmt: skip
    if not period:
        raise ValueError("no line DATA PERIODS above its hours")
    if period.split(",")[2].strip() != "1":
        raise ValueError(f"{period.split(',')[2]} records an hour; hourly values are wanted")
    data = data.reset_index(drop=True)
    offset_h = float(meta["TZ"])
    days = pd.to_datetime(data[["year", "month", "day"]])
    hours = _hours(data[[*RADIATION, *AIR]], days, data["hour"] - 1, offset_h, "epw")
    rain, check = rain_of_epw(
        data["liquid_precipitation_depth"], data["liquid_precipitation_quantity"], rain_unit
    )
    if rain is not None:
        hours["precipitation"] = rain.to_numpy()
    return FileContent(path=path, format_name="EPW", hours=hours, offset_h=offset_h,
                       station=_place(str(meta["city"]), meta), label_convention=HOUR_NUMBER,
                       checks=(check,),
                       winter=winter_of(days, data["relative_humidity"], data["snow_depth"]))


_DEEPEST_CM, _LYING_CM = 500.0, 1.0  # deeper is a sign for "missing"; common practice, no source
_MIN_KNOWN_FRAC = 0.9  # of the hours of a column; common practice, no source


def winter_of(
    days: pd.Series[Any], humidity_pct: pd.Series[Any], depth_cm: pd.Series[Any] | None = None
) -> Winter:
    """What a file says of humidity and lying snow, by month; months may be of different years.

    Parameters
    ----------
    days : Series of Timestamp, shape (n,)
        Day of each hour.
    humidity_pct : Series, shape (n,)
        Relative humidity [%].
    depth_cm : Series, shape (n,), optional
        Of the snow on the ground [cm]; nought all year is taken as not recorded.
    """
    month, found = days.dt.month, humidity_pct.astype(float)
    found = found.where((found > 0.0) & (found <= 110.0)).clip(upper=100.0)
    known = found.notna().groupby(month).mean()
    means = found.groupby(month).mean()
    whole = len(known) == 12 and bool((known >= _MIN_KNOWN_FRAC).all())
    return Winter(humidity_pct=tuple(means.tolist()) if whole else None,
                  ground_days=None if depth_cm is None else _ground_days(days, depth_cm))


def _ground_days(days: pd.Series[Any], depth_cm: pd.Series[Any]) -> MonthFigures | None:
    depth = depth_cm.astype(float)
    depth = depth.where((depth >= 0.0) & (depth <= _DEEPEST_CM))
    if depth.notna().mean() < _MIN_KNOWN_FRAC or not (depth >= _LYING_CM).any():
        return None
    lies = (depth >= _LYING_CM).groupby([days.dt.month, days.dt.day]).max()
    counts = lies.groupby(level=0).sum().reindex(range(1, 13), fill_value=0)
    return tuple(counts.astype(float).tolist())
