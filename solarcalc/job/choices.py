"""The best of many arrays, in tables and words."""

from __future__ import annotations

from typing import Any

import pandas as pd

from solarcalc.job.array import standing
from solarcalc.job.opening import Job
from solarcalc.sweep.ranking import Better, best, trade_off_front

_WISHES: tuple[tuple[str, str, Better], ...] = (
    ("most energy of the roof", "roof_kwh", "more"),
    ("most energy of each kWp", "kwh_per_kwp", "more"),
    ("most energy of each m² of rows", "kwh_per_m2", "more"),
    ("lowest cost of each kWh", "cost_per_kwh", "less"),
)


def bests_of_field(table: pd.DataFrame) -> pd.DataFrame:
    """The best array by each wish, one line a wish, named in ``wish``."""
    lines = [
        best(table, column, better=better).assign(wish=wish)
        for wish, column, better in _WISHES
    ]
    return pd.concat(lines, ignore_index=True)


def front_of_field(table: pd.DataFrame) -> pd.DataFrame:
    """The arrays no other beats in both energy of the roof and cost of a kWh."""
    return trade_off_front(
        table, first=("roof_kwh", "more"), second=("cost_per_kwh", "less")
    )


def bests_table(job: Job, table: pd.DataFrame) -> list[dict[str, Any]]:
    """The best arrays for a page."""
    currency = job.site.costs.currency
    return [
        {
            "best by": line["wish"],
            "array": _named(line),
            "modules": int(line["modules"]),
            "roof [kWh]": f"{line['roof_kwh']:,.0f}",
            "each kWp [kWh]": f"{line['kwh_per_kwp']:,.0f}",
            "each m² [kWh]": f"{line['kwh_per_m2']:.0f}",
            f"1000 kWh cost [{currency}]": f"{1000.0 * line['cost_per_kwh']:.3g}",
        }
        for _, line in bests_of_field(table).iterrows()
    ]


def field_sentence(job: Job, table: pd.DataFrame) -> str:
    """What the field says, in one sentence."""
    bests, front = bests_of_field(table).set_index("wish"), front_of_field(table)
    most, least = bests.iloc[0], bests.iloc[3]
    kept = 100.0 * (least["roof_kwh"] / most["roof_kwh"])
    start = (
        f"Of {len(table):,} arrays tried on this roof, {_named(most)} gives most,"
        f" {most['roof_kwh']:,.0f} kWh a year"
    )
    if most["cost_per_kwh"] == least["cost_per_kwh"]:
        return f"{start}, and its kWh are also the cheapest."
    return (
        f"{start}; the cheapest kWh come from {_named(least)}, which gives {kept:.0f} % of that at"
        f" {100.0 * (least['cost_per_kwh'] / most['cost_per_kwh']):.0f} % of its cost a kWh."
        f" {len(front)} arrays are beaten by no other in both."
    )


def _named(line: pd.Series) -> str:
    up = int(line["modules_up"])
    high = "" if up == 1 else f" {up} up"
    return (
        f"{line['orientation']}{high}, tilted {line['tilt_deg']:g}°, {line['pitch_m']:.2f} m apart"
        f" and {line['plan']}"
    )


def planes_sentence(job: Job, planes: pd.DataFrame) -> str:
    """How much the site's own plane gives of the best one, in words."""
    known = planes.dropna()
    best_line = known.iloc[int(known["kwh_per_kwp"].argmax())]
    rows = standing(job).rows
    near = known[known["kwh_per_kwp"] >= 0.97 * best_line["kwh_per_kwp"]]
    return (
        f"Best is {best_line['tilt_deg']:.0f}° facing {best_line['azimuth_deg']:.0f}° from north;"
        f" {100.0 * len(near) / len(known):.0f} % of the planes tried are within 3 % of it. This"
        f" site's modules stand at {rows.tilt_deg:.0f}° facing {rows.azimuth_deg:.0f}°."
    )
