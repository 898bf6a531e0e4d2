"""Pictures of cables: what each size costs over the life, and what each run loses."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from solarcalc.figures.style import DARK, INK, LIGHT, PALE, WARM, sheet, styled
from solarcalc.wiring.runs import SizedRun


@styled
def draw_cable_sizes(
    options: Sequence[SizedRun], safe_mm2: float, chosen: SizedRun, *, currency: str
) -> Figure:
    """Cost of each size over the life: cable, and the energy that warms it; unsafe ones hatched."""
    figure, (axes,) = sheet(7.2, 3.1)
    places = np.arange(len(options))
    cable = np.array([option.cost for option in options])
    lost = np.array([option.lifetime_cost - option.cost for option in options])
    unsafe = np.array([option.size_mm2 < safe_mm2 for option in options])
    hatches = ["///" if bad else "" for bad in unsafe]
    axes.bar(places, cable, 0.7, color=DARK, hatch=hatches, edgecolor="white", label="cable, laid")
    axes.bar(places, lost, 0.7, bottom=cable, color=LIGHT, hatch=hatches, edgecolor="white",
             label="energy lost over the life")
    at = next(number for number, option in enumerate(options)
              if option.size_mm2 == chosen.size_mm2)
    axes.plot([at], [cable[at] + lost[at]], marker="v", ms=9, color=WARM, ls="none",
              mec="white", label="chosen")
    top = float(np.max((cable + lost)[~unsafe])) * 1.25
    axes.set_ylim(0.0, top)
    for place, bad in zip(places, unsafe, strict=True):
        if bad:
            axes.text(float(place), 0.02 * top, "not safe", rotation=90, ha="center", va="bottom",
                      fontsize=7.5, color=INK, bbox={"fc": "white", "ec": "none", "pad": 1.0})
    axes.set_xticks(places, [option.size_name.replace(" mm²", "") for option in options])
    axes.set(xlabel=f"size of one conductor [{_unit(chosen)}]", ylabel=f"cost [{currency}]",
             title=f"{chosen.run.name}: {chosen.size_name}, decided by {chosen.decided_by}")
    axes.grid(axis="y", color=PALE)
    axes.set_axisbelow(True)
    axes.legend(loc="upper center", ncols=3, fontsize=7.5, framealpha=0.9)
    return figure


def _unit(sized: SizedRun) -> str:
    return "mm²" if "mm²" in sized.size_name else "gauge"


@styled
def draw_run_losses(sized: Sequence[SizedRun]) -> Figure:
    """Drop at the design current against its limit, and energy lost in the year, run by run."""
    figure, (left, right) = sheet(7.2, 1.2 + 0.32 * len(sized), 2, sharey=True)
    places = np.arange(len(sized))[::-1]
    drop = np.array([100.0 * one.drop_frac for one in sized])
    limit = np.array([100.0 * one.run.drop_limit_frac for one in sized])
    left.barh(places, drop, 0.6, color=DARK, label="at the design current")
    left.plot(limit, places, color=WARM, marker="|", ms=14, mew=2.5, ls="none", label="limit")
    left.set_yticks(places, [one.run.name for one in sized])
    left.set(xlabel="voltage lost [%]", title=_within(drop, limit))
    figure.legend(loc="outside lower center", ncols=2, fontsize=7.5)
    lost = np.array([one.loss_kwh_per_year for one in sized])
    right.barh(places, lost, 0.6, color=LIGHT, edgecolor=INK, lw=0.6)
    for place, kwh in zip(places, lost, strict=True):
        right.text(kwh, place, f" {kwh:.1f}", va="center", fontsize=8)
    right.set(xlabel="energy lost [kWh/year]", title=f"{lost.sum():.0f} kWh a year warm the cables")
    right.set_xlim(0.0, max(float(lost.max()), 0.1) * 1.2)
    for axes in (left, right):
        axes.grid(axis="x", color=PALE)
        axes.set_axisbelow(True)
    return figure


def _within(drop: np.ndarray, limit: np.ndarray) -> str:
    over = int(np.sum(drop > limit))
    return "Every run keeps its limit" if over == 0 else f"{over} of {len(drop)} runs lose too much"
