"""What a quote says: plan of its cash flow, checks, one sentence, rows, and what it hangs on."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.no_answer import NO_ANSWER, NoAnswer
from solarcalc.basis.quantity import grouped, with_units
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.worded import worded
from solarcalc.quote.bill import CUSTOMERS_OWN, unit_words
from solarcalc.quote.economics import (
    ENERGY_COST_RULE,
    NO_RATE,
    Economics,
    Money,
    NoRate,
    Plan,
    economics_of,
    price_rise_words,
)
from solarcalc.quote.offer import LABOUR_GROUP, Offer, group_prices, paid_for, price_of
from solarcalc.quote.prices import LABOUR
from solarcalc.quote.tariff import EnergyBills
from solarcalc.sitefile.site import Site
from solarcalc.supply.engine import Running, services_per_year

Measure = Literal["npv", "cost_per_kwh_supplied"]


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
    percent : bool
        Whether it is printed in percent.
    """

    field: str
    name: str
    low: float
    high: float
    by: Literal["times", "plus"] = "times"
    least: float = 0.0
    percent: bool = False


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
    percent : bool
        Whether the input is printed in percent.
    """

    name: str
    low_input: float
    high_input: float
    at_low: Money
    at_high: Money
    as_planned: Money
    percent: bool = False

    @property
    def width(self) -> float:
        """From the least to the greatest of the three answers.

        In the unit of the answers.
        """
        answers = (self.at_low, self.at_high, self.as_planned)
        return max(answers) - min(answers)


REACHES: tuple[Reach, ...] = (
    Reach(field="first_price", name="price of the system", low=0.8, high=1.2),
    Reach(field="supplied_kwh_per_year", name="energy supplied", low=0.85, high=1.1),
    Reach(field="today_per_kwh", name="cost per kWh at present", low=0.7, high=1.3),
    Reach(field="price_escalation_frac", name="real energy price escalation", low=-0.03,
          high=0.03, by="plus", least=-0.2, percent=True),
    Reach(field="interest_frac", name="real interest rate", low=-0.03, high=0.03, by="plus",
          percent=True),
    Reach(field="battery_years", name="battery service life", low=0.7, high=1.3, least=0.5),
    Reach(field="battery_price", name="price of a battery replacement", low=0.6, high=1.2),
    Reach(field="maintenance_per_year", name="operation and maintenance cost", low=0.5, high=2.0),
    Reach(field="bought_per_year", name="grid energy and fuel bought", low=0.7, high=1.3),
    Reach(field="lifetime_years", name="life of the system", low=-5.0, high=5.0, by="plus",
          least=1.0),
)  # fmt: skip


def tornado(
    plan: Plan, measure: Measure = "npv", reaches: Sequence[Reach] = REACHES
) -> tuple[Swing, ...]:
    """The answer with each input low and high, the widest swing first.

    One input at a time: what moves together in the world (energy supplied and fuel bought) is
    not moved together here.

    Parameters
    ----------
    plan : Plan
    measure : {"npv", "cost_per_kwh_supplied"}
    reaches : sequence of Reach

    Raises
    ------
    InputError
        For another measure, or a plan that cannot be worked out.
    """
    if measure not in ("npv", "cost_per_kwh_supplied"):
        raise InputError(Fault(where="tornado: measure", given=repr(measure),
                               allowed="npv or cost_per_kwh_supplied"))
    middle = _answer(economics_of(plan), measure)
    swings = [_swing(plan, reach, measure, middle) for reach in reaches]
    return tuple(sorted(swings, key=lambda swing: -swing.width))


def _swing(plan: Plan, reach: Reach, measure: Measure, middle: Money) -> Swing:
    bank = reach.field == "battery_years"
    value = plan.bank_years if bank else getattr(plan, reach.field)
    unstated = bank and plan.battery_years is None
    ends = [
        max(reach.least, value * move if reach.by == "times" else value + move)
        for move in (reach.low, reach.high)
    ]
    tried: list[dict[str, Any]] = [{reach.field: end} for end in ends]
    low, high = (_answer(economics_of(replace(plan, **one)), measure) for one in tried)
    return Swing(name="battery replacement interval" if unstated else reach.name,
                 low_input=ends[0], high_input=ends[1], at_low=low, at_high=high,
                 as_planned=middle, percent=reach.percent)  # fmt: skip


def _answer(economics: Economics, measure: Measure) -> Money:
    return economics.npv if measure == "npv" else economics.cost_per_kwh_supplied


Row = dict[str, object]

ESTIMATE = "Budget estimate, not an offer"
INVENTED = "Example prices (INVENTED): not valid for an offer; enter your own price list."
QUOTE_NOTES = (
    "Budget estimate, not an offer: site conditions and current prices decide.",
    "Not included: cable glands, cable ties, fasteners, transport, permits, scaffolding, existing"
    " equipment; not counted as savings: service and wear of an existing generator.",
    "All amounts at today's prices; energy price escalation and interest are real (above"
    " inflation).",
    "The work is designed, done and tested by licensed people under the local codes.",
)
"""Small print of every quote."""

_BATTERY, _INVERTER = ("battery", "battery-link"), ("inverter",)
_BOOK_RULE = NO_SOURCE


def plan_of(
    offer: Offer, site: Site, *, supplied_kwh_per_year: float, generated_kwh_per_year: float,
    battery_years: float | None, bills: EnergyBills, running: Running | None = None,
) -> Plan:  # fmt: skip
    """The plan of a site's cash flow with an offer.

    Parameters
    ----------
    offer : Offer
    site : Site
        Its [quote] and [costs], and the yearly ageing in [losses].
    supplied_kwh_per_year, generated_kwh_per_year : float
        To the boards, and of the array, first year [kWh/year].
    battery_years : float or None
        Expected life of the bank [years]; None: none as it is used.
    bills : EnergyBills
        What energy costs today, and what of grid and fuel is still bought, in the first year.
    running : Running, optional
        The generator's year: its hours until service and until it is replaced.
    """
    quote, costs = site.quote, site.costs
    plan = Plan(
        first_price=offer.total, supplied_kwh_per_year=supplied_kwh_per_year,
        generated_kwh_per_year=generated_kwh_per_year,
        ageing_frac=site.losses.yearly_ageing_frac, lifetime_years=costs.lifetime_years,
        interest_frac=costs.interest_frac,
        maintenance_per_year=quote.maintenance_frac * offer.total,
        bought_per_year=bills.bought_per_year, today_per_kwh=bills.today_per_kwh,
        price_escalation_frac=quote.price_escalation_frac,
        feed_in_per_year=float(bills.after.feed_in.sum()),
        feed_in_escalation_frac=quote.tariff.feed_in_escalation_frac,
        battery_price=paid_for(offer, _BATTERY),
        battery_years=battery_years, inverter_price=paid_for(offer, _INVERTER),
        inverter_years=quote.inverter_years,
    )  # fmt: skip
    return plan if running is None else _with_generator(plan, site, running)


def _with_generator(plan: Plan, site: Site, running: Running) -> Plan:
    """The plan with service and life of the generator, at the firm's margin and with tax.

    Serviced by its hours, and once a year at least; replaced or overhauled by its hours alone.
    """
    one, quote = site.generator, site.quote
    if not one.there:
        return plan
    services = services_per_year(one, running)
    run = running.run_h > 0.0

    def sold(cost: Money) -> Money:
        return price_of(cost, margin_frac=quote.margin_frac) * (1.0 + quote.tax_frac)

    return replace(
        plan, service_per_year=services * sold(site.costs.per_generator_service),
        generator_price=sold(site.costs.per_generator),
        generator_years=one.lasts_h / running.run_h if run else None,
        generator_worn_years=one.run_h / running.run_h if run else 0.0,
    )  # fmt: skip


def quote_answer(offer: Offer, economics: Economics | NoAnswer) -> str:
    """The quote in a few sentences: price, cost of a kWh, payback, and what it is not."""
    price = f"{ESTIMATE}: {money(offer.total, offer)} {offer.currency}, {offer.tax_words}"
    text = f"{price}, for {offer.array_kwp:.1f} kWp" + (
        f". {economics.sentence}" if isinstance(economics, NoAnswer)
        else f"; {_money_words(offer, economics)}."
    )  # fmt: skip
    return f"{text} {invented_words(offer)}" if offer.invented else text


def _money_words(offer: Offer, economics: Economics) -> str:
    plan, unit = economics.plan, offer.currency
    paid = _paid_words(economics)
    text = (
        f"levelised cost of energy supplied {_each(economics.cost_per_kwh_supplied)} {unit}/kWh"
        f" over {plan.lifetime_years:g} years, at present {_each(plan.today_per_kwh)} {unit}/kWh;"
        f" {paid}"
    )
    if plan.battery_years is None:
        cause = f" ({plan.battery_cause})" if plan.battery_cause else ""
        text += (f". No battery service life can be stated for this use{cause}: a replacement is"
                 f" assumed every {plan.bank_years:.3g} years")
    return text


def _paid_words(economics: Economics) -> str:
    """When the money is back: as prices are taken to go, at today's, and with interest."""
    plan, back = economics.plan, economics.payback_years
    life = plan.lifetime_years

    def when(years: float | None) -> str:
        return f"not within {life:g}" if years is None else f"in {years:.1f}"

    paid = f"no payback within {life:g}" if back is None else f"simple payback {when(back)}"
    paid += " years"
    rise = price_rise_words(plan.price_escalation_frac)
    if rise:
        paid += f" {rise}, {when(economics.today_payback_years)} at today's prices"
    if back is None:
        return paid
    return f"{paid}; discounted payback {when(economics.discounted_payback_years)}"


def invented_words(offer: Offer) -> str:
    """The warning of prices that are still invented: all of them, or each row by its name."""
    rows = offer.invented_rows
    if len(rows) == offer.row_count:
        return INVENTED
    return (f"{len(rows)} of {offer.row_count} prices, {offer.share_words(rows)} of the price, are"
            f" example prices (INVENTED): {', '.join(rows)}. Not valid for an offer; enter your"
            " own.")


def quote_checks(offer: Offer, economics: Economics | NoAnswer) -> list[Check]:
    """Whether the money comes back, what a kWh costs against today's, whose prices these are."""
    back = ([economics.check] if isinstance(economics, NoAnswer)
            else _money_checks(offer, economics))  # fmt: skip
    return [
        *back,
        checked(
            not offer.invented,
            rule="quote/prices", kind="data",
            item="Prices", found=_whose(offer),
            limit="the firm's own", clause=_BOOK_RULE,
            action="the firm's own price list",
            remedy="use your own price list (quote.price_list), with your own price in each row;"
            " list a price of yours that equals the example price under own",
        ),
    ]


_NEVER_BACK = "no payback within the life of the system"


def _money_checks(offer: Offer, economics: Economics) -> list[Check]:
    plan, unit = economics.plan, offer.currency
    life, late = plan.lifetime_years, economics.discounted_payback_years
    served, today = economics.cost_per_kwh_supplied, plan.today_per_kwh
    back = economics.payback_years
    rise = price_rise_words(plan.price_escalation_frac) or "at today's energy prices"
    return [
        checked(
            back is not None, **worded("quote", "paid-back-within", life=life, rise=rise),
            found=_NEVER_BACK if back is None else f"{back:.1f}",
        ),
        checked(
            late is not None, **worded("quote", "paid-back-with", life=life, rise=rise),
            found=_NEVER_BACK if late is None else f"{late:.1f}",
        ),
        checked(
            served <= today, **worded("quote", "cost-kwh-boards", unit=unit, today=_each(today)),
            found=_each(served), clause=ENERGY_COST_RULE.source,
        ),
    ]


def _whose(offer: Offer) -> str:
    if not offer.invented:
        return "the firm's"
    rows = offer.invented_rows
    all_of = len(rows) == offer.row_count
    return (
        f"invented: {'all ' if all_of else ''}{len(rows)} of {offer.row_count} rows,"
        f" {offer.share_words(rows)} of the price" + ("" if all_of else f": {', '.join(rows)}")
    )  # fmt: skip


def quote_values(offer: Offer, economics: Economics | NoAnswer) -> dict[str, float | str]:
    """Named figures for a results cell; a payback that never comes is a word.

    Each name ends in its unit; money in the currency of the offer.
    """
    return {
        "currency": offer.currency,
        "price_before_tax": round(offer.price, offer.decimals),
        "total_price": round(offer.total, offer.decimals),
        "labour_hours": round(sum(one.hours for one in offer.labour), 1),
        "price_of_a_kwp": "none" if offer.per_kwp is None else round(offer.per_kwp),
        **{name: NO_ANSWER if isinstance(economics, NoAnswer) else value(economics)
           for name, value in _MONEY_VALUES.items()},
    }  # fmt: skip


_MONEY_VALUES: dict[str, Callable[[Economics], float | str]] = {
    "levelised_cost_per_kwh": lambda one: _short(one.cost_per_kwh_supplied),
    "levelised_cost_per_kwh_generated": lambda one: _short(one.cost_per_kwh_generated),
    "present_cost_per_kwh": lambda one: _short(one.plan.today_per_kwh),
    "energy_price_rise_frac": lambda one: one.plan.price_escalation_frac,
    "payback_years": lambda one: _years(one.payback_years),
    "payback_at_todays_prices_years": lambda one: _years(one.today_payback_years),
    "discounted_payback_years": lambda one: _years(one.discounted_payback_years),
    "present_value": lambda one: round(one.npv),
    "return_frac": lambda one: _rate(one.rate),
    "return_at_todays_prices_frac": lambda one: _rate(one.today_rate),
    "battery_replacements": lambda one: len(one.replacement_years),
}


@dataclass(frozen=True, kw_only=True)
class Standing:
    """What a variant does beside its price.

    Parameters
    ----------
    failed_safety, failed_other : int
        Failed checks, those of safety and all others.
    essential_without_supply_h : int
        Hours of the year in which the essential board got less than its demand [h].
    nonessential_not_supplied_kwh : int
        Of the nonessential board's demand in the year, which is fed in part [kWh].
    battery_years : float or None
        Expected life of the bank that lasts shortest [years]; None: none as it is used.
    """

    failed_safety: int
    failed_other: int
    essential_without_supply_h: int
    nonessential_not_supplied_kwh: int
    battery_years: float | None

    @property
    def worse(self) -> tuple[int, int, int]:
        """Safety and supply: more of any is worse, whatever it costs."""
        missed = self.essential_without_supply_h, self.nonessential_not_supplied_kwh
        return self.failed_safety, *missed


def fit_to_head(standings: Mapping[str, Standing]) -> tuple[str, ...]:
    """Names of the variants that may be headlined for what they cost or pay back.

    Those that no other beats on failed checks of safety, on hours without supply of the essential
    board or on what the other is not supplied: what is cheap for being worse is no bargain. None
    where no variant is as good as every other on all three.
    """
    every = [one.worse for one in standings.values()]
    return tuple(
        name for name, one in standings.items()
        if all(own <= min(column) for own, column in zip(one.worse, zip(*every, strict=True),
                                                        strict=True))
    )  # fmt: skip


def standing_rows(standings: Mapping[str, Standing]) -> list[Row]:
    """Variants side by side: what stands beside their price."""
    figures = {
        "hours without supply, essential loads [h/year]": "essential_without_supply_h",
        "energy not supplied, non-essential loads [kWh/year]": "nonessential_not_supplied_kwh",
        "expected battery service life [years]": "battery_years",
        "failed checks of the design, safety": "failed_safety",
        "failed checks of the design, all others": "failed_other",
    }  # fmt: skip
    return with_units(
        {"": words, **{name: NO_LIFE if (value := getattr(one, field)) is None else value
                       for name, one in standings.items()}}
        for words, field in figures.items()
    )  # fmt: skip


NO_LIFE = "not stated for this use"
"""What stands for the years of a bank whose life cannot be told."""


def money(amount: Money, offer: Offer) -> str:
    """An amount as it is printed on this offer."""
    return grouped(f"{amount:.{offer.decimals}f}")


def bill_rows(offer: Offer) -> list[Row]:
    """The bill with the cost of each line, for the firm."""
    unit = offer.currency
    return [
        {"group": one.line.group, "item": one.line.told, "quantity": _whole(one.line.quantity),
         "unit": unit_words(one.line.unit), f"unit price [{unit}]": one.unit_price,
         f"cost [{unit}]": one.cost, "price list item": one.line.key,
         "price source": CUSTOMERS_OWN if one.line.owned
         else "INVENTED" if one.row in offer.invented_rows else "own"}
        for one in offer.lines
    ]  # fmt: skip


def labour_rows(offer: Offer) -> list[Row]:
    """Hours by task and trade, with their cost, for the firm."""
    unit = offer.currency
    return [
        {"task": one.task, "trade": one.trade, "hours [h]": round(one.hours, 2),
         f"rate [{unit}/h]": one.rate, f"cost [{unit}]": one.cost,
         "rate source": "INVENTED" if LABOUR + one.trade in offer.invented_rows else "own"}
        for one in offer.labour
    ]  # fmt: skip


def quote_rows(offer: Offer) -> list[Row]:
    """What the customer sees: prices by group with the margin in them, tax, total."""
    head = f"price [{offer.currency}]"
    rows: list[Row] = [
        {"group": group.capitalize(), head: price} for group, price in group_prices(offer).items()
    ]
    rows += [{"group": "Price before tax", head: offer.price},
             {"group": f"Tax, {100.0 * offer.tax_frac:g} %", head: offer.tax},
             {"group": "Total", head: offer.total}]  # fmt: skip
    return rows


def cost_rows(offer: Offer) -> list[Row]:
    """How the price comes about, for the firm alone."""
    head = f"amount [{offer.currency}]"
    return [
        {"group": "Materials", head: offer.material_cost},
        {"group": LABOUR_GROUP.capitalize(), head: offer.labour_cost},
        {"group": "Cost", head: offer.cost},
        {"group": f"Margin, {100.0 * offer.margin_frac:g} % of the price", head: offer.margin},
        {"group": "Price before tax", head: offer.price},
    ]


def cash_rows(economics: Economics, offer: Offer) -> list[Row]:
    """Each year's flows and their sum."""
    unit, found, total = offer.currency, economics, 0.0
    rows: list[Row] = []
    for year, net in enumerate(found.net):
        total += float(net)
        first = economics.plan.first_price if year == 0 else 0.0
        amounts = {
            "price": first, "savings": found.saved[year],
            "operation and maintenance": found.maintenance[year],
            "grid and fuel": found.bought[year], "replacements": found.replaced[year],
            "net cash flow": net, "cumulative cash flow": total,
        }  # fmt: skip
        rows.append({
            "year": year, "energy supplied [kWh]": round(float(found.supplied_kwh[year]), 1),
            **{f"{name} [{unit}]": round(float(amount), offer.decimals)
               for name, amount in amounts.items()},
        })  # fmt: skip
    return rows


def economics_rows(found: Mapping[str, Economics], currency: str) -> list[Row]:
    """Variants side by side: what a kWh costs, what comes back."""
    words: dict[str, dict[str, object]] = {
        f"levelised cost, energy supplied [{currency}/kWh]": {},
        f"levelised cost, energy generated [{currency}/kWh]": {},
        f"net present value [{currency}]": {},
        "real price escalation of energy [%/year]": {},
        "simple payback period [years]": {}, "discounted payback period [years]": {},
        "internal rate of return [%/year]": {},
        "simple payback period at today's prices [years]": {},
        "internal rate of return at today's prices [%/year]": {},
        f"generator service [{currency}/year]": {},
        "battery replacements": {}, "generator replacements or overhauls": {},
    }  # fmt: skip
    for name, one in found.items():
        answers: tuple[object, ...] = (
            one.cost_per_kwh_supplied, one.cost_per_kwh_generated, one.npv,
            100.0 * one.plan.price_escalation_frac,
            _years(one.payback_years), _years(one.discounted_payback_years), _percent(one.rate),
            _years(one.today_payback_years), _percent(one.today_rate),
            one.plan.service_per_year,
            len(one.replacement_years), len(one.generator_replacement_years),
        )  # fmt: skip
        for row, answer in zip(words.values(), answers, strict=True):
            row[name] = answer
    return with_units({"": label, **row} for label, row in words.items())


def _percent(rate: float | NoRate) -> float | str:
    return NO_RATE[rate] if isinstance(rate, str) else round(100.0 * rate, 1)


def _years(years: float | None) -> float | str:
    """In tenths, and whole where it is whole."""
    if years is None:
        return "never"
    tenths = round(years, 1)
    return int(tenths) if tenths.is_integer() else tenths


def _rate(rate: float | NoRate) -> float | str:
    return NO_RATE[rate] if isinstance(rate, str) else round(rate, 3)


def _each(amount: Money) -> str:
    """Money a kWh, to three figures whatever the currency is worth."""
    return grouped(f"{amount:.0f}") if abs(amount) >= 100.0 else f"{amount:#.3g}".rstrip(".")


def _whole(quantity: float) -> float | int:
    return int(quantity) if quantity.is_integer() else quantity


def _short(amount: float) -> float:
    return float(f"{amount:.4g}")
