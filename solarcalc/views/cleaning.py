"""When a wash pays: energy won by washing at several intervals against what the washes cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from solarcalc.basis.hours import TYPICAL_YEAR
from solarcalc.design import Design
from solarcalc.energy.diode import cells_of
from solarcalc.sitefile.losses import Soiling
from solarcalc.soiling import (
    dirt_band_kept_frac,
    dirt_band_of_year,
    dirt_band_strung,
    soiling_loss_frac,
)
from solarcalc.stages.array import standing
from solarcalc.views.rows import check_parameter

CLEANING_INTERVALS_DAYS = (7, 14, 21, 30, 45, 60, 90, 120, 180)
"""Intervals tried [days]."""


CANDIDATE_DAYS = tuple(f"{month:02d}-{day:02d}" for month in range(1, 13) for day in (1, 15))
"""Days a single wash is tried on."""


_ALIKE_KWH = 1e-6
"""Sums of a year that differ by less are taken as alike [kWh]."""


def even_cleaning_dates(interval_days: int) -> list[str]:
    """Month and day of washes an interval apart through the year, the first on 1 January."""
    first = pd.Timestamp(TYPICAL_YEAR, 1, 1)
    days = range(0, 365 - interval_days // 2, interval_days)
    return [f"{first + pd.Timedelta(days=day):%m-%d}" for day in days]


def cleaning_plan(
    design: Design, *, cleaning_cost_kwh: float,
    intervals_days: Sequence[int] = CLEANING_INTERVALS_DAYS
) -> pd.DataFrame:
    """Energy won by washing every so many days, over no washing at all but the rain's.

    Parameters
    ----------
    design : Design
    harvest : Harvest
        Of the job as its site file has it.
    cleaning_cost_kwh : float
        What one wash costs, in energy of the array [kWh]: money for a wash over money for a kWh.
    intervals_days : sequence of int
        Intervals to try [days].

    Returns
    -------
    DataFrame, one row an interval
        ``interval_days``, ``cleanings``, ``dust_loss_frac`` (of the year's energy), ``won_kwh``
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
    check_parameter("cleaning_cost_kwh", cleaning_cost_kwh, "kWh")
    clean = _clean(design)
    table = []
    for days in (0, *sorted(intervals_days, reverse=True)):
        dates = even_cleaning_dates(days) if days else []
        kept_kwh = clean.kept_kwh(dates)
        table.append((days, len(dates), _lost(kept_kwh, clean.wh), kept_kwh))
    plan = pd.DataFrame(table, columns=["interval_days", "cleanings", "dust_loss_frac",
                                        "energy_kwh"])
    plan["won_kwh"] = plan["energy_kwh"] - plan["energy_kwh"].iloc[0]
    plan["cost_kwh"] = plan["cleanings"] * cleaning_cost_kwh
    plan["net_kwh"] = plan["won_kwh"] - plan["cost_kwh"]
    return plan.drop(columns="energy_kwh")


def best_cleaning_dates(
    design: Design, *, cleaning_cost_kwh: float, most: int = 12
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

    An hour's light hangs on the latest wash before it and grows the later that was. So what one
    more wash wins falls with every wash beside it, what it won before is a bound of what it wins
    now, and a day whose bound is beaten is not tried again.
    """
    check_parameter("cleaning_cost_kwh", cleaning_cost_kwh, "kWh")
    clean = _clean(design)
    chosen: list[str] = []
    start = best = clean.kept_kwh([])
    most_kwh = dict.fromkeys(CANDIDATE_DAYS, float("inf"))
    while len(chosen) < most:
        tried: dict[str, float] = {}
        for day in sorted(most_kwh, key=lambda one: -most_kwh[one]):
            if tried and most_kwh[day] < max(tried.values()) - _ALIKE_KWH:
                break
            tried[day] = most_kwh[day] = clean.kept_kwh(sorted([*chosen, day])) - best
        day = max((one for one in CANDIDATE_DAYS if one in tried), key=lambda one: tried[one])
        if tried[day] <= cleaning_cost_kwh:
            break
        chosen, best = sorted([*chosen, day]), best + tried[day]
        del most_kwh[day]
    return chosen, best - start - cleaning_cost_kwh * len(chosen)


def cleaning_answer(plan: pd.DataFrame, *, cleaning_cost_kwh: float) -> str:
    """The answer in one sentence, from the figures.

    `plan`: one row a number of cleanings, energy [kWh/year].
    """
    best = plan.iloc[int(np.argmax(plan["net_kwh"].to_numpy()))]
    worst = 100.0 * float(plan["dust_loss_frac"].iloc[0])
    if best["interval_days"] == 0:
        return (
            f"Without manual cleaning, soiling costs {worst:.1f} % of the year's energy; at"
            f" {cleaning_cost_kwh:g} kWh per cleaning, cleaning at equal intervals does not pay."
        )
    return (
        f"Without manual cleaning, soiling costs {worst:.1f} % of the year's energy; at"
        f" {cleaning_cost_kwh:g} kWh per cleaning, an interval of"
        f" {best['interval_days']:.0f} days is best, with a net gain of"
        f" {best['net_kwh']:.0f} kWh/year."
    )


@dataclass(frozen=True, kw_only=True)
class _Clean:
    """Array energy by hour if there were no dust [Wh], and what a plan's dust then takes of it."""

    wh: pd.Series
    design: Design

    def passed(self, soiling: Soiling) -> pd.Series:
        """Share of the clean array's power under the dust and the strip of a plan, [0 to 1].

        The strip is looked up in the light on the plane, which is a little more than what
        reaches the cells: its share of power hardly depends on it.
        """
        hours, rows = self.design.weather.hours, standing(self.design).rows
        dirt_band = dirt_band_of_year(hours, soiling, tilt_deg=rows.tilt_deg,
                                      module_up_m=rows.module_up_m)
        kept = dirt_band_kept_frac(
            dirt_band, self.design.energy.hours["plane_w_m2"], self.design.energy.hours["cell_c"],
            strung=dirt_band_strung(cells_of(self.design.site.module), rows.orientation),
        )
        return kept * (1.0 - soiling_loss_frac(hours, soiling, tilt_deg=rows.tilt_deg))

    def kept_kwh(self, dates: list[str]) -> float:
        """Energy of the year with washes on these days [kWh]."""
        plan = self.design.site.soiling.model_copy(update={"cleaning_dates": dates})
        return float((self.wh * self.passed(plan)).sum()) / 1000.0


def _clean(design: Design) -> _Clean:
    as_is = _Clean(wh=design.energy.hours["dc_w"], design=design)
    return replace(as_is, wh=as_is.wh / as_is.passed(design.site.soiling))


def _lost(kept_kwh: float, clean_wh: pd.Series) -> float:
    total_kwh = float(clean_wh.sum()) / 1000.0
    return 1.0 - kept_kwh / total_kwh if total_kwh > 0.0 else 0.0
