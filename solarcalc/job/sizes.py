"""Array and bank in other sizes: what each leaves dark and costs, and the smallest that will do.

Not among the names of `solarcalc.job`: it brings in a compiler (see `solarcalc.job.search`).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from solarcalc.harvest.energy import Harvest
from solarcalc.job.bank_life import bank_price
from solarcalc.job.boards import loads_of, supply_system
from solarcalc.job.opening import Job
from solarcalc.supply.frontier import Prices, cost_front, frontier, smallest_that_meets, with_cost

MOST_TIMES = 3
"""Sizes go up to so many times those of the site."""
LEAST_STEPS = 8


def sizes_of(own: int) -> list[int]:
    """Whole numbers of strings or parallel units to try: from one to some times the site's."""
    return list(range(1, max(MOST_TIMES * own, LEAST_STEPS) + 1))


def size_table(job: Job, harvest: Harvest) -> pd.DataFrame:
    """Every number of module strings with every number of parallel battery units.

    Returns
    -------
    DataFrame
        ``strings``, ``units``, ``array_kwp``, ``bank_kwh``; dark hours, energy not served, fuel
        as `solarcalc.supply.frontier.frontier` has them; ``cost`` in the site's currency, fuel
        over the lifetime in it.

    Notes
    -----
    The sun of the site's own array is scaled: other rows would shade one another a little
    differently, and the controllers' limit is taken to grow with the array.
    """
    site, costs = job.site, job.site.costs
    own_strings = site.array.string_count
    own_units = site.battery.units_in_parallel
    strings, units = sizes_of(own_strings), sizes_of(own_units)
    table = frontier(
        harvest.hours["bus_w"], loads_of(job), supply_system(job),
        array_scales=np.array(strings) / own_strings, bank_scales=np.array(units) / own_units,
    )  # fmt: skip
    prices = Prices(
        array=site.array.module_count * costs.per_module,
        bank=bank_price(job),
        per_fuel_l=costs.per_fuel_l * costs.lifetime_years,
        fixed=costs.fixed,
    )
    table = with_cost(table, prices)
    table["strings"] = np.round(table["array_scale"] * own_strings).astype(int)
    table["units"] = np.round(table["bank_scale"] * own_units).astype(int)
    table["array_kwp"] = table["array_scale"] * harvest.peak_kwp
    table["bank_kwh"] = table["bank_scale"] * site.battery.rated_wh / 1000.0
    return table


def smallest(table: pd.DataFrame, *, allowed_dark_h: float) -> pd.Series | None:
    """The cheapest pair whose critical board is dark no longer than that; None where none is."""
    return smallest_that_meets(table, {"critical_dark_h": allowed_dark_h})


def front_of_sizes(table: pd.DataFrame) -> pd.DataFrame:
    """The pairs no other beats in both cost and dark hours, cheapest first."""
    return cost_front(table)


def front_rows(job: Job, front: pd.DataFrame) -> list[dict[str, Any]]:
    """Steps along the front, at most a dozen, for a page."""
    keep = np.unique(np.linspace(0, len(front) - 1, min(len(front), 12)).round().astype(int))
    return [
        {
            "strings": int(line["strings"]),
            "array [kWp]": f"{line['array_kwp']:.2f}",
            "parallel units": int(line["units"]),
            "bank [kWh]": f"{line['bank_kwh']:.1f}",
            f"cost [{job.site.costs.currency}]": f"{line['cost']:.4g}",
            "critical board dark [h]": int(line["critical_dark_h"]),
            "heavy board short [h]": int(line["heavy_dark_h"]),
            "fuel [l]": f"{line['fuel_l']:.0f}",
        }
        for _, line in front.iloc[keep].iterrows()
    ]


def sizes_sentence(job: Job, table: pd.DataFrame, *, allowed_dark_h: float) -> str:
    """The smallest system that meets the target, beside the site's own, in words."""
    line = smallest(table, allowed_dark_h=allowed_dark_h)
    own = own_line(job, table)
    if line is None:
        return (
            f"None of the {len(table):,} pairs tried, up to {table['array_kwp'].max():.1f} kWp and"
            f" {table['bank_kwh'].max():.0f} kWh, keeps the critical board dark for at most"
            f" {allowed_dark_h:g} h a year."
        )
    return (
        f"The cheapest of {len(table):,} pairs that leaves the critical board dark for at most"
        f" {allowed_dark_h:g} h a year has {line['array_kwp']:.2f} kWp and"
        f" {line['bank_kwh']:.1f} kWh; this site has {own['array_kwp']:.2f} kWp and"
        f" {own['bank_kwh']:.1f} kWh, at {own['cost'] / line['cost']:.2f} times its cost and"
        f" {int(own['critical_dark_h'])} dark hours."
    )


def own_line(job: Job, table: pd.DataFrame) -> pd.Series:
    """The line of the site's own sizes."""
    array, battery = job.site.array, job.site.battery
    own = (table["strings"] == array.string_count) & (
        table["units"] == battery.units_in_parallel
    )
    return table[own].iloc[0]


def simulated_kwh(job: Job, table: pd.DataFrame, allowed_dark_h: float) -> float:
    """Smallest bank that meets the target with the site's own array [kWh].

    The largest one tried where none does.
    """
    strings = job.site.array.string_count
    own = table[table["strings"] == strings]
    meets = own[own["critical_dark_h"] <= allowed_dark_h]
    return float(meets["bank_kwh"].min() if len(meets) else own["bank_kwh"].max())
