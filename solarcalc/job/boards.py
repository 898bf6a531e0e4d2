"""The two boards through the year: who is served, how low the battery goes, what is thrown away."""

from __future__ import annotations

import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.verdict import Outcome, Verdict, judged
from solarcalc.battery import store_of
from solarcalc.harvest.energy import Harvest
from solarcalc.job.opening import Job
from solarcalc.loads import energy_per_day_wh, hourly_power_w, peak_power_w
from solarcalc.sitefile.records import Inverter
from solarcalc.supply import Board, Shedding, SupplyYear, simulate_year

BOARDS = ("critical", "heavy")
HEAVY_WAIT_FRAC = 0.05
"""Share of the heavy board's energy that may wait before it is worth a word."""


def supply_year(job: Job, harvest: Harvest) -> SupplyYear:
    """Run the job's year: its array, its battery bank and its two boards."""
    site = job.site
    index = pd.DatetimeIndex(job.weather.hours.index)
    loads = pd.DataFrame(
        {
            "critical": hourly_power_w(site.loads.critical, index),
            "heavy": hourly_power_w(site.loads.heavy, index),
        }
    )
    return simulate_year(
        harvest.hours["bus_w"],
        loads,
        store_of(site.battery),
        {"critical": _board(site.inverter.critical), "heavy": _board(site.inverter.heavy)},
        Shedding(off_frac=site.battery.heavy_shed_frac, on_frac=site.battery.heavy_return_frac),
    )


def _board(inverter: Inverter) -> Board:
    return Board(
        rating_w=inverter.continuous_power_w,
        efficiency_frac=inverter.efficiency_frac,
        idle_w=inverter.idle_power_w,
    )


def unserved_frac(year: SupplyYear, board: str) -> float:
    """Share of a board's yearly energy that was not served, [0 to 1]; 0 without a load."""
    asked = float(year.hours[f"{board}_load_w"].sum())
    return float(year.unserved_w(board).sum()) / asked if asked > 0.0 else 0.0


def autonomy_days(job: Job) -> float:
    """Days the full bank carries the critical board alone, down to the reserve.

    The inverter's loss and idle draw are counted.

    Raises
    ------
    InputError
        When neither the board nor its inverter draws anything: the days would have no end.
    """
    inverter = job.site.inverter.critical
    daily_wh = energy_per_day_wh(job.site.loads.critical) / inverter.efficiency_frac
    daily_wh += 24.0 * inverter.idle_power_w
    if daily_wh <= 0.0:
        raise InputError(
            Fault(
                where="loads.critical",
                given="no energy, and an inverter that draws nothing idle",
                allowed="more than 0 Wh a day",
            )
        )
    return store_of(job.site.battery).usable_wh / daily_wh


def board_verdicts(job: Job, year: SupplyYear) -> list[Verdict]:
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
    checks += [_rating_verdict(job, board) for board in BOARDS]
    return checks + _closing_verdict(year)


def _closing_verdict(year: SupplyYear) -> list[Verdict]:
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


def _rating_verdict(job: Job, board: str) -> Verdict:
    inverter: Inverter = getattr(job.site.inverter, board)
    peak_w = peak_power_w(getattr(job.site.loads, board))
    fits = peak_w <= inverter.continuous_power_w
    return judged(
        fits,
        "failed",
        item=f"Peak of the {board} board on its inverter",
        found=f"{peak_w:.0f}",
        limit=f"at most {inverter.continuous_power_w:.0f}",
        unit="W",
        clause="all appliances of the same minute at once; starting surge not counted here",
        remedy="a larger inverter, or loads that take turns",
    )


def flows_by_month(year: SupplyYear) -> pd.DataFrame:
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
    sums = table.groupby(pd.DatetimeIndex(hours.index).month).sum() / 1000.0
    sums.index.name = "month"
    return sums


def battery_answer(job: Job, year: SupplyYear) -> str:
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
        f" {year.store.capacity_wh / 1000.0:.1f} kWh bank goes down to {lowest:.0f} %."
    )
