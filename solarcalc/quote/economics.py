"""Money over years, and what a system costs and saves over its life.

All money is of today: interest and the rise of energy prices are what they are above inflation.
Flows fall at the end of each year. Left out: loans, taxes on income, worth left at the end.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.present_value import annuity_years
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded

Money = float
"""An amount in the currency of the price list."""

_HIGHEST_RATE, _STEPS, _ROUNDING = 10.0, 600, 1e-12
"""Rates of return are looked for from 0 to this, at so many places."""
NoRate = Literal[
    "nothing saved", "nothing paid", "not paid back", "several", "beyond", "paid later"
]


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

    `flows`: money of years 0 to n, (n + 1,); in the same currency.

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


def rate_of_return(flows: Sequence[Money] | np.ndarray) -> float | NoRate:
    """Interest at which the flows are worth nothing today, [frac]; or why no such rate is told.

    `flows`: money of years 0 to n, (n + 1,).

    A rate is told where it means something: money is paid first, it comes back, and from no
    interest to ten times a year there is one rate at which the worth turns from gain to loss.
    Flows that change sign several times (a battery bought anew) may have several such rates. A
    rate below 0 is none: the money does not come back. `NO_RATE` has the words.

    Parameters
    ----------
    flows : array (n + 1,)

    References
    ----------
    Descartes' rule of signs: one change of sign has one rate; several may have as many.

    Examples
    --------
    >>> round(rate_of_return([-100.0, 110.0]), 4)
    0.1
    >>> rate_of_return([-100.0, 90.0]), rate_of_return([-100.0, 230.0, -131.0])
    ('not paid back', 'several')
    """
    amounts = np.asarray(flows, dtype=float)
    if amounts.max() <= 0.0:
        return "nothing saved"
    if amounts.min() >= 0.0:
        return "nothing paid"
    rates = np.geomspace(1.0, 1.0 + _HIGHEST_RATE, _STEPS) - 1.0
    gains = np.asarray(_worth_at(amounts, rates)) >= -_ROUNDING * float(np.abs(amounts).sum())
    turns = np.flatnonzero(gains[1:] != gains[:-1])
    if len(turns) == 0:
        return "beyond" if gains[0] else "not paid back"
    if len(turns) > 1:
        return "several"
    if not gains[0]:
        return "paid later"
    low, high = float(rates[turns[0]]), float(rates[turns[0] + 1])
    yearly = amounts.tolist()
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if _worth_at(yearly, middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)


NO_RATE: dict[NoRate, str] = {
    "nothing saved": "none: no savings",
    "nothing paid": "none: no investment",
    "not paid back": "none: no payback",
    "several": "none: several rates solve it",
    "beyond": "none: payback within weeks",
    "paid later": "none: costs arise after the savings",
}
"""Why no rate of return is told, as it is printed in its place."""


def price_rise_words(escalation_frac: float) -> str:
    """What energy prices are taken to do, in words; empty where they stay.

    Parameters
    ----------
    escalation_frac : float
        A year, above inflation [frac].

    Examples
    --------
    >>> price_rise_words(0.03)
    'if energy prices rise 3 % a year above inflation'
    """
    if escalation_frac == 0.0:
        return ""
    does = "rise" if escalation_frac > 0.0 else "fall"
    percent = round(100.0 * abs(escalation_frac), 2)
    return f"if energy prices {does} {percent:g} % a year above inflation"


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

    `flows`: money of years 0 to n, (n + 1,).

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
        raise InputError(Fault(**worded("quote", "stored-energy-cost", through_kwh=through_kwh)))
    return price / through_kwh


LIFE_ROUNDING = 1e-9
"""Years that agree but for rounding are the same."""

ENERGY_COST_RULE = constant("quote.energy_cost_rule")
NO_LIFE_YEARS = constant("quote.no_life_years")


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What the cash flow of one system is worked out from.

    Parameters
    ----------
    first_price : float
        Total of the quote, tax included.
    supplied_kwh_per_year : float
        Energy that reaches the boards in the first year, of whatever source [kWh/year].
    generated_kwh_per_year : float
        Energy of the array in the first year [kWh/year].
    ageing_frac : float
        Less energy each year [frac].
    lifetime_years : float
        Whole years count; a part of a last year is left out [years].
    interest_frac : float
        A year, above inflation [frac].
    maintenance_per_year : float
        Care and repair, money a year.
    bought_per_year : float
        Grid energy and fuel the system still needs, at the prices of the first year; below 0
        where the grid pays more for what is fed in.
    today_per_kwh : float
        What a kWh costs today, grid and generator together.
    price_escalation_frac : float
        Of grid tariff and fuel, a year, above inflation [frac].
    feed_in_per_year : float
        What the grid pays for what is fed in, in the first year: `bought_per_year` is less by it.
    feed_in_escalation_frac : float
        Of that payment, a year, above inflation [frac]: its price is that of a contract.
    battery_price : float
        Of a new bank in place.
    battery_years : float or None
        Its life [years]; None: none can be told as it is used, and a new one is counted every
        `NO_LIFE_YEARS`, or by `battery_worn_years` where that is sooner.
    battery_cause : str
        Why none can be told.
    battery_worn_years : float
        Life by wear alone, which no misuse lengthens [years].
    inverter_price : float
    inverter_years : float or None
        None: they last as long as the system.
    service_per_year : float
        Of the generator, money a year.
    generator_price : float
        Of another set in place, or of its overhaul.
    generator_years : float or None
        Its life in hours over its hours a year [years]; None: it does not run, or there is none.
    generator_worn_years : float
        Of that life, on its hour meter at the start [years].
    """

    first_price: Money
    supplied_kwh_per_year: float
    generated_kwh_per_year: float
    ageing_frac: float
    lifetime_years: float
    interest_frac: float
    maintenance_per_year: Money
    bought_per_year: Money
    today_per_kwh: Money
    price_escalation_frac: float
    battery_price: Money
    battery_years: float | None
    inverter_price: Money = 0.0
    inverter_years: float | None = None
    service_per_year: Money = 0.0
    generator_price: Money = 0.0
    generator_years: float | None = None
    generator_worn_years: float = 0.0
    feed_in_per_year: Money = 0.0
    feed_in_escalation_frac: float = 0.0
    battery_cause: str = ""
    battery_worn_years: float = math.inf

    @property
    def bank_years(self) -> float:
        """Years after which a new bank is counted [years]."""
        if self.battery_years is None:
            return min(float(NO_LIFE_YEARS), self.battery_worn_years)
        return self.battery_years

    @property
    def at_todays_prices(self) -> Plan:
        """The same with energy prices that stay."""
        return replace(self, price_escalation_frac=0.0, feed_in_escalation_frac=0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Economics:
    """Yearly flows of a plan and what follows from them; arrays are of years 0 to n.

    Parameters
    ----------
    plan : Plan
    supplied_kwh : array (n + 1,)
        Energy to the boards, 0 in year 0 [kWh].
    saved, maintenance, bought, replaced, net : array (n + 1,)
        Money that need not be paid for today's energy; what is paid; the one less the other.
    npv : float
        Worth today of all flows.
    rate : float or str
        Rate of return [frac], or why none is told: a key of `NO_RATE`.
    payback_years, discounted_payback_years : float or None
        From when on the money is back [years]; None: not within the life.
    today_payback_years, today_discounted_payback_years : float or None
        The same with energy prices that stay as they are today [years].
    today_rate : float or str
        Rate of return with energy prices that stay.
    cost_per_kwh_supplied, cost_per_kwh_generated : float
        Over the life. Supplied: all costs over the energy of the boards. Generated: without what
        is bought of grid and fuel, over the energy of the array.
    replacement_years, generator_replacement_years : tuple of int
        Years in which a bank is bought anew, and the generator.
    """

    plan: Plan
    supplied_kwh: np.ndarray
    saved: np.ndarray
    maintenance: np.ndarray
    bought: np.ndarray
    replaced: np.ndarray
    net: np.ndarray
    npv: Money
    rate: float | NoRate
    payback_years: float | None
    discounted_payback_years: float | None
    today_payback_years: float | None
    today_discounted_payback_years: float | None
    today_rate: float | NoRate
    cost_per_kwh_supplied: Money
    cost_per_kwh_generated: Money
    replacement_years: tuple[int, ...]
    generator_replacement_years: tuple[int, ...]

    @property
    def return_frac(self) -> float | None:
        """Rate of return [frac]; None where none is told."""
        return None if isinstance(self.rate, str) else self.rate


def economics_of(plan: Plan) -> Economics:
    """Cash flow of each year and what follows from it.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    Economics

    Raises
    ------
    InputError
        With every figure that is below 0, no number, or out of its range.
    """
    _check(plan)
    years = math.floor(plan.lifetime_years + LIFE_ROUNDING)
    count = np.arange(years + 1)
    works = (count > 0).astype(float)
    kept = works * (1.0 - plan.ageing_frac) ** np.maximum(count - 1, 0)
    dearer = works * (1.0 + plan.price_escalation_frac) ** np.maximum(count - 1, 0)
    supplied_kwh = plan.supplied_kwh_per_year * kept
    saved = supplied_kwh * plan.today_per_kwh * dearer
    maintenance = (plan.maintenance_per_year + plan.service_per_year) * works
    earned = plan.feed_in_per_year * works * (
        1.0 + plan.feed_in_escalation_frac) ** np.maximum(count - 1, 0)
    bought = (plan.bought_per_year + plan.feed_in_per_year) * dearer - earned
    replaced, banks, sets = _replaced(plan, years)
    first = np.where(count == 0, plan.first_price, 0.0)
    own = first + maintenance + replaced
    net = saved - own - bought
    at_today = supplied_kwh * plan.today_per_kwh - own - plan.bought_per_year * works
    interest = plan.interest_frac
    return Economics(
        plan=plan, supplied_kwh=supplied_kwh, saved=saved, maintenance=maintenance, bought=bought,
        replaced=replaced, net=net,
        npv=net_present_value(net, interest), rate=rate_of_return(net),
        payback_years=payback_years(net), discounted_payback_years=payback_years(net, interest),
        today_payback_years=payback_years(at_today),
        today_discounted_payback_years=payback_years(at_today, interest),
        today_rate=rate_of_return(at_today),
        cost_per_kwh_supplied=energy_cost(own + bought, supplied_kwh, interest),
        cost_per_kwh_generated=energy_cost(own, plan.generated_kwh_per_year * kept, interest),
        replacement_years=banks, generator_replacement_years=sets,
    )  # fmt: skip


def _replaced(plan: Plan, years: int) -> tuple[np.ndarray, tuple[int, ...], tuple[int, ...]]:
    """What is bought anew, by year; the years of banks and of the generator."""
    banks = replacement_years(plan.bank_years, years)
    sets: tuple[int, ...] = ()
    replaced = _paid_in(banks, plan.battery_price, years)
    if plan.inverter_years is not None:
        again = replacement_years(plan.inverter_years, years)
        replaced = replaced + _paid_in(again, plan.inverter_price, years)
    if plan.generator_years is not None:
        sets = replacement_years(plan.generator_years, years, plan.generator_worn_years)
        replaced = replaced + _paid_in(sets, plan.generator_price, years)
    return replaced, banks, sets


def energy_cost(costs: np.ndarray, energy_kwh: np.ndarray, interest_frac: float) -> Money:
    """Cost of a kWh over the life: present worth of costs over present worth of energy.

    In the currency a kWh; arrays of years 0 to n, (n + 1,).

    Parameters
    ----------
    costs : array (n + 1,)
        Money of years 0 to n.
    energy_kwh : array (n + 1,)
        Of the same years [kWh].
    interest_frac : float
        A year [frac].

    References
    ----------
    NREL/TP-462-5173 (Short, Packey and Holt 1995); from memory.
    """
    worth = discounted(energy_kwh, interest_frac).sum()
    return float(discounted(costs, interest_frac).sum() / worth)


def replacement_years(
    life_years: float, years: int, worn_years: float = 0.0
) -> tuple[int, ...]:
    """Years in which a thing is bought anew, so that it is there until the end of the life.

    One that dies in the course of a year is paid at that year's end; one that dies with the
    system, or in its last year, is not replaced.

    Parameters
    ----------
    life_years : float
        Of the thing [years], above 0.
    years : int
        Of the system.
    worn_years : float
        Of the first one's life, gone before the start [years].

    Examples
    --------
    >>> replacement_years(7.4, 20), replacement_years(10.0, 20), replacement_years(10.0, 20, 6.0)
    ((8, 15), (10,), (4, 14))
    """
    left = max(life_years - worn_years, 0.0)
    more = math.ceil(max(years - left, 0.0) / life_years) + 1 if left < years else 0
    deaths = [left + life_years * k for k in range(more)]
    bought = (max(math.ceil(death - LIFE_ROUNDING), 1) for death in deaths)
    return tuple(year for year in bought if year < years)


def _paid_in(years: tuple[int, ...], price: Money, last: int) -> np.ndarray:
    paid = np.zeros(last + 1)
    for year in years:
        paid[year] += price
    return paid


_RANGES: dict[str, tuple[float, float, str]] = {
    "first_price": (0.0, 1e15, "from 0 to 1e15"),
    "supplied_kwh_per_year": (1e-6, 1e12, "from 1e-6 to 1e12 kWh/year"),
    "generated_kwh_per_year": (1e-6, 1e12, "from 1e-6 to 1e12 kWh/year"),
    "ageing_frac": (0.0, 0.5, "from 0 to 0.5"),
    "lifetime_years": (1.0, 100.0, "from 1 to 100 years"),
    "interest_frac": (-0.5, 1.1, "from -0.5 to 1.1"),
    "maintenance_per_year": (0.0, 1e15, "from 0 to 1e15"),
    "bought_per_year": (-1e15, 1e15, "from -1e15 to 1e15"),
    "today_per_kwh": (0.0, 1e9, "from 0 to 1e9"),
    "price_escalation_frac": (-0.5, 0.6, "from -0.5 to 0.6"),
    "feed_in_per_year": (0.0, 1e15, "from 0 to 1e15"),
    "feed_in_escalation_frac": (-0.5, 0.6, "from -0.5 to 0.6"),
    "battery_price": (0.0, 1e15, "from 0 to 1e15"),
    "battery_years": (0.25, math.inf, "0.25 years or more, or none"),
    "battery_worn_years": (0.25, math.inf, "0.25 years or more"),
    "inverter_price": (0.0, 1e15, "from 0 to 1e15"),
    "inverter_years": (0.25, math.inf, "0.25 years or more, or none"),
    "service_per_year": (0.0, 1e15, "from 0 to 1e15"),
    "generator_price": (0.0, 1e15, "from 0 to 1e15"),
    "generator_years": (0.2, math.inf, "0.2 years or more, or none"),
    "generator_worn_years": (0.0, math.inf, "0 or more"),
}


def out_of_range(plan: Plan) -> tuple[tuple[str, str, str], ...]:
    """Figures that no cash flow over years can hold: name, figure, what is allowed."""
    return tuple(
        (name, f"{value:g}", allowed) for name, (low, high, allowed) in _RANGES.items()
        if (value := getattr(plan, name)) is not None and not low <= value <= high
    )


def _check(plan: Plan) -> None:
    faults = [Fault(where=f"plan: {name}", given=given, allowed=allowed)
              for name, given, allowed in out_of_range(plan)]
    if faults:
        raise InputError(faults)
