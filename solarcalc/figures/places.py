"""Picture of the places where the power room could stand, side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from textwrap import fill
from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from solarcalc.figures.style import DARK, INK, PALE, sheet, styled
from solarcalc.wiring.places import PlaceResult, best_place, money_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LINE_OF_NAME, LINE_OF_TITLE, LONGEST_MONEY = 16, 85, 14
"""Letters that fit: a line of a place's name, of the title, the word for money."""

_NOTE = "* cables, trench, place, what the cables lose, and the battery's ageing by heat"


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
        ("main cable\n", _main_mm2, lambda one: one.main_size),
        ("drop at full\nload [%]", lambda one: one.drop_frac,
         lambda one: f"{100.0 * one.drop_frac:.1f}"),
        ("lost in cables\n[kWh/year]", lambda one: one.loss_kwh_per_year,
         lambda one: f"{one.loss_kwh_per_year:.0f}"),
        (f"to build\n[{_short(currency)}]", lambda one: one.price,
         lambda one: money_words(one.price)),
        (f"over its life*\n[{_short(currency)}]", lambda one: max(one.whole_cost, 0.0),
         lambda one: money_words(one.whole_cost)),
        ("hottest room\n[°C]", lambda one: max(one.room_hottest_c, 0.0),
         lambda one: f"{one.room_hottest_c:.0f}"),
    )  # fmt: skip


def _main_mm2(one: PlaceResult) -> float:
    return max(
        sized.size_mm2 * sized.in_parallel for sized in one.runs if sized.run.key == "main"
    )


def _draw_panel(
    axis: Axes,
    results: Sequence[PlaceResult],
    best: PlaceResult,
    size: Callable[[PlaceResult], float],
    words: Callable[[PlaceResult], str],
) -> None:
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


def _short(words: str) -> str:
    return words if len(words) <= LONGEST_MONEY else words[: LONGEST_MONEY - 1].rstrip() + "…"


def _in_two_lines(name: str) -> str:
    return fill(name, LINE_OF_NAME, max_lines=2, placeholder="…")


def _finding(results: Sequence[PlaceResult]) -> str:
    best = best_place(results)
    if len(results) == 1:
        return f"{best.cable_m:.0f} m of cable, {100.0 * best.drop_frac:.1f} % lost on the way"
    return f"Costs least over its life (hatched): {best.name}"
