"""Pictures of sizes: what every array with every bank leaves dark, and what it costs."""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure

from solarcalc.figures.style import DARK, INK, LIGHT, PALE, WARM, sheet, styled

_STEPS_H = (0.0, 0.5, 10.0, 50.0, 200.0, 1000.0, 9000.0)


@styled
def draw_sizes(
    table: pd.DataFrame, front: pd.DataFrame, own: pd.Series, *, currency: str
) -> Figure:
    """Dark hours of the critical board by array and bank, and the cost of fewer of them."""
    figure, axes = sheet(7.2, 3.2, 2)
    grid = table.pivot(index="bank_kwh", columns="array_kwp", values="critical_dark_h")
    picture = axes[0].pcolormesh(grid.columns, grid.index, grid.to_numpy(), cmap="cividis_r",
                                 norm=BoundaryNorm(_STEPS_H, 256), shading="nearest")
    bar = figure.colorbar(picture, ax=axes[0], label="critical board dark [h/year]")
    bar.set_ticks(list(_STEPS_H), labels=["0", "", "10", "50", "200", "1000", "all"])
    axes[0].plot(front["array_kwp"], front["bank_kwh"], color=INK, lw=0.0, marker="o", ms=3.5,
                 mfc="white", label="none is cheaper")
    axes[0].plot([own["array_kwp"]], [own["bank_kwh"]], color=WARM, marker="D", ms=7, ls="none",
                 mec="white", label="this site")
    axes[0].set(xlabel="array [kWp]", ylabel="bank [kWh]",
                title=_finding(table))
    axes[0].legend(loc="upper right", fontsize=7, framealpha=0.9)
    near = table[table["cost"] <= 3.0 * float(front["cost"].max())]
    axes[1].plot(near["cost"], near["critical_dark_h"], color=LIGHT, marker=".", ms=3, ls="none")
    axes[1].plot(front["cost"], front["critical_dark_h"], color=DARK, marker="o", ms=4)
    axes[1].plot([own["cost"]], [own["critical_dark_h"]], color=WARM, marker="D", ms=7, ls="none")
    axes[1].set_yscale("symlog", linthresh=10.0)
    axes[1].set(xlabel=f"cost [{currency}]", ylabel="critical board dark [h/year]",
                title="Fewer dark hours cost more", ylim=(-0.5, 9000.0))
    axes[1].set_yticks([0.0, 10.0, 100.0, 1000.0, 8760.0], ["0", "10", "100", "1000", "8760"])
    axes[1].grid(color=PALE)
    return figure


def _finding(table: pd.DataFrame) -> str:
    share = 100.0 * float(np.mean(table["critical_dark_h"] == 0.0))
    return f"{share:.0f} % of the pairs leave nobody dark"
