"""Pictures of shade: what a strip of it costs."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd
from matplotlib.figure import Figure

from solarcalc.figures.style import DARK, PALE, WARM, sheet, styled

WAYS = {"portrait": (DARK, "-", "o"), "landscape": (WARM, "--", "s")}
"""Ink, line and mark of each way to lay a module; they differ in grey as well."""


@styled
def draw_strip_curves(
    curves: pd.DataFrame, stretches: Sequence[tuple[str, float, float]]
) -> Figure:
    """Power kept against the depth of the strip: at the highest point, and climbing."""
    figure, axes = sheet(7.2, 3.0, 2, sharey=True)
    for axis, column in ((axes[0], "kept_frac"), (axes[1], "climbing_frac")):
        for name, part in curves.groupby("orientation"):
            color, line, _ = WAYS[str(name)]
            axis.plot(100.0 * part["depth_frac"], 100.0 * part[column], color=color, ls=line,
                      label=str(name))
        axis.set(xlabel="row in the strip of shade [%]", ylim=(0.0, 103.0), xlim=(0.0, 100.0))
        axis.grid(color=PALE)
    axes[0].set(ylabel="power kept [%]", title=_finding(stretches))
    axes[1].set_title("...where a tracker only climbs")
    axes[0].legend(frameon=False)
    return figure


def _finding(stretches: Sequence[tuple[str, float, float]]) -> str:
    names = {name for name, _, _ in stretches}
    if not names:
        return "Both ways keep the same"
    if len(names) == 1:
        return f"{names.pop().capitalize()} keeps more"
    return "The lead turns with depth"
