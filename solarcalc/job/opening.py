"""Open a job: the site file and its weather year, with the sun's place in each hour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.paths import demo_sites
from solarcalc.basis.text import nearest
from solarcalc.sitefile.changes import with_changes
from solarcalc.sitefile.read import SiteFile, read_site
from solarcalc.sitefile.records import Site
from solarcalc.sun import sun_of_hours
from solarcalc.weather.read import read_weather
from solarcalc.weather.records import WeatherYear


@dataclass(frozen=True, kw_only=True, eq=False)
class Job:
    """One site with its year.

    Parameters
    ----------
    sitefile : SiteFile
    weather : WeatherYear
    sun : DataFrame, shape (8760,)
        Sun angles of the middle of each hour [deg].
    """

    sitefile: SiteFile
    weather: WeatherYear
    sun: pd.DataFrame

    @property
    def site(self) -> Site:
        """The validated record of the site file."""
        return self.sitefile.site


def site_path(site_file: str) -> Path:
    """Path of a site file, or of the demo site of that name.

    A name is looked for in ``../data/sites`` first, so that workbooks copied out together with
    the demo sites use the copies, which can be changed; then among those of the installation.

    Raises
    ------
    InputError
        When it is neither.
    """
    beside = Path("..") / "data" / "sites" / f"{site_file}.toml"
    for path in (Path(site_file), beside):
        if path.is_file():
            return path
    demos = demo_sites()
    if site_file in demos:
        return demos[site_file]
    guess = nearest(site_file, demos)
    raise InputError(
        Fault(
            where="site_file",
            given=site_file,
            allowed="a site file, or a demo site: " + ", ".join(demos),
            remedy=f"did you mean {guess}?" if guess else "make one with: solarcalc new NAME",
        )
    )


def open_job(site_file: str, changes: Mapping[str, Mapping[str, Any]] | None = None) -> Job:
    """Read the site and its weather, and place the sun.

    Parameters
    ----------
    site_file : str
        Path of a site file, or the name of a demo site.
    changes : mapping of table to mapping of key to value, optional
        Values to use in place of the file's; None values leave the file's own.

    Raises
    ------
    InputError
        With every fault of the site file, of the changes or of the weather.
    """
    sitefile = read_site(site_path(site_file))
    if changes:
        sitefile = with_changes(sitefile, changes)
    weather, sun = _year(sitefile)
    return Job(sitefile=sitefile, weather=weather, sun=sun)


def changed(job: Job, **tables: Mapping[str, Any]) -> Job:
    """The same job with values of the site changed: ``changed(job, array={"tilt_deg": 5.0})``."""
    sitefile = with_changes(job.sitefile, tables)
    same = {"site", "weather"}.isdisjoint(tables)
    weather, sun = (job.weather, job.sun) if same else _year(sitefile)
    return Job(sitefile=sitefile, weather=weather, sun=sun)


def _year(sitefile: SiteFile) -> tuple[WeatherYear, pd.DataFrame]:
    weather, place = read_weather(sitefile), sitefile.site.site
    sun = sun_of_hours(
        pd.DatetimeIndex(weather.hours.index),
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
    )
    return weather, sun


@dataclass(frozen=True, eq=False)
class Same:
    """A table as a key: the same only as itself."""

    table: pd.DataFrame

    def __hash__(self) -> int:
        return id(self.table)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Same) and other.table is self.table
