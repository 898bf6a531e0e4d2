"""The bank of the site file as the hour-by-hour balance needs it: wells, limits, warmth.

Figures of a kind, not of a make: the maker's sheet decides wherever it says something else. The
cautions on acid, hydrogen, short circuits and burning cells stand in every report.

The battery is taken to be as warm as its room. It is warmer while it works: a lead-acid charge
cut off by heat, or one that runs away, is a matter for the sensor on the battery itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import HOURS_IN_DAY, HOURS_IN_MONTH
from solarcalc.basis.sourced import Sourced, constant
from solarcalc.basis.worded import worded
from solarcalc.battery.kinetic import TwoWells, capacity_share, fit_wells
from solarcalc.sitefile.battery import Battery


@dataclass(frozen=True, kw_only=True, eq=False)
class Bank:
    """A bank of any kind.

    Parameters
    ----------
    capacity_wh : float
        Energy between empty and full at 25 degC, drawn without hurry [Wh].
    voltage_v : float
        Nominal [V].
    available_frac : float
        Share of the capacity in the well that current comes from, [0 to 1]; 1: one well.
    exchange_per_h : float
        Rate at which the two wells even out [1/h]; of no matter with one well.
    min_soc_frac : float
        State of charge below which nothing is drawn, [0 to 1].
    charge_efficiency_frac, discharge_efficiency_frac : float
    max_charge_w, max_discharge_w : float
        At the terminals [W].
    acceptance_per_h : float
        At the absorption voltage charge is stored at this times what is still missing to full
        [1/h]; infinite for no taper.
    self_discharge_frac_per_h : float
        Of what is stored, each hour.
    capacity_factor : array (n,)
        By hour: share of the energy between reserve and full that the temperature leaves,
        [0 to 1]; 0 where nothing can be drawn. Its coldest month sets the reserve, `cold_frac`.
    charge_factor : array (n,)
        By hour: share of `max_charge_w` that may be charged, [0 to 1].
    """

    capacity_wh: float
    voltage_v: float
    available_frac: float
    exchange_per_h: float
    min_soc_frac: float
    charge_efficiency_frac: float
    discharge_efficiency_frac: float
    max_charge_w: float
    max_discharge_w: float
    acceptance_per_h: float
    self_discharge_frac_per_h: float
    capacity_factor: np.ndarray
    charge_factor: np.ndarray

    def usable_wh(self, down_to_frac: float | None = None) -> float:
        """Energy that the full bank gives at its terminals down to a state of charge [Wh].

        The one definition of usable energy: behind the loss of discharge, before the inverter,
        drawn without hurry, with what the cold leaves.

        Parameters
        ----------
        down_to_frac : float, optional
            State of charge, [0 to 1]; left out: the reserve.
        """
        left = self.min_soc_frac if down_to_frac is None else down_to_frac
        held = self.capacity_wh * max(0.0, 1.0 - left) * self.discharge_efficiency_frac
        return held * self.cold_frac

    def level_frac(self, soc_frac: float) -> float:
        """A level of the site file, [0 to 1], as the cold moves it: none passes another."""
        return 1.0 - max(self.cold_frac, LEAST_SPAN) * (1.0 - soc_frac)

    @cached_property
    def cold_frac(self) -> float:
        """Share of the energy between reserve and full that the cold leaves, [0 to 1].

        One figure for the year, as the voltage at which a battery is cut off is one setting: the
        mean share of the coldest thirty days. Sizing takes the lowest temperature that lasts, not
        the coldest hour (IEEE 1013, from memory).
        """
        hours = np.asarray(self.capacity_factor, dtype=float)
        window = min(COLD_SPELL_H, len(hours))
        sums = np.cumsum(np.concatenate([[0.0], hours, hours[: window - 1]]))
        return float((sums[window:] - sums[:-window]).min() / window)

    @property
    def accepted_frac(self) -> float:
        """Share of what is missing to full that an hour at the absorption voltage stores."""
        return -math.expm1(-self.acceptance_per_h)


LEAST_SPAN = 1e-6
"""Share of the capacity that can be used at the least: a guard against dividing by none."""
COLD_SPELL_H = 30 * HOURS_IN_DAY
"""Length of the cold that a battery does not sleep through [h]."""
REFERENCE_C = 25.0
"""Temperature that capacities, set points and self-discharge are stated at [degC]."""


@dataclass(frozen=True, kw_only=True)
class SetPoints:
    """Voltages to set a charger to, of the whole bank.

    Parameters
    ----------
    absorption_v, float_v : float
        [V].
    equalise_v : float or None
        [V]; None: never equalise this kind.
    compensation_v_per_k : float
        Taken off for each kelvin above 25 degC [V/K].
    """

    absorption_v: float
    float_v: float
    equalise_v: float | None
    compensation_v_per_k: float


def set_points(battery: Battery, *, battery_c: float = REFERENCE_C) -> SetPoints:
    """Charge voltages of the bank at the temperature of the battery: advice to print.

    The maker's sheet goes before it. A charge with compensation needs a sensor on the battery
    itself: a hot one charged at its cold voltage gases, dries out and can run away.

    Parameters
    ----------
    battery : Battery
    battery_c : float
        Temperature of the battery [degC].

    Notes
    -----
    V(T) = n (V25 - a (T - 25)), n the cells in series, a the compensation of one cell; three to
    five millivolts a kelvin and cell for lead-acid, none for lithium iron phosphate.
    """
    charge, cells = battery.traits.charge, battery.cells_in_series
    less_v = charge.compensation_v_per_k * (battery_c - REFERENCE_C)
    return SetPoints(
        absorption_v=cells * (charge.absorption_v - less_v),
        float_v=cells * (charge.float_v - less_v),
        equalise_v=None if charge.equalise_v is None else cells * (charge.equalise_v - less_v),
        compensation_v_per_k=cells * charge.compensation_v_per_k,
    )


def bank_assumptions(battery: Battery) -> list[Sourced]:
    """What the model of the bank takes for granted, each with its source."""
    kind, wells = battery.traits, battery.traits.wells
    if not kind.two_wells:
        return [
            Sourced(label="Battery model", value="one reservoir, with temperature", unit="",
                    source=wells.clause)
        ]  # fmt: skip
    own = bool(battery.discharge_hours)
    words = "fitted to the table of capacities in the site file" if own else (
        f"available share {wells.available_frac:g}, exchange {wells.exchange_per_h:g} 1/h"
    )
    entries = [
        Sourced(label="Battery model",
                value="available and bound charge (two reservoirs), with temperature", unit="",
                source="Manwell and McGowan 1993"),
        Sourced(label="Available charge and rate of exchange", value=words, unit="",
                source="the site file" if own else wells.clause),
    ]  # fmt: skip
    if kind.taper.acceptance_per_h is not None:
        entries.append(kind.taper.sourced("acceptance_per_h", "1/h"))
    return entries


Floats = npt.NDArray[np.float64]


SELF_DISCHARGE_DOUBLES_K = constant("battery.self_discharge_doubles_k")


def warmth_assumptions(battery: Battery) -> list[Sourced]:
    """What warmth and cold do to a battery of this kind, each with its source."""
    kind = battery.traits
    return [
        Sourced(label=f"{what} of {kind.name} by temperature", value=group.in_words, unit="",
                source=group.clause)
        for what, group in (("Capacity", kind.capacity_by_temperature),
                            ("Charge", kind.charge_by_temperature))
    ] + [SELF_DISCHARGE_DOUBLES_K]  # fmt: skip


def room_temp_c(battery: Battery, air_c: npt.ArrayLike) -> Floats:
    """Temperature of the battery room by hour [degC].

    Parameters
    ----------
    battery : Battery
        `room_c` where the room is kept at one temperature; else `room_swing_frac` and
        `room_above_k`.
    air_c : array (n,)
        Air outdoors by hour, a year or another whole round that begins again; at least 24 [degC].

    Returns
    -------
    array (n,)

    Raises
    ------
    InputError
        When an hour is missing, or fewer than 24 are given.

    Notes
    -----
    The walls keep the mean of the last 24 hours; a share of the swing around it comes in, and
    people, sun on the roof and inverters keep it above:
    T = m + room_swing_frac (air - m) + room_above_k, m the mean over this hour and the 23 before.
    A plain rule, no model of the building; common practice, no source.
    """
    air = finite_temps_c(air_c, "air by hour")
    if len(air) < HOURS_IN_DAY:
        raise InputError(
            Fault(where="air by hour", given=f"{len(air)} hours", allowed="at least 24 hours")
        )
    if battery.room_c is not None:
        return np.full(len(air), battery.room_c)
    before = np.concatenate([air[-HOURS_IN_DAY + 1 :], air])
    mean = np.convolve(before, np.full(HOURS_IN_DAY, 1.0 / HOURS_IN_DAY), mode="valid")
    room: Floats = mean + battery.room_swing_frac * (air - mean) + battery.room_above_k
    return room


def finite_temps_c(temps_c: npt.ArrayLike, where: str) -> Floats:
    """Temperatures as an array [degC]; InputError names the first hour that is no number.

    Shape of what is given, (n,) or ().
    """
    values = np.atleast_1d(np.asarray(temps_c, dtype=float))
    bad = ~np.isfinite(values)
    if bad.any() or values.ndim != 1 or not values.size:
        hour = f", hour {int(np.argmax(bad))}" if bad.any() else ""
        raise InputError(
            Fault(
                **worded("battery", "finite-temps-c", where=where, hour=hour),
                given=str(values[bad][0]) if bad.any() else f"shape {values.shape}",
            )
        )
    return values


def capacity_factor(battery: Battery, battery_c: npt.ArrayLike) -> Floats:
    """Share of the energy between reserve and full that can be used at a temperature, [0 to 1].

    Parameters
    ----------
    battery : Battery
    battery_c : array (n,)
        Temperature of the battery [degC].

    Notes
    -----
    The share of the whole capacity, laid on what stands above the reserve: the order of the
    sizing practice (IEEE 1013), which divides by the largest depth of discharge and then makes
    up for the cold. Heat above 25 degC adds nothing.
    """
    temps, curve = np.asarray(battery_c, dtype=float), battery.traits.capacity_by_temperature
    share: Floats = np.interp(temps, curve.temp_c, curve.capacity_frac)
    works = _within(temps, curve.works_from_c, curve.works_to_c)
    return np.where(works, share, 0.0)


def charge_factor(battery: Battery, battery_c: npt.ArrayLike) -> Floats:
    """Share of the largest charge current that may flow at a temperature, [0 to 1].

    Parameters
    ----------
    battery : Battery
    battery_c : array (n,)
        Temperature of the battery [degC].
    """
    temps, rule = np.asarray(battery_c, dtype=float), battery.traits.charge_by_temperature
    slow = min(1.0, (rule.slow_per_h or math.inf) / battery.max_charge_c_rate)
    share = np.where(_within(temps, rule.slow_below_c, rule.slow_above_c), 1.0, slow)
    return np.where(_within(temps, rule.stops_below_c, rule.stops_above_c), share, 0.0)


def _within(temps: Floats, low_c: float | None, high_c: float | None) -> npt.NDArray[np.bool_]:
    """Where temperatures lie between two marks, both included; None: no mark."""
    low, high = (-math.inf if low_c is None else low_c), (math.inf if high_c is None else high_c)
    return (temps >= low) & (temps <= high)


def self_discharge_factor(battery_c: npt.ArrayLike) -> float:
    """Self-discharge of the hours given, over that at 25 degC.

    Parameters
    ----------
    battery_c : array (n,)
        Temperature of the battery [degC].

    Notes
    -----
    Mean of 2^((T - 25) / 10) over the hours: `Bank` has one rate for the whole year.

    Examples
    --------
    >>> self_discharge_factor([35.0, 35.0])
    2.0
    """
    warmer_k = np.asarray(battery_c, dtype=float) - REFERENCE_C
    return float(np.mean(2.0 ** (warmer_k / float(SELF_DISCHARGE_DOUBLES_K))))


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


def bank_of(battery: Battery, battery_c: npt.ArrayLike, left_frac: float = 1.0) -> Bank:
    """The bank of the site file in a room of given temperatures.

    Parameters
    ----------
    battery : Battery
    battery_c : array (n,)
        Temperature of the battery by hour, such as `warmth.room_temp_c` [degC].
    left_frac : float
        Share of its rated capacity that tests found, above 0 up to 1.

    Returns
    -------
    Bank

    Raises
    ------
    InputError
        When a temperature is missing, or the table of capacities is not that of a battery.

    Notes
    -----
    Energy = charge x nominal voltage. Current limits are the C-rates on the rated capacity. What
    a charge loses is taken to be voltage, not current: at the limit the charger gives more than
    current x nominal voltage, by the charge efficiency, and that current is what is stored.
    Self-discharge is the monthly fraction at 25 degC spread over the hours as
    1 - (1 - f)^(1/730), times its factor for the room's year. Bulk charge runs at the current
    limit until absorption begins, where acceptance x charge missing is that current: at a C-rate
    r with r / acceptance missing, so sooner the harder it is charged. From there on what is
    missing falls as exp(-acceptance t). Float only makes up for self-discharge.
    """
    temps = finite_temps_c(battery_c, "battery temperature")
    wells, voltage_v = wells_of(battery), battery.nominal_voltage_v
    rated_wh = battery.rated_wh
    hourly = 1.0 - (1.0 - battery.self_discharge_frac_per_month) ** (1.0 / HOURS_IN_MONTH)
    return Bank(
        capacity_wh=wells.capacity_ah * voltage_v * left_frac,
        voltage_v=voltage_v,
        available_frac=wells.available_frac,
        exchange_per_h=wells.exchange_per_h,
        min_soc_frac=battery.min_soc_frac,
        charge_efficiency_frac=battery.charge_efficiency_frac,
        discharge_efficiency_frac=battery.discharge_efficiency_frac,
        max_charge_w=rated_wh * battery.max_charge_c_rate / battery.charge_efficiency_frac,
        max_discharge_w=rated_wh * battery.max_discharge_c_rate,
        acceptance_per_h=battery.traits.taper.limit_per_h,
        self_discharge_frac_per_h=min(
            hourly * self_discharge_factor(temps), MOST_SELF_DISCHARGE_FRAC_PER_H
        ),
        capacity_factor=capacity_factor(battery, temps),
        charge_factor=charge_factor(battery, temps),
    )
