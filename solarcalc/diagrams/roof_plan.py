"""The roof seen from above: every module with its number and string, edges, obstacles, measures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from solarcalc.diagrams.sheet import (
    DASHED,
    LINE_MM,
    SMALL_MM,
    TEXT_MM,
    THIN_MM,
    Point,
    Sheet,
    draw_frame,
    fitted,
    title_block,
    words_width_mm,
)
from solarcalc.roof.strings import Spot, parts_of
from solarcalc.sitefile.roof import Roof
from solarcalc.sitepack.modules import ModulePlan

SCALES = (20, 25, 30, 40, 50, 75, 100, 150, 200, 300, 400, 500, 750, 1000, 2000, 5000)
"""Scales that a plan is drawn to: of ISO 5455, and between them where letters need the room."""
LEFT_MM, TOP_MM, RIGHT_MM, FOOT_MM = 33.0, 20.0, 222.0, 172.0
"""Where the roof itself may lie on the sheet [mm]."""
LEGEND_MM, LEGEND_WIDE_MM = 232.0, 57.0
EDGE_MM = 0.7
HATCHES = ((45.0, 1.6), (135.0, 1.6), (0.0, 1.6), (90.0, 1.6), (45.0, 3.2), (135.0, 3.2),
           (0.0, 3.2), (90.0, 3.2))  # fmt: skip
"""Turn [deg] and distance [mm] of the lines of one string after another."""
MOST_STRINGS = 16
"""Strings in the legend; the schedule has all."""
MOST_THINGS = 8
ROOM_MM = 0.6
"""Around the words in a module [mm]."""


@dataclass(frozen=True, kw_only=True)
class _View:
    """The roof on its sheet."""

    sheet: Sheet
    plan: ModulePlan
    unit_mm: float
    scale: int

    @property
    def roof(self) -> Roof:
        return self.plan.site.roof

    def at(self, along_m: float, up_m: float) -> Point:
        """A place of the roof on the sheet [mm], the eaves below."""
        return (LEFT_MM + along_m * self.unit_mm,
                TOP_MM + (self.roof.depth_m - up_m) * self.unit_mm)

    def box(self, left_m: float, low_m: float, right_m: float, top_m: float, *,
            width_mm: float = THIN_MM, dash: str = "", fill: str = "none") -> None:  # fmt: skip
        """A rectangle of the roof."""
        left, foot = self.at(left_m, low_m)
        right, top = self.at(right_m, top_m)
        self.sheet.box(left, top, right, foot, width_mm=width_mm, dash=dash, fill=fill)


def roof_plan(plan: ModulePlan, *, site_name: str) -> str:
    """The roof plan as SVG, A4 lying, to scale: what the crew sets out and clamps by.

    Strings are told apart by number and hatch, so that it can be read in grey; a thin line runs
    through the modules of a string from plus to minus.

    Parameters
    ----------
    plan : ModulePlan
    site_name : str
    """
    roof = plan.site.roof
    scale = _scale(roof)
    sheet = Sheet("roof", f"Module and string plan, {site_name}", _described(plan))
    view = _View(sheet=sheet, plan=plan, unit_mm=1000.0 / scale, scale=scale)
    marks = _ground(view)
    dots = _modules(view)
    for number, (x, y) in enumerate(marks, start=1):
        sheet.circle(x, y, 2.2, width_mm=THIN_MM, fill="white")
        sheet.text(x, y + 0.9, str(number), size_mm=SMALL_MM, anchor="middle", bold=True)
    _measures(view)
    _legend(view)
    block = title_block(plan.site, number="SP-02", sheet=2, title="Roof plan", scale=f"1:{scale}")
    draw_frame(sheet, block, [
        f"Scale 1:{scale} on A4. Lengths in metres, measured on the roof from the datum: the left"
        " end of the eaves, seen from below. Corners of every module: schedule module-plan; rails"
        " and feet: schedule rail-plan."
        + (" A dot without a number is the plus end of its string." if dots else "")
        + " Place of the combiner and way of its cable: not in the site file, to be settled on the"
        " roof.",
    ])  # fmt: skip
    return sheet.svg()


def _scale(roof: Roof) -> int:
    """The largest drawing that the sheet has room for."""
    wide_mm, high_mm = RIGHT_MM - LEFT_MM, FOOT_MM - TOP_MM
    return next(
        (scale for scale in SCALES if roof.length_m * 1000.0 / scale <= wide_mm
         and roof.depth_m * 1000.0 / scale <= high_mm), SCALES[-1],
    )  # fmt: skip


def _described(plan: ModulePlan) -> str:
    roof, strings = plan.site.roof, plan.strings
    things = [*(box.name for box in roof.obstacles), *(way.name for way in roof.walkways)]
    there = f" On it: {', '.join(things)}." if things else ""
    return (f"Roof of {roof.length_m:g} by {roof.depth_m:g} m, its eaves below, with"
            f" {len(plan.spots)} modules in {len(strings)} strings:"
            f" {', '.join(f'{name} of {len(spots)}' for name, spots in strings.items())}.{there}")


def _ground(view: _View) -> list[Point]:
    """Edges, what is kept free, obstacles and walkways; where their numbers go."""
    roof, sheet = view.roof, view.sheet
    view.box(0.0, 0.0, roof.length_m, roof.depth_m, width_mm=EDGE_MM)
    free = roof.edge_setback_m
    if free > 0.0 and 2.0 * free < min(roof.length_m, roof.depth_m):
        view.box(free, free, roof.length_m - free, roof.depth_m - free, dash=DASHED)
    x, y = view.at(0.0, 0.0)
    sheet.circle(x, y, 1.3, fill="black")
    sheet.text(x - 2.2, y + 3.4, "datum", size_mm=TEXT_MM, anchor="end", bold=True)
    return _things(view)


def _things(view: _View) -> list[Point]:
    """Obstacles and walkways; for each the place of its number, where no other stands."""
    roof, sheet = view.roof, view.sheet
    marks: list[Point] = []
    for box in roof.obstacles:
        view.box(box.along_m, box.up_m, box.along_m + box.length_m, box.up_m + box.depth_m,
                 width_mm=LINE_MM, fill=sheet.hatch("solid", apart_mm=0.8))  # fmt: skip
        marks.append(view.at(box.along_m + box.length_m / 2.0, box.up_m + box.depth_m / 2.0))
    for way in roof.walkways:
        low, high = way.from_m, way.from_m + way.width_m
        along = way.runs == "along"
        view.box(*((0.0, low, roof.length_m, high) if along else (low, 0.0, high, roof.depth_m)),
                 dash="0.6 0.9")  # fmt: skip
        x, y = view.at(roof.length_m, (low + high) / 2.0) if along else view.at(
            (low + high) / 2.0, roof.depth_m)  # fmt: skip
        step = (-1.0, 0.0) if along else (0.0, 1.0)
        free = next(mm for mm in range(3, 400) if all(
            math.dist((x + mm * step[0], y + mm * step[1]), mark) > 5.0 for mark in marks))
        marks.append((x + free * step[0], y + free * step[1]))
    return marks


def _hatch(view: _View, number: int) -> str:
    turn_deg, apart_mm = HATCHES[number % len(HATCHES)]
    return view.sheet.hatch(f"string-{number % len(HATCHES)}", apart_mm=apart_mm,
                            turn_deg=turn_deg)  # fmt: skip


def _modules(view: _View) -> int:
    """Each string: its modules hatched, the way from one to the next, then the numbers on top.

    Returns how many strings have a dot at their plus end, for want of room for numbers.
    """
    plan, sheet = view.plan, view.sheet
    dots = 0
    for number, spots in enumerate(plan.strings.values()):
        for spot in spots:
            corners = [view.at(*corner) for corner in plan.corners_m[spot.place].tolist()]
            sheet.path(corners, closed=True, width_mm=LINE_MM, fill=_hatch(view, number))
        sheet.path([_middle(view, spot) for spot in spots], width_mm=LINE_MM)
    for string, spots in plan.strings.items():
        named = [
            _named(view, spot, string, order,
                   "+" * (order == 1) + "−" * (order == len(spots)))
            for order, spot in enumerate(spots, start=1)
        ]  # fmt: skip
        if not any(named):
            _string_named(view, string, spots)
            dots += 1
    return dots


def _string_named(view: _View, string: str, spots: Sequence[Spot]) -> None:
    """The string alone, over its middle modules, and a dot at its plus: no room for numbers."""
    x, y = _middle(view, spots[0])
    view.sheet.circle(x, y, 0.6, fill="black")
    (x0, y0), (x1, y1) = (_middle(view, spots[place]) for place in (
        (len(spots) - 1) // 2, len(spots) // 2))  # fmt: skip
    x, y, half = (x0 + x1) / 2.0, (y0 + y1) / 2.0, words_width_mm(string, SMALL_MM) / 2.0
    if math.dist(_middle(view, spots[0]), _middle(view, spots[-1])) >= 2.0 * half + 3.0:
        view.sheet.box(x - half, y - 1.5, x + half, y + 1.5, width_mm=0.0, fill="white")
        view.sheet.text(x, y + 0.9, string, size_mm=SMALL_MM, anchor="middle", bold=True)


def _middle(view: _View, spot: Spot) -> Point:
    corners = view.plan.corners_m[spot.place]
    along_m, up_m = corners.mean(axis=0).tolist()
    return view.at(along_m, up_m)


def _named(view: _View, spot: Spot, string: str, order: int, signs: str) -> bool:
    """The number of a module, as much of it as there is room for; whether there was any."""
    wide_mm, high_mm = _room_mm(view, spot)
    number = f"{string}/{order}"
    tries = ([number, signs], [f"{number}{signs}"], [string, f"/{order}{signs}"],
             [f"{string}{signs}"] if signs else [])  # fmt: skip
    for words in tries:
        lines = [line for line in words if line]
        across_mm = max((words_width_mm(line, SMALL_MM) for line in lines), default=math.inf)
        down_mm = 1.2 * SMALL_MM * len(lines)
        if across_mm + ROOM_MM <= wide_mm and down_mm + ROOM_MM <= high_mm:
            break
    else:
        return False
    x, y = _middle(view, spot)
    view.sheet.box(x - across_mm / 2.0 - 0.2, y - down_mm / 2.0, x + across_mm / 2.0 + 0.2,
                   y + down_mm / 2.0, width_mm=0.0, fill="white")  # fmt: skip
    for place, line in enumerate(lines):
        view.sheet.text(x, y - down_mm / 2.0 + (0.9 + 1.2 * place) * SMALL_MM, line,
                        size_mm=SMALL_MM, anchor="middle", bold=True)  # fmt: skip
    return True


def _room_mm(view: _View, spot: Spot) -> Point:
    """Width and height for words in the middle of a module [mm]; less where it stands askew."""
    corners = view.plan.corners_m[spot.place]
    (x0, y0), (x1, y1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    if view.plan.turn_deg % 90.0 < 1e-6:
        return (x1 - x0) * view.unit_mm, (y1 - y0) * view.unit_mm
    sides = [math.dist(corners[0], corners[1]), math.dist(corners[0], corners[3])]
    return min(sides) * view.unit_mm / math.sqrt(2.0), min(sides) * view.unit_mm / math.sqrt(2.0)


def _measures(view: _View) -> None:
    """Chains along the eaves and up the roof, then the whole length and depth.

    What rounding leaves over stands in the gaps, so that a chain adds up to the whole as printed.
    """
    roof, plan = view.roof, view.plan
    if plan.along_eaves:
        row = [part for part in parts_of(plan.spots) if (part[0].row, part[0].tier) == (1, 1)]
        marks_m, words, reached = [0.0], [], 0.0
        for part in row:
            left = float(plan.corners_m[part[0].place, 0, 0])
            right = float(plan.corners_m[part[-1].place, 1, 0])
            words += [f"{round(left, 2) - reached:.2f}", _row_words(view, len(part), right - left)]
            marks_m += [left, right]
            reached = round(left, 2) + round(right - left, 2)
        words.append(f"{round(roof.length_m, 2) - reached:.2f}")
        _chain_along(view, [*marks_m, roof.length_m], words)
        _chain_up(view, _fronts_m(plan))
    left, top = view.at(0.0, roof.depth_m)
    right, foot = view.at(roof.length_m, 0.0)
    y = top - 3.0
    _line(view, (left, y), (right, y))
    view.sheet.text((left + right) / 2.0, y - 0.9, f"{roof.length_m:.2f}", size_mm=SMALL_MM,
                    anchor="middle")  # fmt: skip
    _line(view, (right + 3.0, top), (right + 3.0, foot))
    view.sheet.text(right + 4.0, (top + foot) / 2.0 + 0.9, f"{roof.depth_m:.2f}",
                    size_mm=SMALL_MM)  # fmt: skip


def _row_words(view: _View, count: int, length_m: float) -> str:
    """Modules and gaps of a part with their sum, or the sum alone where there is no room."""
    rows = view.plan.places.rows
    words = f"{count} × {rows.along_m:.3f} + {count - 1} × {rows.gap_m:.3f} = {length_m:.2f}"
    fits = words_width_mm(words, SMALL_MM) <= length_m * view.unit_mm
    return words if fits and count > 1 else f"{length_m:.2f}"


def _fronts_m(plan: ModulePlan) -> list[float]:
    """Front edge of each row, then the back of the last, from the eaves [m]."""
    fronts: dict[int, float] = {}
    for spot in plan.spots:
        up_m = float(plan.corners_m[spot.place, :, 1].min())
        fronts[spot.row] = min(fronts.get(spot.row, math.inf), up_m)
    last = max(float(plan.corners_m[spot.place, :, 1].max()) for spot in plan.spots)
    return [0.0, *sorted(fronts.values()), last, plan.site.roof.depth_m]


def _chain_along(view: _View, marks_m: Sequence[float], words: Sequence[str]) -> None:
    """From edge to edge below the eaves: distances in one line, lengths of rows in the next."""
    _, y = view.at(0.0, 0.0)
    y += 6.0
    for number, (one, other) in enumerate(pairwise(marks_m)):
        start, end = view.at(one, 0.0)[0], view.at(other, 0.0)[0]
        _line(view, (start, y), (end, y))
        view.sheet.text((start + end) / 2.0, y + 3.2 + 3.2 * (number % 2), words[number],
                        size_mm=SMALL_MM, anchor="middle")  # fmt: skip


def _chain_up(view: _View, marks_m: Sequence[float]) -> None:
    """From front edge to front edge; a word that would meet the one before it is left out."""
    x = LEFT_MM - 5.0
    free_mm = math.inf
    for one, other in pairwise(marks_m):
        low, high = view.at(0.0, one)[1], view.at(0.0, other)[1]
        _line(view, (x, low), (x, high))
        foot_mm = (low + high) / 2.0 + 0.9
        if free_mm - foot_mm >= 1.1 * SMALL_MM:
            view.sheet.text(x - 1.5, foot_mm, f"{round(other, 2) - round(one, 2):.2f}",
                            size_mm=SMALL_MM, anchor="end")  # fmt: skip
            free_mm = foot_mm


def _line(view: _View, start: Point, end: Point) -> None:
    """A dimension line with a slanted stroke at both ends."""
    view.sheet.path([start, end], width_mm=THIN_MM)
    for x, y in (start, end):
        view.sheet.path([(x - 0.8, y + 0.8), (x + 0.8, y - 0.8)], width_mm=LINE_MM)


def _legend(view: _View) -> None:
    """North, strings with their hatch, what stands on the roof, a bar of the scale."""
    sheet, plan, roof = view.sheet, view.plan, view.roof
    _north(view, LEGEND_MM + LEGEND_WIDE_MM - 8.0, 24.0)
    y = 21.0
    sheet.text(LEGEND_MM, y, "Strings, plus to minus", size_mm=SMALL_MM, bold=True)
    y += 12.0
    for number, (name, spots) in enumerate(list(plan.strings.items())[:MOST_STRINGS]):
        sheet.box(LEGEND_MM, y - 2.8, LEGEND_MM + 8.0, y + 0.8, width_mm=LINE_MM,
                  fill=_hatch(view, number))  # fmt: skip
        sheet.text(LEGEND_MM + 10.0, y, f"{name}: {name}/1+ to {name}/{len(spots)}−",
                   size_mm=SMALL_MM)  # fmt: skip
        y += 5.2
    if len(plan.strings) > MOST_STRINGS:
        sheet.text(LEGEND_MM + 10.0, y, f"... {len(plan.strings)} in all", size_mm=SMALL_MM)
        y += 5.2
    things = [*(f"{box.name}, {box.height_m:g} m high" for box in roof.obstacles),
              *(way.name for way in roof.walkways)]  # fmt: skip
    if things:
        sheet.text(LEGEND_MM, y + 1.5, "On the roof", size_mm=SMALL_MM, bold=True)
        y += 5.5
    for number, words in enumerate(things[:MOST_THINGS], start=1):
        sheet.text(LEGEND_MM + 4.0, y, str(number), size_mm=SMALL_MM, anchor="end", bold=True)
        lines = fitted(words, LEGEND_WIDE_MM - 6.0, size_mm=SMALL_MM, lines=2)
        y = sheet.lines(LEGEND_MM + 6.0, y, lines, size_mm=SMALL_MM) + 0.6
    _scale_bar(view, 184.0)


def _north(view: _View, x: float, y: float) -> None:
    """An arrow to the north: the roof falls down the sheet, towards its azimuth."""
    turn = math.radians(view.roof.azimuth_deg - 180.0)
    ahead = (-math.sin(turn), -math.cos(turn))
    aside = (-ahead[1], ahead[0])
    tip = (x + 7.0 * ahead[0], y + 7.0 * ahead[1])
    tail = [(x - 5.0 * ahead[0] + s * 2.2 * aside[0], y - 5.0 * ahead[1] + s * 2.2 * aside[1])
            for s in (1.0, -1.0)]  # fmt: skip
    middle = (x - 3.0 * ahead[0], y - 3.0 * ahead[1])
    view.sheet.path([tip, tail[0], middle, tail[1]], closed=True, width_mm=LINE_MM)
    view.sheet.path([tip, tail[0], middle], closed=True, width_mm=THIN_MM, fill="black")
    view.sheet.text(x - 10.0, y + 1.0, "N", size_mm=TEXT_MM * 1.2, anchor="middle", bold=True)


def _scale_bar(view: _View, y: float) -> None:
    """A bar of whole metres below the legend."""
    step = next(size for size in (1, 2, 5, 10, 20, 50, 100) if size * view.unit_mm >= 8.0)
    count = min(3, int((LEGEND_WIDE_MM - 6.0) / (step * view.unit_mm)))
    for number in range(count):
        left = LEGEND_MM + number * step * view.unit_mm
        view.sheet.box(left, y - 1.5, left + step * view.unit_mm, y, width_mm=THIN_MM,
                       fill="black" if number % 2 == 0 else "white")  # fmt: skip
    view.sheet.text(LEGEND_MM, y + 3.4, "0", size_mm=SMALL_MM)
    view.sheet.text(LEGEND_MM + count * step * view.unit_mm, y + 3.4, f"{count * step} m",
                    size_mm=SMALL_MM, anchor="middle")  # fmt: skip
