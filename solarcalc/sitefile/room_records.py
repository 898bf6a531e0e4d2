"""The room of battery and inverters: [room]."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from solarcalc.sitefile.base import Fraction, Record


class Room(Record):
    """[room]: its inside, its walls, its openings and what carries the batteries."""

    length_m: float = Field(
        default=3.0, gt=0.5, le=50.0, description="inside; the wall of the racks"
    )
    depth_m: float = Field(default=2.4, gt=0.5, le=50.0, description="inside")
    height_m: float = Field(default=2.6, gt=1.0, le=10.0, description="inside")
    wall: Literal["block", "brick", "timber", "sheet"] = Field(default="block")
    roof: Literal["concrete", "sheet", "sheet-insulated"] = Field(default="sheet-insulated")
    wall_in_sun_frac: Fraction = Field(default=0.25, description="of the walls, at midday")
    roof_in_sun_frac: Fraction = Field(default=1.0)
    inverters_inside: bool = Field(default=True, description="their heat warms the batteries")
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
        default=0.6, gt=0.05, le=1.0, description="of an opening, free behind its insect mesh"
    )
    fan_m3_per_h: float = Field(
        default=0.0, ge=0.0, le=10000.0, description="of a spark-free fan; 0: none"
    )
    floor_kg_per_m2: float = Field(
        default=500.0, gt=0.0, le=10000.0, description="that the floor carries; ask who built it"
    )
    unit_mass_kg: float | None = Field(
        default=None, gt=0.0, le=2000.0, description="of a battery unit; left out: by its energy"
    )
    unit_length_m: float = Field(default=0.5, gt=0.05, le=3.0, description="of a battery unit")
    unit_depth_m: float = Field(default=0.25, gt=0.05, le=3.0)
    unit_height_m: float = Field(default=0.25, gt=0.05, le=3.0)
    rack_tiers: int = Field(default=2, ge=1, le=6, description="one above another")
    door_m: float = Field(default=0.9, gt=0.4, le=3.0, description="width of the door")
    extinguisher: Literal["none", "powder", "gas", "foam", "water-mist"] = Field(default="powder")
    smoke_alarm: bool = Field(default=True)
