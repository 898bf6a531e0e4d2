"""Tables and named results of the battery workbook."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.no_answer import NO_ANSWER, NoAnswer, or_why
from solarcalc.basis.quantity import in_percent, in_unit
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.battery.bank import set_points
from solarcalc.battery.care import equalising, partial_charge, water_per_year
from solarcalc.battery.existing_battery import Judgement
from solarcalc.battery.wiring import wiring_advice, wiring_of
from solarcalc.battery.worksheet import why_it_differs, worksheet_table
from solarcalc.design import Design
from solarcalc.loads.days import DayKind, energy_per_day_wh
from solarcalc.loads.phases import phase_table, share_out
from solarcalc.loads.shedding import shed_steps
from solarcalc.loads.year import LOADS_OF, energy_table, kinds_of_loads, peaks_of
from solarcalc.protection.banks import poles_words
from solarcalc.quote.tariff import fed_in
from solarcalc.sitefile.loads import BOARDS
from solarcalc.stages.battery_life import charges, judged_existing, said_years
from solarcalc.stages.boards import (
    autonomy_days,
    banks_of,
    daily_energy_wh,
    level_frac,
    step_hours_w,
    usable_battery_wh,
)
from solarcalc.supply.energy import (
    Energy,
    Reason,
    energy_by_month_kwh,
    energy_kwh,
    energy_w,
    not_supplied_frac,
)
from solarcalc.supply.engine import derated_w, levels_of, running_of, services_per_year
from solarcalc.supply.site import grid_present_frac
from solarcalc.supply.system import NOT_SUPPLIED_W
from solarcalc.views.rows import Row, Values, fact_line


def load_table(design: Design) -> list[Row]:
    """Appliances of both boards with their energy on the mean day of the year."""
    return [
        {
            "board": LOADS_OF[board.key],
            "appliance": item.name,
            "count": item.count,
            "power [W]": item.power_w,
            "hours of use": ", ".join(item.use),
            "duty factor [%]": 100.0 * item.duty_frac,
            "energy [Wh/day]": energy_per_day_wh([item]),
        }
        for board in design.site.boards
        for item in board.appliances
    ]


def peak_table(design: Design) -> list[Row]:
    """Maximum coincident demand and largest starting load of each board, and its inverter."""
    rows = []
    for board in design.site.boards:
        peaks = peaks_of(design.site.loads, board.key, folder=design.sitefile.folder)
        inverter = board.inverter
        rows.append(
            {
                "board": LOADS_OF[board.key],
                "maximum coincident demand [W]": peaks.power_w,
                "at": peaks.power_at,
                "maximum coincident demand [VA]": "not known" if peaks.apparent_va is None
                else f"{peaks.apparent_va:.0f}",
                "inverter, continuous [W]": inverter.total_power_w,
                "largest starting load [VA]": "not known" if peaks.surge_va is None
                else f"{peaks.surge_va:.0f}",
                "load that starts": peaks.starting,
                "inverter, surge [VA]": inverter.total_surge_va,
            }
        )  # fmt: skip
    return rows


def day_kinds_of(design: Design) -> tuple[DayKind, ...]:
    """The kinds of day of the year, with what both boards ask for on each."""
    hours = design.loads
    by_board: dict[str, pd.Series] = {board: hours[board] for board in BOARDS}
    return kinds_of_loads(design.site.loads, by_board, folder=design.sitefile.folder)


def mean_day_w(design: Design) -> dict[str, list[float]]:
    """Demand of each board in each clock hour of the mean day of the year [W]."""
    hours = design.loads
    clock = pd.DatetimeIndex(hours.index).hour
    return {board: hours[board].groupby(clock).mean().to_list() for board in BOARDS}


def day_kind_table(design: Design) -> list[Row]:
    """Energy of each kind of day."""
    return energy_table(day_kinds_of(design))


def phase_rows(design: Design) -> list[Row]:
    """Each appliance's phase, board by board; empty on a supply of one phase."""
    loads = design.site.loads
    return [
        {"board": LOADS_OF[board], **row}
        for board in BOARDS if loads.phases_of(board) > 1
        for row in phase_table(share_out(getattr(loads, board), loads.phases_of(board)))
    ]


def step_rows(design: Design) -> list[Row]:
    """The steps in which the nonessential board is shed; empty where it has one alone."""
    hours, battery = step_hours_w(design, design.supply), design.site.battery
    rows: list[Row] = []
    for step in shed_steps(design.site.loads):
        table = hours[step.number]
        missed_w = table["load_w"] - table["supplied_w"]
        off, back = (
            100.0 * step.level_frac(share, battery.nonessential_shed_frac,
                                    battery.nonessential_return_frac)
            for share in (step.off_share_frac, step.back_share_frac)
        )  # fmt: skip
        rows.append({
            "step": step.number, "appliances": ", ".join(item.name for item in step.appliances),
            "shed at a state of charge of [%]": off, "back at [%]": back,
            "demand [kWh/year]": float(table["load_w"].sum()) / 1000.0,
            "not supplied [kWh/year]": float(missed_w.sum()) / 1000.0,
            "on less than the demand [h/year]": int((missed_w > NOT_SUPPLIED_W).sum()),
        })
    return rows


def usable_rows(design: Design) -> list[Row]:
    """Usable energy of a bank and days of autonomy, with the figures put in and the source."""
    banks, inverter = banks_of(design), design.site.inverter_of("essential")
    bank, each = banks[0], "Of each bank: usable" if banks[1:] else "Usable"
    daily_kwh = daily_energy_wh(design, "essential") / 1000.0
    idle_kwh = 24.0 * inverter.total_no_load_w / 1000.0
    usable_kwh, days = bank.usable_wh() / 1000.0, or_why(autonomy_days)(design)
    rows = [fact_line(
        f"{each} = capacity drawn without hurry (rated"
        f" {design.site.battery.rated_wh / 1000.0:.4g}) × (1 − minimum state of charge) × discharge"
        f" efficiency × factor of the coldest thirty days ({NO_SOURCE}; the lowest temperature"
        f" that lasts: IEEE 1013, {FROM_MEMORY})",
        f"{bank.capacity_wh / 1000.0:.4g} × (1 − {bank.min_soc_frac:g}) ×"
        f" {bank.discharge_efficiency_frac:g} × {bank.cold_frac:.3g} = {usable_kwh:.3g}", "kWh",
    )]  # fmt: skip
    if not isinstance(days, NoAnswer):
        rows.append(fact_line(
            "Autonomy of the essential loads = usable energy / (their demand of a day / inverter"
            f" efficiency + 24 h × no-load power) ({NO_SOURCE})",
            f"{usable_kwh:.3g} / ({daily_kwh:.3g} / {inverter.efficiency_frac:g} +"
            f" {idle_kwh:.3g}) = {days:.2g}", "days",
        ))  # fmt: skip
    return rows


def bank_inputs(design: Design) -> list[Row]:
    """Battery bank, inverters and what stands behind them."""
    site = design.site
    battery = site.battery
    return [
        fact_line("Battery", battery.label),
        fact_line("Monoblocs or modules in series", battery.units_in_series),
        fact_line("Battery strings in parallel", battery.units_in_parallel),
        fact_line("Nominal battery voltage", battery.nominal_voltage_v, "V"),
        fact_line("Rated energy", battery.rated_wh / 1000.0, "kWh"),
        fact_line("Usable energy at the terminals, to minimum state of charge",
                  usable_battery_wh(design) / 1000.0, "kWh"),
        *_level_facts(design),
        *(fact_line(f"Inverter, {LOADS_OF[board]}" if len(site.inverters) > 1
                    else "Inverter, both boards", inverter.alike + inverter.label)
          for board, inverter in site.inverters.items()),
        fact_line("System configuration", _LAYOUTS[site.supply.layout]),
        fact_line("Grid", _grid_words(design)),
        *_generator_facts(design),
        fact_line("Demand, essential loads",
                  daily_energy_wh(design, "essential") / 1000.0, "kWh/day"),
        fact_line("Demand, non-essential loads",
                  daily_energy_wh(design, "nonessential") / 1000.0, "kWh/day"),
    ]  # fmt: skip


def _level_facts(design: Design) -> Iterator[Row]:
    """Levels of the bank, each as the site file has it and as the year runs on it."""
    battery = design.site.battery
    for what, level in (
        ("Minimum state of charge", battery.min_soc_frac),
        ("Shedding threshold, non-essential loads", battery.nonessential_shed_frac),
        ("Reconnection threshold, non-essential loads", battery.nonessential_return_frac),
    ):
        yield from _level_pair(design, what, level)


def _level_pair(design: Design, what: str, level: float) -> tuple[Row, Row]:
    return (fact_line(f"{what}, as set", 100.0 * level, "%"),
            fact_line(f"{what}, {WITH_COLD}", 100.0 * level_frac(design, level), "%"))  # fmt: skip


WITH_COLD = "corrected for the coldest month"


def _generator_facts(design: Design) -> list[Row]:
    """Plate, power at the site, levels, and how it runs; one line where there is none."""
    site, ran = design.site, running_of(design.supply)
    if not site.generator.there:
        return [fact_line("Generator", "none")]
    start, stop = levels_of(site)
    return [
        fact_line(f"Generator, {site.generator.kind.words}, {site.generator.rating} power",
                  site.generator.power_w, "W"),
        fact_line("Generator, power derated for altitude and temperature", derated_w(site), "W"),
        *_level_pair(design, "Generator start threshold", start),
        *_level_pair(design, "Generator stop threshold", stop),
        fact_line("Generator running time", ran.run_h, "h/year"),
        fact_line("Generator starts", ran.starts, "1/year"),
        fact_line("Generator, fuel consumption", in_unit(ran.fuel_l, "l/year"), "l/year"),
        fact_line("Generator, of which while warming up", in_unit(ran.warm_up_l, "l/year"),
                  "l/year"),
        fact_line("Generator, services", in_unit(services_per_year(site.generator, ran)),
                  "1/year"),
        fact_line("Generator, running time left until overhaul or replacement",
                  in_unit(max(site.generator.lasts_h - site.generator.run_h, 0.0), "h"), "h"),
    ]  # fmt: skip


_LAYOUTS = {"shared-bank": "one battery, one inverter for each board",
            "one-inverter": "one battery and one inverter for both boards",
            "separate-banks": "one battery and one inverter for each board"}


def _grid_words(design: Design) -> str:
    grid = design.site.grid
    return {
        "none": "none",
        "always": "always available",
        "timetable": "available by timetable",
        "rota": f"available by a rota of {len(grid.rota)} days",
        "random": f"outages of {grid.mean_outage_h:g} h on average,"
        f" {grid.outage_h_per_day:g} h/day in total",
    }[grid.kind]


def grid_out_words(design: Design) -> str:
    """How long the grid is out on a mean day of the year; that it always is there."""
    present = grid_present_frac(design.site.grid, pd.DatetimeIndex(design.supply.hours.index))
    out_h = 24.0 * (1.0 - float(present.mean()))
    return f"grid out {in_unit(out_h, 'h')} h a day" if out_h else "grid always there"


def wiring_rows(design: Design) -> list[Row]:
    """How the bank is put together, and the voltages to charge it at: printed advice."""
    battery = design.site.battery
    wiring, points = wiring_of(battery), set_points(battery)
    equalise = "never" if points.equalise_v is None else f"{points.equalise_v:.1f}"
    return [
        fact_line("Monoblocs or modules", battery.unit_count),
        fact_line("Monoblocs or modules in series per string",
                  battery.units_in_series),
        fact_line("Battery strings in parallel", battery.units_in_parallel),
        fact_line("Inter-unit connectors in series", wiring.series_links),
        fact_line("Connectors between strings", wiring.parallel_links),
        fact_line(f"Strings with a fuse {poles_words(design.site)}", wiring.string_fuses),
        fact_line("Cells in series", battery.cells_in_series),
        fact_line("Absorption voltage at 25 °C", f"{points.absorption_v:.1f}", "V"),
        fact_line("Float voltage at 25 °C", f"{points.float_v:.1f}", "V"),
        fact_line("Equalising voltage at 25 °C", equalise,
                  "" if points.equalise_v is None else "V"),
        fact_line("Temperature compensation above 25 °C",
                  f"−{1000.0 * points.compensation_v_per_k:.0f}"
                  if points.compensation_v_per_k else "0", "mV/K"),
    ]  # fmt: skip


def wiring_words(design: Design) -> tuple[str, ...]:
    """Advice on joining the bank."""
    return tuple(wiring_advice(design.site.battery, poles_words(design.site)))


def battery_marks(design: Design) -> dict[str, float]:
    """Levels of charge worth a line in a picture, as the year runs on them, [0 to 1]."""
    battery = design.site.battery
    levels = {"reconnection threshold": battery.nonessential_return_frac,
              "shedding threshold": battery.nonessential_shed_frac,
              "minimum state of charge": battery.min_soc_frac}  # fmt: skip
    return {name: level_frac(design, level) for name, level in levels.items()}


def flow_table(design: Design) -> pd.DataFrame:
    """Energy of each month [kWh], with the year's sum."""
    table = flows_by_month(design)
    table.index = pd.Index(MONTHS, name="month")
    table.columns = [_energy_head(str(name).removesuffix("_kwh")) for name in table.columns]
    table.loc["Year"] = table.sum()
    return table.reset_index()


def _energy_head(name: str) -> str:
    for board, words in LOADS_OF.items():
        if name.startswith(f"{board}_"):
            name = name.replace(board, words, 1).replace("loads_", "loads ", 1)
    return f"{name.replace('_', ' ')} [kWh]"


def values(design: Design) -> Values:
    """Named results of the battery workbook.

    Each name ends in its unit.
    """
    lives, energy, by = design.life.values(), design.year_energy, design.supply
    days = or_why(autonomy_days)(design)
    return {
        "demand_kwh": round(energy.demand_kwh),
        "supplied_kwh": round(energy.supplied_kwh),
        "essential_without_supply_h": energy.essential_h,
        "nonessential_not_supplied_frac": round(not_supplied_frac(by, "nonessential"), 4),
        "lowest_charge_frac": round(float(design.supply.state_of_charge.min()), 3),
        "battery_service_life_years": said_years(design.life),
        "available_kwh": round(energy.available_kwh),
        "curtailed_kwh": round(energy.curtailed_kwh),
        **{f"curtailed_{_REASONS[name]}_kwh": round(kwh)
           for name, kwh in energy.by_reason_kwh.items()},
        "curtailed_energy_frac": round(
            energy.curtailed_kwh / energy.available_kwh if energy.available_kwh > 0.0 else 0.0, 3),
        "rated_battery_kwh": round(design.site.battery.rated_wh / 1000.0, 1),
        "usable_battery_kwh": round(usable_battery_wh(design) / 1000.0, 1),
        "slow_discharge_capacity_kwh": round(design.supply.capacity_wh / 1000.0, 1),
        "autonomy_days": NO_ANSWER if isinstance(days, NoAnswer) else round(days, 1),
        "essential_demand_kwh": round(energy_kwh(by, "essential_demand")),
        **({} if energy.essential_most_h is None
           else {"essential_without_supply_weak_light_h": energy.essential_most_h}),
        "essential_longest_without_supply_h": by.longest_without_supply_h("essential"),
        "essential_not_supplied_frac": round(not_supplied_frac(by, "essential"), 4),
        "nonessential_demand_kwh": round(energy_kwh(by, "nonessential_demand")),
        "nonessential_short_of_demand_h": energy.nonessential_h,
        "mean_charge_frac": round(float(design.supply.state_of_charge.mean()), 3),
        "full_cycles_per_year": round(sum(one.life.full_depth_cycles_per_year for one in lives)),
        "generator_hours": round(design.supply.generator_h),
        "fuel_l": round(design.supply.fuel_l),
    }


_REASONS: dict[Reason, str] = {
    "full": "battery_full", "rate": "charge_current", "temperature": "temperature",
}


def answer(design: Design) -> str:
    """The answer in one sentence, from the figures."""
    dark = design.supply.hours_without_supply("essential")
    lowest = 100.0 * float(design.supply.state_of_charge.min())
    kept = (
        "the essential board is never without supply"
        if dark == 0
        else f"the essential board is without supply for {dark} h, the longest interruption"
        f" lasting {design.supply.longest_without_supply_h('essential')} h"
    )
    most = design.year_energy.essential_most_h or 0
    if most > dark:
        kept += f" (up to {most} h if the modules perform poorly at low irradiance)"
    waits = in_percent(not_supplied_frac(design.supply, "nonessential"))
    nonessential = (
        "the demand of the non-essential loads is supplied in full"
        if not design.year_energy.nonessential_h
        else f"{waits} % of the demand of the non-essential loads is not supplied"
    )
    return (
        f"In the typical year {kept}, {nonessential}, and the"
        f" battery ({design.site.battery.rated_wh / 1000.0:.1f} kWh rated) goes down to"
        f" {lowest:.0f} % state of charge."
    )


def flows_by_month(design: Design) -> pd.DataFrame:
    """Energy [kWh] of each month: from the array and curtailed; boards supplied and not."""
    told: list[Energy] = ["available", "curtailed", "essential_supplied", "essential_not_supplied",
                          "nonessential_supplied", "nonessential_not_supplied"]  # fmt: skip
    bought: list[Energy] = ["grid", "generator"]
    told += [source for source in bought if round(energy_kwh(design.supply, source), 3)]
    hours = pd.DataFrame({f"{name}_kwh": energy_w(design.supply, name) for name in told})
    if design.year_energy.fed_in_kwh > 0.0:
        least = min(one.efficiency_frac for one in design.site.inverters.values())
        given_w = 1000.0 * fed_in(design.site, design.supply)
        hours["curtailed_kwh"] -= given_w / least
        hours.insert(2, "fed_in_kwh", given_w)
    return energy_by_month_kwh(hours)


def life_table(design: Design) -> list[Row]:
    """How long each bank lasts, and what wears it."""
    currency = design.site.costs.currency
    rows: list[Row] = []
    for name, one in design.life.items():
        life, room = one.life, one.place
        if one.cause:
            rows.append(_line(name, "service life and yearly cost", str(one.said_years), ""))
        else:
            rows += [
                _line(name, "expected battery service life", str(one.said_years), "years"),
                _line(name, "cycle life", _years(life.cycle_years), "years"),
                _line(name, "calendar life", _years(life.calendar_years), "years"),
            ]
        rows += [
            _line(name, "cycles counted", f"{life.cycles_per_year:.0f}", "1/year"),
            _line(name, "equivalent full cycles", f"{life.full_depth_cycles_per_year:.0f}",
                  "1/year"),
            _line(name, "deepest cycle", f"{100.0 * life.deepest_frac:.0f}", "%"),
            _line(name, "mean battery temperature", f"{life.mean_temp_c:.1f}", "°C"),
        ]  # fmt: skip
        if not one.cause:
            rows += [
                _line(name, "service life in a room at 25 °C", f"{room.years_at_25c:.1f}", "years"),
                _line(name, "yearly cost of the battery", in_unit(room.yearly_cost, currency),
                      f"{currency}/year"),
                _line(name, "difference from a room at 25 °C",
                      _signed(room.yearly_penalty, currency), f"{currency}/year"),
            ]  # fmt: skip
    return rows


def _signed(difference: float | None, unit: str) -> str:
    """A difference with its sign, so that less is seen as less."""
    shown = in_unit(difference, unit)
    return f"+{shown}" if (difference or 0.0) > 0.0 and shown != "0" else shown.replace("-", "−")


def care_table(design: Design) -> list[Row]:
    """How each bank is kept: full charges, partial charge, equalising and water."""
    kind = design.site.battery.traits
    rows: list[Row] = []
    for bank, (name, charge) in zip(
        design.supply.system.banks, charges(design.supply).items(), strict=True
    ):
        partial = partial_charge(charge, kind=kind)
        rows += [
            _line(name, "longest time without a full charge", _years(partial.longest_days), "days"),
            _line(name, "days with a full charge", partial.full_days, "days/year"),
            _line(name, "time below 80 % state of charge", partial.below_80_h, "h/year"),
            _line(name, "time below 50 % state of charge", partial.below_50_h, "h/year"),
            _line(name, "risk of sulphation", partial.risk, ""),
        ]
        equal = equalising(charge, kind=kind, capacity_wh=bank.capacity_wh,
                           voltage_v=bank.voltage_v)  # fmt: skip
        if kind.equalising is not None:
            rows += [
                _line(name, "equalising charges", len(equal.days), "1/year"),
                _line(name, "energy for equalising", f"{equal.energy_kwh_per_year:.0f}",
                      "kWh/year"),
            ]  # fmt: skip
        if kind.water is not None:
            water = water_per_year(
                charge, design.supply.banks[name]["discharge_w"].to_numpy(), kind=kind,
                capacity_wh=bank.capacity_wh, voltage_v=bank.voltage_v, equalised=equal,
            )  # fmt: skip
            litres = water.charging_l_per_year + water.held_full_l_per_year
            rows += [
                _line(name, "water to top up", f"{litres + water.equalising_l_per_year:.1f}",
                      "l/year"),
                _line(name, "water per cell", f"{water.cell_ml_per_month:.0f}", "ml/month"),
            ]  # fmt: skip
    return rows


def care_words(design: Design) -> tuple[str, ...]:
    """How this kind of battery is kept, what can hurt first."""
    kind = design.site.battery.traits
    return (*kind.words.safety, *kind.advice)


def _line(bank: str, what: str, value: object, unit: str) -> Row:
    name = {"shared": "", "essential": "essential: ", "nonessential": "non-essential: "}[bank]
    return {"Quantity": f"{name}{what}", "Value": value, "Unit": unit}


def _years(value: float) -> str:
    return f"{value:.1f}" if np.isfinite(value) else "unlimited"


@or_why
def worksheet_rows(design: Design) -> pd.DataFrame:
    """Lines of the sizing worksheet, filled in for the site.

    One row a step: formula, figures, value, unit, source.
    """
    return worksheet_table(design.worksheet.sheet.lines)


@or_why
def book_words(design: Design, *, simulated_kwh: float) -> tuple[str, ...]:
    """Why the worksheet and the hourly year differ."""
    filled = design.worksheet
    return why_it_differs(filled.sheet, filled.figures, simulated_wh=1000.0 * simulated_kwh)


def existing_judgements(design: Design) -> list[Judgement]:
    """What the customer already owns: keep, use on the other board, or replace."""
    return judged_existing(design, design.energy)
