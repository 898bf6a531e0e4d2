"""The single-line diagram reduced to half a page: what is joined to what, with ratings only."""

from __future__ import annotations

from solarcalc.diagrams.lettering import KEPT, SMALL_MM
from solarcalc.diagrams.sheet import THICK_MM, Point, Sheet
from solarcalc.diagrams.single_line import single_line_words
from solarcalc.diagrams.single_line_parts import watts
from solarcalc.diagrams.symbols import HALF_MM, SQUARE_MM, Placer
from solarcalc.installation.records import Installation, Part
from solarcalc.wiring.runs import plane_key

WIDE_MM, HIGH_MM = 180.0, 118.0
"""Half a page of A4 between its margins [mm]."""
ROW_MM, BUS_MM, INVERTER_MM, BOARD_MM = 20.0, 48.0, 70.0, 97.0
"""Heights of array, DC busbar, inverters and boards [mm from the top]."""
BANKS_MM = {False: (14.0,), True: (12.0, 76.0)}
COLUMNS_MM = {False: (66.0, 112.0), True: (50.0, 116.0)}
"""Batteries and inverters, with one bank and with a bank for each board [mm from the left]."""
BREAKER_MM, LEVEL_MM = 154.0, 78.0
"""Breakers of the sources; ways into changeovers [mm]."""
STEP_MM = 1.25 * SMALL_MM
NAMES = {"essential": "essential loads", "nonessential": "non-essential loads"}


def single_line_reduced(built: Installation) -> str:
    """Array, combiner, isolator, controller, battery, inverters, boards and sources as SVG.

    With ratings and tags only, 180 by 118 mm, for a report; cables and the other devices stand on
    the whole diagram.

    Parameters
    ----------
    built : Installation
    """
    site = built.site
    sheet = Sheet("single-line-reduced", f"Single-line diagram, reduced, {site.site.name}",
                  single_line_words(built), width_mm=WIDE_MM, height_mm=HIGH_MM)  # fmt: skip
    placer = Placer(sheet)
    several = site.supply.separate_banks
    _array(built, placer)
    ends = ((6.0, 66.0), (70.0, 140.0)) if several else ((6.0, 140.0),)
    for (left_mm, right_mm), board in zip(ends, site.banks, strict=True):
        sheet.path([(left_mm, BUS_MM), (right_mm, BUS_MM)], width_mm=THICK_MM)
        _bank(built, placer, "" if board == "shared" else board)
    if several:
        sheet.path([(112.0 + SQUARE_MM, ROW_MM + 3.0), (130.0, ROW_MM + 3.0), (130.0, BUS_MM - 6.0),
                    (62.0, BUS_MM - 6.0), (62.0, BUS_MM)])  # fmt: skip
    _boards(built, placer)
    _changeovers(built, placer)
    _sources(built, placer)
    return sheet.svg()


def _rated(part: Part | None, words: str = "") -> list[str]:
    """Tag and rating of a part."""
    if part is None:
        return []
    alike = "" if part.count == 1 else f"{part.count} × "
    rated = "" if part.rated_a is None else f"{part.rated_a:.3g}{KEPT}A"
    return [part.tag, *filter(None, [f"{alike}{words or rated}"])]


def _each(built: Installation, stem: str) -> list[str]:
    """Tag and rating of a part of each roof plane; in one line each where there are several."""
    keys = (plane_key(stem, number) for number in range(1, len(built.site.sites) + 1))
    rated = [_rated(part) for key in keys if (part := built.by_key.get(key)) is not None]
    return rated[0] if len(rated) == 1 else [" ".join(each) for each in rated]


def _under(placer: Placer, x_mm: float, y_mm: float, words: list[str], wide_mm: float) -> None:
    sheet = placer.sheet
    lines = [line for each in words for line in sheet.fitted(each, wide_mm, size_mm=SMALL_MM)]
    sheet.lines(x_mm, y_mm, lines, size_mm=SMALL_MM, anchor="middle")


def _array(built: Installation, placer: Placer) -> None:
    """From the strings along the top to the busbar."""
    site, sheet = built.site, placer.sheet
    power = f"{site.array_w / 1000.0:.3g}{KEPT}kWp"
    strings = [f"{one.array.string_count} × {one.array.modules_in_series}" for one in site.sites]
    placer.put("modules", 16.0, ROW_MM)
    modules = ", ".join(part.tag for part in built.of_kind("module"))
    _under(placer, 18.0, ROW_MM + 9.5, [modules, power, ", ".join(strings)], 30.0)
    sheet.path([(24.0, ROW_MM), (46.0, ROW_MM)])
    sheet.box(46.0, ROW_MM - 5.0, 58.0, ROW_MM + 5.0)
    sheet.path([(52.0, ROW_MM - 3.5), (52.0, ROW_MM + 3.5)], width_mm=THICK_MM)
    _under(placer, 52.0, ROW_MM + 9.5, _each(built, "combiner"), 26.0)
    sheet.path([(58.0, ROW_MM), (82.0 - HALF_MM, ROW_MM)])
    placer.put("isolator", 82.0, ROW_MM)
    _under(placer, 82.0, ROW_MM + 9.5, _each(built, "array-isolator"), 24.0)
    sheet.path([(82.0 + HALF_MM, ROW_MM), (112.0, ROW_MM)])
    placer.put("controller", 112.0, ROW_MM)
    _under(placer, 112.0, ROW_MM + 10.5, _each(built, "controller"), 20.0)
    sheet.path([(112.0 + SQUARE_MM, ROW_MM), (134.0, ROW_MM), (134.0, BUS_MM)])


def _bank(built: Installation, placer: Placer, board: str) -> None:
    """A battery that hangs from its busbar behind its isolator and fuse."""
    sheet, end = placer.sheet, f"-{board}".rstrip("-")
    x_mm = BANKS_MM[bool(board)][board == "nonessential"]
    battery = built.site.banks[board or "shared"]
    part, y_mm = built.by_key, BUS_MM
    main = next(one for one in built.cables if one.key == f"battery_main{end}")
    for key in reversed((*main.at_start, *main.at_end)):
        placer.put(part[key].symbol, x_mm, y_mm + HALF_MM, upright=True)
        rated = sheet.fitted(" ".join(_rated(part[key])), 22.0, size_mm=SMALL_MM)
        sheet.lines(x_mm + 3.0, y_mm + HALF_MM + 0.9, rated, size_mm=SMALL_MM)
        y_mm += 2.0 * HALF_MM
    placer.put("battery", x_mm, y_mm + HALF_MM, upright=True)
    energy = f"{battery.rated_ah * battery.nominal_voltage_v / 1000.0:.3g}{KEPT}kWh"
    words = [part[f"battery{end}"].tag, energy, f"{battery.nominal_voltage_v:g}{KEPT}V"]
    sheet.lines(x_mm + 5.0, y_mm + 3.0, words, size_mm=SMALL_MM)


def _boards(built: Installation, placer: Placer) -> None:
    """Inverters down to the boards."""
    site, sheet, part = built.site, placer.sheet, built.by_key
    one, columns = site.supply.one_inverter, COLUMNS_MM[site.supply.separate_banks]
    for board, x_mm in zip(NAMES, columns, strict=True):
        top_mm = INVERTER_MM + SQUARE_MM
        if f"inverter-{board}" in part and (not one or board == "essential"):
            inverter = site.inverter_of(board)
            sheet.path([(x_mm, BUS_MM), (x_mm, INVERTER_MM)])
            placer.put("inverter", x_mm, INVERTER_MM)
            several = f" ×{inverter.count}" if inverter.count > 1 else ""
            words = [part[f"inverter-{board}"].tag + several, watts(inverter.continuous_power_w)]
            sheet.lines(x_mm + 8.0, INVERTER_MM - 2.5, [each.replace(" ", KEPT) for each in words],
                        size_mm=SMALL_MM)  # fmt: skip
        else:
            sheet.path([(columns[0], 88.0), (x_mm, 88.0)])
            sheet.circle(columns[0], 88.0, 0.6, fill="black")
            top_mm = 88.0
        sheet.path([(x_mm, top_mm), (x_mm, BOARD_MM)])
        sheet.path([(x_mm - 10.0, BOARD_MM), (x_mm + 10.0, BOARD_MM)], width_mm=THICK_MM)
        sheet.path([(x_mm, BOARD_MM), (x_mm, BOARD_MM + 2.0)])
        placer.put("load", x_mm, BOARD_MM + 2.0 + HALF_MM, upright=True)
        name = f"{part[f'board-{board}'].tag} {NAMES[board]}"
        sheet.lines(x_mm + 3.5, BOARD_MM + 5.0, sheet.fitted(name, 26.0, size_mm=SMALL_MM),
                    size_mm=SMALL_MM)  # fmt: skip


def _changeovers(built: Installation, placer: Placer) -> None:
    """A changeover of its own behind each inverter, its second way to the right."""
    columns = COLUMNS_MM[built.site.supply.separate_banks]
    for part in built.of_kind("changeover"):
        if part.inside or part.key == "changeover-sources":
            continue
        x_mm = columns[part.board == "nonessential" or part.key.endswith("-nonessential")]
        placer.sheet.box(x_mm - 1.0, LEVEL_MM, x_mm + 1.0, LEVEL_MM + 2.0 * HALF_MM,
                         width_mm=0.0, fill="white")  # fmt: skip
        placer.put("changeover", x_mm, LEVEL_MM + HALF_MM, upright=True)
        words = KEPT.join(_rated(part))
        placer.sheet.text(x_mm + 8.0, LEVEL_MM + 5.0, words, size_mm=SMALL_MM)


def _sources(built: Installation, placer: Placer) -> None:
    """Grid and generator with their breakers, to the inverters or changeovers."""
    site, sheet = built.site, placer.sheet
    if not site.sources:
        return
    switches = built.of_kind("changeover")
    outside = any(part.bought is not None for part in switches)
    level_mm = LEVEL_MM if outside else INVERTER_MM + 4.0
    columns = COLUMNS_MM[site.supply.separate_banks]
    inputs = columns[:1] if site.supply.one_inverter else columns
    if len(site.sources) == 1:
        _source(built, placer, next(iter(site.sources)), [(142.0, level_mm)])
    else:
        _two_sources(built, placer, level_mm)
    sheet.path([(136.0, level_mm), _input(inputs[-1], level_mm, outside=outside)])
    if len(site.sources) == 1:
        sheet.path([(142.0, level_mm), (136.0, level_mm)])
    for x_mm in inputs[:-1]:
        _further(sheet, (x_mm, columns[-1]), level_mm, outside=outside)


def _two_sources(built: Installation, placer: Placer, level_mm: float) -> None:
    """Both sources to the switch between them, or to where they meet without one."""
    sheet, parts = placer.sheet, built.of_kind("changeover")
    own = [part for part in parts if part.key == "changeover-sources"]
    tags = [part.tag for part in own or parts]
    places = ((148.0, BUS_MM + 8.0, level_mm), (148.0, 100.0, level_mm + 6.0))
    for source, (x_mm, y_mm, entry_mm) in zip(built.site.sources, places, strict=True):
        entry_mm = entry_mm if tags else level_mm
        _source(built, placer, source, [(x_mm, y_mm), (x_mm, entry_mm), (144.0, entry_mm)])
    if not tags:
        sheet.path([(144.0, level_mm), (136.0, level_mm)])
        return
    # its way out is to the left
    for x_mm, y_mm in ((144.0, level_mm), (144.0, level_mm + 6.0)):
        sheet.path([(x_mm, y_mm), (142.4, y_mm)])
    sheet.path([(142.4, level_mm), (142.4, level_mm + 1.0)])
    sheet.path([(142.4, level_mm + 6.0), (142.4, level_mm + 5.0)])
    sheet.path([(136.0, level_mm), (137.2, level_mm), (142.4, level_mm + 0.9)])
    placer.used.add("changeover")
    words = ", ".join(tags) + ("" if own else " inside")
    sheet.text(146.0, level_mm + 10.0, words, size_mm=SMALL_MM, anchor="end")


def _input(x_mm: float, level_mm: float, *, outside: bool) -> Point:
    return x_mm + (6.0 if outside else SQUARE_MM), level_mm


def _further(sheet: Sheet, columns: Point, level_mm: float, *, outside: bool) -> None:
    """From the last input on to one before it, below the words of the inverters."""
    x_mm, last_mm = columns
    if outside:
        sheet.circle(last_mm + 6.0, level_mm, 0.6, fill="black")
        sheet.path([(last_mm + 6.0, level_mm), (x_mm + 6.0, level_mm)])
        return
    low_mm, turn_mm = INVERTER_MM + SQUARE_MM + 4.0, last_mm + 17.0
    sheet.path([(turn_mm, level_mm), (turn_mm, low_mm), (x_mm + 9.0, low_mm),
                (x_mm + 9.0, level_mm), (x_mm + SQUARE_MM, level_mm)])  # fmt: skip
    sheet.circle(turn_mm, level_mm, 0.6, fill="black")


def _source(built: Installation, placer: Placer, source: str, end: list[Point]) -> None:
    """A source with its breaker, from the right, and the line on to its end."""
    site, sheet, x_mm, y_mm = built.site, placer.sheet, BREAKER_MM, end[0][1]
    power_w = site.grid.limit_w if source == "grid" else site.generator.power_w
    sheet.path([(x_mm - HALF_MM, y_mm), *end])
    placer.put("breaker", x_mm, y_mm)
    sheet.path([(x_mm + HALF_MM, y_mm), (165.5, y_mm)])
    placer.put(source, 170.0, y_mm)
    sheet.text(149.8, y_mm - 4.0, " ".join(_rated(built.by_key.get(f"{source}-breaker"))),
               size_mm=SMALL_MM)  # fmt: skip
    _under(placer, 163.0, y_mm + 8.5, [f"{built.by_key[source].tag} {source}",
                                       watts(power_w).replace(" ", KEPT)], 34.0)  # fmt: skip
