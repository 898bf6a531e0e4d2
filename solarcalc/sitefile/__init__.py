"""The site file: the one place where a user's words become a validated record."""

from solarcalc.sitefile.read import SiteFile, read_site, weather_path
from solarcalc.sitefile.records import Site

__all__ = ["Site", "SiteFile", "read_site", "weather_path"]
