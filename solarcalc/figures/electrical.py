"""Pictures of strings, cables, duct and places of the power room, to read in black and white."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Sequence
from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from solarcalc.basis.text import capital
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.wiring.ducts import DuctFill
from solarcalc.wiring.places import PlaceResult, best_place, money_words
from solarcalc.wiring.runs import SizedRun
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


MOST_BARS = 8
"""Series counts drawn at most: those around what is allowed, and the site's own."""

TITLE_WIDTH = 72
"""Characters in a line of the title."""

_READING = (
    "bar: MPP voltage, hottest to coldest cell; thin end: up to maximum open-circuit voltage"
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
    figure, (axis,) = sheet(7.2, max(2.8, 1.7 + 0.27 * len(rows)))
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
        xlabel="string voltage [V]\n" + _READING, ylabel="modules in series",
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
    for start_v, end_v, high, inside, lines in (
        (row.hot_working_v, row.cold_working_v, 0.44, face, hatch),
        (row.cold_working_v, row.cold_voc_v, 0.16, end, ""),
    ):
        corner = (start_v, place - high / 2.0)
        axis.add_patch(
            Rectangle(corner, end_v - start_v, high, fc=inside, ec=INK, lw=0.9, hatch=lines)
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
    lowest = "MPP range from" if own else "battery full plus 1 V:"
    own = top_v == case.controller.max_pv_voltage_v
    highest = "maximum input voltage" if own else "module limit"
    for volts, style, words, line in (
        (low_v, "--", f"{lowest} {low_v:.0f} V", 0), (top_v, "-", f"{highest} {top_v:.0f} V", 1),
    ):  # fmt: skip
        axis.axvline(volts, color=WARM, lw=1.6, ls=style, zorder=1)
        axis.text(volts, rows - 0.45 + 0.5 * line, f"  {words}", ha="left", va="bottom",
                  fontsize=7.5, bbox=_PATCH)


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
    axes.bar(places, cable, 0.7, color=DARK, hatch=hatches, edgecolor="white",
             label="cable, installed")
    axes.bar(places, lost, 0.7, bottom=cable, color=LIGHT, hatch=hatches, edgecolor="white",
             label="energy losses over the life")
    at = next(number for number, option in enumerate(options)
              if option.size_mm2 == chosen.size_mm2)
    axes.plot([at], [cable[at] + lost[at]], marker="v", ms=9, color=WARM, ls="none",
              mec="white", label="chosen")
    top = float(np.max((cable + lost)[~unsafe])) * 1.25
    axes.set_ylim(0.0, top)
    for place, bad in zip(places, unsafe, strict=True):
        if bad:
            axes.text(float(place), 0.02 * top, "not permitted", rotation=90, ha="center",
                      va="bottom", fontsize=7.5, color=INK,
                      bbox={"fc": "white", "ec": "none", "pad": 1.0})
    axes.set_xticks(places, [option.size_name.replace(" mm²", "") for option in options])
    axes.set(xlabel=f"conductor size [{_unit(chosen)}]", ylabel=f"cost [{currency}]",
             title=f"{chosen.run.name}: {chosen.size_name}, decided by {chosen.decided_by}")
    axes.grid(axis="y", color=PALE)
    axes.legend(loc="upper center", ncols=3, fontsize=7.5, framealpha=0.9)
    return figure


def _unit(sized: SizedRun) -> str:
    return "mm²" if "mm²" in sized.size_name else "AWG"


@styled
def draw_run_losses(sized: Sequence[SizedRun]) -> Figure:
    """Drop at the design current against its limit, and energy lost in the year, run by run."""
    figure, (left, right) = sheet(7.2, 1.2 + 0.32 * len(sized), 2, sharey=True)
    places = np.arange(len(sized))[::-1]
    drop = np.array([100.0 * one.drop_frac for one in sized])
    limit = np.array([100.0 * one.run.drop_limit_frac for one in sized])
    left.barh(places, drop, 0.6, color=DARK, label="at operating current")
    left.plot(limit, places, color=WARM, marker="|", ms=14, mew=2.5, ls="none", label="limit")
    left.set_yticks(places, [one.run.name for one in sized])
    left.set(xlabel="voltage drop [%]", title=_within(drop, limit))
    figure.legend(loc="outside lower center", ncols=2, fontsize=7.5)
    lost = np.array([one.loss_kwh_per_year for one in sized])
    right.barh(places, lost, 0.6, color=LIGHT, edgecolor=INK, lw=0.6)
    for place, kwh in zip(places, lost, strict=True):
        right.text(kwh, place, f" {kwh:.1f}", va="center", fontsize=8)
    right.set(xlabel="energy loss [kWh/year]", title=f"Cable losses {lost.sum():.0f} kWh/year")
    right.set_xlim(0.0, max(float(lost.max()), 0.1) * 1.2)
    for axes in (left, right):
        axes.grid(axis="x", color=PALE)
    return figure


def _within(drop: np.ndarray, limit: np.ndarray) -> str:
    over = int(np.sum(drop > limit))
    return "Drop within the limits" if over == 0 else f"Drop too high in {over} of {len(drop)}"


MOST_DRAWN = 60
"""Cables drawn at most; of more, the picture says how many are left out."""

_HATCHES = ("", "////", "....", "xxxx", "\\\\\\\\", "++++")
_TOUCH = 1e-6
"""Circles that overlap by less only touch [mm]."""

Place = tuple[float, float, float]
"""Middle and radius of a cable [mm]."""


def packed(inner_mm: float, outers_mm: list[float]) -> list[Place | None]:
    """Where cables come to lie, dropped one after the other; None for one that finds no place.

    Each takes the lowest place where it touches the wall and a cable, or two cables. An honest
    sketch, not the densest packing.

    Parameters
    ----------
    inner_mm : float
        Diameter of the duct inside [mm].
    outers_mm : list of float
        Diameters of the cables, in the order they are dropped [mm].
    """
    wall = inner_mm / 2.0
    lying: list[Place] = []
    found: list[Place | None] = []
    for outer_mm in outers_mm:
        radius = outer_mm / 2.0
        free = [
            (x, y, radius)
            for x, y in _touching(wall, lying, radius)
            if _is_free(wall, lying, (x, y, radius))
        ]
        place = min(free, key=lambda each: (round(each[1], 6), abs(each[0])), default=None)
        found.append(place)
        if place is not None:
            lying.append(place)
    return found


def _touching(wall: float, lying: list[Place], radius: float) -> list[tuple[float, float]]:
    """Middles where a cable touches two of: the wall, the cables that lie there."""
    around = [(0.0, 0.0, wall - radius), *((x, y, r + radius) for x, y, r in lying)]
    places = [(0.0, radius - wall)]
    for number, one in enumerate(around):
        for other in around[:number]:
            places += _crossings(one, other)
    return places


def _crossings(one: Place, other: Place) -> list[tuple[float, float]]:
    """Points on both circles."""
    (x, y, r), (u, v, s) = one, other
    apart = math.hypot(u - x, v - y)
    if apart < _TOUCH or apart > r + s or apart < abs(r - s):
        return []
    along = (r * r - s * s + apart * apart) / (2.0 * apart)
    across = math.sqrt(max(r * r - along * along, 0.0))
    e, f = (u - x) / apart, (v - y) / apart
    return [
        (x + along * e - sign * across * f, y + along * f + sign * across * e) for sign in (1, -1)
    ]


def _is_free(wall: float, lying: list[Place], place: Place) -> bool:
    x, y, radius = place
    inside = math.hypot(x, y) + radius <= wall + _TOUCH
    return inside and all(
        math.hypot(x - u, y - v) >= radius + r - _TOUCH for u, v, r in lying
    )


@styled
def draw_duct(fill: DuctFill) -> Figure:
    """The duct cut across, to scale, and a list of what lies in it.

    Each kind of cable has its own number and hatch.

    Parameters
    ----------
    fill : DuctFill
    """
    figure, (axis,) = sheet(7.2, 3.4)
    wall = fill.inner_mm / 2.0
    kinds = sorted(enumerate(fill.cables, start=1), key=lambda each: -each[1].outer_mm)
    order = [(number, cable) for number, cable in kinds for _ in range(cable.count)][:MOST_DRAWN]
    axis.add_patch(Circle((0.0, 0.0), 1.04 * wall, fc=PALE, ec=INK, lw=1.0))
    axis.add_patch(Circle((0.0, 0.0), wall, fc="white", ec=INK, lw=1.0))
    places = packed(fill.inner_mm, [cable.outer_mm for _, cable in order])
    for (number, _), place in zip(order, places, strict=True):
        if place is not None:
            _draw_cable(axis, place, number, wall)
    homeless = sum(place is None for place in places)
    notes = [f"{homeless} do not fit in this arrangement"] if homeless else []
    if fill.cable_count > len(order):
        notes.append(f"{fill.cable_count - len(order)} more not drawn")
    axis.text(1.25 * wall, 0.0, _key(fill, notes), va="center", fontsize=8.5, linespacing=1.5)
    full = fill.fill_frac > fill.limit_frac
    axis.set_title(
        f"{capital(fill.words)}: {100.0 * fill.fill_frac:.0f} % fill,"
        f" {'above' if full else 'within'} the limit of {100.0 * fill.limit_frac:.0f} %"
    )
    axis.set(xlim=(-1.1 * wall, 4.2 * wall), ylim=(-1.1 * wall, 1.1 * wall), aspect="equal")
    axis.set_axis_off()
    return figure


def _draw_cable(axis: Axes, place: Place, number: int, wall: float) -> None:
    x, y, radius = place
    hatch = _HATCHES[(number - 1) % len(_HATCHES)]
    axis.add_patch(Circle((x, y), radius, fc="white", ec=DARK, lw=1.0, hatch=hatch))
    if radius > 0.06 * wall:
        axis.text(x, y, str(number), ha="center", va="center", fontsize=7.5,
                  bbox={"boxstyle": "circle,pad=0.12", "fc": "white", "ec": "none"})


def _key(fill: DuctFill, notes: list[str]) -> str:
    lines = [
        f"{number}   {cable.count} × {cable.outer_mm:g} mm   {_short_cable(cable.words)}"
        for number, cable in enumerate(fill.cables, start=1)
    ]
    lines.append(f"inner diameter {fill.inner_mm:g} mm; to scale, possible arrangement")
    return "\n".join(lines + notes)


def _short_cable(words: str) -> str:
    return words if len(words) <= 44 else words[:43] + "…"


LINE_OF_NAME, LINE_OF_TITLE, LONGEST_MONEY = 16, 85, 14
"""Letters that fit: a line of a place's name, of the title, the word for money."""

_NOTE = "* cables, trench, location, cable losses, and battery ageing by temperature"


@styled
def draw_places(results: Sequence[PlaceResult], *, currency: str) -> Figure:
    """Cable, size of the main, drop, loss, price and heat of each place; the best one hatched.

    Parameters
    ----------
    results : sequence of PlaceResult
        In the order they are drawn, from the top.
    currency : str
        Of the prices.
    """
    best = best_place(results)
    figure, axes = sheet(7.6, 1.3 + 0.42 * len(results), len(_panels(currency)), sharey=True)
    for axis, (title, size, words) in zip(axes, _panels(currency), strict=True):
        _draw_panel(axis, results, best, size, words)
        axis.set_title(title, fontsize=7.5, fontweight="normal")
    axes[0].set_yticks(range(len(results)), [_in_two_lines(one.name) for one in results],
                       fontsize=8.0)
    axes[0].set_ylim(len(results) - 0.4, -0.6)
    figure.supxlabel(_NOTE, x=0.01, ha="left", fontsize=7.5)
    figure.suptitle(fill(_finding(results), LINE_OF_TITLE), x=0.01, ha="left", fontsize=10.0,
                    fontweight="bold")  # fmt: skip
    return figure


Panel = tuple[str, Callable[[PlaceResult], float], Callable[[PlaceResult], str]]


def _panels(currency: str) -> tuple[Panel, ...]:
    return (
        ("cable\n[m]", lambda one: one.cable_m, lambda one: f"{one.cable_m:.0f}"),
        ("PV DC main cable\n", _dc_main_mm2, lambda one: one.dc_main_size),
        ("voltage drop at\nfull load [%]", lambda one: one.drop_frac,
         lambda one: f"{100.0 * one.drop_frac:.1f}"),
        ("cable losses\n[kWh/year]", lambda one: one.loss_kwh_per_year,
         lambda one: f"{one.loss_kwh_per_year:.0f}"),
        (f"installed cost\n[{_short_place(currency)}]", lambda one: one.price,
         lambda one: money_words(one.price)),
        (f"life-cycle cost*\n[{_short_place(currency)}]", lambda one: max(one.whole_cost, 0.0),
         lambda one: money_words(one.whole_cost)),
        ("max. room\ntemperature [°C]", lambda one: max(one.room_hottest_c, 0.0),
         lambda one: f"{one.room_hottest_c:.0f}"),
    )  # fmt: skip


def _dc_main_mm2(one: PlaceResult) -> float:
    return max(
        sized.size_mm2 * sized.in_parallel for sized in one.runs if sized.run.key == "dc_main"
    )


def _draw_panel(
    axis: Axes, results: Sequence[PlaceResult], best: PlaceResult,
    size: Callable[[PlaceResult], float], words: Callable[[PlaceResult], str],
) -> None:  # fmt: skip
    """Bars of one quantity from 0, each with its value written inside or beside it."""
    longest = max(max(size(one) for one in results), 1e-9)
    for place, one in enumerate(results):
        mine = one is best and len(results) > 1
        axis.barh(place, size(one) / longest, height=0.42, color="white" if mine else PALE,
                  edgecolor=DARK if mine else INK, lw=1.4 if mine else 0.8,
                  hatch="////" if mine else None)  # fmt: skip
        axis.text(0.02, place - 0.26, words(one), va="bottom", ha="left", fontsize=8.0,
                  fontweight="bold" if mine else "normal")  # fmt: skip
    axis.set_xlim(0.0, 1.02)
    axis.set_xticks([])
    axis.tick_params(axis="y", length=0)
    axis.spines["bottom"].set_visible(False)


def _short_place(words: str) -> str:
    return words if len(words) <= LONGEST_MONEY else words[: LONGEST_MONEY - 1].rstrip() + "…"


def _in_two_lines(name: str) -> str:
    return fill(name, LINE_OF_NAME, max_lines=2, placeholder="…")


def _finding(results: Sequence[PlaceResult]) -> str:
    best = best_place(results)
    if len(results) == 1:
        return f"{best.cable_m:.0f} m of cable, {100.0 * best.drop_frac:.1f} % voltage drop"
    return f"Lowest life-cycle cost (hatched): {best.name}"
