"""The light on a tilted plane, split into the parts that rows and glass treat differently.

Isotropic sky plus a circumsolar part that moves, shades and reflects with the beam.
"""

from __future__ import annotations

import pandas as pd
import pvlib

from solarcalc.basis.hours import mid_hour


def plane_light(
    hours: pd.DataFrame, sun: pd.DataFrame, *, tilt_deg: float, azimuth_deg: float,
    albedo_frac: float,
) -> pd.DataFrame:  # fmt: skip
    """Light on a plane in each hour, unshaded.

    Parameters
    ----------
    hours : DataFrame, shape (n,)
        ``ghi``, ``dni``, ``dhi`` [W/m2], labelled at the start of each hour.
    sun : DataFrame, shape (n,)
        ``apparent_zenith_deg`` and ``azimuth_deg`` [deg] of the middle of each hour.
    tilt_deg, azimuth_deg : float
        Of the plane [deg]; 0 flat; 0 north, 90 east.
    albedo_frac : float
        Reflectance of the ground or roof in front, [0 to 1].

    Returns
    -------
    DataFrame, shape (n,)
        ``beam``, ``circumsolar``, ``sky`` (isotropic), ``ground`` and their sum ``total``
        [W/m2]; ``aoi_deg``, the angle between sun and plane normal [deg].

    Notes
    -----
    Beam = DNI cos(aoi); circumsolar and isotropic by Hay and Davies (1980); ground
    = GHI albedo (1 - cos tilt) / 2. No beam or circumsolar from a sun below the horizon.
    """
    zenith, azimuth = sun["apparent_zenith_deg"], sun["azimuth_deg"]
    aoi_deg = pvlib.irradiance.aoi(tilt_deg, azimuth_deg, zenith, azimuth)
    up = zenith < 90.0
    beam = pvlib.irradiance.beam_component(
        tilt_deg, azimuth_deg, zenith, azimuth, hours["dni"]
    ).where(up, 0.0)
    day = mid_hour(pd.DatetimeIndex(hours.index)).tz_convert("UTC").day_of_year.to_numpy()
    extra = pd.Series(pvlib.irradiance.get_extra_radiation(day), index=hours.index)
    parts = pvlib.irradiance.haydavies(
        tilt_deg, azimuth_deg, hours["dhi"], hours["dni"].where(up, 0.0), extra,
        zenith, azimuth, return_components=True,
    )
    ground = pvlib.irradiance.get_ground_diffuse(tilt_deg, hours["ghi"], albedo_frac)
    light = pd.DataFrame(
        {"beam": beam, "circumsolar": parts["poa_circumsolar"].where(up, 0.0),
         "sky": parts["poa_isotropic"], "ground": ground},
        index=hours.index,
    )
    light["total"] = light.sum(axis=1)
    light["aoi_deg"] = aoi_deg
    return light
