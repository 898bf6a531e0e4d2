"""Lightning: how often it strikes, what a rod shelters, how far the array keeps from it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.worded import worded
from solarcalc.earthing.soil import above_zero
from solarcalc.sitefile.earthing import Earthing

ProtectionClass = Literal["III", "IV"]
Through = Literal["air", "solid"]

KEEP_AWAY_CLAUSE = "IEC 62305-3 cl. 6.3, simplified, as a handbook of lightning protection gives it"

CLASS_FACTOR = float(constant("earthing.class_factor"))
SHARE_OF_CURRENT = {1: 1.0, 2: float(constant("earthing.share_of_two"))}
SHARE_OF_MANY = float(constant("earthing.share_of_many"))
THROUGH_FACTOR: dict[Through, float] = {
    "air": 1.0,
    "solid": float(constant("earthing.through_solid")),
}
SPHERE_M: dict[ProtectionClass, float] = {
    "III": float(constant("earthing.sphere_class_3_m")),
    "IV": float(constant("earthing.sphere_class_4_m")),
}
SUN_ACROSS_DEG = constant("earthing.sun_across_deg")
USUAL_DOWN_CONDUCTORS = constant("earthing.usual_down_conductors")
LIGHTNING_EARTH_OHM = constant("earthing.lightning_earth_ohm")


@dataclass(frozen=True, kw_only=True)
class Lightning:
    """What lightning asks of a site.

    Parameters
    ----------
    rods : bool
        Whether the house has lightning rods.
    thunderstorm_days : float
        A year [days].
    ground_flash_density_per_km2 : float
        To the ground, a year and square kilometre.
    down_length_m : float
        Along the down conductor from the array to the earth bar, taken as long as the earth
        conductor of the array [m].
    keep_away_m : float
        Distance that array and rods must keep [m].
    array_bonded : bool
        Whether the array is taken to be joined to the rods, its conductors then sized for it.
    """

    rods: bool
    thunderstorm_days: float
    ground_flash_density_per_km2: float
    down_length_m: float
    keep_away_m: float
    array_bonded: bool


def keep_away_m(
    down_length_m: float, *, down_conductors: int = 2, through: Through = "air"
) -> float:
    """Distance between lightning rods with their conductors and the array, for classes III and IV.

    Parameters
    ----------
    down_length_m : float
        Along the down conductor, from the place looked at to the earth bar [m].
    down_conductors : int
        1 or more, joined at the top.
    through : {"air", "solid"}
        What lies between: air, or brick and concrete.

    Raises
    ------
    InputError
        When the length is not above 0 or there is no down conductor.

    Notes
    -----
    s = k_i k_c / k_m l. IEC 62305-3 cl. 6.3.

    Examples
    --------
    >>> round(keep_away_m(20.0, down_conductors=3), 3)
    0.352
    """
    above_zero("length along the down conductor", down_length_m, "m")
    if down_conductors < 1:
        raise InputError(
            Fault(where="down conductors", given=str(down_conductors), allowed="1 or more",
                  why="lightning needs a way to earth", remedy="count those of the house")
        )  # fmt: skip
    share = SHARE_OF_CURRENT.get(down_conductors, SHARE_OF_MANY)
    return CLASS_FACTOR * share / THROUGH_FACTOR[through] * down_length_m


def sheltered_m(
    rod_m: float, array_m: float = 0.0, *, protection_class: ProtectionClass = "III"
) -> float:
    """How far from a rod an array of some height is still sheltered, by the rolling sphere.

    Parameters
    ----------
    rod_m : float
        Top of the rod above the roof it stands on [m].
    array_m : float
        Upper edge of the array above the same roof, below the rod [m].
    protection_class : {"III", "IV"}

    Returns
    -------
    float
        Radius around the rod at the height of the array [m].

    Raises
    ------
    InputError
        When the rod is not above the array, or is higher than the sphere's radius.

    Notes
    -----
    sqrt(h (2 R - h)) - sqrt(z (2 R - z)), R the radius of the sphere.

    Examples
    --------
    >>> round(sheltered_m(2.0, 0.5), 1)
    6.6
    """
    radius = SPHERE_M[protection_class]
    if not 0.0 <= array_m < rod_m <= radius:
        raise InputError(
            Fault(**worded(
                "earthing", "height-lightning-rod", rod_m=rod_m, array_m=array_m, radius=radius,
            ))
        )
    reach = math.sqrt(rod_m * (2.0 * radius - rod_m))
    return reach - math.sqrt(array_m * (2.0 * radius - array_m))


def hard_shadow_m(rod_mm: float) -> float:
    """How long the hard shadow of a rod is: a module farther away never loses the whole sun.

    Parameters
    ----------
    rod_mm : float
        Diameter [mm].

    Raises
    ------
    InputError
        When it is not above 0.

    Notes
    -----
    d / (2 tan(w / 2)) with w the width of the sun in the sky: 107 times the diameter.

    Examples
    --------
    >>> round(hard_shadow_m(10.0), 2)
    1.07
    """
    above_zero("diameter of a lightning rod", rod_mm, "mm")
    return rod_mm / 1000.0 / (2.0 * math.tan(math.radians(float(SUN_ACROSS_DEG) / 2.0)))


POTENTIAL_SHARE = constant("earthing.potential_share")
LEAST_PIN_M = constant("earthing.least_pin_m")
PIN_TIMES = constant("earthing.pin_times")
AGREE_FRAC = constant("earthing.agree_frac")

_DEFER = (
    "All of this is for trained people under the local wiring rules and licensed practice, which"
    " take precedence over anything written here."
)

SOIL_STEPS = (
    "Locate buried services first: a metal pipe, a cable or a fence along the line falsifies the"
    " reading, and an electrode driven into a live cable kills.",
    "Drive four electrodes in a straight line, equally spaced, no deeper than a twentieth of the"
    " spacing. Current through the outer two, voltage between the inner two.",
    "Read at several spacings, from half the rod's length to twice or more; the spacing is about"
    " the depth measured. Then once more across the first line.",
    "Enter spacing and resistance in the site file, and whether the soil was wet, mild or dry."
    " The dry season is the best time: it needs no correction.",
    "Not in a thunderstorm, not under or beside a high-voltage line. " + _DEFER,
)


def pin_distances_m(earthing: Earthing) -> tuple[float, float]:
    """How far from the electrode the current pin and the voltage pin stand [m].

    Parameters
    ----------
    earthing : Earthing
        For the longest size of the electrode.

    Examples
    --------
    >>> pin_distances_m(Earthing())
    (30.0, 18.6)
    """
    if earthing.electrode == "rods":
        along_m = (earthing.rod_count - 1) * earthing.rod_spacing_m
        size_m = max(earthing.rod_length_m, along_m)
    elif earthing.electrode == "strip":
        size_m = earthing.conductor_m
    else:
        size_m = earthing.conductor_m / 3.14
    current_m = max(float(LEAST_PIN_M), float(PIN_TIMES) * size_m)
    return current_m, round(float(POTENTIAL_SHARE) * current_m, 2)


def electrode_steps(earthing: Earthing) -> tuple[str, ...]:
    """How this electrode is measured, step by step, with the distances of its pins.

    Parameters
    ----------
    earthing : Earthing
    """
    current_m, potential_m = pin_distances_m(earthing)
    near, far = (round((float(POTENTIAL_SHARE) + step) * current_m, 1) for step in (-0.1, 0.1))
    return (
        "Switch off and lock every supply: array, battery, inverter, generator, grid. With the"
        " link open the house has no earth, and a fault makes every enclosure live.",
        "Undo the test link with its tool, gloves on: the loose ends may be at a voltage. Test for"
        " voltage first.",
        f"Set the current pin {current_m:.0f} m from the electrode, away from pipes, cables and"
        f" other electrodes; the voltage pin in the same line at {potential_m:.1f} m (62 %).",
        f"Read at {potential_m:.1f} m, then at {near:g} and {far:g} m. Where the three differ by"
        f" more than {100.0 * float(AGREE_FRAC):.0f} %, move the current pin farther away and begin"
        " again.",
        "Close the link, tighten it, and prove that the main earthing terminal is connected to"
        " the earth electrode before any supply is restored.",
        "Write the reading, the date and the season down; write it into earthing.measured_ohm. It"
        " is taken to be of the season in soil.tested_when. Measure again in the dry season: an"
        " electrode measured each month for a year read from 0.118 to 0.89 Ω (open article"
        " PMC11978897, table 2).",
        "Never in thunder or with anyone on the roof. " + _DEFER,
    )


def lightning_advice(lightning: Lightning) -> tuple[str, ...]:
    """What lightning asks of this site, in words.

    Parameters
    ----------
    lightning : Lightning
    """
    often = (
        f"{lightning.thunderstorm_days:g} thunderstorm days per year are about"
        f" {lightning.ground_flash_density_per_km2:.1f} ground flashes per km² and year (N_G)."
    )
    always = (
        "An array does not draw lightning, and its earth does not keep lightning away: it gives"
        " the current a way past people and things.",
        "Positive and negative of a string lie close together all the way, with the bonding"
        " conductor beside them: a wide loop catches a voltage from a flash far away.",
        "Nobody works on roof, array or main earthing terminal while thunder can be heard, nor"
        f" for half an hour after ({NO_SOURCE}).",
    )
    if not lightning.rods:
        return (
            often, *always,
            "A risk assessment (IEC 62305-2) decides whether the house needs a lightning"
            " protection system (LPS). " + _DEFER,
        )  # fmt: skip
    return (
        often, *always,
        f"Rods and their conductors stay {lightning.keep_away_m:.2f} m or more from frames, rails"
        " and cables (through a wall twice that); then the frames are not bonded to them on the"
        " roof, only at the main earthing terminal.",
        "Where that is impossible, frames and rods are bonded on the roof by the shortest route"
        " with 16 mm² copper, and SPDs of class I are fitted at both ends of the array cable.",
        "The array is inside the space protected by the rods, and its modules not in their"
        f" hard shadow: {hard_shadow_m(10.0):.1f} m or more from a rod of 10 mm.",
        "A specialist installs and tests rods, down conductors and their earth electrode. "
        + _DEFER,
    )  # fmt: skip
