"""The energies of a year of supply: each is defined here once, by the flows it is the sum of.

``available`` is what the array gives at the battery's bar, behind the charge controllers, were all
of it wanted; ``curtailed`` the part that neither a board nor a battery took. ``demand`` is asked
for and ``supplied`` is met in alternating current at the boards, whatever source it came from;
``not_supplied`` is the rest of the demand. ``grid`` and ``generator`` are what was drawn from
them. What the array alone would give behind the inverters is another quantity, the potential
final yield of `harvest.energy.Harvest`: no battery and no demand stand in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import pandas as pd

from solarcalc.sitefile.loads import BOARDS, Board
from solarcalc.supply.run import SupplyRun

Energy = Literal[
    "available", "used", "curtailed", "demand", "supplied", "not_supplied", "essential_demand",
    "essential_supplied", "essential_not_supplied", "nonessential_demand", "nonessential_supplied",
    "nonessential_not_supplied", "grid", "generator",
]  # fmt: skip
_BOARD = {"demand": "load_w", "supplied": "served_w", "not_supplied": "unserved_w"}
_FLOWS: Mapping[str, list[str]] = {
    "available": ["solar_w"],
    "used": ["solar_used_w"],
    "curtailed": ["solar_spilled_w"],
    **{name: [f"essential_{flow}", f"nonessential_{flow}"] for name, flow in _BOARD.items()},
    **{f"{board}_{name}": [f"{board}_{flow}"]
       for board in BOARDS for name, flow in _BOARD.items()},
    **{source: [f"{source}_to_{to}_w" for to in ("essential", "nonessential", "charge")]
       for source in ("grid", "generator")},
}  # fmt: skip


def energy_w(year: SupplyRun, name: Energy) -> pd.Series:
    """One energy hour by hour, as its mean power [W]."""
    flows = [year.hours[flow] for flow in _FLOWS[name]]
    return sum(flows[1:], start=flows[0])


def energy_kwh(year: SupplyRun, name: Energy) -> float:
    """One energy over the year [kWh]."""
    return float(energy_w(year, name).sum()) / 1000.0


def energy_by_month_kwh(power_w: pd.Series | pd.DataFrame) -> pd.DataFrame:
    """Hourly means summed by month, 1 to 12 [kWh]."""
    table = pd.DataFrame(power_w)
    sums: pd.DataFrame = table.groupby(pd.DatetimeIndex(table.index).month).sum() / 1000.0
    sums.index.name = "month"
    return sums


def not_supplied_frac(year: SupplyRun, board: Board) -> float:
    """Share of a board's demand that was not supplied, [0 to 1]; 0 without a demand."""
    asked: Energy = "essential_demand" if board == "essential" else "nonessential_demand"
    missed: Energy = (
        "essential_not_supplied" if board == "essential" else "nonessential_not_supplied"
    )
    demand = energy_kwh(year, asked)
    return energy_kwh(year, missed) / demand if demand > 0.0 else 0.0


def curtailed_frac(year: SupplyRun) -> float:
    """Share of what the array had available that was curtailed, [0 to 1]; 0 without any."""
    available = energy_kwh(year, "available")
    return energy_kwh(year, "curtailed") / available if available > 0.0 else 0.0


def reaching_frac(year: SupplyRun) -> float:
    """What was supplied over what sun, grid and generator put in, [0 to 1]; 1 where nothing was.

    Losses of batteries and inverters, and what these draw idle, are all in it.
    """
    put_in = sum(energy_kwh(year, name) for name in ("used", "grid", "generator"))
    return min(1.0, energy_kwh(year, "supplied") / put_in) if put_in > 0.0 else 1.0
