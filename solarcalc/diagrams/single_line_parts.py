"""What a single-line diagram is put together from: wires, devices, the tie, their words."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from solarcalc.diagrams.lettering import KEPT, TEXT_MM, with_unit_kept
from solarcalc.diagrams.sheet import DASH_DOT, LINE_MM, Sheet
from solarcalc.diagrams.symbols import HALF_MM, Pen, Placer, duct, strokes, strokes_in
from solarcalc.installation.records import RELAY, Conductor, Installation, Part

METAL = {"copper": "Cu", "aluminium": "Al"}
_PARTED = re.compile(r"[,;(]\s*| or ")
RUN_NOTE = (
    "At a cable: tag (×2: two alike), conductors, length (? assumed), installation method of"
    " IEC 60364-5-52, design current I_b, insulation. At a device: tag, rating, poles, type,"
    " breaking capacity."
)
"""How the words beside a run are read."""


def run_pieces(one: Conductor) -> list[str]:
    """Words beside a run, the weightiest first: number, size, length, method, current.

    Parameters
    ----------
    one : Conductor
        With its size.
    """
    sized = one.sized
    if sized is None:
        return [one.tag]
    run = sized.run
    size = sized.size_name if sized.in_parallel == 1 else f"{sized.in_parallel} × {sized.size_name}"
    alike = "" if run.count == 1 else f" ×{run.count}"
    return [
        f"{one.tag}{alike}: {size.replace(' mm', KEPT + 'mm')} {METAL[run.material]}",
        f"{run.length_m:g} m{'' if run.length_given else '?'}",
        run.lies.drawn,
        f"I_b {run.design_a:.3g} A".replace(" ", KEPT),
        run.insulation.upper(),
    ]


def device_pieces(part: Part, more: Sequence[str] = ()) -> list[str]:
    """Words beside a device: tag and rating, voltage, poles, type, breaking capacity, then more.

    Of what else to ask for only the first words: the schedule has them all.
    """
    device = part.device
    if device is None:
        return [part.tag]
    rating = [] if device.rated_a is None else [f"{device.rated_a:g} A"]
    poles = "1 pole" if device.poles == 1 else f"{device.poles} poles"
    extra = _PARTED.split(device.extra)[: 2 if device.kind == "residual" else 1]
    extra = [words.strip() for words in extra if words and "direct current" not in words]
    breaking = [] if device.breaking_ka is None else [f"{device.breaking_ka:g} kA"]
    volts = f"{device.rated_v:g} V {device.current.upper()}"
    if device.kind == "surge":  # its leads are never left out for want of room
        asked: list[str] = [*device.asked, *more, poles, device.current.upper()]
        return [counted(part, asked[0]), *(each.replace(" ", KEPT) for each in asked[1:])]
    if device.current == "dc":
        pieces = [*rating, volts, poles, *extra, *breaking]
    else:
        pieces = [*rating, poles, *extra, *breaking, volts]
    if device.kind == "changeover":
        pieces = [*rating, poles, volts]
    return [each.replace(" ", KEPT) for each in (counted(part, pieces[0]), *pieces[1:])]


def counted(part: Part | Conductor, words: str) -> str:
    """Words that begin with a part's tag, and how many it stands for."""
    alike = "" if part.count == 1 else f"{part.count} × "
    return f"{part.tag}: {alike}{words}".rstrip(": ")


def watts(value_w: float) -> str:
    """Power in words [W or kW]."""
    return f"{value_w / 1000.0:g} kW" if value_w >= 10000.0 else f"{value_w:g} W"


EARTH_BAR_MM = 267.0
"""Height of the earth bar on the sheet [mm from the top]."""
TIE_SIDE_MM = 14.0
"""The bond of neutral and earth runs down this far left of its column [mm]."""
SLOT_MM = 10.0
"""Length of a device in a line from left to right [mm]."""
DOWN_MM = 11.0
"""Length of a device in a line that runs down, with a little line below it [mm]."""
STEP_MM = 1.25 * TEXT_MM
"""From line to line of words [mm]."""


FOOT_MM = 251.0
"""Columns end here [mm from the top]."""


@dataclass(frozen=True, kw_only=True)
class Places:
    """Where the columns of a single-line diagram stand [mm from the left].

    Parameters
    ----------
    separate : bool
        A bank and a row of modules for each board; else a row for each of two roof planes.
    bus_mm : float
        Height of the busbar of each bank [mm from the top].
    buses : tuple of (left, right)
        Ends of each busbar [mm].
    batteries_mm, columns_mm : tuple of float
        Batteries; the column of the essential board and that of the nonessential one [mm].
    battery_words_mm, words_mm, surge_mm : float
        Room for words beside a battery and beside a column; from a column to the surge
        protective device beside it [mm].
    """

    separate: bool
    bus_mm: float
    buses: tuple[tuple[float, float], ...]
    batteries_mm: tuple[float, ...]
    columns_mm: tuple[float, float]
    battery_words_mm: float
    words_mm: float
    surge_mm: float


ONE_BANK = Places(separate=False, bus_mm=88.0, buses=((16.0, 320.0),), batteries_mm=(34.0,),
                  columns_mm=(124.0, 228.0), battery_words_mm=66.0, words_mm=54.0,
                  surge_mm=58.5)  # fmt: skip
TWO_PLANES = Places(separate=False, bus_mm=120.0, buses=((16.0, 320.0),), batteries_mm=(34.0,),
                    columns_mm=(124.0, 228.0), battery_words_mm=66.0, words_mm=54.0,
                    surge_mm=58.5)  # fmt: skip
TWO_BANKS = Places(separate=True, bus_mm=120.0, buses=((14.0, 146.0), (158.0, 320.0)),
                   batteries_mm=(22.0, 168.0), columns_mm=(78.0, 228.0), battery_words_mm=33.0,
                   words_mm=44.0, surge_mm=50.0)  # fmt: skip


class Diagram:
    """A single-line diagram while it is drawn.

    Parameters
    ----------
    built : Installation
        Whose parts and conductors are drawn, under their tags.
    sheet : Sheet
    """

    def __init__(self, built: Installation, sheet: Sheet) -> None:
        self.built, self.site = built, built.site
        self.sheet, self.placer = sheet, Placer(sheet)
        self.runs = {one.key: one for one in built.cables}
        self.drawn: set[str] = set()
        self.device_lines = 3

    def part(self, stem: str, board: str = "") -> Part | None:
        """The part of a board, else that of all; None where there is neither."""
        parts = self.built.by_key
        return parts.get(f"{stem}-{board}", parts.get(stem))

    def words(self, stem: str, board: str, words: str) -> str:
        """Words under the tag of a part, which is drawn with them."""
        part = self.part(stem, board)
        if part is None:
            return words
        self.drawn.add(part.key)
        return counted(part, with_unit_kept(words))

    def tag(self, stem: str, board: str = "") -> str:
        """Tag of a part; empty without one."""
        part = self.part(stem, board)
        return "" if part is None else part.tag

    def standing(self, key: str, end: Literal["start", "end"]) -> list[Part]:
        """Devices that stand in a run at one of its ends, in the order from its start."""
        run = self.runs.get(key)
        keys = () if run is None else run.at_start if end == "start" else run.at_end
        return [self.built.by_key[each] for each in keys]

    def run_line(self, key: str, words_mm: float) -> str:
        """All about a run in one line, at most so wide [mm]; it is drawn with them."""
        return next(iter(self._run_words(key, words_mm, lines=1)), "")

    def run_key(self, stem: str, board: str) -> str:
        """Key of the run of a board, or of the one for all where only that is there."""
        return stem if stem in self.runs else f"{stem}_{board}"

    def run_across(self, key: str, left_mm: float, right_mm: float, y_mm: float, *,
                   words_at_mm: float, words_mm: float) -> None:  # fmt: skip
        """A run from left to right, its words above it around a place, at most so wide [mm]."""
        self._wire(key, left_mm, right_mm, y_mm, upright=False)
        words = self._run_words(key, words_mm, lines=3)
        top_mm = y_mm - 3.4 - STEP_MM * (len(words) - 1)
        self.sheet.lines(words_at_mm, top_mm, words, anchor="middle")

    def run_down(self, key: str, x_mm: float, top_mm: float, bottom_mm: float, *,
                 words_mm: float, side_mm: float = 4.0) -> None:  # fmt: skip
        """A run from top to bottom, its words right of it, at most so wide [mm]."""
        self._wire(key, top_mm, bottom_mm, x_mm, upright=True)
        lines = 1 + max(0, int((bottom_mm - top_mm - 1.2 * TEXT_MM) / STEP_MM))
        words = self._run_words(key, words_mm, lines=lines)
        foot_mm = (top_mm + bottom_mm) / 2.0 + 0.9 - STEP_MM * (len(words) - 1) / 2.0
        self.sheet.lines(x_mm + side_mm, foot_mm, words)

    def device_across(self, device: Part | None, x_mm: float, y_mm: float, *,
                      words_mm: float) -> None:  # fmt: skip
        """A device in a line from left to right, its words below it; or the line alone [mm]."""
        if device is None:
            self.sheet.path([(x_mm - SLOT_MM / 2.0, y_mm), (x_mm + SLOT_MM / 2.0, y_mm)])
            return
        for side_mm in (-1.0, 1.0):
            self.sheet.path([(x_mm + side_mm * HALF_MM, y_mm),
                             (x_mm + side_mm * SLOT_MM / 2.0, y_mm)])  # fmt: skip
        words = self._device_words(device, words_mm, lines=4)
        self.placer.put(device.symbol, x_mm, y_mm)
        self.sheet.lines(x_mm, y_mm + 7.4, words, anchor="middle")

    def device_down(self, device: Part | None, x_mm: float, top_mm: float, *, words_mm: float,
                    upwards: bool = False, side_mm: float = 4.0) -> float:  # fmt: skip
        """A device in a line that runs down, its words right of it; returns its end [mm]."""
        end_mm = top_mm + DOWN_MM
        if device is None:
            self.sheet.path([(x_mm, top_mm), (x_mm, end_mm)])
            return end_mm
        words = self._device_words(device, words_mm, lines=self.device_lines)
        middle_mm = end_mm - HALF_MM if upwards else top_mm + HALF_MM
        self.placer.put(device.symbol, x_mm, middle_mm, upright=True, upwards=upwards)
        rest_mm = (top_mm, top_mm + DOWN_MM - 2.0 * HALF_MM) if upwards else (
            top_mm + 2.0 * HALF_MM, end_mm)  # fmt: skip
        self.sheet.path([(x_mm, rest_mm[0]), (x_mm, rest_mm[1])])
        foot_mm = middle_mm + 0.9 - STEP_MM * (len(words) - 1) / 2.0
        self.sheet.lines(x_mm + side_mm, foot_mm, words)
        return end_mm

    def stands_down(self, key: str, end: Literal["start", "end"], x_mm: float, top_mm: float, *,
                    words_mm: float, side_mm: float = 4.0) -> float:  # fmt: skip
        """What stands at an end of a run that goes down, or the line alone; its end [mm]."""
        devices: list[Part | None] = [*self.standing(key, end)]
        for device in devices or [None]:
            top_mm = self.device_down(device, x_mm, top_mm, words_mm=words_mm, side_mm=side_mm)
        return top_mm

    def surge_to_earth(self, device: Part | None, x_mm: float, y_mm: float, *,
                       words_mm: float, fuse: Part | None = None) -> None:  # fmt: skip
        """A surge device that hangs from a line behind its fuse, words beside them [mm]."""
        if device is None:
            return
        self.sheet.circle(x_mm, y_mm, 0.6, fill="black")
        if fuse is not None:
            words = self._device_words(fuse, words_mm, lines=2)
            self.placer.put(fuse.symbol, x_mm, y_mm + HALF_MM, upright=True)
            self.sheet.lines(x_mm + 3.5, y_mm + 3.4, words)
            y_mm += 2.0 * HALF_MM + 1.0
            self.sheet.path([(x_mm, y_mm - 1.0), (x_mm, y_mm)])
        words = self._device_words(device, words_mm, lines=6, more=self._surge_leads(device))
        self.placer.put("surge", x_mm, y_mm + HALF_MM, upright=True)
        self.placer.put("earth", x_mm, y_mm + 2.0 * HALF_MM)
        self.sheet.lines(x_mm + 3.5, y_mm + 3.4, words)

    def _surge_leads(self, device: Part) -> list[str]:
        """Tag and size of the lead from the live conductors and of that to earth."""
        here = [one for one in self.built.leads if one.end == device.key]
        here += [one for one in self.built.earths if one.start == device.key]
        self.drawn |= {one.key for one in here}
        return [f"{one.tag} {one.size_name}" for one in here]

    def earth_words(self, *parts: str) -> str:
        """Tags and sizes of the earth conductors from some parts, or from the bar to them."""
        here = [one for one in self.built.earths
                if (one.end if one.start == "earth-bar" else one.start) in parts]  # fmt: skip
        self.drawn |= {one.key for one in here}
        return ", ".join(f"{one.tag} {one.size_name}" for one in here)

    def tie(self, board: str, x_mm: float, y_mm: float) -> None:
        """Neutral-earth bond, from a place in a line down to the earth bar [mm]."""
        part, left_mm = self.part("bond", board), x_mm - TIE_SIDE_MM
        by_relay = part is not None and part.why_not == RELAY
        words = [self.words("bond", board, f"N-PE bond{', relay' * by_relay}")]
        words += [self.earth_words(part.key)] if part is not None and not by_relay else []
        self.sheet.circle(x_mm, y_mm, 0.6, fill="black")
        self.sheet.path([(x_mm, y_mm), (left_mm, y_mm), (left_mm, EARTH_BAR_MM)], dash=DASH_DOT)
        foot_mm = EARTH_BAR_MM - 2.4 - STEP_MM * (len(words) - 1)
        self.sheet.lines(left_mm + 1.5, foot_mm, words)
        self.placer.used.add("protective")

    def not_drawn(self) -> list[str]:
        """Names of the devices and runs that have no place on the drawing."""
        left: list[Part | Conductor] = [
            part for part in self.built.parts if "single-line" in part.drawn_on
        ]
        left += (*self.built.cables, *self.built.leads)
        return [counted(one, one.name) for one in left if one.key not in self.drawn]

    def _device_words(self, device: Part, words_mm: float, *, lines: int,
                      more: Sequence[str] = ()) -> list[str]:  # fmt: skip
        """All about a device where it is drawn first, its tag where it is drawn again."""
        first = device.key not in self.drawn
        self.drawn.add(device.key)
        pieces = device_pieces(device, more)[: 2 if lines == 1 else None]
        return self.sheet.joined(pieces if first else [device.tag], words_mm, lines=lines)

    def _wire(self, key: str, from_mm: float, to_mm: float, across_mm: float, *,
              upright: bool) -> None:  # fmt: skip
        middle_mm = (from_mm + to_mm) / 2.0
        x_mm, y_mm = (across_mm, middle_mm) if upright else (middle_mm, across_mm)
        pen = Pen(self.sheet, x_mm, y_mm, upright=upright)
        half_mm = (to_mm - from_mm) / 2.0
        pen.line((-half_mm, 0.0), (half_mm, 0.0), width_mm=LINE_MM)
        if key not in self.runs:
            return
        sized = self.runs[key].sized
        if sized is None:
            return
        run = sized.run
        if run.lies.in_ground:
            duct(pen, -half_mm + 1.0, half_mm - 1.0)
            self.placer.used.add("buried")
        if half_mm > HALF_MM / 2.0:
            one = self.runs[key]
            all_fit = one.cores <= strokes_in(2.0 * half_mm)  # else those with one a pole
            strokes(pen, -half_mm, one.cores if all_fit else len(one.functions))
            self.placer.used.add("ticks")

    def _run_words(self, key: str, words_mm: float, *, lines: int) -> list[str]:
        if key not in self.runs:
            return []
        first = key not in self.drawn
        self.drawn.add(key)
        one = self.runs[key]
        pieces = run_pieces(one) if first else [f"{one.tag}, as above"]
        return self.sheet.joined(pieces, words_mm, lines=lines)
