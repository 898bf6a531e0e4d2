"""Pictures of panels: each draws a design that is tried, with the baseline as a ghost behind it.

Each asks for no more stages of the design than it shows, so that it stands within the time that an
eye takes for at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pandas as pd

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.quantity import figure, grouped
from solarcalc.design import Design
from solarcalc.earthing.checks import shown_ohm
from solarcalc.energy.diode import (
    STC,
    Conditions,
    isc_expected_a,
    power_at_voltage_w,
    voc_expected_v,
)
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM
from solarcalc.panels.charts import GHOST, WIDTH, Chart, bar_list, framed
from solarcalc.quote.offer import group_prices
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.roof import Roof
from solarcalc.stages.array import own_places
from solarcalc.supply.energy import energy_w

Picture = Callable[[Design, Design], str]
"""From the design that is tried and the baseline to an SVG text."""


def monthly_kwh(hours_w: pd.Series) -> list[float]:
    """Sums of twelve months of an hourly power [kWh]."""
    months = pd.DatetimeIndex(hours_w.index).month.to_numpy()
    sums = np.bincount(months, weights=hours_w.to_numpy(dtype=float), minlength=13)
    return [float(value) / 1000.0 for value in sums[1:13]]


def months(tried: Design, own: Design) -> str:
    """Potential AC energy by month."""
    now, before = (monthly_kwh(one.energy.hours["ac_w"]) for one in (tried, own))
    chart = Chart(
        x=(-0.6, 11.6), y=(0.0, 1.12 * max(*now, *before)), x_names=MONTHS,
        y_words="potential AC energy [kWh]",
        title=f"{grouped(f'{sum(now):.0f}')} kWh a year of potential AC energy,"
        f" {_more(sum(now), sum(before))}",
    )  # fmt: skip
    chart.bars(now, label="tried")
    chart.bars(before, ghost=True, wide=0.84, label="baseline")
    return chart.svg()


def _more(now: float, before: float) -> str:
    """How much more than the baseline, in percent."""
    if before == 0.0 or abs(now / before - 1.0) < 0.0005:
        return "as the baseline"
    percent = 100.0 * (now / before - 1.0)
    return f"{abs(percent):.1f} % {'more' if percent > 0.0 else 'less'} than the baseline"


def losses(tried: Design, own: Design) -> str:
    """Yield left after each loss."""
    now = {step.name: step.yield_kwh_per_kwp for step in tried.energy.steps}
    before = {step.name: step.yield_kwh_per_kwp for step in own.energy.steps}
    last = tried.energy.final_yield_h
    return bar_list(
        list(now), list(now.values()), [before.get(name, 0.0) for name in now],
        title=f"Final yield {grouped(f'{last:.0f}')} kWh/kWp, performance ratio"
        f" {tried.energy.performance_ratio:.2f}, {_more(last, own.energy.final_yield_h)}",
        words="yield left after each step [kWh/kWp]; dashed: baseline",
    )  # fmt: skip


def week(tried: Design, own: Design) -> str:
    """The week of the lowest state of charge: power, and state of charge over the baseline's."""
    year, base = tried.supply, own.supply
    charge = year.state_of_charge.to_numpy()
    first = int(np.clip(24 * (int(charge.argmin()) // 24 - 3), 0, len(charge) - 168))
    span, days = slice(first, first + 168), np.arange(168) / 24.0
    sun, asked, given = (energy_w(year, name).to_numpy()[span] / 1000.0
                         for name in ("available", "demand", "supplied"))  # fmt: skip
    lowest, begins = 100.0 * charge[span].min(), year.hours.index[first]
    upper = Chart(
        x=(0.0, 7.0), y=(0.0, 1.1 * max(sun.max(), asked.max(), 0.1)), y_words="power [kW]",
        title=f"Down to {lowest:.0f} % in the week of the lowest state of charge, from"
        f" {begins.day} {MONTHS[begins.month - 1]}", height=210.0,
    )  # fmt: skip
    upper.area(days, sun, label="available PV energy")
    upper.line(days, asked, steps=True, ink=WARM, dash="5 3", label="demand")
    upper.line(days, given, steps=True, label="supplied")
    lower = Chart(x=(0.0, 7.0), y=(0.0, 104.0), x_words="time [days]", height=190.0,
                  y_words="charge [%]", title="")
    lower.line(days, 100.0 * base.state_of_charge.to_numpy()[span], ghost=True, label="baseline")
    lower.line(days, 100.0 * charge[span], label="state of charge")
    lower.level(100.0 * tried.site.battery.min_soc_frac, "minimum")
    return upper.svg() + lower.svg()


def roof(tried: Design, own: Design) -> str:
    """Plan of the roof with the modules of the design, those of the baseline behind them."""
    plane = tried.site.roof
    scale = min((WIDTH - 20.0) / plane.length_m, 330.0 / plane.depth_m)
    high = plane.depth_m * scale + 62.0

    def at(x_m: float, y_m: float) -> str:
        return (f"{WIDTH / 2.0 + x_m * scale:.1f},"
                f"{30.0 + (plane.depth_m / 2.0 - y_m) * scale:.1f}")

    def shape(corners: np.ndarray, look: str) -> str:
        points = " ".join(at(float(x), float(y)) for x, y in corners)
        return f'<polygon points="{points}" {look}/>'

    half = np.array([plane.length_m / 2.0, plane.depth_m / 2.0])
    square = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    parts = [shape(square * half, f'fill="{PALE}" stroke="{INK}"')]
    inner = half - plane.edge_setback_m
    if inner.min() > 0.0:
        parts.append(shape(square * inner, f'fill="#fff" stroke="{MID}" stroke-dasharray="3 3"'))
    for corner, size in _standing_there(plane):
        box = corner - half + size * (square + 1.0) / 2.0
        parts.append(shape(box, f'fill="{WARM}" fill-opacity="0.35" stroke="{INK}"'))
    places, before = own_places(tried), own_places(own)
    if places is not None:
        parts += [shape(one, f'fill="{LIGHT}" stroke="{DARK}"') for one in places.plan_corners_m]
    if before is not None:
        look = f'fill="none" stroke="{GHOST}" stroke-width="1.4" stroke-dasharray="5 3"'
        parts += [shape(one, look) for one in before.plan_corners_m]
    array, stands = tried.site.array, tried.array
    rule = ("" if stands.rule_m is None
            else f", {figure(round(stands.rule_m, 2))} m by the criterion")
    room = "" if places is not None else ": NO ROOM for them"
    parts.append(f'<text x="6" y="{high - 8.0:.0f}">seen from above, eaves below; dashed:'
                 " baseline</text>")
    return framed(parts, WIDTH, high,
                  f"{array.module_count} modules {array.orientation}{room}; row pitch"
                  f" {figure(round(stands.pitch_m, 2))} m{rule}")


def _standing_there(plane: Roof) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Lower left corner and size of each obstacle and walkway, from the left end of the eaves."""
    for one in plane.obstacles:
        yield np.array([one.along_m, one.up_m]), np.array([one.length_m, one.depth_m])
    for way in plane.walkways:
        along = way.runs == "along"
        yield (np.array([0.0, way.from_m] if along else [way.from_m, 0.0]),
               np.array([plane.length_m, way.width_m] if along else [way.width_m, plane.depth_m]))


def drops(tried: Design, own: Design) -> str:
    """Voltage drop of each run of cable against its limit."""
    sized = tried.electrical.sized
    before = {one.run.key: 100.0 * one.drop_frac for one in own.electrical.sized}
    worst = max(sized, key=lambda one: one.drop_frac / one.run.drop_limit_frac)
    return bar_list(
        [f"{one.run.name}, {one.size_name}" for one in sized],
        [100.0 * one.drop_frac for one in sized],
        [before.get(one.run.key, 0.0) for one in sized],
        limits=[100.0 * one.run.drop_limit_frac for one in sized], digits=2,
        title=f"Nearest to its limit: {worst.run.name}, {worst.size_name},"
        f" {100.0 * worst.drop_frac:.1f} of {100.0 * worst.run.drop_limit_frac:.1f} %",
        words="voltage drop [%]; stroke: limit; dashed: baseline",
    )  # fmt: skip


def rods(tried: Design, own: Design) -> str:
    """Resistance of the electrode against the number of rods, with the limit."""
    now, before = tried.earth, own.earth
    ohms = [ohm for _, ohm in now.by_count] + [ohm for _, ohm in before.by_count]
    top = 1.12 * max(*ohms, now.electrode.worst_ohm)
    chart = Chart(
        x=(0.5, 0.5 + max(count for count, _ in now.by_count)), y=(0.0, top),
        x_words=f"rods of {figure(now.earthing.rod_length_m)} m in a line",
        y_words="resistance [Ω]",
        title=f"{shown_ohm(now.electrode.worst_ohm)} Ω in the worst season,"
        f" at most {shown_ohm(now.asked_ohm)} Ω wanted; "
        + (f"baseline {shown_ohm(before.electrode.worst_ohm)} Ω" if now.electrode.kind == "rods"
           else f"by a {now.electrode.kind}, not by these rods"),
    )  # fmt: skip
    chart.line(*zip(*before.by_count, strict=True), ghost=True, label="baseline")
    chart.line(*zip(*now.by_count, strict=True), marks=True, label="tried")
    chart.level(now.asked_ohm, "limit")
    if now.electrode.kind == "rods":
        chart.mark(now.earthing.rod_count, now.electrode.worst_ohm, label="as tried")
    return chart.svg()


def prices(tried: Design, own: Design) -> str:
    """Price before tax by part of the system."""
    offer = tried.offer
    now, before = group_prices(offer), group_prices(own.offer)
    note = ", invented example prices" if offer.invented else ""
    last = tried.programme.finish()
    return bar_list(
        list(now), list(now.values()), [before.get(name, 0.0) for name in now],
        title=f"{grouped(f'{offer.price:.0f}')} {offer.currency} before tax,"
        f" {_more(offer.price, own.offer.price)}; handover {last.day}"
        f" {MONTHS[last.month - 1]} {last.year}, {last:%H:%M}",
        words=f"price before tax [{offer.currency}]{note}; dashed: baseline",
    )  # fmt: skip


def string_curve(module: Module, series: int, irradiance_w_per_m2: float, cell_c: float) -> str:
    """Current of a string against its voltage in some light and heat, over that of its data sheet.

    Parameters
    ----------
    module : Module
    series : int
        Modules one after another.
    irradiance_w_per_m2, cell_c : float
        On the modules [W/m2], of their cells [degC].
    """
    at = Conditions(light_w_m2=irradiance_w_per_m2, cell_c=cell_c)
    volts, amperes = _curve(module, at)
    sheet_v, sheet_a = _curve(module, STC)
    open_v, short_a = voc_expected_v(module, at, in_series=series), isc_expected_a(module, at)
    chart = Chart(
        x=(0.0, 1.2 * series * module.voc_v), y=(0.0, 1.25 * module.isc_a),
        x_words=f"voltage of a string of {series} modules [V]", y_words="current [A]",
        title=f"To be read: {open_v:.1f} V open, {short_a:.2f} A in short circuit, at"
        f" {irradiance_w_per_m2:.0f} W/m², cells at {cell_c:.0f} °C",
    )  # fmt: skip
    chart.line(series * sheet_v, sheet_a, ghost=True, label="data sheet, 1000 W/m², 25 °C")
    chart.line(series * volts, amperes, label="in this light and heat")
    chart.mark(open_v, 0.0)
    chart.mark(0.0, short_a, label="to be read")
    return chart.svg()


def _curve(module: Module, at: Conditions) -> tuple[np.ndarray, np.ndarray]:
    """Voltage [V] and current [A] of one module."""
    top = max(voc_expected_v(module, at), 1.0)
    volts = np.concatenate([np.linspace(0.01, 0.7, 15), np.linspace(0.72, 1.02, 31)]) * top
    watts = power_at_voltage_w(module, np.full(volts.shape, at.light_w_m2),
                               np.full(volts.shape, at.cell_c), volts)
    return volts, watts / volts
