"""Fixing plan: rails with their cut lengths, every roof fixing with running dimensions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from solarcalc.basis.messages import PATTERN
from solarcalc.diagrams.lettering import SMALL_MM, words_width_mm
from solarcalc.diagrams.roof_plan import described, draw_others, fronts_m
from solarcalc.diagrams.roof_view import (
    BELOW_MM,
    DATUM_WORDS,
    View,
    Zone,
    draw_ground,
    draw_marks,
    draw_orientation,
    draw_side,
    finished,
    legend_lines,
    running_along,
    running_up,
    scale_bar,
    view_of,
    whole_size,
    zones_of,
)
from solarcalc.diagrams.sheet import DASHED, FOOT_MM, LINE_MM, THIN_MM
from solarcalc.roof.hardware import RAILS_A_TIER, Hardware
from solarcalc.roof.strings import parts_of
from solarcalc.sitepack.modules import ModulePlan, PlacedRail, placed_rails
from solarcalc.structure.checks import PRELIMINARY, cautions_of
from solarcalc.structure.plan import StructurePlan

RAIL_MM, FIXING_MM, TICK_MM = 0.5, 0.55, 1.2
"""Width of a rail's line, radius of a roof fixing, half length of a splice's stroke [mm]."""
NAME_MM = 4.2
"""Between the rails of a tier, so that their names stand there without hiding a fixing [mm]."""
BAR_MM = 5.4
"""What a bar to scale takes over the foot of the sheet, less the line that would come next [mm]."""
LANE_MM = 9.6
"""From one line of running dimensions to the next [mm]."""
MOST_LINES, MOST_CUTS = 6, 8
"""Lines of dimensions and of cut lengths on a sheet; file rail-plan has all."""


INTO_STRUCTURE = "Fix into the structure, never into the covering alone; seal."
ON_PADS = "Nothing is screwed into this roof: feet on pads, held by ballast alone."
PULL_TEST = "Engineer's pull test: ___ × ___ kN"
"""For hold point H3: load and number are those of who assessed the fixings."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Pattern:
    """Rows whose roof fixings lie at the same distances from the datum."""

    rows: tuple[int, ...]
    feet_m: tuple[float, ...]


def fixing_plans(
    plan: ModulePlan, hardware: Hardware, held: StructurePlan | None = None,
    language: str = PATTERN,
) -> list[tuple[str, str]]:
    """Sheets of the fixing plan, each with its words.

    Parameters
    ----------
    plan : ModulePlan
    hardware : Hardware
        What is bought to hold the modules; the plan draws as much.
    held : StructurePlan or None
        Feet and ballast against wind; None where it is not assessed.
    language : str
        Of the words on it.
    """
    rails = placed_rails(plan)
    lines = min(len(patterns_of(rails)), MOST_LINES) if plan.along_eaves else 0
    zones = zones_of(plan, parts_of(plan.spots), partial(_rails_named, plan),
                     below_mm=BELOW_MM + LANE_MM * max(lines - 1, 0))  # fmt: skip
    return [_drawn(plan, zone, hardware, held, language) for zone in zones]


def patterns_of(rails: Sequence[PlacedRail]) -> list[Pattern]:
    """Roof fixings along the eaves, rows alike together."""
    feet: dict[int, set[float]] = {}
    for rail in rails:
        feet.setdefault(rail.part[0].row, set()).update(
            round(float(rail.start_m[0] + rail.ahead[0] * foot_m), 2) for foot_m in rail.feet_m)
    rows: dict[tuple[float, ...], list[int]] = {}
    for row, values in feet.items():
        rows.setdefault(tuple(sorted(values)), []).append(row)
    return [Pattern(rows=tuple(of), feet_m=values) for values, of in rows.items()]


def _rails_named(plan: ModulePlan, zone: Zone) -> bool:
    """Whether rails of a tier lie far enough apart to be named between."""
    corners = plan.corners_m[zone.spots[0].place]
    apart_m = float(np.linalg.norm(corners[3] - corners[0])) / float(RAILS_A_TIER)
    return apart_m * 1000.0 / zone.scale >= NAME_MM


def _drawn(
    plan: ModulePlan, zone: Zone, hardware: Hardware, held: StructurePlan | None, language: str
) -> tuple[str, str]:
    view = view_of(plan, zone, "fixing", "Fixing plan", (
        f"{described(plan)} {_feet_words(plan, hardware)} hold"
        f" {len(placed_rails(plan))} rails{_splices_words(hardware)}."), language)
    here = {spot.place for spot in zone.spots}
    rails = [rail for rail in placed_rails(plan) if rail.part[0].place in here]
    marks = draw_ground(view)
    for spot in zone.spots:
        view.sheet.path(view.corners(spot), closed=True, width_mm=THIN_MM)
    draw_others(view)
    for rail in rails:
        _rail(view, rail)
    for first, last in zip(rails[::2], rails[1::2], strict=True):
        _named(view, first, last)
    draw_marks(view, marks)
    left_out = _dimensions(view, rails)
    _legend(view, rails, hardware, held)
    return finished(view, 3, "Fixing plan", [
        DATUM_WORDS,
        "Numbers on the roof: sheet 2.",
        "Rails drawn at a quarter: place by the maker's clamp zone.",
        ON_PADS if _ballasted(plan) else INTO_STRUCTURE,
        *(["At an expansion gap: end clamps on both modules, none across; modules beyond it move"
           " on by what two end clamps need."] if hardware.expansion_joint_count else []),
        *(["Not all distances have room: file rail-plan."] if left_out
          else []),
        *([] if plan.along_eaves else ["Rows at an angle: file rail-plan."]),
    ])  # fmt: skip


def _at(view: View, rail: PlacedRail, along_m: float) -> tuple[float, float]:
    """A place on a rail on the sheet [mm]."""
    corners = view.plan.corners_m[rail.part[0].place]
    share = (rail.which - 0.5) / float(RAILS_A_TIER)
    place = rail.start_m + rail.ahead * along_m + (corners[3] - corners[0]) * share
    return view.at(float(place[0]), float(place[1]))


def _rail(view: View, rail: PlacedRail) -> None:
    """A rail in its pieces, splices as a stroke, expansion joints as two, fixings as circles."""
    sheet = view.sheet
    sheet.path([_at(view, rail, 0.0), _at(view, rail, rail.length_m)], width_mm=RAIL_MM)
    aside = np.array([-rail.ahead[1], rail.ahead[0]])
    marks = [(place, 0.0) for place in rail.splices_m]
    marks += [(place, side) for place in rail.joints_m for side in (-0.5, 0.5)]
    for place_m, shift_mm in marks:
        x, y = _at(view, rail, place_m)
        x, y = x + shift_mm * rail.ahead[0], y - shift_mm * rail.ahead[1]
        sheet.path([(x - TICK_MM * aside[0], y + TICK_MM * aside[1]),
                    (x + TICK_MM * aside[0], y - TICK_MM * aside[1])],
                   width_mm=LINE_MM)  # fmt: skip
    for place_m in rail.feet_m:
        sheet.circle(*_at(view, rail, place_m), FIXING_MM, width_mm=LINE_MM, fill="white")


def _named(view: View, first: PlacedRail, last: PlacedRail) -> None:
    """Names of the rails of a tier between them, on white."""
    (x0, y0), (x1, y1) = _at(view, first, 0.0), _at(view, last, last.length_m)
    x, y = (x0 + x1) / 2.0, (y0 + y1) / 2.0
    words = f"{first.name}, {last.number}"
    half = words_width_mm(words, SMALL_MM) / 2.0
    if not _rails_named(view.plan, view.zone) or 2.0 * half > abs(x1 - x0):
        return
    view.sheet.box(x - half, y - 1.45, x + half, y + 1.45, width_mm=0.0, fill="white")
    view.sheet.text(x, y + 0.85, words, size_mm=SMALL_MM, anchor="middle", bold=True)


def _dimensions(view: View, rails: Sequence[PlacedRail]) -> bool:
    """Roof fixings along the eaves, a line for rows alike; whether some had no room."""
    whole_size(view)
    if not view.plan.along_eaves:
        return False
    y = view.at(0.0, view.zone.window_m[1])[1] + 6.0
    patterns = patterns_of(rails)
    left_out = len(patterns) > MOST_LINES
    for pattern in patterns[:MOST_LINES]:
        word = "row" if len(pattern.rows) == 1 else "rows"
        words = f"{word} {spans(pattern.rows)}"
        left_out |= bool(running_along(view, pattern.feet_m, y, words))
        y += LANE_MM
    running_up(view, fronts_m(view))
    return left_out


def _legend(
    view: View, rails: Sequence[PlacedRail], hardware: Hardware, held: StructurePlan | None
) -> None:
    """Symbols, clamp zone to fill in, cut lengths, quantities of the whole roof."""
    y = draw_orientation(view)
    y = _symbols(view, rails, y + 7.0 if view.zone.whole else y)
    y = draw_side(view, _clamp_zone(view, y, gaps=hardware.expansion_joint_count > 0))
    cuts: dict[str, list[PlacedRail]] = {}
    for rail in rails:
        cuts.setdefault(rail.cut_words, []).append(rail)
    said = [f"{spans(rail.number for rail in of)}: {of[0].length_m:.3f} = {words}"
            for words, of in cuts.items()]  # fmt: skip
    if len(said) > MOST_CUTS:
        said = [*said[:MOST_CUTS], f"{len(said) - MOST_CUTS} more: file rail-plan"]
    said.append(f"Each rail begins {view.plan.site.rails.overhang_m:.2f} outside its end module.")
    y = legend_lines(view, y, said, head="Rails, cut to [m]")
    y = legend_lines(view, y, quantities(view.plan, hardware, held), head="For the whole roof")
    y = legend_lines(view, y, held_words(view.plan, held), head="Wind, feet and ballast")
    if y < view.sheet.height_mm - FOOT_MM - BAR_MM:  # else the scale stands in the title alone
        scale_bar(view)


def spans(numbers: Iterable[int]) -> str:
    """Numbers in their order, neighbours as a span.

    Examples
    --------
    >>> spans([1, 2, 3, 7])
    '1–3, 7'
    """
    found: list[list[int]] = []
    for number in numbers:
        if found and number == found[-1][1] + 1:
            found[-1][1] = number
        else:
            found.append([number, number])
    return ", ".join(f"{a}" if a == b else f"{a}–{b}" for a, b in found)


def held_words(plan: ModulePlan, held: StructurePlan | None) -> list[str]:
    """Who has assessed feet and ballast, ballast blocks by row, and what to see to."""
    by = plan.site.status.roof_confirmed
    mark = (f"Roof, wind, ballast and feet assessed: {by}." if by else
            f"Feet and ballast {PRELIMINARY}: fix nothing before hold point H2 is signed.")
    if held is None:
        return [mark, *([] if by else ["Wind is not assessed."]),
                *([] if _ballasted(plan) else [PULL_TEST])]
    blocks = _blocks_words(held)
    if len(blocks) > MOST_CUTS:
        blocks = [*blocks[:MOST_CUTS], f"{len(blocks) - MOST_CUTS} rows more: calculation A1"]
    return [mark, *blocks, *cautions_of(held.structure), *([] if held.ballasted else [PULL_TEST])]


def _blocks_words(held: StructurePlan) -> list[str]:
    """Ballast blocks of each row by zone, rows alike together."""
    alike: dict[tuple[tuple[str, int], ...], list[int]] = {}
    for row in held.blocks_by_row:
        counts: dict[str, int] = {}
        for one in held.shares:
            if one.row == row and one.block_count:
                counts[one.zone] = counts.get(one.zone, 0) + one.block_count
        alike.setdefault(tuple(counts.items()), []).append(row)
    return [
        f"{'Rows' if len(rows) > 1 else 'Row'} {spans(rows)}"
        f"{', blocks each' if len(rows) > 1 else ', blocks'}:"
        f" {', '.join(f'{zone} {count}' for zone, count in counts)}, evenly over the feet there"
        for counts, rows in alike.items() if counts
    ]  # fmt: skip


def quantities(
    plan: ModulePlan, hardware: Hardware, held: StructurePlan | None = None
) -> list[str]:
    """What holds the modules of the whole roof, as it is bought."""
    joints = hardware.expansion_joint_count
    blocks = held.block_count if held else 0
    return [
        *([f"{blocks} ballast blocks of {held.structure.block_mass_kg:g} kg"]
          if held and blocks else []),
        _feet_words(plan, hardware),
        f"{hardware.stock_count} rails of {plan.site.rails.stock_length_m:g} m, for"
        f" {hardware.rail_m:.2f} m",
        *([f"{hardware.splice_count + joints} rail splices: {hardware.splice_count} fixed,"
           f" {joints} sliding at expansion gaps of {hardware.expansion_gap_mm:.0f} mm"]
          if joints else
          [f"{hardware.splice_count} rail splices"] if hardware.splice_count else []),
        f"{hardware.mid_clamp_count} mid clamps, {hardware.end_clamp_count} end clamps",
    ]  # fmt: skip


def _ballasted(plan: ModulePlan) -> bool:
    """Whether weight alone holds the modules, wind assessed or not."""
    return plan.site.structure.held_by == "ballast"


def _feet_words(plan: ModulePlan, hardware: Hardware) -> str:
    return f"{hardware.foot_count} {plan.site.structure.feet}"


def _splices_words(hardware: Hardware) -> str:
    """Splices and expansion gaps of the roof, those that there are; empty where none is."""
    if hardware.expansion_joint_count:
        return (f", {hardware.splice_count} fixed splices and {hardware.expansion_joint_count}"
                " sliding ones at expansion gaps")  # fmt: skip
    return f" with {hardware.splice_count} splices" if hardware.splice_count else ""


def _symbols(view: View, rails: Sequence[PlacedRail], y: float) -> float:
    """What is on this sheet of fixings, splices and gaps; the foot of the next line [mm]."""
    x, sheet = view.legend_mm, view.sheet
    foot = "foot on its pad" if _ballasted(view.plan) else "roof fixing"
    there: list[tuple[str, tuple[float, ...]]] = [(foot, ())]
    there += [("rail splice", (0.0,))] * any(rail.splices_m for rail in rails)
    there += [("expansion gap", (-0.5, 0.5))] * any(rail.joints_m for rail in rails)
    for words, strokes in there:
        sheet.path([(x, y - 1.0), (x + 8.0, y - 1.0)], width_mm=RAIL_MM)
        if not strokes:
            sheet.circle(x + 4.0, y - 1.0, FIXING_MM + 0.05, width_mm=LINE_MM, fill="white")
        for shift in strokes:
            sheet.path([(x + 4.0 + shift, y - 2.2), (x + 4.0 + shift, y + 0.2)],
                       width_mm=LINE_MM)  # fmt: skip
        sheet.text(x + 10.0, y, words, size_mm=SMALL_MM)
        y += 4.2
    return y + 2.0


def _clamp_zone(view: View, y: float, *, gaps: bool) -> float:
    """A box for the maker's values; the foot of the next line [mm]."""
    lines = ["Clamp zone by maker, from frame [m]:", "____ to ____ and ____ to ____",
             "rails at ____ and at ____",
             *(["modules apart at a gap ____"] if gaps else []),
             "page ____ initials ____"]  # fmt: skip
    foot = y + 4.1 * (len(lines) - 1) + 2.3
    view.sheet.box(view.legend_mm, y - 3.2, view.legend_mm + 57.0, foot, width_mm=THIN_MM,
                   dash=DASHED)  # fmt: skip
    for number, line in enumerate(lines):
        words = view.sheet.fitted(line, 55.5, size_mm=SMALL_MM, lines=1)[0]
        view.sheet.text(view.legend_mm + 1.2, y + 0.4 + 4.1 * number, words, size_mm=SMALL_MM,
                        bold=number == 0)  # fmt: skip
    return foot + 5.4
