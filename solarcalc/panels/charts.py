"""Charts as short SVG texts, drawn in well under a millisecond: what moves under a slider.

Only as much as panels and lessons need: lines, steps, areas, bars that stand or lie, limits, bands,
marks, a legend. What stands for the baseline is a ghost: grey, behind what is tried. Figures of
documents are drawn by `solarcalc.figures`, where time does not matter.
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

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
_RIGHT_AXIS = 58.0
"""Room at the right where a second axis stands [px]."""
_SHAPES = {
    "diamond": "M-7 0L0 -7L7 0L0 7Z", "dot": "M-5 0a5 5 0 1 0 10 0a5 5 0 1 0 -10 0Z",
    "square": "M-5 -5H5V5H-5Z", "speck": "M-1 -1H1V1H-1Z",
    "cross": "M-6 -4L-4 -6L0 -2L4 -6L6 -4L2 0L6 4L4 6L0 2L-4 6L-6 4L-2 0Z",
}  # fmt: skip
Shape = Literal["diamond", "dot", "square", "cross", "speck"]


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
    y_names : mapping of float to str, optional
        Names of places on the y axis in place of numbers.
    x_ticks : sequence of float, optional
        Where the x axis has numbers, in place of round ones.
    y_ticks : int
        Numbers on the y axis, at most about so many.
    right : tuple of float, optional
        Ends of a second axis at the right; what belongs to it is scaled by who draws it.
    right_words : str
        What that axis is, with its unit.
    width, height : float
        [px], at which letters are 12 px high.
    """

    def __init__(
        self, *, x: tuple[float, float], y: tuple[float, float], x_words: str = "",
        y_words: str = "", title: str, x_names: Sequence[str] = (),
        y_names: Mapping[float, str] | None = None, x_ticks: Sequence[float] = (),
        y_ticks: int = 5, right: tuple[float, float] | None = None, right_words: str = "",
        width: Place = WIDTH, height: Place = HEIGHT,
    ) -> None:  # fmt: skip
        self._x, self._y = _wide(*x), _wide(*y)
        self._size = width, height
        longest = max((len(name) for name in (y_names or {}).values()), default=0)
        self._left = max(_LEFT, 14.0 + _LETTER * longest)
        self._end = width - (_RIGHT_AXIS if right else _RIGHT)
        self._title = title
        self._parts: list[str] = []
        self._legend: list[tuple[str, str]] = []
        self._levels: list[tuple[float, float]] = []
        self._words: list[str] = []
        self._frame_y(y_words, y_names, y_ticks)
        self._frame_x(x_words, x_names, x_ticks or ticks_of(*self._x, most=8))
        if right:
            self._frame_right(_wide(*right), right_words, y_ticks)

    @classmethod
    def to_scale(
        cls, *, x: tuple[float, float], y: tuple[float, float], words: str, title: str,
        height: Place = HEIGHT,
    ) -> Chart:  # fmt: skip
        """One in which a length is as long both ways; its sky is as high as `height` leaves room.

        Parameters
        ----------
        x, y : tuple of float
            Lowest and highest value that must be seen, in one unit.
        words : str
            What both axes are, with the unit.
        title : str
        height : float
            [px], more where what must be seen is higher.
        """
        px = (WIDTH - _LEFT - _RIGHT) / (x[1] - x[0])
        high = max(y[1], y[0] + (height - _TOP - _BOTTOM) / px)
        return cls(x=x, y=(y[0], high), height=(high - y[0]) * px + _TOP + _BOTTOM,
                   x_words=words, y_words=words, title=title)  # fmt: skip

    @property
    def highest(self) -> float:
        """Top of the y axis, in its unit."""
        return self._y[1]

    def _at_x(self, value: Place) -> float:
        low, high = self._x
        return self._left + (value - low) / (high - low) * (self._end - self._left)

    def _at_y(self, value: Place) -> float:
        low, high = self._y
        room = self._size[1] - _TOP - _BOTTOM
        return self._size[1] - _BOTTOM - min(max((value - low) / (high - low), 0.0), 1.0) * room

    def _frame_y(self, words: str, names: Mapping[float, str] | None, most: int) -> None:
        for value in () if names else ticks_of(*self._y, most=most):
            y = self._at_y(value)
            self._parts.append(f'<path d="M{self._left} {y:.1f}H{self._end}" stroke="{PALE}"/>')
            self._text(self._left - 6.0, y + 4.0, tick_text(value), anchor="end")
        for value, name in (names or {}).items():
            self._text(self._left - 6.0, self._at_y(value) + 4.0, name, anchor="end")
        self._beside(13.0, words)

    def _frame_x(self, words: str, names: Sequence[str], ticks: Sequence[float]) -> None:
        height = self._size[1]
        floor = height - _BOTTOM
        if names:
            for number, name in enumerate(names):
                self._text(self._at_x(number), floor + 15.0, name, anchor="middle")
        else:
            for value in ticks:
                x = self._at_x(value)
                self._parts.append(f'<path d="M{x:.1f} {floor}v4" stroke="{INK}"/>')
                self._text(x, floor + 16.0, tick_text(value), anchor="middle")
        self._parts.append(f'<path d="M{self._left} {_TOP}V{floor}H{self._end}" fill="none" '
                           f'stroke="{INK}"/>')
        self._text((self._left + self._end) / 2.0, height - 7.0, words, anchor="middle")

    def _frame_right(self, ends: tuple[float, float], words: str, most: int) -> None:
        floor = self._size[1] - _BOTTOM
        self._parts.append(f'<path d="M{self._end} {_TOP}V{floor}" stroke="{INK}"/>')
        for value in ticks_of(*ends, most=most):
            y = floor - (value - ends[0]) / (ends[1] - ends[0]) * (floor - _TOP)
            self._parts.append(f'<path d="M{self._end} {y:.1f}h4" stroke="{INK}"/>')
            self._text(self._end + 7.0, y + 4.0, tick_text(value))
        self._beside(self._size[0] - 4.0, words)

    def _beside(self, x: Place, words: str) -> None:
        """What an axis is, along it."""
        middle = (_TOP + self._size[1] - _BOTTOM) / 2.0
        self._parts.append(f'<text x="{x:g}" y="{middle:.0f}" text-anchor="middle" '
                           f'transform="rotate(-90 {x:g} {middle:.0f})">{html.escape(words)}'
                           "</text>")

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
        wide: Place = 2.0,
    ) -> None:  # fmt: skip
        """A line through points; `steps` holds each value until the next, `marks` dots points."""
        ink, dash, wide = (GHOST, "5 3", 1.6) if ghost else (ink, dash, wide)
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
        wide: Place = 0.7, base: Sequence[float] = (), first: Place = 0.0,
    ) -> None:  # fmt: skip
        """Bars at places 0, 1, 2 from the first; a ghost is an outline; they stand on `base`."""
        half = (self._at_x(1.0) - self._at_x(0.0)) * wide / 2.0
        fill = (f'fill="none" stroke="{GHOST}" stroke-width="1.6" stroke-dasharray="5 3"' if ghost
                else f'fill="{ink}"')
        for place, value in enumerate(values):
            low = base[place] if base else self._y[0]
            top, foot = self._at_y(low + value if base else value), self._at_y(low)
            self._parts.append(
                f'<rect x="{self._at_x(first + place) - half:.1f}" y="{min(top, foot):.1f}" '
                f'width="{2.0 * half:.1f}" height="{abs(foot - top):.1f}" {fill}/>')
        self._named(label, f'<rect x="0" y="-9" width="18" height="9" {fill}/>')

    def level(self, value: Place, words: str, *, ink: str = WARM) -> None:
        """A limit across the chart, with its words over it at the right, beside another's."""
        if not self._y[0] <= value <= self._y[1]:
            return
        y, end = self._at_y(value), self._end - 4.0
        self._parts.append(f'<path d="M{self._left} {y:.1f}H{self._end}" stroke="{ink}" '
                           'stroke-width="1.6" stroke-dasharray="8 4"/>')
        end = min([end, *(begin - 12.0 for other, begin in self._levels if abs(other - y) < 14.0)])
        self._levels.append((y, end - _LETTER * len(words)))
        self._over(end, y - 4.0, words, anchor="end", ink=ink)

    def _over(self, x: Place, y: Place, words: str, *, anchor: str = "start", ink: str = INK
              ) -> None:  # fmt: skip
        """Words over all that is drawn, which can be read there."""
        self._words.append(f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{ink}" '
                           'stroke="#fff" stroke-width="3" paint-order="stroke">'
                           f'{html.escape(words)}</text>')

    def post(self, value: Place, words: str = "", *, ink: str = WARM, dash: str = "8 4",
             before: bool = False, row: int = 0) -> None:  # fmt: skip
        """A limit from floor to top; its words at the top behind it, or before it, in a row."""
        x = self._at_x(value)
        self._parts.append(f'<path d="M{x:.1f} {_TOP}V{self._size[1] - _BOTTOM}" stroke="{ink}" '
                           f'stroke-width="1.6" stroke-dasharray="{dash}"/>')
        self._over(x + (-5.0 if before else 5.0), _TOP + 10.0 + 14.0 * row, words,
                   anchor="end" if before else "start", ink=ink)

    def band(self, low: Place, high: Place, *, ink: str = PALE) -> None:
        """All between two values of the x axis, filled."""
        left, right = (min(max(self._at_x(value), self._left), self._end) for value in (low, high))
        self._parts.append(f'<rect x="{left:.1f}" y="{_TOP}" width="{right - left:.1f}" '
                           f'height="{self._size[1] - _TOP - _BOTTOM}" fill="{ink}"/>')

    def lying(self, place: Place, low: Place, high: Place, *, ink: str = MID, wide: Place = 0.6
              ) -> None:  # fmt: skip
        """A bar that lies, at a place of the y axis."""
        top, foot = self._at_y(place + wide / 2.0), self._at_y(place - wide / 2.0)
        self._parts.append(f'<rect x="{self._at_x(low):.1f}" y="{top:.1f}" '
                           f'width="{self._at_x(high) - self._at_x(low):.1f}" '
                           f'height="{foot - top:.1f}" fill="{ink}"/>')

    def note(self, x: Place, y: Place, words: str) -> None:
        """Words behind a place."""
        self._over(self._at_x(x) + 9.0, self._at_y(y) + 4.0, words)

    def mark(self, x: Place, y: Place, *, label: str = "", ink: str = WARM, ghost: bool = False,
             shape: Shape = "diamond") -> None:  # fmt: skip
        """One point."""
        ink, path = GHOST if ghost else ink, _SHAPES[shape]
        look = f'fill="{"none" if ghost else ink}" stroke="{ink}" stroke-width="2"'
        self._parts.append(f'<path transform="translate({self._at_x(x):.1f} {self._at_y(y):.1f})" '
                           f'd="{path}" {look}/>')
        self._named(label, f'<path transform="translate(9 -4) scale(.7)" d="{path}" {look}/>')

    def svg(self) -> str:
        """The whole drawing; a legend too long for its line goes on under the chart."""
        width, height = self._size
        parts, x, y = [*self._parts, *self._words], self._left, 38.0
        for label, sample in self._legend:
            wide = 42.0 + _LETTER * len(label)
            if x + wide > width and x > self._left:
                x, y = self._left, height + 12.0
                height += 18.0
            parts.append(f'<g transform="translate({x:.1f} {y:.1f})">{sample}'
                         f'<text x="23" y="0">{html.escape(label)}</text></g>')
            x += wide
        return framed(parts, width, height, self._title)


TITLE_LETTER = 8.2
"""Mean width of a letter of a title, bold 13 px [px]; a title that has no room is set tighter."""


def framed(parts: Iterable[str], width: Place, height: Place, title: str) -> str:
    """A drawing with its title as heading and as text alternative."""
    said, room = html.escape(title, quote=True), width - 8.0
    tight = f' textLength="{room:g}" lengthAdjust="spacingAndGlyphs"' * (
        TITLE_LETTER * len(title) > room)  # fmt: skip
    return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img"'
            f' aria-label="{said}" font-family="DejaVu Sans, Verdana, sans-serif" font-size="12"'
            f' style="width:100%;min-width:26em;max-width:{width:g}px;background:#fff">'
            f'<text x="4" y="17" font-size="13" font-weight="bold" fill="{INK}"{tight}>{said}'
            + "</text>" + "".join(parts) + "</svg>")


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
        ]
        said = grouped(f"{value:.{digits}f}")
        begins = left + max(value, ghost, 0.0) / top * room + 6.0
        if limits and -4.0 < left + limits[row] / top * room - begins < 7.0 * len(said) + 4.0:
            begins = left + limits[row] / top * room + 6.0  # behind the stroke, not across it
        parts.append(f'<text x="{begins:.1f}" y="{y + 13:.0f}">{said}</text>')
        if limits:
            parts.append(f'<path d="M{left + limits[row] / top * room:.1f} {y - 2:.0f}v19" '
                         f'stroke="{WARM}" stroke-width="3"/>')
    height = 30.0 + high * len(names) + 24.0
    parts.append(f'<text x="{left:.0f}" y="{height - 8:.0f}">{html.escape(words)}</text>')
    return framed(parts, WIDTH, height, title)


def _wide(low: Place, high: Place) -> tuple[float, float]:
    return (low, high) if high > low else (low, low + 1.0)
