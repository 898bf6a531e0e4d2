"""Pictures of what the boards ask for: hour by day over the year, and the kinds of day."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from solarcalc.basis.hours import MONTHS
from solarcalc.figures.style import DARK, PALE, WARM, styled
from solarcalc.loads.days import DayKind

MOST_PANELS = 12
"""Kinds of day that are drawn; of more, those with most days in the year."""

_COLUMNS = 3


@styled
def draw_load_year(hours_w: Mapping[str, pd.Series]) -> Figure:
    """What each board asks for by hour of day and day of year, one map a board.

    Parameters
    ----------
    hours_w : mapping of board to Series, shape (8760,)
        Mean power of each hour of the typical year [W].
    """
    figure = Figure(figsize=(7.2, 2.3 * len(hours_w)), layout="constrained")
    axes = figure.subplots(len(hours_w), 1, squeeze=False, sharex=True)[:, 0]
    starts = pd.date_range("2001-01-01", periods=12, freq="MS").day_of_year - 1
    for axis, (board, hours) in zip(axes, hours_w.items(), strict=True):
        power_kw = hours.to_numpy().reshape(365, 24).T / 1000.0
        picture = axis.imshow(
            power_kw, aspect="auto", origin="lower", cmap="cividis", vmin=0.0,
            vmax=max(float(power_kw.max()), 1e-3), extent=(0.0, 365.0, 0.0, 24.0),
            interpolation="nearest",
        )  # fmt: skip
        figure.colorbar(picture, ax=axis, label="mean power [kW]")
        axis.set_xticks(starts, MONTHS, ha="left")
        axis.set_yticks([0, 6, 12, 18, 24])
        axis.set(title=_year_title(board, hours), ylabel="hour of the day [h]")
        axis.spines[["top", "right"]].set_visible(True)
    return figure


def _year_title(board: str, hours: pd.Series) -> str:
    """What the map shows: the range, and the month that asks most where months differ."""
    index = pd.DatetimeIndex(hours.index)
    by_month = hours.groupby(index.month).mean() * 24.0 / 1000.0
    most, least = int(by_month.argmax()), int(by_month.argmin())
    total = float(hours.sum()) / 1000.0
    if total == 0.0:
        return f"The {board} board asks for nothing"
    words = f"The {board} board asks for {total:,.0f} kWh a year"
    if float(by_month.iloc[most]) > 1.05 * float(by_month.iloc[least]):
        words += (
            f", {by_month.iloc[least]:.1f} kWh a day in {MONTHS[least]} and"
            f" {by_month.iloc[most]:.1f} in {MONTHS[most]}"
        )
    return words


@styled
def draw_load_days(kinds: Sequence[DayKind]) -> Figure:
    """Mean power of both boards through each kind of day, all panels to one scale.

    Parameters
    ----------
    kinds : sequence of DayKind
        At most 12 are drawn, those with most days in the year.
    """
    chosen = sorted(kinds, key=lambda kind: -kind.days)[:MOST_PANELS]
    shown = [kind for kind in kinds if kind in chosen]
    columns = _columns(shown)
    rows = math.ceil(len(shown) / columns)
    top_kw = max(float(np.max(each)) for kind in shown for each in kind.profiles_w.values()) / 1e3
    figure = Figure(figsize=(7.2, 1.1 + 1.75 * rows), layout="constrained")
    axes = figure.subplots(rows, columns, squeeze=False).ravel()
    for place, (axis, kind) in enumerate(zip(axes, shown, strict=False)):
        for (board, profile), style in zip(
            kind.profiles_w.items(), ((DARK, "-"), (WARM, "--")), strict=False
        ):
            edges = np.linspace(0.0, 24.0, len(profile) + 1)
            axis.stairs(np.asarray(profile) / 1000.0, edges, color=style[0], ls=style[1], lw=1.3,
                        label=f"{board} board")
        axis.set_title(_panel_title(kind), fontsize=8.5, fontweight="normal")
        axis.set(xlim=(0.0, 24.0), ylim=(0.0, 1.08 * top_kw or 1.0), xticks=range(0, 25, 6))
        axis.grid(color=PALE)
        if place % columns == 0:
            axis.set_ylabel("mean power [kW]")
        if place + columns >= len(shown):
            axis.set_xlabel("hour of the day [h]")
    for axis in axes[len(shown) :]:
        axis.set_visible(False)
    handles, labels = axes[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=2, frameon=False)
    figure.suptitle(_days_title(kinds, len(shown)), x=0.01, ha="left", fontsize=10.0,
                    fontweight="bold")
    return figure


def _columns(kinds: Sequence[DayKind]) -> int:
    """A column for each kind of day of the first season, where every season has as many."""
    seasons = [kind.months for kind in kinds]
    each = seasons.count(seasons[0])
    even = all(seasons.count(months) == each for months in seasons)
    return each if even and 1 < each <= _COLUMNS else min(_COLUMNS, len(kinds))


def _panel_title(kind: DayKind) -> str:
    return f"{kind.months_name}\n{kind.weekdays_name} ({kind.days} days)"


def _days_title(kinds: Sequence[DayKind], shown: int) -> str:
    if len(kinds) == 1:
        words = f"Every day of the year asks for the same {_both_wh(kinds[0]) / 1000.0:.1f} kWh"
    else:
        worst = max(kinds, key=_both_wh)
        words = f"At most {_both_wh(worst) / 1000.0:.1f} kWh in a day: {worst.name}"
    return words + (f" (the {shown} commonest of {len(kinds)})" if shown < len(kinds) else "")


def _both_wh(kind: DayKind) -> float:
    return sum(kind.energy_wh(board) for board in kind.profiles_w)
