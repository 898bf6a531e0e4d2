"""The horizon of a site, hills and buildings far off: when it hides the sun, how much sky.

Far off means that every module sees it alike. What stands on the roof itself is a box of
`solarcalc.shading.obstacles`.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from solarcalc.basis.sourced import constant
from solarcalc.sitefile.records import Horizon

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
    height: np.ndarray = np.interp(
        azimuth, profile.azimuth_deg, profile.height_deg, period=360.0
    )
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
