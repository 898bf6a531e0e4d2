"""How often lightning strikes the ground, by days with thunder."""

from __future__ import annotations

import math

from solarcalc.basis.errors import Fault, InputError


def flashes_per_km2(thunder_days: float) -> float:
    """Flashes to the ground a year and square kilometre, by days with thunder.

    Parameters
    ----------
    thunder_days : float
        A year, 0 or more [days].

    Raises
    ------
    InputError
        When it is negative.

    Notes
    -----
    The larger of 0.04 T^1.25 (IEC 61024 and IEEE 1410, read in a list of published values) and
    0.1 T. A count by satellite or by a network of stations goes before it.

    Examples
    --------
    >>> round(flashes_per_km2(80.0), 2)
    9.57
    """
    if not 0.0 <= thunder_days <= 366.0:
        raise InputError(
            Fault(where="protection.thunder_days", given=f"{thunder_days:g}", allowed="0 to 366",
                  why="days of a year", remedy="ask the weather service")
        )  # fmt: skip
    return max(by_power(thunder_days), 0.1 * thunder_days)


def by_power(thunder_days: float) -> float:
    """Flashes to the ground by 0.04 T^1.25 alone, a year and square kilometre."""
    return 0.04 * math.pow(thunder_days, 1.25)
