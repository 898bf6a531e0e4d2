"""Pictures of the roof, of shade, and of many arrays on it."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle
from matplotlib.transforms import Affine2D

from solarcalc.basis.quantity import grouped, in_percent
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.roof.packing import RoofFit, RowPlace, kept_free
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.roof import Roof

if TYPE_CHECKING:
    from matplotlib.axes import Axes


WAYS = {"portrait": (DARK, "-", "o"), "landscape": (WARM, "--", "s")}
"""Ink, line and mark of each way to lay a module; they differ in grey as well."""


@styled
def draw_shaded_band_curves(
    curves: pd.DataFrame, stretches: Sequence[tuple[str, float, float]]
) -> Figure:
    """Power kept against the depth of the strip: at the highest point, and climbing.

    `curves`: one row a depth and orientation, both in shares [0 to 1].
    """
    figure, axes = sheet(7.2, 3.0, 2, sharey=True)
    for axis, column in ((axes[0], "kept_frac"), (axes[1], "climbing_frac")):
        for name, part in curves.groupby("orientation"):
            color, line, _ = WAYS[str(name)]
            axis.plot(100.0 * part["depth_frac"], 100.0 * part[column], color=color, ls=line,
                      label=str(name))
        axis.set(xlabel="shaded depth of the row [%]", ylim=(0.0, 103.0), xlim=(0.0, 100.0))
        axis.grid(color=PALE)
    axes[0].set_ylabel("remaining power [%]")
    for axis, words in zip(axes, ("MPPT at the best point", "MPPT on a local maximum"),
                           strict=True):
        axis.set_title(words, fontsize=8.5, fontweight="normal")
    axes[0].legend(frameon=False)
    figure.suptitle(_finding(stretches), x=0.01, ha="left", fontsize=10.0, fontweight="bold")
    return figure


def _finding(stretches: Sequence[tuple[str, float, float]]) -> str:
    names = {name for name, _, _ in stretches}
    if not names:
        return "No difference"
    if len(names) == 1:
        return f"{names.pop().capitalize()} keeps more power"
    return "Better orientation changes with the shaded depth"


KEY_WIDTH = 110
"""Characters in a line of the list under the plan."""

NAME_WIDTH = 40
"""Characters of a name in that list; the table of inputs has all of them."""


@styled
def draw_roof_fits(fits: Mapping[str, RoofFit], roof: Roof) -> Figure:
    """Plan of the roof with the modules that fit, one panel an orientation, to scale.

    Obstacles and walkways are hatched and numbered, their clearance dotted; the list under the
    plan has their names and sizes. The scales count from the left end of the eaves.
    """
    figure, axes = sheet(7.2, 3.4 + 0.16 * len(_key_lines(roof)), len(fits), sharey=True)
    half = roof.length_m / 2.0, roof.depth_m / 2.0
    for axis, (name, fit) in zip(axes, fits.items(), strict=True):
        _outline(axis, *half, edge=INK, style="-")
        inner = [side - roof.edge_setback_m for side in half]
        if min(inner) > 0.0:
            _outline(axis, *inner, edge=MID, style="--")
        _draw_what_stands_there(axis, roof)
        for place in fit.places:
            _draw_row(axis, fit, place)
        _north_arrow(axis, roof)
        axis.set(title=f"{name}: {fit.module_count} modules, pitch {fit.pitch_m:.2f} m",
                 xlabel="along the eaves, from their left end [m]",
                 xlim=(-half[0] - 0.5, half[0] + 2.0), ylim=(-half[1] - 0.5, half[1] + 0.5),
                 aspect="equal")
        axis.set_xticks(*_marks(roof.length_m))
    axes[0].set_ylabel("up the slope [m]")
    axes[0].set_yticks(*_marks(roof.depth_m))
    if _key_lines(roof):
        figure.supxlabel("\n".join(_key_lines(roof)), x=0.02, ha="left", fontsize=8)
    return figure


@styled
def draw_own_modules(
    corners_m: np.ndarray, strings: Sequence[str], roof: Roof
) -> Figure:  # fmt: skip
    """Plan of the site's own modules on their roof, each with the name of its string.

    Parameters
    ----------
    corners_m : array (m, 4, 2)
        Of each module, seen from above, about the roof's middle [m].
    strings : sequence of str
        Name of the string of each.
    roof : Roof
    """
    high = min(max(4.2 * roof.depth_m / roof.length_m, 1.1), 2.0)  # about as large as it is set
    figure, (axis,) = sheet(5.4, high + 0.8 + 0.16 * len(_key_lines(roof)))
    half = roof.length_m / 2.0, roof.depth_m / 2.0
    _outline(axis, *half, edge=INK, style="-")
    _draw_what_stands_there(axis, roof)
    names = list(dict.fromkeys(strings))
    shades = ["white" if names.index(name) % 2 else LIGHT for name in strings]
    axis.add_collection(PolyCollection(list(corners_m), facecolors=shades, edgecolors=DARK,
                                       linewidths=0.8))
    for corners, name in zip(corners_m, strings, strict=True):
        x, y = corners.mean(axis=0).tolist()
        axis.text(x, y, name, ha="center", va="center", fontsize=7)
    _north_arrow(axis, roof)
    axis.set(title=f"{len(strings)} modules, each with the name of its string",
             xlabel="along the eaves, from their left end [m]", ylabel="up the slope [m]",
             xlim=(-half[0] - 0.5, half[0] + 2.0), ylim=(-half[1] - 0.5, half[1] + 0.5),
             aspect="equal")
    axis.set_xticks(*_marks(roof.length_m))
    axis.set_yticks(*_marks(roof.depth_m))
    if _key_lines(roof):
        figure.supxlabel("\n".join(_key_lines(roof)), x=0.02, ha="left", fontsize=8)
    return figure


@styled
def draw_module_shade(corners_m: np.ndarray, beam_kept_frac: np.ndarray, roof: Roof) -> Figure:
    """Plan of the site's own modules, each in the grey of the direct light boxes leave it.

    Parameters
    ----------
    corners_m : array (m, 4, 2)
        Of each module, seen from above, about the roof's middle [m].
    beam_kept_frac : array (m,)
        Share of the year's direct light, [0 to 1].
    """
    figure, (axis,) = sheet(7.2, 3.4 + 0.16 * len(_key_lines(roof)))
    half = roof.length_m / 2.0, roof.depth_m / 2.0
    lost = 100.0 * (1.0 - np.asarray(beam_kept_frac))
    _outline(axis, *half, edge=INK, style="-")
    _draw_what_stands_there(axis, roof)
    faces = PolyCollection(list(corners_m), array=lost, cmap="cividis_r", edgecolors=INK,
                           linewidths=0.6)
    faces.set_clim(0.0, max(float(lost.max(initial=0.0)), 1.0))
    axis.add_collection(faces)
    figure.colorbar(faces, ax=axis, label="direct irradiation lost\nto obstacles [%]", shrink=0.8)
    _north_arrow(axis, roof)
    axis.set(
        title=f"The worst module loses {lost.max(initial=0.0):.0f} %, the best"
        f" {lost.min(initial=100.0):.0f} %",
        xlabel="along the eaves, from their left end [m]", ylabel="up the slope [m]",
        xlim=(-half[0] - 0.5, half[0] + 2.0), ylim=(-half[1] - 0.5, half[1] + 0.5),
        aspect="equal",
    )  # fmt: skip
    axis.set_xticks(*_marks(roof.length_m))
    axis.set_yticks(*_marks(roof.depth_m))
    if _key_lines(roof):
        figure.supxlabel("\n".join(_key_lines(roof)), x=0.02, ha="left", fontsize=8)
    return figure


def _marks(size_m: float) -> tuple[list[float], list[str]]:
    """Places and labels of a scale that counts from one edge, about six in all."""
    step = next((s for s in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if size_m <= 6.5 * s), 100.0)
    places = [number * step for number in range(int(size_m / step + 1e-9) + 1)]
    return [place - size_m / 2.0 for place in places], [f"{place:g}" for place in places]


def _key_lines(roof: Roof) -> list[str]:
    """What the numbers on the plan stand for, each with its size."""
    words = [
        f"{_short(box.name)}, {box.length_m:g} × {box.depth_m:g} m, {box.height_m:g} m high"
        for box in roof.obstacles
    ]
    words += [f"{_short(way.name)}, {way.width_m:g} m wide" for way in roof.walkways]
    text = ";   ".join(f"{number}  {word}" for number, word in enumerate(words, start=1))
    return textwrap.wrap(text, KEY_WIDTH)


def _short(name: str) -> str:
    return name if len(name) <= NAME_WIDTH else name[: NAME_WIDTH - 1] + "…"


def _draw_what_stands_there(axis: Axes, roof: Roof) -> None:
    half = np.array([roof.length_m, roof.depth_m]) / 2.0
    free = [np.clip(corners, -half, half) for corners in kept_free(roof)]
    for number, corners in enumerate(free, start=1):
        if number > len(roof.obstacles):
            axis.add_patch(Polygon(corners, fc="white", ec=MID, hatch="....", lw=0.7))
        else:
            axis.add_patch(Polygon(corners, fc="none", ec=WARM, ls=":", lw=0.8))
            box = roof.obstacles[number - 1]
            low = np.array([box.along_m, box.up_m]) - half
            size = np.array([box.length_m, box.depth_m])
            corners = low + size * np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
            axis.add_patch(Polygon(corners, fc=PALE, ec=INK, hatch="xxxx", lw=0.8))
        x, y = corners.mean(axis=0).tolist()
        axis.text(x, y, str(number), ha="center", va="center", fontsize=7,
                  bbox={"boxstyle": "circle,pad=0.15", "fc": "white", "ec": INK, "lw": 0.6})


def _draw_row(axis: Axes, fit: RoofFit, place: RowPlace) -> None:
    rows = fit.rows
    turn = Affine2D().rotate_deg(fit.turn_deg) + axis.transData
    high = rows.module_up_m
    shrink = rows.footprint_m / rows.slant_m
    for number in range(place.modules_along):
        for tier in range(place.modules_high):
            corner = (
                place.along_m + number * (rows.along_m + rows.gap_m),
                place.across_m + tier * (high + rows.gap_m) * shrink,
            )
            axis.add_patch(
                Rectangle(corner, rows.along_m, high * shrink, fc=LIGHT, ec=DARK, lw=0.7,
                          transform=turn)
            )


def _outline(axis: Axes, half_x: float, half_y: float, *, edge: str, style: str) -> None:
    corner = (-half_x, -half_y)
    axis.add_patch(Rectangle(corner, 2.0 * half_x, 2.0 * half_y, fc="none", ec=edge, ls=style))


def _north_arrow(axis: Axes, roof: Roof) -> None:
    """North on the roof plan; the slope falls down the page, towards the roof's azimuth."""
    angle = math.radians(roof.azimuth_deg)
    along, up = math.sin(angle), -math.cos(angle)
    x, y = roof.length_m / 2.0 + 1.2, roof.depth_m / 2.0 - 0.7
    axis.annotate(
        "", xy=(x + 0.55 * along, y + 0.55 * up), xytext=(x - 0.55 * along, y - 0.55 * up),
        arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.2},
    )
    axis.text(x + 0.95 * along, y + 0.95 * up, "N", ha="center", va="center", fontsize=8)


FLUSH_GAP_M = 0.1
"""Gap drawn under modules that lie along their roof, so that both lines are seen."""


@styled
def draw_side_section(rows: Rows, *, pitch_m: float, rule_m: float | None) -> Figure:
    """Side view of two rows on their roof, to scale, with the lowest sun of the shadow rule."""
    figure, (axis,) = sheet(7.2, 2.3)
    slope = math.radians(rows.section_slope_deg)
    along_roof = np.array([math.cos(slope), math.sin(slope)])
    lift = slope + math.radians(rows.lift_deg)
    along_row = rows.slant_m * np.array([math.cos(lift), math.sin(lift)])
    length = pitch_m + rows.footprint_m
    ends = np.array([-0.3 * along_roof, (length + 0.6) * along_roof])
    axis.plot(ends[:, 0], ends[:, 1], color=INK, lw=2.0, label="roof")
    flush = rows.lift_deg == 0.0
    stand_off = np.array([-along_roof[1], along_roof[0]]) * (FLUSH_GAP_M if flush else 0.0)
    for number in range(2):
        foot = number * pitch_m * along_roof + stand_off
        top = foot + along_row
        axis.plot([foot[0], top[0]], [foot[1], top[1]], color=DARK, lw=4.0,
                  solid_capstyle="butt", label="modules" if number == 0 else None)
        down = top - along_roof * float((top - foot) @ along_roof)
        axis.plot([top[0], (foot + top - down)[0]], [top[1], (foot + top - down)[1]],
                  color=MID, lw=1.0)
    if rule_m is not None and rows.lift_deg > 0.0:
        ray = rule_m * along_roof - along_row
        ends = np.array([along_row - 0.5 * ray, along_row + ray])
        sun_deg = math.degrees(math.atan2(-ray[1], ray[0]))
        axis.plot(ends[:, 0], ends[:, 1], color=WARM, lw=1.2, ls="--",
                  label=f"lowest sun of the criterion, {sun_deg:.0f}° in this section")
    below = np.array([along_roof[1], -along_roof[0]])
    ends_m = [(place * along_roof + 0.15 * below).tolist() for place in (0.0, pitch_m)]
    axis.annotate("", xy=ends_m[1], xytext=ends_m[0],
                  arrowprops={"arrowstyle": "<->", "color": INK, "lw": 1.0})
    x, y = (pitch_m / 2.0 * along_roof + 0.3 * below).tolist()
    axis.text(x, y, f"pitch {pitch_m:.2f} m", ha="left" if slope > 0.1 else "center", va="top")
    lowest = min(0.0, (length + 0.6) * along_roof[1]) - 0.65
    axis.set(title=f"Two {rows.orientation} rows from the side, to scale", xlabel="[m]",
             ylabel="[m]", aspect="equal",
             ylim=(lowest, max(1.2, along_row[1] + 0.6, top[1] + 0.4)))
    axis.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    return figure


MOST_DOTS = 6000
"""Dots drawn at most; a larger field is thinned evenly."""


@styled
def draw_energy_by_pitch(curve: pd.DataFrame, pitches_m: Mapping[str, float | None]) -> Figure:
    """Energy of the filled roof, of each kWp and of each m2 of rows, against the row pitch."""
    figure, axes = sheet(7.2, 2.9, 3)
    for axis, column, unit in (
        (axes[0], "roof_kwh", "energy of the roof [kWh/year]"),
        (axes[1], "kwh_per_kwp", "specific yield [kWh/kWp]"),
        (axes[2], "kwh_per_m2", "per m² of rows [kWh/m² per year]"),
    ):
        for name, lines in curve.groupby("orientation"):
            color, line, _ = WAYS[str(name)]
            axis.plot(lines["pitch_m"], lines[column], color=color, ls=line, label=str(name))
            rule = pitches_m.get(str(name))
            if rule is not None:
                axis.axvline(rule, color=color, lw=0.8, ls=":")
        axis.set(xlabel="row pitch [m]", ylabel=unit)
        axis.grid(color=PALE)
        axis.set_ylim(bottom=None if column == "kwh_per_kwp" else 0.0)
    axes[0].set_title("Smaller pitch: more modules,")
    axes[1].set_title("lower specific yield,")
    axes[2].set_title("more energy per m²")
    axes[0].legend(frameon=False, title="dotted: row-spacing criterion", loc="lower left",
                   fontsize=8)
    return figure


@styled
def draw_trade_off(table: pd.DataFrame, front: pd.DataFrame, *, currency: str) -> Figure:
    """Every array by the energy of the roof and the cost of a kWh, with those none beats.

    `table`, `front`: one row an array, energy [kWh/year], cost in the currency a kWh.
    """
    figure, (axis,) = sheet(7.2, 3.4)
    known = table.dropna(subset=["roof_kwh", "cost_per_kwh"])
    known = known.iloc[:: max(1, -(-len(known) // MOST_DOTS))]
    for name, (color, _, mark) in WAYS.items():
        part = known[known["orientation"] == name]
        axis.scatter(part["roof_kwh"], 1000.0 * part["cost_per_kwh"], s=7, marker=mark,
                     color=color, alpha=0.25, linewidths=0, label=name)
    axis.plot(front["roof_kwh"], 1000.0 * front["cost_per_kwh"], color=INK, lw=1.2, marker="D",
              ms=5, label="trade-off curve")
    lowest = 1000.0 * float(known["cost_per_kwh"].min()) if len(known) else 1.0
    axis.set(xlabel="array energy of the roof [kWh/year]",
             ylabel=f"cost of energy\n[{currency}/MWh]",
             ylim=(0.9 * lowest, 2.0 * lowest),
             title=f"{len(front)} of {grouped(str(len(table)))} arrays on the trade-off curve")
    axis.grid(color=PALE)
    legend = axis.legend(frameon=False, loc="upper right")
    for handle in legend.legend_handles:
        if handle is not None:
            handle.set_alpha(1.0)
    return figure


@styled
def draw_planes(
    planes: pd.DataFrame, *, tilt_deg: float, azimuth_deg: float, middle_deg: float = 180.0
) -> Figure:
    """Yield of every tilt and azimuth as a share of the best, with the site's own marked.

    `planes`: one row a plane, angles [deg], yield [kWh/kWp].

    `middle_deg` is the azimuth in the middle of the picture [deg].
    """
    grid = planes.pivot(index="tilt_deg", columns="azimuth_deg", values="kwh_per_kwp")
    share = 100.0 * grid / np.nanmax(grid.to_numpy())
    flatness = _flatness(share)
    left = middle_deg - 180.0
    share.columns = [left + (float(azimuth) - left) % 360.0 for azimuth in share.columns]
    share = share.sort_index(axis=1)
    share[float(share.columns[0]) + 360.0] = share.iloc[:, 0]  # all the way round
    figure, (axis,) = sheet(7.2, 3.0)
    levels = [50.0, 60.0, 70.0, 80.0, 90.0, 95.0, 98.0, 100.0]
    filled = axis.contourf(share.columns, share.index, share.to_numpy(), levels=levels,
                           cmap="cividis", extend="min")
    lines = axis.contour(share.columns, share.index, share.to_numpy(), levels=levels[3:-1],
                         colors="white", linewidths=0.7)
    axis.clabel(lines, fmt=lambda value: f"{value:.0f} %", fontsize=7)
    axis.plot([left + (azimuth_deg - left) % 360.0], [tilt_deg], marker="D", ms=7, color=WARM,
              mec="white", ls="none", label="this site")
    figure.colorbar(filled, ax=axis, label="share of the best [%]")
    axis.set(xlabel="azimuth [°]: 0 north, 90 east", ylabel="tilt [°]", title=flatness)
    ticks = np.arange(left, left + 361.0, 45.0)
    axis.set_xticks(ticks, [f"{tick % 360.0:.0f}" for tick in ticks])
    axis.legend(loc="upper right", facecolor="white", framealpha=0.8, edgecolor=MID)
    return figure


def _flatness(share: pd.DataFrame) -> str:
    near = float(np.mean(share.to_numpy()[np.isfinite(share.to_numpy())] >= 95.0))
    return f"{in_percent(near, 0)} % of tilts and azimuths yield 95 % of the best or more"
