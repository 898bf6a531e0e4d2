"""Beam and diffuse radiation where a file lacks them, or where they are to be made anew."""

from __future__ import annotations

import numpy as np
import pandas as pd
from pvlib import irradiance

from solarcalc.basis.verdict import Verdict
from solarcalc.weather.sky_of_year import SunOfYear, Values

_MAX_ZENITH_DEG = 87.0
"""Above this the beam is taken as 0 and all as diffuse; as pvlib.irradiance.erbs_driesse."""

_DECOMPOSITION = "Erbs et al. 1982 in the continuous form of Driesse et al. 2024"
_CLOSURE = "GHI = DNI cos z + DHI by definition, Duffie and Beckman 2013 sec. 1.2"


def with_beam_and_diffuse(
    hours: pd.DataFrame, sun: SunOfYear, *, rebuild_beam: bool
) -> tuple[pd.DataFrame, list[Verdict]]:
    """The year with all three of ghi, dni and dhi, and a caution where one was made."""
    has_dni, has_dhi = "dni" in hours, "dhi" in hours
    if has_dni and has_dhi and not rebuild_beam:
        return hours, []
    hours = hours.copy()
    ghi = hours["ghi"].to_numpy(float)
    if rebuild_beam or not (has_dni or has_dhi):
        hours["dni"], hours["dhi"] = _split(ghi, sun)
        said, clause = "beam and diffuse made from the global radiation", _DECOMPOSITION
    elif has_dhi:
        hours["dni"] = _beam(ghi, hours["dhi"].to_numpy(float), sun)
        said, clause = "beam made from global less diffuse", _CLOSURE
    else:
        beam = hours["dni"].to_numpy(float) * sun.upward
        hours["dhi"] = np.clip(ghi - beam, 0.0, ghi)
        said, clause = "diffuse made from global less beam", _CLOSURE
    return hours, [
        Verdict(
            item="Beam and diffuse radiation",
            found=said + (", as asked" if rebuild_beam else ", as the file lacks them"),
            limit="all three measured or modelled by the maker of the file",
            unit="",
            outcome="caution",
            clause=clause,
            remedy="expect a few percent more doubt on steep or east and west planes",
        )
    ]


def _split(ghi: Values, sun: SunOfYear) -> tuple[Values, Values]:
    parts = irradiance.erbs_driesse(
        ghi, sun.zenith_deg, dni_extra=sun.normal_w_m2, max_zenith=_MAX_ZENITH_DEG
    )
    return np.asarray(parts["dni"], dtype=float), np.asarray(parts["dhi"], dtype=float)


def _beam(ghi: Values, dhi: Values, sun: SunOfYear) -> Values:
    high = sun.zenith_deg < _MAX_ZENITH_DEG
    beam = np.divide(ghi - dhi, sun.upward, out=np.zeros_like(ghi), where=high)
    return np.clip(beam, 0.0, sun.normal_w_m2)
