"""A run of dull days: what a week of haze does to the boards."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solarcalc.harvest.energy import Harvest
from solarcalc.job.boards import supply_of_sun
from solarcalc.job.opening import Job
from solarcalc.supply.run import SupplyRun

HAZE_DAYS = 7
HAZE_LIGHT = (0.5, 0.3, 0.15)
"""Share of the sun left in a light, a thick and a very thick haze; round figures to see by."""


def haze_table(job: Job, harvest: Harvest, year: SupplyRun) -> list[dict[str, Any]]:
    """What a week of haze does, at the time of year when the bank is lowest anyway.

    Returns
    -------
    list of dict
        One row a haze: sun left, dark hours of the critical board in the year and what they are
        more than without, lowest charge, energy of the heavy board that waits in the week.
    """
    first = hardest_day(year)
    rows = []
    for left in (1.0, *HAZE_LIGHT):
        run = year if left == 1.0 else _with_haze(job, harvest, first, left)
        week = slice(24 * first, 24 * (first + HAZE_DAYS))
        rows.append(
            {
                "sun left in the week [%]": 100.0 * left,
                "critical board dark [h/year]": run.dark_hours("critical"),
                "lowest charge [%]": 100.0 * float(run.state_of_charge.min()),
                "heavy board waits in the week [kWh]": float(
                    run.unserved_w("heavy").iloc[week].sum()
                )
                / 1000.0,
            }
        )
    return rows


def hardest_day(year: SupplyRun) -> int:
    """First day of the seven whose mean state of charge is the lowest, counted from 0."""
    daily = year.state_of_charge.to_numpy().reshape(-1, 24).mean(axis=1)
    weekly = np.convolve(daily, np.ones(HAZE_DAYS), mode="valid")
    return int(np.argmin(weekly))


def _with_haze(job: Job, harvest: Harvest, first_day: int, left: float) -> SupplyRun:
    sun: pd.Series = harvest.hours["bus_w"].copy()
    sun.iloc[24 * first_day : 24 * (first_day + HAZE_DAYS)] *= left
    return supply_of_sun(job, sun)


def haze_sentence(rows: list[dict[str, Any]]) -> str:
    """How much haze the critical board bears, in words."""
    dark = [int(row["critical board dark [h/year]"]) for row in rows]
    worse = [row for row, hours in zip(rows[1:], dark[1:], strict=True) if hours > dark[0]]
    if not worse:
        return (
            f"The critical board bears a week with {rows[-1]['sun left in the week [%]']:.0f} % of"
            " its sun at the hardest time of the year without another dark hour."
        )
    first = worse[0]
    return (
        f"A week with {first['sun left in the week [%]']:.0f} % of its sun at the hardest time of"
        f" the year brings the critical board"
        f" {int(first['critical board dark [h/year]']) - dark[0]} more dark hours."
    )
