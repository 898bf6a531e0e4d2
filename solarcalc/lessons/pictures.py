"""Pictures that move in the lessons: one thing moves, one limit stands, the title tells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from solarcalc.basis.hours import DAYS_IN_YEAR, HOURS_IN_DAY
from solarcalc.basis.quantity import grouped, three_figures
from solarcalc.battery.ageing import LifeCurve, calendar_damage_per_year_frac, cycles_to_end
from solarcalc.earthing.electrode import rods_ohm
from solarcalc.energy.diode import diode_curve, open_circuit_v, power_at_voltage_w
from solarcalc.figures.style import DARK, INK, LIGHT, MID, PALE, WARM
from solarcalc.panels.charts import Chart
from solarcalc.powerroom.air import AIMED_FRAC, BURNS_FROM_FRAC, share_after_frac
from solarcalc.protection.neutral import most_electrode_ohm
from solarcalc.sitefile.array import Module
from solarcalc.supply.run import simulate
from solarcalc.supply.system import System
from solarcalc.wiring.capacity import capacity, ratings_a, volts_dropped
from solarcalc.wiring.conductors import hot_ohm_per_km, resistances, working_c
from solarcalc.wiring.runs import Run
from solarcalc.wiring.string_plan import StringCase, StringFuses, string_row

POINTS = 120
SHOWN_H = 24.0
"""Hours of charge that the picture of the gas shows."""


def module_curve(module: Module, light_w_m2: float, cell_c: float) -> str:
    """Current and power of a module against its voltage, with those of the sheet behind it.

    Parameters
    ----------
    module : Module
    light_w_m2 : float
        [W/m2].
    cell_c : float
        [degC].
    """
    best = diode_curve(module, pd.Series([light_w_m2]), pd.Series([cell_c])).iloc[0]
    most_a, most_w = 1.25 * module.isc_a, 1.25 * module.pmax_w
    per_w = most_a / most_w
    chart = Chart(
        x=(0.0, 1.15 * module.voc_v), y=(0.0, most_a), right=(0.0, most_w),
        x_words="Voltage [V]", y_ticks=7, y_words="Current (solid) [A]",
        right_words="Power (dashed) [W]",
        title=f"{three_figures(best['p_w'])} W of the sheet's {three_figures(module.pmax_w)} W"
        f" in {light_w_m2:.0f} W/m², cells at {cell_c:.0f} °C",
    )
    for light, cell, ink in ((1000.0, 25.0, LIGHT), (light_w_m2, cell_c, DARK)):
        top_v = open_circuit_v(module, light_w_m2=light, cell_c=cell)
        volts = np.linspace(0.02 * top_v, top_v, POINTS)
        watts = power_at_voltage_w(module, np.full(POINTS, light), np.full(POINTS, cell), volts)
        chart.line(volts, watts / volts, ink=ink)
        chart.line(volts, per_w * watts, ink=ink, dash="6 4")
    chart.mark(best["v_v"], per_w * best["p_w"], shape="dot")
    return chart.svg()


def cold_string(case: StringCase, series: int) -> str:
    """Voltages of a string from the hottest roof to the coldest morning, between the limits.

    Parameters
    ----------
    case : StringCase
    series : int
        Modules in series.
    """
    row, limits = string_row(case, series, 1), case.controller
    bars = (("sheet, open circuit", series * case.module.voc_v, LIGHT),
            (f"{grouped(f'{case.coldest_c:.0f}')} °C, open circuit", row.cold_voc_v, DARK),
            (f"{case.hottest_cell_c:.0f} °C, full power", row.hot_working_v, MID))  # fmt: skip
    above = row.cold_voc_v > limits.max_pv_voltage_v
    below = row.hot_working_v < limits.min_tracking_voltage_v
    said = ("too high in the cold: the controller fails" if above else
            "too low in the heat: the controller stops" if below else "within both limits")
    most_v = 1.15 * max(limits.max_pv_voltage_v, row.cold_voc_v)
    chart = Chart(
        x=(0.0, most_v), y=(-2.6, 1.2),
        y_names={-float(place): name for place, (name, _, _) in enumerate(bars)},
        x_words="String voltage [V]", title=f"{series} modules in series: {said}", height=270.0,
    )
    for place, (_, volts, ink) in enumerate(bars):
        chart.lying(-place, 0.0, volts, ink=ink)
    chart.post(limits.max_pv_voltage_v, f"highest {limits.max_pv_voltage_v:.0f} V",
               before=limits.max_pv_voltage_v > 0.5 * most_v)
    chart.post(limits.min_tracking_voltage_v, row=1,
               words=f"MPP range from {limits.min_tracking_voltage_v:.0f} V")
    for place, (_, volts, _) in enumerate(bars):
        chart.note(volts, -place, f"{volts:.0f} V")
    return chart.svg()


def cable_drop(run: Run, current_a: float, length_m: float, size_mm2: float) -> str:
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
    holds = capacity(run, size_mm2)
    conductor_c = working_c(run.ambient_c, holds.hottest_c, current_a / holds.capacity_a)
    cold = resistances("copper_class_2_plain")[size_mm2]
    drop_v = volts_dropped(current_a, length_m,
                           r_ohm_per_km=hot_ohm_per_km(cold, conductor_c, "copper"))  # fmt: skip
    least_v = run.voltage_v * (1.0 - run.drop_limit_frac)
    low, hot = run.voltage_v - drop_v < least_v, conductor_c > holds.hottest_c
    said = ("too hot: its insulation ages and burns" if hot else
            "too few volts at the end" if low else "volts and heat are within limits")
    chart = Chart(
        x=(0.0, 160.0), x_words="Distance from the board [m]", y_ticks=7, y_words="Voltage [V]",
        y=(min(0.85 * run.voltage_v, run.voltage_v - 1.1 * drop_v), 1.01 * run.voltage_v),
        title=f"{drop_v:.1f} V lost, copper at {conductor_c:.0f} °C: {said}",
    )
    chart.level(least_v, f"at least {least_v:.0f} V")
    chart.line([0.0, length_m], [run.voltage_v, run.voltage_v - drop_v],
               ink=WARM if low or hot else DARK)  # fmt: skip
    return chart.svg()


def battery_life(curve: LifeCurve, depth_frac: float, room_c: float) -> str:
    """Years of a battery by its daily depth: by cycles, by time in that heat, and both together.

    Parameters
    ----------
    curve : LifeCurve
    depth_frac : float
        Of each day's discharge, [0 to 1].
    room_c : float
        [degC].
    """
    by_time = calendar_damage_per_year_frac(room_c, curve)
    depth = np.linspace(0.1, 0.9, POINTS)
    by_cycles = DAYS_IN_YEAR / cycles_to_end(depth, curve)
    here = DAYS_IN_YEAR / float(cycles_to_end(depth_frac, curve))
    years, most = 1.0 / (here + by_time), 1.6 * curve.calendar_years
    chart = Chart(
        x=(5.0, 95.0), y=(0.0, most), x_words="Depth of discharge each night [%]",
        y_ticks=7, y_words="Life [years]",
        title=f"{years:.1f} years with {100.0 * depth_frac:.0f} % taken each night,"
        f" in a room of {room_c:.0f} °C",
    )  # fmt: skip
    seen = 1.0 / by_cycles <= most
    chart.line(100.0 * depth[seen], 1.0 / by_cycles[seen], ink=MID, dash="6 4",
               label="by cycles alone")
    if 1.0 / by_time <= most:
        chart.line([5.0, 95.0], [1.0 / by_time] * 2, ink=LIGHT, label="calendar life in that room")
    both = 1.0 / (by_cycles + by_time)
    chart.line(100.0 * depth[both <= most], both[both <= most], label="both")
    chart.mark(100.0 * depth_frac, years, shape="dot")
    return chart.svg()


def _low_week(day_wh: float, from_h: int, to_h: int, shares: list[float]) -> np.ndarray:
    """Hours of as many days as there are shares, each with its share of a day's energy [W]."""
    hour = np.arange(HOURS_IN_DAY) + 0.5
    shape = np.where((hour > from_h) & (hour < to_h),
                     np.sin(np.pi * (hour - from_h) / (to_h - from_h)), 0.0)  # fmt: skip
    return np.concatenate([day_wh * share * shape / shape.sum() for share in shares])


def low_week(
    system: System, *, essential_wh: float, nonessential_wh: float, usual_sun_wh: float,
    low_frac: float,
) -> str:  # fmt: skip
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
    out = {board: year.hours_without_supply(board) for board in ("essential", "nonessential")}
    days = np.arange(len(index)) / HOURS_IN_DAY - 2.0
    chart = Chart(
        x=(-2.0, 12.0), y=(0.0, 105.0), x_words="Day (grey: the low-irradiance week)",
        y_ticks=7, y_words="State of charge [%]", x_ticks=range(-2, 13, 2),
        title=f"Without supply: essential board {out['essential']} h,"
        f" nonessential board {out['nonessential']} h",
    )  # fmt: skip
    chart.band(1.0, 8.0)
    chart.line(days, 100.0 * year.state_of_charge.to_numpy())
    chart.level(100.0 * system.banks[0].min_soc_frac, "reserve")
    chart.level(100.0 * system.shedding.off_frac, "nonessential board is shed")
    return chart.svg()


def string_fuse(fuses: StringFuses) -> str:
    """What flows back into a shorted string, what its modules bear, and the window of its fuse.

    Parameters
    ----------
    fuses : StringFuses
        Of the strings in one box.
    """
    back_a, bears_a = fuses.backfeed_a, fuses.max_fuse_a
    said = ("no fuse is needed" if not fuses.needed else
            f"fuses of {fuses.rated_a:.0f} A" if fuses.rated_a else "no fuse made fits")
    strings = "1 string" if fuses.strings == 1 else f"{fuses.strings} strings"
    chart = Chart(
        x=(0.0, max(45.0, 1.15 * back_a)), y=(-0.6, 2.0),
        y_names={1.0: "flows back", 0.0: "window of the fuse"}, x_words="Current [A]",
        title=f"{strings}: {back_a:.0f} A can flow back, {said}", height=250.0,
    )
    chart.lying(1.0, 0.0, back_a, ink=WARM if fuses.needed else MID, wide=0.5)
    chart.lying(0.0, fuses.least_a, max(fuses.most_a, fuses.least_a), ink=LIGHT, wide=0.5)
    chart.post(bears_a, f"the module bears {bears_a:.0f} A")
    for rating in (each for each in ratings_a("dc-fuse") if each <= 40.0):
        chosen = rating == fuses.rated_a
        chart.mark(rating, 0.0, ink=DARK if chosen else INK, shape="dot" if chosen else "speck")
    chart.note(back_a, 1.0, f"{back_a:.0f} A")
    return chart.svg()


def earth_rods(rod: dict[str, float], count: int, residual_ma: float, touch_v: float) -> str:
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
    numbers = range(1, 11)
    ohm = [rods_ohm(**rod, count=each, spacing_m=rod["length_m"]) for each in numbers]
    here, most = ohm[count - 1], most_electrode_ohm(residual_ma, touch_v)
    rods = "1 rod" if count == 1 else f"{count} rods"
    said = "low enough" if here <= most else "too high"
    top = 1.15 * max(ohm[0], min(most, 2.0 * ohm[0]))
    chart = Chart(
        x=(-0.6, 9.6), y=(0.0, top), x_names=[f"{each}" for each in numbers],
        x_words="Rods in line", y_ticks=7, y_words="Resistance to earth [Ω]",
        title=f"{rods} of {rod['length_m']:g} m in {rod['resistivity_ohm_m']:.0f} Ω·m:"
        f" {here:.0f} Ω, {said} for {residual_ma:.0f} mA",
    )
    chart.bars(ohm, ink=LIGHT)
    chart.bars([here if each == count else 0.0 for each in numbers], ink=DARK)
    if most <= top:
        chart.level(most, f"at most {most:.0f} Ω")
    else:
        chart.note(5.5, 0.94 * top, f"at most {most:.0f} Ω, above the picture")
    return chart.svg()


def gas_in_room(made_m3_per_h: float, opening_cm2: float, flow_m3_per_h: float,
                volume_m3: float) -> str:  # fmt: skip
    """Hydrogen in a room over a day of charge, beside the share from which it burns.

    Parameters
    ----------
    made_m3_per_h : float
        Hydrogen [m3/h].
    opening_cm2 : float
        Free, low and high each [cm2].
    flow_m3_per_h : float
        Air through it [m3/h].
    volume_m3 : float
        Free volume of the room [m3].
    """
    hours = np.linspace(0.0, SHOWN_H, 97)
    percent = [100.0 * share_after_frac(made_m3_per_h, flow_m3_per_h, volume_m3, float(hour))
               for hour in hours]  # fmt: skip
    said = ("it can burn" if percent[-1] >= 100.0 * float(BURNS_FROM_FRAC) else
            "too much" if percent[-1] >= 100.0 * float(AIMED_FRAC) else "thin enough")
    chart = Chart(
        x=(0.0, SHOWN_H), y=(0.0, max(5.0, 1.1 * percent[-1])), x_ticks=range(0, 25, 3),
        x_words="Hours of charge [h]", y_ticks=7, y_words="Hydrogen in the air [%]",
        title=f"{opening_cm2:.0f} cm² low and high: {percent[-1]:.1f} % hydrogen after a day,"
        f" {said}",
    )  # fmt: skip
    chart.line(hours, percent)
    for share, words in ((float(BURNS_FROM_FRAC), "burns from"),
                         (float(AIMED_FRAC), "aimed at: below")):
        chart.level(100.0 * share, f"{words} {100.0 * share:.0f} %")
    return chart.svg()


@dataclass(frozen=True, kw_only=True)
class Bar:
    """A task on the days of a programme.

    Parameters
    ----------
    name : str
    first_day : int
        1 for the first.
    days : int
        So many, one after another.
    decides : bool
        Whether the end slips when it slips.
    """

    name: str
    first_day: int
    days: int
    decides: bool = False


def task_bars(bars: Sequence[Bar], title: str) -> str:
    """Tasks as bars over the days, those that decide the end in the dark ink.

    Parameters
    ----------
    bars : sequence of Bar
    title : str
    """
    last = max(bar.first_day + bar.days - 1 for bar in bars)
    chart = Chart(
        x=(0.5, last + 0.5), y=(0.4 - len(bars), 0.6), x_words="Working day", title=title,
        y_names={-float(place): bar.name for place, bar in enumerate(bars)},
        x_ticks=range(1, last + 1, 1 if last <= 24 else 5), height=100.0 + 26.0 * len(bars),
    )  # fmt: skip
    for day in range(1, last):
        chart.post(day + 0.5, ink=PALE, dash="none")
    for place, bar in enumerate(bars):
        chart.lying(-place, bar.first_day - 0.5, bar.first_day + bar.days - 0.5,
                    ink=DARK if bar.decides else MID)  # fmt: skip
    return chart.svg()


def readings(expected_v: float, read_v: Sequence[float], within_frac: float) -> str:
    """Readings of strings beside the band in which they pass.

    Parameters
    ----------
    expected_v : float
        Of each string [V].
    read_v : sequence of float
        One a string [V].
    within_frac : float
        Tolerance, [0 to 1].
    """
    low, high = (expected_v * (1.0 + way * within_frac) for way in (-1.0, 1.0))
    outside = [not low <= volts <= high for volts in read_v]
    chart = Chart(
        x=(0.85 * min(read_v), 1.2 * max(read_v)), y=(0.5 - len(read_v), 0.9),
        y_names={-float(place): f"S{place + 1}" for place in range(len(read_v))},
        x_words="Open-circuit voltage [V]", height=120.0 + 30.0 * len(read_v),
        title=f"{expected_v:.0f} V expected: {len(read_v) - sum(outside)} of {len(read_v)} strings"
        f" within {100.0 * within_frac:.0f} %",
    )
    chart.band(low, high, ink=LIGHT)
    chart.post(expected_v, ink=DARK, dash="none")
    for place, (volts, out) in enumerate(zip(read_v, outside, strict=True)):
        chart.mark(volts, -place, ink=WARM if out else DARK, shape="cross" if out else "dot")
        chart.note(volts, -place, f"{volts:.0f} V")
    return chart.svg()


def daily_ratio(ratio: Sequence[float], title: str) -> str:
    """Energy over what was expected, day by day.

    Parameters
    ----------
    ratio : sequence of float
        One a day, 1 is as expected.
    title : str
    """
    chart = Chart(x=(0.0, len(ratio) + 1.0), y=(0.0, 1.15), x_words="Day",
                  y_ticks=7, y_words="Energy performance index", title=title, height=270.0)
    chart.line([0.0, len(ratio) + 1.0], [1.0, 1.0], ink=LIGHT)
    chart.line(range(1, len(ratio) + 1), ratio, marks=True)
    return chart.svg()
