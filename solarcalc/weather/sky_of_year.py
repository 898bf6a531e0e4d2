"""The sun over the weather station, computed once for all checks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pvlib import irradiance

from solarcalc.sun import sun_of_hours, sun_position
from solarcalc.weather.records import Place

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
        """Cosine of the zenith, 0 where the sun is down."""
        return np.clip(np.sin(np.deg2rad(self.elevation_deg)), 0.0, None)

    @property
    def zenith_deg(self) -> Values:
        """True zenith angle [deg]."""
        return 90.0 - self.elevation_deg

    def elevation_at(self, minutes: float, hours: Mask | NDArray[np.intp] | None = None) -> Values:
        """Sun elevation [deg] `minutes` after the label, for all hours or those chosen."""
        index = self.index if hours is None else self.index[hours]
        if len(index) == 0:
            return np.empty(0)
        return sun_position(
            index + pd.Timedelta(minutes=minutes),
            latitude_deg=self.place.latitude_deg,
            longitude_deg=self.place.longitude_deg,
            elevation_m=self.place.elevation_m,
        )["elevation_deg"].to_numpy()


def sun_of_year(index: pd.DatetimeIndex, place: Place) -> SunOfYear:
    """Sun over `place` for hours labelled by their starts."""
    sun = sun_of_hours(
        index,
        latitude_deg=place.latitude_deg,
        longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m,
    )
    normal: Any = irradiance.get_extra_radiation(np.asarray(index.day_of_year, dtype=float))
    return SunOfYear(
        index=index,
        place=place,
        elevation_deg=sun["elevation_deg"].to_numpy(),
        normal_w_m2=np.asarray(normal, dtype=float),
    )
