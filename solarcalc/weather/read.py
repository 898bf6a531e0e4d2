"""From a weather file to one checked typical year at the site's clock, near enough to the site."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import pandas as pd

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import to_zone_of_year
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.read import SiteFile, weather_path
from solarcalc.sitefile.weather import DOWNLOAD, MONTHLY, MonthlyMeans, WeatherChoice
from solarcalc.weather.calendar import check_clear_days, lay_on_year, without_night_sun
from solarcalc.weather.closure import check_closure, with_beam_and_diffuse
from solarcalc.weather.download import content_from_download
from solarcalc.weather.files import read_file
from solarcalc.weather.limits import without_gaps, without_impossible
from solarcalc.weather.monthly import content_from_means
from solarcalc.weather.records import (
    RADIATION,
    RAIN,
    FileContent,
    Place,
    Source,
    SunOfYear,
    WeatherYear,
    sun_of_year,
)

EARTH_RADIUS_KM = float(constant("weather.earth_radius_km"))
MAX_ELEVATION_GAP_M = float(constant("weather.max_elevation_gap_m"))


def distance_km(one: Place, other: Place) -> float:
    """Great-circle distance [km]; haversine formula, right across the date line and the poles."""
    lat_one, lat_other = math.radians(one.latitude_deg), math.radians(other.latitude_deg)
    lon_gap = math.radians(other.longitude_deg - one.longitude_deg)
    half = (
        math.sin((lat_other - lat_one) / 2.0) ** 2
        + math.cos(lat_one) * math.cos(lat_other) * math.sin(lon_gap / 2.0) ** 2
    )
    return 2.0 * EARTH_RADIUS_KM * math.asin(math.sqrt(min(1.0, half)))


def check_place(
    station: Place | None, site: Place, max_distance_km: float, source: Source
) -> list[Check]:
    """Checks on distance and height.

    Raises
    ------
    InputError
        When the station is farther than `max_distance_km`.
    """
    if station is None:
        return [
            Check(
            rule="weather/place", kind="data",
            item="Place of the weather", found="not given, taken as the site's",
                    limit=f"{max_distance_km:g} km", unit="", outcome="review", clause=NO_SOURCE,
                    remedy="give weather.station_latitude_deg and weather.station_longitude_deg")
        ]
    apart = distance_km(station, site)
    if apart > max_distance_km:
        raise source.error(**worded(
            "weather", "check-place", station=station, apart=apart, latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg, max_distance_km=max_distance_km,
        ))  # fmt: skip
    return [_distance_check(apart, station, max_distance_km), _height_check(site, station)]


def _distance_check(apart_km: float, station: Place, max_distance_km: float) -> Check:
    far = apart_km > max_distance_km / 2.0
    return checked(not far, **worded(
        "weather", "distance-weather-station", station_name=station.name, apart_km=apart_km,
        max_distance_km=max_distance_km,
    ))  # fmt: skip


def _height_check(site: Place, station: Place) -> Check:
    gap_m = site.elevation_m - station.elevation_m
    high = abs(gap_m) > MAX_ELEVATION_GAP_M
    return checked(not high, **worded(
        "weather", "site-above-weather", gap_m=gap_m, max_elevation_gap_m=MAX_ELEVATION_GAP_M,
    ))  # fmt: skip


def read_weather(sitefile: SiteFile) -> WeatherYear:
    """The checked typical year of a site.

    Parameters
    ----------
    sitefile : SiteFile

    Returns
    -------
    WeatherYear

    Raises
    ------
    InputError
        As `read_weather_file`.
    """
    place, choice = sitefile.site.site, sitefile.site.weather
    where, offset_h = sitefile.path.name, sitefile.offset_h
    site = Place(name="the site", latitude_deg=place.latitude_deg,
                 longitude_deg=place.longitude_deg, elevation_m=place.elevation_m)
    if choice.source == MONTHLY and choice.monthly is not None:
        return make_weather(choice.monthly, site=site, offset_h=offset_h, where=where)
    if choice.source == DOWNLOAD and choice.year is not None:
        content = content_from_download(choice.year, site=site, where=where)
        return _year(content, choice, site, offset_h, Source(where=where, path=content.path))
    path = weather_path(sitefile)
    return read_weather_file(path, choice, site=site, offset_h=offset_h, where=where)


def read_weather_file(
    path: Path, choice: WeatherChoice, *, site: Place, offset_h: float, where: str
) -> WeatherYear:
    """The checked typical year of one weather file for a place.

    Parameters
    ----------
    path : Path
        The weather file.
    choice : WeatherChoice
        The weather table of the site file.
    site : Place
    offset_h : float
        Standard-time offset of the site's clock [h].
    where : str
        Name of the site file, for messages.

    Returns
    -------
    WeatherYear

    Raises
    ------
    InputError
        Names site file, field, weather file, what was found and what is allowed: unknown or
        broken file, wrong step, more than a year, contradicting or missing hours, impossible
        values, light at night, radiation that does not close, a station too far away.
    """
    source = Source(where=where, path=path)
    content = read_file(path, choice, site=site, offset_h=offset_h, source=source)
    return _year(content, choice, site, offset_h, source)


def make_weather(
    means: MonthlyMeans, *, site: Place, offset_h: float, where: str
) -> WeatherYear:
    """The checked typical year made from twelve monthly means of a place.

    Parameters
    ----------
    means : MonthlyMeans
        The table [weather.monthly] of the site file.
    site : Place
    offset_h : float
        Standard-time offset of the site's clock [h].
    where : str
        Name of the site file, for messages.

    Returns
    -------
    WeatherYear
        It went through the checks of a file; a caution says that it was made.

    Raises
    ------
    InputError
        As `read_weather_file`, where the means make an impossible year.
    """
    content = content_from_means(means, site=site, offset_h=offset_h)
    source = Source(where=where, path=content.path)
    return _year(content, WeatherChoice(source=MONTHLY), site, offset_h, source)


def _year(
    content: FileContent, choice: WeatherChoice, site: Place, offset_h: float, source: Source
) -> WeatherYear:
    path, station = content.path, content.station or site
    hours, checks = _checked(_Asked(content=content, choice=choice, site=site, source=source))
    columns = [*RADIATION, "temp_air", "wind_speed", *([RAIN] if RAIN in hours else [])]
    return WeatherYear(
        hours=to_zone_of_year(hours[columns].astype(float), offset_h),
        station=station.name if content.station else f"{path.name}, place not given",
        station_latitude_deg=station.latitude_deg,
        station_longitude_deg=station.longitude_deg,
        station_elevation_m=station.elevation_m,
        station_offset_h=content.offset_h,
        distance_km=distance_km(station, site),
        elevation_gap_m=site.elevation_m - station.elevation_m,
        source=f"{path.name} ({content.format_name})",
        file_label_convention=content.label_convention,
        has_rain=RAIN in hours,
        checks=tuple(checks),
        winter=content.winter,
    )


@dataclass(frozen=True, kw_only=True)
class _Asked:
    """A file's content to be checked for a place; what only words a fault does not count."""

    content: FileContent
    choice: WeatherChoice
    site: Place
    source: Source = field(compare=False)


@lru_cache(maxsize=8)
def _checked(asked: _Asked) -> tuple[pd.DataFrame, list[Check]]:
    """The hours of a file after all checks and repairs, still on the file's clock.

    Kept: a site is opened again, and sites of one batch share a file.
    """
    content, choice, site, source = asked.content, asked.choice, asked.site, asked.source
    laid, checks = lay_on_year(content, source)
    sun = sun_of_year(pd.DatetimeIndex(laid.index), content.station or site)
    hours, said, faults = without_impossible(laid, sun, source)
    checks += said
    if not faults:
        hours, said = without_gaps(hours, sun, source)
        checks += said
    faults = [*_place_and_clock(hours, sun, choice, content, site, source, checks), *faults]
    if faults:
        raise InputError(faults)
    hours, _ = without_night_sun(hours, sun, source)  # its check is among the above
    hours, said = with_beam_and_diffuse(hours, sun, rebuild_beam=choice.rebuild_beam)
    checks += said
    return hours, [*checks, *content.checks]


def _place_and_clock(
    hours: pd.DataFrame, sun: SunOfYear, choice: WeatherChoice, content: FileContent, site: Place,
    source: Source, checks: list[Check],
) -> list[Fault]:  # fmt: skip
    """What is wrong with place and clock, all of it; what is right goes to `checks`."""
    label = choice.hour_label if content.format_name == "CSV" else None
    complete = "dni" in hours and "dhi" in hours
    rebuild = choice.rebuild_beam
    steps: list[Callable[[], list[Check]]] = [
        lambda: check_place(content.station, site, choice.max_distance_km, source),
        lambda: without_night_sun(hours, sun, source)[1],
    ]
    if complete:
        steps.append(
            lambda: [check_closure(hours, sun, source, rebuild_beam=rebuild, hour_label=label)]
        )
    if rebuild or not complete:
        steps.append(lambda: [check_clear_days(hours, sun, source, hour_label=label)])
    faults: list[Fault] = []
    for step in steps:
        try:
            checks += step()
        except InputError as error:
            faults += error.faults
    return faults
