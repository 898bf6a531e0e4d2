"""How the ground and an electrode are measured, and what to keep in mind about lightning."""

from __future__ import annotations

from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.earthing.lightning import Lightning, hard_shadow_m
from solarcalc.sitefile.earthing import Earthing

POTENTIAL_SHARE = constant("earthing.potential_share")
LEAST_PIN_M = constant("earthing.least_pin_m")
PIN_TIMES = constant("earthing.pin_times")
AGREE_FRAC = constant("earthing.agree_frac")

_DEFER = (
    "All of this is for trained people under the local wiring rules and licensed practice, which"
    " stand before anything written here."
)

SOIL_STEPS = (
    "Ask what lies in the ground, and look: a metal pipe, a cable or a fence along the line"
    " spoils the reading, and a pin through a live cable kills.",
    "Set four pins in a straight line, equally far apart, no deeper than a twentieth of the"
    " spacing. Current through the outer two, voltage between the inner two.",
    "Read at several spacings, from half the rod's length to twice or more; the spacing is about"
    " the depth that the reading sees. Then once more across the first line.",
    "Write spacing and resistance into the site file, and whether the ground was wet, mild or dry."
    " The dry season is the best time: it needs no guess.",
    "Not in thunder, not under or beside a high-voltage line. " + _DEFER,
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
        " link open the house has no earth, and a fault makes every case live.",
        "Undo the test link with its tool, gloves on: the loose ends may be at a voltage. Test for"
        " voltage first.",
        f"Set the current pin {current_m:.0f} m from the electrode, away from pipes, cables and"
        f" other electrodes; the voltage pin in the same line at {potential_m:.1f} m (62 %).",
        f"Read at {potential_m:.1f} m, then at {near:g} and {far:g} m. Where the three differ by"
        f" more than {float(AGREE_FRAC):.0%}, move the current pin farther away and begin again.",
        "Close the link, tighten it, and prove that the bar is joined to the electrode before any"
        " supply comes back.",
        "Write the reading, the date and the season down; write it into earthing.measured_ohm. It"
        " is taken to be of the season in soil.tested_when. Measure again in the dry season: an"
        " electrode measured each month for a year read from 0.118 to 0.89 ohm (open article"
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
        f"{lightning.thunder_days:g} days with thunder a year are about"
        f" {lightning.flashes_per_km2:.1f} flashes a year to each square kilometre of ground."
    )
    always = (
        "An array does not draw lightning, and its earth does not keep lightning away: it gives"
        " the current a way past people and things.",
        "Plus and minus of a string lie close together all the way, with the earth conductor"
        " beside them: a wide loop catches a voltage from a flash far away.",
        "Nobody works on roof, array or earth bar while thunder can be heard, nor for half an hour"
        f" after ({NO_SOURCE}).",
    )
    if not lightning.rods:
        return (
            often, *always,
            "Whether the house needs lightning rods is settled by a risk assessment (IEC 62305-2)."
            " " + _DEFER,
        )  # fmt: skip
    return (
        often, *always,
        f"Rods and their conductors stay {lightning.keep_away_m:.2f} m or more from frames, rails"
        " and cables (through a wall twice that); then the frames are not joined to them on the"
        " roof, only at this bar.",
        "Where that cannot be kept, frames and rods are joined on the roof by the shortest way with"
        " 16 mm2 copper, and surge devices of class I stand at both ends of the array's cable.",
        "The array stands inside the space that the rods shelter, and its modules not in their"
        f" hard shadow: {hard_shadow_m(10.0):.1f} m or more from a rod of 10 mm.",
        "Rods, their conductors and their earth are built and tested by a specialist. " + _DEFER,
    )  # fmt: skip
