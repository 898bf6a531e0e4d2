"""What a weather file holds, the year made of it, and the sun over it, computed once."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pvlib import irradiance

from solarcalc.basis.check import Check
from solarcalc.basis.errors import Fault, InputError
from solarcalc.sun import sun_of_hours, sun_position

RADIATION = ("ghi", "dni", "dhi")
AIR = ("temp_air", "wind_speed")
RAIN = "precipitation"

UNITS = {"ghi": "W/m2", "dni": "W/m2", "dhi": "W/m2", "temp_air": "degC", "wind_speed": "m/s",
         "precipitation": "mm"}

MORE_FIRST = 5
"""How many hours a message lists before it says how many more; common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Place:
    """A point on the ground; degrees north and east positive, height [m] above the sea."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float

    def __str__(self) -> str:
        return (
            f"{self.name} ({self.latitude_deg:.3f}, {self.longitude_deg:.3f}, "
            f"{self.elevation_m:.0f} m)"
        )


MonthFigures = tuple[float, ...]
"""Twelve figures, January first."""


@dataclass(frozen=True, kw_only=True)
class Winter:
    """What a weather file says that only snow asks for; None where it does not say it.

    Parameters
    ----------
    humidity_pct : tuple of float or None
        Relative humidity, mean of each month [%].
    ground_days : tuple of float or None
        Days of each month with snow on the ground.
    """

    humidity_pct: MonthFigures | None = None
    ground_days: MonthFigures | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class FileContent:
    """What a reader found in a weather file, before any check.

    Parameters
    ----------
    path : Path
    format_name : str
        In words, for the report.
    hours : pandas.DataFrame
        Columns of `UNITS` as far as the file has them; missing values are NaN. The index is
        time-zone aware and already moved to the start of each hour.
    station : Place or None
        None where the file says nothing of its place.
    offset_h : float
        Offset of the clock the file keeps [h].
    label_convention : str
        How the file names its hours, in words.
    checks : tuple of Check
        What the reader itself had to say.
    winter : Winter
    """

    path: Path
    format_name: str
    hours: pd.DataFrame
    station: Place | None
    offset_h: float
    label_convention: str
    checks: tuple[Check, ...] = ()
    winter: Winter = Winter()


@dataclass(frozen=True, kw_only=True)
class Source:
    """Names the messages are made of: site file and weather file."""

    where: str
    path: Path

    def fault(
        self, *, field_name: str = "source", found: str, allowed: str, why: str = "",
        remedy: str = "",
    ) -> Fault:  # fmt: skip
        """A fault of the weather table that names both files."""
        return Fault(where=f"{self.where}: weather.{field_name}",
                     given=f"{self.path.name}: {found}", allowed=allowed, why=why, remedy=remedy)

    def error(
        self, *, field_name: str = "source", found: str, allowed: str, why: str = "",
        remedy: str = "",
    ) -> InputError:  # fmt: skip
        """The same, as the exception to raise."""
        return InputError(
            self.fault(field_name=field_name, found=found, allowed=allowed, why=why, remedy=remedy)
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class WeatherYear:
    """One typical year at the site's clock, checked, with what was checked and mended.

    Parameters
    ----------
    hours : pandas.DataFrame
        8760 rows labelled by the start of the hour, at the site's fixed standard-time offset,
        in the calendar year `basis.hours.TYPICAL_YEAR`. Columns ghi, dni, dhi [W/m2], temp_air
        [degC], wind_speed [m/s], and precipitation [mm] where it can be trusted. Where the
        clock of the file and that of the site differ by a part of an hour, the labels are not
        whole hours: they are instants, and a later stage that needs clock hours shares each
        hour out by overlap.
    station : str
        Name of the place the weather is from.
    station_latitude_deg, station_longitude_deg : float
        [deg], north and east positive.
    station_elevation_m : float
        [m].
    station_offset_h : float
        Offset of the clock the file keeps [h].
    distance_km : float
        From the site, along the great circle [km].
    elevation_gap_m : float
        Site minus station [m].
    source : str
        File name and format, for the report.
    file_label_convention : str
        How the file names its hours, in words.
    has_rain : bool
        Whether the year carries precipitation that can be trusted.
    checks : tuple of Check
        Every check with its figures; a repair is a caution that says what was done.
    winter : Winter
    """

    hours: pd.DataFrame = field(repr=False)
    station: str
    station_latitude_deg: float
    station_longitude_deg: float
    station_elevation_m: float
    station_offset_h: float
    distance_km: float
    elevation_gap_m: float
    source: str
    file_label_convention: str
    has_rain: bool
    checks: tuple[Check, ...] = field(repr=False)
    winter: Winter = Winter()

    def _kwh_m2(self, column: str) -> float:
        return float(self.hours[column].sum()) / 1000.0

    @property
    def ghi_kwh_m2_year(self) -> float:
        """Global radiation on the horizontal [kWh/m2 a year]."""
        return self._kwh_m2("ghi")

    @property
    def dni_kwh_m2_year(self) -> float:
        """Beam radiation on a plane that faces the sun [kWh/m2 a year]."""
        return self._kwh_m2("dni")

    @property
    def dhi_kwh_m2_year(self) -> float:
        """Diffuse radiation on the horizontal [kWh/m2 a year]."""
        return self._kwh_m2("dhi")

    @property
    def temp_air_mean_c(self) -> float:
        """Mean air temperature [degC]."""
        return float(self.hours["temp_air"].mean())

    @property
    def rain_mm_year(self) -> float | None:
        """Rain of the year [mm]; None where the file's rain is not used."""
        return float(self.hours[RAIN].sum()) if self.has_rain else None


def list_hours(stamps: pd.DatetimeIndex, *, total: int | None = None) -> str:
    """The first few hours as month-day and clock, and how many more there are."""
    count = len(stamps) if total is None else total
    shown = ", ".join(stamp.strftime("%m-%d %H:%M") for stamp in stamps[:MORE_FIRST])
    return shown if count <= MORE_FIRST else f"{shown} and {count - MORE_FIRST} more"


Values = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class SunOfYear:
    """Sun at the middle of each hour, and the beam above the air.

    Parameters
    ----------
    index : pandas.DatetimeIndex
        Labels, starts of the hours.
    place : Place
    elevation_deg : array
        True elevation of the sun [deg].
    normal_w_m2 : array
        Extraterrestrial beam [W/m2], Spencer 1971 with the solar constant 1366.1 W/m2.
    """

    index: pd.DatetimeIndex
    place: Place
    elevation_deg: Values
    normal_w_m2: Values

    @property
    def upward(self) -> Values:
        """Cosine of the zenith, 0 where the sun is down.

        Shape (8760,), a value for each hour.
        """
        return np.clip(np.sin(np.deg2rad(self.elevation_deg)), 0.0, None)

    @property
    def zenith_deg(self) -> Values:
        """True zenith angle [deg].

        Shape (8760,), a value for each hour.
        """
        return 90.0 - self.elevation_deg

    def elevation_at(self, minutes: float, hours: Mask | NDArray[np.intp] | None = None) -> Values:
        """Sun elevation [deg] `minutes` after the label, for all hours or those chosen.

        Shape (n,), one for each hour asked.
        """
        index = self.index if hours is None else self.index[hours]
        if len(index) == 0:
            return np.empty(0)
        return sun_position(index + pd.Timedelta(minutes=minutes),
                            latitude_deg=self.place.latitude_deg,
                            longitude_deg=self.place.longitude_deg,
                            elevation_m=self.place.elevation_m)["elevation_deg"].to_numpy()


def sun_of_year(index: pd.DatetimeIndex, place: Place) -> SunOfYear:
    """Sun over `place` for hours labelled by their starts."""
    sun = sun_of_hours(index, latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg,
                       elevation_m=place.elevation_m)
    normal: Any = irradiance.get_extra_radiation(np.asarray(index.day_of_year, dtype=float))
    return SunOfYear(index=index, place=place, elevation_deg=sun["elevation_deg"].to_numpy(),
                     normal_w_m2=np.asarray(normal, dtype=float))
