"""Pairs of bars by month as a small drawing, in one style for every document."""

from __future__ import annotations

import math
from collections.abc import Sequence
from xml.sax.saxutils import escape

DARK, OPEN = "#23395b", "#c2571a"
_HIGH, _LEFT, _TOP, _FOOT = 190.0, 52.0, 14.0, 24.0
_PARTS = (1.0, 1.2, 1.6, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def paired_bars(
    pairs: Sequence[tuple[str, float, float]], alt: str, *, high: float = _HIGH,
    wide: int = 720,
) -> str:  # fmt: skip
    """A dark bar and an open one side by side for each label.

    Parameters
    ----------
    pairs : sequence of (label, dark, open)
        Both values from 0, in one unit, which the caption says.
    alt : str
        What is seen, for a reader who cannot see it.
    high, wide : float
        Of the drawing, whose letters are 12 high: half as wide, twice as large on the page.

    Returns
    -------
    str
        SVG.
    """
    base, most = high - _FOOT, round_up(max((max(pair[1:]) for pair in pairs), default=0.0))
    step = (wide - _LEFT) / max(len(pairs), 1)
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
            f'<text x="{middle:.1f}" y="{high - 8:.1f}" text-anchor="middle" font-size="12">'
            f"{escape(label)}</text>"
        )
    return "\n".join([
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {high:g}" role="img"'
        ' font-family="sans-serif">', f"<title>{escape(alt)}</title>",
        f'<rect width="{wide:g}" height="{high:g}" fill="white"/>', *parts, "</svg>",
    ])  # fmt: skip


def round_up(value: float) -> float:
    """The next round number of which a half is round as well; 2 for nothing."""
    if value <= 0.0:
        return 2.0
    ten: float = 10.0 ** math.floor(math.log10(value))
    return next(part * ten for part in _PARTS if part * ten >= value * (1.0 - 1e-9))
