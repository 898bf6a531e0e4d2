"""The light on a tilted plane, split into the parts that rows and glass treat differently.

The sky of Perez: even light, a circumsolar part that moves, shades and reflects with the beam, and
a band over the horizon that is brighter than the rest of the sky, or darker.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.hours import mid_hour


def plane_light(
    hours: pd.DataFrame, sun: pd.DataFrame, *, tilt_deg: float, azimuth_deg: float,
    albedo_frac: float | pd.Series,
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
    albedo_frac : float or Series, shape (n,)
        Reflectance of the ground or roof in front, [0 to 1].

    Returns
    -------
    DataFrame, shape (n,)
        ``beam``, ``circumsolar``, ``sky`` (even), ``horizon`` (the band, negative where it is
        darker than the sky), ``ground`` and their sum ``total`` [W/m2]; ``aoi_deg``, the angle
        between sun and plane normal [deg].

    Notes
    -----
    Beam = DNI cos(aoi); the sky by Perez et al. 1990 in the continuous form of Driesse et al. 2024;
    ground = GHI albedo (1 - cos tilt) / 2. No beam or circumsolar from a sun below the horizon:
    the sky is even then. A dark band takes no more than the even sky gives.
    """
    zenith, azimuth = (sun[name].to_numpy() for name in ("apparent_zenith_deg", "azimuth_deg"))
    ghi, dni, dhi = (hours[name].to_numpy(dtype=float) for name in ("ghi", "dni", "dhi"))
    up = zenith < 90.0
    beam = pvlib.irradiance.beam_component(tilt_deg, azimuth_deg, zenith, azimuth, dni)
    parts = pvlib.irradiance.perez_driesse(
        tilt_deg, azimuth_deg, dhi, np.where(up, dni, 0.0), beam_above_air(hours).to_numpy(),
        zenith, azimuth, return_components=True,
    )
    even = pvlib.irradiance.isotropic(tilt_deg, dhi)
    sky = np.where(up, parts["poa_isotropic"], even)
    band = np.where(up, parts["poa_horizon"], 0.0)
    albedo = albedo_frac.to_numpy() if isinstance(albedo_frac, pd.Series) else albedo_frac
    light = pd.DataFrame(
        {"beam": np.where(up, beam, 0.0),
         "circumsolar": np.where(up, parts["poa_circumsolar"], 0.0),
         "sky": sky, "horizon": band,
         "ground": pvlib.irradiance.get_ground_diffuse(tilt_deg, ghi, albedo)},
        index=hours.index,
    )
    light["horizon"] = np.where(band >= -sky, band, -sky)
    light["total"] = light.sum(axis=1)
    light["aoi_deg"] = pvlib.irradiance.aoi(tilt_deg, azimuth_deg, zenith, azimuth)
    return light


def beam_above_air(hours: pd.DataFrame) -> pd.Series:
    """Beam above the air in each hour, square to it [W/m2], labelled at the start of the hour."""
    day = mid_hour(pd.DatetimeIndex(hours.index)).tz_convert("UTC").day_of_year.to_numpy()
    return pd.Series(pvlib.irradiance.get_extra_radiation(day), index=hours.index)


def even_and_band(light: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """What falls on a plane from the even sky and from a bright band over its horizon [W/m2].

    A dark band is taken off the even sky and hidden with it, so that neither part is negative
    and nothing that hides light can give any.

    Parameters
    ----------
    light : DataFrame, shape (n,)
        From `plane_light`.
    """
    even = light["sky"] + light["horizon"].clip(upper=0.0)
    return even.clip(lower=0.0), light["horizon"].clip(lower=0.0)
