"""The way of a cable along the walls of the power room, from one thing in it to another."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import Protocol

from solarcalc.basis.sourced import constant
from solarcalc.powerroom.boxes import Box, BoxKind
from solarcalc.powerroom.racks import UnitPlace, racks_of, units_of
from solarcalc.sitefile.site import Site

UNDER_CEILING_M = constant("powerroom.under_ceiling_m")
STEP_M = 0.1
"""A length is rounded up to it; no source [m]."""


class RoomLike(Protocol):
    """A room's inside."""

    @property
    def length_m(self) -> float:
        """Along the rack wall [m]."""
    @property
    def depth_m(self) -> float:
        """Out from the rack wall [m]."""
    @property
    def height_m(self) -> float:
        """Upright [m]."""


class LayoutLike(RoomLike, Protocol):
    """A room with everything in its place."""

    def of_kind(self, kind: BoxKind) -> tuple[Box, ...]:
        """All boxes of a kind."""


OnWall = tuple[int, float, float]
"""Number of a wall, place on the way around the room [m], height above the floor [m]."""


def along_walls_m(room: RoomLike, first: Box, second: Box) -> float:
    """Way of a cable along the walls between two things [m].

    Straight along and up or down, on one wall and around the corners; where it passes the wall at
    the right end, in which the door is, up to the height that cables enter at under the ceiling,
    along it and down. Around the room it takes the shorter of both ways.
    It ends at the middle of a thing, of a battery unit at its terminals: slack, bends and what is
    cut off come on top of it.

    Parameters
    ----------
    room : RoomLike
    first, second : Box

    Notes
    -----
    |s1 - s2| or P - |s1 - s2|, and with it |z1 - z2|, or |h - z1| + |h - z2| where it passes the
    door's wall; with s around the room, P its length around, z and h above the floor.

    Examples
    --------
    >>> room = Box(name="", kind="door", along_m=0, out_m=0, length_m=4, depth_m=3, height_m=2.6)
    >>> one = Box(name="", kind="fuse", along_m=1, out_m=0, length_m=0.2, depth_m=0.1, height_m=0.2)
    >>> along_walls_m(room, one, one)
    0.0
    """
    return between_m(room, on_wall(room, first), on_wall(room, second))


def between_m(room: RoomLike, first: OnWall, second: OnWall) -> float:
    """As `along_walls_m`, of two places on the walls [m]."""
    (wall, s1_m, z1_m), (other, s2_m, z2_m) = first, second
    if wall == other:
        return abs(s1_m - s2_m) + abs(z1_m - z2_m)
    high_m = max(room.height_m - float(UNDER_CEILING_M), 0.0)
    level_m, over_m = abs(z1_m - z2_m), abs(high_m - z1_m) + abs(high_m - z2_m)
    door_m, past_m = room.length_m, room.length_m + room.depth_m
    first_m, last_m = min(s1_m, s2_m), max(s1_m, s2_m)
    straight_m = last_m - first_m
    back_m = 2.0 * past_m - straight_m
    return min(
        straight_m + (over_m if last_m > door_m and first_m < past_m else level_m),
        back_m + (over_m if first_m > door_m or last_m < past_m else level_m),
    )


def on_wall(room: RoomLike, box: Box) -> OnWall:
    """Nearest wall of a thing, where on the way around the room it is, and how high [m]."""
    along_m, out_m = box.along_m + box.length_m / 2.0, box.out_m + box.depth_m / 2.0
    from_walls = (box.out_m, room.length_m - box.along_m - box.length_m,
                  room.depth_m - box.out_m - box.depth_m, box.along_m)  # fmt: skip
    longs = (0, 2) if box.kind in ("rack", "unit") else range(4)
    wall = min(longs, key=lambda number: from_walls[number])
    length_m, depth_m = room.length_m, room.depth_m
    around_m = (along_m, length_m + out_m, 2.0 * length_m + depth_m - along_m,
                2.0 * (length_m + depth_m) - out_m)[wall]  # fmt: skip
    top = 1.0 if box.kind == "unit" else 0.5
    return wall, around_m, box.base_m + top * box.height_m


def chain_m(room: RoomLike, things: Sequence[Box]) -> float:
    """Way from thing to thing, one after another [m]."""
    return sum(along_walls_m(room, one, other) for one, other in pairwise(things))


def rounded_up_m(way_m: float) -> float:
    """The next tenth of a metre [m]."""
    return round(math.ceil(way_m / STEP_M - 1e-9) * STEP_M, 1)


def longest_ways_m(site: Site, layout: LayoutLike) -> dict[str, float]:
    """The longest way inside the room of each run [m].

    By its key of [runs]; ``battery_main`` and ``battery_string``, each with its board where banks
    are separate. What has no place, and what lies outside the room, is left out.
    """
    found: dict[str, float] = {}
    for key, things in _chains(site, layout):
        found[key] = max(found.get(key, 0.0), chain_m(layout, things))
    return found


def _chains(site: Site, layout: LayoutLike) -> Iterator[tuple[str, list[Box]]]:
    """What each run passes on its way, thing by thing; a run more than once for several alike."""
    entries = {box.name.removeprefix("cable entry, "): [box] for box in layout.of_kind("entry")}
    for number, controller in enumerate(layout.of_kind("controller")):
        switch = layout.of_kind("pv-switch")[number : number + 1]
        yield from _joined("dc_main", entries.get("array", ()), switch, [controller])
        for bars in layout.of_kind("busbar"):
            yield "controller_battery", [controller, bars]
    for inverter in layout.of_kind("inverter"):
        board = inverter.name.removeprefix("inverter").removeprefix(", ").rstrip(" 0123456789")
        yield from _joined("battery_inverter", _of(layout, "busbar", board), [inverter])
        for panel in _of(layout, "board", board):
            yield "inverter_board", [inverter, panel]
    for panel in layout.of_kind("board"):
        yield from _joined("board_house", [panel], entries.get("house", ()))
    for source in ("grid", "generator"):
        switches = sorted(layout.of_kind("changeover"), key=lambda one: "sources" not in one.name)
        inlet = [*switches, *layout.of_kind("inverter")][:1]
        yield from _joined(f"{source}_in", entries.get(source, ()), inlet)
    yield from _of_batteries(site, layout)


def _of_batteries(site: Site, layout: LayoutLike) -> Iterator[tuple[str, list[Box]]]:
    units = units_of(site, racks_of(site))
    for board, battery in site.banks.items():
        named = "" if board == "shared" else board
        fuses, bars = _of(layout, "fuse", named), _of(layout, "busbar", named)
        switch, joined = _of(layout, "isolator", named), _of(layout, "string-bar", named)
        ends = _ends(units[board], battery.units_in_series)
        main, lead = (f"{stem}-{named}".rstrip("-") for stem in ("battery_main", "battery_string"))
        if battery.units_in_parallel > 1:
            for pair in ends:
                for unit in pair:
                    yield from _joined(lead, [unit.box], joined)
            yield from _joined(main, joined, fuses, switch, bars)
            continue
        for pair in ends:
            for number, unit in enumerate(pair):
                own = fuses[number : number + 1] if len(fuses) > 1 else fuses
                yield from _joined(main, [unit.box], own, switch, bars)


def _ends(units: Sequence[UnitPlace], series: int) -> Iterator[tuple[UnitPlace, UnitPlace]]:
    """First and last unit of each string that has its place."""
    for start in range(0, len(units) - series + 1, series):
        yield units[start], units[start + series - 1]


def _of(layout: LayoutLike, kind: BoxKind, board: str) -> tuple[Box, ...]:
    """Things of a kind that serve a board; where none is named by it, what serves all."""
    every = layout.of_kind(kind)
    named = tuple(box for box in every if board and box.name.endswith(f", {board}"))
    apart = any(box.name.endswith(("essential", "nonessential")) for box in every)
    return named or (() if board and apart else every)


def _joined(key: str, *groups: Iterable[Box]) -> Iterator[tuple[str, list[Box]]]:
    """One chain through the first of each group; none where a group is empty."""
    things = [next(iter(group), None) for group in groups]
    if None not in things:
        yield key, [thing for thing in things if thing is not None]
