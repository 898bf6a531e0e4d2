"""What a quote says: plan of its cash flow, checks, one sentence, rows, and what it hangs on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.quantity import grouped
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.worded import worded
from solarcalc.quote.bill import unit_words
from solarcalc.quote.economics import (
    ENERGY_COST_RULE,
    Economics,
    Money,
    Plan,
    economics_of,
    today_per_kwh,
)
from solarcalc.quote.offer import LABOUR_GROUP, Offer, group_prices, paid_for
from solarcalc.quote.prices import LABOUR
from solarcalc.sitefile.site import Site

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
    Reach(field="price_escalation_frac", name="rise of energy prices", low=-0.03, high=0.03,
          by="plus", least=-0.2),
    Reach(field="interest_frac", name="interest", low=-0.03, high=0.03, by="plus"),
    Reach(field="battery_years", name="life of the battery", low=0.7, high=1.3, least=0.5),
    Reach(field="battery_price", name="price of a new battery", low=0.6, high=1.2),
    Reach(field="maintenance_per_year", name="maintenance", low=0.5, high=2.0),
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


Row = dict[str, object]

ESTIMATE = "An estimate, not an order"
INVENTED = "Prices are INVENTED: give your own price list before anyone sees a figure."
QUOTE_NOTES = (
    "An estimate, not an order: what is found on the site and what things cost on the day decide.",
    "Not counted: screws, ties, glands, transport, permits, scaffolds, what the customer owns.",
    "All money is of today; energy prices and interest are what they are above inflation.",
    "The work is designed, done and tested by licensed people under the local codes.",
)
"""Small print of every quote."""

_BATTERY, _INVERTER = ("battery", "battery-link"), ("inverter",)
_BOOK_RULE = NO_SOURCE


def plan_of(
    offer: Offer, site: Site, *, served_kwh_per_year: float, generated_kwh_per_year: float,
    battery_years: float, grid_kwh_per_year: float = 0.0, fuel_l_per_year: float = 0.0,
) -> Plan:  # fmt: skip
    """The plan of a site's cash flow with an offer.

    Parameters
    ----------
    offer : Offer
    site : Site
        Its [quote] and [costs], and the yearly ageing in [losses].
    served_kwh_per_year, generated_kwh_per_year : float
        To the boards, and of the array, first year [kWh/year].
    battery_years : float
        Expected life of the bank [years].
    grid_kwh_per_year : float
        Still taken from the grid, first year [kWh/year].
    fuel_l_per_year : float
        Still burnt [l/year].
    """
    quote, costs = site.quote, site.costs
    return Plan(
        first_price=offer.total, served_kwh_per_year=served_kwh_per_year,
        generated_kwh_per_year=generated_kwh_per_year,
        ageing_frac=site.losses.yearly_ageing_frac, lifetime_years=costs.lifetime_years,
        interest_frac=costs.interest_frac,
        maintenance_per_year=quote.maintenance_frac * offer.total,
        bought_per_year=grid_kwh_per_year * quote.grid_tariff_per_kwh
        + fuel_l_per_year * quote.fuel_price_per_l,
        today_per_kwh=today_per_kwh(
            tariff=quote.grid_tariff_per_kwh, fuel_price_per_l=quote.fuel_price_per_l,
            fuel_l_per_kwh=quote.replaced_fuel_l_per_kwh,
            generator_frac=quote.replaced_generator_frac,
        ),
        price_escalation_frac=quote.price_escalation_frac, battery_price=paid_for(offer, _BATTERY),
        battery_years=battery_years, inverter_price=paid_for(offer, _INVERTER),
        inverter_years=quote.inverter_years,
    )  # fmt: skip


def quote_answer(offer: Offer, economics: Economics) -> str:
    """The quote in a few sentences: price, cost of a kWh, payback, and what it is not."""
    plan, unit = economics.plan, offer.currency
    tax = "tax included" if offer.tax_frac else "without tax"
    back = economics.payback_years
    if back is None:
        paid = f"it is not paid back within {plan.lifetime_years:g} years"
    else:
        late = economics.discounted_payback_years
        after = f"{late:.1f} with interest" if late is not None else (
            f"not within {plan.lifetime_years:g} with interest")  # fmt: skip
        paid = f"paid back in {back:.1f} years ({after})"
    text = (
        f"{ESTIMATE}: {money(offer.total, offer)} {unit}, {tax}, for {offer.array_kwp:.1f} kWp;"
        f" a kWh at the boards costs {_each(economics.cost_per_kwh_served)} {unit} over"
        f" {plan.lifetime_years:g} years and {_each(plan.today_per_kwh)} today; {paid}."
    )
    return f"{text} {invented_words(offer)}" if offer.invented else text


def invented_words(offer: Offer) -> str:
    """The warning of prices that are still invented: all of them, or each row by its name."""
    rows = offer.invented_rows
    if len(rows) == offer.row_count:
        return INVENTED
    return (f"{len(rows)} of {offer.row_count} prices are still INVENTED: {', '.join(rows)}."
            " Put in your own before anyone sees a figure.")


def quote_checks(offer: Offer, economics: Economics) -> list[Check]:
    """Whether the money comes back, what a kWh costs against today's, whose prices these are."""
    plan, unit = economics.plan, offer.currency
    life, late = plan.lifetime_years, economics.discounted_payback_years
    served, today = economics.cost_per_kwh_served, plan.today_per_kwh
    back = economics.payback_years
    return [
        checked(
            back is not None, **worded("quote", "paid-back-within", life=life),
            found="not within it" if back is None else f"{back:.1f}",
        ),
        checked(
            late is not None, **worded("quote", "paid-back-with", life=life),
            found="not within it" if late is None else f"{late:.1f}",
        ),
        checked(
            served <= today, **worded("quote", "cost-kwh-boards", unit=unit, today=_each(today)),
            found=_each(served), clause=ENERGY_COST_RULE.source,
        ),
        checked(
            not offer.invented,
            rule="quote/prices", kind="data",
            item="Prices", found=_whose(offer),
            limit="the firm's own", clause=_BOOK_RULE,
            remedy="name your own list in quote.price_list, with your own price in each row; name"
            " a price of yours that is as invented under own",
        ),
    ]


def _whose(offer: Offer) -> str:
    if not offer.invented:
        return "the firm's"
    rows = offer.invented_rows
    all_of = len(rows) == offer.row_count
    return f"invented: {'all ' if all_of else ''}{len(rows)} of {offer.row_count} rows" + (
        "" if all_of else f", {', '.join(rows)}")  # fmt: skip


def quote_values(offer: Offer, economics: Economics) -> dict[str, float | str]:
    """Named figures for a results cell; a payback that never comes is a word."""
    back, late, rate = (economics.payback_years, economics.discounted_payback_years,
                        economics.return_frac)  # fmt: skip
    return {
        "currency": offer.currency,
        "price_before_tax": round(offer.price, offer.decimals),
        "total_price": round(offer.total, offer.decimals),
        "labour_hours": round(sum(one.hours for one in offer.labour), 1),
        "price_of_a_kwp": "none" if offer.per_kwp is None else round(offer.per_kwp, 0),
        "cost_of_a_kwh_served": _short(economics.cost_per_kwh_served),
        "cost_of_a_kwh_generated": _short(economics.cost_per_kwh_generated),
        "cost_of_a_kwh_today": _short(economics.plan.today_per_kwh),
        "payback_years": "never" if back is None else round(back, 1),
        "discounted_payback_years": "never" if late is None else round(late, 1),
        "present_value": round(economics.npv, 0),
        "return_frac": "none" if rate is None else round(rate, 3),
        "batteries_bought_again": float(len(economics.replacement_years)),
    }


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What an alternative does beside its price.

    Parameters
    ----------
    failed_safety, failed_other : int
        Failed checks, those of safety and all others.
    essential_dark_h, nonessential_dark_h : int
        Hours of the year in which a board got less than it asked for [h].
    battery_years : float
        Expected life of the bank that lasts shortest [years].
    """

    failed_safety: int
    failed_other: int
    essential_dark_h: int
    nonessential_dark_h: int
    battery_years: float

    @property
    def worse(self) -> tuple[int, int, int]:
        """Safety and supply: more of any is worse, whatever it costs."""
        return self.failed_safety, self.essential_dark_h, self.nonessential_dark_h


def fit_to_head(standings: Mapping[str, Standing]) -> tuple[str, ...]:
    """Names of the alternatives that may be headlined for what they cost or pay back.

    Those that no other beats on failed checks of safety or on hours without supply of either
    board: what is cheap for being worse is no bargain. None where no alternative is as good as
    every other on all three.
    """
    every = [one.worse for one in standings.values()]
    return tuple(
        name for name, one in standings.items()
        if all(own <= min(column) for own, column in zip(one.worse, zip(*every, strict=True),
                                                        strict=True))
    )  # fmt: skip


def standing_rows(standings: Mapping[str, Standing]) -> list[Row]:
    """Alternatives side by side: what stands beside their price."""
    figures = {
        "hours without supply, essential loads [h/year]": "essential_dark_h",
        "hours without supply, nonessential loads [h/year]": "nonessential_dark_h",
        "battery life [years]": "battery_years", "failed checks of safety": "failed_safety",
        "failed checks, all others": "failed_other",
    }  # fmt: skip
    return [
        {"": words, **{name: round(getattr(one, field), 1) for name, one in standings.items()}}
        for words, field in figures.items()
    ]


def money(amount: Money, offer: Offer) -> str:
    """An amount as it is printed on this offer."""
    return grouped(f"{amount:.{offer.decimals}f}")


def bill_rows(offer: Offer) -> list[Row]:
    """The bill with the cost of each line, for the firm."""
    unit = offer.currency
    return [
        {"group": one.line.group, "item": one.line.name, "quantity": _whole(one.line.quantity),
         "unit": unit_words(one.line.unit), f"price of one [{unit}]": one.unit_price,
         f"cost [{unit}]": one.cost, "key in the price list": one.line.key,
         "whose price": "INVENTED" if one.row in offer.invented_rows else "own"}
        for one in offer.lines
    ]  # fmt: skip


def labour_rows(offer: Offer) -> list[Row]:
    """Hours by task and trade, with their cost, for the firm."""
    unit = offer.currency
    return [
        {"task": one.task, "trade": one.trade, "hours [h]": round(one.hours, 2),
         f"rate [{unit}/h]": one.rate, f"cost [{unit}]": one.cost,
         "whose rate": "INVENTED" if LABOUR + one.trade in offer.invented_rows else "own"}
        for one in offer.labour
    ]  # fmt: skip


def quote_rows(offer: Offer) -> list[Row]:
    """What the customer sees: prices by group with the margin in them, tax, total."""
    head = f"price [{offer.currency}]"
    rows: list[Row] = [
        {"part": group.capitalize(), head: price} for group, price in group_prices(offer).items()
    ]
    rows += [{"part": "Price before tax", head: offer.price},
             {"part": f"Tax, {100.0 * offer.tax_frac:g} %", head: offer.tax},
             {"part": "Total", head: offer.total}]  # fmt: skip
    return rows


def cost_rows(offer: Offer) -> list[Row]:
    """How the price comes about, for the firm alone."""
    head = f"amount [{offer.currency}]"
    return [
        {"part": "Materials", head: offer.material_cost},
        {"part": LABOUR_GROUP.capitalize(), head: offer.labour_cost},
        {"part": "Cost", head: offer.cost},
        {"part": f"Margin, {100.0 * offer.margin_frac:g} % of the price", head: offer.margin},
        {"part": "Price before tax", head: offer.price},
    ]


def cash_rows(economics: Economics, offer: Offer) -> list[Row]:
    """Each year's flows and their sum."""
    unit, found, total = offer.currency, economics, 0.0
    rows: list[Row] = []
    for year, net in enumerate(found.net):
        total += float(net)
        first = economics.plan.first_price if year == 0 else 0.0
        amounts = {
            "price": first, "saved": found.saved[year], "maintenance": found.maintenance[year],
            "grid and fuel": found.bought[year], "replaced": found.replaced[year],
            "in the year": net, "sum": total,
        }  # fmt: skip
        rows.append({
            "year": year, "energy served [kWh]": round(float(found.served_kwh[year]), 1),
            **{f"{name} [{unit}]": round(float(amount), offer.decimals)
               for name, amount in amounts.items()},
        })  # fmt: skip
    return rows


def economics_rows(found: Mapping[str, Economics], currency: str) -> list[Row]:
    """Alternatives side by side: what a kWh costs, what comes back."""
    words: dict[str, dict[str, object]] = {
        f"cost of a kWh served [{currency}]": {},
        f"cost of a kWh generated [{currency}]": {}, f"worth today [{currency}]": {},
        "payback [years]": {}, "payback with interest [years]": {}, "rate of return [%]": {},
        "batteries bought again": {},
    }  # fmt: skip
    for name, one in found.items():
        rate = one.return_frac
        answers: tuple[object, ...] = (
            _short(one.cost_per_kwh_served), _short(one.cost_per_kwh_generated),
            round(one.npv), _years(one.payback_years), _years(one.discounted_payback_years),
            "none" if rate is None else round(100.0 * rate, 1), len(one.replacement_years),
        )  # fmt: skip
        for row, answer in zip(words.values(), answers, strict=True):
            row[name] = answer
    return [{"": label, **row} for label, row in words.items()]


def _years(years: float | None) -> object:
    return "never" if years is None else round(years, 1)


def _each(amount: Money) -> str:
    """Money a kWh, to three figures whatever the currency is worth."""
    if abs(amount) >= 100.0:
        return grouped(f"{amount:.0f}")
    return f"{amount:#.3g}".rstrip(".")


def _whole(quantity: float) -> float | int:
    return int(quantity) if quantity.is_integer() else quantity


def _short(amount: float) -> float:
    return float(f"{amount:.4g}")
