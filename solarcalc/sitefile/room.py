"""The room of battery and inverters: [room]."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from solarcalc.basis.errors import Fault
from solarcalc.basis.sourced import constant
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Fraction, Line, Record, Sound


class Room(Record):
    """[room]: its inside, its walls, its openings and what carries the batteries."""

    place: Line = Field(
        default="",
        description="name of the [[places]] location option chosen; empty: none compared"
    )
    length_m: float = Field(
        default=3.0, gt=0.5, le=50.0, description="inside; the wall of the racks"
    )
    depth_m: float = Field(default=2.4, gt=0.5, le=50.0, description="inside")
    height_m: float = Field(default=2.6, gt=1.0, le=10.0, description="inside")
    wall: Literal["block", "brick", "timber", "sheet"] = Field(default="block")
    roof: Literal["concrete", "sheet", "sheet-insulated"] = Field(default="sheet-insulated")
    wall_in_sun_frac: Fraction = Field(default=0.25, description="of the walls, at midday")
    roof_in_sun_frac: Fraction = Field(default=1.0)
    inverters_inside: bool = Field(default=True, description="their losses heat the batteries")
    vent_low_cm2: float = Field(
        default=400.0, ge=0.0, le=100000.0, description="opening as built, near the floor"
    )
    vent_high_cm2: float = Field(
        default=400.0, ge=0.0, le=100000.0, description="opening as built, near the top"
    )
    vent_apart_m: float = Field(
        default=2.0, ge=0.0, le=10.0, description="height of the high one above the low one"
    )
    mesh_free_frac: float = Field(
        default=0.6, gt=0.05, le=1.0, description="free share of an opening with insect mesh"
    )
    fan_m3_per_h: float = Field(
        default=0.0, ge=0.0, le=10000.0, description="of a fan suitable for explosive gas; 0: none"
    )
    floor_kg_per_m2: float = Field(
        default=500.0, gt=0.0, le=10000.0, description="load capacity of the floor; ask the builder"
    )
    spread_m2: float = Field(
        default=0.0, ge=0.0, le=100.0,
        description="floor area under load-spreading plates or beams, per row of racks; 0:"
        " none",
    )
    unit_mass_kg: float | None = Field(
        default=None, gt=0.0, le=2000.0, description="of a battery unit; default: by its energy"
    )
    unit_length_m: float = Field(default=0.5, gt=0.05, le=3.0, description="of a battery unit")
    unit_depth_m: float = Field(default=0.25, gt=0.05, le=3.0)
    unit_height_m: float = Field(default=0.25, gt=0.05, le=3.0)
    rack_tiers: int = Field(default=2, ge=1, le=6, description="one above another")
    door_m: float = Field(default=0.9, gt=0.4, le=3.0, description="width of the door")
    extinguisher: Literal["none", "powder", "CO2", "foam", "water-mist"] = Field(default="powder")
    extinguisher_place: Literal["inside", "outside"] = Field(
        default="inside", description="beside the door; CO2 displaces the air of a small room"
    )
    smoke_alarm: bool = Field(default=True)

    @property
    def unit_pitch_m(self) -> float:
        """From a battery unit to the next in a rack [m]."""
        return self.unit_length_m + float(BETWEEN_M)

    @property
    def units_on_wall(self) -> int:
        """Battery units that a tier of a rack along one wall holds."""
        long_m = self.length_m - 2.0 * float(SIDE_M)
        return max(math.floor(long_m / self.unit_pitch_m + 1e-9), 0)

    def tier_kg_per_m2(self, unit_kg: float) -> float:
        """Load of one tier under units of a mass [kg], with its share of the rack [kg/m2]."""
        return unit_kg * (1.0 + float(RACK_FRAC)) / (self.unit_length_m * self.unit_depth_m)


SIDE_M = constant("powerroom.side_m")
BETWEEN_M = constant("powerroom.between_m")
RACK_FRAC = constant("powerroom.rack_frac")

_HIGHER_THAN_ROOM = "what stands or opens inside is no larger than the room"


def room_faults(sound: Sound) -> Iterator[Fault]:
    """An opening, a door, a unit or a rack larger than the room it is in."""
    yield from _within(sound, "vent_apart_m", "height_m", "set both as measured on the wall")
    yield from _within(sound, "door_m", "depth_m", "the door is in the wall at the end of depth_m")
    yield from _within(sound, "unit_length_m", "length_m", "")
    yield from _within(sound, "unit_depth_m", "depth_m", "")
    yield from _openings(sound)
    yield from _rack(sound)
    yield from _place(sound)
    yield from _spread(sound)


def _within(sound: Sound, small: str, large: str, remedy: str) -> Iterator[Fault]:
    first, second = sound.get("room", small), sound.get("room", large)
    if first is None or second is None or first < second:
        return
    yield sound.fault(
        ("room", small), f"{first:g} m with {large} = {second:g} m", f"below {large}",
        _HIGHER_THAN_ROOM, remedy,
    )  # fmt: skip


def _openings(sound: Sound) -> Iterator[Fault]:
    depth, high = sound.get("room", "depth_m"), sound.get("room", "height_m")
    if depth is None or high is None:
        return
    most_m = min(depth, high)
    for key in ("vent_low_cm2", "vent_high_cm2"):
        cm2 = sound.get("room", key)
        if cm2 is not None and math.sqrt(cm2) / 100.0 >= most_m:
            yield sound.fault(("room", key),
                              f"{cm2:g} cm², a square of {math.sqrt(cm2) / 100.0:.2f} m",
                              f"a square that fits a wall {depth:g} m wide and {high:g} m high",
                              _HIGHER_THAN_ROOM)


def _rack(sound: Sound) -> Iterator[Fault]:
    tiers, unit, high = (
        sound.get("room", key) for key in ("rack_tiers", "unit_height_m", "height_m")
    )
    if None in (tiers, unit, high) or tiers * unit < high:
        return
    yield sound.fault(
        ("room", "rack_tiers"), **worded("sitefile", "rack", tiers=tiers, unit=unit, high=high),
    )  # fmt: skip


def _spread(sound: Sound) -> Iterator[Fault]:
    spread, *sides = (sound.get("room", key) for key in ("spread_m2", "length_m", "depth_m"))
    if spread is not None and None not in sides and spread > sides[0] * sides[1]:
        yield sound.fault(
            ("room", "spread_m2"), f"{spread:g} m2", f"at most {sides[0] * sides[1]:g} m2",
            _HIGHER_THAN_ROOM,
        )  # fmt: skip


def _place(sound: Sound) -> Iterator[Fault]:
    """A chosen place that is not among those described, or of which there are two."""
    names = [str(place.get("name")) for place in sound.get("places") or []]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield sound.fault(
            ("places",), **worded("sitefile", "place-twice", name=name, count=names.count(name)),
        )  # fmt: skip
    chosen = sound.get("room", "place")
    if chosen and chosen not in names:
        near, listed = nearest(chosen, names), ", ".join(f'"{name}"' for name in names)
        yield sound.fault(
            ("room", "place"), **worded("sitefile", "unknown-place", chosen=chosen),
            allowed=f"one of {listed}" if names else "empty, or [[places]]",
            remedy=f'did you mean "{near}"?' if near else "",
        )  # fmt: skip
