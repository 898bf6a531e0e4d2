"""Picture of the controller's window: what each number of modules in series gives, hot and cold."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from solarcalc.figures.style import INK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.wiring.string_checks import plan_sentence
from solarcalc.wiring.string_plan import (
    StringCase,
    StringRow,
    least_working_v,
    series_limits,
    string_row,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_BARS = 14
"""Series counts drawn at most: those around what is allowed, and the site's own."""

TITLE_WIDTH = 72
"""Characters in a line of the title."""

_READING = (
    "bar: working voltage, from the hottest cell to the coldest; thin end: up to the cold open"
    " circuit"
)

_PATCH = {"fc": "white", "ec": "none", "pad": 0.6, "alpha": 0.85}
"""Behind words, so that lines do not run through them."""


@styled
def draw_string_window(case: StringCase, series: int) -> Figure:
    """A bar for each series count, from the hot working voltage to the cold open circuit.

    What is allowed is hatched and named, so that it reads in black and white; the site's own count
    is marked.

    Parameters
    ----------
    case : StringCase
    series : int
        Modules in series of the site.
    """
    counts = _counts(case, series)
    rows = [None if count is None else string_row(case, count, 1) for count in counts]
    low_v, top_v = least_working_v(case), min(case.controller.max_pv_voltage_v, case.system_max_v)
    figure, (axis,) = sheet(7.2, max(2.8, 1.9 + 0.36 * len(rows)))
    end_v = 1.30 * max([top_v, *(row.cold_voc_v for row in rows if row is not None)])
    axis.axvspan(low_v, top_v, color=PALE, lw=0, zorder=0)
    _draw_limits(axis, case, (low_v, top_v), len(rows))
    for place, row in enumerate(rows):
        if row is None:
            axis.text(0.5 * (low_v + top_v), place, "· · ·", ha="center", va="center")
        else:
            _draw_bar(axis, place, row)
            _draw_words(axis, place, row, end_v)
    names = [
        "" if each is None else f"{each}  (site)" if each == series else f"{each}"
        for each in counts
    ]
    axis.set_yticks(range(len(rows)), names)
    axis.set(
        title=textwrap.fill(plan_sentence(case).rstrip("."), TITLE_WIDTH),
        xlabel="voltage of a string [V]\n" + _READING, ylabel="modules in series",
        xlim=(0.0, end_v), ylim=(-0.6, len(rows) + 0.75),
    )  # fmt: skip
    return figure


def _counts(case: StringCase, series: int) -> list[int | None]:
    """Series counts to draw: two to each side of what fits, and the site's own; None for dots."""
    least, most = sorted(series_limits(case))
    around = range(max(least - 2, 1), most + 3)
    if len(around) <= MOST_BARS:
        wanted = {*around, series}
    else:
        half = MOST_BARS // 2
        wanted = {*around[:half], *around[-half:], series}
    counts: list[int | None] = []
    for count in sorted(wanted):
        if counts and count - 1 not in wanted:
            counts.append(None)
        counts.append(count)
    return counts


def _draw_bar(axis: Axes, place: int, row: StringRow) -> None:
    """The working range hot to cold, solid; up to open circuit, open."""
    face, hatch, end = (LIGHT, "////", INK) if row.allowed else ("white", "", MID)
    for start_v, end_v, high, fill, lines in (
        (row.hot_working_v, row.cold_working_v, 0.44, face, hatch),
        (row.cold_working_v, row.cold_voc_v, 0.16, end, ""),
    ):
        corner = (start_v, place - high / 2.0)
        axis.add_patch(
            Rectangle(corner, end_v - start_v, high, fc=fill, ec=INK, lw=0.9, hatch=lines)
        )


def _draw_words(axis: Axes, place: int, row: StringRow, end_v: float) -> None:
    axis.text(row.hot_working_v - 0.008 * end_v, place, f"{row.hot_working_v:.0f}", ha="right",
              va="center", fontsize=7.5, bbox=_PATCH)
    low_or_high = "too high" if row.reasons and "open circuit" in row.reasons[0] else "too low"
    words = "fits" if row.allowed else low_or_high
    axis.text(row.cold_voc_v + 0.008 * end_v, place, f"{row.cold_voc_v:.0f}  {words}", ha="left",
              va="center", fontsize=7.5, weight="bold" if row.allowed else "normal",
              bbox=_PATCH)


def _draw_limits(axis: Axes, case: StringCase, window_v: tuple[float, float], rows: int) -> None:
    """The two ends of the window, with their words above the bars."""
    low_v, top_v = window_v
    own = low_v == case.controller.min_tracking_voltage_v
    lowest = "tracks from" if own else "bank full and 1 V more:"
    highest = "destroyed above" if top_v == case.controller.max_pv_voltage_v else "modules up to"
    for volts, style, words, line in (
        (low_v, "--", f"{lowest} {low_v:.0f} V", 0), (top_v, "-", f"{highest} {top_v:.0f} V", 1),
    ):  # fmt: skip
        axis.axvline(volts, color=WARM, lw=1.6, ls=style, zorder=1)
        axis.text(volts, rows - 0.45 + 0.5 * line, f"  {words}", ha="left", va="bottom",
                  fontsize=7.5, bbox=_PATCH)
