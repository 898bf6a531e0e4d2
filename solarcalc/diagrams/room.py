"""The power room to scale: plan and elevations, with distances in metres."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.messages import PATTERN
from solarcalc.diagrams.lettering import SMALL_MM, TEXT_MM, Said, fitted, words_width_mm
from solarcalc.diagrams.room_view import (
    Field,
    Placed,
    View,
    meet,
    numbered_marks,
)
from solarcalc.diagrams.sheet import (
    A3_LONG_MM,
    A3_SHORT_MM,
    DASHED,
    FIRST,
    FOOT_MM,
    LINE_MM,
    NO_FIRM,
    NOBODY,
    THIN_MM,
    Point,
    Sheet,
    Signed,
    draw_frame,
    notes_fit,
    title_block,
)
from solarcalc.powerroom.boxes import Box
from solarcalc.powerroom.fire import DOOR_OPENS
from solarcalc.powerroom.layout import RoomLayout
from solarcalc.sitefile.quote import Checked, Firm
from solarcalc.sitefile.status import Status

SCALES = (20, 50, 100, 200, 500, 1000)
"""Scales that the drawing chooses from; ISO 5455, from memory."""
LEGEND_MM, LEGEND_WIDE_MM, LEGEND_HIGH_MM = 337.0, 76.0, 216.0
VIEW_LEFT_MM, VIEW_TOP_MM, VIEW_RIGHT_MM = 23.0, 23.0, 331.0
VIEW_BOTTOM_MM = A3_SHORT_MM - FOOT_MM - 4.0
PLAN_MM, BESIDE_MM, DOOR_MM, BELOW_MM = 25.0, 22.0, 14.0, 19.0
"""Below the plan with its dimensions, between views, beyond an open door, below an elevation with
its dimensions [mm on the sheet]."""
MOST_BOXES = 48
STEP_MM, MOST_NAME_LINES = 1.25 * SMALL_MM, 9
"""From line to line of the list [mm], and lines of a name in it."""
CLOSE_MM = 1.1 * SMALL_MM
"""From line to line of the list of very many things [mm]."""
Wall = Literal["rack", "opposite", "left", "right"]
TITLES: dict[Wall, str] = {
    "rack": "rack wall", "opposite": "wall opposite the racks", "left": "wall at the left end",
    "right": "wall at the right end",
}  # fmt: skip
ESCAPE = "escape route"
NO_TAGS: Mapping[str, str] = {}
HUNG = (
    "inverter", "controller", "board", "fuse", "isolator", "busbar", "string-bar", "pv-switch",
    "changeover",
)
OPENINGS = ("door", "vent-low", "vent-high", "entry")
AT_END_M = 0.05
"""What stands this close to an end wall is seen in its elevation [m]."""
ON_RACK_WALL_M = 0.8
"""What stands this close to a wall is seen in its elevation [m]."""
_OUTSIDE_M = 0.02
LETTERS: dict[Wall, str] = {"rack": "A", "opposite": "B", "left": "C", "right": "D"}
"""Views by letter; an arrow on the plan points to the wall seen (ISO 128-3, from memory)."""


def room_drawing(
    layout: RoomLayout, *, site_name: str, firm: Firm = NO_FIRM, checked: Checked = NOBODY,
    status: Status = FIRST,
    tags: Mapping[str, str] = NO_TAGS, held: Mapping[str, str] = NO_TAGS,
    civil: str = "", language: str = PATTERN,
) -> str:
    """The power room as SVG, A3 lying: plan, and below it elevations of the walls.

    Parameters
    ----------
    layout : RoomLayout
        Lengths in metres, seen from inside with the rack wall ahead.
    site_name : str
    firm : Firm
        For the title block.
    checked : Checked
        Who checked it, by the site file; nobody if left out.
    status : Status
        Revision and day of the design.
    tags : mapping of str to str
        Tag of a thing by its name: `installation.standing.room_tags`.
    held : mapping of str to str
        What is in, at or under a thing, by its name: `held_words` of the same.
    civil : str
        Thickness of walls, slab and footing in words; empty for a room that is there.
    language : str
        Of the words on it.

    Returns
    -------
    str
        SVG that needs nothing outside it; the same input gives the same bytes. The scale holds
        where the sheet is printed on its paper; the bar of the scale holds at any size.

    Raises
    ------
    InputError
        For a room without length, depth or height, more things than the sheet has room for, or a
        thing that stands outside the room.
    """
    faults = _faults(layout)
    if faults:
        raise InputError(faults)
    scale, small = _scales(layout)
    sheet = Sheet("room", f"Power room, {site_name}", room_words(layout),
                  width_mm=A3_LONG_MM, height_mm=A3_SHORT_MM, language=language)  # fmt: skip
    plan = View(sheet, VIEW_LEFT_MM, VIEW_TOP_MM, 1000.0 / scale, layout.length_m, layout.depth_m)
    _plan(plan, layout, scale)
    top_mm = plan.at(0.0, layout.depth_m)[1] + PLAN_MM
    for walls in _rows(layout, small):
        left_mm = VIEW_LEFT_MM
        for wall in walls:
            view = View(sheet, left_mm, top_mm, 1000.0 / small, _wide_m(layout, wall),
                        layout.height_m)
            _elevation(view, layout, wall, small)
            left_mm += _step_mm(layout, wall, small)
        top_mm += layout.height_m * 1000.0 / small + BELOW_MM
    _scale_bars(sheet, _legend(sheet, layout, tags, held), (scale, small), layout.spark_m)
    notes = ["Scales hold on A3. Internal dimensions. x along the rack wall and y out from it,"
             " both from the marked corner of the plan to the near corner of a thing; z from the"
             " floor to its underside.", DOOR_OPENS]  # fmt: skip
    if any(box.kind == "fuse" for box in layout.boxes):
        notes.append("Each main fuse is in a closed box: no spark outside; it is drawn with the"
                     " isolator open.")  # fmt: skip
    if civil:
        notes.append(civil)
    notes = _with_unplaced(sheet, notes, layout.unplaced)
    signed = Signed(name=site_name, checked=checked, status=status, firm=firm)
    block = title_block(signed, number="SP-06", sheet=6, title="Power room",
                        scale=_in_words(scale, small), language=language)  # fmt: skip
    draw_frame(sheet, block, notes)
    return sheet.svg()


def _with_unplaced(sheet: Sheet, notes: Sequence[str], names: Sequence[str]) -> list[str]:
    """The notes behind what has no place: as many names as have room in every language."""
    if not names:
        return [*notes]
    for count in range(len(names), -1, -1):
        more = [f"{len(names) - count} more"] * (count < len(names))
        said = [f"Without a place: {'; '.join((*names[:count], *more))}.", *notes]
        if notes_fit(sheet, said):
            break
    return said


def _faults(layout: RoomLayout) -> list[Fault]:
    where = "room layout"
    found = [
        Fault(where=f"{where}: {name}", given=f"{value:g} m", allowed="above 0, to 50 m",
              remedy="correct room." + name)
        for name, value in (("length_m", layout.length_m), ("depth_m", layout.depth_m),
                            ("height_m", layout.height_m))
        if not 0.0 < value <= 50.0
    ]  # fmt: skip
    if len(layout.boxes) > MOST_BOXES:
        found.append(Fault(where=f"{where}: boxes", given=str(len(layout.boxes)),
                           allowed=f"at most {MOST_BOXES} on one sheet"))  # fmt: skip
    rim = _OUTSIDE_M
    for box in layout.boxes if not found else ():
        ends = (box.along_m + box.length_m, box.out_m + box.depth_m, box.base_m + box.height_m)
        starts = (box.along_m, box.out_m, box.base_m, box.length_m, box.depth_m, box.height_m)
        walls = (layout.length_m, layout.depth_m, layout.height_m)
        if min(starts) < -rim or any(not end <= wall + rim
                                     for end, wall in zip(ends, walls, strict=True)):  # fmt: skip
            found.append(Fault(where=f"{where}: {box.name}",
                               given=" × ".join(f"{end:.2f}" for end in ends) + " m at its far"
                               " corner", allowed="inside the room, "
                               + " × ".join(f"{wall:g}" for wall in walls) + " m",
                               remedy="give it a place inside, or a larger room"))  # fmt: skip
    return found


def room_words(layout: RoomLayout) -> str:
    """The drawing in words, for a reader who cannot see it."""
    safety = (f" Safety distance from ignition sources around the batteries:"
              f" {layout.spark_m:.2f} m." if layout.spark_m > 0.0 else "")  # fmt: skip
    things = "; ".join(f"{number} {box.name}" for number, box in enumerate(layout.boxes, 1))
    return (f"Room of {layout.length_m:g} by {layout.depth_m:g} m, {layout.height_m:g} m high."
            f" Aisle before the racks {layout.aisle_m:.2f} m.{safety} In it: {things}.")


def _ends(layout: RoomLayout) -> list[Wall]:
    """End walls with an opening, or with electrical things: they have elevations of their own."""
    return [
        wall for wall in ("left", "right")
        if any(box.kind in (*HUNG, *OPENINGS) and _far_m(box, layout, wall) <= AT_END_M
               and not any(_seen(box, layout, long) for long in ("rack", "opposite"))
               for box in layout.boxes)
    ]  # fmt: skip


def _walls(layout: RoomLayout) -> tuple[Wall, ...]:
    """The walls that have an elevation, in the order of their letters."""
    return ("rack", "opposite", *_ends(layout))


def _wide_m(layout: RoomLayout, wall: Wall) -> float:
    """Of a wall [m]."""
    return layout.depth_m if wall in ("left", "right") else layout.length_m


def _scales(layout: RoomLayout) -> tuple[int, int]:
    """Scale of the plan and of the elevations below it: the largest that fit, the plan's first."""
    wide_mm, high_mm = VIEW_RIGHT_MM - VIEW_LEFT_MM, VIEW_BOTTOM_MM - VIEW_TOP_MM
    out_m = max((box.depth_m for box in layout.boxes if box.kind == "door"), default=0.0)
    widest_m = max(layout.length_m, layout.depth_m)
    pairs = itertools.combinations_with_replacement(SCALES, 2)
    for plan, small in sorted(pairs, key=lambda pair: (pair[1], pair[0])):
        across_mm = (layout.length_m + out_m) * 1000.0 / plan + DOOR_MM
        rows = len(_rows(layout, small))
        down_mm = layout.depth_m * 1000.0 / plan + PLAN_MM + rows * (
            layout.height_m * 1000.0 / small + BELOW_MM) - 7.0  # fmt: skip
        if max(across_mm, widest_m * 1000.0 / small) <= wide_mm and down_mm <= high_mm:
            return plan, small
    return SCALES[-1], SCALES[-1]


def _title(wall: Wall, scale: int) -> str:
    return f"View {LETTERS[wall]}: {TITLES[wall]}, 1:{scale}"


def _title_mm(wall: Wall, scale: int) -> float:
    """Of the title of an elevation, in bold [mm]."""
    return 1.1 * words_width_mm(_title(wall, scale), TEXT_MM)


def _step_mm(layout: RoomLayout, wall: Wall, scale: int) -> float:
    """From the left of an elevation to that of the next beside it [mm]."""
    return max(_wide_m(layout, wall) * 1000.0 / scale + BESIDE_MM, _title_mm(wall, scale) + 6.0)


def _rows(layout: RoomLayout, scale: int) -> list[list[Wall]]:
    """Elevations beside one another as far as there is room, in rows below one another."""
    rows: list[list[Wall]] = []
    reached_mm = math.inf
    for wall in _walls(layout):
        wide_mm = _wide_m(layout, wall) * 1000.0 / scale
        if reached_mm + max(wide_mm, _title_mm(wall, scale)) > VIEW_RIGHT_MM:
            rows.append([])
            reached_mm = VIEW_LEFT_MM
        rows[-1].append(wall)
        reached_mm += _step_mm(layout, wall, scale)
    return rows


def _in_words(*scales: int) -> str:
    return ", ".join(f"1:{scale}" for scale in dict.fromkeys(scales))


def _plan(view: View, layout: RoomLayout, scale: int) -> None:
    """The plan with its internal dimensions, aisle, escape route and arrows of the views."""
    sheet = view.sheet
    view.walls(f"Plan, 1:{scale}")
    for box in layout.boxes:
        view.thing(box.kind, box.along_m, box.out_m, box.length_m, box.depth_m)
        if box.kind == "door":
            _door(view, box, layout)
    racks = [box for box in layout.boxes if box.kind == "rack"]
    sparks: list[Field] = []
    if layout.spark_m > 0.0:
        for rack in racks:
            for piece in _around(rack, layout):
                places = [view.at(*place) for place in piece]
                sheet.path(places, width_mm=THIN_MM, dash=DASHED)
                sparks += [_around_both(*pair) for pair in itertools.pairwise(places)]
    view.origin()
    view.dimension_across(0.0, layout.length_m, layout.depth_m)
    view.running_across(edge for box in layout.boxes if box.length_m > 0.0
                        for edge in (box.along_m, box.along_m + box.length_m)
                        if edge < layout.length_m - 0.005)
    view.dimension_down(0.0, layout.depth_m)
    filled = [_around_both(view.at(box.along_m, box.out_m),
                           view.at(box.along_m + box.length_m, box.out_m + box.depth_m))
              for box in layout.boxes]  # fmt: skip
    taken = view.aisle(racks[0], layout.aisle_m, [*sparks, *filled]) \
        if racks and layout.aisle_m > 0.0 else []
    taken += _escape(view, layout, [*taken, *sparks])
    boxes = [(box.along_m, box.out_m, box.length_m, box.depth_m) for box in layout.boxes]
    for wall in _walls(layout):
        taken.append(view.arrow(LETTERS[wall], _LOOKS[wall], boxes, [*taken, *sparks]))
    centres = [(number, box.along_m, box.out_m, box.length_m, box.depth_m)
               for number, box in enumerate(layout.boxes, 1)]  # fmt: skip
    numbered_marks(view, centres, taken)


_LOOKS: dict[Wall, Point] = {"rack": (0.0, -1.0), "opposite": (0.0, 1.0), "left": (-1.0, 0.0),
                             "right": (1.0, 0.0)}  # fmt: skip
"""Which way a view looks on the plan: to the right, down."""


def _around_both(one: Point, other: Point) -> Field:
    """The field that a short or straight line lies in [mm]."""
    (x, y), (u, v) = one, other
    return min(x, u) - 0.4, min(y, v) - 0.4, max(x, u) + 0.4, max(y, v) + 0.4


def _escape(view: View, layout: RoomLayout, taken: Sequence[Field]) -> list[Field]:
    """The escape route along the aisle and out of the door; returns what its words take [mm]."""
    door = next((box for box in layout.boxes if box.kind == "door" and box.depth_m > 0.0), None)
    racks = [box for box in layout.boxes if box.kind == "rack"]
    if door is None or not racks or door.along_m < layout.length_m / 2.0:
        return []
    y = view.at(0.0, door.out_m + door.depth_m / 2.0)[1]
    left, right = view.at(0.0, 0.0)[0] + 4.0, view.at(layout.length_m, 0.0)[0]
    things = [(*view.at(box.along_m, box.out_m),
               *view.at(box.along_m + box.length_m, box.out_m + box.depth_m))
              for box in layout.boxes if box.along_m < layout.length_m / 3.0]  # fmt: skip
    for field in (*taken, *things):
        if field[1] - 1.0 < y < field[3] + 4.0 and field[0] < (left + right) / 2.0:
            left = max(left, field[2] + 2.0)
    words_mm = words_width_mm(view.sheet.said(ESCAPE), SMALL_MM)
    solid = [*taken, *((*view.at(box.along_m, box.out_m),
                        *view.at(box.along_m + box.length_m, box.out_m + box.depth_m))
                       for box in layout.boxes)]  # fmt: skip
    starts = (left + step for step in range(max(int(right - left - words_mm - 7.0), 0)))
    at = next((start for start in starts if not any(
        meet((start - 0.5, y - 4.0, start + words_mm + 0.5, y + 0.4), field) for field in solid)),
        None)  # fmt: skip
    if at is None or view.at(0.0, 0.0)[1] > y - 4.0:
        return []
    view.sheet.path([(left, y), (right + 6.0, y)], dash=DASHED)
    view.sheet.path([(right + 4.0, y - 1.2), (right + 6.0, y), (right + 4.0, y + 1.2)])
    view.sheet.text(at, y - 1.2, ESCAPE, size_mm=SMALL_MM)
    return [(left - 0.5, y - 1.6, right, y + 1.6), (at - 0.5, y - 4.0, at + words_mm + 0.5, y)]


def _door(view: View, box: Box, layout: RoomLayout) -> None:
    """The leaf, open outwards, and the way it swings."""
    unit, sheet = view.unit_mm, view.sheet
    if box.length_m <= box.depth_m:
        outwards, hinge = (1.0 if box.along_m > layout.length_m / 2.0 else -1.0), box.out_m
        x, y = view.at(box.along_m, hinge)
        tip = (x + outwards * box.depth_m * unit, y)
        end = view.at(box.along_m, hinge + box.depth_m)
        radius, turn = box.depth_m * unit, 1 if outwards > 0 else 0
    else:
        outwards = 1.0 if box.out_m > layout.depth_m / 2.0 else -1.0
        x, y = view.at(box.along_m, box.out_m)
        tip = (x, y + outwards * box.length_m * unit)
        end = view.at(box.along_m + box.length_m, box.out_m)
        radius, turn = box.length_m * unit, 0 if outwards > 0 else 1
    sheet.path([(x, y), tip], width_mm=LINE_MM)
    sheet.curve(f"M{tip[0]:.2f} {tip[1]:.2f}A{radius:.2f} {radius:.2f} 0 0 {turn} {end[0]:.2f}"
                f" {end[1]:.2f}", width_mm=THIN_MM)  # fmt: skip


def _around(rack: Box, layout: RoomLayout) -> list[list[Point]]:
    """The line at the distance from sparks around a rack, in pieces inside the room [m]."""
    far, steps = layout.spark_m, 16
    right, foot = rack.along_m + rack.length_m, rack.out_m + rack.depth_m
    corners = ((right, foot, 0.0), (rack.along_m, foot, 90.0), (rack.along_m, rack.out_m, 180.0),
               (right, rack.out_m, 270.0))  # fmt: skip
    ring = [
        (x + far * math.cos(math.radians(start + 90.0 * step / steps)),
         y + far * math.sin(math.radians(start + 90.0 * step / steps)))
        for x, y, start in corners for step in range(steps + 1)
    ]  # fmt: skip
    ring.append(ring[0])
    pieces: list[list[Point]] = []
    for one, other in itertools.pairwise(ring):
        inside = _inside(one, other, layout.length_m, layout.depth_m)
        if inside is None:
            continue
        if pieces and math.dist(pieces[-1][-1], inside[0]) < 1e-9:
            pieces[-1].append(inside[1])
        else:
            pieces.append([*inside])
    return pieces


def _inside(one: Point, other: Point, length_m: float, depth_m: float) -> (
        tuple[Point, Point] | None):  # fmt: skip
    """The part of a straight piece that lies in the room; None where none does."""
    low, high = 0.0, 1.0
    for axis, wall in ((0, length_m), (1, depth_m)):
        step = other[axis] - one[axis]
        for gap, towards in ((one[axis], step), (wall - one[axis], -step)):
            if abs(towards) < 1e-12:
                if gap < 0.0:
                    return None
            elif towards > 0.0:
                low = max(low, -gap / towards)
            else:
                high = min(high, -gap / towards)
    if low >= high:
        return None
    first, last = ((one[0] + at * (other[0] - one[0]), one[1] + at * (other[1] - one[1]))
                   for at in (low, high))  # fmt: skip
    return first, last


def _far_m(box: Box, layout: RoomLayout, wall: Wall) -> float:
    """From a wall to the side of a thing that is turned to it [m]."""
    return {
        "rack": box.out_m, "opposite": layout.depth_m - box.out_m - box.depth_m,
        "left": box.along_m, "right": layout.length_m - box.along_m - box.length_m,
    }[wall]


def _seen(box: Box, layout: RoomLayout, wall: Wall) -> bool:
    """Whether a thing is drawn in the elevation of a wall."""
    far_m = _far_m(box, layout, wall)
    if wall in ("left", "right"):
        return far_m <= AT_END_M and box.depth_m > 0.0
    other_m = _far_m(box, layout, "opposite" if wall == "rack" else "rack")
    at_end = box.kind in HUNG and min(
        _far_m(box, layout, "left"), _far_m(box, layout, "right")) < min(far_m, AT_END_M)
    return far_m <= min(ON_RACK_WALL_M, other_m) and box.length_m > 0.0 and not at_end


def _elevation(view: View, layout: RoomLayout, wall: Wall, scale: int) -> None:
    """One of the walls as it is seen from the middle of the room, with mounting heights."""
    view.walls(_title(wall, scale))
    seen: list[Placed] = []
    for number, box in enumerate(layout.boxes, 1):
        if not _seen(box, layout, wall):
            continue
        wide_m = box.depth_m if wall in ("left", "right") else box.length_m
        along_m = {
            "rack": box.along_m, "opposite": layout.length_m - box.along_m - box.length_m,
            "left": layout.depth_m - box.out_m - box.depth_m, "right": box.out_m,
        }[wall]  # fmt: skip
        top_m = layout.height_m - box.base_m - box.height_m
        view.thing(box.kind, along_m, top_m, wide_m, box.height_m, standing=True)
        seen.append((number, along_m, top_m, wide_m, box.height_m))
    things = [(*view.at(x, y), *view.at(x + wide, y + high)) for _, x, y, wide, high in seen]
    view.dimension_down(0.0, layout.height_m)
    view.running_across(edge for _, x, _, wide, _ in seen for edge in (x, x + wide))
    taken = [*things, *numbered_marks(view, seen, [])]
    for number, along_m, top_m, wide_m, high_m in seen:
        base_m = layout.boxes[number - 1].base_m
        taken += view.underside(base_m, along_m + wide_m / 2.0, top_m + high_m, taken)


def _listed(box: Box, tag: str, held: str, most: int) -> str:
    """Tag and name of a thing, then at most so many of the pieces of what is in it."""
    pieces = held.split("; ") if held else []
    more = ["…"] * (len(pieces) > most)
    return "; ".join((f"{tag} {box.name}".strip(), *pieces[:most], *more))


def _name_lines(words: str) -> list[str]:
    return fitted(words, LEGEND_WIDE_MM - 8.0, size_mm=SMALL_MM, lines=MOST_NAME_LINES)


def _short_name(sheet: Sheet, whole: str, tag: str, wide_mm: float) -> str:
    """As much of tag and name as has room on a line in every language; else what has."""
    parts = whole.split(", ")
    tried = [", ".join((*parts[:count], *["…"] * (count < len(parts))))
             for count in range(len(parts), 0, -1)] + [f"{tag}, …"] * bool(tag)  # fmt: skip
    words = next((each for each in tried if _has_room(sheet, each, wide_mm)), tried[-1])
    said = sheet.fitted(words, wide_mm, size_mm=SMALL_MM, lines=1)[0]
    return Said(said.replace(", …", "…"))


def _has_room(sheet: Sheet, words: str, wide_mm: float) -> bool:
    """Whether words have room on a line in every language."""
    return all(words_width_mm(said, SMALL_MM) <= wide_mm for said in sheet.in_every_language(words))


def _whole_list(sheet: Sheet, layout: RoomLayout, tags: Mapping[str, str],
                held: Mapping[str, str]) -> tuple[list[str], float]:  # fmt: skip
    """Names for the list and the gap between them [mm]; no names where they have no room.

    What is in the things is left to the schedules, from the last piece on, where one language
    has no room for it.
    """
    most = max((len(words.split("; ")) for words in held.values()), default=0)
    for pieces, gap_mm in ((most, 1.8), (most, 0.9), (most, 0.3),
                           *((count, 0.0) for count in range(most, -1, -1))):
        named = [_listed(box, tags.get(box.name, ""), held.get(box.name, ""), pieces)
                 for box in layout.boxes]  # fmt: skip
        in_each = zip(*map(sheet.in_every_language, named), strict=True)
        high_mm = max(sum(gap_mm + STEP_MM * (len(_name_lines(name)) + 1) for name in names)
                      for names in in_each)  # fmt: skip
        if high_mm <= LEGEND_HIGH_MM:
            return named, gap_mm
    return [], 0.0


def _measures(box: Box) -> str:
    """Where a thing is, and its sides; what lies in a wall has no depth to print."""
    sides = (box.length_m, box.depth_m, box.height_m)
    return (f"x {box.along_m:.2f} y {box.out_m:.2f} z {box.base_m:.2f}; "
            + " × ".join(f"{side:.2f}" for side in sides if side >= 0.005) + " m")  # fmt: skip


def _legend(
    sheet: Sheet, layout: RoomLayout, tags: Mapping[str, str], held: Mapping[str, str]
) -> float:
    """Every thing by its number, with place and measures; returns the foot of the list [mm]."""
    y_mm, left_mm = 24.0, LEGEND_MM
    sheet.text(left_mm, y_mm, "No., tag; place; length × depth × height",
               size_mm=SMALL_MM, bold=True)  # fmt: skip
    named, gap_mm = _whole_list(sheet, layout, tags, held)
    y_mm += STEP_MM + 0.6
    each_mm = LEGEND_HIGH_MM / len(layout.boxes)
    two_lines = each_mm >= 2.0 * CLOSE_MM
    for number, box in enumerate(layout.boxes, 1):
        measures = _measures(box)
        sheet.text(left_mm + 5.0, y_mm, str(number), size_mm=SMALL_MM, anchor="end", bold=True)
        if not named:  # places alone, behind the names
            place = measures.partition(";")[0]
            tag = tags.get(box.name, "")
            whole = f"{tag} {box.name}".strip()
            wide_mm = LEGEND_WIDE_MM - 10.0 - words_width_mm(place, SMALL_MM)
            beside = _has_room(sheet, whole, wide_mm)
            if not beside:  # the name comes before the place
                wide_mm = LEGEND_WIDE_MM - 10.0
            name = _short_name(sheet, whole, tag, wide_mm)
            sheet.text(left_mm + 8.0, y_mm, name, size_mm=SMALL_MM)
            if beside:
                sheet.text(left_mm + LEGEND_WIDE_MM, y_mm, place, size_mm=SMALL_MM, anchor="end")
            elif two_lines:
                sheet.text(left_mm + 8.0, y_mm + CLOSE_MM, place, size_mm=SMALL_MM)
            y_mm += each_mm
            continue
        lines = [Said(line) for line in _name_lines(sheet.said(named[number - 1]))]
        sheet.lines(left_mm + 8.0, y_mm, lines, size_mm=SMALL_MM)
        sheet.text(left_mm + 8.0, y_mm + STEP_MM * len(lines), measures, size_mm=SMALL_MM)
        y_mm += gap_mm + STEP_MM * (len(lines) + 1)
    return y_mm


def _scale_bars(sheet: Sheet, foot_mm: float, scales: tuple[int, int], spark_m: float) -> None:
    """A bar of whole metres for each scale below a height [mm], and what the dashed line means."""
    each = list(dict.fromkeys(scales))
    y_mm = max(foot_mm + 8.0, VIEW_BOTTOM_MM - 12.0 * len(each))
    if spark_m > 0.0:
        sheet.path([(LEGEND_MM, y_mm - 5.5), (LEGEND_MM + 10.0, y_mm - 5.5)], width_mm=THIN_MM,
                   dash=DASHED)  # fmt: skip
        sheet.text(LEGEND_MM + 12.0, y_mm - 4.6,
                   f"no ignition source within d = {spark_m:.2f} m", size_mm=SMALL_MM)  # fmt: skip
    for scale in each:
        _scale_bar(sheet, y_mm, scale)
        y_mm += 11.0


def _scale_bar(sheet: Sheet, y_mm: float, scale: int) -> None:
    """A bar of whole metres."""
    unit_mm, left_mm = 1000.0 / scale, LEGEND_MM
    metres = max(1, int(50.0 / unit_mm))
    for step in range(metres):
        from_mm = left_mm + step * unit_mm
        sheet.box(from_mm, y_mm, from_mm + unit_mm, y_mm + 1.6, width_mm=THIN_MM,
                  fill="black" if step % 2 == 0 else "white")  # fmt: skip
    sheet.text(left_mm, y_mm + 5.4, f"0, 1:{scale}", size_mm=TEXT_MM)
    sheet.text(left_mm + metres * unit_mm, y_mm + 5.4, f"{metres} m", size_mm=TEXT_MM,
               anchor="middle")  # fmt: skip
