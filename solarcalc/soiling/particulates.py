"""Dust that settles out of the air: loss of light from what air-quality stations measure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import pvlib

G_OF_UG = 1e-6
_CLEANS = 1.0


def clean_hours(
    rain_mm: pd.Series,
    *,
    threshold_mm: float,
    grace_hours: int = 1,
    rain_hours: int = 24,
    washes: Sequence[pd.Timestamp] = (),
) -> pd.Series:
    """Hours in which the modules are clean: after enough rain, and when they are washed.

    The same rule as in the library's dry-day model, so that both models are cleaned alike.

    Parameters
    ----------
    rain_mm : Series, shape (n,)
        By hour [mm], on an index without a zone.
    threshold_mm : float
        Rain above which the modules are clean [mm].
    grace_hours : int
        Hours after such a rain in which nothing settles, its own counted in; at least 1.
    rain_hours : int
        Hours over which the rain is added up.
    washes : sequence of Timestamp
        Hours of washing; dust settles again at once.
    """
    fell = rain_mm.rolling(pd.Timedelta(hours=rain_hours), closed="right").sum()
    enough = (fell > threshold_mm).astype(float)
    clean: pd.Series = enough.rolling(pd.Timedelta(hours=grace_hours), closed="right").sum() > 0.0
    clean.loc[list(washes)] = True
    return clean


def loss_of_particulates(
    clean: pd.Series,
    *,
    pm2_5_ug_m3: np.ndarray | float,
    pm10_ug_m3: np.ndarray | float,
    tilt_deg: float,
) -> pd.Series:
    """Share of the light lost to dust from the air, [0 to 1].

    Parameters
    ----------
    clean : Series of bool, shape (n,)
        From `clean_hours`; the first hour's dust is that of one hour.
    pm2_5_ug_m3, pm10_ug_m3 : float or array (n,)
        Particulates finer than 2.5 and 10 um in the air [ug/m3]; the latter hold the former.
    tilt_deg : float
        Of the modules [deg].

    Notes
    -----
    Coello and Boyle 2019: loss = 0.3437 erf(0.17 w^0.8473), w [g/m2] the mass that settled at
    0.0009 m/s (finer than 2.5 um) and 0.004 m/s (the rest), times the cosine of the tilt. So
    never more than 0.34; held up by measurement to about 10 g/m2.
    """
    ratio: pd.Series = pvlib.soiling.hsu(
        clean * _CLEANS,  # as a rain that is at the threshold in those hours and in no others
        cleaning_threshold=_CLEANS,
        surface_tilt=tilt_deg,
        pm2_5=G_OF_UG * pm2_5_ug_m3,
        pm10=G_OF_UG * pm10_ug_m3,
        rain_accum_period=pd.Timedelta(hours=1),
    )
    return 1.0 - ratio
