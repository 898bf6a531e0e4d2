"""How long the job's bank lasts, how it is kept, and what the customer already owns."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.verdict import Verdict
from solarcalc.battery.ageing import HotRoom, Life, ageing_verdicts, expected_life, hot_room
from solarcalc.battery.care import care_verdicts, partial_charge
from solarcalc.battery.care_advice import care_advice
from solarcalc.battery.gassing import equalising, water_per_year
from solarcalc.battery.life_curves import LIFE_CURVES, LifeCurve, with_points
from solarcalc.battery.owned import OWNED_CAUTION, judge_owned, owned_table
from solarcalc.battery.owned_result import BoardNeed, Judgement, Place
from solarcalc.harvest.energy import Harvest
from solarcalc.job.boards import BOARDS, battery_temp_c, daily_energy_wh
from solarcalc.job.opening import Job
from solarcalc.loads.year import peaks_of
from solarcalc.sitefile.records import Battery
from solarcalc.supply.run import SupplyRun

Row = dict[str, Any]


def bank_price(job: Job) -> float:
    """Price of all battery units, in the site's currency."""
    battery = job.site.battery
    return job.site.costs.per_battery_unit * battery.unit_count


def _charges(year: SupplyRun) -> dict[str, np.ndarray]:
    """State of charge of each bank by hour, held within 0 and 1 against rounding."""
    return {
        name: (hours["stored_wh"] / bank.capacity_wh).clip(0.0, 1.0).to_numpy()
        for bank, (name, hours) in zip(year.system.banks, year.banks.items(), strict=True)
    }


def life_curve_of(battery: Battery) -> LifeCurve:
    """The life of this battery: by its own sheet where the site file gives it, else by kind."""
    curve = LIFE_CURVES[battery.chemistry]
    if battery.life_depth_frac:
        curve = with_points(
            curve, depth_frac=battery.life_depth_frac, cycles=battery.life_cycles,
            source="the maker's sheet, as the site file gives it",
        )  # fmt: skip
    if battery.life_years is not None:
        curve = replace(curve, calendar_years=battery.life_years)
    return curve


def lives_of(job: Job, year: SupplyRun) -> dict[str, tuple[Life, HotRoom]]:
    """Expected life of each bank and what its place's heat costs."""
    curve, temp_c = life_curve_of(job.site.battery), battery_temp_c(job)
    whole = sum(bank.capacity_wh for bank in year.system.banks)
    return {
        name: (
            expected_life(charge, temp_c, curve=curve),
            hot_room(charge, temp_c, curve=curve,
                     price=bank_price(job) * bank.capacity_wh / whole),
        )
        for bank, (name, charge) in zip(year.system.banks, _charges(year).items(), strict=True)
    }  # fmt: skip


def years_at(job: Job, year: SupplyRun, battery_c: np.ndarray | None = None) -> float:
    """Years of the bank that lasts shortest, at a temperature of the battery by hour [years].

    Parameters
    ----------
    job : Job
    year : SupplyRun
    battery_c : array (n,), optional
        [degC]; left out: the room as the site file says it.
    """
    curve = life_curve_of(job.site.battery)
    temp_c = battery_temp_c(job) if battery_c is None else battery_c
    return min(expected_life(charge, temp_c, curve=curve).years
               for charge in _charges(year).values())  # fmt: skip


def life_table(job: Job, year: SupplyRun) -> list[Row]:
    """How long each bank lasts, and what wears it."""
    currency = job.site.costs.currency
    rows: list[Row] = []
    for name, (life, room) in lives_of(job, year).items():
        rows += [
            _line(name, "expected life", f"{life.years:.1f}", "years"),
            _line(name, "life by cycles alone", _years(life.cycle_years), "years"),
            _line(name, "life by time and heat alone", _years(life.calendar_years), "years"),
            _line(name, "cycles counted", f"{life.cycles_per_year:.0f}", "a year"),
            _line(name, "the same as whole discharges", f"{life.full_depth_cycles_per_year:.0f}",
                  "a year"),
            _line(name, "deepest cycle", f"{100.0 * life.deepest_frac:.0f}", "%"),
            _line(name, "mean temperature of the battery", f"{life.mean_temp_c:.0f}", "°C"),
            _line(name, "life in a room at 25 °C", f"{room.years_at_25c:.1f}", "years"),
            _line(name, "what the bank costs a year", f"{room.yearly_cost:.3g}", currency),
            _line(name, "more than in a room at 25 °C", f"{room.yearly_penalty:.2g}", currency),
        ]  # fmt: skip
    return rows


def care_table(job: Job, year: SupplyRun) -> list[Row]:
    """How each bank is kept: full charges, partial charge, equalising and water."""
    chemistry = job.site.battery.chemistry
    rows: list[Row] = []
    for bank, (name, charge) in zip(year.system.banks, _charges(year).items(), strict=True):
        partial = partial_charge(charge, chemistry=chemistry)
        rows += [
            _line(name, "longest time without a full charge", _years(partial.longest_days), "days"),
            _line(name, "days with a full charge", partial.full_days, "a year"),
            _line(name, "hours below 80 %", partial.below_80_h, "h/year"),
            _line(name, "hours below 50 %", partial.below_50_h, "h/year"),
            _line(name, "risk of sulphation", partial.risk, ""),
        ]
        if chemistry == "flooded":
            equal = equalising(charge, chemistry=chemistry, capacity_wh=bank.capacity_wh,
                               voltage_v=bank.voltage_v)  # fmt: skip
            water = water_per_year(
                charge, year.banks[name]["discharge_w"].to_numpy(), chemistry=chemistry,
                capacity_wh=bank.capacity_wh, voltage_v=bank.voltage_v, equalised=equal,
            )  # fmt: skip
            litres = water.charging_l_per_year + water.held_full_l_per_year
            rows += [
                _line(name, "equalising charges", len(equal.days), "a year"),
                _line(name, "energy of equalising", f"{equal.energy_kwh_per_year:.0f}", "kWh/year"),
                _line(name, "water to fill up", f"{litres + water.equalising_l_per_year:.1f}",
                      "l/year"),
                _line(name, "the same, each cell", f"{water.cell_ml_per_month:.0f}", "ml/month"),
            ]  # fmt: skip
    return rows


def care_words(job: Job) -> tuple[str, ...]:
    """How this kind of battery is kept, what can hurt first."""
    return care_advice(job.site.battery.chemistry)


def life_verdicts(job: Job, year: SupplyRun) -> list[Verdict]:
    """Heat of the battery's place, sulphation and equalising, bank by bank."""
    chemistry = job.site.battery.chemistry
    checks: list[Verdict] = []
    lives = lives_of(job, year)
    for bank, (name, charge) in zip(year.system.banks, _charges(year).items(), strict=True):
        equal = equalising(charge, chemistry=chemistry, capacity_wh=bank.capacity_wh,
                           voltage_v=bank.voltage_v)  # fmt: skip
        checks += ageing_verdicts(*lives[name])
        checks += care_verdicts(
            partial_charge(charge, chemistry=chemistry), equal, chemistry=chemistry
        )
    return checks


def owned_judgements(job: Job, harvest: Harvest) -> list[Judgement]:
    """What the customer already owns: keep, use on the other board, or replace."""
    battery = job.site.battery
    needs = {}
    for board in BOARDS:
        peaks = peaks_of(job.site.loads, board, folder=job.sitefile.folder)
        needs[board] = BoardNeed(
            peak_w=peaks.power_w,
            surge_va=peaks.surge_va or peaks.apparent_va or peaks.power_w,
            daily_wh=daily_energy_wh(job, board),
        )
    place = Place(
        bank_voltage_v=battery.nominal_voltage_v,
        critical=needs["critical"],
        heavy=needs["heavy"],
        yield_kwh_per_kw_per_year=harvest.final_yield_h,
    )
    return [judge_owned(item, place) for item in job.site.owned]


def owned_caution() -> str:
    """What stands wherever a judgement does."""
    return OWNED_CAUTION


def owned_rows(judgements: list[Judgement]) -> pd.DataFrame:
    """One row a thing."""
    return owned_table(judgements)


def _line(bank: str, what: str, value: object, unit: str) -> Row:
    name = {"shared": "", "critical": "critical: ", "heavy": "heavy: "}[bank]
    return {"what": f"{name}{what}", "value": value, "unit": unit}


def _years(value: float) -> str:
    return f"{value:.1f}" if np.isfinite(value) else "no end"
