"""Peak velocity pressure of the wind at the top of a roof, by EN 1991-1-4 or by ASCE 7.

Hills, taller buildings near, thin air, funnelling between buildings and single storms are left
out. The two codes take unlike velocities, a 10-minute mean and a 3-second gust: never mix them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.basis.typed import M_PER_FT
from solarcalc.sitefile.structure import Exposed, Structure, Terrain

AIR_DENSITY_KG_PER_M3 = constant("structure.air_density_kg_per_m3")
TERRAIN_FACTOR = constant("structure.terrain_factor")
REFERENCE_ROUGHNESS_M = constant("structure.reference_roughness_m")
TERRAIN_EXPONENT = constant("structure.terrain_exponent")
GUST_FACTOR = constant("structure.gust_factor")
GUST_PRESSURE_FACTOR = constant("structure.gust_pressure_factor")
EXPOSURE_FACTOR = constant("structure.exposure_factor")
LEAST_EXPOSURE_HEIGHT_M = constant("structure.least_exposure_height_m")
DIRECTIONALITY = constant("structure.directionality")


@dataclass(frozen=True, kw_only=True)
class MeanWind:
    """Mean wind at a height by EN 1991-1-4.

    Parameters
    ----------
    terrain_factor, roughness : float
        k_r and c_r.
    velocity_m_per_s : float
        Mean velocity v_m [m/s].
    turbulence : float
        I_v.
    """

    terrain_factor: float
    roughness: float
    velocity_m_per_s: float
    turbulence: float

    @property
    def peak_kpa(self) -> float:
        """Peak velocity pressure q_p [kPa]: (1 + 7 I_v) rho v_m2 / 2."""
        gust = 1.0 + float(GUST_FACTOR) * self.turbulence
        pressure_pa = 0.5 * float(AIR_DENSITY_KG_PER_M3) * self.velocity_m_per_s**2
        return gust * pressure_pa / 1000.0


def mean_wind(basic_m_per_s: float, terrain: Terrain, height_m: float) -> MeanWind:
    """Mean wind at a height: EN 1991-1-4 cl. 4.3 and 4.4, orography and turbulence factor 1.

    Parameters
    ----------
    basic_m_per_s : float
        Basic wind velocity v_b, a 10-minute mean [m/s], 0 or more.
    terrain : {"0", "I", "II", "III", "IV"}
    height_m : float
        Above the ground [m], up to 200; below the least height of the terrain that one holds.
    """
    (row,) = (row for row in published("terrain_categories").rows if row["category"] == terrain)
    roughness_m = float(row["roughness_m"])
    factor = float(TERRAIN_FACTOR) * (
        roughness_m / float(REFERENCE_ROUGHNESS_M)) ** float(TERRAIN_EXPONENT)
    rises = math.log(max(height_m, float(row["least_height_m"])) / roughness_m)
    return MeanWind(terrain_factor=factor, roughness=factor * rises,
                    velocity_m_per_s=factor * rises * basic_m_per_s, turbulence=1.0 / rises)


def exposure_coefficient(exposure: Exposed, height_m: float) -> float:
    """K_z of ASCE 7: 2.01 (z / z_g)^(2 / alpha), z at least 15 ft.

    Parameters
    ----------
    exposure : {"B", "C", "D"}
    height_m : float
        Above the ground [m].

    Examples
    --------
    >>> round(exposure_coefficient("C", 4.572), 2), round(exposure_coefficient("B", 9.144), 2)
    (0.85, 0.7)
    """
    (row,) = (row for row in published("wind_exposures").rows if row["exposure"] == exposure)
    gradient_m, exponent = float(row["gradient_ft"]) * M_PER_FT, float(row["exponent"])
    height = min(max(height_m, float(LEAST_EXPOSURE_HEIGHT_M)), gradient_m)
    rises: float = (height / gradient_m) ** (2.0 / exponent)
    return float(EXPOSURE_FACTOR) * rises


def gust_pressure_kpa(gust_m_per_s: float, exposure: Exposed, height_m: float) -> float:
    """Velocity pressure of ASCE 7 [kPa]: 0.613 K_z K_d V2, with K_zt = K_e = 1.

    Parameters
    ----------
    gust_m_per_s : float
        Basic wind speed V, a 3-second gust [m/s], 0 or more.
    exposure : {"B", "C", "D"}
    height_m : float
        Above the ground [m].
    """
    factors = exposure_coefficient(exposure, height_m) * float(DIRECTIONALITY)
    return float(GUST_PRESSURE_FACTOR) * factors * gust_m_per_s**2 / 1000.0


def peak_pressure_kpa(structure: Structure) -> float | None:
    """Velocity pressure of a gust at the top of the roof by the site's code [kPa].

    None where nobody gave a basic wind velocity: there is no safe guess.
    """
    basic_m_per_s, height_m = structure.basic_wind_m_per_s, structure.height_m
    if basic_m_per_s is None:
        return None
    if structure.wind_code == "ASCE 7":
        return gust_pressure_kpa(basic_m_per_s, structure.exposure, height_m)
    return mean_wind(basic_m_per_s, structure.terrain, height_m).peak_kpa
