"""One site with its weather year and the sun over it: what every stage of a design starts from."""

from __future__ import annotations

from typing import Protocol

import pandas as pd

from solarcalc.sitefile.read import SiteFile
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


def sun_over(site: Site, weather: WeatherYear) -> pd.DataFrame:
    """Sun angles over a site in the middle of each hour of its year [deg]."""
    place = site.site
    return sun_of_hours(pd.DatetimeIndex(weather.hours.index), latitude_deg=place.latitude_deg,
                        longitude_deg=place.longitude_deg, elevation_m=place.elevation_m)
