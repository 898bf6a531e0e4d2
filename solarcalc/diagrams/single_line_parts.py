"""What a single-line diagram is put together from: wires, devices, the tie, their words."""

from __future__ import annotations

import re
from dataclasses import dataclass

from solarcalc.diagrams.sheet import DASH_DOT, LINE_MM, TEXT_MM, Sheet, joined
from solarcalc.diagrams.symbols import HALF_MM, Pen, Placer, duct, strokes
from solarcalc.installation.records import RELAY, Conductor, Installation, Part

KEPT = "\u00a0"
"""A space at which no line is broken."""
METAL = {"copper": "Cu", "aluminium": "Al"}
_PARTED = re.compile(r"[,;(]\s*| or ")
RUN_NOTE = (
    "W1...: line of the cable schedule (×2: two alike), length (? a guess), how it lies by"
    " IEC 60364-5-52, design current."
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
        f"{run.design_a:.3g} A",
        run.insulation.upper(),
    ]


def device_pieces(part: Part) -> list[str]:
    """Words beside a device, the weightiest first: rating, voltage, poles, kind, breaking.

    Of what else to ask for only the first words: the schedule has them all.
    """
    device = part.device
    if device is None:
        return [part.tag]
    rating = [] if device.rated_a is None else [f"{device.rated_a:g} A"]
    poles = "1 pole" if device.poles == 1 else f"{device.poles} poles"
    extra = _PARTED.split(device.extra)[: 2 if device.kind == "residual" else 1]
    extra = [words for words in extra if words]
    breaking = [] if device.breaking_ka is None else [f"{device.breaking_ka:g} kA"]
    if device.current == "dc":
        pieces = [*rating, f"{device.rated_v:g} V DC", poles, *extra, *breaking]
    else:
        pieces = [*rating, poles, *extra, *breaking, f"{device.rated_v:g} V AC"]
    if device.kind == "surge":
        pieces = [*extra, f"{device.rated_v:g} V", poles]
    return [counted(part, pieces[0]), *pieces[1:]]


def counted(part: Part | Conductor, words: str) -> str:
    """Words that begin with a part's tag, and how many it stands for."""
    alike = "" if part.count == 1 else f"{part.count} × "
    return f"{part.tag}: {alike}{words}".rstrip(": ")


def watts(value_w: float) -> str:
    """Power in words [W or kW]."""
    return f"{value_w / 1000.0:g} kW" if value_w >= 10000.0 else f"{value_w:g} W"


EARTH_BAR_MM = 184.0
"""Height of the earth bar on the sheet [mm from the top]."""
TIE_SIDE_MM = 14.0
"""The tie of neutral and earth runs down this far left of its column [mm]."""
SLOT_MM = 10.0
"""Length of a device in a line from left to right [mm]."""
STEP_MM = 1.25 * TEXT_MM
"""From line to line of words [mm]."""


FOOT_MM = 177.0
"""Columns end here [mm from the top]."""


@dataclass(frozen=True, kw_only=True)
class Places:
    """Where the columns of a single-line diagram stand [mm from the left].

    Parameters
    ----------
    separate : bool
        A bank and a row of modules for each board.
    bus_mm : float
        Height of the bus of each bank [mm from the top].
    buses : tuple of (left, right)
        Ends of each bus [mm].
    batteries_mm, columns_mm : tuple of float
        Batteries; the column of the essential board and that of the nonessential one [mm].
    battery_words_mm, words_mm : float
        Room for words beside a battery and beside a column [mm].
    """

    separate: bool
    bus_mm: float
    buses: tuple[tuple[float, float], ...]
    batteries_mm: tuple[float, ...]
    columns_mm: tuple[float, float]
    battery_words_mm: float
    words_mm: float


ONE_BANK = Places(separate=False, bus_mm=60.0, buses=((14.0, 203.0),), batteries_mm=(22.0,),
                  columns_mm=(84.0, 152.0), battery_words_mm=40.0, words_mm=46.0)  # fmt: skip
TWO_BANKS = Places(separate=True, bus_mm=87.0, buses=((14.0, 100.0), (108.0, 203.0)),
                   batteries_mm=(20.0, 116.0), columns_mm=(66.0, 161.0), battery_words_mm=26.0,
                   words_mm=33.0)  # fmt: skip


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
        return counted(part, words)

    def run_key(self, stem: str, board: str) -> str:
        """Key of the run of a board, or of the one for all where only that is there."""
        return stem if stem in self.runs else f"{stem}_{board}"

    def run_across(self, key: str, left_mm: float, right_mm: float, y_mm: float, *,
                   words_at_mm: float, words_mm: float) -> None:  # fmt: skip
        """A run from left to right, its words above it around a place, at most so wide [mm]."""
        self._wire(key, left_mm, right_mm, y_mm, upright=False)
        words = self._run_words(key, words_mm, lines=3)
        top_mm = y_mm - 2.6 - STEP_MM * (len(words) - 1)
        self.sheet.lines(words_at_mm, top_mm, words, anchor="middle")

    def run_down(self, key: str, x_mm: float, top_mm: float, bottom_mm: float, *,
                 words_mm: float) -> None:  # fmt: skip
        """A run from top to bottom, its words right of it, at most so wide [mm]."""
        self._wire(key, top_mm, bottom_mm, x_mm, upright=True)
        lines = 1 + max(0, int((bottom_mm - top_mm - 1.2 * TEXT_MM) / STEP_MM))
        words = self._run_words(key, words_mm, lines=lines)
        foot_mm = (top_mm + bottom_mm) / 2.0 + 0.9 - STEP_MM * (len(words) - 1) / 2.0
        self.sheet.lines(x_mm + 4.0, foot_mm, words)

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
        self.placer.put(device.kind, x_mm, y_mm)
        self.sheet.lines(x_mm, y_mm + 7.4, words, anchor="middle")

    def device_down(self, device: Part | None, x_mm: float, top_mm: float, *, words_mm: float,
                    upwards: bool = False, side_mm: float = 4.0) -> float:  # fmt: skip
        """A device in a line that runs down, its words right of it; returns its end [mm]."""
        end_mm = top_mm + 2.0 * HALF_MM
        if device is None:
            self.sheet.path([(x_mm, top_mm), (x_mm, end_mm)])
            return end_mm
        words = self._device_words(device, words_mm, lines=2)
        self.placer.put(device.kind, x_mm, top_mm + HALF_MM, upright=True, upwards=upwards)
        foot_mm = top_mm + HALF_MM + 0.9 - STEP_MM * (len(words) - 1) / 2.0
        self.sheet.lines(x_mm + side_mm, foot_mm, words)
        return end_mm

    def surge_to_earth(self, device: Part | None, x_mm: float, y_mm: float, *,
                       words_mm: float, beside: bool) -> None:  # fmt: skip
        """A surge device that hangs from a line, its words beside or below it [mm]."""
        if device is None:
            return
        words = self._device_words(device, words_mm, lines=3 if beside else 2)
        self.placer.put("surge", x_mm, y_mm + HALF_MM, upright=True)
        self.placer.put("earth", x_mm, y_mm + 2.0 * HALF_MM)
        self.sheet.circle(x_mm, y_mm, 0.6, fill="black")
        if beside:
            self.sheet.lines(x_mm + 3.5, y_mm + 3.9, words)
        else:
            self.sheet.lines(x_mm, y_mm + 15.6, words, anchor="middle")

    def tie(self, board: str, x_mm: float, y_mm: float) -> None:
        """Neutral joined to earth, from a place in a line down to the earth bar [mm]."""
        part, side_mm = self.part("bond", board), TIE_SIDE_MM
        by_relay = part is not None and part.why_not == RELAY
        words = self.words("bond", board, f"N to earth{', relay' * by_relay}")
        self.sheet.circle(x_mm, y_mm, 0.6, fill="black")
        left_mm = x_mm - side_mm
        self.sheet.path([(x_mm, y_mm), (left_mm, y_mm), (left_mm, EARTH_BAR_MM)], dash=DASH_DOT)
        self.sheet.text(left_mm + 1.5, EARTH_BAR_MM - 2.4, words)
        self.placer.used.add("protective")

    def not_drawn(self) -> list[str]:
        """Names of the devices and runs that have no place on the drawing."""
        left: list[Part | Conductor] = [
            part for part in self.built.parts if "single-line" in part.drawn_on
        ]
        left += self.built.cables
        return [counted(one, one.name) for one in left if one.key not in self.drawn]

    def _device_words(self, device: Part, words_mm: float, *, lines: int) -> list[str]:
        """All about a device where it is drawn first, its tag where it is drawn again."""
        first = device.key not in self.drawn
        self.drawn.add(device.key)
        return joined(device_pieces(device) if first else [device.tag], words_mm, lines=lines)

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
            strokes(pen, -half_mm + 2.4, run.loaded)
            self.placer.used.add("ticks")

    def _run_words(self, key: str, words_mm: float, *, lines: int) -> list[str]:
        if key not in self.runs:
            return []
        first = key not in self.drawn
        self.drawn.add(key)
        one = self.runs[key]
        return joined(run_pieces(one) if first else [f"{one.tag}, as above"], words_mm, lines=lines)
