"""Plain tables: CSV with a header row, a time column and our columns or a map to them."""

from __future__ import annotations

import io
from typing import Any

import pandas as pd

from solarcalc.basis.hours import fixed_zone
from solarcalc.basis.text import nearest
from solarcalc.sitefile.records import WeatherChoice
from solarcalc.weather.rain import rain_of_table
from solarcalc.weather.records import (
    AIR,
    RAIN,
    UNITS,
    FileContent,
    Place,
    Source,
)

LABEL_SHIFT = {
    "start": pd.Timedelta(0),
    "middle": pd.Timedelta(minutes=-30),
    "end": pd.Timedelta(minutes=-60),
}
MISSING = (-9999.0, -9900.0, -999.0, 9999.0, 99999.0)
"""Figures that no column can hold and that tables use for "missing"; common practice, no source."""

_OFFSET_AT_END = r"(?:[Zz]|[+-]\d\d:?\d\d)$"
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
    frame = _frame(text, choice, source)
    stamps, clock_h, zone_words = _stamps(frame["time"], choice, offset_h, source)
    hours = pd.DataFrame(
        {name: _numbers(frame[name], name, source) for name in UNITS if name in frame}
    )
    rain, verdict = rain_of_table(hours.pop(RAIN) if RAIN in hours else None)
    if rain is not None:
        hours[RAIN] = rain
    starts = stamps + LABEL_SHIFT[choice.hour_label]
    _check_whole_hours(starts, choice, zone_words, source)
    hours.index = starts
    return FileContent(
        path=source.path,
        format_name="CSV",
        hours=hours,
        station=_station(choice, site, source),
        offset_h=clock_h,
        label_convention=f"each hour is named by its {choice.hour_label}; {zone_words}",
        verdicts=(verdict,),
    )


def _frame(text: str, choice: WeatherChoice, source: Source) -> pd.DataFrame:
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    separator = max(",;\t", key=lines[0].count)
    try:
        frame = pd.read_csv(
            io.StringIO("\n".join(lines)), sep=separator, skipinitialspace=True, dtype=str
        )
    except (ValueError, pd.errors.ParserError) as error:
        raise source.error(
            found=f"cannot be read as a table ({error})",
            allowed="one header row, then rows with as many values",
            why="",
            remedy="open it in a spreadsheet, repair the row and save it as CSV",
        ) from error
    frame = frame.rename(columns=lambda name: str(name).strip())
    ours = {name: name for name in ("time", *UNITS)} | _checked_map(choice, source)
    kept = {theirs: name for name, theirs in ours.items() if theirs in frame.columns}
    needed = ["time", "ghi", *AIR] + [name for name in choice.columns if name != "time"]
    absent = [name for name in dict.fromkeys(needed) if ours[name] not in frame.columns]
    if absent:
        raise source.error(
            field_name="columns",
            found="no column "
            + ", ".join(f'"{ours[name]}"' for name in absent)
            + "; there are "
            + ", ".join(str(name) for name in frame.columns)[:200],
            allowed="columns time, ghi, temp_air, wind_speed; dni, dhi, precipitation if known",
            why="radiation, air temperature and wind set the yield and cannot be guessed",
            remedy='name the file\'s own columns, such as columns = { ghi = "Global" }',
        )
    return frame[list(kept)].rename(columns=kept)


def _checked_map(choice: WeatherChoice, source: Source) -> dict[str, str]:
    known = ("time", *UNITS)
    for name in choice.columns:
        if name not in known:
            near = nearest(name, known)
            raise source.error(
                field_name=f"columns.{name}",
                found=f'the key "{name}"',
                allowed=", ".join(known),
                why="the key is our name, its value the file's",
                remedy=f'did you mean "{near}"?' if near else "take one of the names allowed",
            )
    return dict(choice.columns)


def _numbers(texts: pd.Series[Any], name: str, source: Source) -> pd.Series[Any]:
    values = pd.to_numeric(texts, errors="coerce")
    wrong = values.isna() & texts.notna()
    if wrong.any():
        rows = ", ".join(
            f'row {row + 1} "{texts[row]}"' for row in values.index[wrong][:_SHOWN_ROWS]
        )
        raise source.error(
            found=f"column {name}: {int(wrong.sum())} values are not numbers, first {rows}",
            allowed=f"numbers in {UNITS[name]}, a decimal point, or an empty field if missing",
            why="",
            remedy="repair these rows; rows are counted below the header",
        )
    return values.astype(float).mask(values.isin(MISSING))


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
        raise source.error(
            found=f"column time: {int(wrong.sum())} of {len(texts)} cannot be used, first {rows}",
            allowed="2019-12-31 23:00, or with an offset 2019-12-31T23:00+02:00, all rows alike",
            why="midnight is 00:00 of the new day, not 24:00",
            remedy="repair these rows; rows are counted below the header",
        )
    if with_offset.all():
        if choice.utc_offset_h is not None:
            raise source.error(
                field_name="utc_offset_h",
                found="its times carry an offset of their own",
                allowed="to be left out then",
                why="two offsets may contradict each other",
                remedy="take weather.utc_offset_h out of the site file",
            )
        zone = fixed_zone(offset_h)
        return pd.DatetimeIndex(stamps).tz_convert(zone), offset_h, CARRIED
    clock_h = offset_h if choice.utc_offset_h is None else choice.utc_offset_h
    naive = pd.DatetimeIndex(stamps).tz_localize(None)
    return naive.tz_localize(fixed_zone(clock_h)), clock_h, f"clock is UTC{clock_h:+g} h"


def _check_whole_hours(
    starts: pd.DatetimeIndex, choice: WeatherChoice, zone_words: str, source: Source
) -> None:
    """Refuse stamps that all lie at one odd minute of the file's own clock."""
    minutes = starts.minute.unique()
    if zone_words == CARRIED or len(minutes) != 1 or minutes[0] == 0:
        return
    raise source.error(
        field_name="hour_label",
        found=f"with {choice.hour_label} labels its hours begin {minutes[0]} minutes past",
        allowed="stamps at the full hour, or at the half hour with middle labels",
        why="half an hour of error costs several percent on a roof that faces east or west",
        remedy='stamps at half past mean hour_label = "middle", as a rule',
    )


def _station(choice: WeatherChoice, site: Place, source: Source) -> Place | None:
    latitude, longitude = choice.station_latitude_deg, choice.station_longitude_deg
    if latitude is None and longitude is None:
        return None
    if latitude is None or longitude is None:
        name = "station_latitude_deg" if latitude is None else "station_longitude_deg"
        raise source.error(
            field_name=name,
            found="only one of latitude and longitude is given",
            allowed="both or neither",
            why="a place needs both",
            remedy=f"add weather.{name}",
        )
    height = choice.station_elevation_m
    return Place(
        name=source.path.stem,
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=site.elevation_m if height is None else height,
    )
