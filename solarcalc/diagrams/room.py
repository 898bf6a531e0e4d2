"""The power room to scale: plan and elevations, with distances in metres."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Literal, Protocol

from solarcalc.basis.errors import Fault, InputError
from solarcalc.diagrams.room_view import (
    BoxLike,
    Placed,
    View,
    numbered_marks,
)
from solarcalc.diagrams.sheet import (
    DASHED,
    FIRST,
    LINE_MM,
    NOBODY,
    SMALL_MM,
    TEXT_MM,
    THIN_MM,
    Point,
    Sheet,
    Signed,
    draw_frame,
    fitted,
    title_block,
    words_width_mm,
)
from solarcalc.powerroom.fire import DOOR_OPENS
from solarcalc.sitefile.quote import Checked
from solarcalc.sitefile.status import Status

SCALES = (10, 15, 20, 25, 30, 40, 50, 75, 100, 150, 200, 300, 500, 750, 1000)
"""Scales that the drawing chooses from; ISO 5455 prefers 10, 20, 50 and so on."""
LEGEND_MM, LEGEND_WIDE_MM, LEGEND_HIGH_MM = 214.0, 76.0, 140.0
VIEW_LEFT_MM, VIEW_TOP_MM, VIEW_RIGHT_MM, VIEW_BOTTOM_MM = 23.0, 22.0, 210.0, 187.0
PLAN_MM, BELOW_MM, BESIDE_MM = 20.0, 12.0, 22.0
"""Below the plan with its measure, between elevations, between views [mm on the sheet]."""
Arrangement = Literal["beside", "below", "column"]
"""Where the two elevations stand: right of the plan, side by side below it, one under the other."""
MOST_BOXES = 30
Wall = Literal["rack", "opposite", "left", "right"]
TITLES: dict[Wall, str] = {
    "rack": "Rack wall", "opposite": "Wall opposite the racks", "left": "Wall at the left end",
    "right": "Wall at the right end",
}  # fmt: skip
HUNG = ("inverter", "controller", "board", "fuse", "isolator")
AT_END_M = 0.05
"""What stands this close to an end wall is seen in its elevation [m]."""
ON_RACK_WALL_M = 0.8
"""What stands this close to a wall is seen in its elevation [m]."""
_OUTSIDE_M = 0.02


class LayoutLike(Protocol):
    """The room with everything in its place."""

    @property
    def length_m(self) -> float:
        """Along the rack wall [m]."""
    @property
    def depth_m(self) -> float:
        """Out from the rack wall [m]."""
    @property
    def height_m(self) -> float:
        """Upright [m]."""
    @property
    def boxes(self) -> Sequence[BoxLike]:
        """Everything in the room."""
    @property
    def aisle_m(self) -> float:
        """Free before the racks [m]."""
    @property
    def spark_m(self) -> float:
        """Distance from sparks [m]; 0: none."""
    @property
    def unplaced(self) -> Sequence[str]:
        """What found no place."""


def room_drawing(
    layout: LayoutLike, *, site_name: str, checked: Checked = NOBODY, status: Status = FIRST
) -> str:
    """The power room as SVG, A4 lying: plan and elevations of the walls that anything hangs on.

    Parameters
    ----------
    layout : RoomLayout
        Lengths in metres, seen from inside with the rack wall ahead.
    site_name : str
    checked : Checked
        Who checked it, by the site file; nobody if left out.
    status : Status
        Revision and day of the design.

    Returns
    -------
    str
        SVG that needs nothing outside it; the same input gives the same bytes. The scale holds
        where the sheet is printed on A4; the bar of the scale holds at any size.

    Raises
    ------
    InputError
        For a room without length, depth or height, more things than the sheet has room for, or a
        thing that stands outside the room.
    """
    faults = _faults(layout)
    if faults:
        raise InputError(faults)
    scale, arrangement = _scale(layout)
    sheet = Sheet("room", f"Power room, {site_name}", _described(layout))
    plan = View(sheet, VIEW_LEFT_MM, VIEW_TOP_MM, 1000.0 / scale, layout.length_m, layout.depth_m)
    _plan(plan, layout)
    for wall in ("rack", "opposite", *_ends(layout)):
        _elevation(_elevation_place(sheet, plan, layout, arrangement, wall), layout, wall)
    foot_mm = _legend(sheet, layout)
    _scale_bar(sheet, scale, foot_mm, sparks=layout.spark_m > 0.0)
    notes = [f"Scale 1:{scale} on A4. Inside measures.", DOOR_OPENS]
    if any(box.kind == "fuse" for box in layout.boxes):
        notes.append("The main fuse is in a closed box at the battery's terminals: no spark"
                     " outside; it is drawn with the isolator open.")  # fmt: skip
    if layout.unplaced:
        notes.insert(0, "Without a place: " + "; ".join(layout.unplaced) + ".")
    signed = Signed(name=site_name, checked=checked, status=status)
    draw_frame(sheet, title_block(signed, number="SP-06", sheet=6,
                                  title="Power room", scale=f"1:{scale}"), notes)  # fmt: skip
    return sheet.svg()


def _faults(layout: LayoutLike) -> list[Fault]:
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


def _described(layout: LayoutLike) -> str:
    things = "; ".join(f"{number} {box.name}" for number, box in enumerate(layout.boxes, 1))
    return (f"Room of {layout.length_m:g} by {layout.depth_m:g} m, {layout.height_m:g} m high."
            f" Aisle before the racks {layout.aisle_m:.2f} m. Kept free of sparks around the"
            f" batteries: {layout.spark_m:.2f} m. In it: {things}.")  # fmt: skip


def _ends(layout: LayoutLike) -> list[Wall]:
    """The end walls that electrical things hang on: they have an elevation of their own."""
    return [
        wall for wall in ("left", "right")
        if any(box.kind in HUNG and _far_m(box, layout, wall) <= AT_END_M
               and not any(_seen(box, layout, long) for long in ("rack", "opposite"))
               for box in layout.boxes)
    ]  # fmt: skip


def _scale(layout: LayoutLike) -> tuple[int, Arrangement]:
    """The largest drawing that fits, and how its views stand."""
    wide_mm, high_mm = VIEW_RIGHT_MM - VIEW_LEFT_MM, VIEW_BOTTOM_MM - VIEW_TOP_MM
    length_m, depth_m, height_m = layout.length_m, layout.depth_m, layout.height_m
    out_m = max((box.depth_m for box in layout.boxes if box.kind == "door"), default=0.0)
    ends = len(_ends(layout))
    for scale in SCALES:
        unit = 1000.0 / scale
        door_mm = max(BESIDE_MM, out_m * unit + 14.0)
        ends_mm = ends * (depth_m * unit + BESIDE_MM)
        sizes: dict[Arrangement, tuple[float, float]] = {
            "beside": (length_m * unit + max(length_m * unit + door_mm, ends_mm),
                       max(depth_m * unit + PLAN_MM + (ends > 0) * (height_m * unit + BELOW_MM),
                           2.0 * height_m * unit + BELOW_MM)),
            "below": (length_m * unit + max(length_m * unit + BESIDE_MM, door_mm + ends_mm),
                      (max(depth_m, (ends > 0) * height_m) + height_m) * unit + PLAN_MM),
            "column": (length_m * unit + max(out_m * unit, ends_mm),
                       (depth_m + 2.0 * height_m) * unit + PLAN_MM + BELOW_MM),
        }  # fmt: skip
        for arrangement, (across_mm, down_mm) in sizes.items():
            if across_mm <= wide_mm and down_mm <= high_mm:
                return scale, arrangement
    return SCALES[-1], "below"


def _elevation_place(sheet: Sheet, plan: View, layout: LayoutLike, arrangement: Arrangement,
                     wall: Wall) -> View:  # fmt: skip
    unit = plan.unit_mm
    beside_mm, below_mm = layout.length_m * unit, layout.height_m * unit
    plan_mm, end_mm = layout.depth_m * unit, layout.depth_m * unit + BESIDE_MM
    left_mm, top_mm = plan.left_mm, plan.top_mm + plan_mm + PLAN_MM
    if arrangement == "below" and _ends(layout):
        top_mm = plan.top_mm + max(plan_mm, below_mm) + PLAN_MM
    if wall in ("left", "right"):
        before_mm = end_mm * _ends(layout).index(wall)
        if arrangement == "below":
            top_mm, left_mm = plan.top_mm, VIEW_RIGHT_MM - before_mm - plan_mm
        elif arrangement == "column":
            left_mm += beside_mm + BESIDE_MM + before_mm
        else:
            left_mm += before_mm
        return View(sheet, left_mm, top_mm, unit, layout.depth_m, layout.height_m)
    if arrangement == "beside":
        left_mm, top_mm = VIEW_RIGHT_MM - beside_mm, plan.top_mm
    if wall == "opposite" and arrangement == "below":
        left_mm += beside_mm + BESIDE_MM
    elif wall == "opposite":
        top_mm += below_mm + BELOW_MM
    return View(sheet, left_mm, top_mm, unit, layout.length_m, layout.height_m)


def _plan(view: View, layout: LayoutLike) -> None:
    sheet = view.sheet
    view.walls("Plan; rack wall above")
    for box in layout.boxes:
        view.thing(box.kind, box.along_m, box.out_m, box.length_m, box.depth_m)
        if box.kind == "door":
            _door(view, box, layout)
    racks = [box for box in layout.boxes if box.kind == "rack"]
    if layout.spark_m > 0.0:
        for rack in racks:
            for piece in _around(rack, layout):
                sheet.path([view.at(*place) for place in piece], width_mm=THIN_MM, dash=DASHED)
    view.dimension_across(0.0, layout.length_m, layout.depth_m)
    view.dimension_down(0.0, layout.depth_m)
    taken = view.aisle(racks[0], layout.aisle_m) if racks and layout.aisle_m > 0.0 else []
    centres = [(number, box.along_m, box.out_m, box.length_m, box.depth_m)
               for number, box in enumerate(layout.boxes, 1)]  # fmt: skip
    numbered_marks(view, centres, taken)


def _door(view: View, box: BoxLike, layout: LayoutLike) -> None:
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


def _around(rack: BoxLike, layout: LayoutLike) -> list[list[Point]]:
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


def _far_m(box: BoxLike, layout: LayoutLike, wall: Wall) -> float:
    """From a wall to the side of a thing that is turned to it [m]."""
    return {
        "rack": box.out_m, "opposite": layout.depth_m - box.out_m - box.depth_m,
        "left": box.along_m, "right": layout.length_m - box.along_m - box.length_m,
    }[wall]


def _seen(box: BoxLike, layout: LayoutLike, wall: Wall) -> bool:
    """Whether a thing is drawn in the elevation of a wall."""
    far_m = _far_m(box, layout, wall)
    if wall in ("left", "right"):
        return far_m <= AT_END_M and box.depth_m > 0.0
    other_m = _far_m(box, layout, "opposite" if wall == "rack" else "rack")
    at_end = box.kind in HUNG and min(
        _far_m(box, layout, "left"), _far_m(box, layout, "right")) < min(far_m, AT_END_M)
    return far_m <= min(ON_RACK_WALL_M, other_m) and box.length_m > 0.0 and not at_end


def _elevation(view: View, layout: LayoutLike, wall: Wall) -> None:
    """One of the walls as it is seen from the middle of the room."""
    view.walls(TITLES[wall])
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
    view.dimension_down(0.0, layout.height_m)
    numbered_marks(view, seen, [])


def _listed(box: BoxLike, *, two_lines: bool, lines: int) -> tuple[list[str], str]:
    """Name and measures of a thing in the list; what lies in a wall has no depth to print."""
    sides = (box.length_m, box.depth_m, box.height_m)
    measures = " × ".join(f"{side:.2f}" for side in sides if side >= 0.005) + " m"
    if two_lines:
        under = f", underside at {box.base_m:.2f} m" if box.base_m > 0.0 else ""
        return fitted(box.name, LEGEND_WIDE_MM - 8.0, size_mm=SMALL_MM, lines=lines), (
            measures + under)  # fmt: skip
    measures = measures.replace(" ", "").removesuffix("m") + f", {box.base_m:.2f}"
    name_mm = LEGEND_WIDE_MM - 10.0 - words_width_mm(measures, SMALL_MM)
    return fitted(box.name, name_mm, size_mm=SMALL_MM, lines=lines), measures


def _legend(sheet: Sheet, layout: LayoutLike) -> float:
    """Every thing by its number, with its measures; returns the foot of the list [mm]."""
    y_mm, step_mm = 21.0, 1.25 * SMALL_MM
    sheet.text(LEGEND_MM, y_mm, "Length × depth × height, underside above floor", size_mm=SMALL_MM,
               bold=True)  # fmt: skip
    two_lines = len(layout.boxes) <= 16
    for lines in (3, 2, 1):
        listed = [_listed(box, two_lines=two_lines, lines=lines) for box in layout.boxes]
        high_mm = sum(4.6 + step_mm * (len(name) - 1 + two_lines) for name, _ in listed)
        if high_mm <= LEGEND_HIGH_MM:
            break
    for number, (name, measures) in enumerate(listed, 1):
        y_mm += 4.6
        sheet.text(LEGEND_MM + 5.0, y_mm, str(number), size_mm=SMALL_MM, anchor="end", bold=True)
        sheet.lines(LEGEND_MM + 8.0, y_mm, name, size_mm=SMALL_MM)
        if two_lines:
            y_mm += step_mm * len(name)
            sheet.text(LEGEND_MM + 8.0, y_mm, measures, size_mm=SMALL_MM)
        else:
            sheet.text(LEGEND_MM + LEGEND_WIDE_MM, y_mm, measures, size_mm=SMALL_MM, anchor="end")
            y_mm += step_mm * (len(name) - 1)
    return y_mm


def _scale_bar(sheet: Sheet, scale: int, foot_mm: float, *, sparks: bool) -> None:
    """A bar of whole metres, and what the dashed line means."""
    unit_mm = 1000.0 / scale
    metres = max(1, int(40.0 / unit_mm))
    y_mm = max(foot_mm + 9.0, 168.0)
    if sparks:
        sheet.path([(LEGEND_MM, y_mm - 5.5), (LEGEND_MM + 10.0, y_mm - 5.5)], width_mm=THIN_MM,
                   dash=DASHED)  # fmt: skip
        sheet.text(LEGEND_MM + 12.0, y_mm - 4.6, "no sparks, no flame within", size_mm=SMALL_MM)
    y_mm += 2.0
    for step in range(metres):
        left_mm = LEGEND_MM + step * unit_mm
        sheet.box(left_mm, y_mm, left_mm + unit_mm, y_mm + 1.6, width_mm=THIN_MM,
                  fill="black" if step % 2 == 0 else "white")  # fmt: skip
    sheet.text(LEGEND_MM, y_mm + 5.4, "0", size_mm=TEXT_MM)
    sheet.text(LEGEND_MM + metres * unit_mm, y_mm + 5.4, f"{metres} m", size_mm=TEXT_MM,
               anchor="middle")  # fmt: skip
