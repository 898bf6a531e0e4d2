"""Charts as short SVG texts, drawn in well under a millisecond: what moves under a slider.

Only as much as the panels need: lines, steps, areas, bars, limits, marks, a legend. What stands
for the baseline is a ghost: grey, behind what is tried. Figures of documents are drawn by
`solarcalc.figures`, where time does not matter.
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Sequence

from solarcalc.basis.quantity import figure, grouped
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM

Place = float
"""A value in the unit of its axis, or pixels."""
GHOST = "#8c979f"
"""Ink of the baseline."""
WIDTH, HEIGHT = 640.0, 300.0
_LETTER = 6.3
"""Width of a letter of 12 px, wider than most of a sans-serif [px]."""
_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 14.0, 46.0, 42.0


def ticks_of(low: Place, high: Place, most: int = 6) -> list[float]:
    """Round values from the first at or above `low` to the last at or below `high`.

    Examples
    --------
    >>> ticks_of(0.0, 10.0)
    [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    """
    step = round_step((high - low) / most)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [round(number * step, 10) for number in range(first, last + 1)]


def round_step(least: Place) -> Place:
    """The smallest of 1, 2, 5 times a power of ten that is not below `least`; 1 of nothing."""
    if not least > 0.0 or not math.isfinite(least):
        return 1.0
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * times for times in (1.0, 2.0, 5.0, 10.0) if power * times >= least * 0.9999)


def tick_text(value: Place) -> str:
    """A tick as it stands on an axis."""
    return figure(round(value, 6))


class Chart:
    """A chart of one pair of axes.

    Parameters
    ----------
    x, y : tuple of float
        Lowest and highest value shown.
    x_words, y_words : str
        What the axes are, with units.
    title : str
        The finding, in a line.
    x_names : sequence of str, optional
        Names of places 0, 1, 2 on the x axis in place of numbers.
    width, height : float
        [px], at which letters are 12 px high.
    """

    def __init__(
        self, *, x: tuple[float, float], y: tuple[float, float], x_words: str = "",
        y_words: str = "", title: str, x_names: Sequence[str] = (), width: Place = WIDTH,
        height: Place = HEIGHT,
    ) -> None:  # fmt: skip
        self._x, self._y = _wide(*x), _wide(*y)
        self._size = width, height
        self._title = title
        self._parts: list[str] = []
        self._legend: list[tuple[str, str]] = []
        self._frame(x_words, y_words, x_names)

    def _at_x(self, value: Place) -> float:
        low, high = self._x
        return _LEFT + (value - low) / (high - low) * (self._size[0] - _LEFT - _RIGHT)

    def _at_y(self, value: Place) -> float:
        low, high = self._y
        room = self._size[1] - _TOP - _BOTTOM
        return self._size[1] - _BOTTOM - min(max((value - low) / (high - low), 0.0), 1.0) * room

    def _frame(self, x_words: str, y_words: str, x_names: Sequence[str]) -> None:
        width, height = self._size
        floor, end = height - _BOTTOM, width - _RIGHT
        for value in ticks_of(*self._y, most=5):
            y = self._at_y(value)
            self._parts.append(f'<path d="M{_LEFT} {y:.1f}H{end}" stroke="{PALE}"/>')
            self._text(_LEFT - 6.0, y + 4.0, tick_text(value), anchor="end")
        if x_names:
            for number, name in enumerate(x_names):
                self._text(self._at_x(number), floor + 15.0, name, anchor="middle")
        else:
            for value in ticks_of(*self._x, most=8):
                x = self._at_x(value)
                self._parts.append(f'<path d="M{x:.1f} {floor}v4" stroke="{INK}"/>')
                self._text(x, floor + 16.0, tick_text(value), anchor="middle")
        self._parts.append(f'<path d="M{_LEFT} {_TOP}V{floor}H{end}" fill="none" stroke="{INK}"/>')
        self._text((_LEFT + end) / 2.0, height - 7.0, x_words, anchor="middle")
        middle = (_TOP + floor) / 2.0
        self._parts.append(f'<text x="13" y="{middle:.0f}" text-anchor="middle" '
                           f'transform="rotate(-90 13 {middle:.0f})">{html.escape(y_words)}</text>')

    def _text(self, x: Place, y: Place, words: str, *, anchor: str = "start", ink: str = INK,
              bold: bool = False) -> None:  # fmt: skip
        heavy = ' font-weight="bold"' if bold else ""
        self._parts.append(f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" '
                           f'fill="{ink}"{heavy}>{html.escape(words)}</text>')

    def _named(self, label: str, sample: str) -> None:
        if label:
            self._legend.append((label, sample))

    def line(
        self, xs: Iterable[float], ys: Iterable[float], *, label: str = "", ink: str = DARK,
        dash: str = "", ghost: bool = False, steps: bool = False, marks: bool = False,
    ) -> None:  # fmt: skip
        """A line through points; `steps` holds each value until the next, `marks` dots points."""
        ink, dash, wide = (GHOST, "5 3", 1.6) if ghost else (ink, dash, 2.0)
        points = [(self._at_x(x), self._at_y(y)) for x, y in zip(xs, ys, strict=True)]
        if not points:
            return
        (x, y), *rest = points
        path = f"M{x:.1f} {y:.1f}" + "".join(
            f"H{x:.1f}V{y:.1f}" if steps else f"L{x:.1f} {y:.1f}" for x, y in rest)
        look = (f'fill="none" stroke="{ink}" stroke-width="{wide}"'
                + (f' stroke-dasharray="{dash}"' if dash else ""))
        self._parts.append(f'<path d="{path}" {look}/>')
        if marks:
            self._parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.2" fill="{ink}"/>'
                            for x, y in points]  # fmt: skip
        self._named(label, f'<path d="M0 -4H18" {look}/>')

    def area(
        self, xs: Iterable[float], ys: Iterable[float], *, label: str = "", ink: str = LIGHT
    ) -> None:
        """What lies under steps, filled."""
        floor = self._at_y(self._y[0])
        points = [(self._at_x(x), self._at_y(y)) for x, y in zip(xs, ys, strict=True)]
        path = f"M{points[0][0]:.1f} {floor:.1f}" + "".join(
            f"H{x:.1f}V{y:.1f}" for x, y in points) + f"V{floor:.1f}Z"
        self._parts.append(f'<path d="{path}" fill="{ink}"/>')
        self._named(label, f'<rect x="0" y="-9" width="18" height="9" fill="{ink}"/>')

    def bars(
        self, values: Sequence[float], *, label: str = "", ink: str = MID, ghost: bool = False,
        wide: Place = 0.7, base: Sequence[float] = (),
    ) -> None:  # fmt: skip
        """Bars at places 0, 1, 2; the ghost is an outline; `base` is what they stand on."""
        half = (self._at_x(1.0) - self._at_x(0.0)) * wide / 2.0
        fill = (f'fill="none" stroke="{GHOST}" stroke-width="1.6" stroke-dasharray="5 3"' if ghost
                else f'fill="{ink}"')
        for place, value in enumerate(values):
            low = base[place] if base else self._y[0]
            top, foot = self._at_y(low + value if base else value), self._at_y(low)
            self._parts.append(
                f'<rect x="{self._at_x(place) - half:.1f}" y="{min(top, foot):.1f}" '
                f'width="{2.0 * half:.1f}" height="{abs(foot - top):.1f}" {fill}/>')
        self._named(label, f'<rect x="0" y="-9" width="18" height="9" {fill}/>')

    def level(self, value: Place, words: str, *, ink: str = WARM) -> None:
        """A limit across the chart, with its words over it at the right."""
        if not self._y[0] <= value <= self._y[1]:
            return
        y, end = self._at_y(value), self._size[0] - _RIGHT
        self._parts.append(f'<path d="M{_LEFT} {y:.1f}H{end}" stroke="{ink}" stroke-width="1.6" '
                           'stroke-dasharray="8 4"/>')
        self._text(end - 4.0, y - 4.0, words, anchor="end", ink=ink)

    def mark(self, x: Place, y: Place, *, label: str = "", ink: str = WARM,
             ghost: bool = False) -> None:  # fmt: skip
        """One point, as a diamond."""
        ink = GHOST if ghost else ink
        look = f'fill="{"none" if ghost else ink}" stroke="{ink}" stroke-width="2"'
        self._parts.append(f'<path transform="translate({self._at_x(x):.1f} {self._at_y(y):.1f})" '
                           f'd="M-7 0L0 -7L7 0L0 7Z" {look}/>')
        self._named(label, f'<path transform="translate(9 -4)" d="M-5 0L0 -5L5 0L0 5Z" {look}/>')

    def svg(self) -> str:
        """The whole drawing; a legend too long for its line goes on under the chart."""
        width, height = self._size
        parts, x, y = list(self._parts), _LEFT, 38.0
        for label, sample in self._legend:
            wide = 36.0 + _LETTER * len(label)
            if x + wide > width and x > _LEFT:
                x, y = _LEFT, height + 12.0
                height += 18.0
            parts.append(f'<g transform="translate({x:.1f} {y:.1f})">{sample}'
                         f'<text x="23" y="0">{html.escape(label)}</text></g>')
            x += wide
        return framed(parts, width, height, self._title)


def framed(parts: Iterable[str], width: Place, height: Place, title: str) -> str:
    """A drawing with its title as heading and as text alternative."""
    said = html.escape(title, quote=True)
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img"'
            f' aria-label="{said}" font-family="DejaVu Sans, Verdana, sans-serif" font-size="12"'
            f' style="width:100%;max-width:{width:g}px;background:#fff">'
            f'<text x="4" y="17" font-size="13" font-weight="bold" fill="{INK}">{said}</text>'
            + "".join(parts) + "</svg>")


def bar_list(
    names: Sequence[str], values: Sequence[float], ghosts: Sequence[float], *, title: str,
    words: str, limits: Sequence[float] = (), digits: int = 0,
) -> str:  # fmt: skip
    """Bars that lie, one a name, with the baseline's as outlines and their limits as strokes.

    Parameters
    ----------
    names, values, ghosts, limits : sequences of one length
        `limits` may be empty.
    title, words : str
        Finding; what the bars are, with unit.
    digits : int
        Decimals of the numbers behind the bars.
    """
    left = min(330.0, 12.0 + 6.6 * max((len(name) for name in names), default=0))
    room, high = WIDTH - left - 80.0, 22.0
    top = max([*values, *ghosts, *limits, 1e-9])
    parts = []
    for row, (name, value, ghost) in enumerate(zip(names, values, ghosts, strict=True)):
        y = 30.0 + row * high
        parts += [
            f'<text x="{left - 6:.0f}" y="{y + 13:.0f}" text-anchor="end">{html.escape(name)}'
            "</text>",
            f'<rect x="{left:.0f}" y="{y:.0f}" width="{max(value, 0.0) / top * room:.1f}" '
            f'height="15" fill="{MID}"/>',
            f'<rect x="{left:.0f}" y="{y - 1:.0f}" width="{max(ghost, 0.0) / top * room:.1f}" '
            f'height="17" fill="none" stroke="{GHOST}" stroke-width="1.6" stroke-dasharray="5 3"/>',
            f'<text x="{left + max(value, ghost, 0.0) / top * room + 6:.1f}" y="{y + 13:.0f}">'
            f"{grouped(f'{value:.{digits}f}')}</text>",
        ]
        if limits:
            parts.append(f'<path d="M{left + limits[row] / top * room:.1f} {y - 2:.0f}v19" '
                         f'stroke="{WARM}" stroke-width="3"/>')
    height = 30.0 + high * len(names) + 24.0
    parts.append(f'<text x="{left:.0f}" y="{height - 8:.0f}">{html.escape(words)}</text>')
    return framed(parts, WIDTH, height, title)


def _wide(low: Place, high: Place) -> tuple[float, float]:
    return (low, high) if high > low else (low, low + 1.0)
