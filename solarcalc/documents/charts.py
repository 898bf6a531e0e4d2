"""Small drawings in one style for every document: pairs of bars, switches in their order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from textwrap import wrap
from xml.sax.saxutils import escape

DARK, OPEN = "#23395b", "#c2571a"
_HIGH, _LEFT, _TOP, _FOOT = 190.0, 52.0, 14.0, 24.0
_WIDE, NARROW = 720.0, 360
"""Of a drawing on paper and a wide screen, and of the same on a phone."""
_LEAST_IN_A_ROW, _IN_A_ROW, _LETTER = 3, 5, 9.0
_MONTH_LETTER = 7.0
"""Width of a letter of a label 12 high."""
_PARTS = (1.0, 1.2, 1.6, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def paired_bars(
    pairs: Sequence[tuple[str, float, float]], alt: str, *, high: float = _HIGH,
    wide: int = 720, groups: Sequence[str] = (),
) -> str:  # fmt: skip
    """A dark bar and an open one side by side for each label; labels in two rows where close.

    Of more labels than fit only every second is written, every third and so on.

    Parameters
    ----------
    pairs : sequence of (label, dark, open)
        Both values from 0, in one unit, which the caption says.
    alt : str
        What is seen, for a reader who cannot see it.
    high, wide : float
        Of the drawing, whose letters are 12 high: half as wide, twice as large on the page.
    groups : sequence of str, optional
        To which group each pair belongs, such as its year; written once under its first pair.

    Returns
    -------
    str
        SVG.
    """
    step = (wide - _LEFT) / max(len(pairs), 1)
    label_wide = max((len(pair[0]) for pair in pairs), default=0) * _MONTH_LETTER + 6.0
    close = label_wide > step and not groups
    every = math.ceil(label_wide / (step * (1 + close)))
    base = high - _FOOT - 14.0 * (close or bool(groups))
    most = round_up(max((max(pair[1:]) for pair in pairs), default=0.0))
    bar = min(22.0, 0.36 * step)

    def up(value: float) -> float:
        return (base - _TOP) * value / most

    parts = [
        f'<line x1="{_LEFT:g}" y1="{base - up(most * part):.1f}" x2="{wide:g}"'
        f' y2="{base - up(most * part):.1f}" stroke="#b9b4a8"/>'
        f'<text x="{_LEFT - 6:g}" y="{base - up(most * part) + 4:.1f}" text-anchor="end"'
        f' font-size="12">{most * part:g}</text>'
        for part in (0.0, 0.5, 1.0)
    ]
    for number, (label, dark, light) in enumerate(pairs):
        middle = _LEFT + step * (number + 0.5)
        parts.append(
            f'<rect x="{middle - bar - 1.0:.1f}" y="{base - up(dark):.1f}" width="{bar:.1f}"'
            f' height="{up(dark):.1f}" fill="{DARK}"/>'
            f'<rect x="{middle + 1.0:.1f}" y="{base - up(light):.1f}" width="{bar:.1f}"'
            f' height="{up(light):.1f}" fill="#ffffff" stroke="{OPEN}" stroke-width="2"/>'
        )
        beyond = middle + _MONTH_LETTER * len(label) / 2.0 > wide
        if number % every == 0 and not (beyond and every > 1):
            parts.append(
                f'<text x="{middle:.1f}" y="{base + 16 + 14 * (close and number // every % 2):.1f}"'
                f' text-anchor="middle" font-size="12">{escape(label)}</text>'
            )
    firsts = [place for place, name in enumerate(groups)
              if not place or name != groups[place - 1]]  # fmt: skip
    for place, after in pairwise([*firsts, len(pairs)]):
        left, name = _LEFT + step * place, groups[place]
        parts.append(f'<line x1="{left:.1f}" y1="{base:.1f}" x2="{left:.1f}" y2="{base + 32:.1f}"'
                     ' stroke="#b9b4a8"/>')  # fmt: skip
        if len(name) * _MONTH_LETTER + 4.0 <= step * (after - place):
            parts.append(f'<text x="{left + 4:.1f}" y="{base + 30:.1f}" font-size="12">'
                         f"{escape(name)}</text>")  # fmt: skip
    return "\n".join([
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" role="img"'
        ' font-family="sans-serif">', f"<title>{escape(alt)}</title>",
        f'<rect width="{wide:g}" height="{high:g}" fill="white"/>', *parts, "</svg>",
    ])  # fmt: skip


def numbered_switches(
    steps: Sequence[tuple[str, str, str]], alt: str, *, wide: int = 720
) -> str:
    """Switches in the order of switching off, each with its number; at most five in a row.

    Parameters
    ----------
    steps : sequence of (what, tags, place)
    alt : str
        The same in words.
    wide : int
        Of the drawing; a narrow one has two in a row.

    Returns
    -------
    str
        SVG.
    """
    narrow = wide < _WIDE
    in_a_row = 2 if narrow else (
        len(steps) if len(steps) <= _IN_A_ROW else math.ceil(len(steps) / 2))
    each = wide / max(in_a_row, 2 if narrow else _LEAST_IN_A_ROW)
    letters = int(each / _LETTER)
    said = [[*wrap(what, letters), *wrap(place, letters)] for what, _, place in steps]
    frame = 64.0 + 19.0 * max(map(len, said), default=0)
    high = (frame + 8.0) * math.ceil(len(steps) / in_a_row)
    parts: list[str] = []
    for number, ((_, tags, _), lines) in enumerate(zip(steps, said, strict=True)):
        left, top = each * (number % in_a_row), (frame + 8.0) * (number // in_a_row)
        parts += _switch(number + 1, left, top, (each - 8.0, frame), tags)
        parts += [f'<text x="{left + 12:g}" y="{top + 72 + 19 * line:g}" font-size="15">'
                  f"{escape(text)}</text>" for line, text in enumerate(lines)]
    return "\n".join([
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" role="img"'
        ' font-family="sans-serif">', f"<title>{escape(alt)}</title>",
        f'<rect width="{wide:g}" height="{high:g}" fill="white"/>', *parts, "</svg>",
    ])  # fmt: skip


def _switch(
    number: int, left: float, top: float, frame: tuple[float, float], tags: str
) -> list[str]:
    """The frame of a step: its number, a handle across, which is off, and the tags."""
    size = 20 if 13.0 * len(tags) <= frame[0] - 86.0 else 13
    return [
        f'<rect x="{left + 4:g}" y="{top + 4:g}" width="{frame[0]:g}" height="{frame[1]:g}"'
        f' fill="none" stroke="{DARK}" stroke-width="1.5"/>',
        f'<circle cx="{left + 26:g}" cy="{top + 31:g}" r="16" fill="{DARK}"/>',
        f'<text x="{left + 26:g}" y="{top + 38:g}" font-size="20" font-weight="bold" fill="white"'
        f' text-anchor="middle">{number}</text>',
        f'<circle cx="{left + 66:g}" cy="{top + 31:g}" r="16" fill="none" stroke="{DARK}"'
        ' stroke-width="2"/>',
        f'<line x1="{left + 54:g}" y1="{top + 31:g}" x2="{left + 78:g}" y2="{top + 31:g}"'
        f' stroke="{DARK}" stroke-width="6"/>',
        f'<text x="{left + 85:g}" y="{top + 38:g}" font-size="{size}" font-weight="bold">'
        f"{escape(tags)}</text>",
    ]  # fmt: skip


def round_up(value: float) -> float:
    """The next round number of which a half is round as well; 2 for nothing."""
    if value <= 0.0:
        return 2.0
    ten: float = 10.0 ** math.floor(math.log10(value))
    return next(part * ten for part in _PARTS if part * ten >= value * (1.0 - 1e-9))
