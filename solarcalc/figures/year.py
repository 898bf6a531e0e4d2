"""Pictures of a year: energy against tilt and month, losses, battery, boards, washes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from solarcalc.basis.hours import MONTHS
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.harvest.energy import Harvest, lost_frac
from solarcalc.supply.run import SupplyRun


@styled
def draw_energy_by_tilt(curve: pd.DataFrame, *, tilt_deg: float) -> Figure:
    """Yield of one row alone and its dust loss against tilt."""
    best_deg = float(curve["tilt_deg"].iloc[int(curve["kwh_per_kwp"].argmax())])
    at_site = float(np.interp(tilt_deg, curve["tilt_deg"], curve["kwh_per_kwp"]))
    figure, axes = sheet(7.2, 2.8, 2)
    axes[0].plot(curve["tilt_deg"], curve["kwh_per_kwp"], color=DARK, marker="o", ms=4)
    axes[0].plot([tilt_deg], [at_site], marker="D", color=WARM, ms=7, ls="none",
                 label=f"this site, {tilt_deg:g}°")
    axes[0].set(title=f"Most energy near {best_deg:.0f}°", xlabel="tilt [deg]",
                ylabel="array yield [kWh/kWp a year]")
    axes[0].legend(frameon=False)
    axes[1].plot(curve["tilt_deg"], 100.0 * curve["dust_loss_frac"], color=MID, marker="s", ms=4)
    axes[1].set(title="Flatter modules keep more dust", xlabel="tilt [deg]",
                ylabel="light lost to dust, mean [%]", ylim=(0.0, None))
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
    axes[0].set(title=f"{MONTHS[best]} gives most, {MONTHS[worst]} least",
                ylabel="usable energy [kWh]")
    axes[1].plot(MONTHS, table["performance_ratio"], color=DARK, marker="o", ms=4)
    axes[1].set(title=f"Performance ratio {harvest.performance_ratio:.2f} over the year",
                ylabel="performance ratio [-]", ylim=(0.0, 1.0))
    for axis in axes:
        axis.tick_params(axis="x", rotation=60)
        axis.grid(axis="y", color=PALE)
        axis.set_axisbelow(True)
    return figure


@styled
def draw_loss_steps(harvest: Harvest) -> Figure:
    """What is left after each loss, from the light on the plane to the usable energy."""
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
        axis.text(left[0] * 1.01, place, f"{left[place]:,.0f}{share}", va="center", fontsize=8)
    axis.set_yticks(places, [step.name for step in steps])
    axis.invert_yaxis()
    axis.set(xlim=(0.0, left[0] * 1.22), xlabel="yield [kWh/kWp a year]; hatched: lost in the step",
             title=f"Of {left[0]:,.0f} hours of full sun, {left[-1]:,.0f} come out usable")
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
    axis.set(title=f"The bank runs between {charge.min():.0f} % and {charge.max():.0f} %",
             ylabel="hour of the day [h]")
    axis.spines[["top", "right"]].set_visible(True)
    return figure


@styled
def draw_charge_band(year: SupplyRun, *, marks: Mapping[str, float]) -> Figure:
    """State of charge month by month: lowest to highest, middle half, median."""
    month = pd.DatetimeIndex(year.hours.index).month
    by_month = (100.0 * year.state_of_charge).groupby(month)
    quantiles = {share: by_month.quantile(share) for share in (0.0, 0.25, 0.5, 0.75, 1.0)}
    worst = int(by_month.mean().argmin())
    figure, (axis,) = sheet(7.2, 2.7)
    places = np.arange(12)
    axis.fill_between(places, quantiles[0.0], quantiles[1.0], color=PALE, label="lowest to highest")
    axis.fill_between(places, quantiles[0.25], quantiles[0.75], color=LIGHT, label="middle half")
    axis.plot(places, quantiles[0.5], color=DARK, marker="o", ms=4, label="median")
    for (name, level), style in zip(marks.items(), ("-", "--", ":"), strict=False):
        axis.axhline(100.0 * level, color=WARM, lw=1.0, ls=style, label=name)
    axis.set_xticks(places, MONTHS)
    axis.set(ylim=(0.0, 102.0), ylabel="state of charge [%]",
             title=f"{MONTHS[worst]} asks most of the bank")
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
                       label="sun offered")
    served = (part["critical_served_w"] + part["heavy_served_w"]) / 1000.0
    asked = (part["critical_load_w"] + part["heavy_load_w"]) / 1000.0
    upper.step(hours, asked, where="post", color=WARM, lw=1.0, ls="--",
               label="asked by both boards")
    upper.step(hours, served, where="post", color=DARK, lw=1.2, label="served")
    upper.set(ylabel="power [kW]", title=f"The hardest week, {_day(part.index[0])} to "
              f"{_day(part.index[-1])}: down to {charge.min():.0f} %")
    upper.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    lower.plot(hours, charge, color=DARK, label="state of charge")
    lower.set(ylabel="charge [%]", xlabel="time [days]", ylim=(0.0, 102.0), xlim=(0.0, 7.0))
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
        hours = np.arange(len(profile)) * 24.0 / len(profile)
        axis.step(hours, np.asarray(profile) / 1000.0, where="post", color=color, ls=style,
                  label=f"{name} board")
    axis.set(xlabel="hour of the day, standard time [h]", ylabel="mean power [kW]",
             xlim=(0.0, 24.0), ylim=(0.0, None), title="What the two boards ask for each day")
    axis.set_xticks(range(0, 25, 3))
    axis.grid(color=PALE)
    axis.legend(frameon=False)
    return figure


@styled
def draw_cleaning_plan(plan: pd.DataFrame) -> Figure:
    """Energy won by washing, what the washes cost and what is left, against their number."""
    best = int(plan["net_kwh"].argmax())
    washes, net = plan["washes"].to_numpy(), plan["net_kwh"].to_numpy()
    figure, (axis,) = sheet(7.2, 2.7)
    axis.plot(washes, plan["won_kwh"], color=MID, marker="s", ms=4, ls="--", label="energy won")
    axis.plot(washes, plan["cost_kwh"], color=WARM, marker="^", ms=4, ls=":", label="their cost")
    axis.plot(washes, net, color=DARK, marker="o", ms=4, label="net")
    axis.plot([washes[best]], [net[best]], marker="D", color=WARM, ms=8, ls="none", label="best")
    axis.axhline(0.0, color=INK, lw=0.8)
    often = f"{washes[best]} washes a year pay best" if washes[best] else "No washing pays"
    axis.set(title=often, xlabel="washes in a year", ylabel="energy of the array [kWh/year]")
    axis.grid(color=PALE)
    axis.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False)
    return figure
