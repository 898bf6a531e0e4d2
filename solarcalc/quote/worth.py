"""Money over years: present worth, yearly share, rate of return, payback. No site in it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.worth import annuity_years

Money = float
"""An amount in the currency of the price book."""

_LOWEST_RATE, _HIGHEST_RATE, _STEPS = -0.95, 10.0, 600
"""Rates of return are looked for between these, at so many places."""


def real_interest_frac(interest_frac: float, inflation_frac: float) -> float:
    """Interest above inflation, [frac]: (1 + interest) / (1 + inflation) - 1.

    For sums in the money of today, where prices are not raised by inflation.

    Parameters
    ----------
    interest_frac : float
        What the bank asks, a year [frac].
    inflation_frac : float
        Rise of all prices, a year [frac], above -1.

    References
    ----------
    Fisher's relation between interest and inflation; from memory.

    Examples
    --------
    >>> round(real_interest_frac(0.2, 0.15), 4)
    0.0435
    """
    return (1.0 + interest_frac) / (1.0 + inflation_frac) - 1.0


def yearly_share_frac(interest_frac: float, paid_years: float) -> float:
    """Share of a price that pays it off with interest in equal yearly sums, [frac].

    The capital recovery factor i (1 + i)^n / ((1 + i)^n - 1); what it leaves out: replacements.

    Parameters
    ----------
    interest_frac : float
        A year [frac].
    paid_years : float
        How many payments, one a year [years].

    Examples
    --------
    >>> round(yearly_share_frac(0.08, 20), 5)
    0.10185
    """
    return 1.0 / annuity_years(interest_frac, paid_years)


def discounted(flows: Sequence[Money] | np.ndarray, interest_frac: float) -> np.ndarray:
    """Each flow's worth today: flow of year k over (1 + i)^k, the first one being year 0.

    Parameters
    ----------
    flows : array (n + 1,)
        What comes in less what goes out, at the end of each year.
    interest_frac : float
        A year [frac].
    """
    amounts = np.asarray(flows, dtype=float)
    worth: np.ndarray = amounts / (1.0 + interest_frac) ** np.arange(len(amounts))
    return worth


def net_present_value(flows: Sequence[Money] | np.ndarray, interest_frac: float) -> Money:
    """Sum of the flows as worth today.

    Parameters
    ----------
    flows : array (n + 1,)
    interest_frac : float
        A year [frac].

    Examples
    --------
    >>> round(net_present_value([-8000.0] + [1500.0] * 15, 0.1))
    3409
    """
    return float(discounted(flows, interest_frac).sum())


def rate_of_return_frac(flows: Sequence[Money] | np.ndarray) -> float | None:
    """Interest at which the flows are worth nothing today, [frac]; None where no one rate is.

    Flows that change sign several times (a battery bought anew) may have several such rates, or
    none: then no rate says anything, and None is returned.

    Parameters
    ----------
    flows : array (n + 1,)

    Examples
    --------
    >>> round(rate_of_return_frac([-100.0, 110.0]), 4)
    0.1
    """
    rates = np.geomspace(1.0 + _LOWEST_RATE, 1.0 + _HIGHEST_RATE, _STEPS) - 1.0
    amounts = np.asarray(flows, dtype=float)
    if amounts.max() <= 0.0 or amounts.min() >= 0.0:
        return None
    worth = np.asarray(_worth_at(amounts, rates))
    turns = np.flatnonzero(np.sign(worth[1:]) != np.sign(worth[:-1]))
    if len(turns) != 1:
        return None
    low, high = float(rates[turns[0]]), float(rates[turns[0] + 1])
    falling = worth[turns[0]] > 0.0
    yearly = amounts.tolist()
    for _ in range(60):
        middle = 0.5 * (low + high)
        above = bool(_worth_at(yearly, middle) > 0.0)
        low, high = (middle, high) if above == falling else (low, middle)
    return 0.5 * (low + high)


def _worth_at(
    amounts: Sequence[Money] | np.ndarray, rates: np.ndarray | float
) -> np.ndarray | float:
    """Worth at each rate, summed from the last year on: no power overflows near -1."""
    factor = 1.0 / (1.0 + rates)
    worth = 0.0 * factor
    for amount in amounts[::-1]:
        worth = worth * factor + amount
    return worth


def payback_years(
    flows: Sequence[Money] | np.ndarray, interest_frac: float = 0.0
) -> float | None:
    """When the money is back and stays back, [years]; None when it never is.

    The sum of the flows crosses zero, straight inside the year; where a later replacement takes
    it below zero again, the last crossing counts.

    Parameters
    ----------
    flows : array (n + 1,)
    interest_frac : float
        A year [frac]; 0 for the simple payback.

    Examples
    --------
    >>> round(payback_years([-8000.0] + [1500.0] * 15), 2)
    5.33
    """
    sums = np.cumsum(discounted(flows, interest_frac))
    below = np.flatnonzero(sums < 0.0)
    if len(below) == 0:
        return 0.0
    last = int(below[-1])
    if last == len(sums) - 1:
        return None
    return last + float(-sums[last] / (sums[last + 1] - sums[last]))


def stored_energy_cost(
    price: Money, *, capacity_kwh: float, depth_frac: float, cycle_count: int,
    efficiency_frac: float,
) -> Money:  # fmt: skip
    """Cost of a kWh that went through the battery: price / (capacity x depth x cycles x eff.).

    Without interest and without the energy lost in it being paid for.

    Parameters
    ----------
    price : float
        Of the battery, in place.
    capacity_kwh : float
        Rated [kWh].
    depth_frac : float
        Of each discharge [frac].
    cycle_count : int
        That it stands at this depth.
    efficiency_frac : float
        Out over in [frac].

    Raises
    ------
    InputError
        When nothing would be stored.

    Examples
    --------
    >>> round(stored_energy_cost(1500.0, capacity_kwh=5.12, depth_frac=0.8, cycle_count=4000,
    ...                          efficiency_frac=0.92), 4)
    0.0995
    """
    through_kwh = capacity_kwh * depth_frac * cycle_count * efficiency_frac
    if through_kwh <= 0.0:
        raise InputError(Fault(
            where="stored_energy_cost", given=f"{through_kwh:g} kWh through the battery",
            allowed="capacity_kwh, depth_frac, cycle_count and efficiency_frac above 0",
        ))
    return price / through_kwh
