"""When a wash pays: energy won by washing at several intervals against what the washes cost."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import TYPICAL_YEAR
from solarcalc.harvest.energy import Harvest
from solarcalc.job.array import open_plane, standing
from solarcalc.job.opening import Job
from solarcalc.soiling import soiling_loss_frac

WASH_INTERVALS_DAYS = (7, 14, 21, 30, 45, 60, 90, 120, 180)
"""Intervals tried [days]."""


CANDIDATE_DAYS = tuple(f"{month:02d}-{day:02d}" for month in range(1, 13) for day in (1, 15))
"""Days a single wash is tried on."""


def wash_dates(interval_days: int) -> list[str]:
    """Month and day of washes an interval apart through the year, the first on 1 January."""
    first = pd.Timestamp(TYPICAL_YEAR, 1, 1)
    days = range(0, 365 - interval_days // 2, interval_days)
    return [f"{first + pd.Timedelta(days=day):%m-%d}" for day in days]


def cleaning_plan(
    job: Job,
    harvest: Harvest,
    *,
    wash_cost_kwh: float,
    intervals_days: Sequence[int] = WASH_INTERVALS_DAYS,
) -> pd.DataFrame:
    """Energy won by washing every so many days, over no washing at all but the rain's.

    Parameters
    ----------
    job : Job
    harvest : Harvest
        Of the job as its site file has it.
    wash_cost_kwh : float
        What one wash costs, in energy of the array [kWh]: money for a wash over money for a kWh.
    intervals_days : sequence of int
        Intervals to try [days].

    Returns
    -------
    DataFrame, one row an interval
        ``interval_days``, ``washes``, ``dust_loss_frac`` (of the year's energy), ``won_kwh``
        over no washing, ``cost_kwh``, ``net_kwh``. The first row, interval 0, is no washing.

    Raises
    ------
    InputError
        For a negative or missing cost.

    Notes
    -----
    Energy is taken in proportion to the light that passes the dust, hour by hour: the harvest's
    own energy over what its own dust let through, times what the tried dust lets through.
    """
    _refuse_bad_cost(wash_cost_kwh)
    clean_wh, tilt_deg = _clean_energy(job, harvest)
    table = []
    for days in (0, *sorted(intervals_days, reverse=True)):
        dates = wash_dates(days) if days else []
        kept_kwh = _kept_kwh(job, clean_wh, tilt_deg, dates)
        table.append((days, len(dates), _lost(kept_kwh, clean_wh), kept_kwh))
    plan = pd.DataFrame(table, columns=["interval_days", "washes", "dust_loss_frac", "energy_kwh"])
    plan["won_kwh"] = plan["energy_kwh"] - plan["energy_kwh"].iloc[0]
    plan["cost_kwh"] = plan["washes"] * wash_cost_kwh
    plan["net_kwh"] = plan["won_kwh"] - plan["cost_kwh"]
    return plan.drop(columns="energy_kwh")


def best_wash_dates(
    job: Job, harvest: Harvest, *, wash_cost_kwh: float, most: int = 12
) -> tuple[list[str], float]:
    """Wash days chosen one after the other, each where it wins most, while it wins its cost.

    Returns
    -------
    list of str, float
        Days as ``"MM-DD"`` in calendar order, and the net energy they win over none [kWh].

    Notes
    -----
    Days are taken from the 1st and the 15th of the months. Each wash is the best one beside those
    already chosen, which need not be the best set of all.
    """
    _refuse_bad_cost(wash_cost_kwh)
    clean_wh, tilt_deg = _clean_energy(job, harvest)
    chosen: list[str] = []
    start = best = _kept_kwh(job, clean_wh, tilt_deg, [])
    while len(chosen) < most:
        tried = {
            day: _kept_kwh(job, clean_wh, tilt_deg, sorted([*chosen, day]))
            for day in CANDIDATE_DAYS
            if day not in chosen
        }
        day = max(tried, key=lambda one: tried[one])
        if tried[day] - best <= wash_cost_kwh:
            break
        chosen, best = sorted([*chosen, day]), tried[day]
    return chosen, best - start - wash_cost_kwh * len(chosen)


def cleaning_answer(plan: pd.DataFrame, *, wash_cost_kwh: float) -> str:
    """The answer in one sentence, from the figures."""
    best = plan.iloc[int(np.argmax(plan["net_kwh"].to_numpy()))]
    worst = 100.0 * float(plan["dust_loss_frac"].iloc[0])
    if best["interval_days"] == 0:
        return (
            f"Left to the rain, dust takes {worst:.1f} % of the year's energy; at {wash_cost_kwh:g}"
            " kWh a wash, no washing pays."
        )
    return (
        f"Left to the rain, dust takes {worst:.1f} % of the year's energy; at {wash_cost_kwh:g} kWh"
        f" a wash, washing every {best['interval_days']:.0f} days is best and wins"
        f" {best['net_kwh']:.0f} kWh a year net."
    )


def _refuse_bad_cost(wash_cost_kwh: float) -> None:
    if not wash_cost_kwh >= 0.0:
        raise InputError(
            Fault(where="wash_cost_kwh", given=str(wash_cost_kwh), allowed="0 kWh or more")
        )


def _clean_energy(job: Job, harvest: Harvest) -> tuple[pd.Series, float]:
    """Array energy by hour if there were no dust [Wh], and the modules' tilt [deg]."""
    rows = standing(job).rows
    _, own_loss = open_plane(job, rows.tilt_deg, rows.azimuth_deg)
    clean: pd.Series = harvest.hours["dc_w"] / (1.0 - own_loss)
    return clean, rows.tilt_deg


def _kept_kwh(job: Job, clean_wh: pd.Series, tilt_deg: float, dates: list[str]) -> float:
    plan = job.site.soiling.model_copy(update={"cleaning_dates": dates})
    loss = soiling_loss_frac(job.weather.hours, plan, tilt_deg=tilt_deg)
    return float((clean_wh * (1.0 - loss)).sum()) / 1000.0


def _lost(kept_kwh: float, clean_wh: pd.Series) -> float:
    total_kwh = float(clean_wh.sum()) / 1000.0
    return 1.0 - kept_kwh / total_kwh if total_kwh > 0.0 else 0.0
