"""The single-line diagram of a site: its sun side, and the whole of it down to the house."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.messages import PATTERN
from solarcalc.basis.text import counted
from solarcalc.diagrams.sheet import (
    A3_LONG_MM,
    A3_SHORT_MM,
    DASH_DOT,
    DASHED,
    THICK_MM,
    THIN_MM,
    Point,
    Sheet,
    draw_frame,
    title_block,
)
from solarcalc.diagrams.single_line_boards import draw_boards
from solarcalc.diagrams.single_line_parts import (
    EARTH_BAR_MM,
    ONE_BANK,
    RUN_NOTE,
    TWO_BANKS,
    TWO_PLANES,
    Diagram,
    Places,
    watts,
)
from solarcalc.diagrams.symbols import HALF_MM, SQUARE_MM
from solarcalc.installation.records import Installation, Part
from solarcalc.installation.schedules import source_terminals
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.supply import Controller
from solarcalc.wiring.runs import of_plane, plane_key, plane_number
from solarcalc.wiring.switching import system_words

ROW_MM, SECOND_ROW_MM = 38.0, 80.0
"""Height of the row of modules and controller; of a second one [mm from the top]."""
FRAME_EARTH_MM = 10.0
"""The earth conductor of the module frames runs down here [mm from the left]."""
BOX_MM = (80.0, 150.0)
"""Left and right side of the combiner box [mm from the left]."""
ROW_END_MM = 281.0
"""A row of modules and controller ends here [mm from the left]."""
FEED_MM, ASIDE_MM = 300.0, 288.0
"""Where a row turns down to its busbar; where the lower of two does [mm from the left]."""
FOOT_MM, FEED_WORDS_MM = 100.0, 40.0
"""Where the lower of two rows comes down to its busbar [mm from the left]; words beside a feed."""
BANK_RUN_MM = 14.0
"""Length on paper of each conductor of a bank [mm]."""


@dataclass(frozen=True, kw_only=True)
class _Row:
    """A row of modules and controller.

    Parameters
    ----------
    y_mm : float
        Its height [mm from the top].
    share : str
        What of the array it is, in words; empty for all of it.
    board : str
        Whose bank it charges, where each board has one.
    plane : int
        Number of its roof plane.
    again : bool
        Whether what it is made of stands in the row above.
    """

    y_mm: float
    share: str = ""
    board: str = "nonessential"
    plane: int = 1
    again: bool = False

    def key(self, stem: str) -> str:
        """Key of its part or run."""
        return plane_key(stem, self.plane)


ROWS_DRAWN, ROWS_A_SHEET = 2, 5
"""Roof planes on the diagram of the whole, and on a sheet of those after them."""
ROW_STEP_MM, STUB_MM = 42.0, 318.0
"""From row to row on such a sheet [mm]; end of the cable to the battery [mm from the left]."""


def further_planes(built: Installation, language: str = PATTERN) -> list[str]:
    """Sheets of the roof planes after the second, down to the busbars of the whole diagram."""
    numbers = range(ROWS_DRAWN + 1, len(built.site.sites) + 1)
    return [_further_sheet(built, numbers[at : at + ROWS_A_SHEET], at // ROWS_A_SHEET, language)
            for at in range(0, len(numbers), ROWS_A_SHEET)]  # fmt: skip


def _further_sheet(
    built: Installation, numbers: Sequence[int], at: int, language: str
) -> str:
    site, part = built.site, "abcdefgh"[at]
    sheet = Sheet(f"single-line-{part}", f"Single-line diagram, roof planes, {site.site.name}",
                  single_line_words(built), width_mm=A3_LONG_MM, height_mm=A3_SHORT_MM,
                  language=language)  # fmt: skip
    diagram = Diagram(built, sheet)
    rows = [_Row(y_mm=ROW_MM + ROW_STEP_MM * place, plane=number)
            for place, number in enumerate(numbers)]  # fmt: skip
    for row in rows:
        key = row.key("controller_battery")
        _row(diagram, row)
        diagram.run_across(key, ROW_END_MM, STUB_MM, row.y_mm, words_at_mm=300.0, words_mm=36.0)
        _across(diagram, key, "end", STUB_MM + 5.0, row.y_mm, words_mm=30.0)
        sheet.path([(STUB_MM + 10.0, row.y_mm), (STUB_MM + 14.0, row.y_mm)])
        sheet.text(STUB_MM + 15.0, row.y_mm + 1.0, f"to {diagram.tag('busbar')}")
        sheet.path([(16.0, row.y_mm), (FRAME_EARTH_MM, row.y_mm)])
    _frames(diagram, ROW_MM)
    _frame_words(diagram, numbers)
    diagram.placer.legend(348.0, 16.0, 66.0, 5.4)
    block = title_block(site, number=f"SP-05{part}", sheet=f"5{part}", language=language,
                        title="Single-line, roof planes")  # fmt: skip
    draw_frame(sheet, block, [RUN_NOTE, "Battery, inverters, boards: sheet 5.", CASES])
    return sheet.svg()


def _frame_words(diagram: Diagram, numbers: Sequence[int]) -> None:
    """The main earthing terminal with the conductors of the frames of some roof planes."""
    left_mm, right_mm = EARTH_BAR_ENDS_MM
    diagram.sheet.path([(left_mm, EARTH_BAR_MM), (right_mm, EARTH_BAR_MM)], width_mm=THICK_MM)
    keys = [plane_key(stem, number) for number in numbers for stem in ("module", "rail")]
    diagram.sheet.text(12.5, EARTH_BAR_MM - 2.4, diagram.earth_words(*keys))
    diagram.sheet.text(12.5, EARTH_BAR_MM - 5.9, "module frames and rails")


def draw_sun(diagram: Diagram, places: Places) -> None:
    """Strings, combiner and controllers, down to the busbar of each bank.

    Roof planes after the second stand on sheets of their own: `further_planes`.
    """
    share = diagram.site.supply.essential_array_frac
    rows = [_Row(y_mm=ROW_MM)]
    if places.separate:
        rows = [_Row(y_mm=ROW_MM, share=f"{100.0 * (1.0 - share):.3g} % of "),
                _Row(y_mm=SECOND_ROW_MM, share=f"{100.0 * share:.3g} % of ", board="essential",
                     again=True)]  # fmt: skip
    elif diagram.site.planes:
        rows.append(_Row(y_mm=SECOND_ROW_MM, plane=2))
    _row(diagram, rows[0])
    _feed_down(diagram, FEED_MM, ROW_MM, places.bus_mm)
    if len(rows) == 1:
        _frames(diagram, ROW_MM)
        return
    _row(diagram, rows[1])
    _feed_aside(diagram, rows[1], (FOOT_MM, places.bus_mm))
    _frames(diagram, ROW_MM)
    diagram.sheet.path([(16.0, SECOND_ROW_MM), (FRAME_EARTH_MM, SECOND_ROW_MM)])
    diagram.sheet.circle(FRAME_EARTH_MM, SECOND_ROW_MM, 0.6, fill="black")


def _row(diagram: Diagram, row: _Row) -> None:
    sheet, placer, y_mm = diagram.sheet, diagram.placer, row.y_mm
    site = diagram.site.sites[row.plane - 1]
    array, module = site.array, site.module
    strings = array.string_count
    placer.put("modules", 24.0, y_mm)
    words = [f"{row.share}{strings} string{'s' if strings > 1 else ''} of"
             f" {array.modules_in_series},",
             "as above" if row.again else diagram.words(row.key("module"), "",
                                                        watts(module.pmax_w)),
             *([site.roof.name] if site.roof.name else [])]  # fmt: skip
    words = [line for each in words for line in sheet.fitted(each, 60.0)]
    sheet.lines(16.0, y_mm + 10.0, words)
    diagram.run_across(row.key("string"), 32.0, BOX_MM[0] + 8.5, y_mm, words_at_mm=56.0,
                       words_mm=44.0)  # fmt: skip
    _combiner(diagram, row, several=strings > 1)
    diagram.run_across(row.key("dc_main"), BOX_MM[1], 194.0, y_mm, words_at_mm=172.0,
                       words_mm=42.0)  # fmt: skip
    _across(diagram, row.key("dc_main"), "end", 199.0, y_mm, words_mm=26.0)
    sheet.path([(204.0, y_mm), (252.0, y_mm)])
    diagram.surge_to_earth(diagram.part(row.key("array-surge")), 216.0, y_mm, words_mm=31.0)
    _controller(diagram, 252.0, row, site.controller)
    sheet.path([(252.0 + 2.0 * SQUARE_MM, y_mm), (ROW_END_MM - 10.0, y_mm)])
    _across(diagram, diagram.run_key(row.key("controller_battery"), row.board), "start",
            ROW_END_MM - 5.0, y_mm, words_mm=32.0)


def _across(diagram: Diagram, key: str, end: Literal["start", "end"], x_mm: float, y_mm: float, *,
            words_mm: float) -> None:  # fmt: skip
    """What stands at an end of a run that goes to the right, or the line alone."""
    devices: list[Part | None] = [*diagram.standing(key, end)]
    for device in devices or [None]:
        diagram.device_across(device, x_mm, y_mm, words_mm=words_mm)


def _combiner(diagram: Diagram, row: _Row, *, several: bool) -> None:
    """The box that strings are joined in: their fuses, its bar, its surge protective device."""
    sheet, y_mm = diagram.sheet, row.y_mm
    left_mm, right_mm = BOX_MM
    _across(diagram, row.key("string"), "end", left_mm + 13.5, y_mm, words_mm=25.0)
    sheet.path([(left_mm + 18.5, y_mm), (right_mm, y_mm)])
    if several:
        sheet.path([(left_mm + 28.0, y_mm - 4.0), (left_mm + 28.0, y_mm + 4.0)],
                   width_mm=THICK_MM)  # fmt: skip
        diagram.placer.used.add("bar")
    diagram.surge_to_earth(diagram.part(row.key("array-surge-roof")), left_mm + 34.0, y_mm,
                           words_mm=31.5)  # fmt: skip
    sheet.box(left_mm, y_mm - 5.6, right_mm, y_mm + 24.0, width_mm=THIN_MM, dash=DASHED)
    key = row.key("combiner")
    box = diagram.words(key, "", "PV string combiner box" if several else "joint box")
    sheet.text(left_mm, y_mm - 7.2, f"{diagram.tag(key)}, as above" if row.again else box)


def _controller(diagram: Diagram, left_mm: float, row: _Row, controller: Controller) -> None:
    sheet, y_mm, key = diagram.sheet, row.y_mm, row.key("controller")
    diagram.placer.put("controller", left_mm + SQUARE_MM, y_mm)
    rated = [f"{controller.max_charge_current_a:g} A", f"{controller.max_pv_voltage_v:g} V"]
    sheet.lines(left_mm + SQUARE_MM, y_mm + 10.0, rated, anchor="middle")
    words = [f"{diagram.tag(key)}, as above"]
    if not row.again:
        words = sheet.fitted(diagram.words(key, "", controller.label), 64.0, lines=2)
    sheet.lines(left_mm - 12.0, y_mm - 8.0 - 3.5 * (len(words) - 1), words)


def _feed_down(diagram: Diagram, x_mm: float, y_mm: float, bus_mm: float) -> None:
    """From the end of a row straight down to a busbar."""
    diagram.sheet.path([(ROW_END_MM, y_mm), (x_mm, y_mm), (x_mm, y_mm + 3.0)])
    key = diagram.run_key("controller_battery", "nonessential")
    foot_mm = y_mm + 30.0
    diagram.run_down(key, x_mm, y_mm + 3.0, foot_mm, words_mm=FEED_WORDS_MM)
    foot_mm = diagram.stands_down(key, "end", x_mm, foot_mm, words_mm=FEED_WORDS_MM)
    diagram.sheet.path([(x_mm, foot_mm), (x_mm, bus_mm)])


def _feed_aside(diagram: Diagram, row: _Row, end: Point) -> None:
    """From the end of the lower row back to its busbar."""
    sheet, (x_mm, bus_mm) = diagram.sheet, end
    level_mm = bus_mm - 15.0
    sheet.path([(ROW_END_MM, SECOND_ROW_MM), (ASIDE_MM, SECOND_ROW_MM), (ASIDE_MM, level_mm),
                (x_mm, level_mm), (x_mm, level_mm + 2.0)])  # fmt: skip
    key = diagram.run_key(row.key("controller_battery"), "essential")
    left_mm = BOX_MM[1] + 4.0
    sheet.text(left_mm, level_mm - 1.4, diagram.run_line(key, ASIDE_MM - left_mm - 4.0))
    foot_mm = diagram.stands_down(key, "end", x_mm, level_mm + 2.0, words_mm=FEED_WORDS_MM)
    sheet.path([(x_mm, foot_mm), end])


def _frames(diagram: Diagram, y_mm: float) -> None:
    """Protective conductor of the module frames, down to the main earthing terminal."""
    diagram.placer.used.add("protective")
    diagram.sheet.path([(16.0, y_mm), (FRAME_EARTH_MM, y_mm), (FRAME_EARTH_MM, EARTH_BAR_MM)],
                       dash=DASH_DOT)  # fmt: skip


def draw_banks(diagram: Diagram, places: Places) -> None:
    """The busbar of each bank, and the bank that hangs from it behind its fuse."""
    sheet = diagram.sheet
    diagram.placer.used.add("bar")
    boards = ("essential", "nonessential")
    for number, (board, battery) in enumerate(
        zip(boards, diagram.site.banks.values(), strict=False)
    ):
        left_mm, right_mm = places.buses[number]
        x_mm = places.batteries_mm[number]
        sheet.path([(left_mm, places.bus_mm), (right_mm, places.bus_mm)], width_mm=THICK_MM)
        sheet.text(x_mm, places.bus_mm - 2.0, _bar_words(diagram, "busbar", board, "DC busbars"))
        _bank(diagram, places, x_mm, board, battery)


def _bar_words(diagram: Diagram, stem: str, board: str, words: str) -> str:
    part = diagram.part(stem, board)
    rated = "" if part is None or part.rated_a is None else f" {part.rated_a:.0f} A"
    return diagram.words(stem, board, words + rated)


def _bank(diagram: Diagram, places: Places, x_mm: float, board: str, battery: Battery) -> None:
    """Isolator, main conductor and fuse; bars, leads and fuses of its strings; its units."""
    sheet, words_mm = diagram.sheet, places.battery_words_mm
    y_mm = places.bus_mm + 2.0
    sheet.path([(x_mm, places.bus_mm), (x_mm, y_mm)])
    y_mm = _bank_run(diagram, "battery_main", board, (x_mm, y_mm), words_mm)
    if diagram.part("string-bar", board) is not None:
        sheet.path([(x_mm - 6.0, y_mm), (x_mm + 6.0, y_mm)], width_mm=THICK_MM)
        words = sheet.fitted(_bar_words(diagram, "string-bar", board, "bars"),
                             words_mm - 3.0, lines=1)  # fmt: skip
        if words[-1].endswith("…"):  # its stroke says that it is a bar
            words = [_bar_words(diagram, "string-bar", board, "").replace("×  ", "× ")]
        sheet.lines(x_mm + 8.0, y_mm + 1.0, words)
        y_mm = _bank_run(diagram, "battery_string", board, (x_mm, y_mm + 1.0), words_mm)
    diagram.placer.put("battery", x_mm, y_mm + HALF_MM, upright=True)
    _battery_words(diagram, board, battery, (x_mm + 5.0, y_mm + 2.8), words_mm)


def _bank_run(
    diagram: Diagram, stem: str, board: str, start: Point, words_mm: float
) -> float:
    """A conductor of a bank, from the busbars up to the battery, with what stands in it.

    Returns its end [mm].
    """
    x_mm, y_mm = start
    key = next((key for key in (f"{stem}-{board}", stem) if key in diagram.runs), stem)
    for device in reversed(diagram.standing(key, "end")):
        y_mm = diagram.device_down(device, x_mm, y_mm, words_mm=words_mm)
    diagram.run_down(key, x_mm, y_mm, y_mm + BANK_RUN_MM, words_mm=words_mm)
    y_mm += BANK_RUN_MM
    for device in reversed(diagram.standing(key, "start")):
        y_mm = diagram.device_down(device, x_mm, y_mm, words_mm=words_mm)
    return y_mm


def _battery_words(diagram: Diagram, board: str, battery: Battery, place: Point,
                   words_mm: float) -> None:  # fmt: skip
    sheet = diagram.sheet
    name = sheet.fitted(diagram.words("battery", board, battery.label), words_mm, lines=4)
    words = [*name, *sheet.joined(
        [f"{battery.nominal_voltage_v:g} V", f"{battery.rated_ah:g} Ah",
         f"{battery.units_in_series} in series", f"{battery.units_in_parallel} in parallel"],
        words_mm, lines=3)]  # fmt: skip
    sheet.lines(*place, words)


LAYOUTS = {
    "shared-bank": "one battery, an inverter for each board",
    "one-inverter": "one battery and one inverter for both boards",
    "separate-banks": "a battery and an inverter for each board",
}
BONDS = {
    "at-inverter": "neutral-earth bond at the inverter",
    "at-changeover": "neutral-earth bond at the changeover",
    "at-grid": "neutral-earth bond at the grid's entry",
    "nowhere": "no neutral-earth bond",
}
EARTH_BAR_ENDS_MM = (8.0, 330.0)
CASES = (
    "Enclosures are bonded to the main earthing terminal too: see the earthing diagram."
)


def single_line(built: Installation, language: str = PATTERN) -> str:
    """The single-line diagram as SVG, A3 lying.

    Every device and cable of the schedules and every part that has a place on it, under its tag
    and with its count. It is no wiring diagram: terminals, cores and control wires are left out.

    Parameters
    ----------
    built : Installation
    language : str
        Of the words on it.

    Returns
    -------
    str
        SVG that needs nothing outside it; the same input gives the same bytes.
    """
    site = built.site
    sheet = Sheet("single-line", f"Single-line diagram, {site.site.name}", single_line_words(built),
                  width_mm=A3_LONG_MM, height_mm=A3_SHORT_MM, language=language)  # fmt: skip
    diagram = Diagram(built, sheet)
    one_bank = TWO_PLANES if site.planes else ONE_BANK
    places = TWO_BANKS if site.supply.separate_banks else one_bank
    draw_sun(diagram, places)
    draw_banks(diagram, places)
    draw_boards(diagram, places)
    _earth_bar(diagram)
    diagram.placer.legend(348.0, 16.0, 66.0, 5.4)
    block = title_block(site, number="SP-05", sheet=5, title="Single-line diagram",
                        language=language)  # fmt: skip
    draw_frame(sheet, block, [RUN_NOTE, *_left_out(diagram)])
    return sheet.svg()


def single_line_words(built: Installation) -> str:
    """The drawing in words, for a reader who cannot see it."""
    site = built.site
    strings = "; ".join(of_plane(f"{counted(one.array.string_count, 'string')} of"
                                 f" {counted(one.array.modules_in_series, 'module')}", one)
                        for one in site.sites)  # fmt: skip
    words = {"grid": "the grid", "generator": "a generator"}
    sources = [words[source] for source in site.sources]
    return (
        f"{strings}, {counted(site.controller_count, 'charge controller')};"
        f" {LAYOUTS[site.supply.layout]}; {' and '.join(sources) or 'no grid'}."
        f" System {system_words(site)}; {BONDS[site.protection.neutral_earth_bond]}."
        " Sizes of cables and ratings of devices stand in the cable and protection schedule."
    )


def _earth_bar(diagram: Diagram) -> None:
    """The main earthing terminal below everything, with its electrode and system."""
    sheet, site = diagram.sheet, diagram.site
    _frame_words(diagram, range(1, min(len(site.sites), ROWS_DRAWN) + 1))
    diagram.placer.put("earth", 14.0, EARTH_BAR_MM)
    protection, electrode = site.protection, diagram.earth_words("electrode")
    bar = diagram.words("earth-bar", "", "main earthing terminal (earth bar)")
    words = (f"{bar}. Earth electrode "
             f"{diagram.words('electrode', '', site.earthing.electrode)} by {electrode}."
             f" System {system_words(site)}; {BONDS[protection.neutral_earth_bond]}.")
    lines = sheet.fitted(words, 310.0, lines=1)
    if lines[-1].endswith("…"):
        lines = sheet.fitted(words.replace(" (earth bar)", ""), 310.0, lines=1)
    sheet.lines(19.0, EARTH_BAR_MM + 4.6, lines)


def _left_out(diagram: Diagram) -> list[str]:
    """What has no symbol of its own, and what the system lacks."""
    built, notes = diagram.built, []
    if len(built.site.sites) > ROWS_DRAWN:
        notes.append("Roof planes from the third on: sheet 5a.")
        keys = [*built.by_key, *(one.key for one in (*built.cables, *built.leads))]
        diagram.drawn |= {key for key in keys if plane_number(key) > ROWS_DRAWN}
    names = diagram.not_drawn()
    if names:
        notes.append("Not drawn here: " + "; ".join(names) + ".")
    inside = [part.tag for part in built.of_kind("changeover") if part.inside]
    if inside:
        notes.append(f"Changeover switch {', '.join(inside)}: inside the inverter.")
    board, tags = source_terminals(built)
    if board:
        notes.append(f"{tags} meet in {board} on terminals of their own, never on its bars.")
    if diagram.site.supply.separate_banks:
        notes.append("Counts of the rows of modules are of both rows together.")
    tie = diagram.site.protection.neutral_earth_bond
    if tie != "nowhere" and not built.of_kind("bond"):
        notes.insert(0, f"The site file asks for a {BONDS[tie]}, which this system has not:"
                     " settle it.")  # fmt: skip
    return [CASES, *notes]
