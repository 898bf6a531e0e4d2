"""Where the site is, what stands around it, its weather: [site], [horizon], [weather]."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, ValidationInfo, field_validator

from solarcalc.basis.sourced import constant
from solarcalc.sitefile.base import FileName, Line, Name, Note, Record, rising

CSV_ONLY = (
    "hour_label",
    "utc_offset_h",
    "columns",
    "station_latitude_deg",
    "station_longitude_deg",
    "station_elevation_m",
)
"""Keys of [weather] that only a plain CSV file needs: the others carry these facts themselves."""

WEATHER_COLUMNS = ("time", "ghi", "dni", "dhi", "temp_air", "wind_speed", "precipitation")
"""Our names of the columns of a plain CSV weather year."""


class Place(Record):
    """[site]: who and where."""

    name: Name
    customer: Line = ""
    note: Note = ""
    latitude_deg: float = Field(ge=-90.0, le=90.0, description="north positive")
    longitude_deg: float = Field(ge=-180.0, le=180.0, description="east positive")
    elevation_m: float = Field(ge=-430.0, le=6000.0)
    time_zone: str = Field(description="IANA name such as Africa/Lusaka, or UTC+05:45")


HORIZON_MAX_DEG = float(constant("sitefile.horizon_max_deg"))


class Horizon(Record):
    """[horizon]: the line of hills, trees and buildings far off, as points around the circle."""

    azimuth_deg: list[float] = Field(
        default_factory=list, description="of each point: 0 north, 90 east, in rising order"
    )
    height_deg: list[float] = Field(
        default_factory=list,
        validate_default=True,
        description="of the line above the level at each of those azimuths",
    )

    @field_validator("azimuth_deg")
    @classmethod
    def _around_the_circle(cls, value: list[float]) -> list[float]:
        if not rising(value) or any(not 0.0 <= azimuth < 360.0 for azimuth in value):
            raise ValueError("a list of numbers from 0 to below 360, each above the one before it")
        return value

    @field_validator("height_deg")
    @classmethod
    def _one_a_point(cls, value: list[float], info: ValidationInfo) -> list[float]:
        points = info.data.get("azimuth_deg")
        if points is not None and len(points) != len(value):
            raise ValueError(
                f"as many numbers as there are in horizon.azimuth_deg, which has {len(points)}"
            )
        if any(not 0.0 <= height <= HORIZON_MAX_DEG for height in value):
            raise ValueError(f"a list of numbers, each from 0 to {HORIZON_MAX_DEG:g}")
        return value


MONTHLY = "monthly"
"""Weather source that makes the year from [weather.monthly]."""

DOWNLOAD = "download"
"""Weather source that fetches one year of an open hourly dataset and keeps it."""

NO_FILE = (MONTHLY, DOWNLOAD)
"""Weather sources that name no file."""

_MONTHLY_LIMITS = {
    "ghi_kwh_m2_day": (0.0, 15.0),
    "temp_air_c": (-70.0, 50.0),
    "temp_range_k": (0.0, 40.0),
    "wind_speed_m_s": (0.0, 30.0),
    "rain_mm": (0.0, 3000.0),
}
"""What a monthly mean may be; common practice, no source."""


class MonthlyMeans(Record):
    """[weather.monthly]: twelve figures a line, January first."""

    ghi_kwh_m2_day: list[float] = Field(
        min_length=12, max_length=12, description="global radiation on the flat, mean of one day"
    )
    temp_air_c: list[float] = Field(min_length=12, max_length=12)
    temp_range_k: list[float] | None = Field(
        default=None, min_length=12, max_length=12, description="night's lowest to day's highest"
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
        default="start", description="csv only: which moment of the hour its stamp names"
    )
    utc_offset_h: float | None = Field(
        default=None,
        ge=-12.0,
        le=14.0,
        multiple_of=0.25,
        description="csv only; the site's own when left out",
    )
    station_latitude_deg: float | None = Field(default=None, ge=-90.0, le=90.0)
    station_longitude_deg: float | None = Field(default=None, ge=-180.0, le=180.0)
    station_elevation_m: float | None = Field(default=None, ge=-430.0, le=6000.0)
    columns: dict[str, str] = Field(
        default_factory=dict, description="csv only: our column name = the file's column name"
    )
    max_distance_km: float = Field(default=100.0, gt=0.0, le=20100.0)
    rebuild_beam: bool = Field(
        default=False, description="keep global, rebuild beam and diffuse by decomposition"
    )
    year: int | None = Field(
        default=None, ge=2001, le=2100, description="of the download, from 2001 on"
    )
    monthly: MonthlyMeans | None = None
