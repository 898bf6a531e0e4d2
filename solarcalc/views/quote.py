"""What the quote workbook shows: bill, offer, alternatives, money over the life, days."""

from __future__ import annotations

from dataclasses import replace

from solarcalc.basis.errors import InputError
from solarcalc.basis.quantity import in_unit, with_units
from solarcalc.basis.sourced import Sourced, assumptions
from solarcalc.design import Design, compare
from solarcalc.powerroom.layout import AID_LIFTS_KG, ONE_LIFTS_KG, TWO_LIFT_KG
from solarcalc.programme.days import crew_days, person_days, programme_answer
from solarcalc.programme.tasks import labour_assumptions
from solarcalc.quote.answer import (
    Standing,
    fit_to_head,
    quote_answer,
    quote_values,
    standing_rows,
)
from solarcalc.quote.bill import unit_words
from solarcalc.quote.economics import Economics
from solarcalc.quote.offer import Offer, compare_offers
from solarcalc.sitefile.quote import Alternative
from solarcalc.stages.battery_life import shortest_years, told_years
from solarcalc.views.assumptions import defaults_of
from solarcalc.views.rows import Row, Values

OWN = "as the site file has it"


def alternatives_of(design: Design) -> dict[str, Design]:
    """The site's own design and each of [[quote.alternatives]], priced and with its own year.

    Raises
    ------
    InputError
        For an alternative that cannot be built, with its name.
    """
    found = {OWN: design}
    for one in design.site.quote.alternatives:
        try:
            other = design.changed(_changes_of(one))
            assert other.economics is not None  # what cannot be built or priced is told here
            found[one.name] = other
        except InputError as error:
            raise InputError([
                replace(fault, where=f"quote.alternatives ({one.name}): {fault.where}")
                for fault in error.faults
            ]) from error  # fmt: skip
    return found


def _changes_of(one: Alternative) -> dict[str, dict[str, object]]:
    return {"array": {"module_count": one.module_count},
            "battery": {"units_in_parallel": one.units_in_parallel},
            "generator": {"power_w": one.generator_w}}


def offers_of(found: dict[str, Design]) -> dict[str, Offer]:
    """Offer of each alternative by name."""
    return {name: one.offer for name, one in found.items()}


def economics_by_name(found: dict[str, Design]) -> dict[str, Economics]:
    """Money over the life of each alternative by name."""
    return {name: one.economics for name, one in found.items()}


def standing_of(design: Design) -> Standing:
    """What a design does beside its price: every check is worked out for it."""
    failed = design.failed
    safety = sum(check.kind == "safety" for check in failed)
    return Standing(
        failed_safety=safety, failed_other=len(failed) - safety,
        essential_dark_h=design.supply.dark_hours("essential"),
        nonessential_dark_h=design.supply.dark_hours("nonessential"),
        battery_years=told_years(design, design.supply, shortest_years(design.life)),
    )  # fmt: skip


def alternative_rows(found: dict[str, Design]) -> list[Row]:
    """Price of each alternative, and beside it its supply, battery and failed checks."""
    standings = {name: standing_of(one) for name, one in found.items()}
    return [*with_units(compare_offers(offers_of(found))), *standing_rows(standings)]


def fit_names(found: dict[str, Design]) -> tuple[str, ...]:
    """Alternatives that may be headlined for their money: none that is worse in what it does."""
    return fit_to_head({name: standing_of(one) for name, one in found.items()})


def difference_rows(found: dict[str, Design]) -> list[Row]:
    """What the alternatives do not share: energy, supply, battery, price, checks, bill, cables."""
    table = compare(found).dropna(how="all")
    return with_units(({"quantity": name, **{str(one): value for one, value in row.items()}}
                       for name, row in table.iterrows()), "quantity")


def quantity_rows(design: Design) -> list[Row]:
    """The bill of materials without prices: what is bought, and how much."""
    return [
        {"group": line.group, "item": line.name, "quantity": in_unit(line.quantity, line.unit),
         "unit": unit_words(line.unit)}
        for line in design.bill
    ]  # fmt: skip


def answer(design: Design) -> str:
    """Price, cost of a kWh, payback and days, in a few sentences."""
    words = quote_answer(design.offer, design.economics)
    return f"{words} {programme_answer(design.programme)}"


def values(design: Design) -> Values:
    """Named results of quote and programme."""
    schedule = design.programme
    return {
        **quote_values(design.offer, design.economics),
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
