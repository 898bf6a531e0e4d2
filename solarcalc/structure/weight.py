"""Weight that holds a module down against uplift, sliding and overturning; load of one foot.

Statics of a rigid module under uplift square to it. What rows give one another, sheltering, dynamic
effects and the stiffness of frames are left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.physics import GRAVITY_M_PER_S2
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.structure import Structure, WindCode

WIND_FACTOR_EN = constant("structure.wind_factor_en")
FAVOURABLE_EQU = constant("structure.favourable_equ")
UNFAVOURABLE_EQU = constant("structure.unfavourable_equ")
FAVOURABLE_STR = constant("structure.favourable_str")
WIND_FACTOR_ASCE = constant("structure.wind_factor_asce")
FAVOURABLE_ASCE = constant("structure.favourable_asce")
UNFAVOURABLE_ASCE = constant("structure.unfavourable_asce")
PRESSURE_CENTRE = constant("structure.pressure_centre")
INNER_SUPPORT = constant("structure.inner_support")
CONCRETE_FRICTION = constant("structure.concrete_friction")


@dataclass(frozen=True, kw_only=True)
class DeadLoad:
    """What lies on the roof: array and ballast.

    Parameters
    ----------
    mass_kg : float
    area_m2 : float
        Roof under the rows [m2].
    """

    mass_kg: float
    area_m2: float

    @property
    def kg_per_m2(self) -> float:
        """Spread over the roof under the rows [kg/m2]; 0 where there are none."""
        return self.mass_kg / self.area_m2 if self.area_m2 > 0.0 else 0.0

    @property
    def kn_per_m2(self) -> float:
        """The same as a load [kN/m2]."""
        return self.kg_per_m2 * GRAVITY_M_PER_S2 / 1000.0


@dataclass(frozen=True, kw_only=True)
class Factors:
    """Partial factors of wind and weight, without unit.

    Parameters
    ----------
    wind : float
    holds : float
        Of weight that holds a row down.
    slides : float
        Of weight that pulls it down the slope.
    holds_foot : float
        Of weight that relieves a roof fixing.
    """

    wind: float
    holds: float
    slides: float
    holds_foot: float


def factors_of(code: WindCode) -> Factors:
    """Partial factors of the wind code: EN 1990 sets EQU and STR, or ASCE 7 strength design."""
    if code == "ASCE 7":
        return Factors(wind=float(WIND_FACTOR_ASCE), holds=float(FAVOURABLE_ASCE),
                       slides=float(UNFAVOURABLE_ASCE), holds_foot=float(FAVOURABLE_ASCE))
    return Factors(wind=float(WIND_FACTOR_EN), holds=float(FAVOURABLE_EQU),
                   slides=float(UNFAVOURABLE_EQU), holds_foot=float(FAVOURABLE_STR))


def friction_of(structure: Structure) -> tuple[float, str]:
    """Friction coefficient under ballasted feet, and where it is from."""
    if structure.friction_coefficient is not None:
        return structure.friction_coefficient, "measured on the roof"
    if structure.skin == "concrete":
        return float(CONCRETE_FRICTION), CONCRETE_FRICTION.source
    table = published("pad_friction")
    (row,) = (row for row in table.rows if row["skin"] == structure.skin)
    return float(row[structure.pad]), table.clause


@dataclass(frozen=True, kw_only=True)
class Held:
    """Mass that is needed in all, modules among it, by what it has to withstand [kg].

    Parameters
    ----------
    uplift_kg, sliding_kg, overturning_kg : float
        ``math.inf`` where no mass is enough: it slides on its slope by itself.
    """

    uplift_kg: float
    sliding_kg: float
    overturning_kg: float

    @property
    def needed_kg(self) -> float:
        """The largest that a mass can give [kg]."""
        return max(one for one in (self.uplift_kg, self.sliding_kg, self.overturning_kg)
                   if math.isfinite(one))  # fmt: skip

    @property
    def governs(self) -> str:
        """What asks for the most mass."""
        named = {"uplift": self.uplift_kg, "sliding": self.sliding_kg,
                 "overturning": self.overturning_kg}  # fmt: skip
        return max(named, key=lambda name: named[name])


def mass_against(
    lift_kn: float, drag_kn: float, *, friction: float, slope_deg: float, factors: Factors
) -> tuple[float, float]:
    """Mass against uplift and against sliding [kg], modules among it.

    Parameters
    ----------
    lift_kn, drag_kn : float
        Characteristic wind square to the roof, and along it [kN].
    friction : float
        Coefficient mu, without unit.
    slope_deg : float
        Of the roof [deg].
    factors : Factors

    Notes
    -----
    Uplift: f_holds m g cos a >= f_wind L. Sliding: mu (f_holds m g cos a - f_wind L) >= f_wind D
    + f_slides m g sin a.

    Examples
    --------
    >>> [round(one, 1) for one in mass_against(0.8, 0.24, friction=0.5, slope_deg=0.0,
    ...     factors=factors_of("EN 1991-1-4"))]
    [136.0, 217.5]
    """
    lift, drag = (1000.0 * factors.wind * one / GRAVITY_M_PER_S2 for one in (lift_kn, drag_kn))
    slope = math.radians(slope_deg)
    holds, pulls = factors.holds * math.cos(slope), factors.slides * math.sin(slope)
    gripped = friction * holds - pulls
    return lift / holds, (drag + friction * lift) / gripped if gripped > 0.0 else math.inf


def held_down(
    uplift_kn: float, *, lift_deg: float, slope_deg: float, friction: float, factors: Factors
) -> Held:
    """Mass in all that holds a module down under uplift square to it.

    Parameters
    ----------
    uplift_kn : float
        Characteristic, square to the module [kN].
    lift_deg, slope_deg : float
        Module over roof, and roof over the horizontal [deg].
    friction : float
        Coefficient, without unit.
    factors : Factors

    Notes
    -----
    Overturning about the lower edge: uplift acts at three quarters of the slope length l, weight
    in the middle of the footprint l cos b: f_holds m g cos a l cos b / 2 >= f_wind N 3 l / 4.
    """
    lift = math.radians(lift_deg)
    uplift_kg, sliding_kg = mass_against(
        uplift_kn * math.cos(lift), uplift_kn * math.sin(lift), friction=friction,
        slope_deg=slope_deg, factors=factors)  # fmt: skip
    arm = float(PRESSURE_CENTRE) / (0.5 * math.cos(lift))
    holds = factors.holds * math.cos(math.radians(slope_deg))
    turned_kg = 1000.0 * factors.wind * uplift_kn * arm / (holds * GRAVITY_M_PER_S2)
    return Held(uplift_kg=uplift_kg, sliding_kg=sliding_kg, overturning_kg=turned_kg)


def foot_uplift_kn(
    pressure_kpa: float, dead_kpa: float, area_m2: float, *, factors: Factors
) -> float:
    """Design uplift on one foot [kN]: A (f_wind w - f_holds d); 0 where weight is enough.

    Parameters
    ----------
    pressure_kpa, dead_kpa : float
        Net uplift, and weight over the same area [kPa].
    area_m2 : float
        That the foot holds [m2].
    factors : Factors
    """
    return max(area_m2 * (factors.wind * pressure_kpa - factors.holds_foot * dead_kpa), 0.0)


def rail_share(feet: int) -> float:
    """Load of the worst foot of a rail over an even share: more on an inner one.

    Examples
    --------
    >>> rail_share(2), rail_share(4)
    (1.0, 1.25)
    """
    return float(INNER_SUPPORT) if feet > 2 else 1.0
