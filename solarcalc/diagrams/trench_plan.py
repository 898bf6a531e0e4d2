"""Trench plan: each trench in section, with its layers, and its route laid out straight."""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.basis.messages import PATTERN
from solarcalc.diagrams.lettering import SMALL_MM, TEXT_MM, words_width_mm
from solarcalc.diagrams.roof_view import dimension
from solarcalc.diagrams.sheet import DASHED, LINE_MM, THIN_MM, Sheet, draw_frame, title_block
from solarcalc.sitefile.site import Site
from solarcalc.sitepack.trenches import Trench

A_SHEET = 3
"""Trenches of a sheet."""
TOP_MM, STEP_MM = 26.0, 54.0
"""Ground of the first section, and from trench to trench [mm]."""
SECTION_MM, SECTION_HIGH_MM, SECTION_WIDE_MM = 30.0, 38.0, 32.0
"""Left side of the sections; the most that one is deep and wide [mm]."""
ROUTE_MM, ROUTE_WIDE_MM = 112.0, 176.0
"""Left end of the routes, and the most that one is long [mm]."""
SECTION_SCALES, ROUTE_SCALES = (10, 20, 50, 100), (20, 50, 100, 200, 500, 1000, 2000, 5000)
"""ISO 5455: scales of reduction."""
TAPE_DASH = "3 1"
LEAST_LAYER_MM = 2.9
"""Between words beside layers [mm]."""
SERVICES = (
    "DANGER: LOCATE BURIED SERVICES FIRST: ask their owners, use a locator, mark them, dig by hand"
    " beside them."
)
MEASURED = (
    "As built, from two fixed corners: ______ m from ____________, ______ m from ____________"
)


def trench_plans(trenches: Sequence[Trench], site: Site, steps: Sequence[str],
                 language: str = PATTERN) -> list[tuple[str, str]]:  # fmt: skip
    """Sheets of the trench plan, each with its words; none where nothing is dug.

    Parameters
    ----------
    trenches : sequence of Trench
    site : Site
    steps : sequence of str
        What to do before and while it is dug.
    language : str
        Of the words on it.
    """
    sheets = [trenches[n : n + A_SHEET] for n in range(0, len(trenches), A_SHEET)]
    return [_drawn(few, site, steps, (number, len(sheets)), language)
            for number, few in enumerate(sheets, 1)]  # fmt: skip


def _drawn(trenches: Sequence[Trench], site: Site, steps: Sequence[str],
           place_of: tuple[int, int], language: str) -> tuple[str, str]:  # fmt: skip
    number, count = place_of
    part = f" {number}/{count}" if count > 1 else ""
    sheet = Sheet(f"trench-{number}", f"Trench plan{part}, {site.site.name}", "; ".join(
        f"{one.number} {one.name}: {one.length_m:g} m long, {one.dig_m:.2f} m deep, with"
        f" {', '.join(one.tags)}" for one in trenches), language=language)  # fmt: skip
    section = next((scale for scale in SECTION_SCALES if all(
        one.dig_m * 1000.0 / scale <= SECTION_HIGH_MM
        and one.wide_m * 1000.0 / scale <= SECTION_WIDE_MM for one in trenches
    )), SECTION_SCALES[-1])  # fmt: skip
    sheet.text(8.0, 18.4, SERVICES, bold=True)
    for place, trench in enumerate(trenches):
        top_mm = TOP_MM + place * STEP_MM
        _section(sheet, trench, top_mm, 1000.0 / section)
        _route(sheet, trench, top_mm)
    block = title_block(site, number="SP-07a" + (f"-{number}" if count > 1 else ""), sheet="7a",
                        title=f"Trench plan{part}", scale=f"sections 1:{section}",
                        language=language)  # fmt: skip
    draw_frame(sheet, block, [
        f"Sections 1:{section} on A4. Routes are laid out straight: bends are not drawn.",
        *steps[-2:-1],
        "Depths in m from the finished ground.",
    ])  # fmt: skip
    return sheet.svg(), sheet.in_words


def _section(sheet: Sheet, one: Trench, top_mm: float, unit_mm: float) -> None:
    """Ground, walls, layers, tape, what lies in it; depths left, words right."""
    left, right = SECTION_MM, SECTION_MM + one.wide_m * unit_mm
    foot = top_mm + one.dig_m * unit_mm
    for start, end in ((left - 8.0, left), (right, right + 4.0)):
        sheet.path([(start, top_mm), (end, top_mm)], width_mm=LINE_MM)
    for upper_m, lower_m, _, sand in _layers(one):
        sheet.box(left, top_mm + upper_m * unit_mm, right, top_mm + lower_m * unit_mm,
                  width_mm=THIN_MM, fill=sheet.hatch("sand", apart_mm=1.1) if sand else "none")
    sheet.path([(left, top_mm), (left, foot), (right, foot), (right, top_mm)])
    if one.tape_m is not None:
        y = top_mm + one.tape_m * unit_mm
        sheet.path([(left + 0.6, y), (right - 0.6, y)], width_mm=0.7, dash=TAPE_DASH)
    _lying(sheet, one, left, top_mm, unit_mm)
    dimension(sheet, (left - 10.0, top_mm), (left - 10.0, foot), "")
    sheet.text(left - 11.5, (top_mm + foot) / 2.0 + 0.9, f"{one.dig_m:.2f}", size_mm=SMALL_MM,
               anchor="end")  # fmt: skip
    dimension(sheet, (left, foot + 4.2), (right, foot + 4.2), "")
    sheet.text((left + right) / 2.0, foot + 7.6, f"{one.wide_m:.2f}", size_mm=SMALL_MM,
               anchor="middle")  # fmt: skip
    _named(sheet, one, right, top_mm, unit_mm)


def _layers(one: Trench) -> list[tuple[float, float, str, bool]]:
    """From the ground down: upper and lower depth [m], name, and whether it is sand."""
    if one.electrode:
        return [(0.0, one.dig_m, "fine soil, rammed", False)]
    duct_m = max(one.lying_m)
    sand_m = max(one.cover_m - one.sand_m, 0.0)
    return [
        (0.0, sand_m, "backfill in layers", False),
        (sand_m, one.cover_m + duct_m, f"sand {one.sand_m:g} over", True),
        (one.cover_m + duct_m, one.dig_m, f"bedding sand {one.bedding_m:g}", True),
    ]  # fmt: skip


def _lying(sheet: Sheet, one: Trench, left: float, top_mm: float, unit_mm: float) -> None:
    """Ducts side by side, or the electrode's conductor as a dot at the bottom."""
    middle = left + one.wide_m * unit_mm / 2.0
    if one.electrode:
        sheet.circle(middle, top_mm + one.dig_m * unit_mm - 0.8, 0.8, fill="black")
        return
    gap_m = (one.wide_m - sum(one.lying_m)) / (len(one.lying_m) + 1)
    x_m = gap_m
    for across_m in one.lying_m:
        radius = across_m / 2.0
        sheet.circle(left + (x_m + radius) * unit_mm,
                     top_mm + (one.cover_m + max(one.lying_m) - radius) * unit_mm,
                     max(radius * unit_mm, 0.5), fill="white")  # fmt: skip
        x_m += across_m + gap_m


def _named(sheet: Sheet, one: Trench, right: float, top_mm: float, unit_mm: float) -> None:
    """Words right of the section, each at its depth or as near below as there is room."""
    said = [((upper + lower) / 2.0, words) for upper, lower, words, _ in _layers(one)]
    if one.tape_m is not None:
        said.append((one.tape_m, f"warning tape at {one.tape_m:.2f}"))
    middle_m = one.cover_m + max(one.lying_m) / 2.0
    lies = f"{len(one.lying_m)} × {one.duct}" if one.duct else ", ".join(one.tags)
    said.append((middle_m, f"{lies}, cover {one.cover_m:g}"))
    free = top_mm
    for depth_m, words in sorted(said):
        y = top_mm + depth_m * unit_mm
        lines = sheet.fitted(words, ROUTE_MM - right - 12.0, size_mm=SMALL_MM, lines=3)
        foot = max(y + 0.9, free + LEAST_LAYER_MM)
        sheet.path([(right, y), (right + 3.0, foot - 0.9), (right + 5.0, foot - 0.9)],
                   width_mm=THIN_MM)  # fmt: skip
        for line in lines:
            sheet.text(right + 6.0, foot, line, size_mm=SMALL_MM)
            free = foot
            foot += 2.9


def _route(sheet: Sheet, one: Trench, top_mm: float) -> None:
    """The route laid out straight with its metres, its ends, what lies in it."""
    scale = next((scale for scale in ROUTE_SCALES
                  if one.length_m * 1000.0 / scale <= ROUTE_WIDE_MM), ROUTE_SCALES[-1])  # fmt: skip
    unit_mm = 1000.0 / scale
    x0, x1, y = ROUTE_MM, ROUTE_MM + one.length_m * unit_mm, top_mm + 13.0
    tail = f": {one.length_m:g} m, route 1:{scale}"
    name = one.name if words_width_mm(
        sheet.said(f"{one.number} {one.name}{tail}"), TEXT_MM) <= 170.0 else (
        one.name.replace("; Distribution circuit", " and").replace("; PV DC main cable,", ","))
    sheet.text(x0, top_mm, sheet.fitted(f"{one.number} {name}{tail}", 175.0, lines=1)[0], bold=True)
    ends = (f"from: {one.start}; to: {one.end}; way by site survey" if one.start != one.end
            else "both ends in the ground: place by site survey")  # fmt: skip
    sheet.text(x0, top_mm + 4.2, sheet.fitted(ends, 175.0, size_mm=SMALL_MM, lines=1)[0],
               size_mm=SMALL_MM)  # fmt: skip
    sheet.box(x0, y - 1.5, x1, y + 1.5, dash="" if one.duct else DASHED)
    step = next(size for size in (1, 2, 5, 10, 20, 50, 100, 200, 500) if size * unit_mm >= 12.0)
    metre = 0
    while metre <= one.length_m + 1e-9:
        x = x0 + metre * unit_mm
        sheet.path([(x, y + 1.5), (x, y + 2.7)], width_mm=THIN_MM)
        sheet.text(x, y + 5.6, f"{metre} m" if metre == 0 else str(metre), size_mm=SMALL_MM,
                   anchor="middle")  # fmt: skip
        metre += step
    bends = "" if one.bends_deg is None else f", bends together {one.bends_deg:g}°"
    said = [
        f"In it: {', '.join(one.tags)} ({one.current})"
        + (f"; {len(one.lying_m)} × {one.duct}, {one.duct_m:g} m, rope in each{bends}"
           if one.duct else "; no duct"),
        f"Fill: {one.backfill}.", f"Kept apart: {one.kept_apart}.",
        f"Before digging: {one.safety}.", MEASURED,
    ]  # fmt: skip
    foot = y + 10.0
    for words in said:
        lines = sheet.fitted(words, 177.0, size_mm=SMALL_MM, lines=2)
        foot = sheet.lines(x0, foot, lines, size_mm=SMALL_MM) + 0.5
