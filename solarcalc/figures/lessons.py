"""Drawings that stand with a question of a lesson; what moves is drawn by `lessons.pictures`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Rectangle

from solarcalc.circuit.module import Cells
from solarcalc.energy.diode import cells_of
from solarcalc.figures.style import DARK, INK, LIGHT, MID, WARM, sheet, styled
from solarcalc.sitefile.array import Module

NARROW_IN = 5.0
"""Width of a drawing whose figures are read on a phone: letters are seen there as set [in]."""


@styled
def draw_row_gaps(names: Sequence[str], heights_m: Sequence[float], gaps_m: Sequence[float],
                  *, tilt_deg: float) -> Figure:
    """Section through rows as they were built, with upper edges and gaps behind them.

    Parameters
    ----------
    names : sequence of str
        Of the gaps; each lies behind the row of its place.
    heights_m, gaps_m : sequence of float
        Upper edge of the row before the gap [m]; clear gap to the next row [m].
    tilt_deg : float
        Of all rows [deg].
    """
    figure, (axes,) = sheet(NARROW_IN, 1.5)
    foot = 0.0
    slope = math.tan(math.radians(tilt_deg))
    for name, rise, gap in zip(names, heights_m, gaps_m, strict=True):
        _draw_row(axes, foot, rise / slope, rise)
        end = foot + rise / slope
        axes.text(end, rise + 0.08, f"{rise:.2f} m", ha="center", fontsize=8.0)
        axes.annotate("", xy=(end + gap, -0.12), xytext=(end, -0.12),
                      arrowprops={"arrowstyle": "<->", "color": INK, "lw": 0.8})
        axes.text(end + gap / 2.0, -0.2, f"{name}\n{gap:.2f} m", ha="center", va="top",
                  fontsize=8.0)
        foot = end + gap
    _draw_row(axes, foot, heights_m[-1] / slope, heights_m[-1])
    axes.axhline(0.0, color=INK, lw=1.5)
    axes.set_title("Section through the rows as built: upper edges and clear gaps")
    axes.set_ylim(-0.95, max(heights_m) + 0.4)
    axes.set_aspect("equal")
    axes.set_axis_off()
    return figure


def _draw_row(axes: Axes, foot_m: float, reach_m: float, rise_m: float) -> None:
    axes.plot([foot_m, foot_m + reach_m], [0.0, rise_m], color=MID, lw=4.0, solid_capstyle="butt")
    axes.plot([foot_m + reach_m] * 2, [rise_m, 0.0], color=LIGHT, lw=1.2)


@styled
def draw_shaded_row(module: Module, names: Sequence[str], groups: Sequence[int],
                    watts: Sequence[float]) -> Figure:
    """A row of modules in landscape, groups of each in the shadow, and the power read of each.

    Parameters
    ----------
    module : Module
    names : sequence of str
    groups : sequence of int
        Groups of cells of each that lie in the shadow.
    watts : sequence of float
        Power read of each by itself [W].
    """
    figure, (axis,) = sheet(NARROW_IN, 1.4)
    across, up, cells = module.length_m, module.width_m, cells_of(module)
    for place, (name, count, read) in enumerate(zip(names, groups, watts, strict=True)):
        left = place * (across + 0.12)
        _draw_module(axis, across, up, count / module.bypass_diodes, portrait=False, cells=cells,
                     left_m=left)
        axis.text(left + across / 2.0, up + 0.1, f"{name}: {read:.0f} W", ha="center")
    axis.set_title("Power read of each module by itself; dark: in the shadow")
    axis.set_xlim(-0.1, len(names) * (across + 0.12))
    axis.set_ylim(-0.1, up + 0.5)
    return figure


def _draw_module(
    axis: Axes, across_m: float, up_m: float, depth_frac: float, *, portrait: bool, cells: Cells,
    left_m: float = 0.0,
) -> None:  # fmt: skip
    """A module with a strip over each of its groups, and the shadow over it."""
    groups = cells.bypass_diodes
    for place in range(groups):
        share = 1.0 / groups
        corner = (left_m + place * share * across_m, 0.0) if portrait else (
            left_m, place * share * up_m)
        size = (share * across_m, up_m) if portrait else (across_m, share * up_m)
        axis.add_patch(Rectangle(corner, *size, facecolor=LIGHT, edgecolor=DARK, lw=1.2))
    if cells.halves == 2:
        middle = ([left_m, left_m + across_m], [up_m / 2.0] * 2) if portrait else (
            [left_m + across_m / 2.0] * 2, [0.0, up_m])
        axis.plot(*middle, color=DARK, lw=1.2, ls=":")
    axis.add_patch(Rectangle((left_m, 0.0), across_m, depth_frac * up_m, facecolor=INK, alpha=0.55,
                             lw=0.0))  # fmt: skip
    axis.set_aspect("equal")
    axis.set_axis_off()


@dataclass(frozen=True, kw_only=True)
class RoomSection:
    """What a section through a battery room shows, each with its letter.

    Parameters
    ----------
    height_m, low_m, high_m : float
        Of the room; middle of the inlet (A) and of the outlet (B) above the floor [m].
    switch_mm : float
        From the nearest cell to the light switch (C), through the air [mm].
    door_outward : bool
        Which way the door (D) opens.
    stored : str
        What stands on the shelf (E).
    """

    height_m: float
    low_m: float
    high_m: float
    switch_mm: float
    door_outward: bool
    stored: str


LONG_M = 4.0
"""Length of the room that the section shows [m]."""


@styled
def draw_room_section(room: RoomSection) -> Figure:
    """A section through a battery room with five things lettered, not to scale."""
    figure, (axes,) = sheet(6.4, 3.9)
    top = room.height_m
    axes.add_patch(Rectangle((0.0, 0.0), LONG_M, top, facecolor="white", edgecolor=INK, lw=2.5))
    for letter, at_m, wall, words in (("A", room.low_m, 0.0, "inlet"),
                                      ("B", room.high_m, LONG_M, "outlet")):
        axes.add_patch(Rectangle((wall - 0.06, at_m - 0.12), 0.12, 0.24, facecolor="white",
                                 edgecolor=WARM, lw=2.0))
        side = -0.12 if wall == 0.0 else 0.12
        axes.text(wall + side, at_m, f"{letter}  {words}\n{at_m:.2f} m", va="center",
                  ha="right" if wall == 0.0 else "left")
    for place in range(4):
        axes.add_patch(Rectangle((0.9 + 0.36 * place, 0.15), 0.3, 0.4, facecolor=LIGHT,
                                 edgecolor=INK))
    axes.text(1.6, 0.62, "batteries", ha="center", va="bottom")
    _switch(axes, room.switch_mm)
    _door(axes, outward=room.door_outward)
    axes.plot([0.5, 1.9], [1.55, 1.55], color=INK, linewidth=2.0)
    axes.text(1.2, 1.6, f"E  shelf: {room.stored}", ha="center", va="bottom")
    axes.text(LONG_M / 2.0, top + 0.06, f"ceiling at {top:.2f} m", ha="center", va="bottom")
    axes.set_xlim(-1.1, LONG_M + 1.3)
    axes.set_ylim(-0.15, top + 0.35)
    axes.set_title("Section, not to scale")
    axes.set_axis_off()
    return figure


def _switch(axes: Axes, away_mm: float) -> None:
    axes.add_patch(Rectangle((2.95, 0.3), 0.14, 0.2, facecolor="white", edgecolor=WARM, lw=1.5))
    axes.annotate("", (2.95, 0.4), (2.28, 0.4), arrowprops={"arrowstyle": "<->", "color": INK})
    axes.text(2.62, 0.44, f"{away_mm:.0f} mm", ha="center", va="bottom", fontsize=8.0)
    axes.text(2.95, 0.26, "C  light switch", ha="center", va="top")


def _door(axes: Axes, *, outward: bool) -> None:
    """The door in its wall as a plan beside the section would show it."""
    for first, last in ((2.75, 3.1), (3.7, 3.92)):
        axes.plot([first, last], [1.3, 1.3], color=INK, linewidth=4.0, solid_capstyle="butt")
    axes.plot([3.1, 3.7], [1.3, 1.3], color=INK, linewidth=0.8, linestyle=":")
    way = 1.0 if outward else -1.0
    axes.plot([3.1, 3.1], [1.3, 1.3 + 0.5 * way], color=INK, linewidth=2.0)
    axes.add_patch(Arc((3.1, 1.3), 1.2, 1.0, theta1=0.0 if outward else 270.0,
                       theta2=90.0 if outward else 0.0, color=INK, linewidth=0.8))
    axes.text(3.04, 1.22, "inside", ha="right", va="top", fontsize=8.0)
    axes.text(3.04, 1.38, "outside", ha="right", va="bottom", fontsize=8.0)
    axes.text(3.3, 1.95, "D  door, from above", ha="center", va="bottom")
