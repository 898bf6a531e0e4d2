"""What the temperature of the battery room does: capacity, charge, self-discharge.

The battery is taken to be as warm as its room. It is warmer while it works: a lead-acid charge
cut off by heat, or one that runs away, is a matter for the sensor on the battery itself.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE, Sourced
from solarcalc.battery.chemistry import REFERENCE_C, chemistry_of
from solarcalc.sitefile.battery_records import Battery

Floats = npt.NDArray[np.float64]

HOURS_IN_DAY = 24

CAPACITY_WARMTH_LEAD = Sourced(
    label="Capacity of lead-acid by temperature",
    value="0.40 at -18, 0.66 at -4, 0.84 at 10, 1 from 25 degC on",
    unit="",
    source=f"IEEE 485, cell size correction factors, {FROM_MEMORY}; -18 degC: TM 10-6140-200-14,"
    f" par. 1-9; below: {NO_SOURCE}",
)
_LEAD_C = (-40.0, -17.8, -3.9, 1.7, 4.4, 7.2, 10.0, 12.8, 15.6, 18.3, 21.1, 25.0)
_LEAD_FRAC = (
    0.0, 0.40, 1 / 1.52, 1 / 1.35, 1 / 1.30, 1 / 1.25, 1 / 1.19, 1 / 1.15, 1 / 1.11, 1 / 1.08,
    1 / 1.04, 1.0,
)  # fmt: skip
"""Rows of the table, straight lines between; IEEE prints the size of cell that makes up for it.
What heat would add above 25 degC is not counted."""

CAPACITY_WARMTH_LITHIUM = Sourced(
    label="Capacity of lithium iron phosphate by temperature",
    value="0.7 at -20, 0.8 at 0, 1 from 25 degC on; none below -20 or above 60 degC",
    unit="",
    source=f"makers' pages of 12 V 100 Ah units; {NO_SOURCE}",
)
_LITHIUM_C = (-20.0, 0.0, 25.0)
_LITHIUM_FRAC = (0.7, 0.8, 1.0)
LITHIUM_WORKS_C = (-20.0, 60.0)

CHARGE_WARMTH_LITHIUM = Sourced(
    label="Charge of lithium iron phosphate by temperature",
    value="none below 0 and above 55 degC, at most 0.2 of the capacity an hour below 10 and"
    " above 45 degC",
    unit="",
    source=f"makers' sheets of cells; {NO_SOURCE}",
)
LITHIUM_CHARGE_C = (0.0, 10.0, 45.0, 55.0)
LITHIUM_SLOW_C_RATE = 0.2

LEAD_CHARGE_STOPS_C = Sourced(
    label="Lead-acid charge stops at", value=50.0, unit="degC",
    source=f"makers' sheets of deep-cycle batteries; {NO_SOURCE}",
)  # fmt: skip
SELF_DISCHARGE_DOUBLES_K = Sourced(
    label="Self-discharge doubles every", value=10.0, unit="K",
    source="rule of the trade; TM 9-6140-200-14, par. 4-8 c, gives 9.1 K from 10 to 38 degC",
)  # fmt: skip

WARMTH_ASSUMPTIONS = (
    CAPACITY_WARMTH_LEAD, CAPACITY_WARMTH_LITHIUM, CHARGE_WARMTH_LITHIUM, LEAD_CHARGE_STOPS_C,
    SELF_DISCHARGE_DOUBLES_K,
)  # fmt: skip


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
    temps = np.asarray(battery_c, dtype=float)
    lead = chemistry_of(battery).lead_acid
    points, shares = (_LEAD_C, _LEAD_FRAC) if lead else (_LITHIUM_C, _LITHIUM_FRAC)
    share: Floats = np.interp(temps, points, shares)
    low, high = LITHIUM_WORKS_C
    return share if lead else np.where((temps < low) | (temps > high), 0.0, share)


def charge_factor(battery: Battery, battery_c: npt.ArrayLike) -> Floats:
    """Share of the largest charge current that may flow at a temperature, [0 to 1].

    Parameters
    ----------
    battery : Battery
    battery_c : array (n,)
        Temperature of the battery [degC].
    """
    temps = np.asarray(battery_c, dtype=float)
    if chemistry_of(battery).lead_acid:
        return np.where(temps > float(LEAD_CHARGE_STOPS_C), 0.0, 1.0)
    freezing, cool, warm, hot = LITHIUM_CHARGE_C
    slow = min(1.0, LITHIUM_SLOW_C_RATE / battery.max_charge_c_rate)
    share = np.where((temps < cool) | (temps > warm), slow, 1.0)
    return np.where((temps < freezing) | (temps > hot), 0.0, share)


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
