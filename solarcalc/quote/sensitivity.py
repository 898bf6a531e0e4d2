"""What the answer hangs on: each input low and high, the others held; the widest first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.quote.economics import Economics, Plan, economics_of
from solarcalc.quote.worth import Money

Measure = Literal["npv", "cost_per_kwh_served"]


@dataclass(frozen=True, kw_only=True)
class Reach:
    """How far one input may lie from what was put in.

    Parameters
    ----------
    field : str
        Of `Plan`.
    name : str
        In words.
    low, high : float
        Times the value, or added to it.
    by : {"times", "plus"}
    least : float
        The input never falls below this.
    """

    field: str
    name: str
    low: float
    high: float
    by: Literal["times", "plus"] = "times"
    least: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Swing:
    """What an answer becomes with one input low and high.

    Parameters
    ----------
    name : str
        Of the input, in words.
    low_input, high_input : float
    at_low, at_high, as_planned : float
        The answer.
    """

    name: str
    low_input: float
    high_input: float
    at_low: Money
    at_high: Money
    as_planned: Money

    @property
    def width(self) -> float:
        """From the least to the greatest of the three answers."""
        answers = (self.at_low, self.at_high, self.as_planned)
        return max(answers) - min(answers)


REACHES: tuple[Reach, ...] = (
    Reach(field="first_price", name="price of the system", low=0.8, high=1.2),
    Reach(field="served_kwh_per_year", name="energy served", low=0.85, high=1.1),
    Reach(field="today_per_kwh", name="what a kWh costs today", low=0.7, high=1.3),
    Reach(field="price_rise_frac", name="rise of energy prices", low=-0.03, high=0.03,
          by="plus", least=-0.2),
    Reach(field="interest_frac", name="interest", low=-0.03, high=0.03, by="plus"),
    Reach(field="battery_years", name="life of the battery", low=0.7, high=1.3, least=0.5),
    Reach(field="battery_price", name="price of a new battery", low=0.6, high=1.2),
    Reach(field="upkeep_per_year", name="upkeep", low=0.5, high=2.0),
    Reach(field="bought_per_year", name="grid and fuel still bought", low=0.7, high=1.3),
    Reach(field="lifetime_years", name="life of the system", low=-5.0, high=5.0, by="plus",
          least=1.0),
)  # fmt: skip


def tornado(
    plan: Plan, measure: Measure = "npv", reaches: Sequence[Reach] = REACHES
) -> tuple[Swing, ...]:
    """The answer with each input low and high, the widest swing first.

    One input at a time: what moves together in the world (energy served and fuel bought) is
    not moved together here.

    Parameters
    ----------
    plan : Plan
    measure : {"npv", "cost_per_kwh_served"}
    reaches : sequence of Reach

    Raises
    ------
    InputError
        For another measure, or a plan that cannot be worked out.
    """
    if measure not in ("npv", "cost_per_kwh_served"):
        raise InputError(Fault(where="tornado: measure", given=repr(measure),
                               allowed="npv or cost_per_kwh_served"))
    middle = _answer(economics_of(plan), measure)
    swings = [_swing(plan, reach, measure, middle) for reach in reaches]
    return tuple(sorted(swings, key=lambda swing: -swing.width))


def _swing(plan: Plan, reach: Reach, measure: Measure, middle: Money) -> Swing:
    value = float(getattr(plan, reach.field))
    ends = [
        max(reach.least, value * move if reach.by == "times" else value + move)
        for move in (reach.low, reach.high)
    ]
    low, high = (
        _answer(economics_of(replace(plan, **{reach.field: end})), measure) for end in ends
    )
    return Swing(name=reach.name, low_input=ends[0], high_input=ends[1], at_low=low, at_high=high,
                 as_planned=middle)  # fmt: skip


def _answer(economics: Economics, measure: Measure) -> Money:
    return economics.npv if measure == "npv" else economics.cost_per_kwh_served
