"""What the quote workbook shows: bill, offer, variants, money over the life, days."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.messages import PATTERN
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.quantity import in_unit, with_units
from solarcalc.basis.sourced import Sourced, assumptions
from solarcalc.design import Design
from solarcalc.powerroom.layout import AID_LIFTS_KG, ONE_LIFTS_KG, TWO_LIFT_KG
from solarcalc.programme.days import crew_days, person_days, programme_answer
from solarcalc.programme.tasks import labour_assumptions
from solarcalc.quote import answer as told
from solarcalc.quote import export
from solarcalc.quote.answer import (
    Swing,
    fit_to_head,
    quote_answer,
    quote_values,
    standing_rows,
)
from solarcalc.quote.bill import unit_words
from solarcalc.quote.economics import Economics
from solarcalc.quote.offer import Offer, compare_offers
from solarcalc.supply.energy import energy_by_month_kwh, energy_w
from solarcalc.variants import compare, compared_rows, figures_of, money_of, offer_of
from solarcalc.views.assumptions import defaults_of
from solarcalc.views.rows import Row, Values

T = TypeVar("T")


@or_why
def offers_of(found: Mapping[str, Design]) -> dict[str, Offer]:
    """Offer of each variant by name; of those that have one, if there is any."""
    return _answered({name: offer_of(one) for name, one in found.items()})


@or_why
def economics_by_name(found: Mapping[str, Design]) -> dict[str, Economics]:
    """Money over the life of each variant by name; of those that have it, if any."""
    return _answered({name: money_of(one) for name, one in found.items()})


def _answered(asked: Mapping[str, T | NoAnswer]) -> dict[str, T]:
    """Those with an answer; where there is none at all, why the first has none."""
    found = {name: one for name, one in asked.items() if not isinstance(one, NoAnswer)}
    if not found:
        raise next(one for one in asked.values() if isinstance(one, NoAnswer))
    return found


def variant_rows(found: Mapping[str, Design]) -> list[Row]:
    """Price of each variant, and beside it its supply, battery and failed checks."""
    offers, standings = offers_of(found), {name: figures_of(one) for name, one in found.items()}
    prices = [] if isinstance(offers, NoAnswer) else with_units(compare_offers(offers))
    return [*prices, *standing_rows(standings)]


def missing_by_month_kwh(found: Mapping[str, Design]) -> dict[str, list[float]]:
    """Energy not supplied in each month of the year, of each variant by name [kWh]."""
    sums = {name: energy_by_month_kwh(energy_w(one.supply, "not_supplied")).iloc[:, 0]
            for name, one in found.items()}  # fmt: skip
    return {name: [float(by_month.get(month, 0.0)) for month in range(1, 13)]
            for name, by_month in sums.items()}  # fmt: skip


def words_of_variants(design: Design) -> list[str]:
    """What each variant is for, where the site file says it."""
    return [f"{one.name}: {one.words}" for one in design.site.variants if one.words]


@or_why
def quote_rows(design: Design) -> list[Row]:
    """The quote by group, with tax and total."""
    return told.quote_rows(design.offer)


@or_why
def quote_files(design: Design, *, for_customer: bool = False) -> dict[str, bytes]:
    """The quote as files; without the years of money where these have no answer.

    Those for the customer are in the customer's language.
    """
    language = design.site.firm.language if for_customer else PATTERN
    return export.quote_files(design.offer, money_of(design), for_customer=for_customer,
                              headline=design.year_energy.words, language=language)  # fmt: skip


@or_why
def economics_rows(found: Mapping[str, Economics], currency: str) -> list[Row]:
    """Variants side by side: what a kWh costs, what comes back."""
    return told.economics_rows(found, currency)


@or_why
def cash_rows(design: Design) -> list[Row]:
    """Each year's flows and their sum."""
    return told.cash_rows(design.economics, design.offer)


@or_why
def energy_bill_rows(design: Design) -> list[Row]:
    """What grid and fuel cost today and with the system, month by month and in the year."""
    bills, offer = design.bills, design.offer
    parts = {
        "grid, today": bills.before.by_month, "fuel, today": bills.fuel_before,
        "grid, with the system": bills.after.by_month, "fuel, with the system": bills.fuel_after,
        "saved": bills.today_by_month - bills.still_by_month,
    }  # fmt: skip
    head = {name: f"{name} [{offer.currency}]" for name in parts}
    return [
        *({"month": month, **{head[name]: round(float(sums[place]), offer.decimals)
                              for name, sums in parts.items()}}
          for place, month in enumerate(MONTHS)),
        {"month": "Year", **{head[name]: round(float(sums.sum()), offer.decimals)
                             for name, sums in parts.items()}},
    ]  # fmt: skip


def invented(design: Design) -> bool:
    """Whether a price of the offer, or without one of the list, is invented."""
    return "prices" in design.example_of


@or_why
def swings_of(design: Design) -> tuple[Swing, ...]:
    """Cost of energy supplied with each input low and high, the widest swing first."""
    return told.tornado(design.economics.plan, "cost_per_kwh_supplied")


def fit_names(found: Mapping[str, Design]) -> tuple[str, ...]:
    """Variants that may be headlined for their money: none that is worse in what it does."""
    return fit_to_head({name: figures_of(one) for name, one in found.items()})


def difference_rows(found: Mapping[str, Design]) -> list[Row]:
    """What the variants do not share: energy, supply, battery, price, checks, bill, cables."""
    return compared_rows(compare(found))


def quantity_rows(design: Design) -> list[Row]:
    """The bill of materials without prices: what is bought, and how much."""
    return [
        {"group": line.group, "item": line.told, "quantity": in_unit(line.quantity, line.unit),
         "unit": unit_words(line.unit)}
        for line in design.bill
    ]  # fmt: skip


def answer(design: Design) -> str:
    """Price, cost of a kWh, payback and days, in a few sentences."""
    offer = offer_of(design)
    words = (offer.sentence if isinstance(offer, NoAnswer)
             else quote_answer(offer, money_of(design)))  # fmt: skip
    return f"{words} {programme_answer(design.programme)}"


def values(design: Design) -> Values:
    """Named results of quote and programme.

    Each name ends in its unit.
    """
    schedule = design.programme
    offer = offer_of(design)
    return {
        **({} if isinstance(offer, NoAnswer) else quote_values(offer, money_of(design))),
        "first_day": f"{min(one.start for one in schedule.planned):%Y-%m-%d}",
        "last_day": f"{schedule.finish():%Y-%m-%d}",
        "crew_days": crew_days(schedule),
        "person_days": round(person_days(schedule), 1),
        "task_count": len(schedule.planned),
        "critical_task_count": sum(one.critical for one in schedule.planned),
    }


def assumed(design: Design) -> list[Sourced]:
    """What the quote and the programme take for granted."""
    built = design.site.programme.power_room == "new"
    return [
        *assumptions("quote"), *(assumptions("masonry") if built else ()),
        *labour_assumptions(room_built=built), *assumptions("programme"),
        ONE_LIFTS_KG, TWO_LIFT_KG, AID_LIFTS_KG,
        *defaults_of(design, ("quote", "programme", "costs", "losses")),
    ]  # fmt: skip
