"""What the temperature of the battery room does: capacity, charge, self-discharge.

The battery is taken to be as warm as its room. It is warmer while it works: a lead-acid charge
cut off by heat, or one that runs away, is a matter for the sensor on the battery itself.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import HOURS_IN_DAY
from solarcalc.basis.sourced import Sourced, constant
from solarcalc.battery.chemistry import REFERENCE_C
from solarcalc.sitefile.battery import Battery

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
    """Temperatures as an array [degC]; InputError names the first hour that is no number."""
    values = np.atleast_1d(np.asarray(temps_c, dtype=float))
    bad = ~np.isfinite(values)
    if bad.any() or values.ndim != 1 or not values.size:
        hour = f", hour {int(np.argmax(bad))}" if bad.any() else ""
        raise InputError(
            Fault(
                where=f"{where}{hour}",
                given=str(values[bad][0]) if bad.any() else f"shape {values.shape}",
                allowed="one temperature an hour, degC",
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
