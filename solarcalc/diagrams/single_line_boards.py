"""The alternating-current side of a single-line diagram: inverters, sources, boards."""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.diagrams.lettering import SMALL_MM, Said
from solarcalc.diagrams.sheet import DASH_DOT, DASHED, THICK_MM, THIN_MM, Point
from solarcalc.diagrams.single_line_parts import (
    DOWN_MM,
    FOOT_MM,
    STEP_MM,
    Diagram,
    Places,
    watts,
)
from solarcalc.diagrams.symbols import HALF_MM, SQUARE_MM
from solarcalc.wiring.runs import grouped_boards

INVERTER_MM = 2.0 * SQUARE_MM
SHORT_LEAD_MM = 2.0
"""Line behind one of several inverters, where a column has a cable more [mm]."""
OUTPUT_MM = DOWN_MM + 2.0
"""Breaker and bar where the outputs of several inverters meet."""
LINK_WORDS_MM = 3.0
"""More below that bar for the words of a cable that comes into the changeover behind it."""
LEAD_MM, TAP_MM, BAR_STEP_MM, HOUSE_STEP_MM = 5.0, 1.5, 7.0, 12.0
"""Line before and behind an inverter; behind a tap; a board's busbar with its
words; end of a column [mm]."""
LEVEL_STEP_MM = 5.5
"""From the line of one source to that of the next, words between them [mm]."""
SECOND_WAY_MM = 6.0
"""The second way into a changeover stands this far right of the first [mm]."""
RISERS_MM = {"grid": 324.0, "generator": 330.0}
SOURCES_MM = {"grid": 340.0, "generator": 380.0}
"""Where each source stands, and where its line goes up to the inverters [mm from the left]."""
SOURCE_FOOT_MM, SOURCE_RUN_MM, SOURCE_WORDS_MM, SOURCE_NAME_MM = 236.0, 16.0, 30.0, 28.0
DETOUR_MM = 236.0
"""Height at which lines pass below the bank of the nonessential board [mm from the top]."""
BOARDS = {"essential": "essential-loads board", "nonessential": "non-essential-loads board"}


@dataclass(frozen=True, kw_only=True)
class Way:
    """How the alternating current goes.

    Parameters
    ----------
    sources : tuple of str
        ``"generator"``, ``"grid"``: those there are.
    outside : bool
        A changeover of its own stands behind the inverter; else the inverter takes them in.
    one_inverter : bool
        One inverter serves both boards.
    run_mm : float
        Length on paper of each run in a column [mm].
    grouped : bool
        Several inverters serve a board, and their outputs meet at one of their own.
    """

    sources: tuple[str, ...]
    outside: bool
    one_inverter: bool
    run_mm: float
    grouped: bool


def way_of(diagram: Diagram, places: Places) -> Way:
    """Sources, changeover and inverters as the site and its devices have them."""
    site = diagram.site
    sources = list(reversed(site.sources))
    outside = any(not part.inside for part in diagram.built.of_kind("changeover"))
    one, grouped = site.supply.one_inverter, bool(grouped_boards(site))
    lead_mm = SHORT_LEAD_MM if grouped else LEAD_MM
    fixed_mm = (LEAD_MM + lead_mm + 4.0 * DOWN_MM + _band_mm(sources, outside) + INVERTER_MM
                + (OUTPUT_MM + outside * LINK_WORDS_MM if grouped else 0.0)
                + (DOWN_MM + 2.0 if outside else 0.0) + (2.0 if one else 0.0)
                + TAP_MM + BAR_STEP_MM + HOUSE_STEP_MM)  # fmt: skip
    free_mm = FOOT_MM - places.bus_mm - fixed_mm
    return Way(sources=tuple(sources), outside=outside, one_inverter=one, grouped=grouped,
               run_mm=free_mm / (4.0 if grouped else 3.0))  # fmt: skip


def _band_mm(sources: list[str] | tuple[str, ...], outside: bool) -> float:
    return 0.0 if outside or not sources else 2.0 + LEVEL_STEP_MM * len(sources)


def draw_boards(diagram: Diagram, places: Places) -> None:
    """From the bus of each bank down to the house, and the grid and generator beside."""
    way = way_of(diagram, places)
    ends = {source: _source(diagram, source) for source in way.sources}
    diagram.device_lines = 3 if way.run_mm >= STEP_MM + HALF_MM else 1  # words in a short column
    boards = ("essential",) if way.one_inverter else ("essential", "nonessential")
    entries: list[Point] = []
    foot_mm = 0.0
    for board, x_mm in zip(boards, places.columns_mm, strict=False):
        foot_mm = _inverter(diagram, places, way, board, x_mm)
        if way.grouped:
            foot_mm = _output(diagram, places, way, board, (x_mm, foot_mm))
        if way.outside:
            entries.append((x_mm + SECOND_WAY_MM, foot_mm))
            foot_mm = _changeover(diagram, places, board, x_mm, foot_mm)
    if way.one_inverter:
        left_mm, right_mm = places.columns_mm
        diagram.sheet.path([(left_mm, foot_mm), (left_mm, foot_mm + 2.0)])
        diagram.sheet.circle(left_mm, foot_mm + 1.0, 0.6, fill="black")
        diagram.sheet.path([(left_mm, foot_mm + 1.0), (right_mm, foot_mm + 1.0),
                            (right_mm, foot_mm + 2.0)])  # fmt: skip
        foot_mm += 2.0
    for board, x_mm in zip(("essential", "nonessential"), places.columns_mm, strict=True):
        _board(diagram, places, way, board, (x_mm, foot_mm))
    _supply_outside(diagram, places, way, ends, entries)
    _supply_inside(diagram, places, way, ends)


def _inverter(diagram: Diagram, places: Places, way: Way, board: str, x_mm: float) -> float:
    """Fuse, cable and inverter; returns the end of the line below it [mm]."""
    sheet, y_mm = diagram.sheet, places.bus_mm
    sheet.path([(x_mm, y_mm), (x_mm, y_mm + LEAD_MM)])
    key = diagram.run_key("battery_inverter", board)
    y_mm = diagram.stands_down(key, "start", x_mm, y_mm + LEAD_MM, words_mm=places.words_mm)
    diagram.run_down(key, x_mm, y_mm, y_mm + way.run_mm, words_mm=places.words_mm)
    y_mm += way.run_mm
    top_mm = y_mm
    diagram.placer.put("inverter", x_mm, top_mm + SQUARE_MM)
    side_mm = 8.0 if way.outside or not way.sources else 8.5 + 2.0 * len(way.sources)
    if way.outside and f"charger_input_{board}" in diagram.runs:
        side_mm = 12.0
    words = _inverter_words(diagram, way, board, places.words_mm - side_mm + 4.0)
    sheet.lines(x_mm + side_mm, top_mm + SQUARE_MM + 1.0 - STEP_MM * (len(words) - 1) / 2.0, words)
    y_mm = top_mm + INVERTER_MM
    lead_mm = SHORT_LEAD_MM if way.grouped else LEAD_MM
    end_mm = y_mm + lead_mm + _band_mm(way.sources, way.outside)
    sheet.path([(x_mm, y_mm), (x_mm, end_mm)])
    protection = diagram.site.protection
    inside = protection.neutral_earth_bond == "at-changeover" and not way.outside
    if protection.neutral_earth_bond == "at-inverter" or inside:
        diagram.tie(board, x_mm, y_mm + 1.5)
    return end_mm


def _inverter_words(diagram: Diagram, way: Way, board: str, words_mm: float) -> list[str]:
    """Its name and power, and the changeover that is inside it."""
    inverter = diagram.site.inverter_of(board)
    sheet = diagram.sheet
    label = diagram.words("inverter", board, inverter.label)
    words = sheet.fitted(label, words_mm, lines=2)
    power = watts(inverter.continuous_power_w)
    serves = "both boards" if way.one_inverter else board.replace("non", "non-") + " loads"
    whole = f"{power}, {serves}"
    words += sheet.joined([whole] if sheet.lines_in_all(whole, words_mm) == 1 else [power, serves],
                          words_mm, lines=3 - sheet.lines_in_all(label, words_mm))  # fmt: skip
    switch = diagram.part("changeover", board)
    if switch is not None and switch.inside:
        rated = "" if switch.rated_a is None else f"{switch.rated_a:g} A"
        inside = diagram.words("changeover", board, f"{rated} inside")
        if sheet.lines_in_all(inside, words_mm) > 1:  # no fifth line: tag and rating say which
            inside = diagram.words("changeover", board, rated)
        words += sheet.fitted(inside, words_mm, lines=1)
    return words


def _output(
    diagram: Diagram, places: Places, way: Way, board: str, start: Point
) -> float:
    """Cable of each of several inverters, its breaker, the bar they meet at; its end [mm]."""
    x_mm, y_mm = start
    key = diagram.run_key("inverter_output", board)
    if key not in diagram.runs:
        end_mm = y_mm + way.run_mm + OUTPUT_MM + way.outside * LINK_WORDS_MM
        diagram.sheet.path([(x_mm, y_mm), (x_mm, end_mm)])
        return end_mm
    side_mm = 11.0 if way.outside and f"charger_input_{board}" in diagram.runs else 4.0
    words_mm = places.words_mm + 4.0 - side_mm
    diagram.run_down(key, x_mm, y_mm, y_mm + way.run_mm, words_mm=words_mm, side_mm=side_mm)
    bar_mm = diagram.stands_down(key, "end", x_mm, y_mm + way.run_mm, words_mm=words_mm,
                                 side_mm=side_mm)  # fmt: skip
    diagram.sheet.path([(x_mm - 8.0, bar_mm), (x_mm + 8.0, bar_mm)], width_mm=THICK_MM)
    end_mm = bar_mm + 2.0 + way.outside * LINK_WORDS_MM
    diagram.sheet.path([(x_mm, bar_mm), (x_mm, end_mm)])
    words = diagram.words("inverter-output", board, "output board")
    diagram.sheet.text(x_mm + max(9.5, side_mm), bar_mm + 0.9, words, size_mm=SMALL_MM)
    return end_mm


def _changeover(
    diagram: Diagram, places: Places, board: str, x_mm: float, y_mm: float
) -> float:
    device = diagram.part("changeover", board)
    if device is None:
        return y_mm
    end_mm = diagram.device_down(device, x_mm, y_mm, words_mm=places.words_mm - 6.0, side_mm=10.0)
    diagram.sheet.path([(x_mm, end_mm), (x_mm, end_mm + 2.0)])
    if diagram.site.protection.neutral_earth_bond == "at-changeover":
        diagram.tie(board, x_mm, end_mm + 1.0)
    return end_mm + 2.0


def _board(diagram: Diagram, places: Places, way: Way, board: str, start: Point) -> None:
    """Cable to the board, what protects in it, cable to the house."""
    x_mm, y_mm = start
    sheet, words_mm = diagram.sheet, places.words_mm
    key = diagram.run_key("inverter_board", board)
    y_mm = diagram.stands_down(key, "start", x_mm, y_mm, words_mm=words_mm)
    diagram.run_down(key, x_mm, y_mm, y_mm + way.run_mm, words_mm=words_mm)
    y_mm += way.run_mm
    top_mm = y_mm - (0.1 if way.grouped else 1.6)
    _surge(diagram, places, "board-surge", board, (x_mm, y_mm))
    sheet.path([(x_mm, y_mm), (x_mm, y_mm + TAP_MM)])
    y_mm = diagram.stands_down(key, "end", x_mm, y_mm + TAP_MM, words_mm=places.surge_mm - 8.0)
    bar_mm = y_mm + 1.0
    sheet.path([(x_mm - 8.0, bar_mm), (x_mm + 8.0, bar_mm)], width_mm=THICK_MM)
    words = sheet.fitted(diagram.words("board", board, BOARDS[board]), places.surge_mm - 12.0,
                         size_mm=SMALL_MM)  # fmt: skip
    sheet.lines(x_mm + 9.5, bar_mm + 0.9 - 1.55 * (len(words) - 1), words, size_mm=SMALL_MM)
    sheet.path([(x_mm, y_mm), (x_mm, y_mm + BAR_STEP_MM)])
    key = diagram.run_key("board_house", board)
    y_mm = diagram.stands_down(key, "start", x_mm, y_mm + BAR_STEP_MM,
                               words_mm=places.surge_mm - 8.0)  # fmt: skip
    sheet.box(x_mm - 11.0, top_mm, x_mm + places.surge_mm + 29.3, y_mm, width_mm=THIN_MM,
              dash=DASHED)  # fmt: skip
    diagram.run_down(key, x_mm, y_mm, y_mm + way.run_mm, words_mm=places.surge_mm - 8.0)
    y_mm += way.run_mm
    _surge(diagram, places, "house-surge", board, (x_mm, y_mm))
    sheet.path([(x_mm, y_mm), (x_mm, y_mm + 3.0)])
    diagram.placer.put("load", x_mm, y_mm + 3.0 + HALF_MM, upright=True)
    to = "to final circuits, " + board.replace("non", "non-")
    words = diagram.sheet.fitted(diagram.words("house", board, to), places.surge_mm - 8.0, lines=2)
    sheet.lines(x_mm + 4.0, y_mm + 6.0, words)


def _surge(diagram: Diagram, places: Places, stem: str, board: str, start: Point) -> None:
    """A surge protective device beside a column, with the fuse before it."""
    device, (x_mm, y_mm) = diagram.part(stem, board), start
    if device is None:
        return
    beside_mm = x_mm + places.surge_mm
    diagram.sheet.circle(x_mm, y_mm, 0.6, fill="black")
    diagram.sheet.path([(x_mm, y_mm), (beside_mm, y_mm)])
    diagram.surge_to_earth(device, beside_mm, y_mm, words_mm=25.4,
                           fuse=diagram.part(f"{stem}-fuse", board))  # fmt: skip


def _source(diagram: Diagram, source: str) -> Point:
    """A source at the foot of its column; its breaker at the entry, before its cable.

    Returns its upper end.
    """
    x_mm, foot_mm = SOURCES_MM[source], SOURCE_FOOT_MM
    site, sheet = diagram.site, diagram.sheet
    sheet.path([(x_mm, foot_mm), (x_mm, foot_mm + 2.0)])
    diagram.placer.put(source, x_mm, foot_mm + 6.5)
    power_w = site.grid.limit_w if source == "grid" else site.generator.power_w
    words = [*sheet.fitted(diagram.words(source, "", source), SOURCE_NAME_MM), watts(power_w)]
    sheet.lines(x_mm + 6.0, foot_mm + 8.0 - STEP_MM * (len(words) - 2), words)
    _bond_of_source(diagram, source, x_mm, foot_mm)
    top_mm = foot_mm
    key = f"{source}_in"
    for device in (*diagram.standing(key, "start"), None, None)[:2]:
        top_mm -= DOWN_MM
        diagram.device_down(device, x_mm, top_mm, words_mm=SOURCE_WORDS_MM, upwards=True)
    diagram.run_down(key, x_mm, top_mm - SOURCE_RUN_MM, top_mm,
                     words_mm=SOURCE_WORDS_MM)  # fmt: skip
    return x_mm, top_mm - SOURCE_RUN_MM


def _bond_of_source(diagram: Diagram, source: str, x_mm: float, foot_mm: float) -> None:
    """Neutral and earth joined at a source itself: at the supplier's transformer, a generator."""
    part = diagram.part(f"bond-{source}")
    if part is None:
        return
    end_mm, words_mm = (x_mm - 6.0, foot_mm + 1.0), foot_mm + 4.2
    whose, path = "supplier's bond", [(x_mm, foot_mm + 1.0), end_mm]
    if source == "generator":
        end_mm, words_mm = (x_mm, foot_mm + 14.0), foot_mm + 15.6
        whose, path = "N-PE bond", [(x_mm, foot_mm + 11.0), end_mm]
    else:
        diagram.sheet.circle(x_mm, foot_mm + 1.0, 0.6, fill="black")
    diagram.sheet.path(path, dash=DASH_DOT)
    diagram.placer.put("earth", *end_mm)
    words = [diagram.words(f"bond-{source}", "", whose), diagram.earth_words(part.key)]
    if source == "grid":
        diagram.sheet.text(x_mm + 6.0, words_mm, " ".join(filter(None, words)))
    else:
        diagram.sheet.lines(x_mm + 6.0, words_mm, [each for each in words if each])


def _supply_outside(diagram: Diagram, places: Places, way: Way, ends: dict[str, Point],
                    entries: list[Point]) -> None:  # fmt: skip
    """From the sources to the second way into each changeover, and to the chargers."""
    if not way.outside:
        return
    sheet, x_mm, level_mm = diagram.sheet, RISERS_MM["grid"], entries[0][1]
    start_mm = level_mm + 16.0 if len(ends) > 1 else ends[way.sources[0]][1] - 1.0
    for source, (from_mm, end_mm) in ends.items():
        riser_mm = RISERS_MM[source] if len(ends) > 1 else x_mm
        turn_mm = end_mm - (2.5 if source == "generator" else 1.0)
        sheet.path([(from_mm, end_mm), (from_mm, turn_mm), (riser_mm, turn_mm),
                    (riser_mm, start_mm)])  # fmt: skip
    if len(ends) > 1:
        _between_sources(diagram, x_mm, start_mm)
        start_mm -= 2.0 * HALF_MM
    sheet.path([(x_mm, start_mm), (x_mm, level_mm), *_to_left(places, level_mm, 0),
                (entries[0][0], level_mm)])  # fmt: skip
    for entry in entries[1:]:
        sheet.circle(*entry, 0.6, fill="black")
    for board, entry in zip(("essential", "nonessential"), entries, strict=False):
        _charger(diagram, board, entry)
        _link_words(diagram, board, entry)


def _between_sources(diagram: Diagram, x_mm: float, foot_mm: float) -> None:
    """The changeover of grid and generator, its words left of it."""
    part = diagram.part("changeover", "sources")
    diagram.placer.put("changeover", x_mm, foot_mm - HALF_MM, upright=True, upwards=True)
    if part is None:
        return
    rated = "" if part.rated_a is None else f"{part.rated_a:g} A"
    words = diagram.words("changeover", "sources", rated)
    diagram.sheet.text(x_mm - 4.0, foot_mm - HALF_MM + 1.0, words, anchor="end")


def _charger(diagram: Diagram, board: str, entry: Point) -> None:
    """From the sources' way into a changeover up to the charger inside the inverter."""
    if f"charger_input_{board}" not in diagram.runs:
        return
    y_mm, column_mm = entry[1], entry[0] - SECOND_WAY_MM
    side_mm, up_mm = column_mm + 9.0, y_mm - LEAD_MM - SQUARE_MM
    diagram.sheet.path([(side_mm, y_mm), (side_mm, up_mm), (column_mm + SQUARE_MM, up_mm)])
    diagram.sheet.circle(side_mm, y_mm, 0.6, fill="black")


def _link_words(diagram: Diagram, board: str, entry: Point) -> None:
    """Words of the cables from the sources to a switch, an inverter and its charger."""
    room_mm = 66.0 if board == "essential" else 80.0
    keys = [key for key in (f"source_link_{board}", f"charger_input_{board}")
            if key in diagram.runs]
    lines = [diagram.run_line(key, room_mm / len(keys)) for key in keys]
    words = Said(diagram.sheet.said("; ").join(lines))
    diagram.sheet.text(entry[0] + 5.0, entry[1] - 1.2, words)


def _to_left(places: Places, level_mm: float, number: int) -> list[Point]:
    """Places by which a line from the right passes below the bank of the nonessential board."""
    if not places.separate:
        return []
    down_mm, up_mm, low_mm = 208.5 + 2.5 * number, 162.0 - 2.5 * number, DETOUR_MM + 3.0 * number
    return [(down_mm, level_mm), (down_mm, low_mm), (up_mm, low_mm), (up_mm, level_mm)]


def _supply_inside(diagram: Diagram, places: Places, way: Way, ends: dict[str, Point]) -> None:
    """From the sources to the inputs that each inverter has for them."""
    if way.outside or not way.sources:
        return
    sheet = diagram.sheet
    top_mm = places.bus_mm + LEAD_MM + DOWN_MM + way.run_mm
    columns_mm = places.columns_mm[:1] if way.one_inverter else places.columns_mm
    lead_mm = SHORT_LEAD_MM if way.grouped else LEAD_MM
    first_mm = top_mm + INVERTER_MM + lead_mm + LEVEL_STEP_MM - 2.0
    for number, source in enumerate(way.sources):
        from_mm, end_mm = ends[source]
        turn_mm = end_mm - (2.5 if source == "generator" else 1.0)
        level_mm = first_mm + LEVEL_STEP_MM * number
        entry_mm, side_mm = top_mm + SQUARE_MM + 2.0 - 4.0 * number, 8.5 + 2.0 * number
        riser_mm = RISERS_MM[source]
        sheet.path([(from_mm, end_mm), (from_mm, turn_mm), (riser_mm, turn_mm),
                    (riser_mm, level_mm), *_to_left(places, level_mm, number),
                    (columns_mm[0] + side_mm, level_mm)])  # fmt: skip
        for x_mm in columns_mm:
            sheet.path([(x_mm + side_mm, level_mm), (x_mm + side_mm, entry_mm),
                        (x_mm + SQUARE_MM, entry_mm)])  # fmt: skip
        for x_mm in columns_mm[1:]:
            sheet.circle(x_mm + side_mm, level_mm, 0.6, fill="black")
    for board, x_mm in zip(("essential", "nonessential"), columns_mm, strict=False):
        _link_words(diagram, board, (x_mm + 4.0 + 2.0 * len(way.sources), first_mm))
