"""Picture of a pipe cut across, with its cables to scale: a sketch, they lie as they please."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from matplotlib.figure import Figure
from matplotlib.patches import Circle

from solarcalc.figures.style import DARK, INK, PALE, sheet, styled
from solarcalc.wiring.pipes import PipeFill

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_DRAWN = 60
"""Cables drawn at most; of more, the picture says how many are left out."""

_HATCHES = ("", "////", "....", "xxxx", "\\\\\\\\", "++++")
_TOUCH = 1e-6
"""Circles that overlap by less only touch [mm]."""

Place = tuple[float, float, float]
"""Middle and radius of a cable [mm]."""


def packed(inner_mm: float, outers_mm: list[float]) -> list[Place | None]:
    """Where cables come to lie, dropped one after the other; None for one that finds no place.

    Each takes the lowest place where it touches the wall and a cable, or two cables. An honest
    sketch, not the densest packing.

    Parameters
    ----------
    inner_mm : float
        Diameter of the pipe inside [mm].
    outers_mm : list of float
        Diameters of the cables, in the order they are dropped [mm].
    """
    wall = inner_mm / 2.0
    lying: list[Place] = []
    found: list[Place | None] = []
    for outer_mm in outers_mm:
        radius = outer_mm / 2.0
        free = [
            (x, y, radius)
            for x, y in _touching(wall, lying, radius)
            if _is_free(wall, lying, (x, y, radius))
        ]
        place = min(free, key=lambda each: (round(each[1], 6), abs(each[0])), default=None)
        found.append(place)
        if place is not None:
            lying.append(place)
    return found


def _touching(wall: float, lying: list[Place], radius: float) -> list[tuple[float, float]]:
    """Middles where a cable touches two of: the wall, the cables that lie there."""
    around = [(0.0, 0.0, wall - radius), *((x, y, r + radius) for x, y, r in lying)]
    places = [(0.0, radius - wall)]
    for number, one in enumerate(around):
        for other in around[:number]:
            places += _crossings(one, other)
    return places


def _crossings(one: Place, other: Place) -> list[tuple[float, float]]:
    """Points on both circles."""
    (x, y, r), (u, v, s) = one, other
    apart = math.hypot(u - x, v - y)
    if apart < _TOUCH or apart > r + s or apart < abs(r - s):
        return []
    along = (r * r - s * s + apart * apart) / (2.0 * apart)
    across = math.sqrt(max(r * r - along * along, 0.0))
    e, f = (u - x) / apart, (v - y) / apart
    return [
        (x + along * e - sign * across * f, y + along * f + sign * across * e) for sign in (1, -1)
    ]


def _is_free(wall: float, lying: list[Place], place: Place) -> bool:
    x, y, radius = place
    inside = math.hypot(x, y) + radius <= wall + _TOUCH
    return inside and all(
        math.hypot(x - u, y - v) >= radius + r - _TOUCH for u, v, r in lying
    )


@styled
def draw_pipe(fill: PipeFill) -> Figure:
    """The pipe cut across, to scale, and a list of what lies in it.

    Each kind of cable has its own number and hatch.

    Parameters
    ----------
    fill : PipeFill
    """
    figure, (axis,) = sheet(7.2, 3.4)
    wall = fill.inner_mm / 2.0
    kinds = sorted(enumerate(fill.cables, start=1), key=lambda each: -each[1].outer_mm)
    order = [(number, cable) for number, cable in kinds for _ in range(cable.count)][:MOST_DRAWN]
    axis.add_patch(Circle((0.0, 0.0), 1.04 * wall, fc=PALE, ec=INK, lw=1.0))
    axis.add_patch(Circle((0.0, 0.0), wall, fc="white", ec=INK, lw=1.0))
    places = packed(fill.inner_mm, [cable.outer_mm for _, cable in order])
    for (number, _), place in zip(order, places, strict=True):
        if place is not None:
            _draw_cable(axis, place, number, wall)
    homeless = sum(place is None for place in places)
    notes = [f"{homeless} find no place in this sketch"] if homeless else []
    if fill.cable_count > len(order):
        notes.append(f"{fill.cable_count - len(order)} more are not drawn")
    axis.text(1.25 * wall, 0.0, _key(fill, notes), va="center", fontsize=8.5, linespacing=1.5)
    full = fill.fill_frac > fill.limit_frac
    axis.set_title(
        f"{fill.words[0].upper()}{fill.words[1:]}: {100.0 * fill.fill_frac:.0f} % filled,"
        f" {'above' if full else 'within'} the {100.0 * fill.limit_frac:.0f} % allowed"
    )
    axis.set(xlim=(-1.1 * wall, 4.2 * wall), ylim=(-1.1 * wall, 1.1 * wall), aspect="equal")
    axis.set_axis_off()
    return figure


def _draw_cable(axis: Axes, place: Place, number: int, wall: float) -> None:
    x, y, radius = place
    hatch = _HATCHES[(number - 1) % len(_HATCHES)]
    axis.add_patch(Circle((x, y), radius, fc="white", ec=DARK, lw=1.0, hatch=hatch))
    if radius > 0.06 * wall:
        axis.text(x, y, str(number), ha="center", va="center", fontsize=7.5,
                  bbox={"boxstyle": "circle,pad=0.12", "fc": "white", "ec": "none"})


def _key(fill: PipeFill, notes: list[str]) -> str:
    lines = [
        f"{number}   {cable.count} × {cable.outer_mm:g} mm   {_short(cable.words)}"
        for number, cable in enumerate(fill.cables, start=1)
    ]
    lines.append(f"inside of the pipe {fill.inner_mm:g} mm; to scale, a sketch of how they may lie")
    return "\n".join(lines + notes)


def _short(words: str) -> str:
    return words if len(words) <= 44 else words[:43] + "…"
