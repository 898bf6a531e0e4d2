"""The store: a bank as one tank of energy with limits of rate, losses and self-discharge.

A first model, stated as such: capacity does not fall with current, charge acceptance does not
taper and temperature has no effect. It sits behind `Store` so that a kinetic model can follow.
"""

from __future__ import annotations

from dataclasses import dataclass

from solarcalc.basis.sourced import NO_SOURCE, Sourced
from solarcalc.sitefile.records import Battery

STORE_MODEL = Sourced(
    label="Battery model",
    value="one tank of energy with fixed efficiencies and rate limits",
    unit="",
    source=NO_SOURCE,
)
HOURS_IN_MONTH = 730.0
"""8760 / 12 [h]."""


@dataclass(frozen=True, kw_only=True)
class Store:
    """A battery bank as the hour-by-hour balance needs it.

    Parameters
    ----------
    capacity_wh : float
        Rated energy [Wh].
    voltage_v : float
        Nominal voltage of the bank [V].
    reserve_wh : float
        Energy below which nothing is drawn [Wh].
    charge_efficiency_frac, discharge_efficiency_frac : float
    max_charge_w, max_discharge_w : float
        At the terminals [W].
    self_discharge_frac_per_h : float
        Of what is stored, each hour.
    """

    capacity_wh: float
    voltage_v: float
    reserve_wh: float
    charge_efficiency_frac: float
    discharge_efficiency_frac: float
    max_charge_w: float
    max_discharge_w: float
    self_discharge_frac_per_h: float

    @property
    def usable_wh(self) -> float:
        """Energy at the terminals between full and reserve [Wh]."""
        return (self.capacity_wh - self.reserve_wh) * self.discharge_efficiency_frac


def store_of(battery: Battery) -> Store:
    """The bank of the site file.

    Notes
    -----
    Voltage = unit voltage x units in series; capacity = that x unit ampere-hours x units in
    parallel. Rate limits are the C-rates on the rated capacity. Self-discharge is the monthly
    fraction spread over the hours as 1 - (1 - f)^(1/730).
    """
    voltage_v = battery.unit_voltage_v * battery.units_in_series
    capacity_wh = voltage_v * battery.unit_capacity_ah * battery.units_in_parallel
    return Store(
        capacity_wh=capacity_wh,
        voltage_v=voltage_v,
        reserve_wh=capacity_wh * battery.reserve_frac,
        charge_efficiency_frac=battery.charge_efficiency_frac,
        discharge_efficiency_frac=battery.discharge_efficiency_frac,
        max_charge_w=capacity_wh * battery.max_charge_c_rate,
        max_discharge_w=capacity_wh * battery.max_discharge_c_rate,
        self_discharge_frac_per_h=1.0
        - (1.0 - battery.self_discharge_frac_per_month) ** (1.0 / HOURS_IN_MONTH),
    )
