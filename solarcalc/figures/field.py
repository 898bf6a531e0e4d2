"""Pictures of many arrays: by pitch, by cost, and the yield of every plane."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from solarcalc.figures.shade import WAYS
from solarcalc.figures.style import INK, MID, PALE, WARM, sheet, styled

MOST_DOTS = 6000
"""Dots drawn at most; a larger field is thinned evenly."""


@styled
def draw_energy_by_pitch(curve: pd.DataFrame, pitches_m: Mapping[str, float | None]) -> Figure:
    """Energy of the filled roof, of each kWp and of each m2 of rows, against the row pitch."""
    figure, axes = sheet(7.2, 2.9, 3)
    for axis, column, unit in (
        (axes[0], "roof_kwh", "the whole roof [kWh/year]"),
        (axes[1], "kwh_per_kwp", "each kWp [kWh/kWp a year]"),
        (axes[2], "kwh_per_m2", "each m² of rows [kWh/m² a year]"),
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
    axes[0].set_title("Closer: more modules...")
    axes[1].set_title("...each gives less...")
    axes[2].set_title("...the roof more")
    axes[0].legend(frameon=False, title="dotted: shadow rule", loc="lower left", fontsize=8)
    return figure


@styled
def draw_trade_off(table: pd.DataFrame, front: pd.DataFrame, *, currency: str) -> Figure:
    """Every array by the energy of the roof and the cost of a kWh, with those none beats."""
    figure, (axis,) = sheet(7.2, 3.4)
    known = table.dropna(subset=["roof_kwh", "cost_per_kwh"])
    known = known.iloc[:: max(1, -(-len(known) // MOST_DOTS))]
    for name, (color, _, mark) in WAYS.items():
        part = known[known["orientation"] == name]
        axis.scatter(part["roof_kwh"], 1000.0 * part["cost_per_kwh"], s=7, marker=mark,
                     color=color, alpha=0.25, linewidths=0, label=name)
    axis.plot(front["roof_kwh"], 1000.0 * front["cost_per_kwh"], color=INK, lw=1.2, marker="D",
              ms=5, label="none is better in both")
    lowest = 1000.0 * float(known["cost_per_kwh"].min()) if len(known) else 1.0
    axis.set(
        xlabel="array energy of the roof [kWh/year]",
        ylabel=f"cost of 1000 kWh\n[{currency}]",
        ylim=(0.9 * lowest, 2.0 * lowest),
        title=f"{len(front)} of {len(table):,} arrays are beaten by none",
    )
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
    axis.set(xlabel="azimuth [deg], from north through east", ylabel="tilt [deg]",
             title=flatness)
    ticks = np.arange(left, left + 361.0, 45.0)
    axis.set_xticks(ticks, [f"{tick % 360.0:.0f}" for tick in ticks])
    axis.legend(loc="upper right", facecolor="white", framealpha=0.8, edgecolor=MID)
    return figure


def _flatness(share: pd.DataFrame) -> str:
    near = 100.0 * float(np.mean(share.to_numpy()[np.isfinite(share.to_numpy())] >= 95.0))
    return f"{near:.0f} % of all planes give 95 % of the best or more"
