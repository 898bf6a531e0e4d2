"""The single-line diagram of a site: its sun side, and the whole of it down to the house."""

from __future__ import annotations

from solarcalc.diagrams.sheet import (
    DASH_DOT,
    DASHED,
    SMALL_MM,
    THICK_MM,
    THIN_MM,
    Point,
    Sheet,
    draw_frame,
    fitted,
    joined,
    title_block,
)
from solarcalc.diagrams.single_line_boards import draw_boards
from solarcalc.diagrams.single_line_parts import (
    EARTH_BAR_MM,
    ONE_BANK,
    RUN_NOTE,
    TWO_BANKS,
    Diagram,
    Places,
    counted,
    watts,
)
from solarcalc.diagrams.symbols import HALF_MM, SQUARE_MM
from solarcalc.installation.records import Conductor, Installation, Part
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.site import Site

ROW_MM, SECOND_ROW_MM = 29.0, 57.0
"""Height of the row of modules and controller; of a second one [mm from the top]."""
FRAME_EARTH_MM = 10.0
"""The earth conductor of the module frames runs down here [mm from the left]."""


def draw_sun(diagram: Diagram, places: Places) -> None:
    """Strings, combiner and controllers, down to the bus of each bank."""
    share = diagram.site.supply.essential_array_frac
    if not places.separate:
        _row(diagram, ROW_MM, "")
        _feed_down(diagram, 196.0, ROW_MM, places.bus_mm)
        _frames(diagram, ROW_MM)
        return
    _row(diagram, ROW_MM, f"{100.0 * (1.0 - share):.3g} % of ")
    _feed_down(diagram, 200.0, ROW_MM, places.bus_mm)
    _row(diagram, SECOND_ROW_MM, f"{100.0 * share:.3g} % of ")
    _feed_aside(diagram, 194.0, (places.buses[0][1] - 4.0, places.bus_mm))
    _frames(diagram, ROW_MM)
    diagram.sheet.path([(14.0, SECOND_ROW_MM), (FRAME_EARTH_MM, SECOND_ROW_MM)])
    diagram.sheet.circle(FRAME_EARTH_MM, SECOND_ROW_MM, 0.6, fill="black")


def _row(diagram: Diagram, y_mm: float, share: str) -> None:
    sheet, placer, site = diagram.sheet, diagram.placer, diagram.site
    array, module, controller = site.array, site.module, site.controller
    strings = array.string_count
    first = y_mm == ROW_MM
    placer.put("modules", 22.0, y_mm)
    words = [f"{share}{strings} string{'s' if strings > 1 else ''} of {array.modules_in_series},",
             diagram.words("module", "", watts(module.pmax_w)) if first else "as above"]
    words = [line for each in words for line in fitted(each, 42.0)]
    sheet.lines(14.0, y_mm + 10.0, words)
    diagram.run_across("string", 30.0, 66.0, y_mm, words_at_mm=48.0, words_mm=35.0)
    diagram.device_across(diagram.part("string-fuse"), 71.0, y_mm, words_mm=22.0)
    sheet.path([(76.0, y_mm), (84.0, y_mm)])
    if strings > 1:
        sheet.path([(80.0, y_mm - 4.0), (80.0, y_mm + 4.0)], width_mm=THICK_MM)
        placer.used.add("bar")
    sheet.box(66.0, y_mm - 4.6, 84.0, y_mm + 4.6, width_mm=THIN_MM, dash=DASHED)
    box = diagram.words("combiner", "", "combiner" if strings > 1 else "joint box")
    lines = fitted(box if first else "as above", 17.0, size_mm=SMALL_MM, lines=2)
    sheet.lines(67.0, y_mm - 6.2 - 1.25 * SMALL_MM * (len(lines) - 1), lines, size_mm=SMALL_MM)
    far = diagram.part("array-surge-roof")
    start_mm = 92.0 if far else 84.0
    sheet.path([(84.0, y_mm), (start_mm, y_mm)])
    diagram.surge_to_earth(far, 88.0, y_mm, words_mm=25.0, beside=True)
    diagram.run_across("dc_main", start_mm, 121.0, y_mm, words_at_mm=102.5, words_mm=36.0)
    diagram.device_across(diagram.part("array-isolator"), 126.0, y_mm, words_mm=17.0)
    sheet.path([(131.0, y_mm), (160.0, y_mm)])
    diagram.surge_to_earth(diagram.part("array-surge"), 146.0, y_mm, words_mm=22.0, beside=False)
    placer.put("controller", 160.0 + SQUARE_MM, y_mm)
    sheet.lines(160.0 + SQUARE_MM, y_mm + 9.4, [f"{controller.max_charge_current_a:g} A",
                 f"{controller.max_pv_voltage_v:g} V"], anchor="middle")  # fmt: skip
    if first:
        words = fitted(diagram.words("controller", "", controller.label), 40.0, lines=2)
        sheet.lines(150.0, y_mm - 8.0 - 3.5 * (len(words) - 1), words)
    sheet.path([(172.0, y_mm), (178.0, y_mm)])
    switch = diagram.part("controller-breaker") or diagram.part("controller-fuse")
    diagram.device_across(switch, 183.0, y_mm, words_mm=16.0)


def _feed_down(diagram: Diagram, x_mm: float, y_mm: float, bus_mm: float) -> None:
    """From the end of a row straight down to a bus."""
    diagram.sheet.path([(188.0, y_mm), (x_mm, y_mm), (x_mm, y_mm + 3.0)])
    key = diagram.run_key("controller_battery", "nonessential")
    diagram.run_down(key, x_mm, y_mm + 3.0, min(bus_mm, y_mm + 27.0),
                     words_mm=20.0)  # fmt: skip
    diagram.sheet.path([(x_mm, min(bus_mm, y_mm + 27.0)), (x_mm, bus_mm)])


def _feed_aside(diagram: Diagram, x_mm: float, end: Point) -> None:
    """From the end of the lower row back to the bus of the essential board."""
    level_mm = end[1] - 6.0
    diagram.sheet.path([(188.0, SECOND_ROW_MM), (x_mm, SECOND_ROW_MM), (x_mm, level_mm), (
        end[0], level_mm), end])  # fmt: skip
    key = diagram.run_key("controller_battery", "essential")
    if key in diagram.runs:
        diagram.drawn.add(key)
        tag = diagram.runs[key].tag
        diagram.sheet.text(end[0] + 12.0, level_mm + 3.8, f"{tag}, as above")


def _frames(diagram: Diagram, y_mm: float) -> None:
    """Earth conductor of the module frames, down to the earth bar."""
    diagram.placer.used.add("protective")
    diagram.sheet.path([(14.0, y_mm), (FRAME_EARTH_MM, y_mm), (FRAME_EARTH_MM, EARTH_BAR_MM)],
                       dash=DASH_DOT)  # fmt: skip


def draw_banks(diagram: Diagram, places: Places) -> None:
    """The bus of each bank, and the bank that hangs from it behind its fuse."""
    sheet = diagram.sheet
    for number, battery in enumerate(diagram.site.banks.values()):
        left_mm, right_mm = places.buses[number]
        sheet.path([(left_mm, places.bus_mm), (right_mm, places.bus_mm)], width_mm=THICK_MM)
        part = diagram.part("busbar", ("essential", "nonessential")[number])
        rated = "" if part is None or part.rated_a is None else f" {part.rated_a:.0f} A"
        bars = diagram.words("busbar", ("essential", "nonessential")[number], f"bars{rated}")
        sheet.text(left_mm + 12.0 + 24.0 * number, places.bus_mm - 1.8, bars, size_mm=SMALL_MM)
        _bank(diagram, places, places.batteries_mm[number], ("essential", "nonessential")[number],
              battery)  # fmt: skip


def _bank(diagram: Diagram, places: Places, x_mm: float, board: str, battery: Battery) -> None:
    sheet, words_mm = diagram.sheet, places.battery_words_mm
    y_mm = places.bus_mm + 2.0
    sheet.path([(x_mm, places.bus_mm), (x_mm, y_mm)])
    for key in ("battery-isolator", "battery-fuse", "battery-string-fuse"):
        device = diagram.part(key, board)
        if device is not None:
            y_mm = diagram.device_down(device, x_mm, y_mm, words_mm=words_mm)
    diagram.placer.put("battery", x_mm, y_mm + HALF_MM, upright=True)
    units = diagram.words("battery", board, "units")
    lines = 1 if places.separate else 6
    words = [units, *fitted(battery.label, words_mm, lines=lines), *joined(
        [f"{battery.nominal_voltage_v:g} V",
         f"{battery.rated_ah:g} Ah",
         f"{battery.units_in_series} in series", f"{battery.units_in_parallel} in parallel"],
        words_mm, lines=3)]  # fmt: skip
    sheet.lines(x_mm + 5.0, y_mm + 4.0, words)


LAYOUTS = {
    "shared-bank": "one bank, an inverter for each board",
    "one-inverter": "one bank and one inverter for both boards",
    "separate-banks": "a bank and an inverter for each board",
}
TIES = {
    "at-inverter": "joined at the inverter",
    "at-changeover": "joined at the changeover",
    "at-grid": "joined at the grid's entry",
    "nowhere": "not joined",
}
EARTH_BAR_ENDS_MM = (8.0, 221.0)
CASES = "Metal cases go to the main earth bar too: see the earthing diagram."


def single_line(built: Installation) -> str:
    """The single-line diagram as SVG, A4 lying.

    Every part and cable of the installation that has a place on it, under its tag and with its
    count; what has none is named below. It is no wiring diagram: terminals, cores and control
    wires are left out.

    Parameters
    ----------
    built : Installation

    Returns
    -------
    str
        SVG that needs nothing outside it; the same input gives the same bytes.
    """
    site = built.site
    sheet = Sheet("single-line", f"Single-line diagram, {site.site.name}", _described(site))
    diagram = Diagram(built, sheet)
    places = TWO_BANKS if site.supply.separate_banks else ONE_BANK
    draw_sun(diagram, places)
    draw_banks(diagram, places)
    draw_boards(diagram, places)
    _earth_bar(diagram)
    diagram.placer.legend(227.0, 14.0, 63.0, 5.2)
    block = title_block(site, number="SP-05", sheet=5, title="Single-line diagram")
    draw_frame(sheet, block, [RUN_NOTE, *_left_out(diagram)])
    return sheet.svg()


def _described(site: Site) -> str:
    """The drawing in words."""
    array, protection = site.array, site.protection
    strings = array.string_count
    words = {"grid": "the grid", "generator": "a generator"}
    sources = [words[source] for source in site.sources]
    return (
        f"{strings} strings of {array.modules_in_series} modules, {site.controller.count} charge"
        f" controllers; {LAYOUTS[site.supply.layout]}; {' and '.join(sources) or 'no grid'}."
        f" System {protection.system}; neutral and earth {TIES[protection.neutral_earth_bond]}."
        " Sizes of cables and ratings of devices stand in the schedules."
    )


def _earth_bar(diagram: Diagram) -> None:
    """The main earth bar below everything, with its electrode and what the site says of it."""
    sheet, site = diagram.sheet, diagram.site
    left_mm, right_mm = EARTH_BAR_ENDS_MM
    sheet.path([(left_mm, EARTH_BAR_MM), (right_mm, EARTH_BAR_MM)], width_mm=THICK_MM)
    sheet.text(12.5, EARTH_BAR_MM - 2.4, "module frames")
    diagram.placer.put("earth", 14.0, EARTH_BAR_MM)
    protection = site.protection
    bar, electrode = (diagram.words(key, "", name) for key, name in
                      (("earth-bar", "main earth bar"), ("electrode", site.earthing.electrode)))
    words = (f"{bar}. Electrode {electrode}. System {protection.system};"
             f" neutral and earth {TIES[protection.neutral_earth_bond]}.")
    sheet.lines(19.0, EARTH_BAR_MM + 4.2, fitted(words, 200.0, lines=1))


def _end_tag(built: Installation, key: str) -> str:
    """Tag of what a cable ends at: of the inverter, where the changeover is inside it."""
    part = built.by_key[key]
    if part.kind == "changeover" and part.bought is None:
        part = built.by_key[f"inverter-{key.partition('-')[2] or 'essential'}"]
    return part.tag


def _left_out(diagram: Diagram) -> list[str]:
    """What has no symbol of its own, and what the system lacks."""
    built, notes = diagram.built, []
    inside = [part for part in built.of_kind("changeover") if part.bought is None]
    if inside:
        diagram.drawn |= {part.key for part in inside}
        tags = ", ".join(part.tag for part in inside)
        notes.append(f"Not drawn here: changeover {tags}, inside the inverter.")
    links = [one for one in built.cables if one.key.startswith(("source_link", "charger_input"))]
    diagram.drawn |= {one.key for one in links}
    if links:
        notes.append("Not drawn here, from the sources on: " + ", ".join(
            f"{one.tag} {_end_tag(built, one.start)}–{_end_tag(built, one.end)}"
            for one in links) + ".")  # fmt: skip
    leads: list[Part | Conductor] = [
        part for part in built.of_kind("busbar") if part.key not in diagram.drawn
    ]
    leads += [one for one in built.cables if one.key.startswith(("battery_main", "battery_string"))]
    diagram.drawn |= {one.key for one in leads}
    scheduled = "; ".join(counted(one, one.name.partition(",")[0]) for one in leads)
    notes.append(f"Only in the schedules: {scheduled}.")
    names = diagram.not_drawn()
    if names:
        notes.insert(0, "Not drawn here: " + "; ".join(names) + ".")
    if diagram.site.supply.separate_banks:
        notes.append("Counts of the rows of modules are of both rows together.")
    tie = diagram.site.protection.neutral_earth_bond
    if tie != "nowhere" and not built.of_kind("bond"):
        notes.insert(0, f"Neutral and earth are to be {TIES[tie]}, which this system has not:"
                     " settle it.")  # fmt: skip
    return [CASES, *notes]
