"""Where everything stands in the power room, by plain rules, and what its floor carries."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from solarcalc.basis.check import Check, checked
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.powerroom.boxes import Box, BoxKind, gap_m
from solarcalc.powerroom.fittings import Entry, earth_bar, entries_of, fittings
from solarcalc.powerroom.racks import MOST_ROWS, Racks, racks_of
from solarcalc.powerroom.ways import longest_ways_m
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.room import RACK_FRAC, SIDE_M, Room
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import grouped_boards


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
    ways_m : dict of str to float
        The longest way inside the room of each run, of `longest_ways_m` [m].
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
    ways_m: dict[str, float] = field(default_factory=dict)

    def of_kind(self, kind: BoxKind) -> tuple[Box, ...]:
        """All boxes of a kind, in the order they were placed."""
        return tuple(box for box in self.boxes if box.kind == kind)


APART_M = constant("powerroom.apart_m")
_INVERTER, _CONTROLLER, _BOARD = (0.5, 0.25, 0.6), (0.3, 0.2, 0.4), (0.4, 0.2, 0.6)
HUNG_M = constant("powerroom.hung_m")
_STACKED_M = (1.4, 0.8)
"""Undersides of two controllers one above the other, 0.2 m of air between [m]."""
_SAFE_SIDE_M = 0.02
"""Placed that much farther from the batteries than the distance from sparks [m]."""
DOOR_HIGH_M = constant("powerroom.door_high_m")
LOW_M = constant("powerroom.low_m")
SPARKS: tuple[BoxKind, ...] = (
    "inverter", "controller", "board", "isolator", "busbar", "pv-switch", "changeover",
)
"""What has contacts, fans or relays that may spark; a closed box of fuses or bars alone lets no
spark out. The box of the main busbars holds a breaker, too."""


def room_layout(
    site: Site, spark_mm: float = 0.0, *, entries: Sequence[Entry] | None = None
) -> RoomLayout:
    """Everything in its place: racks on their wall, what may spark on the wall opposite.

    Racks fill their wall from the left; what is over stands on the wall opposite. There hang
    inverters, controllers, two above one another, and boards from the left, beyond a second row of
    racks by the distance from sparks; what is over hangs on the wall at the left end. The door is
    in the wall at the right end, the low opening in the one at the left, the high one above the
    door, so that air crosses the room. Main fuses, isolators and cable entries take what is free.

    Parameters
    ----------
    site : Site
    spark_mm : float
        Distance from sparks [mm]; 0: none.
    entries : sequence of tuple, optional
        Of `entries_of`: where cables come in; those of the site where left out.

    Returns
    -------
    RoomLayout
        What finds no place stands in `unplaced`.
    """
    layout = _placed(site, spark_mm, tuple(entries_of(site)) if entries is None else entries)
    return replace(layout, ways_m=longest_ways_m(site, layout))


def _placed(site: Site, spark_mm: float, entries: Sequence[Entry]) -> RoomLayout:
    """The room as `room_layout` has it, without the ways of its cables."""
    room = site.room
    racks = racks_of(site)
    hung, unplaced = _hung(site, racks, spark_mm / 1000.0)
    front = racks.front_m
    opposite = [box for box in (*hung, *racks.boxes[1:]) if box.along_m > 0.0]
    back = min((box.out_m for box in opposite), default=room.depth_m)
    boxes = (*racks.boxes, *hung, *_in_the_walls(room, front, back, (*racks.boxes, *hung)))
    small, without = fittings(site, racks, boxes, spark_mm / 1000.0, entries)
    boxes, unplaced = (*boxes, *small), (*unplaced, *without)
    before = [box for box in small if box.kind != "entry" and box.along_m > 0.0]
    far = [box for box in before if box.out_m + box.depth_m / 2.0 > room.depth_m / 2.0]
    back = min([back, *(box.out_m for box in far)])
    front = max([front, *(box.out_m + box.depth_m for box in before if box not in far
                          and box.out_m >= front - 1e-9)])  # fmt: skip
    if racks.left_over:
        unplaced = (f"{racks.left_over} battery units", *unplaced)
    return RoomLayout(
        length_m=room.length_m, depth_m=room.depth_m, height_m=room.height_m, boxes=boxes,
        units_a_tier=racks.units_a_tier, rack_rows=len(racks.boxes),
        aisle_m=max(back - front, 0.0), spark_m=spark_mm / 1000.0, unplaced=unplaced,
    )  # fmt: skip


def length_that_takes_all_m(site: Site, spark_mm: float = 0.0) -> float | None:
    """Shortest wall, in steps of 0.1 m, at which everything finds a place [m]; None: none to 20 m.

    Parameters
    ----------
    site : Site
    spark_mm : float
        Distance from sparks [mm].
    """
    room, entries = site.room, tuple(entries_of(site))
    for step in range(math.floor(room.length_m * 10.0), 201):
        longer = site.model_copy(
            update={"room": room.model_copy(update={"length_m": step / 10.0})}
        )
        racks = racks_of(longer)
        if racks.left_over or _hung(longer, racks, spark_mm / 1000.0)[1]:
            continue  # before what is small, and takes far longer to place, is looked at
        if not _placed(longer, spark_mm, entries).unplaced:
            return step / 10.0
    return None


def nearest_spark_m(layout: RoomLayout) -> float | None:
    """Distance from the batteries to the nearest thing that may spark [m]; None: there is none."""
    gaps = [
        gap_m(rack, other)
        for rack in layout.of_kind("rack")
        for kind in SPARKS
        for other in layout.of_kind(kind)
    ]
    return min(gaps) if gaps else None


@dataclass(frozen=True, kw_only=True)
class _Hung:
    """One thing to hang on a wall, or two controllers one above the other."""

    names: tuple[str, ...]
    kind: BoxKind
    size_m: tuple[float, float, float]
    bases_m: tuple[float, ...]


def _wanted(site: Site) -> list[_Hung]:
    """What hangs on the wall opposite, in its order from the left."""
    if not site.room.inverters_inside:
        return []
    count = site.controller_count
    labels = [f"controller {number + 1}" for number in range(count)] if count > 1 else [
        "controller"
    ]  # fmt: skip
    controllers = [
        _Hung(names=tuple(labels[at : at + 2]), kind="controller", size_m=_CONTROLLER,
              bases_m=_STACKED_M if at + 1 < count else (float(HUNG_M),))
        for at in range(0, count, 2)
    ]  # fmt: skip
    one = site.supply.one_inverter
    inverters = tuple(
        ("inverter" if one else f"inverter, {board}")
        + (f" {number}" if inverter.count > 1 else "")
        for board, inverter in site.inverters.items() for number in range(1, inverter.count + 1)
    )  # fmt: skip
    outputs = tuple("board, inverter output" + ("" if one else f", {board}")
                    for board in grouped_boards(site))  # fmt: skip
    boards = (*outputs, "board, essential", "board, nonessential")
    return [
        *(_Hung(names=(name,), kind="inverter", size_m=_INVERTER, bases_m=(float(HUNG_M),))
          for name in inverters),
        *controllers,
        *(_Hung(names=(name,), kind="board", size_m=_BOARD, bases_m=(float(HUNG_M),))
          for name in boards),
    ]  # fmt: skip


def _hung(
    site: Site, racks: Racks, spark_m: float
) -> tuple[tuple[Box, ...], tuple[str, ...]]:
    """Things on the wall opposite from the left, then on the wall at the left end."""
    room, side, apart = site.room, float(SIDE_M), float(APART_M)
    away = max(spark_m + _SAFE_SIDE_M, apart)
    along, out = side, room.depth_m - _INVERTER[1] - apart
    if len(racks.rows) == MOST_ROWS:
        second = racks.boxes[1]
        along = second.along_m + second.length_m + away
        out = second.out_m - away
    placed: list[Box] = []
    unplaced: list[str] = []
    for item in _wanted(site):
        length, depth, _ = item.size_m
        if along + length <= room.length_m - side + 1e-9:
            placed += _boxes(room, item, along, room.depth_m - depth, (length, depth))
            along += length + apart
        elif out - length >= racks.front_m + away - 1e-9:
            placed += _boxes(room, item, 0.0, out - length, (depth, length))
            out -= length + apart
        else:
            unplaced += item.names
    return tuple(placed), tuple(unplaced)


def _boxes(
    room: Room, item: _Hung, along_m: float, out_m: float, plan_m: tuple[float, float]
) -> list[Box]:
    tall = item.size_m[2]
    return [
        Box(name=name, kind=item.kind, along_m=along_m, out_m=out_m, length_m=plan_m[0],
            depth_m=plan_m[1], height_m=tall, base_m=_base(room, tall, base))
        for name, base in zip(item.names, item.bases_m, strict=True)
    ]  # fmt: skip


def _in_the_walls(
    room: Room, front_m: float, back_m: float, there: Sequence[Box]
) -> tuple[Box, ...]:
    """Door, openings, extinguisher, alarm and earth bar."""
    middle = (front_m + back_m) / 2.0
    door = min(room.door_m, room.depth_m)
    door_out = min(max(middle - door / 2.0, 0.0), room.depth_m - door)
    beside = door_out + door + 0.05
    if beside + 0.15 > room.depth_m:
        beside = max(door_out - 0.2, 0.0)
    return (
        Box(name="door", kind="door", along_m=room.length_m, out_m=door_out, length_m=0.0,
            depth_m=door, height_m=min(float(DOOR_HIGH_M), room.height_m)),
        earth_bar(room, there),
        *_openings(room, middle),
        *_against_fire(room, middle, beside),
    )  # fmt: skip


def _openings(room: Room, middle_m: float) -> list[Box]:
    """Low opening in the wall at the left end, high one at the right, both square."""
    low, high = _side_m(room.vent_low_cm2), _side_m(room.vent_high_cm2)
    low_middle = float(LOW_M) + low / 2.0
    kinds: tuple[tuple[str, BoxKind, float, float, float], ...] = (
        ("low opening", "vent-low", low, 0.0, low_middle),
        ("high opening", "vent-high", high, room.length_m, low_middle + room.vent_apart_m),
    )
    return [
        Box(name=name, kind=kind, along_m=along, length_m=0.0, depth_m=side, height_m=side,
            out_m=min(max(middle_m - side / 2.0, 0.0), room.depth_m - side),
            base_m=_base(room, side, centre - side / 2.0))
        for name, kind, side, along, centre in kinds
        if side > 0.0
    ]  # fmt: skip


def _against_fire(room: Room, middle_m: float, beside_m: float) -> list[Box]:
    """Extinguisher beside the door, alarm under the ceiling."""
    boxes = []
    if room.extinguisher != "none" and room.extinguisher_place == "inside":
        boxes.append(
            Box(name=f"extinguisher, {room.extinguisher}", kind="extinguisher",
                along_m=room.length_m - 0.2, out_m=beside_m, length_m=0.2, depth_m=0.15,
                height_m=0.5, base_m=_base(room, 0.5, 0.6))
        )  # fmt: skip
    if room.smoke_alarm:
        boxes.append(
            Box(name="smoke alarm", kind="alarm", along_m=room.length_m / 2.0 - 0.06,
                out_m=min(max(middle_m - 0.06, 0.0), room.depth_m - 0.12), length_m=0.12,
                depth_m=0.12, height_m=0.05, base_m=room.height_m - 0.05)
        )  # fmt: skip
    return boxes


def _side_m(cm2: float) -> float:
    return math.sqrt(cm2) / 100.0


def _base(room: Room, tall_m: float, wanted_m: float) -> float:
    """Underside that keeps a thing under the ceiling [m]."""
    return max(min(wanted_m, room.height_m - tall_m), 0.0)


ONE_LIFTS_KG = constant("powerroom.one_lifts_kg")
TWO_LIFT_KG = constant("powerroom.two_lift_kg")
AID_LIFTS_KG = constant("powerroom.aid_lifts_kg")


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
        Under the heaviest row of racks: on its footprint, or on the plates or beams that spread
        it where they are larger [kg/m2].
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
    (units x mass) (1 + rack) / area, the larger of footprint and `room.spread_m2`. Racks that
    found no place are counted in the room; where none did, the load is that under units one above
    another.
    """
    unit_kg = unit_mass_kg(battery, room)
    units = battery.unit_count
    whole = 1.0 + float(RACK_FRAC)
    racks = layout.of_kind("rack")
    most = max((box.length_m * box.depth_m for box in racks), default=0.0)
    stacked = room.rack_tiers * room.tier_kg_per_m2(unit_kg)
    full = min(units, layout.units_a_tier * room.rack_tiers) * unit_kg * whole
    return FloorLoad(
        unit_kg=unit_kg,
        guessed_by="" if room.unit_mass_kg is not None else battery.traits.mass.clause,
        total_kg=units * unit_kg * whole,
        rack_kg_per_m2=full / max(most, room.spread_m2) if most else stacked,
        room_kg_per_m2=units * unit_kg * whole / (room.length_m * room.depth_m),
    )


def floor_checks(load: FloorLoad, room: Room) -> list[Check]:
    """Whether the floor carries the racks, and how the units are lifted."""
    limit, rack, spread = room.floor_kg_per_m2, load.rack_kg_per_m2, load.room_kg_per_m2
    guessed = f"; mass by energy: {load.guessed_by}" if load.guessed_by else ""
    return [
        checked(rack <= limit, "failed", **worded(
            "powerroom", "floor-under-racks", rack=rack, limit=limit, guessed=guessed,
            spread=spread,
        )),
        checked(
            load.unit_kg <= float(ONE_LIFTS_KG),
            "review" if load.unit_kg <= float(AID_LIFTS_KG) else "failed",
            rule="powerroom/lifting", kind="safety", about="lifting a battery unit",
            item="Lifting a monobloc or battery module",
            found=f"{load.unit_kg:.1f}",
            limit=f"at most {float(ONE_LIFTS_KG):.0f} alone,"
            f" {float(TWO_LIFT_KG):.1f} kg by two, {float(AID_LIFTS_KG):.0f} kg with a hoist",
            unit="kg",
            clause=f"{ONE_LIFTS_KG.source}; two: {TWO_LIFT_KG.source}; hoist:"
            f" {AID_LIFTS_KG.source}{guessed}",
            remedy=_LIFTING[lifted_by(load.unit_kg)],
            action=_LIFTING[lifted_by(load.unit_kg)].partition(";")[0],
        ),
    ]


LiftedBy = Literal["1 person", "2 people", "hoist or lifting table", "crane"]
_LIFTING: dict[LiftedBy, str] = {
    "1 person": "",
    "2 people": "two persons with straps",
    "hoist or lifting table": "a hoist or a lifting table, never by hand; heavy units on the lowest"
    " tier",
    "crane": "units in parts that a hoist of the site carries, or a crane and who is trained for"
    " it",
}


def lifted_by(mass_kg: float) -> LiftedBy:
    """Who or what lifts a thing [kg]: every paper that speaks of lifting asks here.

    Examples
    --------
    >>> lifted_by(23.0), lifted_by(30.7), lifted_by(31.0), lifted_by(501.0)
    ('1 person', '2 people', 'hoist or lifting table', 'crane')
    """
    if mass_kg <= float(ONE_LIFTS_KG):
        return "1 person"
    if mass_kg <= float(TWO_LIFT_KG):
        return "2 people"
    return "hoist or lifting table" if mass_kg <= float(AID_LIFTS_KG) else "crane"
