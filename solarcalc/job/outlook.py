"""What the yield workbook says beyond the middle figure: how sure it is, and when to wash."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from solarcalc.harvest.energy import Harvest
from solarcalc.harvest.uncertainty import combined_frac, exceeded_kwh, uncertainties_of

P90_FRAC = 0.9
"""Chance with which the P90 energy is exceeded, by its name."""


def uncertainty_table(harvest: Harvest) -> list[dict[str, object]]:
    """Each uncertainty with its source, and all together."""
    parts = uncertainties_of(harvest)
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


def sureness_values(harvest: Harvest) -> dict[str, float | int | str]:
    """Energy in the middle, energy exceeded with a chance of nine in ten, and the spread."""
    sigma = combined_frac(uncertainties_of(harvest))
    return {
        "p50_energy_kwh": round(harvest.ac_kwh),
        "p90_energy_kwh": round(exceeded_kwh(harvest.ac_kwh, sigma, chance_frac=P90_FRAC)),
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
