"""Where everything stands in the power room: plain boxes, for a drawing to scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

BoxKind = Literal[
    "rack", "inverter", "controller", "board", "door", "vent-low", "vent-high", "extinguisher",
    "alarm", "earth-bar",
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Box:
    """One thing in the room, seen from above as a rectangle.

    Seen from inside with the rack wall ahead: `along_m` runs to the right along that wall from its
    left corner, `out_m` from that wall towards the one opposite.

    Parameters
    ----------
    name : str
        In words, such as ``"rack 1"`` or ``"inverter, critical"``.
    kind : str
        One of `BoxKind`.
    along_m, out_m : float
        Of the corner nearest to the rack wall's left end [m].
    length_m, depth_m : float
        Along the rack wall and out from it [m]; what lies in a wall is 0 deep in that direction.
    height_m : float
        Of the thing itself [m].
    base_m : float
        Its underside above the floor [m].
    """

    name: str
    kind: BoxKind
    along_m: float
    out_m: float
    length_m: float
    depth_m: float
    height_m: float
    base_m: float = 0.0


@dataclass(frozen=True, kw_only=True)
class RoomLayout:
    """The room with everything in its place.

    Parameters
    ----------
    length_m, depth_m, height_m : float
        Inside [m]; length along the wall of the racks.
    boxes : tuple of Box
    units_a_tier : int
        Battery units side by side on one tier of a row of racks.
    rack_rows : int
        1: along the rack wall; 2: along the wall opposite too.
    aisle_m : float
        Free width in front of the racks, the narrowest [m].
    spark_m : float
        Distance that nothing which sparks or glows may come within of a battery [m]; 0: none.
    unplaced : tuple of str
        What found no place by the rules.
    """

    length_m: float
    depth_m: float
    height_m: float
    boxes: tuple[Box, ...]
    units_a_tier: int
    rack_rows: int
    aisle_m: float
    spark_m: float
    unplaced: tuple[str, ...] = ()

    def of_kind(self, kind: BoxKind) -> tuple[Box, ...]:
        """All boxes of a kind, in the order they were placed."""
        return tuple(box for box in self.boxes if box.kind == kind)
