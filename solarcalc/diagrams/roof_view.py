"""The roof or a part of it on a sheet, to a standard scale: ground of roof, fixing, string plan."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from solarcalc.diagrams.lettering import SMALL_MM, TEXT_MM, words_width_mm
from solarcalc.diagrams.sheet import (
    A3_LONG_MM,
    A3_SHORT_MM,
    A4_LONG_MM,
    A4_SHORT_MM,
    DASHED,
    FOOT_MM,
    LINE_MM,
    THIN_MM,
    Point,
    Sheet,
    draw_frame,
    title_block,
)
from solarcalc.roof.strings import Spot
from solarcalc.sitefile.roof import Roof
from solarcalc.sitepack.modules import ModulePlan
from solarcalc.wiring.runs import of_plane

Unit = tuple[Spot, ...]
"""Modules that stand on one sheet together."""
SCALES = (20, 50, 100, 200, 500, 1000, 2000, 5000)
"""ISO 5455: scales of reduction."""
A4_MODULES, SHEET_MODULES = 40, 60
"""More of them are drawn on A3, and on one more sheet each."""
LEFT_MM, TOP_MM, BELOW_MM = 33.0, 20.0, 18.6
"""Where the roof begins on the sheet; free below it for dimensions [mm]."""
LEGEND_WIDE_MM, BESIDE_MM = 57.0, 75.0
"""Width of the legend; from the roof's right limit to the edge of the sheet [mm]."""
EDGE_MM = 0.7
MARGIN_M = 0.8
"""Of roof around the modules of a sheet that shows a part [m]."""
LANES = 2
"""Lines of values along a dimension line."""
SURVEY_MM = 45.0
"""From the foot of the sheet to the upper side of the box for the survey [mm]."""
DATUM_WORDS = "Lengths in m on the roof from the datum: left end of the eaves, seen from below."


@dataclass(frozen=True, kw_only=True)
class Zone:
    """What one sheet shows: its modules, its window of roof [m], its scale, its place in the set.

    ``whole`` where the window is all of the roof.
    """

    spots: tuple[Spot, ...]
    window_m: tuple[float, float, float, float]
    scale: int
    number: int = 1
    count: int = 1
    whole: bool = False


@dataclass(frozen=True, kw_only=True)
class View:
    """A zone of the roof on its sheet."""

    sheet: Sheet
    plan: ModulePlan
    zone: Zone

    @property
    def roof(self) -> Roof:
        """Of the site."""
        return self.plan.site.roof

    @property
    def unit_mm(self) -> float:
        """A metre of roof on the sheet [mm]."""
        return 1000.0 / self.zone.scale

    @property
    def legend_mm(self) -> float:
        """Where the legend begins [mm]."""
        return self.sheet.width_mm - 65.0

    def at(self, along_m: float, up_m: float) -> Point:
        """A place of the roof on the sheet [mm], the eaves below."""
        left, _, _, top = self.zone.window_m
        return LEFT_MM + (along_m - left) * self.unit_mm, TOP_MM + (top - up_m) * self.unit_mm

    def corners(self, spot: Spot) -> list[Point]:
        """Of a module on the sheet [mm]: the first where its row begins, then along, then up."""
        return [self.at(*corner) for corner in self.plan.corners_m[spot.place].tolist()]

    def middle(self, spot: Spot) -> Point:
        """Of a module on the sheet [mm]."""
        along_m, up_m = self.plan.corners_m[spot.place].mean(axis=0).tolist()
        return self.at(along_m, up_m)

    def box(self, left_m: float, low_m: float, right_m: float, top_m: float, *,
            width_mm: float = THIN_MM, dash: str = "", fill: str = "none") -> bool:  # fmt: skip
        """A rectangle of the roof as far as it lies in the window; whether any of it does."""
        left, low, right, top = self.zone.window_m
        x0, x1 = max(left_m, left), min(right_m, right)
        y0, y1 = max(low_m, low), min(top_m, top)
        if x0 >= x1 or y0 >= y1:
            return False
        (a, b), (c, d) = self.at(x0, y1), self.at(x1, y0)
        self.sheet.box(a, b, c, d, width_mm=width_mm, dash=dash, fill=fill)
        return True


def paper_mm(plan: ModulePlan) -> tuple[float, float]:
    """Width and height of the sheets of a roof [mm]: A4, and A3 above 40 modules."""
    large = len(plan.spots) > A4_MODULES
    return (A3_LONG_MM, A3_SHORT_MM) if large else (A4_LONG_MM, A4_SHORT_MM)


def zones_of(plan: ModulePlan, units: Iterable[Unit], legible: Callable[[Zone], bool], *,
             below_mm: float = BELOW_MM) -> tuple[Zone, ...]:  # fmt: skip
    """The sheets of a roof: the whole of it on one if its words can be read there, else parts.

    Parameters
    ----------
    plan : ModulePlan
    units : iterable of tuple of Spot
        That are never parted.
    legible : callable
        Whether the words of a zone have room at its scale.
    below_mm : float
        Free below the roof [mm].
    """
    parts, roof, paper = list(units), plan.site.roof, paper_mm(plan)
    whole = (0.0, 0.0, roof.length_m, roof.depth_m)
    least = math.ceil(len(plan.spots) / SHEET_MODULES)
    if least == 1:
        zone = Zone(spots=plan.spots, window_m=whole, scale=_scale(whole, paper, below_mm),
                    whole=True)
        if legible(zone):
            return (zone,)
    for count in range(min(least, len(parts)), len(parts) + 1):
        shares = _shared(plan, parts, count)
        windows = [_window(plan, share) for share in shares]
        found = tuple(
            Zone(spots=share, window_m=window, scale=_scale(window, paper, below_mm), number=number,
                 count=len(shares))
            for number, (share, window) in enumerate(zip(shares, windows, strict=True), start=1)
        )  # fmt: skip
        if all(len(zone.spots) <= SHEET_MODULES and legible(zone) for zone in found):
            return found
    return found


def _shared(plan: ModulePlan, units: Sequence[Unit], count: int) -> list[tuple[Spot, ...]]:
    """Units in `count` compact shares: halved across the longer side, again and again."""
    if count == 1 or len(units) == 1:
        return [tuple(spot for unit in units for spot in unit)]
    middles = np.array([plan.corners_m[[spot.place for spot in unit]].mean(axis=(0, 1))
                        for unit in units]).round(3)  # fmt: skip
    across = int(np.ptp(middles[:, 1]) > np.ptp(middles[:, 0]))
    order = sorted(range(len(units)), key=lambda n: (middles[n, across], middles[n, 1 - across]))
    first = count // 2
    total = sum(map(len, units))
    most = min(SHEET_MODULES, math.ceil(total / count)) * first if total > SHEET_MODULES else (
        total * first / count)  # fmt: skip
    head: list[Unit] = []
    while order and len(order) > 1 and (
        not head or sum(map(len, head)) + len(units[order[0]]) <= most
    ):
        head.append(units[order.pop(0)])
    return [*_shared(plan, head, first),
            *_shared(plan, [units[n] for n in order], count - first)]  # fmt: skip


def _window(plan: ModulePlan, spots: Sequence[Spot]) -> tuple[float, float, float, float]:
    """Of roof around some modules [m]."""
    corners = plan.corners_m[[spot.place for spot in spots]].reshape(-1, 2)
    (left, low), (right, top) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    roof = plan.site.roof
    return (max(left - MARGIN_M, 0.0), max(low - MARGIN_M, 0.0),
            min(right + MARGIN_M, roof.length_m), min(top + MARGIN_M, roof.depth_m))  # fmt: skip


def _scale(window_m: tuple[float, float, float, float], paper: tuple[float, float],
           below_mm: float) -> int:  # fmt: skip
    """The largest scale that the window has room at."""
    left, low, right, top = window_m
    wide_mm = paper[0] - BESIDE_MM - LEFT_MM
    high_mm = paper[1] - FOOT_MM - below_mm - TOP_MM
    return next((scale for scale in SCALES if (right - left) * 1000.0 / scale <= wide_mm
                 and (top - low) * 1000.0 / scale <= high_mm), SCALES[-1])  # fmt: skip


def view_of(plan: ModulePlan, zone: Zone, name: str, title: str, described: str,
            language: str) -> View:  # fmt: skip
    """A sheet with nothing on it yet, for a zone."""
    wide_mm, high_mm = paper_mm(plan)
    part = f", part {zone.number} of {zone.count}" if zone.count > 1 else ""
    of = "" if plan.plane == 1 else f"-plane-{plan.plane}"
    title = of_plane(title, plan.site)
    sheet = Sheet(f"{name}{of}-{zone.number}", f"{title}{part}, {plan.site.site.name}",
                  f"{described}{part.replace(',', ' Shown:', 1)}", width_mm=wide_mm,
                  height_mm=high_mm, language=language)  # fmt: skip
    return View(sheet=sheet, plan=plan, zone=zone)


def finished(view: View, sheet: int, title: str, notes: Sequence[str]) -> tuple[str, str]:
    """The drawing in its frame, and what it shows in words."""
    zone, part = view.zone, ""
    if view.plan.site.roof.name:
        part, title = f"-{view.plan.plane}", of_plane(title, view.plan.site)
    if zone.count > 1:
        part += f"-{zone.number}"
        title = f"{title} {zone.number}/{zone.count}"
    block = title_block(view.plan.site, number=f"SP-{sheet:02d}{part}", sheet=sheet, title=title,
                        scale=f"1:{zone.scale}", language=view.sheet.language)  # fmt: skip
    paper = "A3" if view.sheet.width_mm == A3_LONG_MM else "A4"
    draw_frame(view.sheet, block, [f"Scale 1:{zone.scale} on {paper}.", *notes])
    return view.sheet.svg(), view.sheet.in_words


def draw_ground(view: View) -> list[Point]:
    """Edges, edge setback, datum, obstacles and walkways; where the numbers of these go."""
    roof, sheet = view.roof, view.sheet
    left, low, right, top = view.zone.window_m
    view.box(*view.zone.window_m, dash="" if view.zone.whole else "6 1.5",
             width_mm=EDGE_MM if view.zone.whole else THIN_MM)  # fmt: skip
    for start, end, at_edge in (((0.0, low), (0.0, top), left == 0.0),
                                ((left, 0.0), (right, 0.0), low == 0.0),
                                ((roof.length_m, low), (roof.length_m, top),
                                 right == roof.length_m),
                                ((left, roof.depth_m), (right, roof.depth_m),
                                 top == roof.depth_m)):  # fmt: skip
        if at_edge:
            sheet.path([view.at(*start), view.at(*end)], width_mm=EDGE_MM)
    free = roof.edge_setback_m
    if view.zone.whole and 0.0 < 2.0 * free < min(roof.length_m, roof.depth_m):
        view.box(free, free, roof.length_m - free, roof.depth_m - free, dash=DASHED)
    if left == low == 0.0:
        x, y = view.at(0.0, 0.0)
        sheet.circle(x, y, 1.3, fill="black")
        sheet.text(x - 2.2, y + 3.4, "datum", size_mm=TEXT_MM, anchor="end", bold=True)
        sheet.text(x + 2.2, y + 3.4, "eaves", size_mm=SMALL_MM)
    return _things(view)


def _things(view: View) -> list[Point]:
    """Obstacles and walkways; for each the place of its number, where no other stands."""
    roof, sheet = view.roof, view.sheet
    _, _, right, top = view.zone.window_m
    marks: list[Point] = []
    for box in roof.obstacles:
        right_m, top_m = box.along_m + box.length_m, box.up_m + box.depth_m
        view.box(box.along_m, box.up_m, right_m, top_m, width_mm=LINE_MM,
                 fill=sheet.hatch("solid", apart_mm=0.8))  # fmt: skip
        marks.append(view.at(box.along_m + box.length_m / 2.0, box.up_m + box.depth_m / 2.0))
    for way in roof.walkways:
        near, far = way.from_m, way.from_m + way.width_m
        along = way.runs == "along"
        view.box(*((0.0, near, roof.length_m, far) if along else (near, 0.0, far, roof.depth_m)),
                 dash="0.6 0.9")  # fmt: skip
        middle = (near + far) / 2.0
        x, y = view.at(right, middle) if along else view.at(middle, top)
        step = (-1.0, 0.0) if along else (0.0, 1.0)
        free = next(mm for mm in range(3, 400) if all(
            math.dist((x + mm * step[0], y + mm * step[1]), mark) > 5.0 for mark in marks))
        marks.append((x + free * step[0], y + free * step[1]))
    return marks


def draw_marks(view: View, marks: Sequence[Point]) -> None:
    """Numbers of obstacles and walkways that lie in the window."""
    left, low, right, top = view.zone.window_m
    (x0, y0), (x1, y1) = view.at(left, top), view.at(right, low)
    for number, (x, y) in enumerate(marks, start=1):
        if x0 <= x <= x1 and y0 <= y <= y1:
            view.sheet.circle(x, y, 2.2, width_mm=THIN_MM, fill="white")
            view.sheet.text(x, y + 0.9, str(number), size_mm=SMALL_MM, anchor="middle", bold=True)


def running_along(view: View, values_m: Iterable[float], y_mm: float, words: str = "") -> list[str]:
    """Running dimensions from the datum along the eaves; returns values that had no room.

    ISO 129-1 (from memory): one line with a circle at its origin, a stroke at each value, the
    distance from the datum at it.
    """
    left, _, right, _ = view.zone.window_m
    values = sorted({round(value, 2) for value in values_m if left <= value <= right})
    if not values:
        return []
    xs = [view.at(value, 0.0)[0] for value in values]
    x0 = view.at(0.0, 0.0)[0] if left == 0.0 else LEFT_MM
    _line(view, (x0, y_mm), (xs[-1], y_mm))
    if left == 0.0:
        view.sheet.circle(x0, y_mm, 0.8, width_mm=LINE_MM, fill="white")
    if words:
        line = view.sheet.fitted(words, LEFT_MM - 11.0, size_mm=SMALL_MM, lines=1)[0]
        view.sheet.text(LEFT_MM - 3.0, y_mm + 0.9, line, size_mm=SMALL_MM, anchor="end")
    ends, left_out = [-math.inf] * LANES, []
    for x, value in zip(xs, values, strict=True):
        said = f"{value:.2f}"
        half = words_width_mm(said, SMALL_MM) / 2.0
        lane = next((n for n in range(LANES) if x - half >= ends[n] + 0.5), None)
        view.sheet.path([(x, y_mm - 0.9), (x, y_mm + 0.6)], width_mm=LINE_MM)
        if lane is None:
            left_out.append(said)
            continue
        ends[lane] = x + half
        view.sheet.text(x, y_mm + 3.3 + 2.9 * lane, said, size_mm=SMALL_MM, anchor="middle")
    return left_out


def running_up(view: View, values_m: Iterable[float]) -> None:
    """The same up the roof, left of it, in two columns; the schedule has what has no room."""
    _, low, _, top = view.zone.window_m
    values = sorted({round(value, 2) for value in values_m if low <= value <= top})
    if not values:
        return
    x = LEFT_MM - 4.0
    ys = [view.at(0.0, value)[1] for value in values]
    _line(view, (x, view.at(0.0, low)[1]), (x, ys[-1]))
    reached = [view.at(0.0, low)[1] + SMALL_MM if low == 0.0 else math.inf] * LANES
    reached[0] = view.at(0.0, low)[1] - 1.0
    for y, value in zip(ys, values, strict=True):
        view.sheet.path([(x - 0.6, y), (x + 0.9, y)], width_mm=LINE_MM)
        lane = next((n for n in range(LANES) if y + 0.9 + 0.6 <= reached[n] - 2.1 + 0.9), None)
        if lane is not None and y + 1.6 < view.at(0.0, low)[1]:
            reached[lane] = y - 1.2
            view.sheet.text(x - 1.4 - 8.5 * lane, y + 0.9, f"{value:.2f}", size_mm=SMALL_MM,
                            anchor="end")  # fmt: skip


def _line(view: View, start: Point, end: Point) -> None:
    view.sheet.path([start, end], width_mm=THIN_MM)


def dimension(sheet: Sheet, start: Point, end: Point, words: str) -> None:
    """A dimension line with a slanted stroke at both ends, and its words above or right of it."""
    sheet.path([start, end], width_mm=THIN_MM)
    for x, y in (start, end):
        sheet.path([(x - 0.8, y + 0.8), (x + 0.8, y - 0.8)], width_mm=LINE_MM)
    x, y = (start[0] + end[0]) / 2.0, (start[1] + end[1]) / 2.0
    level = start[1] == end[1]
    sheet.text(x if level else x + 1.0, y - 0.9 if level else y + 0.9, words,
               size_mm=SMALL_MM, anchor="middle" if level else "start")  # fmt: skip


def whole_size(view: View) -> None:
    """Length and depth of the roof, above and right of it; on a part of a roof the key plan."""
    if not view.zone.whole:
        return
    roof = view.roof
    (left, top), (right, foot) = view.at(0.0, roof.depth_m), view.at(roof.length_m, 0.0)
    dimension(view.sheet, (left, top - 2.0), (right, top - 2.0), f"{roof.length_m:.2f}")
    dimension(view.sheet, (right + 3.0, top), (right + 3.0, foot), f"{roof.depth_m:.2f}")


def legend_lines(view: View, y_mm: float, words: Iterable[str], *, head: str = "") -> float:
    """Lines of the legend under a heading, each in four lines at the most; the foot of the next.

    In the units of the sheet [mm].
    """
    if head:
        view.sheet.text(view.legend_mm, y_mm, head, size_mm=SMALL_MM, bold=True)
        y_mm += 3.8
    for words_of in words:
        lines = view.sheet.fitted(words_of, LEGEND_WIDE_MM, size_mm=SMALL_MM, lines=4)
        y_mm = view.sheet.lines(view.legend_mm, y_mm, lines, size_mm=SMALL_MM) + 0.2
    return y_mm + 1.3


SIDE_HIGH_MM = 30.0
"""Of the side view of a tilted row with its words [mm]."""


def draw_side(view: View, y_mm: float) -> float:
    """Side view of a row tilted over the roof, with its measures; the foot of the next line [mm].

    Seen along the row, the roof drawn level; nothing for modules flat on the roof.
    """
    rows, sheet = view.plan.places.rows, view.sheet
    if rows.lift_deg == 0.0:
        return y_mm
    head = ("Side view, eaves left: height [m]" if view.plan.along_eaves
            else "Side view, height above roof [m]")
    sheet.text(view.legend_mm, y_mm, head, size_mm=SMALL_MM, bold=True)
    high_m = rows.slant_m * math.sin(math.radians(rows.lift_deg))
    unit = min(24.0 / max(rows.footprint_m, 0.1), 13.0 / high_m)
    left, foot = view.legend_mm + 4.0, y_mm + 3.5 + high_m * unit
    right, top = left + rows.footprint_m * unit, foot - high_m * unit
    sheet.path([(left - 3.0, foot), (right + 3.0, foot)], width_mm=EDGE_MM)
    sheet.path([(left, foot), (right, top)], width_mm=EDGE_MM)
    sheet.path([(right, top), (right, foot)], width_mm=THIN_MM, dash=DASHED)
    dimension(sheet, (left, foot + 4.4), (right, foot + 4.4), f"{rows.footprint_m:.2f}")
    dimension(sheet, (right + 6.0, top), (right + 6.0, foot), f"{high_m:.2f}")
    lines = view.sheet.fitted(tilt_words(view.plan), LEGEND_WIDE_MM, size_mm=SMALL_MM, lines=3)
    return sheet.lines(view.legend_mm, foot + 9.0, lines, size_mm=SMALL_MM) + 2.1


def tilt_words(plan: ModulePlan) -> str:
    """Tilt over the roof and what a row covers of it, in words; empty for modules flat on it."""
    rows = plan.places.rows
    if rows.lift_deg == 0.0:
        return ""
    what = "module" if rows.modules_high == 1 else f"row of {rows.modules_high} tiers"
    return (f"{rows.slant_m:.2f} m {what} at {rows.lift_deg:.0f}° over the roof:"
            f" {rows.footprint_m:.2f} m on plan. Frames, legs and bracing: by the maker's design.")


def draw_things_named(view: View, y_mm: float) -> None:
    """What the numbers on the roof are, as far as there is room above the survey's box."""
    roof = view.roof
    things = [*(f"{box.name}, {box.height_m:g} m high" for box in roof.obstacles),
              *(way.name for way in roof.walkways)]  # fmt: skip
    if things:
        view.sheet.text(view.legend_mm, y_mm, "On the roof", size_mm=SMALL_MM, bold=True)
        y_mm += 3.8
    for number, words in enumerate(things, start=1):
        if y_mm > view.sheet.height_mm - SURVEY_MM - 8.0:
            view.sheet.text(view.legend_mm + 6.0, y_mm, "others: site file", size_mm=SMALL_MM)
            break
        view.sheet.text(view.legend_mm + 4.0, y_mm, str(number), size_mm=SMALL_MM, anchor="end",
                        bold=True)  # fmt: skip
        lines = view.sheet.fitted(words, LEGEND_WIDE_MM - 6.0, size_mm=SMALL_MM, lines=2)
        y_mm = view.sheet.lines(view.legend_mm + 6.0, y_mm, lines, size_mm=SMALL_MM) + 0.5


def draw_orientation(view: View) -> float:
    """North, and where on the roof a part of it lies; the foot of the next line [mm]."""
    _north(view, view.legend_mm + LEGEND_WIDE_MM - 8.0, 24.0)
    zone, roof = view.zone, view.roof
    if zone.whole:
        return 21.0
    x, y = view.legend_mm, 18.0
    unit = min(36.0 / roof.length_m, 20.0 / roof.depth_m)
    left, low, right, top = zone.window_m
    view.sheet.box(x, y, x + roof.length_m * unit, y + roof.depth_m * unit, width_mm=LINE_MM)
    view.sheet.box(x + left * unit, y + (roof.depth_m - top) * unit, x + right * unit,
                   y + (roof.depth_m - low) * unit, width_mm=THIN_MM,
                   fill=view.sheet.hatch("key", apart_mm=1.2))  # fmt: skip
    view.sheet.text(x, 42.0, f"Shown: part {zone.number} of {zone.count}", size_mm=SMALL_MM)
    return 48.0


def _north(view: View, x: float, y: float) -> None:
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


def scale_bar(view: View) -> None:
    """A bar of whole metres at the foot of the legend."""
    y = view.sheet.height_mm - FOOT_MM - 6.6
    step = next(size for size in (1, 2, 5, 10, 20, 50, 100) if size * view.unit_mm >= 8.0)
    count = max(1, min(3, int((LEGEND_WIDE_MM - 6.0) / (step * view.unit_mm))))
    for number in range(count):
        left = view.legend_mm + number * step * view.unit_mm
        view.sheet.box(left, y - 1.5, left + step * view.unit_mm, y, width_mm=THIN_MM,
                       fill="black" if number % 2 == 0 else "white")  # fmt: skip
    view.sheet.text(view.legend_mm, y + 3.4, "0", size_mm=SMALL_MM)
    view.sheet.text(view.legend_mm + count * step * view.unit_mm, y + 3.4, f"{count * step} m",
                    size_mm=SMALL_MM, anchor="middle")  # fmt: skip
