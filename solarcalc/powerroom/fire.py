"""Fire in the power room: what gives the alarm, what puts it out, what CO2 does to people.

Fire is for the fire service. Nothing here replaces its advice or the local code.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.check import Check, checked
from solarcalc.basis.physics import ATMOSPHERE_PA, GAS_J_PER_MOL_K, KELVIN_AT_0_C
from solarcalc.basis.sourced import Sourced, constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.site import Site

CO2_M3_PER_KG = Sourced(
    label="Carbon dioxide of a kilogram at 20 degC",
    value=GAS_J_PER_MOL_K * (KELVIN_AT_0_C + 20.0) / (0.04401 * ATMOSPHERE_PA), unit="m³",
    source="ideal gas at 1013 hPa, molar mass 44.01 g/mol",
)  # fmt: skip
GAS_KG = constant("powerroom.gas_kg")
BREATHED_M = constant("powerroom.breathed_m")
M2_PER_KG = constant("powerroom.m2_per_kg")
OXYGEN_FRAC = constant("powerroom.oxygen_frac")
LEAST_OXYGEN_FRAC = constant("powerroom.least_oxygen_frac")
DANGER_FRAC = constant("powerroom.danger_frac")

DOOR_OPENS = "The door opens outward and can always be opened from inside without a key."
DEFER = "The fire service and the local fire code decide; let them see the plan before it is built."


@dataclass(frozen=True, kw_only=True)
class GasInRoom:
    """What a CO2 extinguisher emptied in a closed room leaves to breathe.

    Parameters
    ----------
    gas_kg : float
        Emptied [kg].
    carbon_dioxide_frac, oxygen_frac : float
        Of the air below 2 m [0 to 1].
    free_floor_m2, needed_floor_m2 : float
        Free floor there is, and for a person inside there should be [m2].
    """

    gas_kg: float
    carbon_dioxide_frac: float
    oxygen_frac: float
    free_floor_m2: float
    needed_floor_m2: float


def gas_in_room(gas_kg: float, free_floor_m2: float, height_m: float) -> GasInRoom:
    """Carbon dioxide and oxygen after a CO2 extinguisher was emptied in a closed room.

    Parameters
    ----------
    gas_kg : float
        Emptied [kg].
    free_floor_m2 : float
        Floor not covered by things that stand on it [m2].
    height_m : float
        Of the room; 2 m count at most [m].

    Notes
    -----
    The gas mixes and pushes mixed air out: share = 1 - exp(-V_gas / V); oxygen 0.209 (1 - share).

    Examples
    --------
    >>> round(gas_in_room(5.0, 27.5, 2.6).carbon_dioxide_frac, 3)
    0.048
    """
    volume = free_floor_m2 * min(height_m, float(BREATHED_M))
    share = 1.0 if volume <= 0.0 else -math.expm1(-gas_kg * float(CO2_M3_PER_KG) / volume)
    return GasInRoom(
        gas_kg=gas_kg,
        carbon_dioxide_frac=share,
        oxygen_frac=float(OXYGEN_FRAC) * (1.0 - share),
        free_floor_m2=free_floor_m2,
        needed_floor_m2=gas_kg * float(M2_PER_KG),
    )


def fire_checks(site: Site, gas: GasInRoom) -> list[Check]:
    """Alarm, extinguisher, and what a CO2 extinguisher would do to whoever holds it.

    Parameters
    ----------
    site : Site
    gas : GasInRoom
        Of the room, worked out whether its extinguisher is one of CO2 or not.
    """
    room, fire = site.room, site.battery.traits.fire
    checks = [
        checked(
            room.smoke_alarm, **worded("powerroom", "smoke-alarm-power"),
            found="yes" if room.smoke_alarm else "none",
        ),
        checked(
            room.extinguisher in fire.extinguishers,
            **worded("powerroom", "extinguisher-power-room", clause=fire.clause),
            found=room.extinguisher, limit=fire.fit,
        ),
    ]
    if room.extinguisher == "CO2":
        checks.append(_gas_check(gas, outside=room.extinguisher_place == "outside"))
    return checks


def fire_notes(site: Site, gas: GasInRoom) -> tuple[str, ...]:
    """What to do and not to do about fire in the power room; defers to the fire service last."""
    room = site.room
    notes = ["Get people out, shut the door, call the fire service. Property can be replaced."]
    notes += site.battery.traits.fire.notes
    if room.extinguisher == "CO2":
        notes.append(
            f"CO2 extinguisher: {gas.gas_kg:g} kg of carbon dioxide would leave"
            f" {100.0 * gas.carbon_dioxide_frac:.0f} % of it and"
            f" {100.0 * gas.oxygen_frac:.1f} % oxygen in this closed room: people faint within"
            " breaths. Use it from the open door, standing, then shut the door and stay out until"
            " the room has been aired."
        )
    if room.extinguisher in ("foam", "water-mist"):
        notes.append(
            "Foam and water carry current: only what is marked for live equipment, up to the"
            " voltage and from the distance on its label; the array's cable is live in any light."
        )
    notes += [
        DOOR_OPENS,
        "Isolators of array and battery are marked and reached without passing the batteries.",
        "Nothing else is stored in the room: no fuel, no paint, no cardboard.",
        DEFER,
    ]
    return tuple(notes)


def _gas_check(gas: GasInRoom, *, outside: bool) -> Check:
    """Breath after CO2: failed where it hangs inside; outside, a person accepts how it is used."""
    return checked(
        gas.free_floor_m2 >= gas.needed_floor_m2
        and gas.oxygen_frac >= float(LEAST_OXYGEN_FRAC)
        and gas.carbon_dioxide_frac < float(DANGER_FRAC),
        "review" if outside else "failed",
        **worded(
            "powerroom", "air-left-breathe", oxygen_percent=100.0 * gas.oxygen_frac,
            carbon_dioxide_percent=100.0 * gas.carbon_dioxide_frac, free_floor_m2=gas.free_floor_m2,
            least_oxygen_percent=100.0 * float(LEAST_OXYGEN_FRAC),
            danger_percent=100.0 * float(DANGER_FRAC), needed_floor_m2=gas.needed_floor_m2,
            m2_per_kg_source=M2_PER_KG.source, danger_frac_source=DANGER_FRAC.source,
            least_oxygen_frac_source=LEAST_OXYGEN_FRAC.source,
        ),
    )  # fmt: skip
