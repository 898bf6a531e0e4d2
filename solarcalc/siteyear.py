"""One site with its weather year and the sun over it: what every stage of a design starts from."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import demo_sites
from solarcalc.basis.text import nearest
from solarcalc.sitefile.read import SiteFile, alone, read_site
from solarcalc.sitefile.site import Site
from solarcalc.sun import sun_of_hours
from solarcalc.weather.records import WeatherYear


class SiteYear(Protocol):
    """What a stage may ask of the site it works on; `solarcalc.design.Design` is one."""

    @property
    def sitefile(self) -> SiteFile:
        """The file with its folder and the clock of the site."""

    @property
    def site(self) -> Site:
        """The validated record of the site file."""

    @property
    def weather(self) -> WeatherYear:
        """The typical year, checked."""

    @property
    def sun(self) -> pd.DataFrame:
        """Sun angles of the middle of each hour [deg], shape (8760,)."""

    @property
    def loads(self) -> pd.DataFrame:
        """What each board asks for in each hour [W], one column a board."""


def site_path(site_file: str) -> Path:
    """Path of a site file, or of the demo site of that name.

    A name is looked for in ``../data/sites`` first, so that workbooks copied out together with
    the demo sites use the copies, which can be changed; then among those of the installation.

    Raises
    ------
    InputError
        When it is neither.
    """
    found = _found(site_file)
    if found is not None:
        return found
    demos = demo_sites()
    guess = nearest(site_file.partition(":")[0], demos)
    raise InputError(
        Fault(
            where="site_file",
            given=site_file,
            allowed="a site file, or a demo site: " + ", ".join(demos),
            remedy=f"did you mean {guess}?" if guess else "make one with: solarcalc new NAME",
        )
    )


def _found(site_file: str) -> Path | None:
    """The path of a site, if there is one."""
    beside = Path("..") / "data" / "sites" / f"{site_file}.toml"
    for path in (Path(site_file), beside):
        try:
            if path.is_file():
                return path
        except (OSError, ValueError):  # no file can be called so
            continue
    return demo_sites().get(site_file)


def site_and_variant(word: str) -> tuple[Path, str]:
    """Path of a site file and the name of one of its variants, ``"SITE:variant"``; else no name.

    Raises
    ------
    InputError
        As `site_path`.
    """
    for place in (len(word), *(place for place, letter in enumerate(word) if letter == ":")):
        if (path := _found(word[:place])) is not None:
            return path, word[place + 1:].strip()
    return site_path(word), ""


def read_named(word: str) -> SiteFile:
    """A site file, or one of its variants as a site of its own, by `site_and_variant`.

    Raises
    ------
    InputError
        As `site_and_variant`; with every fault of the site, and of the variant.
    """
    path, variant = site_and_variant(word) if ":" in word else (Path(word), "")
    sitefile = read_site(path)
    return alone(sitefile, variant) if variant else sitefile


def sun_over(site: Site, weather: WeatherYear) -> pd.DataFrame:
    """Sun angles over a site in the middle of each hour of its year [deg]."""
    place = site.site
    return sun_of_hours(pd.DatetimeIndex(weather.hours.index), latitude_deg=place.latitude_deg,
                        longitude_deg=place.longitude_deg, elevation_m=place.elevation_m)


@dataclass(frozen=True, eq=False)
class Same:
    """A table or a record as a key: the same only as itself."""

    table: Any

    def __hash__(self) -> int:
        return id(self.table)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Same) and other.table is self.table
