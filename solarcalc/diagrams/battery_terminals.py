"""Terminals of a battery as a drawing: units with numbers, links, leads, bars, fuses, isolator."""

from __future__ import annotations

import math
from collections.abc import Sequence

from solarcalc.basis.messages import PATTERN
from solarcalc.basis.text import counted
from solarcalc.diagrams.lettering import SMALL_MM, TEXT_MM, words_width_mm
from solarcalc.diagrams.sheet import (
    DASHED,
    LINE_MM,
    THICK_MM,
    Point,
    Sheet,
    draw_frame,
    title_block,
)
from solarcalc.diagrams.symbols import HALF_MM, Placer
from solarcalc.sitepack.terminals import BankTerminals, Joint

LEFT_MM, RIGHT_MM = 62.0, 248.0
"""Where the bars of the strings stand [mm]."""
TOP_MM, FOOT_MM = 44.0, 166.0
"""First and last line of units [mm]."""
LOADS = {"essential": "essential loads", "nonessential": "non-essential loads"}
MAIN_TOP_MM, BELOW_MM = 26.0, 15.0
"""Line of the plus conductor, and that of the minus below the last units [mm]."""
MOST_IN_LINE = 12
LEAST_LINE_MM = 15.0
"""From one line of units to the next, at least [mm]."""
UNIT_HIGH_MM = 8.0
FROM_UNIT_MM, FROM_BAR_MM, NEAR_MM, FAR_STEP_MM = 7.0, 17.0, 38.0, 26.0
"""From a unit to the fuse at its terminals, from a bar to one there; from the strings' end of a
main conductor to what stands there; from its bars to what does, and to the next such thing [mm]."""


def terminal_diagram(bank: BankTerminals, *, site_name: str, language: str = PATTERN) -> str:
    """The terminals of a battery bank as SVG, A4 lying, not to scale.

    Every unit with its number and signs, every link, lead, fuse and bar with its tag; strings
    beyond what the sheet holds are said to be alike, and stand in the schedule.

    Parameters
    ----------
    bank : BankTerminals
    site_name : str
    language : str
        Of the words on it.
    """
    battery = bank.battery
    words = f"Battery terminals{f', {LOADS[bank.board]}' if bank.board else ''}"
    sheet = Sheet(f"terminals{bank.board}", f"{words}, {site_name}", _described(bank),
                  language=language)  # fmt: skip
    lines_each = math.ceil(battery.units_in_series / MOST_IN_LINE)
    room = int((FOOT_MM - TOP_MM) / LEAST_LINE_MM) + 1
    shown = max(1, min(battery.units_in_parallel, room // lines_each))
    lines = shown * lines_each
    step_mm = min(26.0, (FOOT_MM - TOP_MM) / max(lines - 1, 1))
    for string in range(1, shown + 1):
        _string(sheet, bank, string, TOP_MM + (string - 1) * lines_each * step_mm, step_mm)
    last_mm = TOP_MM + ((shown - 1) * lines_each) * step_mm
    foot_mm = last_mm + (lines_each - 1) * step_mm + BELOW_MM
    _bars(sheet, bank, last_mm, foot_mm)
    _mains(sheet, bank, foot_mm)
    site = bank.built.site
    sheets = len(site.banks)
    letter = "bc"[list(site.banks).index(bank.board or "shared")]
    title = "Battery terminals" if sheets == 1 else f"Battery terminals {'_bc'.index(letter)}/2"
    block = title_block(site, number=f"SP-06{letter}", sheet=f"6{letter}", title=title,
                        language=language)  # fmt: skip
    draw_frame(sheet, block, _notes(bank, shown))
    return sheet.svg()


def _described(bank: BankTerminals) -> str:
    battery = bank.battery
    return (f"{counted(battery.units_in_parallel, 'string')} of"
            f" {counted(battery.units_in_series, 'unit')} of {battery.unit_voltage_v:g} V,"
            f" {battery.nominal_voltage_v:g} V in all. Joints: "
            + "; ".join(f"{one.start} to {one.end} by {one.tag}" for one in bank.joints) + ".")


def _notes(bank: BankTerminals, shown: int) -> list[str]:
    strings, nominal_v = bank.battery.units_in_parallel, bank.battery.nominal_voltage_v
    name = f" of the {LOADS[bank.board]}" if bank.board else ""
    notes = [f"DANGER: the bank{name}, {nominal_v:g} V, stays live whatever is switched."]
    if shown < strings:
        left = f"String {strings} is" if shown + 1 == strings else (
            f"Strings {shown + 1} to {strings} are")
        notes.append(f"{left} joined alike: schedule battery-terminals.")
    if unit := bank.split_after:
        notes.append(f"LINK BETWEEN RACKS NOT DESIGNED: unit .{unit} is the last in rack 1, unit"
                     f" .{unit + 1} stands in rack 2 at the opposite wall. No link before the"
                     " electrician has designed its cable.")  # fmt: skip
    links, lead = bank.part("battery-link"), bank.conductor("battery_string")
    if links:
        notes.append(f"Between units: links {links.tag}.1 to {links.tag}.{links.count}.")
    if lead:
        notes.append(f"Leads {lead.tag}, {lead.size_name}: of equal length.")
    fuse = bank.part("battery-string-fuse")
    notes += [f"Battery string fuses {fuse.tag}: {fuse.rated_a:g} A."] if fuse else []
    last = ("The last link goes in last: insulated tools, gloves, face shield, fuses out, isolator"
            " open. The main conductors connect at diagonally opposite ends.")  # fmt: skip
    return [*notes, last]


def _joint(bank: BankTerminals, start: str, end: str) -> Joint | None:
    return next((one for one in bank.joints if (one.start, one.end) == (start, end)), None)


def _string(
    sheet: Sheet, bank: BankTerminals, string: int, top_mm: float, step_mm: float
) -> None:
    """One string from its plus at the left to its minus at the right, in lines of units."""
    series = bank.battery.units_in_series
    in_line = math.ceil(series / math.ceil(series / MOST_IN_LINE))
    left, right = LEFT_MM + 25.0, RIGHT_MM - 25.0
    cell = (right - left) / in_line
    wide = min(cell - 4.0, 22.0)
    ends: Point = (left, top_mm)
    for number in range(1, series + 1):
        line, column = divmod(number - 1, in_line)
        x, y = left + (column + 0.5) * cell, top_mm + line * step_mm
        if number > 1:
            _link(sheet, bank, string, number - 1, [ends, (x - wide / 2.0, y)], step_mm)
        _unit(sheet, bank.unit(string, number), x, y, wide)
        if number == 1:
            _lead(sheet, bank, string, (x - wide / 2.0, y))
        ends = (x + wide / 2.0, y)
    sheet.path([ends, (RIGHT_MM, ends[1])])
    if bank.several:
        lead = _joint(bank, f"{bank.unit(string, series)}−", f"{bank.bar_of_strings}−")
        _lead_words(sheet, bank, lead, ends, RIGHT_MM)


def _unit(sheet: Sheet, tag: str, x: float, y: float, wide: float) -> None:
    half = UNIT_HIGH_MM / 2.0
    sheet.box(x - wide / 2.0, y - half, x + wide / 2.0, y + half, width_mm=LINE_MM, fill="white")
    size = SMALL_MM
    fits = words_width_mm(tag, size) <= wide - 0.5
    sheet.text(x, y - 0.6, tag if fits else tag.partition(".")[2], size_mm=size, anchor="middle",
               bold=True)  # fmt: skip
    sheet.text(x - wide / 2.0 + 0.8, y + 3.2, "+", size_mm=TEXT_MM, bold=True)
    sheet.text(x + wide / 2.0 - 0.8, y + 3.2, "−", size_mm=TEXT_MM, anchor="end", bold=True)


def _link(
    sheet: Sheet, bank: BankTerminals, string: int, number: int, ends: Sequence[Point],
    step_mm: float,
) -> None:  # fmt: skip
    """The link from a unit to the next; to the next line it runs back between the lines."""
    (x0, y0), (x1, y1) = ends
    joint = _joint(bank, f"{bank.unit(string, number)}−", f"{bank.unit(string, number + 1)}+")
    words = joint.tag if joint else ""
    if bank.split_after == (string - 1) * bank.battery.units_in_series + number:
        _rack_limit(sheet, ((x0 + x1) / 2.0, y0) if y0 == y1 else (x0 + 1.5, y0))
    if y0 == y1:
        sheet.path([(x0, y0), (x1, y1)], width_mm=LINE_MM * 2.0)
        sheet.text((x0 + x1) / 2.0, y0 - UNIT_HIGH_MM / 2.0 - 0.8, f".{words.partition('.')[2]}",
                   size_mm=SMALL_MM, anchor="middle")  # fmt: skip
        return
    between = y0 + step_mm / 2.0
    sheet.path([(x0, y0), (x0 + 3.0, y0), (x0 + 3.0, between), (x1 - 3.0, between), (x1 - 3.0, y1),
                (x1, y1)])  # fmt: skip
    sheet.text(x0 + 3.8, between - 0.8, words, size_mm=SMALL_MM)


def _rack_limit(sheet: Sheet, place: Point) -> None:
    """A dashed line between the last unit of a rack and the first of the other."""
    x, y = place
    sheet.path([(x, y - UNIT_HIGH_MM / 2.0), (x, y + UNIT_HIGH_MM)], dash=DASHED)
    sheet.text(x - 0.8, y + UNIT_HIGH_MM, "to here rack 1, then rack 2", size_mm=SMALL_MM,
               anchor="end", bold=True)  # fmt: skip


def _lead(sheet: Sheet, bank: BankTerminals, string: int, end: Point) -> None:
    """From the plus bar through the string's fuse to its first unit."""
    x, y = end
    sheet.path([(LEFT_MM, y), (x, y)])
    if not bank.several:
        return
    lead = _joint(bank, f"{bank.bar_of_strings}+", f"{bank.unit(string, 1)}+")
    _lead_words(sheet, bank, lead, end, LEFT_MM)


def _lead_words(
    sheet: Sheet, bank: BankTerminals, lead: Joint | None, unit: Point, bar: float
) -> None:
    """Tag of a lead beside its bar; its fuse at the end where it stands."""
    if lead is None:
        return
    y, ahead = unit[1], 1.0 if unit[0] > bar else -1.0
    sheet.text(bar + 1.5 * ahead, y - 1.0, lead.tag, size_mm=SMALL_MM,
               anchor="start" if ahead > 0.0 else "end")  # fmt: skip
    for tag in lead.through:
        at_unit = bank.at(tag) == bank.key("battery")
        x = unit[0] - FROM_UNIT_MM * ahead if at_unit else bar + FROM_BAR_MM * ahead
        Placer(sheet).put("fuse", x, y)
        sheet.text(x, y + 4.0, tag, size_mm=SMALL_MM, anchor="middle")


def _bars(sheet: Sheet, bank: BankTerminals, last_mm: float, foot_mm: float) -> None:
    """The bars of the strings, or the plain conductor where there is one string."""
    width = THICK_MM if bank.several else LINE_MM
    sheet.path([(LEFT_MM, MAIN_TOP_MM), (LEFT_MM, last_mm)], width_mm=width)
    first_mm = TOP_MM if bank.several else foot_mm - BELOW_MM
    sheet.path([(RIGHT_MM, first_mm), (RIGHT_MM, foot_mm)], width_mm=width)
    if bank.several:
        bars = bank.bar_of_strings
        sheet.text(LEFT_MM - 2.0, TOP_MM + 1.0, f"{bars}+", size_mm=TEXT_MM, anchor="end",
                   bold=True)  # fmt: skip
        sheet.text(RIGHT_MM + 2.0, TOP_MM + 1.0, f"{bars}−", size_mm=TEXT_MM, bold=True)


def _mains(sheet: Sheet, bank: BankTerminals, foot_mm: float) -> None:
    """Plus along the top and minus along the foot, each to its bar at the right and the left."""
    for joint in bank.joints:
        if bank.bar("+") == joint.start:
            _main(sheet, bank, joint, MAIN_TOP_MM, LEFT_MM, 200.0)
        elif bank.bar("−") == joint.end:
            _main(sheet, bank, joint, foot_mm, RIGHT_MM, 110.0)


def _main(
    sheet: Sheet, bank: BankTerminals, joint: Joint, y: float, near: float, far: float
) -> None:
    """A main conductor from the strings' end to the bar that inverters hang on."""
    plus = joint.start == bank.bar("+")
    ahead = 1.0 if far > near else -1.0
    sheet.path([(near, y), (far, y)])
    through = joint.through[::-1] if plus else joint.through
    at_bars = [tag for tag in through if bank.at(tag) == bank.key("busbar")]
    for tag in through:
        x = (far - ahead * FAR_STEP_MM * (len(at_bars) - at_bars.index(tag)) if tag in at_bars
             else near + ahead * (NEAR_MM + FAR_STEP_MM * through.index(tag)))  # fmt: skip
        part = next(part for part in bank.built.parts if part.tag == tag.partition(".")[0])
        sheet.box(x - HALF_MM, y - 2.6, x + HALF_MM, y + 2.6, width_mm=0.0, fill="white")
        Placer(sheet).put(part.symbol, x, y)
        rated = "" if part.rated_a is None else f", {part.rated_a:g} A"
        sheet.text(x, y - 3.6, tag + rated, size_mm=SMALL_MM, anchor="middle")
    words = sheet.fitted(f"{joint.tag}, {joint.size}", 32.0, size_mm=SMALL_MM, lines=1)[0]
    sheet.text(near + ahead * 2.0, y - 1.2, words, size_mm=SMALL_MM,
               anchor="start" if plus else "end")  # fmt: skip
    sheet.path([(far, y - 5.0), (far, y + 5.0)], width_mm=THICK_MM)
    sheet.text(far + ahead * 2.0, y + 1.0, f"{bank.bar('+' if plus else '−')}, to inverters and"
               " controllers", size_mm=TEXT_MM, anchor="start" if plus else "end", bold=True)
