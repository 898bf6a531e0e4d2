"""Pictures over many sites: how one figure is spread, which checks fail."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from solarcalc.basis.quantity import in_unit
from solarcalc.figures.style import DARK, INK, LIGHT, WARM, sheet, styled

FEW = 12
"""Up to so many sites each is a dot of its own."""
_BARS = 24


@styled
def draw_spread(values: Sequence[float], *, what: str, unit: str) -> Figure:
    """How one figure is spread over the sites, with the middle half of them and the median.

    Parameters
    ----------
    values : sequence of float
        One a site, finite.
    what : str
        With a capital, such as ``"Array power"``.
    unit : str
        As printed.
    """
    figure, (axis,) = sheet(3.5, 2.1)
    if not values:
        axis.set_title(f"{what}: no site has one")
        axis.set_axis_off()
        return figure
    low, middle, high = np.percentile(values, [25.0, 50.0, 75.0])
    axis.axvspan(float(low), float(high), color=LIGHT, lw=0.0)
    if len(values) <= FEW:
        axis.plot(sorted(values), range(1, len(values) + 1), "o", color=DARK, ms=4.5)
        axis.set_ylabel("sites up to this")
    else:
        axis.hist(values, bins=_BARS, color=DARK, edgecolor="white", lw=0.5)
        axis.set_ylabel("sites")
    axis.axvline(float(middle), color=WARM, lw=1.6)
    axis.yaxis.set_major_locator(MaxNLocator(4, integer=True))
    axis.xaxis.set_major_locator(MaxNLocator(5))
    axis.margins(y=0.12)
    axis.set_title(f"{what}: median {in_unit(float(middle), unit)} {unit}".rstrip())
    axis.set_xlabel(f"[{unit}]; shaded: the middle half of the sites")
    return figure


@styled
def draw_failed(counts: Mapping[str, int], *, sites: int) -> Figure:
    """Failed checks by their class, the most first.

    Parameters
    ----------
    counts : mapping of class of check to count
    sites : int
    """
    shown = sorted((item for item in counts.items() if item[1] > 0), key=lambda item: item[1])
    figure, (axis,) = sheet(3.5, 2.1)
    total = sum(counts.values())
    if not shown:
        axis.set_title(f"No check failed at {sites} site{'s' * (sites != 1)}")
        axis.set_axis_off()
        return figure
    bars = axis.barh([kind for kind, _ in shown], [count for _, count in shown],
                     color=[WARM if kind == "safety" else DARK for kind, _ in shown],
                     edgecolor=INK, lw=0.5, height=0.6)  # fmt: skip
    axis.bar_label(bars, padding=3)
    axis.xaxis.set_major_locator(MaxNLocator(5, integer=True))
    axis.margins(x=0.14)
    kind, largest = shown[-1]
    part = "" if largest == total else (
        "most of them " if 2 * largest > total else f"{largest} of them ")
    axis.set_title(f"{total} failed check{'s' * (total != 1)}, {part}of {kind}")
    axis.set_xlabel("failed checks")
    return figure
