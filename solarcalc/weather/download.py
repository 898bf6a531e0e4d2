"""One year of an open hourly dataset for the site, fetched once and kept on the disk."""

from __future__ import annotations

import io
from contextlib import suppress
from pathlib import Path

import pandas as pd
from pvlib.iotools.nasa_power import get_nasa_power

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import user_cache, write_whole
from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.sealed import sealed, unsealed
from solarcalc.basis.worded import worded
from solarcalc.weather.rain import rain_of_table
from solarcalc.weather.records import AIR, RADIATION, RAIN, FileContent, Place, Source

DATASET = "NASA POWER, hourly"
SITE_OF_DATASET = "https://power.larc.nasa.gov"
_RAIN_THERE = "PRECTOTCORR"  # "precipitation corrected", mm in the hour; POWER parameter list
_RAIN_UNIT = "mm"
_COLUMNS = (*RADIATION, *AIR, RAIN)


def cache_folder() -> Path:
    """Folder of the downloaded years."""
    return user_cache("weather")


def content_from_download(year: int, *, site: Place, where: str) -> FileContent:
    """One real year at the site, from the disk or else from the network.

    Parameters
    ----------
    year : int
        2001 or later.
    site : Place
        Its latitude and longitude are sent to the server of the dataset.
    where : str
        Name of the site file, for messages.

    Returns
    -------
    FileContent
        8760 hours, 8784 in a leap year, at UTC.

    Raises
    ------
    InputError
        When the year is not on the disk and cannot be fetched, or the answer is not a year.
    """
    # 4 decimals of a degree are about 10 m
    name = f"power_{site.latitude_deg:.4f}_{site.longitude_deg:.4f}_{year}.csv"
    path = cache_folder() / name
    hours = _kept(path)
    if hours is None:
        hours = _fetched(year, site, Source(where=where, path=path))
        if not hours[list(RADIATION)].isna().any().any():
            _keep(hours, path)
    rain, found = rain_of_table(hours.pop(RAIN) if RAIN in hours else None, _RAIN_UNIT)
    if rain is not None:
        hours[RAIN] = rain
    return FileContent(
        path=path,
        format_name=f"{DATASET}, {year}",
        hours=hours,
        station=Place(name=f"{DATASET}, cell of the site", latitude_deg=site.latitude_deg,
                      longitude_deg=site.longitude_deg, elevation_m=site.elevation_m),
        offset_h=0.0,
        label_convention="each hour is named by its start, at UTC",
        checks=(Check(**worded("weather", "weather-year", year=year), outcome="review"), found),
    )


def _kept(path: Path) -> pd.DataFrame | None:
    """The kept year, or None where there is none or it is broken (it is then fetched anew)."""
    try:
        raw = unsealed(path.read_bytes(), path.name)
        hours = pd.read_csv(io.BytesIO(raw), comment="#", index_col="time")
        hours.index = pd.to_datetime(hours.index, utc=True)
        hours = hours.astype(float)
    except (OSError, ValueError, KeyError, TypeError):
        return None
    whole = len(hours) >= HOURS_IN_YEAR and set(_COLUMNS) - {RAIN} <= set(hours)
    return hours if whole else None


def _keep(hours: pd.DataFrame, path: Path) -> None:
    """Write the year whole or not at all; a disk that cannot be written is no fault."""
    head = f"# {DATASET}, {SITE_OF_DATASET}; W/m2, degC, m/s, mm; starts of hours\n"
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        text = head + hours.to_csv(index_label="time", lineterminator="\n")
        write_whole(path, sealed(text.encode(), path.name))


def _fetched(year: int, site: Place, source: Source) -> pd.DataFrame:
    """The year from the server of the dataset."""
    try:
        hours, _ = get_nasa_power(site.latitude_deg, site.longitude_deg,
                                  start=f"{year}-01-01", end=f"{year}-12-31",
                                  parameters=[*RADIATION, *AIR, _RAIN_THERE])
    except OSError as error:  # an answer that says no; else no network, or no answer
        kind = type(error).__name__
        said = str(error) if kind == "HTTPError" else f"the server cannot be reached: {kind}"
        raise _no_download(source, said) from error
    except (ValueError, KeyError, TypeError) as error:
        raise _no_download(source, f"an answer that is no weather: {error}") from error
    known: pd.DataFrame = hours.rename(columns={_RAIN_THERE: RAIN})
    absent = [name for name in _COLUMNS if name not in known and name != RAIN]
    if absent:
        raise _no_download(source, "an answer without " + ", ".join(absent))
    return known[[name for name in _COLUMNS if name in known]].astype(float)


def _no_download(source: Source, found: str) -> InputError:
    return source.error(**worded(
        "weather", "no-download", said=" ".join(found.split())[:200], folder=source.path.parent,
    ))  # fmt: skip
