"""What a sweep is worked out from: the sky's year, the roof, and the arrays to try."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import mid_hour
from solarcalc.roof.rows import cosine_on, normal_vector

PitchUnit = Literal["m", "slants"]
ORIENTATIONS = ("portrait", "landscape")


@dataclass(frozen=True, kw_only=True, eq=False)
class SkyYear:
    """Hours of a year, what no plane changes; every field an array (n,).

    Parameters
    ----------
    zenith_deg, azimuth_deg : array
        Of the sun in the middle of the hour, with refraction [deg].
    ghi_w_m2, dni_w_m2, dhi_w_m2, extra_w_m2 : array
        Global, beam and diffuse light, and the beam above the air [W/m2].
    air_c, wind_m_per_s : array
        Air [degC] and wind [m/s].
    hidden : array of bool
        Hours in which the horizon hides the sun.
    month : array of int
        1 to 12.

    Raises
    ------
    InputError
        When the arrays are of unlike length, a value is missing or light is negative.
    """

    zenith_deg: np.ndarray
    azimuth_deg: np.ndarray
    ghi_w_m2: np.ndarray
    dni_w_m2: np.ndarray
    dhi_w_m2: np.ndarray
    extra_w_m2: np.ndarray
    air_c: np.ndarray
    wind_m_per_s: np.ndarray
    hidden: np.ndarray
    month: np.ndarray

    def __post_init__(self) -> None:
        faults = []
        for field in fields(self):
            values = getattr(self, field.name)
            if values.shape != self.zenith_deg.shape or values.ndim != 1:
                faults.append(Fault(where=f"sky year: {field.name}", given=str(values.shape),
                                    allowed=f"one value an hour, {self.zenith_deg.shape}"))
            elif not np.isfinite(values).all():
                faults.append(Fault(where=f"sky year: {field.name}", given="missing values",
                                    allowed="a value in every hour"))
            elif field.name.endswith("w_m2") and (values < 0.0).any():
                faults.append(Fault(where=f"sky year: {field.name}",
                                    given=f"{values.min():g} W/m2", allowed="0 W/m2 or more"))
            elif field.name == "extra_w_m2" and (values == 0.0).any():
                faults.append(Fault(where="sky year: extra_w_m2", given="0 W/m2",
                                    allowed="above 0 W/m2, also at night"))
        if faults:
            raise InputError(faults)

    @property
    def hour_count(self) -> int:
        """Hours in it."""
        return len(self.zenith_deg)


def sky_year_of(
    hours: pd.DataFrame, sun: pd.DataFrame, *, hidden: np.ndarray | None = None
) -> SkyYear:
    """The sky's year from weather and sun of the same hours.

    Parameters
    ----------
    hours : DataFrame, shape (n,)
        ``ghi``, ``dni``, ``dhi`` [W/m2], ``temp_air`` [degC], ``wind_speed`` [m/s].
    sun : DataFrame, shape (n,)
        ``apparent_zenith_deg``, ``azimuth_deg`` [deg] of the middle of each hour.
    hidden : array of bool, optional
        Hours in which the horizon hides the sun; none if left out. What the roof itself hides
        is added by the sweep.
    """
    index = pd.DatetimeIndex(hours.index)
    day = mid_hour(index).tz_convert("UTC").day_of_year.to_numpy()
    columns = {
        "ghi_w_m2": "ghi", "dni_w_m2": "dni", "dhi_w_m2": "dhi", "air_c": "temp_air",
        "wind_m_per_s": "wind_speed",
    }  # fmt: skip
    return SkyYear(
        zenith_deg=sun["apparent_zenith_deg"].to_numpy(float),
        azimuth_deg=sun["azimuth_deg"].to_numpy(float),
        extra_w_m2=np.asarray(pvlib.irradiance.get_extra_radiation(day), dtype=float),
        hidden=np.zeros(len(index), bool) if hidden is None else np.asarray(hidden, bool),
        month=index.month.to_numpy(),
        **{name: hours[column].to_numpy(float) for name, column in columns.items()},
    )


@dataclass(frozen=True, kw_only=True)
class RoofPlane:
    """The plane the rows stand on.

    Parameters
    ----------
    slope_deg, azimuth_deg : float
        [deg]; azimuth 0 north, 90 east, the way it falls.
    albedo_frac : float or tuple of float
        Share of the light it throws back, [0 to 1]; one for all the year, or twelve by month.

    Raises
    ------
    InputError
        For values outside.
    """

    slope_deg: float
    azimuth_deg: float
    albedo_frac: float | tuple[float, ...]

    def __post_init__(self) -> None:
        faults = [*_outside("roof: slope_deg", [self.slope_deg], 0.0, 90.0, "deg"),
                  *_outside("roof: azimuth_deg", [self.azimuth_deg], 0.0, 360.0, "deg", below=True),
                  *_outside("roof: albedo_frac", self.albedo_by_month, 0.0, 1.0, "")]
        if faults:
            raise InputError(faults)

    @property
    def albedo_by_month(self) -> tuple[float, ...]:
        """Twelve shares, January first.

        Each 0 to 1 [frac].
        """
        one = self.albedo_frac
        return one if isinstance(one, tuple) else (one,) * 12


def lit_hours(year: SkyYear) -> np.ndarray:
    """Places of the hours with any light at all.

    Numbers of hours from 0, (n,), rising.
    """
    light = year.ghi_w_m2 + year.dhi_w_m2 + year.dni_w_m2 * (year.zenith_deg < 90.0)
    return np.flatnonzero(light > 0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class SkyParts:
    """What no plane changes of the light of each hour, (n,): times a plane's share, its light.

    Parameters
    ----------
    direct_w_m2 : array
        Beam and circumsolar light square to the sun [W/m2].
    even_w_m2 : array
        Even sky light on a flat plane [W/m2].
    band_w_m2 : array
        Of the band over the horizon on an upright plane, negative for a dark one [W/m2].
    on_roof : array
        Cosine of the sun on the roof.
    """

    direct_w_m2: np.ndarray
    even_w_m2: np.ndarray
    band_w_m2: np.ndarray
    on_roof: np.ndarray


def sky_parts(year: SkyYear, roof: RoofPlane) -> SkyParts:
    """Direct light, even sky and band of every hour, as `solarcalc.sky.plane_light` has them.

    Notes
    -----
    Perez et al. 1990, continuous form of Driesse et al. 2024. Its F1 and F2 depend on the hour
    alone: direct = DNI + DHI F1 / max(cos(zenith), cos(85 deg)), even sky DHI (1 - F1), band DHI
    F2, read off the library's own answer for a plane square to the sun and an upright one. The
    sky is even while the sun is down. No direct light where the horizon or the roof itself
    hides the sun.
    """
    up = year.zenith_deg < 90.0
    roof_normal = normal_vector(roof.slope_deg, roof.azimuth_deg)
    on_roof = cosine_on(roof_normal, year.zenith_deg, year.azimuth_deg)
    dni = np.where(up, year.dni_w_m2, 0.0)
    square, upright = (
        pvlib.irradiance.perez_driesse(
            tilt_deg, year.azimuth_deg, year.dhi_w_m2, dni, year.extra_w_m2, year.zenith_deg,
            year.azimuth_deg, return_components=True,
        )
        for tilt_deg in (year.zenith_deg, 90.0)
    )  # fmt: skip
    seen = up & ~year.hidden & (on_roof > 0.0)
    return SkyParts(
        direct_w_m2=np.where(seen, dni + square["poa_circumsolar"], 0.0),
        even_w_m2=np.where(up, 2.0 * upright["poa_isotropic"], year.dhi_w_m2),
        band_w_m2=np.where(up, upright["poa_horizon"], 0.0),
        on_roof=on_roof,
    )


DustLoss = Callable[[float], np.ndarray]
"""From a tilt [deg] to the share of light lost in each hour of the year, [0 to 1]."""


@dataclass(frozen=True, kw_only=True)
class CleaningPlan:
    """A way of keeping the modules clean.

    Parameters
    ----------
    name : str
    cleanings_per_year : int
    loss_frac : callable, optional
        Given a tilt [deg], the share of light lost to dust by hour, shape (n,) [0 to 1]; no
        dust if left out.
    """

    name: str
    cleanings_per_year: int = 0
    loss_frac: DustLoss | None = None


NO_DUST = CleaningPlan(name="no dust")


@dataclass(frozen=True, kw_only=True)
class Field:
    """Arrays to try: every tilt with every azimuth, pitch, way round, count up and plan.

    Parameters
    ----------
    tilts_deg, azimuths_deg : sequence of float
        Of the modules [deg]: 0 to 90; 0 to below 360, 0 north.
    pitches : sequence of float
        Above 0, in the roof plane.
    pitch_unit : {"m", "slants"}
        Metres, or times the width of the row up its own slope.
    orientations : sequence of {"portrait", "landscape"}
    modules_high : sequence of int
        Modules one above another in a row, 1 or more.
    plans : sequence of CleaningPlan

    Raises
    ------
    InputError
        With every fault: an empty axis, a value outside or missing, a name given twice.
    """

    tilts_deg: Sequence[float]
    azimuths_deg: Sequence[float]
    pitches: Sequence[float]
    pitch_unit: PitchUnit = "m"
    orientations: Sequence[str] = ORIENTATIONS
    modules_high: Sequence[int] = (1,)
    plans: Sequence[CleaningPlan] = (NO_DUST,)

    def __post_init__(self) -> None:
        faults = [
            Fault(where=f"field: {field.name}", given="nothing", allowed="one value or more")
            for field in fields(self)
            if field.name != "pitch_unit" and len(getattr(self, field.name)) == 0
        ]
        faults += _outside("field: tilts_deg", self.tilts_deg, 0.0, 90.0, "deg")
        faults += _outside("field: azimuths_deg", self.azimuths_deg, 0.0, 360.0, "deg", below=True)
        faults += _outside("field: pitches", self.pitches, 1e-6, 1e4, self.pitch_unit)
        faults += _unknown("field: orientations", self.orientations, ORIENTATIONS)
        faults += _unknown("field: pitch_unit", [self.pitch_unit], ("m", "slants"))
        faults += [
            Fault(where="field: modules_high", given=repr(count), allowed="a whole number from 1")
            for count in self.modules_high
            if not (isinstance(count, (int, np.integer)) and count >= 1)
        ]
        names = [plan.name for plan in self.plans]
        if len(set(names)) < len(names):
            faults.append(Fault(where="field: plans", given=", ".join(names),
                                allowed="a name of its own for each plan"))
        if faults:
            raise InputError(faults)


def _outside(
    where: str, values: Sequence[float], low: float, high: float, unit: str, *, below: bool = False
) -> list[Fault]:
    allowed = f"{low:g} to {'below ' if below else ''}{high:g} {unit}".rstrip()
    return [
        Fault(where=where, given=repr(value), allowed=allowed)
        for value in values
        if not (low <= value < high if below else low <= value <= high)
    ]


def _unknown(where: str, words: Sequence[str], known: Sequence[str]) -> list[Fault]:
    allowed = " or ".join(repr(word) for word in known)
    return [
        Fault(where=where, given=repr(word), allowed=allowed) for word in words if word not in known
    ]
