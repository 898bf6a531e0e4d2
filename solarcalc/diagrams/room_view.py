"""A view of the power room to scale, and numbers that hide nothing of it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations

from solarcalc.diagrams.lettering import SMALL_MM, TEXT_MM, words_width_mm
from solarcalc.diagrams.sheet import LINE_MM, THICK_MM, THIN_MM, Point, Sheet
from solarcalc.powerroom.boxes import Box

WALL_MM = 2.2
"""Thickness of a wall as drawn, not to scale [mm on the sheet]."""
MARK_MM = 2.4
"""Half the side of the field around a number [mm on the sheet]."""
CROSSED = 4
"""Two lines that cross are as bad as so many that run under a number or words."""
MOST_ROUNDS = 20
SHORT_MM = 8.0
"""A line of no more than that stays as it is [mm on the sheet]."""
Field = tuple[float, float, float, float]
Placed = tuple[int, float, float, float, float]
Mark = tuple[int, Point, Point]
"""A number, the middle of its thing, where it stands [mm]."""


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

    def origin(self) -> None:
        """A mark at the corner that places are measured from."""
        x, y = self.at(0.0, 0.0)
        self.sheet.circle(x, y, 1.1, width_mm=LINE_MM, fill="white")
        self.sheet.circle(x, y, 0.4, fill="black")

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
        if kind in ("fuse", "isolator", "pv-switch", "changeover"):
            self.sheet.path([(left, foot), (right, top)], width_mm=THIN_MM)
        if kind in ("busbar", "string-bar"):
            middle = (top + foot) / 2.0
            self.sheet.path([(left, middle), (right, middle)], width_mm=THICK_MM)
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
        y = foot + WALL_MM + 13.0
        for x in (left, right):
            self.sheet.path([(x, y - 1.5), (x, y + 1.5)], width_mm=THIN_MM)
            self.sheet.path([(x - 1.0, y + 1.0), (x + 1.0, y - 1.0)])
        self.sheet.path([(left, y), (right, y)], width_mm=THIN_MM)
        self.sheet.text((left + right) / 2.0, y - 1.2, metres(to_m - from_m), anchor="middle")

    def running_across(self, values_m: Iterable[float], *, apart_mm: float = 0.0) -> None:
        """Running dimensions from the left corner, below the view, in two lines [m].

        ISO 129-1 (from memory): a circle at the origin, a stroke at each value.
        """
        values = sorted({round(value, 2) for value in values_m if value > 0.0})
        if not values:
            return
        (left, foot), last = self.at(0.0, self.high_m), self.at(values[-1], 0.0)[0]
        y = foot + WALL_MM + 2.4 + apart_mm
        self.sheet.path([(left, y), (last, y)], width_mm=THIN_MM)
        self.sheet.circle(left, y, 0.6, width_mm=LINE_MM, fill="white")
        ends = [-math.inf, -math.inf]
        for value in values:
            x, said = self.at(value, 0.0)[0], f"{value:.2f}"
            half = words_width_mm(said, SMALL_MM) / 2.0
            self.sheet.path([(x, y - 0.8), (x, y + 0.5)], width_mm=LINE_MM)
            lane = next((n for n in range(2) if x - half >= ends[n] + 0.4), None)
            if lane is not None:
                ends[lane] = x + half
                self.sheet.text(x, y + 3.1 + 2.7 * lane, said, size_mm=SMALL_MM, anchor="middle")

    def dimension_down(self, from_m: float, to_m: float) -> None:
        """A measure left of the view [m]."""
        (left, top), (_, foot) = self.at(0.0, from_m), self.at(0.0, to_m)
        x = left - WALL_MM - 3.0
        for y in (top, foot):
            self.sheet.path([(left - WALL_MM - 0.8, y), (x - 1.5, y)], width_mm=THIN_MM)
            self.sheet.path([(x - 1.0, y + 1.0), (x + 1.0, y - 1.0)])
        self.sheet.path([(x, top), (x, foot)], width_mm=THIN_MM)
        self.sheet.text(x - 1.2, (top + foot) / 2.0 + 1.0, metres(to_m - from_m), anchor="end")

    def aisle(self, rack: Box, aisle_m: float, filled: Sequence[Field]) -> list[Field]:
        """The free width before the racks; returns the field that its words take [mm].

        They stand clear of things and of the distance from sparks, where they can.
        """
        front_m = rack.out_m + rack.depth_m
        words = self.sheet.said(f"aisle {aisle_m:.2f} m")
        wide = words_width_mm(words, TEXT_MM)
        (_, top), (_, foot) = self.at(0.0, front_m), self.at(0.0, front_m + aisle_m)
        places = [(self.at(rack.along_m + along * rack.length_m, 0.0)[0],
                   top + max(4.0, share * (foot - top)))
                  for along in (0.1, 0.3, 0.5, 0.7, 0.9) for share in (0.3, 0.5, 0.7, 0.15, 0.85)]
        x, y = next(((x, y) for x, y in places if not any(
            meet((x - 0.2, y - 2.8, x + 2.2 + wide, y + 1.2), one) for one in filled)), places[0])
        self.sheet.path([(x, top), (x, foot)], width_mm=THIN_MM)
        for end in (top, foot):
            self.sheet.path([(x - 1.0, end + 1.0), (x + 1.0, end - 1.0)])
        self.sheet.box(x + 0.8, y - 2.8, x + 2.2 + wide, y + 1.2, width_mm=0.0, fill="white")
        self.sheet.text(x + 1.5, y, words)
        return [(x - 1.0, y - 3.0, x + 2.5 + wide, y + 1.5), (x - 0.5, top, x + 0.5, foot)]

    def underside(self, base_m: float, middle_m: float, foot_m: float,
                  taken: Sequence[Field]) -> list[Field]:  # fmt: skip
        """The mounting height below a thing where there is room [m]; the field it takes [mm]."""
        x, y = self.at(middle_m, foot_m)
        wide = words_width_mm("+0.00", SMALL_MM)
        field = (x - wide / 2.0 - 0.3, y + 0.5, x + wide / 2.0 + 0.3, y + 4.0)
        floor = self.at(0.0, self.high_m)[1]
        if base_m <= 0.0 or field[3] > floor or any(meet(field, one) for one in taken):
            return []
        if field[0] < self.left_mm or field[2] > self.at(self.wide_m, 0.0)[0]:
            return []
        self.sheet.text(x, y + 3.2, f"+{base_m:.2f}", size_mm=SMALL_MM, anchor="middle")
        return [field]

    def _contains(self, field: Field) -> bool:
        (left, top), (right, foot) = self.at(0.0, 0.0), self.at(self.wide_m, self.high_m)
        return left <= field[0] and top <= field[1] and field[2] <= right and field[3] <= foot

    def arrow(self, letter: str, way: Point, boxes: Sequence[Sequence[float]],
              taken: Sequence[Field]) -> Field:  # fmt: skip
        """A letter with an arrow that points the way a view looks, where nothing else is.

        The nearest such place to the middle of the plan; its middle where there is none. Returns
        the field it takes [mm].
        """
        solid = [*taken, *((*self.at(x, y), *self.at(x + wide, y + deep))
                           for x, y, wide, deep in boxes)]  # fmt: skip
        middle = self.at(self.wide_m / 2.0, self.high_m / 2.0)
        for step_mm, of in ((4.0, _arrow_field), (1.0, lambda place: _close_field(place, way))):
            most = [int((self.at(m, m)[axis] - self.at(0.0, 0.0)[axis]) / 2.0 / step_mm)
                    for axis, m in enumerate((self.wide_m, self.high_m))]  # fmt: skip
            places = [(middle[0] + step_mm * across, middle[1] + step_mm * down)
                      for across in range(-most[0], most[0] + 1)
                      for down in range(-most[1], most[1] + 1)]  # fmt: skip
            free = [place for place in places if _within(self, place)
                    and self._contains(_close_field(place, way))
                    and not any(meet(of(place), one) for one in solid)]  # fmt: skip
            if free:
                break
        x, y = min(free or [middle], key=lambda place: math.dist(place, middle))
        tip = (x + 4.6 * way[0], y + 4.6 * way[1])
        side = (way[1] * 1.1, way[0] * 1.1)
        back = (x + 2.4 * way[0], y + 2.4 * way[1])
        self.sheet.path([(x, y), back], width_mm=LINE_MM)
        self.sheet.path([(back[0] + side[0], back[1] + side[1]), tip,
                         (back[0] - side[0], back[1] - side[1])],
                        closed=True, fill="black")  # fmt: skip
        self.sheet.text(x - 2.4 * way[0] - 2.6 * abs(way[1]), y - 2.6 * way[1] + 1.2, letter,
                        size_mm=TEXT_MM, anchor="middle", bold=True)  # fmt: skip
        return of((x, y))


def _arrow_field(place: Point) -> Field:
    """Room around an arrow with its letter, whichever way it points [mm]."""
    return place[0] - 5.2, place[1] - 5.2, place[0] + 5.2, place[1] + 5.2


def _close_field(place: Point, way: Point) -> Field:
    """What an arrow that points one way takes with its letter, and no more [mm]."""
    (x, y), across = place, way[0]
    if across:
        return x - 4.2 if across > 0.0 else x - 5.0, y - 2.0, x + 4.6, y + 2.0
    return x - 4.4, y - 5.0, x + 1.8, y + 5.0


def metres(length_m: float) -> str:
    """A length in words, to the centimetre; from 10 m on to the decimetre [m]."""
    return f"{length_m:.2f} m" if length_m < 10.0 else f"{length_m:.1f} m"


def numbered_marks(view: View, centres: Sequence[Placed],
                   taken: Sequence[Field]) -> list[Field]:  # fmt: skip
    """A number for each thing, in it or near it with a line, none over another.

    Returns the fields that numbers and lines take [mm].

    Parameters
    ----------
    view : View
    centres : sequence of (number, along, down, wide, high)
        Upper left corner and sides of each thing [m]; a small one has its number beside it.
    taken : sequence of (left, top, right, bottom)
        Where nothing may come [mm].
    """
    things = {number: _corners(view, thing) for number, *thing in centres}
    filled = [*taken, *(field for field in things.values() if _small(field))]
    marks, least = list[Mark](), math.inf
    for apart in (True, False):
        tried = _untangled(view, _placed(view, things, taken, apart=apart), taken, filled)
        tangled = sum(_tangle(tried, one, taken) for one in range(len(tried)))
        if tangled < least:
            marks, least = tried, tangled
        if not least:
            break
    for _, middle, place in marks:
        if math.dist(middle, place) > 0.1:
            view.sheet.path([middle, place], width_mm=THIN_MM)
            view.sheet.circle(*middle, 0.4, fill="black")
    for number, _, place in marks:
        view.sheet.circle(*place, MARK_MM, width_mm=THIN_MM, fill="white")
        view.sheet.text(place[0], place[1] + 0.9, str(number), size_mm=SMALL_MM, anchor="middle")
    return [*(_field(place) for _, _, place in marks),
            *((min(x, u), min(y, v), max(x, u), max(y, v)) for _, (x, y), (u, v) in marks)]


def _placed(view: View, things: Mapping[int, Field], taken: Sequence[Field], *,
            apart: bool) -> list[Mark]:  # fmt: skip
    """A place for each number, one after the other; `apart`: on no thing but its own."""
    fields, lines = list(taken), list[tuple[Point, Point]]()
    marks: list[Mark] = []
    for number, (left, top, right, foot) in sorted(things.items(), key=lambda one: _small(one[1])):
        middle = ((left + right) / 2.0, (top + foot) / 2.0)
        free = [*fields, *(other for key, other in things.items()
                           if key != number and _small(other))]  # fmt: skip
        if _small(things[number]):
            free.append(things[number])
        clear = [*free, *(other for key, other in things.items()
                          if key != number and not _holds(other, middle))]  # fmt: skip
        place = ((apart and _free_place(view, middle, clear, lines, free))
                 or _free_place(view, middle, free, lines, free)
                 or _free_place(view, middle, fields, lines, taken, turns=64)
                 or _free_place(view, middle, fields, [], taken, turns=64)
                 or _free_place(view, middle, fields, [], []) or middle)  # fmt: skip
        fields.append(_field(place))
        lines.append((middle, place))
        marks.append((number, middle, place))
    return marks


def _corners(view: View, thing: Sequence[float]) -> Field:
    along_m, down_m, wide_m, high_m = thing
    return (*view.at(along_m, down_m), *view.at(along_m + wide_m, down_m + high_m))


def _small(field: Field) -> bool:
    """Whether a number would hide it."""
    return min(field[2] - field[0], field[3] - field[1]) < 2.0 * MARK_MM


def _crossed(one: Point, other: Point, fields: Iterable[Field]) -> bool:
    """Whether a line from place to place runs through a field [mm]."""
    return any(_through(one, other, field) for field in fields)


def _through(one: Point, other: Point, field: Field) -> bool:
    """Whether a line from place to place runs through one field [mm]."""
    (x, y), (u, v), (left, top, right, foot) = one, other, field
    if ((x <= left and u <= left) or (x >= right and u >= right)
            or (y <= top and v <= top) or (y >= foot and v >= foot)):  # fmt: skip
        return False
    return any(left < x + number / 20.0 * (u - x) < right
               and top < y + number / 20.0 * (v - y) < foot for number in range(1, 21))


def _cut(one: Point, other: Point, first: Point, last: Point) -> bool:
    """Whether two lines from place to place cross between their ends [mm]."""
    def turn(here: Point, there: Point, far: Point) -> float:
        return ((there[0] - here[0]) * (far[1] - here[1])
                - (there[1] - here[1]) * (far[0] - here[0]))  # fmt: skip

    return (turn(one, other, first) * turn(one, other, last) < 0.0
            and turn(first, last, one) * turn(first, last, other) < 0.0)


def _untangled(view: View, marks: Sequence[Mark], taken: Sequence[Field],
               filled: Sequence[Field]) -> list[Mark]:  # fmt: skip
    """Marks whose lines cross, or run under others, change places or move where that helps.

    Lines run through nothing `taken` where that can be; marks come over nothing `filled`.
    """
    found = list(marks)
    for _ in range(MOST_ROUNDS):
        better = False
        for one, other in combinations(range(len(found)), 2):
            swapped = list(found)
            swapped[one] = (*found[one][:2], found[other][2])
            swapped[other] = (*found[other][:2], found[one][2])
            if ((before := _tangle(found, one, taken) + _tangle(found, other, taken))
                    and _tangle(swapped, one, taken) + _tangle(swapped, other, taken) < before):
                found, better = swapped, True
        for one, (number, middle, place) in enumerate(found):
            first = _tangle(found, one, taken), round(math.dist(middle, place), 1)
            least = first
            if first <= (0, SHORT_MM):
                continue
            rest = [*filled, *(_field(mark[2]) for at, mark in enumerate(found) if at != one)]
            for near in _places(view, middle):
                away_mm = round(math.dist(middle, near), 1)
                if least[0] == 0 and away_mm >= least[1]:
                    break  # the rest is farther still
                if not any(meet(_field(near), field) for field in rest):
                    moved = [*found[:one], (number, middle, near), *found[one + 1:]]
                    now = _tangle(moved, one, taken, least[0]), away_mm
                    if now < least:
                        least, found = now, moved
            better |= least < first
        if not better:
            break
    return found


def _tangle(
    marks: Sequence[Mark], one: int, taken: Sequence[Field], most: float = math.inf
) -> int:
    """Lines that a mark's line crosses, marks and taken fields it runs under, lines under it.

    Once they are more than `most` the rest is not counted.
    """
    _, middle, place = marks[one]
    own, found = _field(place), 0
    for at, (_, end, far) in enumerate(marks):
        if at != one and found <= most:
            found += (CROSSED * _cut(middle, place, end, far)
                      + _through(middle, place, _field(far)) + _through(end, far, own))
    for field in taken:
        if found <= most and _through(middle, place, field) and not _holds(field, middle):
            found += 2
    return found


def _places(view: View, middle: Point, *, turns: int = 16) -> Iterator[Point]:
    """Places in the room around a middle, the nearest first."""
    for ring in range(40):
        for turn in range(turns if ring else 1):
            angle = math.tau * turn / turns - math.pi / 2.0
            place = (middle[0] + 1.5 * ring * math.cos(angle),
                     middle[1] + 1.5 * ring * math.sin(angle))  # fmt: skip
            if _within(view, place):
                yield place


def _free_place(view: View, middle: Point, fields: Sequence[Field],
                lines: Sequence[tuple[Point, Point]],
                uncrossed: Sequence[Field], *, turns: int = 16) -> Point | None:  # fmt: skip
    """The nearest place to a middle where a mark overlaps nothing and stays in the room.

    Its line runs through nothing that is to stay uncrossed, and it lies on the line of no other.
    """
    for place in _places(view, middle, turns=turns):
        own = _field(place)
        if (not any(meet(own, one) for one in fields)
                and not any(_crossed(*line, [own]) or _cut(*line, middle, place) for line in lines)
                and not _crossed(middle, place, [
                    one for one in uncrossed if not _holds(one, middle)])):  # fmt: skip
            return place
    return None


def _holds(field: Field, place: Point) -> bool:
    return (field[0] - 0.1 <= place[0] <= field[2] + 0.1
            and field[1] - 0.1 <= place[1] <= field[3] + 0.1)


def _field(place: Point) -> Field:
    half = MARK_MM + 0.2
    return place[0] - half, place[1] - half, place[0] + half, place[1] + half


def meet(one: Field, other: Field) -> bool:
    """Whether two fields have more than a rim in common."""
    return (one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3])


def _within(view: View, place: Point) -> bool:
    (left, top), (right, foot) = view.at(0.0, 0.0), view.at(view.wide_m, view.high_m)
    half = MARK_MM + 0.3
    return left + half <= place[0] <= right - half and top + half <= place[1] <= foot - half
