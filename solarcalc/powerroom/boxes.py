"""One thing in the power room as a box, and how far two are from each other."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.sourced import constant

HANDS_M = float(constant("powerroom.hands_m"))
BoxKind = Literal[
    "rack", "inverter", "controller", "board", "door", "vent-low", "vent-high", "extinguisher",
    "alarm", "earth-bar", "fuse", "isolator", "busbar", "string-bar", "pv-switch", "changeover",
    "entry", "unit",
]  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Box:
    """One thing in the room, seen from above as a rectangle.

    Seen from inside with the rack wall ahead: `along_m` runs to the right along that wall from its
    left corner, `out_m` from that wall towards the one opposite.

    Parameters
    ----------
    name : str
        In words, such as ``"rack 1"`` or ``"inverter, essential"``.
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


def reach_m(first: Box, second: Box) -> float:
    """Free distance between two boxes, upright too [m]; 0 where they meet."""
    up = max(first.base_m - second.base_m - second.height_m,
             second.base_m - first.base_m - first.height_m, 0.0)  # fmt: skip
    return math.hypot(gap_m(first, second), up)


def gap_m(first: Box, second: Box) -> float:
    """Free distance between two boxes seen from above [m]; 0 where they overlap."""
    along = max(first.along_m - second.along_m - second.length_m,
                second.along_m - first.along_m - first.length_m, 0.0)  # fmt: skip
    out = max(first.out_m - second.out_m - second.depth_m,
              second.out_m - first.out_m - first.depth_m, 0.0)  # fmt: skip
    return math.hypot(along, out)
