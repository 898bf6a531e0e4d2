"""Rows of modules on one rectangular roof plane: how they stand and how far apart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.sitefile.array import Array, Module
from solarcalc.sitefile.roof import WALKWAY_M, Roof
from solarcalc.sun import SHORTEST_DAY_NORTH, SHORTEST_DAY_SOUTH, sun_at_solar_time

Orientation = Literal["portrait", "landscape"]

SOLSTICE_DAYS = (SHORTEST_DAY_SOUTH, SHORTEST_DAY_NORTH)
"""Days of the year of the two solstices (21 June, 21 December)."""

LOWEST_COSINE = 1e-9
_WINDOW_STEPS = 121


def normal_vector(tilt_deg: float, azimuth_deg: float) -> np.ndarray:
    """Unit normal of a plane as (east, north, up), shape (3,)."""
    tilt, azimuth = math.radians(tilt_deg), math.radians(azimuth_deg)
    return np.array(
        [math.sin(tilt) * math.sin(azimuth), math.sin(tilt) * math.cos(azimuth), math.cos(tilt)]
    )


@dataclass(frozen=True, kw_only=True)
class Rows:
    """How the rows of an array stand on their roof.

    Parameters
    ----------
    orientation : {"portrait", "landscape"}
        Portrait: the long side of a module runs up its slope.
    slant_m : float
        Width of a row up its own slope [m].
    along_m : float
        Length one module takes along the row, without the gap [m].
    gap_m : float
        Gap between modules [m].
    modules_high : int
        Modules one above another in a row.
    tilt_deg, azimuth_deg : float
        Of the modules [deg].
    roof_slope_deg, roof_azimuth_deg : float
        Of the roof [deg].
    """

    orientation: Orientation
    slant_m: float
    along_m: float
    gap_m: float
    modules_high: int
    tilt_deg: float
    azimuth_deg: float
    roof_slope_deg: float
    roof_azimuth_deg: float

    @cached_property
    def module_normal(self) -> np.ndarray:
        """Unit normal of the modules, shape (3,)."""
        return normal_vector(self.tilt_deg, self.azimuth_deg)

    @cached_property
    def roof_normal(self) -> np.ndarray:
        """Unit normal of the roof, shape (3,)."""
        return normal_vector(self.roof_slope_deg, self.roof_azimuth_deg)

    @cached_property
    def lift_deg(self) -> float:
        """Angle between the modules and the roof they stand on [deg]."""
        cosine = float(np.clip(self.module_normal @ self.roof_normal, -1.0, 1.0))
        angle = math.degrees(math.acos(cosine))
        return 0.0 if angle < 1e-5 else angle

    @property
    def module_up_m(self) -> float:
        """Length one module takes up its slope [m]."""
        return (self.slant_m - (self.modules_high - 1) * self.gap_m) / self.modules_high

    @property
    def footprint_m(self) -> float:
        """Depth of roof that one row covers, square to the row, in the roof plane [m]."""
        return self.slant_m * math.cos(math.radians(self.lift_deg))

    @property
    def least_pitch_m(self) -> float:
        """Smallest pitch [m] that leaves the free strip between rows."""
        strip = self.gap_m if self.lift_deg == 0.0 else float(WALKWAY_M)
        return self.footprint_m + strip

    @cached_property
    def turn_deg(self) -> float:
        """Angle between the rows and the eaves, in the roof plane [deg], 0 to 180."""
        if self.lift_deg == 0.0:
            return 0.0
        row = np.cross(self.roof_normal, self.module_normal)
        row /= np.linalg.norm(row)
        eaves, up_slope = self._roof_axes()
        turn = math.degrees(math.atan2(float(row @ up_slope), float(row @ eaves)))
        return round(turn, 9) % 180.0  # rounded: rows along the eaves are exactly along them

    @property
    def section_slope_deg(self) -> float:
        """Slope of the roof square to the rows, towards their raised edge [deg].

        Negative where the roof falls that way, as under modules that lie flatter than their roof.
        """
        if self.lift_deg == 0.0:
            return self.roof_slope_deg
        facing = self.module_normal - (self.module_normal @ self.roof_normal) * self.roof_normal
        return math.degrees(math.asin(float(np.clip(-facing[2] / np.linalg.norm(facing), -1, 1))))

    def _roof_axes(self) -> tuple[np.ndarray, np.ndarray]:
        azimuth = math.radians(self.roof_azimuth_deg)
        eaves = np.array([-math.cos(azimuth), math.sin(azimuth), 0.0])
        return eaves, np.cross(self.roof_normal, eaves)


def rows_of(
    array: Array, module: Module, roof: Roof, *, orientation: Orientation | None = None
) -> Rows:
    """How the rows of the site's array stand, or would stand in the other orientation.

    Rows of the other orientation hold as many modules high, or fewer where that comes nearer to
    the width of the site's own rows: three up in landscape are held against two up in portrait.
    """
    chosen = orientation or array.orientation
    up_m, along_m = (
        (module.length_m, module.width_m)
        if chosen == "portrait"
        else (module.width_m, module.length_m)
    )
    modules_high = array.modules_high
    if chosen != array.orientation:
        modules_high = max(1, min(modules_high, round(modules_high * along_m / up_m)))
    flush = array.mounting == "flush"
    return Rows(
        orientation=chosen,
        slant_m=modules_high * up_m + (modules_high - 1) * array.module_gap_m,
        along_m=along_m,
        gap_m=array.module_gap_m,
        modules_high=modules_high,
        tilt_deg=roof.slope_deg if flush else array.tilt_deg,
        azimuth_deg=roof.azimuth_deg if flush else array.azimuth_deg,
        roof_slope_deg=roof.slope_deg,
        roof_azimuth_deg=roof.azimuth_deg,
    )


def shadow_rule_pitch_m(
    rows: Rows, *, latitude_deg: float, from_solar_h: float, to_solar_h: float
) -> float | None:
    """Pitch [m] at which no row shades the next between two solar times on the worst solstice.

    For any latitude, azimuth and roof slope. The day is the solstice that asks for more: the
    shortest day for rows that face the equator, the other one for rows that face the pole.

    Parameters
    ----------
    rows : Rows
    latitude_deg : float
        North positive [deg].
    from_solar_h, to_solar_h : float
        True solar time [h], 12 at noon.

    Returns
    -------
    float or None
        None when the sun does not stand above the roof through the window on that day, as in
        a polar winter: the rule then has no answer.

    Notes
    -----
    A row is clear while pitch (n_roof . s) >= slant (n_module . s), with unit normals n and
    the sun's direction s. For level roofs this is slant cos(tilt) + slant sin(tilt)
    / tan(profile angle), the handbook form.
    """
    if rows.lift_deg == 0.0:
        return rows.least_pitch_m
    ratio = lowest_sun_ratio(rows, latitude_deg=latitude_deg, from_solar_h=from_solar_h,
                             to_solar_h=to_solar_h)  # fmt: skip
    return None if ratio is None else max(rows.least_pitch_m, rows.slant_m * ratio)


def lowest_sun_ratio(
    rows: Rows, *, latitude_deg: float, from_solar_h: float, to_solar_h: float
) -> float | None:
    """Pitch over slant height that the lowest sun of the shadow rule asks for, as a plain number.

    Arguments as in `shadow_rule_pitch_m`; 0 where the sun never stands before the modules, None
    where it does not stand above the roof.
    """
    hours = np.linspace(from_solar_h, to_solar_h, _WINDOW_STEPS)
    needed = 0.0
    for day in SOLSTICE_DAYS:
        zenith_deg, azimuth_deg = sun_at_solar_time(day, hours, latitude_deg)
        on_modules = cosine_on(rows.module_normal, zenith_deg, azimuth_deg)
        on_roof = cosine_on(rows.roof_normal, zenith_deg, azimuth_deg)
        lit = on_modules > LOWEST_COSINE
        if np.any(lit & (on_roof <= LOWEST_COSINE)) or np.any(np.asarray(zenith_deg) >= 90.0):
            return None
        if lit.any():
            needed = max(needed, float(np.max(on_modules[lit] / on_roof[lit])))
    return needed


def cosine_on(normal: np.ndarray, zenith_deg: np.ndarray, azimuth_deg: np.ndarray) -> np.ndarray:
    """Cosine between a plane's unit normal and the sun, shape (n,)."""
    zenith, azimuth = np.radians(np.asarray(zenith_deg)), np.radians(np.asarray(azimuth_deg))
    result: np.ndarray = (
        normal[0] * np.sin(zenith) * np.sin(azimuth)
        + normal[1] * np.sin(zenith) * np.cos(azimuth)
        + normal[2] * np.cos(zenith)
    )
    return result


def pitch_of(array: Array, rows: Rows, *, latitude_deg: float) -> float | None:
    """Pitch [m] the site file asks for, or that of the shadow rule (None: it has no answer).

    The file's pitch is meant for its own orientation. Rows of the other one, held against it,
    stand at that pitch too, or at the smallest one they allow where it is too small for them.

    Raises
    ------
    InputError
        When the asked pitch is smaller than the depth one row of the file's own orientation
        covers.
    """
    if array.row_pitch_m is None:
        return shadow_rule_pitch_m(rows, latitude_deg=latitude_deg,
                                   from_solar_h=array.clear_from_solar_h,
                                   to_solar_h=array.clear_to_solar_h)
    if rows.orientation != array.orientation:
        return max(array.row_pitch_m, rows.least_pitch_m)
    if array.row_pitch_m < rows.footprint_m:
        raise InputError(
            Fault(
                where="array.row_pitch_m",
                given=f"{array.row_pitch_m:g} m",
                allowed=f"at least {rows.footprint_m:.2f} m",
                why=f"a {rows.orientation} row {rows.slant_m:.2f} m wide, lifted"
                f" {rows.lift_deg:.0f} deg off the roof, covers that much; rows would overlap",
                remedy="give a larger pitch, or leave the key out to use the shadow rule",
            )
        )
    return array.row_pitch_m
