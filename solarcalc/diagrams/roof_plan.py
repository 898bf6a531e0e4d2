"""Roof plan: modules with number and string, edges, obstacles, dimensions from one corner."""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import partial

from solarcalc.basis.messages import PATTERN
from solarcalc.diagrams.lettering import SMALL_MM, words_width_mm
from solarcalc.diagrams.roof_view import (
    DATUM_WORDS,
    SIDE_HIGH_MM,
    SURVEY_MM,
    View,
    Zone,
    draw_ground,
    draw_marks,
    draw_orientation,
    draw_side,
    draw_things_named,
    finished,
    legend_lines,
    running_along,
    running_up,
    scale_bar,
    view_of,
    whole_size,
    zones_of,
)
from solarcalc.diagrams.sheet import DASHED, LINE_MM, THIN_MM
from solarcalc.roof.strings import Spot, parts_of
from solarcalc.sitepack.modules import ModulePlan

HATCHES = ((45.0, 1.6), (135.0, 1.6), (0.0, 1.6), (90.0, 1.6), (45.0, 3.2), (135.0, 3.2),
           (0.0, 3.2), (90.0, 3.2))  # fmt: skip
"""Turn [deg] and distance [mm] of the lines of one string after another."""
MOST_STRINGS = 12
"""Strings in the legend; the schedule has all."""
ROOM_MM = 0.6
"""Around the words in a module [mm]."""


def roof_plans(plan: ModulePlan, language: str = PATTERN) -> list[tuple[str, str]]:
    """Sheets of the roof plan, each with its words: what the crew sets out and clamps by.

    Strings are told apart by number and hatch, so that it can be read in grey.

    Parameters
    ----------
    plan : ModulePlan
    language : str
        Of the words on it.
    """
    units = [(spot,) for spot in plan.spots]
    zones = zones_of(plan, units, partial(names_fit, plan))
    return [_drawn(plan, zone, language) for zone in zones]


def _drawn(plan: ModulePlan, zone: Zone, language: str) -> tuple[str, str]:
    view = view_of(plan, zone, "roof", "Roof plan", described(plan), language)
    marks = draw_ground(view)
    numbers = dict.fromkeys(_strings(view))
    for number, string in enumerate(plan.strings):
        if string in numbers:
            for spot in plan.strings[string]:
                if spot in zone.spots:
                    view.sheet.path(view.corners(spot), closed=True, width_mm=LINE_MM,
                                    fill=_hatch(view, number))  # fmt: skip
    draw_others(view)
    draw_names(view)
    draw_marks(view, marks)
    _dimensions(view)
    _legend(view)
    return finished(view, 2, "Roof plan", [
        DATUM_WORDS,
        *([] if plan.along_eaves else ["Rows stand at an angle to the eaves: set out by the"
                                       " corners of file module-plan."]),
        "Corners of every module: file module-plan. Dashed: edge setback.",
    ])  # fmt: skip


def described(plan: ModulePlan) -> str:
    """The roof and its strings in words."""
    roof, strings = plan.site.roof, plan.strings
    things = [*(box.name for box in roof.obstacles), *(way.name for way in roof.walkways)]
    there = f" On it: {', '.join(things)}." if things else ""
    named = f"{roof.name}: roof" if roof.name else "Roof"
    return (f"{named} of {roof.length_m:g} by {roof.depth_m:g} m, its eaves below, with"
            f" {len(plan.spots)} modules in {len(strings)} string{'s' * (len(strings) > 1)}:"
            f" {', '.join(f'{name} of {len(spots)}' for name, spots in strings.items())}.{there}")


def _strings(view: View) -> Iterable[str]:
    """Strings that have a module on the sheet."""
    here = {spot.place for spot in view.zone.spots}
    return (name for name, spots in view.plan.strings.items()
            if any(spot.place in here for spot in spots))  # fmt: skip


def _hatch(view: View, number: int) -> str:
    turn_deg, apart_mm = HATCHES[number % len(HATCHES)]
    return view.sheet.hatch(f"string-{number % len(HATCHES)}", apart_mm=apart_mm,
                            turn_deg=turn_deg)  # fmt: skip


def draw_others(view: View) -> None:
    """Modules of other sheets that lie wholly in this window, dashed."""
    left, low, right, top = view.zone.window_m
    here = {spot.place for spot in view.zone.spots}
    for spot in view.plan.spots:
        corners = view.plan.corners_m[spot.place]
        inside = (corners >= (left, low)).all() and (corners <= (right, top)).all()
        if spot.place not in here and inside:
            view.sheet.path(view.corners(spot), closed=True, width_mm=THIN_MM, dash=DASHED)


def names_fit(plan: ModulePlan, zone: Zone) -> bool:
    """Whether the number of every module of a zone has room in it."""
    unit_mm = 1000.0 / zone.scale
    return all(
        name_lines(plan.names[spot.place], "+−", *_room_mm(plan, spot, unit_mm))
        for spot in zone.spots
    )  # fmt: skip


def _room_mm(plan: ModulePlan, spot: Spot, unit_mm: float) -> tuple[float, float]:
    """Width and height for words in the middle of a module [mm]; less where it stands askew."""
    corners = plan.corners_m[spot.place]
    (x0, y0), (x1, y1) = corners.min(axis=0).tolist(), corners.max(axis=0).tolist()
    if plan.turn_deg % 90.0 < 1e-6:
        return (x1 - x0) * unit_mm, (y1 - y0) * unit_mm
    side = min(math.dist(corners[0], corners[1]), math.dist(corners[0], corners[3]))
    return side * unit_mm / math.sqrt(2.0), side * unit_mm / math.sqrt(2.0)


def name_lines(name: str, signs: str, wide_mm: float, high_mm: float) -> list[str]:
    """The number of a module with its sign, in the lines that have room; none without."""
    string, _, order = name.partition("/")
    for words in ([name, signs], [f"{name}{signs}"], [string, f"/{order}{signs}"],
                  [f"{string}{signs}", f"/{order}"]):  # fmt: skip
        lines = [line for line in words if line]
        across_mm = max(words_width_mm(line, SMALL_MM) for line in lines)
        if across_mm + ROOM_MM <= wide_mm and 1.2 * SMALL_MM * len(lines) + ROOM_MM <= high_mm:
            return lines
    return []


def draw_names(view: View, *, ends: bool = False) -> None:
    """The number of each module of the sheet on white; with `ends` + and − at those of a string."""
    plan, sheet = view.plan, view.sheet
    last = {spots[-1].place for spots in plan.strings.values()}
    first = {spots[0].place for spots in plan.strings.values()}
    for spot in view.zone.spots:
        signs = ("+" * (spot.place in first) + "−" * (spot.place in last)) * ends
        lines = name_lines(plan.names[spot.place], signs, *_room_mm(plan, spot, view.unit_mm))
        if not lines:
            continue
        half = max(words_width_mm(line, SMALL_MM) for line in lines) / 2.0 + 0.2
        down_mm = 1.2 * SMALL_MM * len(lines)
        x, y = view.middle(spot)
        sheet.box(x - half, y - down_mm / 2.0, x + half, y + down_mm / 2.0, width_mm=0.0,
                  fill="white")  # fmt: skip
        for place, line in enumerate(lines):
            sheet.text(x, y - down_mm / 2.0 + (0.9 + 1.2 * place) * SMALL_MM, line,
                       size_mm=SMALL_MM, anchor="middle", bold=True)  # fmt: skip


def _dimensions(view: View) -> None:
    """Edges of the parts of rows along the eaves, front edges of rows up the roof."""
    plan, roof = view.plan, view.roof
    whole_size(view)
    if not plan.along_eaves:
        return
    along = [0.0, roof.length_m]
    for part in parts_of(view.zone.spots):
        along += [float(plan.corners_m[part[0].place, 0, 0]),
                  float(plan.corners_m[part[-1].place, 1, 0])]  # fmt: skip
    low = view.at(0.0, view.zone.window_m[1])[1]
    running_along(view, along, low + 6.0)
    running_up(view, fronts_m(view))


def fronts_m(view: View) -> list[float]:
    """Front edge of each row of the sheet, the back of its last, the whole depth [m]."""
    fronts: dict[int, float] = {}
    for spot in view.zone.spots:
        up_m = float(view.plan.corners_m[spot.place, :, 1].min())
        fronts[spot.row] = min(fronts.get(spot.row, math.inf), up_m)
    last = max(float(view.plan.corners_m[spot.place, :, 1].max()) for spot in view.zone.spots)
    return [*sorted(fronts.values()), last, view.roof.depth_m]


def _legend(view: View) -> None:
    """North, strings with their hatch, measures, what stands on the roof, what a survey gives."""
    sheet, plan = view.sheet, view.plan
    y = draw_orientation(view)
    x = view.legend_mm
    y += 7.0 if view.zone.whole else 0.0
    sheet.text(x, y, "Strings", size_mm=SMALL_MM, bold=True)
    y += 5.0
    here = set(_strings(view))
    listed = [(n, name) for n, name in enumerate(plan.strings) if name in here]
    for number, name in listed[:MOST_STRINGS]:
        sheet.box(x, y - 2.8, x + 8.0, y + 0.8, width_mm=LINE_MM, fill=_hatch(view, number))
        sheet.text(x + 10.0, y, f"{name}: {name}/1 to {name}/{len(plan.strings[name])}",
                   size_mm=SMALL_MM)  # fmt: skip
        y += 4.8
    if len(listed) > MOST_STRINGS:
        sheet.text(x + 10.0, y, f"to {listed[-1][1]}: {len(listed)} here", size_mm=SMALL_MM)
        y += 4.8
    y = legend_lines(view, y + 1.0, _measures(plan), head="Measures [m]")
    if y + SIDE_HIGH_MM < sheet.height_mm - SURVEY_MM - 8.0:
        y = draw_side(view, y + 1.0)
    draw_things_named(view, y)
    _survey_box(view)
    scale_bar(view)


def _measures(plan: ModulePlan) -> list[str]:
    """Module, gap, pitch and setback in words."""
    rows, roof = plan.places.rows, plan.site.roof
    fronts = sorted({round(float(plan.corners_m[part[0].place, 0, 1]), 2)
                     for part in parts_of(plan.spots) if part[0].tier == 1})  # fmt: skip
    said = [f"module {rows.along_m:.3f} × {rows.module_up_m:.3f}, gap {rows.gap_m:.3f}"]
    if rows.lift_deg > 0.0:
        said.append(f"{rows.lift_deg:.0f}° over the roof: a row covers {rows.footprint_m:.2f} of"
                    " it on plan")
    if plan.along_eaves and len(fronts) > 1:
        said.append(f"pitch, front to front edge {fronts[1] - fronts[0]:.2f}")
    return [*said, f"edge setback {roof.edge_setback_m:.2f}"]


def _survey_box(view: View) -> None:
    """Boxes for what the site file does not know: anchors and the ladder's place."""
    x, y_mm = view.legend_mm, view.sheet.height_mm - SURVEY_MM + 3.0
    view.sheet.box(x, y_mm - 3.0, x + 57.0, y_mm + 11.0, width_mm=THIN_MM, dash=DASHED)
    for number, line in enumerate(("By site survey, mark here:", "(A) anchors ______________",
                                   "(L) ladder point _________")):  # fmt: skip
        view.sheet.text(x + 1.5, y_mm + 0.6 + 4.3 * number, line, size_mm=SMALL_MM,
                        bold=number == 0)  # fmt: skip
