"""Pictures and drawings of the lessons about the room, the programme, tests and a year of data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Rectangle

from solarcalc.figures.style import DARK, INK, LIGHT, MID, WARM, sheet, styled
from solarcalc.powerroom.air import AIMED_FRAC, BURNS_FROM_FRAC, share_after_frac

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SHOWN_H = 24.0
"""Hours of charge that the picture of the gas shows."""


@styled
def draw_gas_in_room(made_m3_per_h: float, opening_cm2: float, flow_m3_per_h: float,
                     volume_m3: float) -> Figure:
    """Hydrogen in a room over a day of charge, beside the share from which it burns.

    Parameters
    ----------
    made_m3_per_h : float
        Hydrogen [m3/h].
    opening_cm2 : float
        Free, low and high each [cm2].
    flow_m3_per_h : float
        Air through it [m3/h].
    volume_m3 : float
        Free volume of the room [m3].
    """
    figure, (axes,) = sheet(6.4, 3.0)
    hours = np.linspace(0.0, SHOWN_H, 97)
    percent = [100.0 * share_after_frac(made_m3_per_h, flow_m3_per_h, volume_m3, float(hour))
               for hour in hours]  # fmt: skip
    axes.plot(hours, percent, color=DARK, linewidth=1.8)
    for share, words in ((float(AIMED_FRAC), "aimed at: below"),
                         (float(BURNS_FROM_FRAC), "burns from")):
        axes.axhline(100.0 * share, color=WARM, linestyle="--")
        axes.text(SHOWN_H, 100.0 * share, f"{words} {100.0 * share:.0f} %", va="bottom", ha="right")
    said = ("it can burn" if percent[-1] >= 100.0 * float(BURNS_FROM_FRAC) else
            "too much" if percent[-1] >= 100.0 * float(AIMED_FRAC) else "thin enough")
    axes.set_title(f"{opening_cm2:.0f} cm² low and high: {percent[-1]:.1f} % hydrogen after a day,"
                   f" {said}")  # fmt: skip
    axes.set_xlabel("Hours of charge [h]")
    axes.set_ylabel("Hydrogen in the air [%]")
    axes.set_xlim(0.0, SHOWN_H)
    axes.set_ylim(0.0, max(5.0, 1.1 * percent[-1]))
    return figure


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


@dataclass(frozen=True, kw_only=True)
class Bar:
    """A task on the days of a programme.

    Parameters
    ----------
    name : str
    first_day : int
        1 for the first.
    days : int
        So many, one after another.
    decides : bool
        Whether the end slips when it slips.
    """

    name: str
    first_day: int
    days: int
    decides: bool = False


@styled
def draw_bars(bars: Sequence[Bar], title: str) -> Figure:
    """Tasks as bars over the days, those that decide the end in the dark ink.

    Parameters
    ----------
    bars : sequence of Bar
    title : str
    """
    figure, (axes,) = sheet(6.4, 0.9 + 0.28 * len(bars))
    for place, bar in enumerate(bars):
        axes.barh(place, bar.days, left=bar.first_day - 0.5, height=0.6,
                  color=DARK if bar.decides else MID)
    last = max(bar.first_day + bar.days - 1 for bar in bars)
    axes.set_title(title)
    axes.set_xlabel("Working day")
    axes.set_yticks(range(len(bars)), [bar.name for bar in bars])
    axes.set_ylim(len(bars) - 0.4, -0.6)
    axes.set_xlim(0.5, last + 0.5)
    axes.set_xticks(range(1, last + 1, 1 if last <= 24 else 5))
    axes.set_xticks([day + 0.5 for day in range(last + 1)], minor=True)
    axes.grid(visible=True, axis="x", which="minor", color=LIGHT, linewidth=0.6)
    return figure


@styled
def draw_readings(expected_v: float, read_v: Sequence[float], within_frac: float) -> Figure:
    """Readings of strings beside the band in which they pass.

    Parameters
    ----------
    expected_v : float
        Of each string [V].
    read_v : sequence of float
        One a string [V].
    within_frac : float
        Tolerance, [0 to 1].
    """
    figure, (axes,) = sheet(6.4, 2.6)
    low, high = (expected_v * (1.0 + way * within_frac) for way in (-1.0, 1.0))
    axes.axvspan(low, high, color=LIGHT)
    axes.axvline(expected_v, color=DARK)
    outside = [not low <= volts <= high for volts in read_v]
    for place, (volts, out) in enumerate(zip(read_v, outside, strict=True)):
        axes.plot([volts], [place], "X" if out else "o", color=WARM if out else DARK, markersize=9)
        axes.text(volts, place, f"   {volts:.0f} V", va="center")
    count = sum(outside)
    axes.set_title(f"{expected_v:.0f} V expected: {len(read_v) - count} of {len(read_v)} strings"
                   f" within {100.0 * within_frac:.0f} %")  # fmt: skip
    axes.set_xlabel("Open-circuit voltage [V]")
    axes.set_yticks(range(len(read_v)), [f"S{place + 1}" for place in range(len(read_v))])
    axes.set_ylim(len(read_v) - 0.5, -0.9)
    axes.set_xlim(0.85 * min(read_v), 1.2 * max(read_v))
    return figure


@styled
def draw_daily_ratio(ratio: Sequence[float], title: str) -> Figure:
    """Energy over what was expected, day by day.

    Parameters
    ----------
    ratio : sequence of float
        One a day, 1 is as expected.
    title : str
    """
    figure, (axes,) = sheet(6.4, 2.8)
    axes.axhline(1.0, color=LIGHT, linewidth=1.2)
    axes.plot(range(1, len(ratio) + 1), ratio, ".-", color=DARK, linewidth=0.7, markersize=4.0)
    axes.set_title(title)
    axes.set_xlabel("Day")
    axes.set_ylabel("Measured over expected")
    axes.set_xlim(0.0, len(ratio) + 1.0)
    axes.set_ylim(0.0, 1.15)
    return figure
