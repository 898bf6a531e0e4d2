"""What the batteries weigh, whether the floor carries them and who lifts them."""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.powerroom.layout import RoomLayout
from solarcalc.sitefile.battery_records import Battery
from solarcalc.sitefile.room import Room

RACK_FRAC = constant("powerroom.rack_frac")
ONE_LIFTS_KG = constant("powerroom.one_lifts_kg")
TWO_LIFT_KG = constant("powerroom.two_lift_kg")
FLOOR_CLAUSE = f"load on the floor under a rack; ask who built it; {NO_SOURCE}"


@dataclass(frozen=True, kw_only=True)
class FloorLoad:
    """What stands on the floor.

    Parameters
    ----------
    unit_kg : float
        One battery unit [kg].
    guessed_by : str
        Source of its energy for its mass, where the mass is guessed; empty where it is given.
    total_kg : float
        All units and racks [kg].
    rack_kg_per_m2 : float
        Under the heaviest row of racks, on its footprint [kg/m2].
    room_kg_per_m2 : float
        The same mass spread over the whole floor [kg/m2].
    """

    unit_kg: float
    guessed_by: str
    total_kg: float
    rack_kg_per_m2: float
    room_kg_per_m2: float


def unit_mass_kg(battery: Battery, room: Room) -> float:
    """Mass of a battery unit [kg]: by the site file, else by its energy and kind."""
    if room.unit_mass_kg is not None:
        return room.unit_mass_kg
    return battery.unit_wh / battery.traits.mass.energy_wh_per_kg


def floor_load(battery: Battery, room: Room, layout: RoomLayout) -> FloorLoad:
    """Load on the floor under the racks and over the room.

    Parameters
    ----------
    battery : Battery
    room : Room
    layout : RoomLayout
        Its racks.

    Notes
    -----
    (units x mass) (1 + rack) / footprint. Racks that found no place are counted in the room; where
    none did, the load is that under units one above another.
    """
    unit_kg = unit_mass_kg(battery, room)
    units = battery.unit_count
    whole = 1.0 + float(RACK_FRAC)
    racks = layout.of_kind("rack")
    most = max((box.length_m * box.depth_m for box in racks), default=0.0)
    stacked = room.rack_tiers * unit_kg * whole / (room.unit_length_m * room.unit_depth_m)
    full = min(units, layout.units_a_tier * room.rack_tiers) * unit_kg * whole
    return FloorLoad(
        unit_kg=unit_kg,
        guessed_by="" if room.unit_mass_kg is not None else battery.traits.mass.clause,
        total_kg=units * unit_kg * whole,
        rack_kg_per_m2=full / most if most else stacked,
        room_kg_per_m2=units * unit_kg * whole / (room.length_m * room.depth_m),
    )


def floor_verdicts(load: FloorLoad, room: Room) -> list[Verdict]:
    """Whether the floor carries the racks, and how the units are lifted."""
    limit, rack, spread = room.floor_kg_per_m2, load.rack_kg_per_m2, load.room_kg_per_m2
    guessed = f"; mass by energy: {load.guessed_by}" if load.guessed_by else ""
    return [
        judged(
            rack <= limit,
            "caution" if spread <= limit else "failed",
            item="Floor under the racks",
            found=f"{rack:.0f}",
            limit=f"at most {limit:.0f}",
            unit="kg/m²",
            clause=FLOOR_CLAUSE + guessed,
            remedy="fewer tiers on a longer rack, or plates and beams that spread the load (over"
            f" the whole floor it is {spread:.0f} kg/m²); have it checked by who knows the floor",
        ),
        judged(
            load.unit_kg <= float(ONE_LIFTS_KG),
            item="Lifting a battery unit",
            found=f"{load.unit_kg:.0f}",
            limit=f"at most {float(ONE_LIFTS_KG):.0f} alone",
            unit="kg",
            clause=ONE_LIFTS_KG.source + guessed,
            remedy="two persons with straps"
            if load.unit_kg <= float(TWO_LIFT_KG)
            else "a hoist, a lifting table or four persons; heavy units on the lowest tier",
        ),
    ]
