"""Pictures of the lessons: one thing moves, one limit stands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from solarcalc.basis.hours import DAYS_IN_YEAR, HOURS_IN_DAY
from solarcalc.basis.quantity import grouped, three_figures
from solarcalc.battery.ageing import LifeCurve, calendar_damage_per_year_frac, cycles_to_end
from solarcalc.earthing.electrode import rods_ohm
from solarcalc.energy.diode import diode_curve, open_circuit_v, power_at_voltage_w
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM, sheet, styled
from solarcalc.protection.neutral import most_electrode_ohm
from solarcalc.sitefile.array import Module
from solarcalc.supply.run import simulate
from solarcalc.supply.system import System
from solarcalc.wiring.capacity import capacity, ratings_a, volts_dropped
from solarcalc.wiring.conductors import hot_ohm_per_km, resistances, working_c
from solarcalc.wiring.runs import Run
from solarcalc.wiring.string_plan import StringCase, StringFuses, string_row

POINTS = 120


@styled
def draw_module_curve(module: Module, light_w_m2: float, cell_c: float) -> Figure:
    """Current and power of a module against its voltage, with those of the sheet behind it.

    Parameters
    ----------
    module : Module
    light_w_m2 : float
        [W/m2].
    cell_c : float
        [degC].
    """
    figure, (axes,) = sheet(6.4, 3.4)
    power = axes.twinx()
    for light, cell, ink, width in ((1000.0, 25.0, LIGHT, 1.2), (light_w_m2, cell_c, DARK, 1.8)):
        top_v = open_circuit_v(module, light_w_m2=light, cell_c=cell)
        volts = np.linspace(0.02 * top_v, top_v, POINTS)
        watts = power_at_voltage_w(module, np.full(POINTS, light), np.full(POINTS, cell), volts)
        axes.plot(volts, watts / volts, color=ink, linewidth=width)
        power.plot(volts, watts, color=ink, linewidth=width, linestyle="--")
    best = diode_curve(module, pd.Series([light_w_m2]), pd.Series([cell_c])).iloc[0]
    power.plot([best["v_v"]], [best["p_w"]], "o", color=WARM)
    axes.set_title(f"{three_figures(best['p_w'])} W of the sheet's {three_figures(module.pmax_w)} W"
                   f" in {light_w_m2:.0f} W/m², cells at {cell_c:.0f} °C")  # fmt: skip
    axes.set_xlabel("Voltage [V]")
    axes.set_ylabel("Current (solid) [A]")
    power.set_ylabel("Power (dashed) [W]")
    axes.set_xlim(0.0, 1.15 * module.voc_v)
    axes.set_ylim(0.0, 1.25 * module.isc_a)
    power.set_ylim(0.0, 1.25 * module.pmax_w)
    return figure


@styled
def draw_cold_string(case: StringCase, series: int) -> Figure:
    """Voltages of a string from the hottest roof to the coldest morning, between the limits.

    Parameters
    ----------
    case : StringCase
    series : int
        Modules in series.
    """
    figure, (axes,) = sheet(6.4, 3.0)
    row, limits = string_row(case, series, 1), case.controller
    bars = (("sheet, open circuit", series * case.module.voc_v, LIGHT),
            (f"{grouped(f'{case.coldest_c:.0f}')} °C, open circuit", row.cold_voc_v, DARK),
            (f"{case.hottest_cell_c:.0f} °C, full power", row.hot_working_v, MID))  # fmt: skip
    for place, (_, volts, ink) in enumerate(bars):
        axes.barh(place, volts, color=ink, height=0.6)
        axes.text(volts, place, f" {volts:.0f} V", va="center")
    for volts, words, side in ((limits.max_pv_voltage_v, "highest", "right"),
                               (limits.min_tracking_voltage_v, "MPP range from", "left")):
        axes.axvline(volts, color=WARM, linestyle="--")
        axes.text(volts, -0.7, f" {words} {volts:.0f} V ", color=INK, ha=side, fontsize=8.0)
    above = row.cold_voc_v > limits.max_pv_voltage_v
    below = row.hot_working_v < limits.min_tracking_voltage_v
    said = ("too high in the cold: the controller fails" if above else
            "too low in the heat: the controller stops" if below else "within both limits")
    axes.set_title(f"{series} modules in series: {said}")
    axes.set_xlabel("String voltage [V]")
    axes.set_yticks(range(len(bars)), [label for label, _, _ in bars])
    axes.set_ylim(2.6, -1.0)
    axes.set_xlim(0.0, 1.12 * max(limits.max_pv_voltage_v, row.cold_voc_v))
    return figure


@styled
def draw_cable_drop(run: Run, current_a: float, length_m: float, size_mm2: float) -> Figure:
    """Voltage along a cable of two loaded conductors, and how hot its copper gets.

    Parameters
    ----------
    run : Run
        As it lies; its drop limit is the line that must not be passed.
    current_a : float
        [A].
    length_m : float
        One way [m].
    size_mm2 : float
        [mm2].
    """
    figure, (axes,) = sheet(6.4, 3.2)
    holds = capacity(run, size_mm2)
    conductor_c = working_c(run.ambient_c, holds.hottest_c, current_a / holds.capacity_a)
    cold = resistances("copper_class_2_plain")[size_mm2]
    drop_v = volts_dropped(current_a, length_m,
                           r_ohm_per_km=hot_ohm_per_km(cold, conductor_c, "copper"))  # fmt: skip
    least_v = run.voltage_v * (1.0 - run.drop_limit_frac)
    low, hot = run.voltage_v - drop_v < least_v, conductor_c > holds.hottest_c
    axes.plot([0.0, length_m], [run.voltage_v, run.voltage_v - drop_v],
              color=WARM if low or hot else DARK, linewidth=2.5)
    axes.axhline(least_v, color=WARM, linestyle="--")
    axes.text(0.0, least_v, f" at least {least_v:.0f} V", va="bottom", fontsize=8.0)
    said = ("too hot: its insulation ages and burns" if hot else
            "too few volts at the end" if low else "volts and heat are within limits")
    axes.set_title(f"{drop_v:.1f} V lost, copper at {conductor_c:.0f} °C: {said}")
    axes.set_xlabel("Distance from the board [m]")
    axes.set_ylabel("Voltage [V]")
    axes.set_xlim(0.0, 160.0)
    axes.set_ylim(min(0.85 * run.voltage_v, run.voltage_v - 1.1 * drop_v), 1.01 * run.voltage_v)
    return figure


@styled
def draw_battery_life(curve: LifeCurve, depth_frac: float, room_c: float) -> Figure:
    """Years of a battery by its daily depth: by cycles, by time in that heat, and both together.

    Parameters
    ----------
    curve : LifeCurve
    depth_frac : float
        Of each day's discharge, [0 to 1].
    room_c : float
        [degC].
    """
    figure, (axes,) = sheet(6.4, 3.2)
    by_time = calendar_damage_per_year_frac(room_c, curve)
    depth = np.linspace(0.1, 0.9, POINTS)
    by_cycles = DAYS_IN_YEAR / cycles_to_end(depth, curve)
    here = DAYS_IN_YEAR / float(cycles_to_end(depth_frac, curve))
    percent = 100.0 * depth
    axes.plot(percent, 1.0 / by_cycles, color=MID, linestyle="--", label="by cycles alone")
    axes.axhline(1.0 / by_time, color=LIGHT, linewidth=2.0, label="calendar life in that room")
    axes.plot(percent, 1.0 / (by_cycles + by_time), color=DARK, linewidth=2.2, label="both")
    years = 1.0 / (here + by_time)
    axes.plot([100.0 * depth_frac], [years], "o", color=WARM)
    axes.set_title(f"{years:.1f} years with {100.0 * depth_frac:.0f} % taken each night,"
                   f" in a room of {room_c:.0f} °C")  # fmt: skip
    axes.set_xlabel("Depth of discharge each night [%]")
    axes.set_ylabel("Life [years]")
    axes.set_ylim(0.0, 1.6 * curve.calendar_years)
    axes.legend(frameon=False, fontsize=8.0)
    return figure


def _low_week(day_wh: float, from_h: int, to_h: int, shares: list[float]) -> np.ndarray:
    """Hours of as many days as there are shares, each with its share of a day's energy [W]."""
    hour = np.arange(HOURS_IN_DAY) + 0.5
    shape = np.where((hour > from_h) & (hour < to_h),
                     np.sin(np.pi * (hour - from_h) / (to_h - from_h)), 0.0)  # fmt: skip
    return np.concatenate([day_wh * share * shape / shape.sum() for share in shares])


@styled
def draw_low_week(
    system: System, *, essential_wh: float, nonessential_wh: float, usual_sun_wh: float,
    low_frac: float,
) -> Figure:
    """Charge of the battery through seven days with little sun, usual ones around them.

    Parameters
    ----------
    system : System
    essential_wh, nonessential_wh : float
        Demand of each board in a day [Wh].
    usual_sun_wh : float
        Of a usual day, at the battery [Wh].
    low_frac : float
        Of that in the low-irradiance week, [0 to 1].
    """
    shares = [1.0] * 3 + [low_frac] * 7 + [1.0] * 4
    index = pd.date_range("2001-06-01", periods=HOURS_IN_DAY * len(shares), freq="h", tz="UTC")
    even = np.full(len(index), 1.0 / HOURS_IN_DAY)
    sun = pd.Series(_low_week(usual_sun_wh, 6, 18, shares), index=index)
    loads = pd.DataFrame({
        "essential": 0.5 * essential_wh * even + _low_week(0.5 * essential_wh, 17, 23,
                                                           [1.0] * len(shares)),
        "nonessential": _low_week(nonessential_wh, 16, 22, [1.0] * len(shares)),
    }, index=index)  # fmt: skip
    ones = np.ones(len(index))
    banks = tuple(replace(bank, capacity_factor=ones, charge_factor=ones) for bank in system.banks)
    year = simulate(sun, loads, replace(system, banks=banks))
    figure, (axes,) = sheet(6.4, 3.2)
    days = np.arange(len(index)) / HOURS_IN_DAY - 2.0
    axes.plot(days, 100.0 * year.state_of_charge.to_numpy(), color=DARK, linewidth=1.8)
    axes.axvspan(1.0, 8.0, color=PALE)
    for level, words in ((system.shedding.off_frac, "nonessential board is shed"),
                         (system.banks[0].min_soc_frac, "reserve")):
        axes.axhline(100.0 * level, color=WARM, linestyle="--")
        axes.text(12.0, 100.0 * level, f"{words} ", ha="right", va="bottom", fontsize=8.0)
    out = {board: year.hours_without_supply(board) for board in ("essential", "nonessential")}
    axes.set_title(f"Without supply: essential board {out['essential']} h,"
                   f" nonessential board {out['nonessential']} h")  # fmt: skip
    axes.set_xlabel("Day (grey: the low-irradiance week)")
    axes.set_ylabel("State of charge [%]")
    axes.set_ylim(0.0, 105.0)
    return figure


@styled
def draw_string_fuse(fuses: StringFuses) -> Figure:
    """What flows back into a shorted string, what its modules bear, and the window of its fuse.

    Parameters
    ----------
    fuses : StringFuses
        Of the strings in one box.
    """
    figure, (axes,) = sheet(6.4, 2.8)
    back_a, bears_a = fuses.backfeed_a, fuses.max_fuse_a
    axes.barh(1.0, back_a, color=WARM if fuses.needed else MID, height=0.5)
    axes.text(back_a, 1.0, f" {back_a:.0f} A", va="center")
    axes.barh(0.0, fuses.most_a - fuses.least_a, left=fuses.least_a, color=LIGHT, height=0.5)
    for rating in (each for each in ratings_a("dc-fuse") if each <= 40.0):
        chosen = rating == fuses.rated_a
        axes.plot([rating], [0.0], "o", color=DARK if chosen else INK,
                  markersize=9.0 if chosen else 3.0)
    axes.axvline(bears_a, color=WARM, linestyle="--")
    axes.text(bears_a, 1.75, f" the module bears {bears_a:.0f} A", fontsize=8.0)
    said = ("no fuse is needed" if not fuses.needed else
            f"fuses of {fuses.rated_a:.0f} A" if fuses.rated_a else "no fuse made fits")
    strings = "1 string" if fuses.strings == 1 else f"{fuses.strings} strings"
    axes.set_title(f"{strings}: {back_a:.0f} A can flow back, {said}")
    axes.set_yticks([1.0, 0.0], ["flows back", "window of the fuse"])
    axes.set_xlabel("Current [A]")
    axes.set_xlim(0.0, max(45.0, 1.15 * back_a))
    axes.set_ylim(-0.6, 2.1)
    return figure


@styled
def draw_earth_rods(
    rod: dict[str, float], count: int, residual_ma: float, touch_v: float
) -> Figure:
    """Resistance of rods in line, a rod's length apart, under what a residual device allows.

    Parameters
    ----------
    rod : dict
        ``resistivity_ohm_m``, ``length_m`` and ``diameter_m`` of each [ohm m], [m].
    count : int
        Rods that are driven.
    residual_ma : float
        Rated residual current of the device [mA].
    touch_v : float
        Limit of the touch voltage [V].
    """
    figure, (axes,) = sheet(6.4, 3.0)
    numbers = range(1, 11)
    ohm = [rods_ohm(**rod, count=each, spacing_m=rod["length_m"]) for each in numbers]
    here, most = ohm[count - 1], most_electrode_ohm(residual_ma, touch_v)
    axes.bar(numbers, ohm, color=[DARK if each == count else LIGHT for each in numbers])
    axes.axhline(most, color=WARM, linestyle="--")
    axes.text(10.4, most, f"at most {most:.0f} Ω ", ha="right", va="bottom", fontsize=8.0)
    rods = "1 rod" if count == 1 else f"{count} rods"
    said = "low enough" if here <= most else "too high"
    axes.set_title(f"{rods} of {rod['length_m']:g} m in {rod['resistivity_ohm_m']:.0f} Ω·m:"
                   f" {here:.0f} Ω, {said} for {residual_ma:.0f} mA")  # fmt: skip
    axes.set_xlabel("Rods in line")
    axes.set_ylabel("Resistance to earth [Ω]")
    axes.set_ylim(0.0, 1.15 * max(ohm[0], min(most, 2.0 * ohm[0])))
    return figure
