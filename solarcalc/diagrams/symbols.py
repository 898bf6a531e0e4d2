"""Symbols of a single-line diagram, in the manner of IEC 60617, and the legend of those used.

Their shapes are from memory of IEC 60617; the legend of each drawing says what each one means.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable

from solarcalc.diagrams.lettering import SMALL_MM
from solarcalc.diagrams.sheet import DASHED, LINE_MM, THICK_MM, THIN_MM, Point, Sheet

HALF_MM = 4.0
"""A symbol that stands in a line takes this much of it to both sides of its middle [mm]."""
SQUARE_MM = 6.0
"""Half the side of a converter [mm]."""


class Pen:
    """Draws a symbol lying in a line, or upright in one that runs down.

    Places are (along, across) [mm] from the middle: along with the line, to the right or down;
    across to its upper or left side.
    """

    def __init__(self, sheet: Sheet, x_mm: float, y_mm: float, *, upright: bool = False,
                 upwards: bool = False, scale_frac: float = 1.0) -> None:  # fmt: skip
        self.sheet, self.x_mm, self.y_mm = sheet, x_mm, y_mm
        self.upright, self.sign, self.scale_frac = upright, -1.0 if upwards else 1.0, scale_frac

    def at(self, along_mm: float, across_mm: float) -> Point:
        """The place on the sheet [mm]."""
        along, across = self.sign * along_mm * self.scale_frac, across_mm * self.scale_frac
        if self.upright:
            return self.x_mm - across, self.y_mm + along
        return self.x_mm + along, self.y_mm - across

    def line(self, *places: Point, width_mm: float = LINE_MM, dash: str = "",
             closed: bool = False, fill: str = "none") -> None:  # fmt: skip
        """Straight lines from place to place."""
        self.sheet.path([self.at(*each) for each in places], width_mm=width_mm, dash=dash,
                        closed=closed, fill=fill)  # fmt: skip

    def box(self, along_mm: float, across_mm: float, *, fill: str = "none") -> None:
        """A rectangle around the middle, half as long and as wide as given."""
        self.line((-along_mm, -across_mm), (along_mm, -across_mm), (along_mm, across_mm),
                  (-along_mm, across_mm), closed=True, fill=fill)  # fmt: skip

    def ring(self, along_mm: float, across_mm: float, radius_mm: float, *,
             fill: str = "none") -> None:  # fmt: skip
        """A circle."""
        x_mm, y_mm = self.at(along_mm, across_mm)
        self.sheet.circle(x_mm, y_mm, radius_mm * self.scale_frac, fill=fill)

    def bow(self, along_mm: float, across_mm: float, wide_mm: float, high_mm: float, *,
            from_deg: float = 0.0, to_deg: float = 360.0) -> None:  # fmt: skip
        """Part of an ellipse, by short straight lines."""
        steps = 24
        turns = [math.radians(from_deg + (to_deg - from_deg) * each / steps)
                 for each in range(steps + 1)]  # fmt: skip
        self.line(*[(along_mm + wide_mm * math.cos(turn), across_mm + high_mm * math.sin(turn))
                    for turn in turns], width_mm=THIN_MM * 1.4)  # fmt: skip


def _fuse(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (HALF_MM, 0.0))
    pen.box(3.0, 1.2)


def _switch(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (-2.4, 0.0))
    pen.line((HALF_MM, 0.0), (2.4, 0.0), (-2.2, 2.3))


def _isolator(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (-3.4, 0.0))
    pen.line((-3.4, -1.2), (-3.4, 1.2))
    pen.ring(-2.9, 0.0, 0.5)
    pen.line((HALF_MM, 0.0), (2.4, 0.0), (-2.2, 2.3))


def _fuse_switch(pen: Pen) -> None:
    """An isolator whose blade is a fuse."""
    _isolator(pen)
    middle, along, across = (0.1, 1.15), (-1.34, 0.67), (0.3, 0.6)
    pen.line(*[(middle[0] + one * along[0] + other * across[0],
                middle[1] + one * along[1] + other * across[1])
               for one, other in ((-1, -1), (1, -1), (1, 1), (-1, 1))], closed=True)  # fmt: skip


def _breaker(pen: Pen) -> None:
    _switch(pen)
    pen.line((-3.2, -0.8), (-1.6, 0.8))
    pen.line((-3.2, 0.8), (-1.6, -0.8))


def _residual(pen: Pen) -> None:
    _breaker(pen)
    pen.bow(3.6, 0.0, 0.7, 1.6)
    pen.line((3.6, 1.6), (3.6, 2.8), (0.6, 2.8), (0.6, 0.9), width_mm=THIN_MM, dash="0.8 0.5")


def _surge(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (-0.5, 0.0))
    pen.line((HALF_MM, 0.0), (0.5, 0.0))
    pen.line((-1.5, 0.8), (-0.5, 0.0), (-1.5, -0.8))
    pen.line((1.5, 0.8), (0.5, 0.0), (1.5, -0.8))
    pen.box(3.0, 1.6)


def _changeover(pen: Pen) -> None:
    """Two ways in, the second to the right or below; one way out."""
    pen.line((-HALF_MM, 0.0), (-2.4, 0.0))
    pen.line((-HALF_MM, -6.0), (-2.4, -6.0))
    pen.line((-2.4, -1.0), (-2.4, 0.0))
    pen.line((-2.4, -5.0), (-2.4, -6.0))
    pen.line((HALF_MM, 0.0), (2.8, 0.0), (-2.4, -0.9))


def _direct(pen: Pen, along_mm: float, across_mm: float) -> None:
    left, right = along_mm - 1.5, along_mm + 1.5
    pen.line((left, across_mm + 0.5), (right, across_mm + 0.5), width_mm=THIN_MM)
    pen.line((left, across_mm - 0.5), (right, across_mm - 0.5), width_mm=THIN_MM, dash="0.7 0.45")


def _wave(pen: Pen, along_mm: float, across_mm: float, half_mm: float = 1.5) -> None:
    steps = 24
    places = [2.0 * each / steps - 1.0 for each in range(steps + 1)]
    pen.line(*[(along_mm + half_mm * place, across_mm - 0.45 * half_mm * math.sin(math.pi * place))
               for place in places], width_mm=THIN_MM * 1.4)  # fmt: skip


def _square(pen: Pen) -> None:
    pen.box(SQUARE_MM, SQUARE_MM, fill="white")
    pen.line((-SQUARE_MM, -SQUARE_MM), (SQUARE_MM, SQUARE_MM))
    _direct(pen, -2.8, 3.0)


def _controller(pen: Pen) -> None:
    _square(pen)
    _direct(pen, 2.8, -3.0)


def _inverter(pen: Pen) -> None:
    _square(pen)
    _wave(pen, 2.8, -3.0)


def _modules(pen: Pen) -> None:
    """Cell that light falls on, in a rectangle."""
    pen.box(8.0, 6.0)
    pen.line((-8.0, -1.5), (-0.6, -1.5))
    pen.line((-0.6, -4.5), (-0.6, 1.5))
    pen.line((0.8, -3.0), (0.8, 0.0), width_mm=THICK_MM * 0.8)
    pen.line((0.8, -1.5), (8.0, -1.5))
    for start in (-5.2, -2.4):
        pen.line((start, 5.0), (start + 2.0, 2.0), width_mm=THIN_MM)
        pen.line((start + 0.9, 2.6), (start + 2.0, 2.0), (start + 2.0, 3.3), width_mm=THIN_MM)


def _battery(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (-2.0, 0.0))
    for along_mm in (-2.0, 0.8):
        pen.line((along_mm, -3.5), (along_mm, 3.5))
        pen.line((along_mm + 1.2, -1.7), (along_mm + 1.2, 1.7), width_mm=THICK_MM * 0.8)
    pen.line((-0.8, 0.0), (0.8, 0.0), width_mm=THIN_MM, dash="0.5 0.4")
    pen.line((2.0, 0.0), (HALF_MM, 0.0))


def _grid(pen: Pen) -> None:
    pen.ring(0.0, 0.0, 4.5, fill="white")
    _wave(pen, 0.0, 0.0, 2.6)


def _generator(pen: Pen) -> None:
    """A circle with a G above a wave; the letter is drawn in lines."""
    pen.ring(0.0, 0.0, 4.5, fill="white")
    pen.bow(0.0, 1.2, 1.4, 1.7, from_deg=45.0, to_deg=340.0)
    pen.line((0.3, 0.9), (1.35, 0.9), (1.35, 0.2), width_mm=THIN_MM * 1.4)
    _wave(pen, 0.0, -2.2, 1.8)


def _earth(pen: Pen) -> None:
    """It hangs from the point given."""
    pen = Pen(pen.sheet, pen.x_mm, pen.y_mm, scale_frac=pen.scale_frac)
    pen.line((0.0, 0.0), (0.0, -1.5))
    for step, half_mm in enumerate((2.4, 1.5, 0.6)):
        pen.line((-half_mm, -1.5 - step), (half_mm, -1.5 - step))


def _bar(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (HALF_MM, 0.0), width_mm=THICK_MM)


def _protective(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (HALF_MM, 0.0), dash=DASH_DOT_SHORT)


def _buried(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (HALF_MM, 0.0))
    duct(pen, -HALF_MM, HALF_MM)


def _load(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (1.0, 0.0))
    pen.line((1.0, 1.6), (4.5, 0.0), (1.0, -1.6), closed=True)


def _ticks(pen: Pen) -> None:
    pen.line((-HALF_MM, 0.0), (HALF_MM, 0.0))
    strokes(pen, -HALF_MM, 2)


DASH_DOT_SHORT = "2.2 0.7 0.5 0.7"

SYMBOLS: dict[str, tuple[str, Callable[[Pen], None]]] = {
    "modules": ("PV string: modules in series", _modules),
    "fuse": ("fuse", _fuse),
    "isolator": ("switch-disconnector (isolator)", _isolator),
    "fuse-switch": ("fuse-switch-disconnector", _fuse_switch),
    "breaker": ("circuit-breaker", _breaker),
    "residual": ("residual current device (RCD)", _residual),
    "surge": ("surge protective device (SPD)", _surge),
    "changeover": ("changeover switch", _changeover),
    "controller": ("MPPT charge controller, DC/DC", _controller),
    "inverter": ("inverter, DC/AC", _inverter),
    "battery": ("battery", _battery),
    "grid": ("grid", _grid),
    "generator": ("generator", _generator),
    "load": ("to final circuits", _load),
    "bar": ("busbar or main earthing terminal", _bar),
    "ticks": ("strokes: number of conductors", _ticks),
    "buried": ("cable in conduit, duct or soil", _buried),
    "protective": ("protective conductor", _protective),
    "earth": ("earth", _earth),
}
"""Name: what the legend says, how it is drawn."""


FIRST_STROKE_MM, STROKE_MM = 1.85, 1.1
"""From the beginning of a line to its first stroke, and from one to the next [mm]."""


def strokes_in(long_mm: float) -> int:
    """Most strokes that a line so long has room for [mm]."""
    return 1 + int((long_mm - 2.0 * FIRST_STROKE_MM) / STROKE_MM)


def strokes(pen: Pen, from_mm: float, count: int) -> None:
    """As many slanted strokes across a line, near its beginning, as it has conductors."""
    for number in range(count):
        shift_mm = from_mm + FIRST_STROKE_MM + STROKE_MM * number
        pen.line((shift_mm - 0.6, -1.2), (shift_mm + 0.6, 1.2), width_mm=THIN_MM)


def duct(pen: Pen, from_mm: float, to_mm: float) -> None:
    """Dashed walls of a duct on both sides of a line."""
    for across_mm in (-1.6, 1.6):
        pen.line((from_mm, across_mm), (to_mm, across_mm), width_mm=THIN_MM, dash=DASHED)


HIGH_IN_LEGEND_MM = {"modules": 8.4, "controller": 8.4, "inverter": 8.4, "grid": 6.4,
                     "generator": 6.4, "changeover": 6.4, "battery": 5.6}  # fmt: skip
"""Height of a symbol's line in the legend where it is a tall one [mm]; these are drawn smaller."""


class Placer:
    """Puts symbols on a sheet and remembers which, for the legend."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.used: set[str] = set()
        self.count: Counter[str] = Counter()

    def put(self, name: str, x_mm: float, y_mm: float, *, upright: bool = False,
            upwards: bool = False) -> Pen:  # fmt: skip
        """A symbol with its middle at a place [mm]; returns the pen that drew it."""
        pen = Pen(self.sheet, x_mm, y_mm, upright=upright, upwards=upwards)
        SYMBOLS[name][1](pen)
        self.used.add(name)
        self.count[name] += 1
        return pen

    def legend(self, left_mm: float, top_mm: float, width_mm: float, step_mm: float) -> float:
        """What each symbol used means, one a line; returns the foot of the box [mm]."""
        names = [name for name in SYMBOLS if name in self.used]
        sheet, y_mm = self.sheet, top_mm + 5.0
        sheet.text(left_mm + 2.0, y_mm, "Symbols", bold=True)
        y_mm += 1.0
        for name in names:
            high_mm = HIGH_IN_LEGEND_MM.get(name, step_mm)
            self._line_of_legend(name, left_mm, y_mm, high_mm, width_mm)
            y_mm += high_mm
        sheet.box(left_mm, top_mm, left_mm + width_mm, y_mm + 1.5, width_mm=THIN_MM)
        return y_mm + 1.5

    def _line_of_legend(self, name: str, left_mm: float, top_mm: float, high_mm: float,
                        width_mm: float) -> None:  # fmt: skip
        words, draw = SYMBOLS[name]
        middle_mm = top_mm + high_mm / 2.0
        shift_mm = {"earth": -1.8, "changeover": -2.0}.get(name, 0.0)
        draw(Pen(self.sheet, left_mm + 10.0, middle_mm + shift_mm,
                 scale_frac=0.6 if name in HIGH_IN_LEGEND_MM else 1.0))  # fmt: skip
        lines = self.sheet.fitted(words, width_mm - 20.0, size_mm=SMALL_MM)
        foot_mm = middle_mm + 0.9 - (len(lines) - 1) * 0.6 * SMALL_MM
        self.sheet.lines(left_mm + 19.0, foot_mm, lines, size_mm=SMALL_MM)
