"""Pictures of the lessons on sun, shade, energy and dust: one thing moves, the title tells."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from solarcalc.figures.style import DARK, INK, LIGHT, MID, WARM, sheet, styled
from solarcalc.roof.rows import Rows
from solarcalc.shading.rows import shaded_fraction
from solarcalc.sun import profile_angle_deg, sun_at_solar_time

_RAY_M = 1.2
"""Length of the ray that is drawn before it meets the upper edge."""


@styled
def draw_row_shadow(
    rows: Rows, *, latitude_deg: float, day_of_year: int, sundial_time_h: float, pitch_m: float
) -> Figure:
    """Two rows from the side, the sun's ray over the front one, and the shadow it throws.

    Parameters
    ----------
    rows : Rows
        On a level roof.
    latitude_deg : float
        North positive [deg].
    day_of_year : int
        1 to 365.
    sundial_time_h : float
        True solar time [h], 12 at noon.
    pitch_m : float
        Front edge to front edge [m].
    """
    figure, (axes,) = sheet(6.6, 2.6)
    zenith, azimuth = sun_at_solar_time(day_of_year, sundial_time_h, latitude_deg)
    sun = pd.DataFrame({"apparent_zenith_deg": [float(zenith)], "azimuth_deg": [float(azimuth)]})
    shaded = float(shaded_fraction(rows, sun, pitch_m=pitch_m).iloc[0])
    profile = float(profile_angle_deg(zenith, azimuth, facing_deg=rows.azimuth_deg))
    rise, reach = rows.slant_m * math.sin(math.radians(rows.tilt_deg)), rows.footprint_m
    _draw_row(axes, 0.0, reach, rise)
    _draw_row(axes, pitch_m, reach, rise)
    if shaded > 0.0:
        axes.plot([pitch_m, pitch_m + shaded * reach], [0.0, shaded * rise], color=DARK, lw=7.0,
                  solid_capstyle="butt")
    down = float(zenith) >= 90.0
    behind = math.cos(math.radians(float(azimuth) - rows.azimuth_deg)) <= 0.0
    if not down and not behind:
        slope = math.tan(math.radians(profile))
        ends = np.array([-_RAY_M, min(rise / max(slope, 1e-6), 3.0 * pitch_m)])
        axes.plot(reach + ends, rise - slope * ends, color=WARM, lw=1.2, ls="--")
    axes.axhline(0.0, color=INK, lw=1.5)
    said = ("the sun is down" if down else "the sun stands behind the rows" if behind else
            "the row behind is in full sun" if shaded == 0.0 else
            f"{100.0 * shaded:.0f} % of the row behind is in shade")
    axes.set_title(f"Sundial time {_clock(sundial_time_h)}: {said}")
    axes.set_xlabel("[m]")
    axes.set_ylabel("[m]")
    axes.set_aspect("equal")
    axes.set_xlim(-0.6, pitch_m + reach + 0.6)
    axes.set_ylim(-0.15, rise + 0.9)
    return figure


def _clock(hours: float) -> str:
    return f"{int(hours)}:{round(60.0 * (hours % 1.0)):02d}"


def _draw_row(axes: Axes, foot_m: float, reach_m: float, rise_m: float) -> None:
    axes.plot([foot_m, foot_m + reach_m], [0.0, rise_m], color=MID, lw=4.0, solid_capstyle="butt")
    axes.plot([foot_m + reach_m] * 2, [rise_m, 0.0], color=LIGHT, lw=1.2)


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
    figure, (axes,) = sheet(7.6, 1.9)
    foot = 0.0
    slope = math.tan(math.radians(tilt_deg))
    for name, rise, gap in zip(names, heights_m, gaps_m, strict=True):
        _draw_row(axes, foot, rise / slope, rise)
        end = foot + rise / slope
        axes.text(end, rise + 0.08, f"{rise:.2f} m", ha="center", fontsize=7.5)
        axes.annotate("", xy=(end + gap, -0.12), xytext=(end, -0.12),
                      arrowprops={"arrowstyle": "<->", "color": INK, "lw": 0.8})
        axes.text(end + gap / 2.0, -0.2, f"{name}\n{gap:.2f} m", ha="center", va="top",
                  fontsize=7.5)
        foot = end + gap
    _draw_row(axes, foot, heights_m[-1] / slope, heights_m[-1])
    axes.axhline(0.0, color=INK, lw=1.5)
    axes.set_title("Section through the rows as built: upper edges and clear gaps")
    axes.set_ylim(-0.75, max(heights_m) + 0.35)
    axes.set_aspect("equal")
    axes.set_axis_off()
    return figure
