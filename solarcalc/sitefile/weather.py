"""Where the year's weather comes from: [weather], [weather.monthly]."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import Any, Literal

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.hours import MONTHS
from solarcalc.basis.sourced import constant
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import FileName, Record, Sound, shown

CSV_ONLY = ("hour_label", "utc_offset_h", "columns", "station_latitude_deg",
            "station_longitude_deg", "station_elevation_m")
"""Keys of [weather] that only a plain CSV file needs: the others carry these facts themselves."""
WEATHER_COLUMNS = ("time", "ghi", "dni", "dhi", "temp_air", "wind_speed", "precipitation")
"""Our names of the columns of a plain CSV weather year."""
MONTHLY = "monthly"
"""Weather source that makes the year from [weather.monthly]."""
DOWNLOAD = "download"
"""Weather source that fetches one year of an open hourly dataset and keeps it."""
LIBRARY = "library:"
"""Prefix of a weather source that is a file of the installed pvlib's own data."""
NO_FILE = (MONTHLY, DOWNLOAD)
"""Weather sources that name no file."""
_MONTHLY_LIMITS = {"ghi_kwh_m2_day": (0.0, 15.0), "temp_air_c": (-70.0, 50.0),
                   "temp_range_k": (0.0, 40.0), "wind_speed_m_s": (0.0, 30.0),
                   "rain_mm": (0.0, 3000.0)}
"""What a monthly mean may be; common practice, no source."""


class MonthlyMeans(Record):
    """[weather.monthly]: twelve figures a line, January first."""

    ghi_kwh_m2_day: list[float] = Field(
        min_length=12, max_length=12,
        description="global horizontal irradiation (GHI), mean of one day"
    )
    temp_air_c: list[float] = Field(min_length=12, max_length=12)
    temp_range_k: list[float] | None = Field(
        default=None, min_length=12, max_length=12,
        description="from the daily minimum to the daily maximum"
    )
    wind_speed_m_s: list[float] | None = Field(default=None, min_length=12, max_length=12)
    rain_mm: list[float] | None = Field(
        default=None, min_length=12, max_length=12, description="of the whole month"
    )
    seed: int = Field(default=1, ge=0, le=999999, description="another seed, other days")

    @field_validator(*_MONTHLY_LIMITS)
    @classmethod
    def _possible(cls, value: list[float] | None, info: ValidationInfo) -> list[float] | None:
        low, high = _MONTHLY_LIMITS[str(info.field_name)]
        if value is not None and any(not low <= figure <= high for figure in value):
            raise ValueError(f"a list of 12 numbers, each from {low:g} to {high:g}")
        return value


class WeatherChoice(Record):
    """[weather]: the typical year and how far it may be trusted."""

    source: FileName = Field(
        description='a file, library:FILE of pvlib\'s own data, "monthly" or "download"'
    )
    format: Literal["auto", "tmy2", "tmy3", "epw", "csv"] = "auto"
    hour_label: Literal["start", "middle", "end"] = Field(
        default="start", description="csv only: which moment of the hour the time stamp marks"
    )
    utc_offset_h: float | None = Field(default=None, ge=-12.0, le=14.0, multiple_of=0.25,
                                       description="csv only; the site's own by default")
    station_latitude_deg: float | None = Field(default=None, ge=-90.0, le=90.0)
    station_longitude_deg: float | None = Field(default=None, ge=-180.0, le=180.0)
    station_elevation_m: float | None = Field(default=None, ge=-430.0, le=6000.0)
    columns: dict[str, str] = Field(
        default_factory=dict, description="csv only: our column name = the file's column name"
    )
    rain_unit: Literal["auto", "mm", "tenths-of-mm", "cm", "inches"] = Field(
        default="auto",
        description="of the rain in the file; auto: by the column name and its values"
    )
    max_distance_km: float = Field(default=100.0, gt=0.0, le=20100.0)
    rebuild_beam: bool = Field(
        default=False, description="keep global, derive beam and diffuse by decomposition"
    )
    year: int | None = Field(
        default=None, ge=2001, le=2100, description="of the download, from 2001 on"
    )
    monthly: MonthlyMeans | None = None


CLEARNESS = (0.10, 0.82)
"""Monthly mean clearness that is believed; common practice, no source. Measured: 0.25 to 0.75."""

MARGIN_KWH_M2_DAY = float(constant("sitefile.margin_kwh_m2_day"))

_FILE_ONLY = ("format", *CSV_ONLY, "max_distance_km", "rain_unit")
_NEEDS = {
    MONTHLY: ("monthly", "the table [weather.monthly] with ghi_kwh_m2_day and temp_air_c"),
    DOWNLOAD: ("year", "year = 2001 or later"),
}
"""Source that is no file: the key it needs and alone may have, and that key in words."""

MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def weather_faults(sound: Sound) -> Iterator[Fault]:
    """Keys of [weather] that do not go together, and monthly means that no sun allows."""
    yield from _weather_format(sound)
    yield from _weather_columns(sound)
    yield from _station(sound)
    yield from _source(sound)


def _source(sound: Sound) -> Iterator[Fault]:
    source = sound.get("weather", "source")
    if source is None:
        return
    for other, (key, _) in _NEEDS.items():
        if source != other and sound.given("weather", key):
            yield sound.fault(("weather", key), f"given with source = {source!r}"[:120],
                              f'left out, or source = "{other}"',
                              "the weather comes from one source")
    if source not in _NEEDS:
        return
    refused = (*_FILE_ONLY, "rebuild_beam") if source == MONTHLY else _FILE_ONLY
    for name in refused:
        if sound.given("weather", name):
            yield sound.fault(("weather", name), sound.data["weather"][name],
                              f'left out with source = "{source}"',
                              "it concerns a weather file, and there is none", f"delete {name}")
    key, words = _NEEDS[source]
    if not sound.given("weather", key):
        yield sound.fault(("weather", key), "nothing", words, f'source = "{source}" needs it',
                          "add it; solarcalc new NAME shows every key")
    elif source == MONTHLY:
        yield from _clearness(sound)


def _clearness(sound: Sound) -> Iterator[Fault]:
    latitude: Any = sound.get("site", "latitude_deg")
    given: Any = sound.get("weather", "monthly", "ghi_kwh_m2_day")
    if latitude is None or not isinstance(given, list):
        return
    low, high = CLEARNESS
    wrong = []
    for name, mean, above in zip(MONTHS, given, above_air_kwh_m2_day(latitude), strict=True):
        least = low * above - MARGIN_KWH_M2_DAY
        most = high * above + MARGIN_KWH_M2_DAY
        if not least <= mean <= most:
            wrong.append(f"{name} {mean:g} (allowed {max(least, 0.0):.2f} to {most:.2f})")
    if wrong:
        yield sound.fault(("weather", "monthly", "ghi_kwh_m2_day"),
                          **worded("sitefile", "clearness", low=low, high=high, latitude=latitude),
                          given=", ".join(wrong))  # fmt: skip


@lru_cache(maxsize=64)
def above_air_kwh_m2_day(latitude_deg: float) -> tuple[float, ...]:
    """Daily radiation above the air on the flat, mean of each month [kWh/m2 a day].

    Parameters
    ----------
    latitude_deg : float
        North positive [deg], -90 to 90.

    Notes
    -----
    Duffie and Beckman 2013 eq. 1.10.3 for every day of the month, with eq. 1.4.1a for the
    distance of the sun, eq. 1.6.1a for its declination, and 1367 W/m2.
    """
    first, means = 1, []
    for days in MONTH_DAYS:
        total = sum(_above_air(latitude_deg, day) for day in range(first, first + days))
        means.append(total / days)
        first += days
    return tuple(means)


def _declination_rad(day: int) -> float:
    return math.radians(23.45) * math.sin(math.radians(360.0 * (284 + day) / 365.0))


def _above_air(latitude_deg: float, day: int) -> float:
    declination = _declination_rad(day)
    latitude = math.radians(min(max(latitude_deg, -89.99), 89.99))
    sunset = math.acos(min(max(-math.tan(latitude) * math.tan(declination), -1.0), 1.0))
    normal = 1.367 * (1.0 + 0.033 * math.cos(math.radians(360.0 * day / 365.0)))
    return (
        24.0 / math.pi * normal
        * (
            math.cos(latitude) * math.cos(declination) * math.sin(sunset)
            + sunset * math.sin(latitude) * math.sin(declination)
        )
    )


def beam_on_plane(latitude_deg: float, day: int, *, tilt_deg: float, azimuth_deg: float) -> float:
    """Direct light of a day on a plane over that on the flat, above the air.

    Parameters
    ----------
    latitude_deg : float
        North positive [deg], -90 to 90.
    day : int
        Of the year, from 1.
    tilt_deg, azimuth_deg : float
        Of the plane; 0 north, 90 east [deg].

    Returns
    -------
    float
        0 where the sun does not rise.

    Notes
    -----
    The height of the sun and its angle to the plane each half-hour of solar time, Duffie and
    Beckman 2013 eq. 1.6.2 and 1.6.5, in axes east, north and up.
    """
    declination = _declination_rad(day)
    north, tilt, azimuth = map(math.radians, (latitude_deg, tilt_deg, azimuth_deg))
    flat = plane = 0.0
    for half_hour in range(48):
        turn = math.radians(7.5 * half_hour - 176.25)
        noon = math.cos(declination) * math.cos(turn)
        up = math.sin(north) * math.sin(declination) + math.cos(north) * noon
        if up > 0.0:
            to_east = -math.cos(declination) * math.sin(turn)
            to_north = math.cos(north) * math.sin(declination) - math.sin(north) * noon
            flat += up
            plane += max(up * math.cos(tilt) + math.sin(tilt) * (
                to_east * math.sin(azimuth) + to_north * math.cos(azimuth)), 0.0)  # fmt: skip
    return plane / flat if flat > 0.0 else 0.0


_FORMAT_OF_SUFFIX = {".tm2": "tmy2", ".epw": "epw"}


def _weather_format(sound: Sound) -> Iterator[Fault]:
    source, named = sound.get("weather", "source"), sound.get("weather", "format")
    if source is None or named is None or source in NO_FILE:
        return
    known = _known_format(source) if named == "auto" else named
    if known in (None, "csv"):
        return
    for name in CSV_ONLY:
        if sound.given("weather", name):
            yield sound.fault(("weather", name), given=sound.data["weather"][name], **worded(
                "sitefile", "weather-format", known=known, name=name,
                or_csv=', or write format = "csv"' if named == "auto" else "",
            ))  # fmt: skip


def _known_format(source: str) -> str | None:
    """Format that the name alone tells; a .csv may be of two kinds, but not in the library."""
    ending = "." + source.rsplit(".", 1)[-1].lower()
    if source.startswith("library:") and ending == ".csv":
        return "tmy3"
    return _FORMAT_OF_SUFFIX.get(ending)


def _weather_columns(sound: Sound) -> Iterator[Fault]:
    columns = sound.get("weather", "columns")
    for name in columns or ():
        if name not in WEATHER_COLUMNS:
            near = nearest(name, WEATHER_COLUMNS)
            yield sound.fault(
                ("weather", "columns", name),
                **worded("sitefile", "weather-columns", weather_columns=", ".join(WEATHER_COLUMNS)),
                given=columns[name], remedy=f"did you mean {near}?" if near else "",
            )  # fmt: skip


def _station(sound: Sound) -> Iterator[Fault]:
    names = ("station_latitude_deg", "station_longitude_deg")
    has = [sound.given("weather", name) for name in names]
    if has[0] == has[1]:
        return
    missing, present = names if has[1] else names[::-1]
    yield sound.fault(("weather", missing),
                      f"nothing, with {present} = {shown(sound.data['weather'][present])}",
                      "both or neither of " + " and ".join(names), "half a place is no place",
                      f"add {missing}, or delete {present}")
