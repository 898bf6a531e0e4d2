"""Wind on the array and what holds it down on its roof: [structure]."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from solarcalc.basis.errors import Fault
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Record, Sound, ordered

WindCode = Literal["EN 1991-1-4", "ASCE 7"]
Terrain = Literal["0", "I", "II", "III", "IV"]
Exposed = Literal["B", "C", "D"]
Covering = Literal["concrete", "sheet", "tile"]
Skin = Literal["concrete", "bitumen", "EPDM", "PVC", "TPO", "PE", "EVA", "PP"]
Pad = Literal["rubber", "fleece", "aluminium-mat"]
_ONLY_FOR: dict[str, WindCode] = {"terrain": "EN 1991-1-4", "exposure": "ASCE 7"}


class Structure(Record):
    """[structure]: wind, roof covering, and what holds the modules down."""

    wind_code: WindCode = Field(default="EN 1991-1-4", description="that the wind is taken by")
    basic_wind_m_per_s: float | None = Field(
        default=None, ge=0.0, le=120.0,
        description="by the wind map of the code: 10-minute mean (EN 1991-1-4) or 3-second gust"
        " (ASCE 7); left out: wind is not assessed",
    )
    terrain: Terrain = Field(
        default="II", description="EN 1991-1-4: 0 open sea, II open country, IV city centre"
    )
    exposure: Exposed = Field(
        default="C", description="ASCE 7: B town or wood, C open, D at open water"
    )
    height_m: float = Field(
        default=6.0, gt=0.0, le=200.0, description="top of the roof above the ground"
    )
    building_long_m: float | None = Field(
        default=None, gt=0.0, le=500.0, description="longest side in plan; left out: not limiting"
    )
    building_short_m: float | None = Field(
        default=None, gt=0.0, le=500.0, description="shortest side in plan; left out: not limiting"
    )
    covering: Covering | None = Field(default=None, description="what the modules stand on")
    held_by: Literal["fixings", "ballast"] = Field(
        default="fixings", description="into the structure of the roof, or weight alone"
    )
    fixing_uplift_kn: float | None = Field(
        default=None, gt=0.0, le=100.0,
        description="design resistance of a roof fixing to uplift, by its manufacturer for this"
        " roof",
    )
    skin: Skin = Field(default="concrete", description="of the roof, under the pads of ballast")
    pad: Pad = Field(default="rubber", description="under the feet of ballasted rows")
    friction_coefficient: float | None = Field(
        default=None, gt=0.0, le=1.0, description="measured on the roof; left out: by skin and pad"
    )
    block_mass_kg: float = Field(default=20.0, gt=0.0, le=100.0, description="a ballast block")

    @property
    def feet(self) -> str:
        """What the rails stand on, in the plural: nothing is fixed under ballasted rows."""
        return "feet on pads" if self.held_by == "ballast" else "roof fixings"


def structure_faults(sound: Sound) -> Iterator[Fault]:
    """Keys of the other wind code, sides of the building the wrong way round, double friction."""
    code = sound.get("structure", "wind_code")
    for key, of in _ONLY_FOR.items():
        value = sound.get("structure", key)
        if code and value and code != of and sound.given("structure", key):
            yield sound.fault(("structure", key), value,
                              **worded("sitefile", "other-wind-code", key=key, code=code, of=of))
    yield from ordered(
        sound, ("structure", "building_short_m"), ("structure", "building_long_m"),
        "building_long_m is the longest side", equal=True,
    )  # fmt: skip
