"""Where the sun stands: for real instants, and for solar time on one day of the year."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray
from pvlib import atmosphere, irradiance, shading, solarposition

from solarcalc.basis.hours import mid_hour
from solarcalc.basis.sourced import constant

Array = NDArray[np.float64]

SOLAR_CONSTANT_W_M2 = constant("sun.solar_constant_w_m2")
"""Only the textbook sums of this module use it; it is 0.4 % above recent satellite values."""

SHORTEST_DAY_NORTH = 355
"""21 December: day of the lowest declination, Duffie and Beckman 2013 eq. 1.6.1a (-23.45 deg)."""

SHORTEST_DAY_SOUTH = 172
"""21 June: day of the highest declination, Duffie and Beckman 2013 eq. 1.6.1a (+23.45 deg)."""

_DEG_PER_HOUR = 15.0


def sun_position(
    index: pd.DatetimeIndex, *, latitude_deg: float, longitude_deg: float, elevation_m: float,
    temp_air_c: float = 12.0,
) -> pd.DataFrame:  # fmt: skip
    """Sun position at the instants of `index`.

    Use it for instants. For hourly values labelled by the start of their hour use
    `sun_of_hours`, which looks at the middle of the hour.

    Parameters
    ----------
    index : pandas.DatetimeIndex
        Instants, with a time zone of any kind.
    latitude_deg, longitude_deg : float
        Place [deg], north and east positive.
    elevation_m : float
        Height above the sea [m]; sets the air pressure that bends the light.
    temp_air_c : float
        Yearly mean air temperature [degC]; only refraction near the horizon depends on it.

    Returns
    -------
    pandas.DataFrame
        zenith_deg (true), apparent_zenith_deg (with refraction), azimuth_deg (0 north, 90
        east) and elevation_deg (true) [deg], indexed as given.

    Raises
    ------
    ValueError
        When the index has no time zone.

    Notes
    -----
    Solar position algorithm of Reda and Andreas 2004 (NREL/TP-560-34302), claimed to be within
    0.0003 deg.
    """
    if index.tz is None:
        raise ValueError("sun_position: the instants need a time zone")
    place = (latitude_deg, longitude_deg, elevation_m, temp_air_c)
    return _position(_Instants(index), place).copy(deep=False)


@dataclass(frozen=True, eq=False)
class _Instants:
    """Instants as a key: two are one where they and their clock agree."""

    index: pd.DatetimeIndex

    def _key(self) -> tuple[bytes, str]:
        return self.index.asi8.tobytes(), f"{self.index.dtype}"

    def __hash__(self) -> int:
        return hash(self._key())

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Instants) and other._key() == self._key()


@lru_cache(maxsize=64)
def _position(instants: _Instants, place: tuple[float, float, float, float]) -> pd.DataFrame:
    """Kept: a site is opened again, and sites of one town share a sun."""
    index = instants.index
    latitude_deg, longitude_deg, elevation_m, temp_air_c = place
    table = solarposition.get_solarposition(index.tz_convert("UTC"), latitude_deg, longitude_deg,
                                            altitude=elevation_m,
                                            pressure=atmosphere.alt2pres(elevation_m),
                                            method="nrel_numpy", temperature=temp_air_c)
    return pd.DataFrame(
        {"zenith_deg": table["zenith"].to_numpy(float),
         "apparent_zenith_deg": table["apparent_zenith"].to_numpy(float),
         "azimuth_deg": table["azimuth"].to_numpy(float),
         "elevation_deg": table["elevation"].to_numpy(float)},
        index=index,
    )


def sun_of_hours(
    index: pd.DatetimeIndex, *, latitude_deg: float, longitude_deg: float, elevation_m: float,
    temp_air_c: float = 12.0,
) -> pd.DataFrame:  # fmt: skip
    """Sun position that stands for each hour: that of the hour's middle.

    Parameters and columns are those of `sun_position`; `index` holds the labels, which are the
    starts of one-hour intervals, and the result carries the same labels.
    """
    table = sun_position(mid_hour(index), latitude_deg=latitude_deg, longitude_deg=longitude_deg,
                         elevation_m=elevation_m, temp_air_c=temp_air_c)
    table.index = index
    return table


def declination_deg(day_of_year: ArrayLike) -> Array:
    """Declination of the sun [deg] by day of the year, 1 to 365; the simple textbook formula.

    Notes
    -----
    23.45 sin(360 (284 + n) / 365), Cooper 1969, Duffie and Beckman 2013 eq. 1.6.1a. It is up
    to about 1 deg from the true value near the equinoxes; `sun_position` is the exact one.
    """
    days = np.asarray(day_of_year, dtype=float)
    return np.asarray(np.rad2deg(solarposition.declination_cooper69(days)), dtype=float)


def equation_of_time_min(day_of_year: ArrayLike) -> Array:
    """Sundial minus clock [min] by day of the year (Spencer 1971)."""
    days = np.asarray(day_of_year, dtype=float)
    return np.asarray(solarposition.equation_of_time_spencer71(days), dtype=float)


def sunset_hour_angle_deg(latitude_deg: ArrayLike, sun_declination_deg: ArrayLike) -> Array:
    """Hour angle of sunset [deg], without refraction; 180 in polar day, 0 in polar night.

    Shape of the arguments together, (n,) or ().

    Parameters
    ----------
    latitude_deg, sun_declination_deg : float or array
        Both [deg], north positive.

    Notes
    -----
    cos w = -tan(latitude) tan(declination), Duffie and Beckman 2013 eq. 1.6.10. The day lasts
    2 w / 15 hours.
    """
    phi, delta = np.deg2rad(latitude_deg), np.deg2rad(sun_declination_deg)
    cosine = np.clip(-np.tan(phi) * np.tan(delta), -1.0, 1.0)
    return np.asarray(np.rad2deg(np.arccos(cosine)), dtype=float)


def extraterrestrial_mj_m2(
    day_of_year: ArrayLike, *, latitude_deg: ArrayLike, from_hour_angle_deg: ArrayLike,
    to_hour_angle_deg: ArrayLike, solar_constant_w_m2: float = float(SOLAR_CONSTANT_W_M2),
) -> Array:  # fmt: skip
    """Energy on a horizontal plane above the air between two hour angles [MJ/m2].

    Shape of the arguments together, (n,) or ().

    Parameters
    ----------
    day_of_year : float or array
        1 to 365.
    latitude_deg, from_hour_angle_deg, to_hour_angle_deg : float or array
        All [deg]; the hour angle is negative before noon. The sun must be up in between.
    solar_constant_w_m2 : float
        [W/m2].

    Notes
    -----
    Duffie and Beckman 2013 eq. 1.10.4, with the distance factor 1 + 0.033 cos(360 n / 365).
    """
    days = np.asarray(day_of_year, dtype=float)
    normal = irradiance.get_extra_radiation(days, solar_constant=solar_constant_w_m2, method="asce")
    phi, delta = np.deg2rad(latitude_deg), np.deg2rad(declination_deg(days))
    first, last = np.deg2rad(from_hour_angle_deg), np.deg2rad(to_hour_angle_deg)
    path = np.cos(phi) * np.cos(delta) * (np.sin(last) - np.sin(first)) + (last - first) * np.sin(
        phi
    ) * np.sin(delta)
    seconds_per_radian = 12 * 3600 / np.pi
    return np.asarray(normal * path * seconds_per_radian / 1e6, dtype=float)


def extraterrestrial_daily_mj_m2(
    day_of_year: ArrayLike, latitude_deg: ArrayLike, *,
    solar_constant_w_m2: float = float(SOLAR_CONSTANT_W_M2),
) -> Array:  # fmt: skip
    """Energy on a horizontal plane above the air in one day [MJ/m2], sunrise to sunset.

    Shape of the arguments together, (n,) or ().
    """
    sunset = sunset_hour_angle_deg(latitude_deg, declination_deg(day_of_year))
    return extraterrestrial_mj_m2(day_of_year, latitude_deg=latitude_deg,
                                  from_hour_angle_deg=-sunset, to_hour_angle_deg=sunset,
                                  solar_constant_w_m2=solar_constant_w_m2)


def sun_at_solar_time(
    day_of_year: ArrayLike, solar_hour: ArrayLike, latitude_deg: ArrayLike
) -> tuple[Array, Array]:
    """Zenith and azimuth of the sun at a solar time of one day, [deg] both.

    Shape of the arguments together, (n,) or ().

    Use it for rules stated in solar time, such as "no shadow from 9 to 15 on the shortest day".
    Solar noon is 12; there is no refraction and the declination is that of the whole day.

    Parameters
    ----------
    day_of_year : float or array
        1 to 365.
    solar_hour : float or array
        Sundial time [h], 0 to 24.
    latitude_deg : float or array
        [deg], north positive.

    Returns
    -------
    zenith_deg, azimuth_deg : array
        Azimuth 0 north, 90 east, right on both sides of the equator and in the polar regions;
        above 90 deg of zenith the sun is down.

    Notes
    -----
    Duffie and Beckman 2013 eq. 1.6.5 for the zenith. The azimuth is taken from the east and
    north parts of the sun's direction, which is eq. 1.6.6 without its choice of branch: the
    form by arc cosine alone gives south at every noon, also where the sun is north.
    """
    delta, phi = np.deg2rad(declination_deg(day_of_year)), np.deg2rad(latitude_deg)
    hour = np.deg2rad(_DEG_PER_HOUR * (np.asarray(solar_hour, dtype=float) - 12.0))
    up = np.cos(phi) * np.cos(delta) * np.cos(hour) + np.sin(phi) * np.sin(delta)
    east = -np.cos(delta) * np.sin(hour)
    north = np.sin(delta) * np.cos(phi) - np.cos(delta) * np.sin(phi) * np.cos(hour)
    zenith = np.rad2deg(np.arctan2(np.hypot(east, north), up))
    azimuth = np.rad2deg(np.arctan2(east, north)) % 360.0 % 360.0  # twice: -1e-17 gives 360
    return np.asarray(zenith, dtype=float), np.asarray(azimuth, dtype=float)


def profile_angle_deg(
    zenith_deg: ArrayLike, azimuth_deg: ArrayLike, *, facing_deg: float
) -> Array:
    """Angle of the sun above the horizontal as it is seen along the rows, from the side [deg].

    Parameters
    ----------
    zenith_deg, azimuth_deg : float or array
        Of the sun [deg].
    facing_deg : float
        Azimuth that the rows face [deg].

    Notes
    -----
    tan(profile) = tan(altitude) / cos(azimuth - facing), Duffie and Beckman 2013 eq. 1.6.12, by
    pvlib.shading.projected_solar_zenith_angle. Of 0 to 90 deg where the sun stands before the rows.

    Examples
    --------
    >>> round(float(profile_angle_deg(90.0 - 13.954, 180.0 + 41.946, facing_deg=180.0)), 1)
    18.5
    """
    seen = shading.projected_solar_zenith_angle(
        np.asarray(zenith_deg, dtype=float), np.asarray(azimuth_deg, dtype=float),
        axis_tilt=0.0, axis_azimuth=facing_deg - 90.0,
    )  # fmt: skip
    return np.asarray(90.0 - np.abs(seen), dtype=float)
