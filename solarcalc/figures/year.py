"""Pictures of a year: energy, losses, loads, battery, boards, washes, and other sizes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.colors import BoundaryNorm
from matplotlib.figure import Figure

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.quantity import grouped, in_percent
from solarcalc.energy.year import Harvest, lost_frac
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.loads.days import DayKind
from solarcalc.loads.year import LOADS_OF
from solarcalc.supply.run import SupplyRun

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
        return f"No demand of the {LOADS_OF.get(board, board)}"
    words = f"Demand of the {LOADS_OF.get(board, board)}: {grouped(f'{total:.0f}')} kWh/year"
    if float(by_month.iloc[most]) > 1.05 * float(by_month.iloc[least]):
        words += (
            f"; {by_month.iloc[least]:.1f} kWh/day in {MONTHS[least]},"
            f" {by_month.iloc[most]:.1f} kWh/day in {MONTHS[most]}"
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
                        label=LOADS_OF.get(board, board))
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
        words = f"Demand {_both_wh(kinds[0]) / 1000.0:.1f} kWh/day, the same every day"
    else:
        worst = max(kinds, key=_both_wh)
        words = f"Highest demand {_both_wh(worst) / 1000.0:.1f} kWh/day: {worst.name}"
    more = f" (the {shown} most frequent of {len(kinds)} day types)"
    return words + (more if shown < len(kinds) else "")


def _both_wh(kind: DayKind) -> float:
    return sum(kind.energy_wh(board) for board in kind.profiles_w)


@styled
def draw_energy_by_tilt(curve: pd.DataFrame, *, tilt_deg: float) -> Figure:
    """Yield of one row alone and its dust loss against tilt."""
    best_deg = float(curve["tilt_deg"].iloc[int(curve["kwh_per_kwp"].argmax())])
    at_site = float(np.interp(tilt_deg, curve["tilt_deg"], curve["kwh_per_kwp"]))
    figure, axes = sheet(7.2, 2.8, 2)
    axes[0].plot(curve["tilt_deg"], curve["kwh_per_kwp"], color=DARK, marker="o", ms=4)
    axes[0].plot([tilt_deg], [at_site], marker="D", color=WARM, ms=7, ls="none",
                 label=f"this site, {tilt_deg:g}°")
    axes[0].set(title=f"Highest yield near {best_deg:.0f}° tilt", xlabel="tilt [°]",
                ylabel="array yield [kWh/kWp]")
    axes[0].legend(frameon=False)
    axes[1].plot(curve["tilt_deg"], 100.0 * curve["dust_loss_frac"], color=MID, marker="s", ms=4)
    axes[1].set(title="Soiling loss is higher at low tilt", xlabel="tilt [°]",
                ylabel="mean soiling loss [%]", ylim=(0.0, None))
    for axis in axes:
        axis.grid(color=PALE)
    return figure


@styled
def draw_months(harvest: Harvest) -> Figure:
    """Energy and performance ratio of each month."""
    table = harvest.by_month()
    best, worst = int(table["ac_kwh"].argmax()), int(table["ac_kwh"].argmin())
    figure, axes = sheet(7.2, 2.9, 2)
    axes[0].bar(MONTHS, table["ac_kwh"], color=MID, ec=DARK)
    axes[0].set(title=f"Highest in {MONTHS[best]}, lowest in {MONTHS[worst]}",
                ylabel="potential AC energy [kWh]")
    axes[1].plot(MONTHS, table["performance_ratio"], color=DARK, marker="o", ms=4)
    axes[1].set(title=f"Performance ratio {harvest.performance_ratio:.2f} over the year",
                ylabel="performance ratio [-]", ylim=(0.0, 1.0))
    for axis in axes:
        axis.tick_params(axis="x", rotation=60)
        axis.grid(axis="y", color=PALE)
    return figure


@styled
def draw_loss_steps(harvest: Harvest) -> Figure:
    """What is left after each loss, from the light on the plane to the potential AC energy."""
    steps = harvest.steps
    left = [step.yield_kwh_per_kwp for step in steps]
    figure, (axis,) = sheet(7.2, 0.3 * len(steps) + 0.8)
    places = list(range(len(steps)))
    colors = [DARK if place in (0, len(steps) - 1) else MID for place in places]
    axis.barh(places, left, color=colors, ec=DARK, height=0.62)
    for place in places[1:]:
        lost = left[place - 1] - left[place]
        axis.barh(place, lost, left=left[place], color="white", ec=WARM, hatch="////",
                  height=0.62, lw=0.6)
    for place in places:
        share = ""
        if place > 0:
            share = f"  ({_percent(-lost_frac(steps[place - 1], steps[place]))})"
        shown = grouped(f"{left[place]:.0f}")
        axis.text(left[0] * 1.01, place, f"{shown}{share}", va="center", fontsize=8)
    axis.set_yticks(places, [step.name for step in steps])
    axis.invert_yaxis()
    sun_h, out_h = (grouped(f"{hours:.0f}") for hours in (left[0], left[-1]))
    axis.set(xlim=(0.0, left[0] * 1.22), xlabel="annual yield [kWh/kWp]; hatched: loss of the step",
             title=f"Reference yield {sun_h} h, final yield {out_h} h")
    return figure


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f} %".replace("-0.0", "0.0").replace("-", "−")


@styled
def draw_charge_map(year: SupplyRun) -> Figure:
    """State of charge by hour of day and day of year."""
    charge = 100.0 * year.state_of_charge.to_numpy().reshape(365, 24).T
    figure, (axis,) = sheet(7.2, 2.7)
    picture = axis.imshow(charge, aspect="auto", origin="lower", cmap="cividis", vmin=0.0,
                          vmax=100.0, extent=(0.0, 365.0, 0.0, 24.0), interpolation="nearest")
    figure.colorbar(picture, ax=axis, label="state of charge [%]")
    starts = pd.date_range("2001-01-01", periods=12, freq="MS").day_of_year - 1
    axis.set_xticks(starts, MONTHS, ha="left")
    axis.set_yticks([0, 6, 12, 18, 24])
    axis.set(title=f"State of charge between {charge.min():.0f} % and {charge.max():.0f} %",
             ylabel="hour of the day [h]")
    axis.spines[["top", "right"]].set_visible(True)
    return figure


@styled
def draw_charge_band(year: SupplyRun, *, marks: Mapping[str, float]) -> Figure:
    """State of charge month by month: lowest to highest, middle half, median."""
    month = pd.DatetimeIndex(year.hours.index).month
    by_month = (100.0 * year.state_of_charge).groupby(month)
    quantiles = {share: by_month.quantile(share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)}
    worst = int(by_month.min().argmin())
    figure, (axis,) = sheet(7.2, 2.7)
    places = np.arange(12)
    axis.fill_between(places, quantiles[0.0], quantiles[1.0], color=PALE, label="lowest to highest")
    axis.fill_between(places, quantiles[0.25], quantiles[0.75], color=LIGHT, label="middle half")
    axis.plot(places, quantiles[0.5], color=DARK, marker="o", ms=4, label="median")
    for (name, level), style in zip(marks.items(), ("-", "--", ":"), strict=False):
        axis.axhline(100.0 * level, color=WARM, lw=1.0, ls=style, label=name)
    axis.set_xticks(places, MONTHS)
    axis.set(ylim=(0.0, 102.0), ylabel="state of charge [%]",
             title=f"Lowest state of charge in {MONTHS[worst]}")
    axis.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    return figure


@styled
def draw_worst_week(year: SupplyRun) -> Figure:
    """The seven days around the lowest charge: sun, loads and state of charge."""
    lowest = int(np.argmin(year.state_of_charge.to_numpy()))
    first = int(np.clip(24 * (lowest // 24 - 3), 0, len(year.hours) - 168))
    part = year.hours.iloc[first : first + 168]
    charge = 100.0 * year.state_of_charge.iloc[first : first + 168]
    figure = Figure(figsize=(7.2, 3.6), layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True)
    hours = np.arange(168) / 24.0
    upper.fill_between(hours, part["solar_w"] / 1000.0, step="post", color=LIGHT,
                       label="available PV energy")
    served = (part["essential_supplied_w"] + part["nonessential_supplied_w"]) / 1000.0
    asked = (part["essential_load_w"] + part["nonessential_load_w"]) / 1000.0
    upper.step(hours, asked, where="post", color=WARM, lw=1.0, ls="--",
               label="demand of both boards")
    upper.step(hours, served, where="post", color=DARK, lw=1.2, label="supplied")
    upper.set(ylabel="power [kW]", title="Week of the lowest state of charge,"
              f" {_day(part.index[0])} to {_day(part.index[-1])}: down to {charge.min():.0f} %")
    upper.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    lower.plot(hours, charge, color=DARK, label="state of charge")
    lower.set(ylabel="state of\ncharge [%]", xlabel="time [days]", ylim=(0.0, 102.0),
              xlim=(0.0, 7.0))
    for axis in (upper, lower):
        axis.grid(color=PALE)
    return figure


def _day(stamp: pd.Timestamp) -> str:
    return f"{stamp.day} {MONTHS[stamp.month - 1]}"


@styled
def draw_board_days(profiles_w: Mapping[str, Sequence[float]]) -> Figure:
    """What each board draws through a day."""
    figure, (axis,) = sheet(7.2, 2.3)
    styles = ((DARK, "-"), (WARM, "--"))
    for (name, profile), (color, style) in zip(profiles_w.items(), styles, strict=False):
        hours = np.linspace(0.0, 24.0, len(profile) + 1)  # the last value holds until midnight
        kilowatts = np.asarray([*profile, profile[-1]]) / 1000.0
        axis.step(hours, kilowatts, where="post", color=color, ls=style,
                  label=LOADS_OF.get(name, name))
    axis.set(xlabel="hour of the day, standard time [h]", ylabel="mean power [kW]",
             xlim=(0.0, 24.0), ylim=(0.0, None), title="Daily load profile of both boards")
    axis.set_xticks(range(0, 25, 3))
    axis.grid(color=PALE)
    axis.legend(frameon=False)
    return figure


@styled
def draw_cleaning_plan(plan: pd.DataFrame) -> Figure:
    """Energy won by washing, what the washes cost and what is left, against their number.

    `plan`: one row a number of cleanings, energy [kWh/year].
    """
    best = int(plan["net_kwh"].argmax())
    cleanings, net = plan["cleanings"].to_numpy(), plan["net_kwh"].to_numpy()
    figure, (axis,) = sheet(7.2, 2.7)
    axis.plot(cleanings, plan["won_kwh"], color=MID, marker="s", ms=4, ls="--",
              label="energy gained")
    axis.plot(cleanings, plan["cost_kwh"], color=WARM, marker="^", ms=4, ls=":", label="cost")
    axis.plot(cleanings, net, color=DARK, marker="o", ms=4, label="net gain")
    axis.plot([cleanings[best]], [net[best]], marker="D", color=WARM, ms=8, ls="none", label="best")
    axis.axhline(0.0, color=INK, lw=0.8)
    often = "Cleaning at equal intervals does not pay"
    if cleanings[best]:
        often = f"{cleanings[best]} cleanings per year pay best"
    axis.set(title=often, xlabel="cleanings per year", ylabel="energy of the array [kWh/year]")
    axis.grid(color=PALE)
    axis.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    return figure


_STEPS_H = (0.0, 0.5, 10.0, 50.0, 200.0, 1000.0, 9000.0)


@styled
def draw_sizes(
    table: pd.DataFrame, front: pd.DataFrame, own: pd.Series, *, currency: str
) -> Figure:
    """Hours without supply of the essential board by array and bank, and the cost of fewer.

    `table`: one row a pair of array [kWp] and bank [kWh]; `front` and `own` have its columns.
    """
    figure, axes = sheet(7.2, 3.2, 2)
    grid = table.pivot(index="bank_kwh", columns="array_kwp", values="essential_without_supply_h")
    picture = axes[0].pcolormesh(grid.columns, grid.index, grid.to_numpy(), cmap="cividis_r",
                                 norm=BoundaryNorm(_STEPS_H, 256), shading="nearest")
    bar = figure.colorbar(picture, ax=axes[0], label="essential loads without supply [h/year]")
    bar.set_ticks(list(_STEPS_H), labels=["0", "", "10", "50", "200", "1000", "all"])
    axes[0].plot(front["array_kwp"], front["bank_kwh"], color=INK, lw=0.0, marker="o", ms=3.5,
                 mfc="white", label="trade-off curve")
    axes[0].plot([own["array_kwp"]], [own["bank_kwh"]], color=WARM, marker="D", ms=7, ls="none",
                 mec="white", label="this site")
    axes[0].set(xlabel="array [kWp]", ylabel="battery, rated [kWh]", title=_finding(table))
    axes[0].legend(loc="upper right", fontsize=7, framealpha=0.9)
    near = table[table["cost"] <= 3.0 * float(front["cost"].max())]
    hours = "essential_without_supply_h"
    axes[1].plot(near["cost"], near[hours], color=LIGHT, marker=".", ms=3, ls="none")
    axes[1].plot(front["cost"], front[hours], color=DARK, marker="o", ms=4)
    axes[1].plot([own["cost"]], [own[hours]], color=WARM, marker="D", ms=7, ls="none")
    axes[1].set_yscale("symlog", linthresh=10.0)
    axes[1].set(xlabel=f"cost [{currency}]", ylabel="essential loads without supply [h/year]",
                title="Cost of fewer hours without supply", ylim=(-0.5, 9000.0))
    axes[1].set_yticks([0.0, 10.0, 100.0, 1000.0, 8760.0], ["0", "10", "100", "1000", "8760"])
    axes[1].grid(color=PALE)
    return figure


def _finding(table: pd.DataFrame) -> str:
    share = float(np.mean(table["essential_without_supply_h"] == 0.0))
    return f"{in_percent(share, 0)} % of combinations: all essential loads supplied"
