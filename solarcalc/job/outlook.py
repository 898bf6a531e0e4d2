"""What the yield workbook says beyond the middle figure: how sure it is, and when to wash."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from solarcalc.basis.hours import MONTHS
from solarcalc.harvest.energy import (
    Harvest,
    Uncertainty,
    combined_frac,
    exceeded_kwh,
    uncertainties_of,
)
from solarcalc.harvest.heat import gap_table
from solarcalc.job.opening import Job
from solarcalc.sitefile.records import MONTHLY

P90_FRAC = 0.9
"""Chance with which the P90 energy is exceeded, by its name."""


def _uncertainties(job: Job, harvest: Harvest) -> tuple[Uncertainty, ...]:
    return uncertainties_of(harvest, made_year=job.site.weather.source == MONTHLY)


def uncertainty_table(job: Job, harvest: Harvest) -> list[dict[str, object]]:
    """Each uncertainty with its source, and all together."""
    parts = _uncertainties(job, harvest)
    rows: list[dict[str, object]] = [
        {
            "what is uncertain": part.name,
            "standard deviation [%]": 100.0 * part.sigma_frac,
            "source": part.source,
        }
        for part in parts
    ]
    rows.append(
        {
            "what is uncertain": "All together",
            "standard deviation [%]": 100.0 * combined_frac(parts),
            "source": "root of the sum of squares: taken as independent of one another",
        }
    )
    return rows


def promised_kwh(job: Job, harvest: Harvest) -> float:
    """Usable energy of a year that is exceeded with a chance of nine in ten, P90 [kWh]."""
    sigma = combined_frac(_uncertainties(job, harvest))
    return exceeded_kwh(harvest.ac_kwh, sigma, chance_frac=P90_FRAC)


def yield_answer(job: Job, harvest: Harvest) -> str:
    """The answer in one sentence, from the figures."""
    months = harvest.by_month()["ac_kwh"].to_numpy()
    least, most = int(np.argmin(months)), int(np.argmax(months))
    return (
        f"{job.site.array.module_count} modules, {harvest.peak_kwp:.2f} kWp, give"
        f" {harvest.ac_kwh:,.0f} kWh a year for use, from {months[least]:,.0f} kWh in"
        f" {MONTHS[least]} to {months[most]:,.0f} kWh in {MONTHS[most]}, at a performance ratio"
        f" of {harvest.performance_ratio:.2f}; with a chance of nine in ten a year gives more than"
        f" {promised_kwh(job, harvest):,.0f} kWh."
    )


def gap_rows(job: Job) -> list[dict[str, object]]:
    """What air under the modules does in full sun, one row a gap."""
    return [
        {
            "gap [cm]": 100.0 * line["gap_m"],
            "cell [°C]": line["cell_c"],
            "above an open frame [K]": line["above_open_k"],
            "power lost to it [%]": 100.0 * line["power_lost_frac"],
        }
        for _, line in gap_table(job.site.module).iterrows()
    ]


def sureness_values(job: Job, harvest: Harvest) -> dict[str, float | int | str]:
    """Energy in the middle, energy exceeded with a chance of nine in ten, and the spread."""
    sigma = combined_frac(_uncertainties(job, harvest))
    return {
        "p50_energy_kwh": round(harvest.ac_kwh),
        "p90_energy_kwh": round(promised_kwh(job, harvest)),
        "standard_deviation_frac": round(sigma, 3),
    }


def cleaning_table(plan: pd.DataFrame) -> list[dict[str, object]]:
    """One row an interval between washes."""
    return [
        {
            "wash every [days]": f"{row['interval_days']:.0f}" if row["washes"] else "never",
            "washes a year": int(row["washes"]),
            "lost to dust [%]": 100.0 * row["dust_loss_frac"],
            "energy won [kWh]": row["won_kwh"],
            "cost of washing [kWh]": row["cost_kwh"],
            "net [kWh]": row["net_kwh"],
        }
        for _, row in plan.iterrows()
    ]


def chosen_days_sentence(chosen: tuple[Sequence[str], float]) -> str:
    """The washes that pay one by one, in words."""
    days, net_kwh = chosen
    if not days:
        return "Chosen one by one, no wash of the year wins its cost."
    return (
        f"Chosen one by one, washes on {', '.join(days)} (month-day) win {net_kwh:.0f} kWh a year"
        " net."
    )
