"""The two boards through the year: who is served, how low the battery goes, what is thrown away."""

from __future__ import annotations

from typing import Literal, get_args

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Outcome, Verdict, judged
from solarcalc.battery import Bank, bank_of, bank_verdicts, room_temp_c
from solarcalc.harvest.energy import Harvest
from solarcalc.job.opening import Job
from solarcalc.loads.peaks import rating_verdicts
from solarcalc.loads.phases import phase_verdicts, share_out
from solarcalc.loads.year import board_day_w, board_hours_w, peaks_of
from solarcalc.sitefile.records import Inverter
from solarcalc.supply.run import SupplyRun, simulate
from solarcalc.supply.site import system_of
from solarcalc.supply.system import System

BoardName = Literal["critical", "heavy"]
BOARDS: tuple[BoardName, ...] = get_args(BoardName)
HEAVY_WAIT_FRAC = 0.05
"""Share of the heavy board's energy that may wait before it is worth a word."""


def loads_of(job: Job) -> pd.DataFrame:
    """What the boards ask for in each hour of the year [W], one column a board."""
    index = pd.DatetimeIndex(job.weather.hours.index)
    loads, folder = job.site.loads, job.sitefile.folder
    return pd.DataFrame({board: board_hours_w(loads, board, index, folder=folder)
                         for board in BOARDS})  # fmt: skip


def daily_energy_wh(job: Job, board: BoardName) -> float:
    """Energy a board asks for on the mean day of the year [Wh/day]."""
    day_w = board_day_w(job.site.loads, board, folder=job.sitefile.folder)
    return float(day_w.sum()) / 60.0


def battery_temp_c(job: Job) -> np.ndarray:
    """Temperature of the battery by hour [degC], shape (n,)."""
    return room_temp_c(job.site.battery, job.weather.hours["temp_air"].to_numpy())


def banks_of(job: Job) -> tuple[Bank, ...]:
    """The bank of the site; of two, that of the critical board and that of the heavy one."""
    temp_c = battery_temp_c(job)
    return tuple(bank_of(battery, temp_c) for battery in job.site.banks.values())


def supply_system(job: Job) -> System:
    """Banks, boards, grid and generator of the site."""
    return system_of(job.site, banks_of(job), pd.DatetimeIndex(job.weather.hours.index))


def supply_year(job: Job, harvest: Harvest) -> SupplyRun:
    """Run the job's year: its array, its banks, its boards, its grid and its generator."""
    return supply_of_sun(job, harvest.hours["bus_w"])


def supply_of_sun(job: Job, bus_w: pd.Series) -> SupplyRun:
    """The job's year under another sun, offered at the battery bus [W]."""
    return simulate(bus_w, loads_of(job), supply_system(job))


def unserved_frac(year: SupplyRun, board: str) -> float:
    """Share of a board's yearly energy that was not served, [0 to 1]; 0 without a load."""
    asked = float(year.hours[f"{board}_load_w"].sum())
    return float(year.unserved_w(board).sum()) / asked if asked > 0.0 else 0.0


def autonomy_days(job: Job) -> float:
    """Days the full bank carries the critical board alone, down to the reserve.

    The inverter's loss and idle draw are counted, and the cold of the battery's place as it is
    on the mean over the year. Drawn so slowly, a lead-acid bank gives all it holds.

    Raises
    ------
    InputError
        When neither the board nor its inverter draws anything: the days would have no end.
    """
    inverter = job.site.inverter.critical
    daily_wh = daily_energy_wh(job, "critical") / inverter.efficiency_frac
    daily_wh += 24.0 * inverter.idle_power_w
    if daily_wh <= 0.0:
        raise InputError(
            Fault(
                where="loads.critical",
                given="no energy, and an inverter that draws nothing idle",
                allowed="more than 0 Wh a day",
            )
        )
    bank = banks_of(job)[0]
    usable_wh = bank.capacity_wh * (1.0 - bank.reserve_frac) * bank.discharge_efficiency_frac
    return usable_wh * float(bank.capacity_factor.mean()) / daily_wh


def board_verdicts(job: Job, year: SupplyRun) -> list[Verdict]:
    """Checks of both boards and of the bank through the year."""
    dark = year.dark_hours("critical")
    waits = unserved_frac(year, "heavy")
    spell = year.longest_dark_spell_h("critical")
    checks = [
        Verdict(
            item="Critical board without full supply",
            found=f"{dark} h, longest {spell} h",
            limit="0 h",
            unit="",
            outcome=_critical_outcome(dark),
            clause="hour by hour over the typical year; a real year can be darker",
            remedy="" if dark == 0 else "more battery, more modules, or loads moved to the day",
        ),
        judged(
            waits <= HEAVY_WAIT_FRAC,
            item="Heavy board's energy that waits",
            found=f"{100.0 * waits:.1f}",
            limit=f"at most {100.0 * HEAVY_WAIT_FRAC:.0f}",
            unit="%",
            clause=NO_SOURCE,
            remedy="run heavy loads at midday, or a larger"
            " array; they wait while the battery is low",
        ),
    ]
    for board in BOARDS:
        inverter: Inverter = getattr(job.site.inverter, board)
        peaks = peaks_of(job.site.loads, board, folder=job.sitefile.folder)
        checks += rating_verdicts(
            board, peaks, inverter.continuous_power_w, inverter.surge_power_va
        )
        if job.site.loads.phases > 1:
            plan = share_out(getattr(job.site.loads, board), job.site.loads.phases)
            checks += phase_verdicts(board, plan)
    checks += bank_verdicts(job.site.battery, job.site.controller)
    return checks + _closing_verdict(year)


def _closing_verdict(year: SupplyRun) -> list[Verdict]:
    """A caution where the year's end does not meet its start; nothing where it does."""
    gap = year.closing_gap_frac
    if abs(gap) <= OPEN_YEAR_FRAC:
        return []
    return [
        Verdict(
            item="Charge at the end of the year against its start",
            found=f"{100.0 * gap:.1f}",
            limit=f"within {100.0 * OPEN_YEAR_FRAC:.1f}",
            unit="% of the bank",
            outcome="caution",
            clause="a typical year meets itself; this bank had not settled after many years",
            remedy="the bank is very large for the array: judge it over several years",
        )
    ]


OPEN_YEAR_FRAC = 0.001
"""Gap between the year's end and start, of the rated energy, that is still rounding."""


def _critical_outcome(dark_h: int) -> Outcome:
    if dark_h == 0:
        return "passed"
    return "caution" if dark_h <= CRITICAL_DARK_H else "failed"


CRITICAL_DARK_H = 24
"""Dark hours of the critical board in a typical year from which the design has failed."""


def flows_by_month(year: SupplyRun) -> pd.DataFrame:
    """Energy [kWh] of each month: sun offered, used, thrown away; boards served and not."""
    hours = year.hours
    table = pd.DataFrame(
        {
            "sun_offered_kwh": hours["solar_w"],
            "sun_thrown_away_kwh": year.spilled_w,
            "critical_served_kwh": hours["critical_served_w"],
            "critical_missed_kwh": year.unserved_w("critical"),
            "heavy_served_kwh": hours["heavy_served_w"],
            "heavy_missed_kwh": year.unserved_w("heavy"),
        }
    )
    for source in ("grid", "generator"):
        flows = [hours[f"{source}_to_{to}_w"] for to in (*BOARDS, "charge")]
        if any(flow.any() for flow in flows):
            table[f"{source}_kwh"] = sum(flows[1:], start=flows[0])
    sums = table.groupby(pd.DatetimeIndex(hours.index).month).sum() / 1000.0
    sums.index.name = "month"
    return sums


def battery_answer(job: Job, year: SupplyRun) -> str:
    """The answer in one sentence, from the figures."""
    dark = year.dark_hours("critical")
    lowest = 100.0 * float(year.state_of_charge.min())
    kept = (
        "the critical board is never short"
        if dark == 0
        else f"the critical board is short in {dark} hours, the longest spell"
        f" {year.longest_dark_spell_h('critical')} h"
    )
    waits = 100.0 * unserved_frac(year, "heavy")
    heavy = (
        "the heavy board never waits"
        if waits < 0.05
        else f"{waits:.1f} % of the heavy board's energy waits"
    )
    return (
        f"In the typical year {kept}, {heavy}, and the"
        f" {year.capacity_wh / 1000.0:.1f} kWh bank goes down to {lowest:.0f} %."
    )
