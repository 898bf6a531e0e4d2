"""The power room to scale: plan and elevations, with distances in metres."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Literal, Protocol

from solarcalc.basis.errors import Fault, InputError
from solarcalc.diagrams.sheet import (
    DASHED,
    FIRST,
    LINE_MM,
    NOBODY,
    SMALL_MM,
    TEXT_MM,
    THICK_MM,
    THIN_MM,
    Point,
    Sheet,
    draw_frame,
    fitted,
    words_width_mm,
)
from solarcalc.powerroom.fire import DOOR_OPENS
from solarcalc.sitefile.quote import Checked
from solarcalc.sitefile.status import Status

WALL_MM = 2.2
"""Thickness of a wall as drawn, not to scale [mm on the sheet]."""
MARK_MM = 2.4
"""Half the side of the field around a number [mm on the sheet]."""
Field = tuple[float, float, float, float]
Placed = tuple[int, float, float, float, float]


class View:
    """A rectangle of the room on the sheet.

    Parameters
    ----------
    sheet : Sheet
    left_mm, top_mm : float
        Of its inside [mm].
    unit_mm : float
        A metre on the sheet [mm].
    wide_m, high_m : float
        Its inside [m].
    """

    def __init__(self, sheet: Sheet, left_mm: float, top_mm: float, unit_mm: float, wide_m: float,
                 high_m: float) -> None:  # fmt: skip
        self.sheet, self.left_mm, self.top_mm, self.unit_mm = sheet, left_mm, top_mm, unit_mm
        self.wide_m, self.high_m = wide_m, high_m

    def at(self, along_m: float, down_m: float) -> Point:
        """The place on the sheet [mm] of one in the view [m]."""
        return self.left_mm + along_m * self.unit_mm, self.top_mm + down_m * self.unit_mm

    def walls(self, title: str) -> None:
        """Hatched walls all around, and what is seen."""
        left, top = self.at(0.0, 0.0)
        right, foot = self.at(self.wide_m, self.high_m)
        hatch = self.sheet.hatch("wall", apart_mm=1.0, turn_deg=-45.0)
        self.sheet.box(left - WALL_MM, top - WALL_MM, right + WALL_MM, foot + WALL_MM, fill=hatch)
        self.sheet.box(left, top, right, foot, fill="white")
        self.sheet.text(left - WALL_MM, top - WALL_MM - 1.6, title, bold=True)

    def thing(self, kind: str, along_m: float, down_m: float, wide_m: float, high_m: float, *,
              standing: bool = False) -> None:  # fmt: skip
        """One thing, by its kind: hatched racks, openings cut into the wall, marks."""
        left, top = self.at(along_m, down_m)
        right, foot = self.at(along_m + wide_m, down_m + high_m)
        if not standing and kind in ("door", "vent-low", "vent-high", "entry"):
            self._opening(kind, (left, top, right, foot))
            return
        if kind == "rack":
            self.sheet.box(left, top, right, foot, fill=self.sheet.hatch("rack", apart_mm=1.8))
            return
        self.sheet.box(left, top, right, foot, fill="black" if kind == "earth-bar" else "white")
        if kind == "extinguisher":
            self.sheet.path([(left, top), (right, foot)], width_mm=THIN_MM)
            self.sheet.path([(left, foot), (right, top)], width_mm=THIN_MM)
        if kind in ("fuse", "isolator"):
            self.sheet.path([(left, foot), (right, top)], width_mm=THIN_MM)
        if kind == "alarm":
            self.sheet.circle((left + right) / 2.0, (top + foot) / 2.0, 1.0, fill="black")

    def _opening(self, kind: str, corners: Field) -> None:
        """A gap in the wall that it lies in; a vent has strokes across."""
        left, top, right, foot = corners
        upright = right - left <= foot - top
        if upright:
            far = left > self.at(self.wide_m / 2.0, 0.0)[0]
            gap = (right, top, right + WALL_MM, foot) if far else (left - WALL_MM, top, left, foot)
        else:
            far = top > self.at(0.0, self.high_m / 2.0)[1]
            gap = (left, foot, right, foot + WALL_MM) if far else (left, top - WALL_MM, right, top)
        self.sheet.box(*gap, width_mm=LINE_MM, fill="white")
        if kind == "door":
            return
        middle = ((gap[0] + gap[2]) / 2.0, (gap[1] + gap[3]) / 2.0)
        ends = [(middle[0], gap[1]), (middle[0], gap[3])] if upright else [
            (gap[0], middle[1]), (gap[2], middle[1])]  # fmt: skip
        self.sheet.path(ends, width_mm=THICK_MM if kind == "vent-low" else THIN_MM)

    def dimension_across(self, from_m: float, to_m: float, down_m: float) -> None:
        """A measure below the view [m]."""
        (left, foot), (right, _) = self.at(from_m, down_m), self.at(to_m, down_m)
        y = foot + WALL_MM + 6.0
        for x in (left, right):
            self.sheet.path([(x, foot + WALL_MM + 1.0), (x, y + 1.5)], width_mm=THIN_MM)
            self.sheet.path([(x - 1.0, y + 1.0), (x + 1.0, y - 1.0)])
        self.sheet.path([(left, y), (right, y)], width_mm=THIN_MM)
        self.sheet.text((left + right) / 2.0, y - 1.2, metres(to_m - from_m), anchor="middle")

    def dimension_down(self, from_m: float, to_m: float) -> None:
        """A measure left of the view [m]."""
        (left, top), (_, foot) = self.at(0.0, from_m), self.at(0.0, to_m)
        x = left - WALL_MM - 3.0
        for y in (top, foot):
            self.sheet.path([(left - WALL_MM - 0.8, y), (x - 1.5, y)], width_mm=THIN_MM)
            self.sheet.path([(x - 1.0, y + 1.0), (x + 1.0, y - 1.0)])
        self.sheet.path([(x, top), (x, foot)], width_mm=THIN_MM)
        self.sheet.text(x - 1.2, (top + foot) / 2.0 + 1.0, metres(to_m - from_m), anchor="end")

    def aisle(self, rack: BoxLike, aisle_m: float) -> list[Field]:
        """The free width before the racks; returns the field that its words take [mm]."""
        along_m, front_m = rack.along_m + 0.1 * rack.length_m, rack.out_m + rack.depth_m
        (x, top), (_, foot) = self.at(along_m, front_m), self.at(along_m, front_m + aisle_m)
        self.sheet.path([(x, top), (x, foot)], width_mm=THIN_MM)
        for y in (top, foot):
            self.sheet.path([(x - 1.0, y + 1.0), (x + 1.0, y - 1.0)])
        words, y = f"aisle {aisle_m:.2f} m", top + max(4.0, 0.3 * (foot - top))
        wide = words_width_mm(words, TEXT_MM)
        self.sheet.box(x + 0.8, y - 2.8, x + 2.2 + wide, y + 1.2, width_mm=0.0, fill="white")
        self.sheet.text(x + 1.5, y, words)
        return [(x - 1.0, y - 3.0, x + 2.5 + wide, y + 1.5), (x - 0.5, top, x + 0.5, foot)]


def metres(length_m: float) -> str:
    """A length in words, to the centimetre; from 10 m on to the decimetre [m]."""
    return f"{length_m:.2f} m" if length_m < 10.0 else f"{length_m:.1f} m"


def numbered_marks(view: View, centres: Sequence[Placed],
                   taken: Sequence[Field]) -> None:  # fmt: skip
    """A number for each thing, in it or near it with a line, none over another.

    Parameters
    ----------
    view : View
    centres : sequence of (number, along, down, wide, high)
        Upper left corner and sides of each thing [m]; a small one has its number beside it.
    taken : sequence of (left, top, right, bottom)
        Where nothing may come [mm].
    """
    things = {number: _corners(view, thing) for number, *thing in centres}
    fields, lines = list(taken), list[tuple[Point, Point]]()
    marks: list[tuple[int, Point, Point]] = []
    for number, (left, top, right, foot) in sorted(things.items(), key=lambda one: _small(one[1])):
        middle = ((left + right) / 2.0, (top + foot) / 2.0)
        free = [*fields, *(other for key, other in things.items()
                           if key != number and _small(other))]  # fmt: skip
        if _small(things[number]):
            free.append(things[number])
        place = _free_place(view, middle, free, lines) or _free_place(view, middle, fields, [])
        place = place or middle
        fields.append(_field(place))
        lines.append((middle, place))
        marks.append((number, middle, place))
    for _, middle, place in marks:
        if math.dist(middle, place) > 0.1:
            view.sheet.path([middle, place], width_mm=THIN_MM)
            view.sheet.circle(*middle, 0.4, fill="black")
    for number, _, place in marks:
        view.sheet.circle(*place, MARK_MM, width_mm=THIN_MM, fill="white")
        view.sheet.text(place[0], place[1] + 0.9, str(number), size_mm=SMALL_MM, anchor="middle")


def _corners(view: View, thing: Sequence[float]) -> Field:
    along_m, down_m, wide_m, high_m = thing
    return (*view.at(along_m, down_m), *view.at(along_m + wide_m, down_m + high_m))


def _small(field: Field) -> bool:
    """Whether a number would hide it."""
    return min(field[2] - field[0], field[3] - field[1]) < 2.0 * MARK_MM


def _crossed(one: Point, other: Point, fields: Sequence[Field]) -> bool:
    """Whether a line from place to place runs through a field [mm]."""
    steps = [number / 20.0 for number in range(1, 21)]
    return any(
        field[0] < one[0] + at * (other[0] - one[0]) < field[2]
        and field[1] < one[1] + at * (other[1] - one[1]) < field[3]
        for at in steps for field in fields
    )  # fmt: skip


def _free_place(view: View, middle: Point, fields: Sequence[Field],
                lines: Sequence[tuple[Point, Point]]) -> Point | None:  # fmt: skip
    """The nearest place to a middle where a mark overlaps nothing and stays in the room.

    Its line runs through no other mark or small thing, and it lies on the line of no other.
    """
    for ring in range(40):
        far = 1.5 * ring
        for turn in range(16 if ring else 1):
            angle = math.radians(22.5 * turn - 90.0)
            place = (middle[0] + far * math.cos(angle), middle[1] + far * math.sin(angle))
            own = _field(place)
            if (_within(view, place) and not any(_meet(own, one) for one in fields)
                    and not any(_crossed(*line, [own]) for line in lines)
                    and not (lines and _crossed(middle, place, [
                        one for one in fields if not _holds(one, middle)]))):  # fmt: skip
                return place
    return None


def _holds(field: Field, place: Point) -> bool:
    return (field[0] - 0.1 <= place[0] <= field[2] + 0.1
            and field[1] - 0.1 <= place[1] <= field[3] + 0.1)


def _field(place: Point) -> Field:
    half = MARK_MM + 0.2
    return place[0] - half, place[1] - half, place[0] + half, place[1] + half


def _meet(one: Field, other: Field) -> bool:
    return (one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3])


def _within(view: View, place: Point) -> bool:
    (left, top), (right, foot) = view.at(0.0, 0.0), view.at(view.wide_m, view.high_m)
    half = MARK_MM + 0.3
    return left + half <= place[0] <= right - half and top + half <= place[1] <= foot - half


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


class BoxLike(Protocol):
    """One thing in the room: `along_m` along the rack wall, `out_m` out from it."""

    @property
    def name(self) -> str:
        """In words."""
    @property
    def kind(self) -> str:
        """Such as rack, inverter, board, door, vent-low."""
    @property
    def along_m(self) -> float:
        """Along the rack wall, of its left side [m]."""
    @property
    def out_m(self) -> float:
        """Out from the rack wall [m]."""
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
    def base_m(self) -> float:
        """Its underside above the floor [m]."""


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
    draw_frame(sheet, site_name, "Power room", notes, checked, status)
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
