"""Where things go in the room, by plain rules, and whether people can pass and work there."""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE, Sourced
from solarcalc.powerroom.layout import Box, BoxKind, RoomLayout
from solarcalc.sitefile.records import Room, Site

SIDE_M = Sourced(label="Free side of a row of racks", value=0.1, unit="m", source=NO_SOURCE)
WALL_M = Sourced(
    label="Racks off the wall", value=0.05, unit="m",
    source="NEC 480.10(C): at least 25 mm between a cell and a wall",
)  # fmt: skip
BETWEEN_M = Sourced(
    label="Air between units on a tier", value=0.01, unit="m",
    source=f"makers ask for 5 to 15 mm; {NO_SOURCE}",
)  # fmt: skip
FOOT_M = Sourced(label="Lowest tier above the floor", value=0.15, unit="m", source=NO_SOURCE)
ABOVE_M = Sourced(
    label="Free height above a lead-acid unit", value=0.3, unit="m",
    source=f"to reach terminals and fill water; {NO_SOURCE}",
)  # fmt: skip
ABOVE_LITHIUM_M = Sourced(
    label="Free height above a lithium unit", value=0.1, unit="m", source=NO_SOURCE
)
SHELF_M = Sourced(label="Thickness of a shelf", value=0.05, unit="m", source=NO_SOURCE)
APART_M = Sourced(
    label="Between inverters, controllers and boards", value=0.2, unit="m",
    source=f"air for their heat, the manual decides; {NO_SOURCE}",
)  # fmt: skip
BOXES = Sourced(
    label="Size taken for inverter, controller and board: length x depth x height",
    value="0.5 x 0.25 x 0.6, 0.3 x 0.2 x 0.4, 0.4 x 0.2 x 0.6", unit="m", source=NO_SOURCE,
)  # fmt: skip
_INVERTER, _CONTROLLER, _BOARD = (0.5, 0.25, 0.6), (0.3, 0.2, 0.4), (0.4, 0.2, 0.6)
HUNG_M = Sourced(
    label="Underside of inverters, controllers and boards", value=1.2, unit="m",
    source=f"face at eye height; {NO_SOURCE}",
)  # fmt: skip
DOOR_HIGH_M = Sourced(label="Height of the door", value=2.0, unit="m", source=NO_SOURCE)
LOW_M = Sourced(
    label="Low opening above the floor", value=0.15, unit="m",
    source=f"above splashed rain; {NO_SOURCE}",
)  # fmt: skip
EARTH_BAR_M = Sourced(
    label="Earth bar above the floor", value=0.3, unit="m", source=f"{NO_SOURCE}, {FROM_MEMORY}"
)
PLACING_ASSUMPTIONS = (
    SIDE_M, WALL_M, BETWEEN_M, FOOT_M, ABOVE_M, ABOVE_LITHIUM_M, SHELF_M, APART_M, BOXES, HUNG_M,
    DOOR_HIGH_M, LOW_M, EARTH_BAR_M,
)  # fmt: skip
SPARKS: tuple[BoxKind, ...] = ("inverter", "controller", "board")
"""What has contacts, fans or relays that may spark."""
MOST_ROWS = 2


@dataclass(frozen=True, kw_only=True)
class _Racks:
    """Rows of racks: boxes, units side by side, units without a place."""

    boxes: tuple[Box, ...]
    units_a_tier: int
    left_over: int


def room_layout(site: Site, spark_mm: float = 0.0) -> RoomLayout:
    """Everything in its place: racks on their wall, what may spark on the wall opposite.

    Racks fill their wall from the left; what is over stands on the wall opposite. There hang
    inverters, controllers and boards from the left, beyond a second row of racks by the distance
    from sparks. The door is in the wall at the right end, the low opening in the one at the left,
    the high one above the door, so that air crosses the room.

    Parameters
    ----------
    site : Site
    spark_mm : float
        Distance from sparks [mm]; 0: none.

    Returns
    -------
    RoomLayout
        What finds no place stands in `unplaced`.
    """
    room = site.room
    racks = _racks_of(site)
    hung, unplaced = _hung(site, racks, spark_mm / 1000.0)
    front = _front_m(racks.boxes)
    back = min((box.out_m for box in (*hung, *racks.boxes[1:])), default=room.depth_m)
    boxes = (*racks.boxes, *hung, *_in_the_walls(room, front, back))
    if racks.left_over:
        unplaced = (f"{racks.left_over} battery units", *unplaced)
    return RoomLayout(
        length_m=room.length_m, depth_m=room.depth_m, height_m=room.height_m, boxes=boxes,
        units_a_tier=racks.units_a_tier, rack_rows=len(racks.boxes),
        aisle_m=max(back - front, 0.0), spark_m=spark_mm / 1000.0, unplaced=unplaced,
    )  # fmt: skip


def gap_m(first: Box, second: Box) -> float:
    """Free distance between two boxes seen from above [m]; 0 where they overlap."""
    along = max(first.along_m - second.along_m - second.length_m,
                second.along_m - first.along_m - first.length_m, 0.0)  # fmt: skip
    out = max(first.out_m - second.out_m - second.depth_m,
              second.out_m - first.out_m - first.depth_m, 0.0)  # fmt: skip
    return math.hypot(along, out)


def nearest_spark_m(layout: RoomLayout) -> float | None:
    """Distance from the batteries to the nearest thing that may spark [m]; None: there is none."""
    gaps = [
        gap_m(rack, other)
        for rack in layout.of_kind("rack")
        for kind in SPARKS
        for other in layout.of_kind(kind)
    ]
    return min(gaps) if gaps else None


def above_unit_m(site: Site) -> float:
    """Free height above a unit [m]: to work on its terminals."""
    return float(ABOVE_LITHIUM_M if site.battery.chemistry == "lifepo4" else ABOVE_M)


def _racks_of(site: Site) -> _Racks:
    room, battery = site.room, site.battery
    units = battery.units_in_series * battery.units_in_parallel
    pitch = room.unit_length_m + float(BETWEEN_M)
    most = max(math.floor((room.length_m - 2.0 * float(SIDE_M)) / pitch + 1e-9), 0)
    a_tier = min(math.ceil(units / room.rack_tiers), most)
    boxes: list[Box] = []
    left = units
    while left > 0 and a_tier > 0 and len(boxes) < MOST_ROWS:
        here = min(left, a_tier * room.rack_tiers)
        wide = min(math.ceil(here / room.rack_tiers), a_tier)
        boxes.append(_rack(site, len(boxes), wide * pitch, math.ceil(here / wide)))
        left -= here
    return _Racks(boxes=tuple(boxes), units_a_tier=a_tier, left_over=left)


def _rack(site: Site, row: int, length_m: float, tiers: int) -> Box:
    room, wall = site.room, float(WALL_M)
    tall = float(FOOT_M) + tiers * (float(SHELF_M) + room.unit_height_m)
    return Box(
        name=f"rack {row + 1}", kind="rack", along_m=float(SIDE_M),
        out_m=wall if row == 0 else room.depth_m - wall - room.unit_depth_m,
        length_m=length_m, depth_m=room.unit_depth_m,
        height_m=tall + (tiers - 1) * above_unit_m(site),
    )  # fmt: skip


def _front_m(racks: tuple[Box, ...]) -> float:
    return racks[0].out_m + racks[0].depth_m if racks else 0.0


def _wanted(site: Site) -> list[tuple[str, BoxKind, tuple[float, float, float]]]:
    """What hangs on the wall opposite, in its order from the left."""
    if not site.room.inverters_inside:
        return []
    one = site.supply.layout == "one-inverter"
    boards = ("critical",) if one else ("critical", "heavy")
    names: list[tuple[str, BoxKind, tuple[float, float, float]]] = []
    for number in range(site.controller.count):
        label = f" {number + 1}" if site.controller.count > 1 else ""
        names.append((f"controller{label}", "controller", _CONTROLLER))
    for board in boards:
        names.append((f"inverter, {board}" if not one else "inverter", "inverter", _INVERTER))
    names += [(f"board, {board}", "board", _BOARD) for board in ("critical", "heavy")]
    return names


def _hung(
    site: Site, racks: _Racks, spark_m: float
) -> tuple[tuple[Box, ...], tuple[str, ...]]:
    room = site.room
    along = float(SIDE_M)
    if len(racks.boxes) == MOST_ROWS:
        second = racks.boxes[1]
        along = second.along_m + second.length_m + max(spark_m, float(APART_M))
    placed: list[Box] = []
    unplaced: list[str] = []
    for name, kind, (length, depth, tall) in _wanted(site):
        if along + length > room.length_m - float(SIDE_M) + 1e-9:
            unplaced.append(name)
            continue
        placed.append(
            Box(name=name, kind=kind, along_m=along, out_m=room.depth_m - depth, length_m=length,
                depth_m=depth, height_m=tall, base_m=_base(room, tall, float(HUNG_M)))
        )  # fmt: skip
        along += length + float(APART_M)
    return tuple(placed), tuple(unplaced)


def _in_the_walls(room: Room, front_m: float, back_m: float) -> tuple[Box, ...]:
    """Door, openings, extinguisher, alarm and earth bar."""
    middle = (front_m + back_m) / 2.0
    door = min(room.door_m, room.depth_m)
    door_out = min(max(middle - door / 2.0, 0.0), room.depth_m - door)
    beside = door_out + door + 0.05
    if beside + 0.15 > room.depth_m:
        beside = max(door_out - 0.2, 0.0)
    boxes = [
        Box(name="door", kind="door", along_m=room.length_m, out_m=door_out, length_m=0.0,
            depth_m=door, height_m=min(float(DOOR_HIGH_M), room.height_m)),
        Box(name="earth bar", kind="earth-bar", along_m=float(SIDE_M),
            out_m=room.depth_m - 0.05, length_m=0.3, depth_m=0.05, height_m=0.06,
            base_m=float(EARTH_BAR_M)),
    ]  # fmt: skip
    low_middle_m = float(LOW_M) + _side_m(room.vent_low_cm2) / 2.0
    for kind, cm2, along in (("vent-low", room.vent_low_cm2, 0.0),
                             ("vent-high", room.vent_high_cm2, room.length_m)):  # fmt: skip
        side = _side_m(cm2)
        centre = low_middle_m + (room.vent_apart_m if kind == "vent-high" else 0.0)
        if side > 0.0:
            boxes.append(
                Box(name=f"{kind.removeprefix('vent-')} opening", kind=kind,  # type: ignore[arg-type]
                    along_m=along, out_m=min(max(middle - side / 2.0, 0.0), room.depth_m - side),
                    length_m=0.0, depth_m=side, height_m=side,
                    base_m=_base(room, side, centre - side / 2.0))
            )  # fmt: skip
    if room.extinguisher != "none":
        boxes.append(
            Box(name=f"extinguisher, {room.extinguisher}", kind="extinguisher",
                along_m=room.length_m - 0.2, out_m=beside, length_m=0.2, depth_m=0.15,
                height_m=0.5, base_m=_base(room, 0.5, 0.6))
        )  # fmt: skip
    if room.smoke_alarm:
        boxes.append(
            Box(name="smoke alarm", kind="alarm", along_m=room.length_m / 2.0 - 0.06,
                out_m=min(max(middle - 0.06, 0.0), room.depth_m - 0.12), length_m=0.12,
                depth_m=0.12, height_m=0.05, base_m=room.height_m - 0.05)
        )  # fmt: skip
    return tuple(boxes)


def _side_m(cm2: float) -> float:
    return math.sqrt(cm2) / 100.0


def _base(room: Room, tall_m: float, wanted_m: float) -> float:
    """Underside that keeps a thing under the ceiling [m]."""
    return max(min(wanted_m, room.height_m - tall_m), 0.0)
