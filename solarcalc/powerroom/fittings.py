"""Small things of the power room in a free place on its walls: fuse, isolator, cable entries."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from operator import itemgetter

from solarcalc.basis.record import but
from solarcalc.basis.sourced import constant
from solarcalc.powerroom.boxes import HANDS_M, Box, BoxKind, gap_m, reach_m
from solarcalc.powerroom.racks import Racks, UnitPlace, above_unit_m, units_of
from solarcalc.powerroom.ways import UNDER_CEILING_M, between_m, on_wall
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.room import Room
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import TO_BATTERY
from solarcalc.wiring.runs import of_plane, plane_number, stem_of, ways_of
from solarcalc.wiring.switching import changeovers_of

SWITCH_M = constant("powerroom.switch_m")
LOW_SWITCH_M = constant("powerroom.low_switch_m")
LOW_ENTRY_M = constant("powerroom.low_entry_m")
EARTH_BAR_M = constant("powerroom.earth_bar_m")
_CASE_M = (0.2, 0.12, 0.25)
"""Box of a main fuse or a switch: along its wall, out from it, upright; no source [m]."""
_BARS_M = (0.4, 0.15, 0.3)
"""Box of busbars with the fuses at them, the same way; no source [m]."""
_STRING_BARS_NEAR_M = 1.0
"""From the units to the box of the bars that strings meet at, and on to the main fuse; no source
[m]."""
_LOW_M = 2.0
"""More way that a place at the height of a hand is worth; no source [m]."""
_BESIDE_M = 0.05
"""Between a rack and the box of its main fuse; no source [m]."""
_ENTRY_M, _STEP_M, _SIDE_M = 0.1, 0.1, 0.1
_ENTERS = {
    "dc_main": "array", "board_house": "house", "grid_in": "grid", "generator_in": "generator",
}  # fmt: skip
_APART_FROM_BATTERY: tuple[BoxKind, ...] = ("isolator", "busbar", "pv-switch", "changeover")
"""What may spark, and hangs as far from the batteries as sparks must stay."""


Entry = tuple[str, bool]
"""Name of a cable that comes into the room, and whether it comes out of the ground."""


def fittings(
    site: Site, racks: Racks, there: Sequence[Box], spark_m: float, entries: Sequence[Entry]
) -> tuple[list[Box], list[str]]:
    """Fuses, bars and isolator of each bank, switches, then the entries of the cables.

    A main fuse is in a closed box at the battery's terminals, no farther than the cable without a
    fuse is long: such a box lets no spark out (common practice, no source). Of a string of several
    units with a fuse in both poles each has a box at its own terminal; where strings meet at bars
    it hangs beside those. Busbars, isolator and switches hang where the way of their cables along
    the walls is shortest, at the height of a hand, or low under what hangs there, as far from the
    batteries as sparks must stay. A cable enters low where it comes out of the ground, else under
    the ceiling.

    Parameters
    ----------
    site : Site
    racks : Racks
    there : sequence of Box
        What stands and hangs already.
    spark_m : float
        Distance from sparks [m].
    entries : sequence of tuple
        Of `entries_of`.

    Returns
    -------
    tuple of list of Box, list of str
        What is placed, and what finds no place.
    """
    placed: list[Box] = []
    unplaced: list[str] = []
    found = _Found(site=site, there=there, placed=placed)
    for box, places in chain(_wanted(site, racks, found), _entering(site.room, entries)):
        free = first_free(site.room, (
            one for one in places if box.kind not in _APART_FROM_BATTERY
            or all(gap_m(one, rack) >= spark_m for rack in racks.boxes)
        ), (*there, *placed), reached=box.kind == "entry")  # fmt: skip
        if free is None:
            unplaced.append(box.name)
        else:
            placed.append(free)
    return placed, unplaced


def first_free(
    room: Room, places: Iterable[Box], there: Sequence[Box], *, reached: bool
) -> Box | None:
    """The first place where nothing is; with `reached` one before which hands have room too.

    Where hands have none anywhere, one without; None where all is taken.
    """
    spare = None
    for one in places:
        if any(_meet(one, other) for other in there):
            continue
        if not reached or not any(_meet(_with_hands(room, one), other) for other in there):
            return one
        spare = spare or one
    return spare


def earth_bar(room: Room, there: Sequence[Box]) -> Box:
    """The main earthing terminal low on a wall, where no rack stands before it if there is room."""
    box = Box(name="main earthing terminal", kind="earth-bar", along_m=0.0, out_m=0.0,
              length_m=0.3, depth_m=0.05, height_m=0.06)  # fmt: skip
    high_m, far_m = float(EARTH_BAR_M), room.depth_m - box.depth_m
    along = sorted(_steps(room.length_m - _SIDE_M - box.length_m, _SIDE_M))
    places = [_at(box, along_m, out_m, high_m) for out_m in (far_m, 0.0) for along_m in along]
    turned = _turned(box)
    places += [_at(turned, 0.0, out_m, high_m)
               for out_m in _steps(room.depth_m - _SIDE_M - turned.depth_m, _SIDE_M)]  # fmt: skip
    free = first_free(room, places, there, reached=True)
    return free or _at(box, _SIDE_M, far_m, high_m)


def _with_hands(room: Room, box: Box) -> Box:
    """A thing on a wall with the room before it that hands need."""
    hands = HANDS_M
    if box.length_m < box.depth_m:
        along_m = box.along_m if box.along_m < room.length_m / 2.0 else box.along_m - hands
        return but(box, along_m=along_m, length_m=box.length_m + hands)
    out_m = box.out_m if box.out_m < room.depth_m / 2.0 else box.out_m - hands
    return but(box, out_m=out_m, depth_m=box.depth_m + hands)


@dataclass(frozen=True, kw_only=True)
class _Found:
    """What hangs already, while more is placed."""

    site: Site
    there: Sequence[Box]
    placed: Sequence[Box]

    def of(self, *names: str) -> list[Box]:
        """Things whose name begins so."""
        return [box for box in (*self.there, *self.placed) if box.name.startswith(names)]

    def nearest(self, box: Box, to: Sequence[Box]) -> list[Box]:
        """Places on the walls for a box, that of the shortest way to all of these first.

        A place at hand height is worth a way that much longer.
        """
        room = self.site.room
        ends = [on_wall(room, each) for each in to]
        low_below_m = float(SWITCH_M) - 0.2

        def far_m(one: Box) -> float:
            place, low_m = on_wall(room, one), _LOW_M * (one.base_m < low_below_m)
            return round(sum(between_m(room, place, end) for end in ends) + low_m, 3)

        return sorted(_on_walls(room, box), key=far_m)


def _wanted(
    site: Site, racks: Racks, found: _Found
) -> Iterator[tuple[Box, Iterable[Box]]]:  # fmt: skip
    """Each thing, and the places where it may go, the best first; what was placed is in `found`."""
    units = units_of(site, racks)
    for board in site.banks:
        yield from _of_bank(site, racks, board, units[board], found)
    for number, controller in enumerate(found.of("controller")):
        box = _case(controller.name.replace("controller", "PV isolator"), "pv-switch")
        yield box, found.nearest(box, found.of("controller")[number : number + 1])
    if site.room.inverters_inside and site.protection.changeover != "built-in":
        for switch in changeovers_of(site):
            board = switch.board or switch.key.removeprefix("changeover").removeprefix("-")
            box = _case(f"changeover, {board}" if board else "changeover", "changeover")
            yield box, found.nearest(box, found.of("inverter", "board"))


def _entering(room: Room, entries: Sequence[Entry]) -> Iterator[tuple[Box, Iterable[Box]]]:
    """Each cable entry, and where it may go through a wall."""
    for name, buried in entries:
        box = Box(name=f"cable entry, {name}", kind="entry", along_m=0.0, out_m=0.0, length_m=0.0,
                  depth_m=_ENTRY_M, height_m=_ENTRY_M)  # fmt: skip
        yield box, _through_wall(room, box, buried=buried)


def _of_bank(
    site: Site, racks: Racks, board: str, units: Sequence[UnitPlace], found: _Found
) -> Iterator[tuple[Box, Iterable[Box]]]:
    """Bars of the strings, main fuses, busbars and isolator of a bank."""
    battery, of = site.banks[board], "" if board == "shared" else f", {board}"
    bars = f"string busbars in closed box{of}"
    if battery.units_in_parallel > 1:
        box = _case(bars, "string-bar", _BARS_M)
        yield box, _about_strings(site, box, racks, units)
    for pole, ends in fused_ends(battery, units):
        sign = f" {pole}" if pole else ""
        name = f"main fuse{sign}, closed box{of}" if of else f"main fuse{sign} in closed box"
        box = _case(name, "fuse")
        if battery.units_in_parallel == 1:
            yield box, _near_terminals(site, box, racks, ends, battery.unfused_lead_m)
        else:
            yield box, _beside_them(_about_strings(site, box, racks, units), found.of(bars))
    fuses = [box for box in found.of("main fuse") if box.name.endswith(of)]
    box = _case(f"battery busbars in closed box{of}", "busbar", _BARS_M)
    yield box, found.nearest(box, [*fuses, *found.of("inverter", "controller")])
    box = _case(f"isolator{of}" if of else "battery isolator", "isolator")
    yield box, found.nearest(box, [*fuses, *found.of(f"battery busbars in closed box{of}")])


def _about_strings(
    site: Site, box: Box, racks: Racks, units: Sequence[UnitPlace]
) -> list[Box]:  # fmt: skip
    """Places for bars that strings meet at: near their terminals, else on any wall."""
    return [*_near_terminals(site, box, racks, units, _STRING_BARS_NEAR_M),
            *_on_walls(site.room, box)]  # fmt: skip


def _beside_them(places: Iterable[Box], others: Sequence[Box]) -> list[Box]:
    """Those within reach of other things, the nearest first."""
    far = [(max((reach_m(one, each) for each in others), default=0.0), one) for one in places]
    near = sorted((one for one in far if one[0] <= _STRING_BARS_NEAR_M), key=itemgetter(0))
    return [one for _, one in near]


def _case(name: str, kind: BoxKind, size_m: tuple[float, float, float] = _CASE_M) -> Box:
    """A box of fuses, bars or a switch, not yet in its place."""
    return Box(name=name, kind=kind, along_m=0.0, out_m=0.0, length_m=size_m[0],
               depth_m=size_m[1], height_m=size_m[2])  # fmt: skip


def fused_ends(
    battery: Battery, units: Sequence[UnitPlace]
) -> tuple[tuple[str, tuple[UnitPlace, ...]], ...]:
    """Each main fuse of a bank: the pole it is for, and the units at one of whose terminals it is.

    The pole is empty for one fuse of all poles: where strings are joined, or both terminals lie at
    one unit.
    """
    signs = battery.fused_poles
    if battery.units_in_parallel > 1 or battery.units_in_series == 1:
        return (("", tuple(units)),)
    ends = {"+": tuple(units[:1]), "−": tuple(units[battery.unit_count - 1 :])}
    return tuple((sign if len(signs) > 1 else "", ends[sign]) for sign in signs)


def entries_of(site: Site) -> Iterator[Entry]:
    """Each cable that comes into the room, by the ways of the site's cables.

    What is bonded outside, and the electrode, have an entry of their own.
    """
    for way in ways_of(site):
        stem, number = stem_of(way.key), plane_number(way.key)
        if site.room.inverters_inside and stem in _ENTERS:
            name = _ENTERS[stem]
            yield (of_plane(name, site.sites[number - 1]) if number > 1 else name,
                   way.lies.in_ground)
        if not site.room.inverters_inside and way.runs[0].startswith(TO_BATTERY):
            words = "battery" if way.key == "battery" else way.key.replace("_", " to ")
            yield words, way.lies.in_ground
    yield "earth", True


def _near_terminals(
    site: Site, box: Box, racks: Racks, units: Sequence[UnitPlace], near_m: float
) -> Iterator[Box]:
    """Places within a length of cable from one of the units, the best first.

    Beside the end of the rack, else above it, else before the unit. Above, the terminals keep as
    much of the room to work at them as that cable allows.
    """
    for places in (_beside, _above, _before):
        for unit in units:
            rack = racks.boxes[unit.row - 1]
            yield from (one for one in places(site, box, rack, unit)
                        if reach_m(one, unit.box) <= near_m + 1e-9)  # fmt: skip


def _beside(site: Site, box: Box, rack: Box, unit: UnitPlace) -> Iterator[Box]:
    room, turned = site.room, _turned(box)
    if turned.depth_m > rack.depth_m + _BESIDE_M:  # it would stand out into the aisle
        return
    near_m = min(_BESIDE_M, site.battery.unfused_lead_m)
    out_m = min(max(rack.out_m, 0.0), room.depth_m - turned.depth_m)
    high_m = min(rack.height_m, room.height_m) - box.height_m
    low_m = max(min(float(LOW_SWITCH_M), high_m), 0.0)
    level_m = _level_m(room, box, unit)
    ends = (unit.at_right, rack.along_m + rack.length_m + near_m), (
        unit.at_left, rack.along_m - near_m - turned.length_m)  # fmt: skip
    for there, along_m in ends:
        if there and 0.0 <= along_m <= room.length_m - turned.length_m:
            yield from (_at(turned, along_m, out_m, base_m) for base_m in (low_m, level_m))


def _above(site: Site, box: Box, rack: Box, unit: UnitPlace) -> Iterator[Box]:
    room, lead_m = site.room, site.battery.unfused_lead_m
    base_m = rack.height_m + min(above_unit_m(site), lead_m)
    if not unit.on_top or base_m + box.height_m > room.height_m:
        return
    back_m = 0.0 if rack.out_m < room.depth_m / 2.0 else room.depth_m
    out_m, middle_m = min(back_m, room.depth_m - box.depth_m), unit.box.along_m
    places = _steps(rack.along_m + rack.length_m - box.length_m, rack.along_m)
    for along_m in sorted(places, key=lambda each: abs(each - middle_m)):
        yield _at(box, along_m, out_m, base_m)


def _level_m(room: Room, box: Box, unit: UnitPlace) -> float:
    """Its top as high as the terminals, and under the ceiling where a rack is higher than that."""
    top_m = min(unit.box.base_m + unit.box.height_m, room.height_m)
    return max(top_m - box.height_m, 0.0)


def _before(site: Site, box: Box, rack: Box, unit: UnitPlace) -> Iterator[Box]:
    """On the front of the rack, under the terminals."""
    room = site.room
    out_m = rack.out_m + rack.depth_m + _BESIDE_M
    if rack.out_m > room.depth_m / 2.0:
        out_m = rack.out_m - _BESIDE_M - box.depth_m
    base_m = _level_m(room, box, unit)
    if 0.0 <= out_m <= room.depth_m - box.depth_m:
        yield _at(box, unit.box.along_m, out_m, base_m)


def _on_walls(room: Room, box: Box) -> Iterator[Box]:
    """Along the wall of the racks and the one opposite, from the right; then the left end."""
    for wanted_m in (float(SWITCH_M), float(LOW_SWITCH_M)):
        base_m = max(min(wanted_m, room.height_m - box.height_m), 0.0)
        for out_m in (0.0, room.depth_m - box.depth_m):
            for along_m in _steps(room.length_m - _SIDE_M - box.length_m, _SIDE_M):
                yield _at(box, along_m, out_m, base_m)
        turned = _turned(box)
        for out_m in _steps(room.depth_m - _SIDE_M - turned.depth_m, _SIDE_M):
            yield _at(turned, 0.0, out_m, base_m)


def _through_wall(room: Room, box: Box, *, buried: bool) -> Iterator[Box]:
    """Through the wall at the left end, then the one at the right."""
    high_m = max(room.height_m - float(UNDER_CEILING_M), 0.0)
    base_m = float(LOW_ENTRY_M) if buried else high_m
    for along_m in (0.0, room.length_m):
        for out_m in _steps(room.depth_m - _SIDE_M - box.depth_m, _SIDE_M):
            yield _at(box, along_m, out_m, base_m)


def _steps(last_m: float, first_m: float) -> Iterable[float]:
    """From the far end back, in steps."""
    count = int(max(last_m - first_m, -_STEP_M) / _STEP_M + 1e-9) + 1
    return (last_m - _STEP_M * number for number in range(count)) if last_m >= first_m else ()


def _turned(box: Box) -> Box:
    return but(box, length_m=box.depth_m, depth_m=box.length_m)


def _at(box: Box, along_m: float, out_m: float, base_m: float) -> Box:
    return but(box, along_m=along_m, out_m=out_m, base_m=base_m)


def _meet(one: Box, other: Box) -> bool:
    """Whether two things want the same place; what lies in a wall takes the air before it."""
    apart = 0.02
    return (
        one.along_m < other.along_m + other.length_m + apart
        and other.along_m < one.along_m + one.length_m + apart
        and one.out_m < other.out_m + other.depth_m + apart
        and other.out_m < one.out_m + one.depth_m + apart
        and one.base_m < other.base_m + other.height_m + apart
        and other.base_m < one.base_m + one.height_m + apart
    )
