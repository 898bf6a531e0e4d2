"""Tables and named results of the battery workbook."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.hours import MONTHS
from solarcalc.battery import set_points, wiring_advice, wiring_of
from solarcalc.job.bank_life import lives_of
from solarcalc.job.boards import (
    BOARDS,
    autonomy_days,
    daily_energy_wh,
    flows_by_month,
    loads_of,
    unserved_frac,
)
from solarcalc.job.opening import Job
from solarcalc.job.tables import fact_line
from solarcalc.loads.days import DayKind, energy_per_day_wh
from solarcalc.loads.phases import phase_table, share_out
from solarcalc.loads.year import board_day_w, energy_table, kinds_of_loads, peaks_of
from solarcalc.supply.run import SupplyRun

Row = dict[str, Any]
Values = dict[str, float | int | str]


def load_table(job: Job) -> list[Row]:
    """Appliances of both boards with their energy on the mean day of the year."""
    return [
        {
            "board": board,
            "appliance": item.name,
            "count": item.count,
            "power [W]": item.power_w,
            "in use": ", ".join(item.use),
            "duty [%]": 100.0 * item.duty_frac,
            "energy a day [Wh]": energy_per_day_wh([item]),
        }
        for board in BOARDS
        for item in getattr(job.site.loads, board)
    ]


def peak_table(job: Job) -> list[Row]:
    """Worst minute and hardest start of each board beside its inverter."""
    rows = []
    for board in BOARDS:
        peaks = peaks_of(job.site.loads, board, folder=job.sitefile.folder)
        inverter = getattr(job.site.inverter, board)
        rows.append(
            {
                "board": board,
                "most at once [W]": peaks.power_w,
                "at": peaks.power_at,
                "the same [VA]": "not known" if peaks.apparent_va is None
                else f"{peaks.apparent_va:.0f}",
                "inverter, continuous [W]": inverter.continuous_power_w,
                "hardest start [VA]": "not known" if peaks.surge_va is None
                else f"{peaks.surge_va:.0f}",
                "of": peaks.starting,
                "inverter, surge [VA]": inverter.surge_power_va,
            }
        )  # fmt: skip
    return rows


def day_kinds_of(job: Job) -> tuple[DayKind, ...]:
    """The kinds of day of the year, with what both boards ask for on each."""
    hours = loads_of(job)
    by_board: dict[str, pd.Series] = {board: hours[board] for board in BOARDS}
    return kinds_of_loads(job.site.loads, by_board, folder=job.sitefile.folder)


def day_kind_table(job: Job) -> list[Row]:
    """Energy of each kind of day."""
    return energy_table(day_kinds_of(job))


def phase_rows(job: Job) -> list[Row]:
    """Each appliance's phase, board by board; empty on a supply of one phase."""
    loads = job.site.loads
    if loads.phases == 1:
        return []
    return [
        {"board": board, **row}
        for board in BOARDS
        for row in phase_table(share_out(getattr(loads, board), loads.phases))
    ]


def bank_inputs(job: Job) -> list[Row]:
    """Battery bank, inverters and what stands behind them."""
    site = job.site
    battery, inverter = site.battery, site.inverter
    return [
        fact_line("Battery", battery.label),
        fact_line("Units in series", battery.units_in_series),
        fact_line("Strings in parallel", battery.units_in_parallel),
        fact_line("Bank voltage", battery.nominal_voltage_v, "V"),
        fact_line("Rated energy of the bank", battery.rated_wh / 1000.0, "kWh"),
        fact_line("Reserve, nothing drawn below", 100.0 * battery.reserve_frac, "%"),
        fact_line("Heavy board waits from", 100.0 * battery.heavy_shed_frac, "%"),
        fact_line("Heavy board returns at", 100.0 * battery.heavy_return_frac, "%"),
        fact_line("Inverter, critical board", inverter.critical.label),
        fact_line("Inverter, heavy board", inverter.heavy.label),
        fact_line("Boards and banks", _LAYOUTS[site.supply.layout]),
        fact_line("Grid", _grid_words(job)),
        fact_line("Generator", site.generator.power_w, "W") if site.generator.power_w
        else fact_line("Generator", "none"),
        fact_line("Critical board a day", daily_energy_wh(job, "critical") / 1000.0, "kWh"),
        fact_line("Heavy board a day", daily_energy_wh(job, "heavy") / 1000.0, "kWh"),
    ]  # fmt: skip


_LAYOUTS = {
    "shared-bank": "one bank, an inverter for each board",
    "one-inverter": "one bank and one inverter for both boards",
    "separate-banks": "a bank and an inverter for each board",
}


def _grid_words(job: Job) -> str:
    grid = job.site.grid
    return {
        "none": "none",
        "always": "always there",
        "timetable": "by timetable",
        "random": f"fails {grid.outage_h_per_day:g} h a day in the mean, {grid.mean_outage_h:g} h"
        " at a time",
    }[grid.kind]


def wiring_rows(job: Job) -> list[Row]:
    """How the bank is put together, and the voltages to charge it at: printed advice."""
    battery = job.site.battery
    wiring, points = wiring_of(battery), set_points(battery)
    equalise = "never" if points.equalise_v is None else f"{points.equalise_v:.1f}"
    return [
        fact_line("Units", wiring.unit_count),
        fact_line("Units in series, in each string", wiring.units_in_series),
        fact_line("Strings in parallel", wiring.string_count),
        fact_line("Links from unit to unit in series", wiring.series_links),
        fact_line("Links from string to string", wiring.parallel_links),
        fact_line("Fuses, one in the plus of each string", wiring.string_fuses),
        fact_line("Cells in series", wiring.cells_in_series),
        fact_line("Charge to (absorption), at 25 °C", f"{points.absorption_v:.1f}", "V"),
        fact_line("Hold at (float), at 25 °C", f"{points.float_v:.1f}", "V"),
        fact_line("Equalise at, at 25 °C", equalise, "" if points.equalise_v is None else "V"),
        fact_line("Less for each kelvin above 25 °C", f"{1000.0 * points.compensation_v_per_k:.0f}",
              "mV"),
    ]  # fmt: skip


def wiring_words(job: Job) -> tuple[str, ...]:
    """Advice on joining the bank."""
    return tuple(wiring_advice(job.site.battery))


def board_profiles_w(job: Job) -> dict[str, np.ndarray]:
    """Mean power of each board in each minute of the mean day [W], shape (1440,)."""
    loads, folder = job.site.loads, job.sitefile.folder
    return {board: board_day_w(loads, board, folder=folder) for board in BOARDS}


def battery_marks(job: Job) -> dict[str, float]:
    """Levels of charge worth a line in a picture, [0 to 1]."""
    battery = job.site.battery
    return {
        "heavy board returns": battery.heavy_return_frac,
        "heavy board waits": battery.heavy_shed_frac,
        "reserve": battery.reserve_frac,
    }


def flow_table(year: SupplyRun) -> pd.DataFrame:
    """Energy of each month [kWh], with the year's sum."""
    table = flows_by_month(year)
    table.index = pd.Index(MONTHS, name="month")
    table.columns = [str(name).removesuffix("_kwh").replace("_", " ") for name in table.columns]
    table.loc["Year"] = table.sum()
    return table.reset_index()


def battery_values(job: Job, year: SupplyRun) -> Values:
    """Named results of the battery workbook."""
    hours = year.hours
    offered_wh = float(hours["solar_w"].sum())
    lives = lives_of(job, year).values()
    return {
        "bank_capacity_kwh": round(year.capacity_wh / 1000.0, 1),
        "autonomy_days": round(autonomy_days(job), 1),
        "critical_load_kwh": round(float(hours["critical_load_w"].sum()) / 1000.0),
        "critical_short_hours": year.dark_hours("critical"),
        "critical_longest_spell_hours": year.longest_dark_spell_h("critical"),
        "critical_unserved_frac": round(unserved_frac(year, "critical"), 4),
        "heavy_load_kwh": round(float(hours["heavy_load_w"].sum()) / 1000.0),
        "heavy_short_hours": year.dark_hours("heavy"),
        "heavy_unserved_frac": round(unserved_frac(year, "heavy"), 4),
        "lowest_charge_frac": round(float(year.state_of_charge.min()), 3),
        "mean_charge_frac": round(float(year.state_of_charge.mean()), 3),
        "full_cycles_per_year": round(sum(life.full_depth_cycles_per_year for life, _ in lives)),
        "battery_years": round(min(life.years for life, _ in lives), 1),
        "generator_hours": round(year.generator_h),
        "fuel_l": round(year.fuel_l),
        "sun_thrown_away_frac": round(float(year.spilled_w.sum()) / offered_wh, 3)
        if offered_wh > 0.0
        else 0.0,
    }
