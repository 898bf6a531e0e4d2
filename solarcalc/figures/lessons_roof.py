"""Pictures of the lessons on sun, shade, energy and dust: one thing moves, the title tells."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from solarcalc.circuit.module import Cells, Weather
from solarcalc.circuit.strings import (
    Strung,
    across_rows,
    along_row,
    best_points,
    kept_by_circuit_frac,
    string_curve,
)
from solarcalc.energy.diode import cells_of
from solarcalc.figures.style import DARK, INK, LIGHT, MID, WARM, sheet, styled
from solarcalc.roof.rows import Rows
from solarcalc.shading.rows import shaded_fraction
from solarcalc.sitefile.array import Module
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


@styled
def draw_shaded_both_ways(module: Module, *, shadow_height_m: float, left_frac: float) -> Figure:
    """The same shadow on a module in portrait and in landscape, its groups, and what each keeps.

    Parameters
    ----------
    module : Module
    shadow_height_m : float
        From the lower edge up [m].
    left_frac : float
        Share of the light that the shadow leaves, [0 to 1].
    """
    figure, axes = sheet(6.4, 3.4, 2)
    cells = cells_of(module)
    sides = (("portrait", module.width_m, module.length_m),
             ("landscape", module.length_m, module.width_m))
    for axis, (way, across_m, up_m) in zip(axes, sides, strict=True):
        depth = min(shadow_height_m / up_m, 1.0)
        strung = Strung(cells=cells, wiring=along_row(1), orientation=way)  # type: ignore[arg-type]
        kept = float(kept_by_circuit_frac(depth, left_frac, 800.0, 45.0, strung=strung)[0][0])
        _draw_module(axis, across_m, up_m, depth, portrait=way == "portrait", cells=cells)
        axis.set_title(f"{way.capitalize()}: {100.0 * kept:.0f} % of the power is left")
        axis.set_xlim(-0.1, module.length_m + 0.1)
        axis.set_ylim(-0.1, module.length_m + 0.1)
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
    figure, (axis,) = sheet(7.6, 1.9)
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


@styled
def draw_string_humps(
    module: Module, *, series: int, shaded: int, left_frac: float, weather: Weather
) -> Figure:
    """Power of a string against its voltage with some modules in shade, and without.

    Parameters
    ----------
    module : Module
    series, shaded : int
        Modules in series; of them in the shade.
    left_frac : float
        Share of the light that the shade leaves, [0 to 1].
    weather : Weather
    """
    figure, (axes,) = sheet(6.4, 3.2)
    cells = cells_of(module)
    for count, ink, width in ((0, LIGHT, 1.4), (shaded, DARK, 1.8)):
        strung = Strung(cells=cells, wiring=across_rows(series, shaded=count),
                        orientation="portrait")  # fmt: skip
        volts, amps = string_curve(strung, fraction=1.0, left_frac=left_frac, weather=weather)
        axes.plot(volts, volts * amps, color=ink, linewidth=width)
    best = best_points(strung, fraction=np.array([1.0]), diffuse_share=np.array([left_frac]),
                       weather=weather)  # fmt: skip
    kept, sits = best.global_w[1] / best.global_w[0], best.local_w[1] / best.global_w[0]
    axes.plot([best.global_v[1]], [best.global_w[1]], "o", color=WARM)
    if sits < 0.98 * kept:
        place = int(np.argmin(np.abs(volts * amps - best.local_w[1])
                              + np.where(volts > best.global_v[1], 0.0, 1e9)))
        axes.plot([volts[place]], [best.local_w[1]], "s", color=INK)
        more = f", {100.0 * sits:.0f} % on the low hump"
    else:
        more = ""
    axes.set_title(f"{shaded} of {series} in shade: {100.0 * kept:.0f} % of the power{more}")
    axes.set_xlabel("String voltage [V]")
    axes.set_ylabel("String power [W]")
    axes.set_ylim(0.0, 1.12 * best.global_w[0])
    axes.set_xlim(0.0, None)
    return figure


@styled
def draw_day_power(plane_w_m2: Sequence[float], *, peak_kwp: float, performance_frac: float
                   ) -> Figure:  # fmt: skip
    """Power of an array by the hour of one day, and the energy that lies beneath it.

    Parameters
    ----------
    plane_w_m2 : sequence of float
        In-plane irradiance of 24 hours [W/m2].
    peak_kwp : float
        Rated power of the array [kWp].
    performance_frac : float
        Performance ratio [0 to 1].
    """
    figure, (axes,) = sheet(6.4, 3.0)
    power_kw = np.asarray(plane_w_m2) / 1000.0 * peak_kwp * performance_frac
    axes.bar(np.arange(24) + 0.5, power_kw, width=1.0, color=MID, edgecolor=DARK, linewidth=0.4)
    axes.axhline(peak_kwp, color=WARM, linestyle="--")
    axes.text(0.2, peak_kwp, f"rated {peak_kwp:.1f} kWp", va="bottom", fontsize=8.0)
    total_kwh = float(power_kw.sum())
    axes.set_title(f"{power_kw.max():.1f} kW at most, {total_kwh:.1f} kWh in the day: like"
                   f" {total_kwh / peak_kwp:.1f} h at rated power")  # fmt: skip
    axes.set_xlabel("Hour of the day [h]")
    axes.set_ylabel("Power, mean of the hour [kW]")
    axes.set_xlim(0.0, 24.0)
    axes.set_xticks(range(0, 25, 3))
    axes.set_ylim(0.0, 1.25 * peak_kwp)
    return figure


@styled
def draw_dust(loss_frac: Sequence[float], *, interval_days: int) -> Figure:
    """Loss to dust day by day, with its mean.

    Parameters
    ----------
    loss_frac : sequence of float
        By hour from a wash on, [0 to 1].
    interval_days : int
        Between washes.
    """
    figure, (axes,) = sheet(6.4, 2.8)
    percent = 100.0 * np.asarray(loss_frac)
    axes.plot(np.arange(len(percent)) / 24.0, percent, color=DARK, linewidth=1.4)
    mean, most = float(percent.mean()), float(percent.max())
    axes.axhline(mean, color=WARM, linestyle="--")
    axes.text(0.5, mean, f"mean {mean:.1f} %", va="bottom", fontsize=8.0)
    axes.set_title(f"Washed every {interval_days} days: {mean:.1f} % lost on average,"
                   f" {most:.1f} % at most")  # fmt: skip
    axes.set_xlabel("Day")
    axes.set_ylabel("Soiling loss [%]")
    axes.set_xlim(0.0, len(percent) / 24.0)
    axes.set_ylim(0.0, None)
    return figure
