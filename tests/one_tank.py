"""A bank of one tank, without taper or temperature, for hand-made cases of the supply."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from solarcalc.battery.bank import Bank
from solarcalc.supply.run import SupplyRun, simulate
from solarcalc.supply.system import System


@dataclass(frozen=True, kw_only=True)
class Store:
    """A battery bank as the hour-by-hour balance needs it.

    Parameters
    ----------
    capacity_wh : float
        Rated energy [Wh].
    voltage_v : float
        Nominal voltage of the bank [V].
    min_soc_wh : float
        Energy below which nothing is drawn [Wh].
    charge_efficiency_frac, discharge_efficiency_frac : float
    max_charge_w, max_discharge_w : float
        At the terminals [W].
    self_discharge_frac_per_h : float
        Of what is stored, each hour.
    """

    capacity_wh: float
    voltage_v: float
    min_soc_wh: float
    charge_efficiency_frac: float
    discharge_efficiency_frac: float
    max_charge_w: float
    max_discharge_w: float
    self_discharge_frac_per_h: float

    @property
    def usable_wh(self) -> float:
        """Energy at the terminals between full and reserve [Wh]."""
        return (self.capacity_wh - self.min_soc_wh) * self.discharge_efficiency_frac


def bank_of_store(store: Store, hour_count: int) -> Bank:
    """The one-tank store as a bank of one well, without taper and at any temperature.

    Parameters
    ----------
    store : Store
    hour_count : int
    """
    return Bank(
        capacity_wh=store.capacity_wh,
        voltage_v=store.voltage_v,
        available_frac=1.0,
        exchange_per_h=1.0,
        min_soc_frac=store.min_soc_wh / store.capacity_wh,
        charge_efficiency_frac=store.charge_efficiency_frac,
        discharge_efficiency_frac=store.discharge_efficiency_frac,
        max_charge_w=store.max_charge_w,
        max_discharge_w=store.max_discharge_w,
        acceptance_per_h=float("inf"),
        self_discharge_frac_per_h=store.self_discharge_frac_per_h,
        capacity_factor=np.ones(hour_count),
        charge_factor=np.ones(hour_count),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class TankYear(SupplyRun):
    """A run with its store beside it."""

    store: Store

    @property
    def end_stored_wh(self) -> float:
        """Energy stored after the last hour [Wh]."""
        return self.end_wh["shared"]


def simulate_year(solar_w, loads_w, store: Store, boards, shedding) -> TankYear:
    """A year of sun, one tank and two boards."""
    system = System(
        banks=(bank_of_store(store, len(solar_w)),), boards=boards, shedding=shedding
    )
    return TankYear(**vars(simulate(solar_w, loads_w, system)), store=store)
