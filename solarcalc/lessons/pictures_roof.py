"""Pictures that move in the lessons on sun, shade, energy and dust."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

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
from solarcalc.figures.style import DARK, INK, LIGHT, MID, WARM
from solarcalc.panels.charts import WIDTH, Chart, framed
from solarcalc.roof.rows import Rows
from solarcalc.shading.rows import shaded_fraction
from solarcalc.sitefile.array import Module
from solarcalc.sun import profile_angle_deg, sun_at_solar_time

_RAY_M = 1.2
"""Length of the ray that is drawn before it meets the upper edge."""


def row_shadow(
    rows: Rows, *, latitude_deg: float, day_of_year: int, sundial_time_h: float, pitch_m: float
) -> str:
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
    zenith, azimuth = sun_at_solar_time(day_of_year, sundial_time_h, latitude_deg)
    sun = pd.DataFrame({"apparent_zenith_deg": [float(zenith)], "azimuth_deg": [float(azimuth)]})
    shaded = float(shaded_fraction(rows, sun, pitch_m=pitch_m).iloc[0])
    profile = float(profile_angle_deg(zenith, azimuth, facing_deg=rows.azimuth_deg))
    rise, reach = rows.slant_m * math.sin(math.radians(rows.tilt_deg)), rows.footprint_m
    down = float(zenith) >= 90.0
    behind = math.cos(math.radians(float(azimuth) - rows.azimuth_deg)) <= 0.0
    said = ("the sun is down" if down else "the sun stands behind the rows" if behind else
            "the row behind is in full sun" if shaded == 0.0 else
            f"{100.0 * shaded:.0f} % of the row behind is in shade")
    chart = Chart.to_scale(
        x=(-0.6, pitch_m + reach + 0.6), y=(-0.15, rise + 0.4), words="[m]",
        title=f"Sundial time {_clock(sundial_time_h)}: {said}", height=270.0,
    )
    for foot in (0.0, pitch_m):
        chart.line([foot + reach] * 2, [rise, 0.0], ink=LIGHT)
        chart.line([foot, foot + reach], [0.0, rise], ink=MID, wide=5.0)
    if shaded > 0.0:
        chart.line([pitch_m, pitch_m + shaded * reach], [0.0, shaded * rise], wide=8.0)
    if not down and not behind:
        slope = math.tan(math.radians(profile))
        before = min(_RAY_M, reach + 0.6, (chart.highest - rise) / max(slope, 1e-6))
        ends = np.array([-before, min(rise / max(slope, 1e-6), pitch_m + 0.6)])
        chart.line(reach + ends, rise - slope * ends, ink=WARM, dash="6 4")
    chart.line([-0.6, pitch_m + reach + 0.6], [0.0, 0.0], ink=INK)
    return chart.svg()


def _clock(hours: float) -> str:
    return f"{int(hours)}:{round(60.0 * (hours % 1.0)):02d}"


def shaded_both_ways(module: Module, *, shadow_height_m: float, left_frac: float) -> str:
    """The same shadow on a module in portrait and in landscape, its groups, and what each keeps.

    Parameters
    ----------
    module : Module
    shadow_height_m : float
        From the lower edge up [m].
    left_frac : float
        Share of the light that the shadow leaves, [0 to 1].
    """
    cells, parts, said = cells_of(module), [], []
    scale = 250.0 / module.length_m
    sides = (("portrait", module.width_m, module.length_m),
             ("landscape", module.length_m, module.width_m))
    for place, (way, across_m, up_m) in enumerate(sides):
        depth = min(shadow_height_m / up_m, 1.0)
        strung = Strung(cells=cells, wiring=along_row(1), orientation=way)  # type: ignore[arg-type]
        kept = float(kept_by_circuit_frac(depth, left_frac, 800.0, 45.0, strung=strung)[0][0])
        said.append(f"{way.capitalize()}: {100.0 * kept:.0f} % of the power is left")
        left = WIDTH * (0.25 + 0.5 * place) - scale * across_m / 2.0
        parts += _module(left, 320.0, (scale * across_m, scale * up_m), depth,
                         portrait=way == "portrait", cells=cells)
        parts.append(f'<text x="{WIDTH * (0.25 + 0.5 * place):.0f}" y="46" text-anchor="middle" '
                     f'font-weight="bold" fill="{INK}">{html.escape(said[-1])}</text>')
    height = f"{100.0 * shadow_height_m:.0f} cm"
    return framed(parts, WIDTH, 330.0, f"A shadow of {height} from the lower edge up")


def _module(left: float, floor: float, size: tuple[float, float], depth_frac: float, *,
            portrait: bool, cells: Cells) -> list[str]:  # fmt: skip
    """A module with a strip over each of its groups, and the shadow over it; in pixels."""
    across, up = size
    look = f'fill="{LIGHT}" stroke="{DARK}" stroke-width="1.5"'
    wide, high = (across / cells.bypass_diodes, up) if portrait else (
        across, up / cells.bypass_diodes)
    parts = [f'<rect x="{left + place * wide * portrait:.1f}" '
             f'y="{floor - high - place * high * (not portrait):.1f}" '
             f'width="{wide:.1f}" height="{high:.1f}" {look}/>'
             for place in range(cells.bypass_diodes)]  # fmt: skip
    if cells.halves == 2:
        line = (f"M{left:.1f} {floor - up / 2.0:.1f}h{across:.1f}" if portrait else
                f"M{left + across / 2.0:.1f} {floor:.1f}v-{up:.1f}")
        parts.append(f'<path d="{line}" stroke="{DARK}" stroke-width="1.5" '
                     'stroke-dasharray="2 3"/>')
    dark = depth_frac * up
    parts.append(f'<rect x="{left:.1f}" y="{floor - dark:.1f}" width="{across:.1f}" '
                 f'height="{dark:.1f}" fill="{INK}" fill-opacity="0.55"/>')
    return parts


def string_humps(
    module: Module, *, series: int, shaded: int, left_frac: float, weather: Weather
) -> str:
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
    cells, curves = cells_of(module), []
    for count in (0, shaded):
        strung = Strung(cells=cells, wiring=across_rows(series, shaded=count),
                        orientation="portrait")  # fmt: skip
        volts, amps = string_curve(strung, fraction=1.0, left_frac=left_frac, weather=weather)
        curves.append((volts, volts * amps))
    best = best_points(strung, fraction=np.array([1.0]), diffuse_share=np.array([left_frac]),
                       weather=weather)  # fmt: skip
    kept, sits = best.global_w[1] / best.global_w[0], best.local_w[1] / best.global_w[0]
    low = sits < 0.98 * kept
    more = f", {100.0 * sits:.0f} % on the low hump" if low else ""
    chart = Chart(
        x=(0.0, 1.04 * max(float(volts.max()) for volts, _ in curves)),
        y=(0.0, 1.12 * float(best.global_w[0])), x_words="String voltage [V]",
        y_ticks=7, y_words="String power [W]",
        title=f"{shaded} of {series} in shade: {100.0 * kept:.0f} % of the power{more}",
    )
    for (volts, watts), ink in zip(curves, (LIGHT, DARK), strict=True):
        chart.line(volts, watts, ink=ink)
    chart.mark(best.global_v[1], best.global_w[1], shape="dot")
    if low:
        volts, watts = curves[-1]
        place = int(np.argmin(np.abs(watts - best.local_w[1])
                              + np.where(volts > best.global_v[1], 0.0, 1e9)))
        chart.mark(volts[place], best.local_w[1], ink=INK, shape="square")
    return chart.svg()


def day_power(plane_w_m2: Sequence[float], *, peak_kwp: float, performance_frac: float) -> str:
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
    power_kw = np.asarray(plane_w_m2) / 1000.0 * peak_kwp * performance_frac
    total_kwh = float(power_kw.sum())
    chart = Chart(
        x=(0.0, 24.0), y=(0.0, 1.25 * peak_kwp), x_ticks=range(0, 25, 3),
        x_words="Hour of the day [h]", y_ticks=7, y_words="Power, mean of the hour [kW]",
        title=f"{power_kw.max():.1f} kW at most, {total_kwh:.1f} kWh in the day: like"
        f" {total_kwh / peak_kwp:.1f} h at rated power",
    )  # fmt: skip
    chart.bars(power_kw.tolist(), first=0.5, wide=0.97)
    chart.level(peak_kwp, f"rated {peak_kwp:.1f} kWp")
    return chart.svg()


def dust(loss_frac: Sequence[float], *, interval_days: int) -> str:
    """Loss to dust day by day, with its mean.

    Parameters
    ----------
    loss_frac : sequence of float
        By hour from a wash on, [0 to 1].
    interval_days : int
        Between washes.
    """
    percent = 100.0 * np.asarray(loss_frac)
    mean, most = float(percent.mean()), float(percent.max())
    turns = np.flatnonzero(np.diff(percent, 2) != 0.0) + 1  # what lies between is straight
    kept = np.unique(np.concatenate([[0], turns, [len(percent) - 1]])).astype(int)
    chart = Chart(
        x=(0.0, len(percent) / 24.0), y=(0.0, 1.1 * most), x_words="Day",
        y_ticks=7, y_words="Soiling loss [%]", height=270.0,
        title=f"Washed every {interval_days} days: {mean:.1f} % lost on average,"
        f" {most:.1f} % at most",
    )  # fmt: skip
    chart.line(kept / 24.0, percent[kept])
    chart.level(mean, f"mean {mean:.1f} %")
    return chart.svg()
