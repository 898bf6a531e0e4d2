"""The supply's machine code brought into a process before others are forked from it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from solarcalc.battery import Bank
from solarcalc.supply.boards import Board, Shedding
from solarcalc.supply.frontier import frontier
from solarcalc.supply.run import simulate
from solarcalc.supply.system import GridSupply, System

_HOURS = 24


def warm_up() -> None:
    """A day of a made-up system, with grid and without, one by one and searched; no thread."""
    index = pd.date_range("2001-01-01", periods=_HOURS, freq="h", tz="UTC")
    sun = pd.Series(100.0, index=index)
    loads = pd.DataFrame({"critical": 50.0, "heavy": 0.0}, index=index)
    board = Board(rating_w=1000.0, efficiency_frac=0.9, idle_w=1.0)
    grid = GridSupply(present_frac=np.ones(_HOURS), limit_w=100.0, charge_below_frac=0.5)
    for one in (None, grid):
        system = System(
            banks=(_bank(),), boards={"critical": board, "heavy": board},
            shedding=Shedding(off_frac=0.4, on_frac=0.6), grid=one,
        )  # fmt: skip
        simulate(sun, loads, system)
        frontier(sun, loads, system, array_scales=[1.0], bank_scales=[1.0], threads=1)


def _bank() -> Bank:
    return Bank(
        capacity_wh=1000.0, voltage_v=48.0, available_frac=0.5, exchange_per_h=0.5,
        reserve_frac=0.2, charge_efficiency_frac=0.9, discharge_efficiency_frac=0.9,
        max_charge_w=200.0, max_discharge_w=200.0, acceptance_per_h=0.5,
        self_discharge_frac_per_h=1e-5, capacity_factor=np.ones(_HOURS),
        charge_factor=np.ones(_HOURS),
    )  # fmt: skip
