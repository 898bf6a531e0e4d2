"""What hides the sun and the sky from a row: the row in front, the roof, hills far off.

Rows are taken as endless. What a strip costs in power is told by the circuit of the cells
(`solarcalc.circuit`).

Far off means that every module sees it alike. What stands on the roof itself is a box of
`solarcalc.shading.obstacles`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.sourced import constant
from solarcalc.roof.rows import LOWEST_COSINE, Rows, cosine_on, normal_vector
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.place import Horizon

SIGHT_MARGIN = 1e-6
"""Shaded fractions below this are rounding of the geometry, not shade."""


@dataclass(frozen=True, kw_only=True)
class Blocks:
    """Independent parts of one module as a strip of shade from its lower edge meets them.

    Parameters
    ----------
    across : int
        Parts side by side that the same strip reaches together.
    up : int
        Parts one above another that the strip reaches in turn.
    """

    across: int
    up: int

    @property
    def per_module(self) -> int:
        """Parts of a module."""
        return self.across * self.up


def blocks_of(module: Module, orientation: str) -> Blocks:
    """How a module's bypassed parts lie when the strip rises from its lower edge.

    The bypassed substrings of a common module run along its long side. In portrait a strip
    along the short lower edge reaches all of them at once; in landscape it reaches them one
    after the other. A half-cut module has two halves in parallel, split across the long side,
    so that in portrait its upper half still works (common practice, no source).
    """
    halves = 2 if module.cell_build == "half-cut" else 1
    if orientation == "portrait":
        return Blocks(across=module.bypass_diodes, up=halves)
    return Blocks(across=halves, up=module.bypass_diodes)


def shaded_fraction(rows: Rows, sun: pd.DataFrame, *, pitch_m: float) -> pd.Series:
    """Share of a row's width in the shadow of the row in front, by hour, [0 to 1].

    Parameters
    ----------
    rows : Rows
    sun : DataFrame, shape (n,)
        ``apparent_zenith_deg``, ``azimuth_deg`` [deg].
    pitch_m : float
        In the roof plane [m].

    Returns
    -------
    Series, shape (n,)
        0 where the sun is below the horizon or behind the modules.

    Notes
    -----
    1 - (pitch / slant) (n_roof . s) / (n_module . s), held within 0 and 1. On a level roof it
    equals pvlib.shading.shaded_fraction1d wherever the sun is in front of the modules.
    """
    zenith, azimuth = sun["apparent_zenith_deg"].to_numpy(), sun["azimuth_deg"].to_numpy()
    on_modules = cosine_on(rows.module_normal, zenith, azimuth)
    on_roof = cosine_on(rows.roof_normal, zenith, azimuth)
    lit = (on_modules > LOWEST_COSINE) & (zenith < 90.0)
    ratio = np.divide(on_roof, on_modules, out=np.ones_like(on_roof), where=lit)
    fraction = np.clip(1.0 - pitch_m / rows.slant_m * ratio, 0.0, 1.0)
    fraction[~lit | (fraction < SIGHT_MARGIN)] = 0.0
    return pd.Series(fraction, index=sun.index, name="shaded_frac")


def roof_hides_sun(rows: Rows, sun: pd.DataFrame) -> pd.Series:
    """Hours in which the sun is up but below the plane of the roof, so that no row sees it."""
    zenith, azimuth = sun["apparent_zenith_deg"].to_numpy(), sun["azimuth_deg"].to_numpy()
    hidden = (cosine_on(rows.roof_normal, zenith, azimuth) <= 0.0) & (zenith < 90.0)
    return pd.Series(hidden, index=sun.index, name="hidden")


def sky_seen_frac(rows: Rows, *, pitch_m: float) -> float:
    """Share of its own unobstructed sky that a row behind another still sees, [0 to 1].

    Notes
    -----
    View factor of the row to the sky between its neighbours, mean over the slant, over that of
    the same plane alone, (1 + cos) / 2. Angles are taken in the roof's frame, so a roof's own
    slope counts as the horizon of both.
    """
    if rows.lift_deg == 0.0:
        return 1.0
    seen = pvlib.bifacial.utils.vf_row_sky_2d_integ(rows.lift_deg, rows.slant_m / pitch_m)
    alone = (1.0 + np.cos(np.radians(rows.lift_deg))) / 2.0
    return float(seen / alone)


BAND_DEG = float(constant("shading.horizon_band_deg"))
"""Height of the band over the horizon that is brighter than the rest of the sky [deg]."""
_RING_STEPS = 180


@lru_cache(maxsize=1)
def band_rays() -> np.ndarray:
    """Directions to the middle of the band over the horizon (east, north, up), shape (r, 3)."""
    around = np.radians((np.arange(_RING_STEPS) + 0.5) * (360.0 / _RING_STEPS))
    height = np.radians(BAND_DEG / 2.0)
    level, up = np.cos(height), np.full(_RING_STEPS, np.sin(height))
    return np.stack([level * np.sin(around), level * np.cos(around), up], axis=1)


def band_seen_frac(rows: Rows, *, pitch_m: float) -> float:
    """Share of the band over the horizon that a row behind another still sees, [0 to 1].

    Notes
    -----
    Each ray from the middle of the band is shaded like one from the sun (`shaded_fraction`), and
    counts by its cosine on the modules: the sum of min(cosine, pitch / slant times the cosine on
    the roof, 0 where the roof hides it) over the sum of the cosines.
    """
    if rows.lift_deg == 0.0:
        return 1.0
    on_modules = np.maximum(band_rays() @ rows.module_normal, 0.0)
    on_roof = np.maximum(band_rays() @ rows.roof_normal, 0.0)
    lit = np.minimum(on_modules, pitch_m / rows.slant_m * on_roof)
    return float(lit.sum() / on_modules.sum())


HORIZON_MODEL = constant("shading.horizon_model")

_AZIMUTH_STEPS = 1440
"""Steps around the circle: a quarter of a degree, finer than any profile taken by hand."""


def horizon_height_deg(profile: Horizon, azimuth_deg: np.ndarray) -> np.ndarray:
    """Height of the horizon line at any azimuth, shape as given [deg].

    Straight lines between the points of the profile, also from its last point round to its
    first. No points: 0 all around. One point: the same height all around.

    Parameters
    ----------
    profile : Horizon
        [horizon] of the site file.
    azimuth_deg : array
        0 north, 90 east [deg].

    Examples
    --------
    >>> line = Horizon(azimuth_deg=[90.0, 270.0], height_deg=[10.0, 30.0])
    >>> horizon_height_deg(line, np.array([90.0, 135.0, 0.0])).round(6).tolist()
    [10.0, 15.0, 20.0]
    """
    azimuth = np.asarray(azimuth_deg, dtype=float)
    if not profile.azimuth_deg:
        return np.zeros_like(azimuth)
    height: np.ndarray = np.interp(azimuth, profile.azimuth_deg, profile.height_deg, period=360.0)
    return height


def horizon_hides_sun(profile: Horizon, sun: pd.DataFrame) -> pd.Series:
    """Hours in which the sun is up but its centre stands below the horizon line, shape (n,).

    An hour is hidden or not by the sun of its middle, so single mornings are right to half an
    hour and the year averages out. Weather measured on the spot by an instrument that sees the
    same horizon has this loss in it already: leave the profile out then.

    Parameters
    ----------
    profile : Horizon
    sun : DataFrame, shape (n,)
        ``apparent_zenith_deg``, ``azimuth_deg`` [deg].
    """
    elevation = 90.0 - sun["apparent_zenith_deg"].to_numpy()
    line = horizon_height_deg(profile, sun["azimuth_deg"].to_numpy())
    return pd.Series((elevation > 0.0) & (elevation < line), index=sun.index, name="hidden")


def horizon_sky_seen_frac(profile: Horizon, tilt_deg: float, azimuth_deg: float) -> float:
    """Share of its own sky that a plane still sees above the horizon line, [0 to 1].

    Its own sky is what it sees over a flat horizon, view factor (1 + cos tilt) / 2, equally
    bright all over. Light that hills and walls throw back is not counted: the answer is on the
    safe side, most so under snow or pale rock. Light from the ground is left as it was.

    Parameters
    ----------
    profile : Horizon
    tilt_deg, azimuth_deg : float
        Of the plane [deg], tilt 0 to 90.

    Notes
    -----
    With H the angle from the zenith down to where the sky ends at an azimuth, and a that
    azimuth less the plane's, the view factor is 1 / (2 pi) times the integral around the circle
    of cos(tilt) sin(H)^2 + sin(tilt) cos(a) (H - sin H cos H). The sky ends at the horizon
    line, or at the plane itself where that stands higher. Flat, under a line of the same height
    h all around, cos(h)^2 is left. The sum in quarter degrees is within 1e-4 of the integral.

    Examples
    --------
    >>> round(horizon_sky_seen_frac(Horizon(azimuth_deg=[0.0], height_deg=[30.0]), 0.0, 0.0), 6)
    0.75
    """
    if not profile.azimuth_deg:
        return 1.0
    tilt = np.radians(tilt_deg)
    around_deg = (np.arange(_AZIMUTH_STEPS) + 0.5) * (360.0 / _AZIMUTH_STEPS)
    off = np.cos(np.radians(around_deg - azimuth_deg))
    own_line = np.arctan2(np.maximum(-off, 0.0) * np.sin(tilt), np.cos(tilt))
    line = np.maximum(np.radians(horizon_height_deg(profile, around_deg)), own_line)
    seen, alone = (
        np.mean(
            np.cos(tilt) * np.cos(low) ** 2
            + np.sin(tilt) * off * (np.pi / 2.0 - low - np.sin(low) * np.cos(low))
        )
        for low in (line, own_line)
    )
    return float(np.clip(seen / alone, 0.0, 1.0))


def horizon_band_seen_frac(profile: Horizon, tilt_deg: float, azimuth_deg: float) -> float:
    """Share of the band over the horizon that a plane sees above the horizon line, [0 to 1].

    At each azimuth the part of the band's height above the line, weighed by the cosine on the
    plane; nothing is left where the line stands higher than the band.

    Parameters
    ----------
    profile : Horizon
    tilt_deg, azimuth_deg : float
        Of the plane [deg], tilt 0 to 90.

    Examples
    --------
    >>> half = Horizon(azimuth_deg=[0.0], height_deg=[BAND_DEG / 2.0])
    >>> round(horizon_band_seen_frac(half, 40.0, 180.0), 9)
    0.5
    """
    if not profile.azimuth_deg:
        return 1.0
    around_deg = (np.arange(_RING_STEPS) + 0.5) * (360.0 / _RING_STEPS)
    weight = np.maximum(band_rays() @ normal_vector(tilt_deg, azimuth_deg), 0.0)
    above = np.clip(1.0 - horizon_height_deg(profile, around_deg) / BAND_DEG, 0.0, 1.0)
    return float((weight * above).sum() / weight.sum())
