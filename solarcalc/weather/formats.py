"""Typical-year files with a format of their own: TMY3, TMY2 and EPW."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd
from pvlib import iotools

from solarcalc.basis.hours import fixed_zone
from solarcalc.sitefile.records import WeatherChoice
from solarcalc.weather.rain import no_rain, rain_of_epw, rain_of_tmy3
from solarcalc.weather.records import AIR, RADIATION, FileContent, Place, Source
from solarcalc.weather.table import read_table

END_OF_HOUR = "each hour is named by its end (01:00 is midnight to 1 o'clock)"
HOUR_NUMBER = "hours are numbered 1 to 24 (hour 1 is midnight to 1 o'clock)"

ACCEPTED = "a TMY3, TMY2 or EPW file, or a CSV whose header row has a time column"

# Where each figure stands in a TMY2 line, counted from 0, and what it is divided by:
# Marion and Urban 1995, User's manual for TMY2s, NREL, Table 3-2.
_TMY2 = {
    "ghi": (17, 21, 1.0),
    "dni": (23, 27, 1.0),
    "dhi": (29, 33, 1.0),
    "temp_air": (67, 71, 10.0),
    "wind_speed": (95, 98, 10.0),
}
_TMY2_CENTURY = 1900

# Values that stand for "missing": Marion and Urban 1995 Table 3-2; Wilcox and Marion 2008,
# User's manual for TMY3, sec. 2 (-9900); EnergyPlus auxiliary programs, weather file fields.
_MISSING: dict[str, dict[str, tuple[float, ...]]] = {
    "tmy2": {
        "ghi": (9999.0,),
        "dni": (9999.0,),
        "dhi": (9999.0,),
        "temp_air": (999.9,),
        "wind_speed": (99.9,),
    },
    "tmy3": dict.fromkeys((*RADIATION, *AIR), (-9900.0, -9999.0)),
    "epw": {
        "ghi": (9999.0,),
        "dni": (9999.0,),
        "dhi": (9999.0,),
        "temp_air": (99.9,),
        "wind_speed": (999.0,),
    },
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
    header = next((line for line in lines if line.strip() and not line.startswith("#")), "")
    time_name = choice.columns.get("time", "time")
    return "csv" if time_name in header and any(mark in header for mark in ",;\t") else ""


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
        return read_table(text, choice, site=site, offset_h=offset_h, source=source)
    _refuse_table_options(choice, found, source)
    readers: dict[str, Callable[[Path, str], FileContent]] = {
        "tmy3": _read_tmy3,
        "tmy2": _read_tmy2,
        "epw": _read_epw,
    }
    try:
        return readers[found](path, text)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError) as error:
        raise source.error(
            found=f"starts as a {found.upper()} file and then cannot be read ({error})"[:300],
            allowed=ACCEPTED,
            why="a line is cut, a column is missing, or a figure is not a number",
            remedy="download the file again, or take another",
        ) from error


def _text(path: Path, source: Source) -> str:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise source.error(
            found=f"cannot be opened ({error.strerror})",
            allowed=ACCEPTED,
            why="",
            remedy="check the name; it is looked for beside the site file",
        ) from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _refuse_table_options(choice: WeatherChoice, found: str, source: Source) -> None:
    given = {
        "hour_label": choice.hour_label != "start",
        "utc_offset_h": choice.utc_offset_h is not None,
        "columns": bool(choice.columns),
        "station_latitude_deg": choice.station_latitude_deg is not None,
        "station_longitude_deg": choice.station_longitude_deg is not None,
        "station_elevation_m": choice.station_elevation_m is not None,
    }
    for name, is_given in given.items():
        if is_given:
            raise source.error(
                field_name=name,
                found=f"is a {found.upper()} file",
                allowed="only with a csv file",
                why=f"a {found.upper()} file says itself how it keeps time and where it is from",
                remedy=f"take weather.{name} out of the site file",
            )


def _place(name: str, meta: dict[str, Any]) -> Place:
    return Place(
        name=name.strip() or "unnamed station",
        latitude_deg=float(meta["latitude"]),
        longitude_deg=float(meta["longitude"]),
        elevation_m=float(meta["altitude"]),
    )


def _hours(
    table: pd.DataFrame,
    days: pd.Series[Any],
    hour_start: pd.Series[Any],
    offset_h: float,
    format_name: str,
) -> pd.DataFrame:
    stamps = pd.DatetimeIndex(days + pd.to_timedelta(hour_start, unit="h"))
    hours = table.astype(float)
    for name, marks in _MISSING[format_name].items():
        hours[name] = hours[name].mask(hours[name].isin(marks))
    hours.index = stamps.tz_localize(fixed_zone(offset_h))
    return hours


def _read_tmy3(path: Path, text: str) -> FileContent:
    data, meta = iotools.read_tmy3(io.StringIO(text), map_variables=True)
    clock = data["Time (HH:MM)"].tolist()
    odd = [text for text in clock if not text.endswith(":00")]
    if odd:
        raise ValueError(f"an hour ends at {odd[0]}")
    ends = pd.Series([int(text.split(":")[0]) for text in clock])
    data = data.reset_index(drop=True)
    days = pd.to_datetime(data["Date (MM/DD/YYYY)"], format="%m/%d/%Y")
    offset_h = float(meta["TZ"])
    hours = _hours(data[[*RADIATION, *AIR]], days, ends - 1, offset_h, "tmy3")
    rain, verdict = rain_of_tmy3(data["Lprecip depth (mm)"], data["Lprecip quantity (hr)"])
    if rain is not None:
        hours["precipitation"] = rain.to_numpy()
    return FileContent(
        path=path,
        format_name="TMY3",
        hours=hours,
        offset_h=offset_h,
        station=_place(str(meta["Name"]).strip('"'), meta),
        label_convention=END_OF_HOUR,
        verdicts=(verdict,),
    )


def _read_tmy2(path: Path, text: str) -> FileContent:
    # Read here and not by pvlib, which takes 1.3 s for what this takes 0.03 s; a test compares.
    head, *lines = [line for line in text.splitlines() if line.strip()]
    rows = pd.Series(lines)
    table = pd.DataFrame(
        {name: rows.str[a:b].astype(float) / part for name, (a, b, part) in _TMY2.items()}
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
        station=Place(
            name=head[7:29].strip(),
            latitude_deg=latitude,
            longitude_deg=longitude,
            elevation_m=float(height),
        ),
        verdicts=(no_rain(),),
    )


def _read_epw(path: Path, text: str) -> FileContent:
    data, meta = iotools.read_epw(io.StringIO(text))
    period = next(line for line in text.splitlines() if line.upper().startswith("DATA PERIODS,"))
    if period.split(",")[2].strip() != "1":
        raise ValueError(f"{period.split(',')[2]} records an hour; hourly values are wanted")
    data = data.reset_index(drop=True)
    offset_h = float(meta["TZ"])
    hours = _hours(
        data[[*RADIATION, *AIR]],
        pd.to_datetime(data[["year", "month", "day"]]),
        data["hour"] - 1,
        offset_h,
        "epw",
    )
    rain, verdict = rain_of_epw(
        data["liquid_precipitation_depth"], data["liquid_precipitation_quantity"]
    )
    if rain is not None:
        hours["precipitation"] = rain.to_numpy()
    return FileContent(
        path=path,
        format_name="EPW",
        hours=hours,
        offset_h=offset_h,
        station=_place(str(meta["city"]), meta),
        label_convention=HOUR_NUMBER,
        verdicts=(verdict,),
    )
