"""Designs side by side: variants of a site, or sites; what each does, and what differs.

One list of figures (`FIGURES`) for the table of the design report, the workbook and the command
line. Whatever stands beside a design is a design, with every check run.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from solarcalc.basis.check import worst_first
from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NO_ANSWER, NoAnswer, or_why
from solarcalc.basis.quantity import with_units
from solarcalc.design import Changes, Design
from solarcalc.quote.answer import Standing
from solarcalc.quote.economics import Economics, Money
from solarcalc.quote.offer import Offer
from solarcalc.sitefile.planes import plane_change
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.variants import OWN, variant_file
from solarcalc.stages.battery_life import said_years, told_years
from solarcalc.stages.boards import usable_battery_wh
from solarcalc.stages.kept import of_design
from solarcalc.supply.energy import energy_kwh

NEVER = "never"
NOT_THERE, NOT_GIVEN = "none", "not given"
"""What stands for a line of the bill, a cable, a check or a key that a design does not have."""


@or_why
def offer_of(design: Design) -> Offer:
    """The offer, or why there is none."""
    return design.offer


@or_why
def money_of(design: Design) -> Economics:
    """Money over the life, or why it has no answer."""
    return design.economics


def change_of_plane(design: Design, number: int, changes: Changes) -> Changes:
    """A change of one roof plane that leaves the others as they stand.

    Parameters
    ----------
    design : Design
        Of the whole site.
    number : int
        The plane, 0 for the first.
    changes : mapping of table to mapping of key to value
        Of that plane's tables.
    """
    sites = [_pitched(one) for one in design.planes]
    return plane_change(design.sitefile.written, number, changes, sites)


def _pitched(plane: Design) -> Site:
    """The site of a plane with the row pitch that it stands at, if the file leaves that out."""
    stands = or_why(lambda: plane.array)()
    pitch = {} if isinstance(stands, NoAnswer) else {"row_pitch_m": stands.pitch_m}
    return plane.site.model_copy(update={"array": plane.site.array.model_copy(update=pitch)})


@dataclass(frozen=True, kw_only=True)
class Figures(Standing):
    """What a design does and costs: what stands beside one another wherever designs do.

    Parameters
    ----------
    array_kwp, usable_kwh : float
        Rated power of the array [kWp], usable energy of the battery [kWh].
    demand_kwh, supplied_kwh, curtailed_kwh : float
        As `YearEnergy` [kWh].
    total : float or None
        Price with tax; None where there is no offer.
    payback_years : float or None
        [years]; None where it is not paid back within its life, or there is no answer.
    has_money : bool
        Whether payback has an answer.
    """

    array_kwp: float
    usable_kwh: float
    demand_kwh: float
    supplied_kwh: float
    curtailed_kwh: float
    total: Money | None
    payback_years: float | None
    has_money: bool


def figures_of(design: Design) -> Figures:
    """What a design does and costs: every check is worked out for it."""
    offer, money, energy = offer_of(design), money_of(design), design.year_energy
    failed = design.failed
    safety = sum(check.kind == "safety" for check in failed)
    return Figures(
        array_kwp=design.site.array_w / 1000.0, usable_kwh=usable_battery_wh(design) / 1000.0,
        demand_kwh=energy.demand_kwh, supplied_kwh=energy.supplied_kwh,
        curtailed_kwh=energy.curtailed_kwh,
        total=None if isinstance(offer, NoAnswer) else offer.total,
        payback_years=None if isinstance(money, NoAnswer) else money.payback_years,
        has_money=not isinstance(money, NoAnswer),
        failed_safety=safety, failed_other=len(failed) - safety,
        essential_without_supply_h=energy.essential_h,
        nonessential_not_supplied_kwh=round(
            energy_kwh(design.supply, "nonessential_not_supplied")),
        battery_years=told_years(design.life),
    )  # fmt: skip


@of_design
def variants_of(design: Design) -> dict[str, Design]:
    """The site's own design and each of its [[variants]] by name.

    Raises
    ------
    InputError
        For a variant that cannot be built, with its name.
    """
    found = {OWN: design}
    for one in design.site.variants:
        other = design.variant(one.name)
        try:
            money_of(other)  # what cannot be built is told here
        except InputError as error:
            file = design.sitefile.path.name
            own = variant_file(file, one.name)
            raise InputError([
                replace(fault, where=f"{own}: {fault.where.removeprefix(f'{file}: ')}")
                for fault in error.faults
            ]) from error  # fmt: skip
        found[one.name] = other
    return found


MOST_OFFERED = 2
"""Variants that the quote has room for beside the design."""


def offered_variants(design: Design) -> tuple[dict[str, Design], dict[str, str]]:
    """Variants that the quote sets beside the design, and of each of the others why it does not.

    Offered is what has a price and no failed check of safety or supply, the first of them as the
    file lists them.

    Raises
    ------
    InputError
        For a variant that cannot be built, with its name.
    """
    shown: dict[str, Design] = {}
    left_out: dict[str, str] = {}
    for name, one in variants_of(design).items():
        if name == OWN:
            continue
        if isinstance(offer := offer_of(one), NoAnswer):
            left_out[name] = offer.sentence
        elif one.blocking:
            first, more = one.blocking[0], len(one.blocking) - 1
            left_out[name] = (
                f"{first.item} failed: {first.found_words} (required {first.limit_words})"
                + (f", and {more} more" if more else ""))  # fmt: skip
        elif len(shown) >= MOST_OFFERED:
            left_out[name] = f"it has room for {MOST_OFFERED}; list this one before the others"
        else:
            shown[name] = one
    return shown, left_out


def compare(designs: Iterable[Design] | Mapping[str, Design]) -> pd.DataFrame:
    """Designs side by side, one column a design, one row a quantity.

    First the figures of each (energy in the year, hours without supply, battery life, price,
    payback, failed checks); then, only where they are not the same in all of them, each key of the
    site file, each check, line of the bill and cable.

    Parameters
    ----------
    designs : iterable of Design, or mapping of name to Design
        Without names they are called A, B and so on, in their order.

    Returns
    -------
    DataFrame
        Index: the quantity with its unit.
    """
    named = dict(designs) if isinstance(designs, Mapping) else {
        _letter(number): one for number, one in enumerate(designs)
    }  # fmt: skip
    columns: dict[str, dict[str, object]] = {name: {} for name in named}
    for rows in (_headline, _key_rows, _check_rows, _bill_rows, _cable_rows):
        found = {name: rows(one) for name, one in named.items()}
        for key in dict.fromkeys(key for each in found.values() for key in each):
            lacks = NOT_GIVEN if rows is _key_rows else NOT_THERE  # "none" is a value of some keys
            shown = {name: each.get(key, lacks) for name, each in found.items()}
            if rows is _headline or _unlike(shown.values()):
                for name, value in shown.items():
                    columns[name][key] = value
    return pd.DataFrame(columns, dtype=object)


def differing(table: pd.DataFrame) -> pd.DataFrame:
    """The rows of `compare` that are not the same in all columns."""
    return table[[_unlike(row) for row in table.to_numpy()]]


def compared_rows(table: pd.DataFrame) -> list[dict[str, object]]:
    """`compare` as rows to print: each number by the unit of its row."""
    return with_units(({"quantity": name, **{str(one): value for one, value in row.items()}}
                       for name, row in table.iterrows()), "quantity")  # fmt: skip


_WELL = {"passed", NOT_THERE}


def _unlike(values: Iterable[object]) -> bool:
    """Whether values differ; a check that passes where it is made at all is no difference."""
    found = set(values)
    return len(found) > 1 and not found <= _WELL


def _letter(number: int) -> str:
    return chr(ord("A") + number) if number < 26 else f"A{number}"


def _headline(design: Design) -> dict[str, object]:
    found = figures_of(design)
    currency, back = design.prices.currency, found.payback_years
    return {"array [kWp]": round(found.array_kwp, 3),
            "usable battery energy [kWh]": round(found.usable_kwh, 2),
            "energy demand [kWh/year]": round(found.demand_kwh),
            "energy supplied [kWh/year]": round(found.supplied_kwh),
            "curtailed, of what was available, and why": design.year_energy.curtailed_words,
            "hours without supply, essential loads [h/year]": found.essential_without_supply_h,
            "energy not supplied, non-essential loads [kWh/year]":
            found.nonessential_not_supplied_kwh,
            "battery life [years]": said_years(design.life),
            f"price [{currency}]": NO_ANSWER if found.total is None else round(found.total, 2),
            "simple payback period [years]": NO_ANSWER if not found.has_money else (
                NEVER if back is None else round(back, 1)),
            "failed checks of the design, safety": found.failed_safety,
            "failed checks of the design": found.failed_safety + found.failed_other,
            }  # fmt: skip


def _key_rows(design: Design) -> dict[str, object]:
    """What the site file says, key by key; lists of tables row by row."""
    return {f"site file: {key}": value for key, value in _leaves(design.sitefile.written)
            if not key.startswith("variants[")}  # fmt: skip


def _leaves(value: Any, key: str = "") -> Iterator[tuple[str, str]]:
    """Each value as it is written; a whole number is the same with and without a point."""
    if isinstance(value, Mapping):
        for name, one in value.items():
            yield from _leaves(one, f"{key}.{name}".lstrip("."))
    elif isinstance(value, list) and any(isinstance(one, Mapping) for one in value):
        for number, one in enumerate(value, start=1):
            yield from _leaves(one, f"{key}[{number}]")
    elif isinstance(value, list):
        yield key, ", ".join(text for one in value for _, text in _leaves(one, key)) or "[]"
    elif isinstance(value, bool):
        yield key, str(value).lower()
    else:
        yield key, f"{value:.12g}" if isinstance(value, float) else str(value)


def _check_rows(design: Design) -> dict[str, object]:
    """The outcome of each check; of several alike the worst."""
    found: dict[str, object] = {}
    for check in worst_first(design.all_checks):
        outcome = "accepted" if check.accepted else check.outcome
        found.setdefault(f"check, {check.kind}: {check.item}", outcome)
    return found


def _bill_rows(design: Design) -> dict[str, object]:
    return {f"bill: {line.told} [{line.unit}]": line.quantity for line in design.bill}


def _cable_rows(design: Design) -> dict[str, object]:
    return {
        f"cable: {one.run.name}": f"{one.size_name}, {one.run.length_m:g} m"
        for one in design.electrical.sized
    }
