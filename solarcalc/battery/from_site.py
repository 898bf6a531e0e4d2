"""The bank of the site file: its wells, its limits and what its room does to it."""

from __future__ import annotations

from functools import lru_cache

import numpy.typing as npt

from solarcalc.basis.hours import HOURS_IN_MONTH
from solarcalc.battery.bank import Bank
from solarcalc.battery.kinetic import TwoWells, capacity_share, fit_wells
from solarcalc.battery.warmth import (
    capacity_factor,
    charge_factor,
    finite_temps_c,
    self_discharge_factor,
)
from solarcalc.sitefile.battery import Battery

MOST_SELF_DISCHARGE_FRAC_PER_H = 1.0



def wells_of(battery: Battery) -> TwoWells:
    """The two wells of the whole bank [Ah].

    The table of capacities gives the shape, the rated capacity the size. Without a table the
    shape is that of its kind. A kind of one well is one well in any case.

    Raises
    ------
    InputError
        When the table cannot be that of a battery (`fit_wells`).

    Notes
    -----
    Full capacity = rated capacity / share(rated hours), `kinetic.capacity_share`.
    """
    kind = battery.traits
    available, exchange = kind.wells.available_frac, kind.wells.exchange_per_h
    if battery.discharge_hours and kind.two_wells:
        fitted = _fitted(tuple(battery.discharge_hours), tuple(battery.discharge_capacity_ah))
        available, exchange = fitted.available_frac, fitted.exchange_per_h
    share = float(capacity_share(battery.rated_time_h, available, exchange))
    return TwoWells(
        capacity_ah=battery.rated_ah / share, available_frac=available, exchange_per_h=exchange
    )


@lru_cache(maxsize=32)
def _fitted(hours: tuple[float, ...], capacities_ah: tuple[float, ...]) -> TwoWells:
    """Wells of a table, kept: a search asks for the same one many times."""
    return fit_wells(hours, capacities_ah, where="battery.discharge_capacity_ah")


def bank_of(battery: Battery, battery_c: npt.ArrayLike) -> Bank:
    """The bank of the site file in a room of given temperatures.

    Parameters
    ----------
    battery : Battery
    battery_c : array (n,)
        Temperature of the battery by hour, such as `warmth.room_temp_c` [degC].

    Returns
    -------
    Bank

    Raises
    ------
    InputError
        When a temperature is missing, or the table of capacities is not that of a battery.

    Notes
    -----
    Energy = charge x nominal voltage. Current limits are the C-rates on the rated capacity.
    Self-discharge is the monthly fraction at 25 degC spread over the hours as
    1 - (1 - f)^(1/730), times its factor for the room's year. Bulk charge runs at the current
    limit until absorption is reached; from there on power at the terminals is at most
    acceptance x energy missing, which falls as exp(-acceptance t) but for the losses. Float only
    makes up for self-discharge.
    """
    temps = finite_temps_c(battery_c, "battery temperature")
    wells, voltage_v = wells_of(battery), battery.nominal_voltage_v
    rated_wh = battery.rated_wh
    hourly = 1.0 - (1.0 - battery.self_discharge_frac_per_month) ** (1.0 / HOURS_IN_MONTH)
    return Bank(
        capacity_wh=wells.capacity_ah * voltage_v,
        voltage_v=voltage_v,
        available_frac=wells.available_frac,
        exchange_per_h=wells.exchange_per_h,
        reserve_frac=battery.reserve_frac,
        charge_efficiency_frac=battery.charge_efficiency_frac,
        discharge_efficiency_frac=battery.discharge_efficiency_frac,
        max_charge_w=rated_wh * battery.max_charge_c_rate,
        max_discharge_w=rated_wh * battery.max_discharge_c_rate,
        acceptance_per_h=battery.traits.taper.limit_per_h,
        self_discharge_frac_per_h=min(
            hourly * self_discharge_factor(temps), MOST_SELF_DISCHARGE_FRAC_PER_H
        ),
        capacity_factor=capacity_factor(battery, temps),
        charge_factor=charge_factor(battery, temps),
    )
