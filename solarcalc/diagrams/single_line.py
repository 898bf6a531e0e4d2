"""The single-line diagram of a site: from the strings on the roof to the circuits of the house."""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.diagrams.frame import draw_frame
from solarcalc.diagrams.labels import RUN_NOTE
from solarcalc.diagrams.sheet import THICK_MM, Sheet, fitted
from solarcalc.diagrams.single_line_boards import draw_boards
from solarcalc.diagrams.single_line_parts import EARTH_BAR_MM, ONE_BANK, TWO_BANKS, Diagram
from solarcalc.diagrams.single_line_sun import draw_banks, draw_sun
from solarcalc.protection.devices import Device
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import SizedRun

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
CASES = "Metal cases are joined to the main earth bar too: see the earthing diagram."


def single_line(site: Site, runs: Sequence[SizedRun], devices: Sequence[Device]) -> str:
    """The single-line diagram as SVG, A4 lying.

    What is drawn follows the site file (layout, grid, generator, where neutral and earth are
    joined); what is written beside it follows the runs and devices. A device that is not given is
    left out; one that has no place on the drawing is named below it. It is no wiring diagram:
    terminals, cores and control wires are left out.

    Parameters
    ----------
    site : Site
    runs : sequence of SizedRun
        Numbered W1, W2... in this order, as in the schedule of cables.
    devices : sequence of Device

    Returns
    -------
    str
        SVG that needs nothing outside it; the same input gives the same bytes.

    Raises
    ------
    InputError
        When two runs or two devices have the same key.
    """
    sheet = Sheet("single-line", f"Single-line diagram, {site.site.name}", _described(site))
    diagram = Diagram(site, runs, devices, sheet)
    places = TWO_BANKS if site.supply.separate_banks else ONE_BANK
    draw_sun(diagram, places)
    draw_banks(diagram, places)
    draw_boards(diagram, places)
    _earth_bar(diagram)
    diagram.placer.legend(227.0, 14.0, 63.0, 5.2)
    draw_frame(sheet, site.site.name, "Single-line diagram", [RUN_NOTE, *_left_out(diagram)])
    return sheet.svg()


def _described(site: Site) -> str:
    """The drawing in words."""
    array, protection = site.array, site.protection
    strings = array.string_count
    sources = [word for word, there in (("the grid", site.grid.there),
                                        ("a generator", site.generator.there)) if there]
    return (
        f"{strings} strings of {array.modules_in_series} modules, {site.controller.count} charge"
        f" controllers; {LAYOUTS[site.supply.layout]}; {' and '.join(sources) or 'no grid'}."
        f" System {protection.system}; neutral and earth {TIES[protection.neutral_earth]}."
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
    words = (f"Main earth bar. Electrode: {site.earthing.electrode}. System {protection.system};"
             f" neutral and earth {TIES[protection.neutral_earth]}.")
    sheet.lines(19.0, EARTH_BAR_MM + 4.2, fitted(words, 200.0, lines=1))


def _left_out(diagram: Diagram) -> list[str]:
    """Notes on what the schedules and the drawing do not share."""
    switches = {key for key in diagram.devices if key.startswith("changeover")}
    inside = bool(switches) and diagram.site.protection.changeover == "built-in"
    if inside:
        diagram.drawn |= switches
    names = diagram.not_drawn()
    notes = ["In the schedules, not drawn here: " + "; ".join(names) + "."] if names else []
    if inside:
        notes.append("The changeover is inside the inverter: see its sheet.")
    if diagram.site.supply.separate_banks:
        notes.append("Counts of the rows of modules are of both rows together.")
    tie = diagram.site.protection.neutral_earth
    if diagram.ties == 0 and tie != "nowhere":
        notes.insert(0, f"Neutral and earth are to be {TIES[tie]}, which this system has not:"
                     " settle it.")  # fmt: skip
    return [*notes, CASES]


