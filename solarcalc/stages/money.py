"""What a site's design takes to buy and to build, its days, its price and its years of money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from solarcalc.basis.errors import InputError
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.basis.worded import worded
from solarcalc.commissioning.line import TestLine
from solarcalc.energy.year import Harvest
from solarcalc.installation import schedules
from solarcalc.installation.records import Installation
from solarcalc.powerroom.civil import ROOF_SLAB_M, CivilWorks, civil_works
from solarcalc.programme.schedule import Schedule, site_schedule
from solarcalc.quote.answer import plan_of
from solarcalc.quote.bill import BillLine, bill_of, with_owned
from solarcalc.quote.costs import listed_trade
from solarcalc.quote.economics import Economics, economics_of, out_of_range
from solarcalc.quote.offer import LabourHours, Offer, quote_of
from solarcalc.quote.prices import PriceList, read_price_list
from solarcalc.quote.tariff import EnergyBills
from solarcalc.sitefile.dangers import task_cautions
from solarcalc.sitefile.setting import WIDE_SPAN_M
from solarcalc.sitefile.site import Site
from solarcalc.siteyear import SiteYear
from solarcalc.stages.battery_life import Lives, shortest, told_years, worn_years
from solarcalc.supply.energy import energy_kwh
from solarcalc.supply.engine import running_of
from solarcalc.supply.run import SupplyRun

_ITEMS = {"battery": "battery"}
"""Task whose work comes again when the thing is replaced."""
LEAST_KWH = 0.001
"""Less energy in a year is none: rounding, and no cost may be divided by it [kWh]."""


def civil_of(site: Site) -> CivilWorks | None:
    """What the power room takes to build; None where it stands already."""
    room = site.room
    if site.programme.power_room != "new":
        return None
    return civil_works(
        length_m=room.length_m, depth_m=room.depth_m, height_m=room.height_m, wall=room.wall,
        roof=room.roof, door_m=room.door_m,
    )  # fmt: skip


def work_of(built: Installation, tests: Sequence[TestLine]) -> dict[str, float]:
    """How much work of each unit a design is; see `solarcalc.sitefile.task_list.UNITS`.

    Each in that unit, such as modules or [m] of trench.

    What is built is fitted: all comes from the installation, and the room from its civil works.
    """
    civil = civil_of(built.site)
    return {
        **(room_work(civil) if civil else {}), **schedules.work_of(built),
        "test_line": len(tests),
    }  # fmt: skip


def room_work(civil: CivilWorks) -> dict[str, float]:
    """How much work of each unit a new power room is.

    Each in that unit, such as [m2] of wall.

    Both coats of paint cover both faces of the walls; concrete of the roof is counted with its
    formwork by the square metre.
    """
    concrete_roof = civil.roof == "concrete"
    roof_m3 = civil.roof_m2 * float(ROOF_SLAB_M) if concrete_roof else 0.0
    wide = "wide_" if civil.span_m > float(WIDE_SPAN_M) else ""
    return {
        "dig_m3": civil.dig_m3, "concrete_m3": civil.concrete_m3 - roof_m3,
        f"{civil.wall}_wall_m2": civil.wall_m2,
        f"{wide}concrete_roof_m2" if concrete_roof else "sheet_roof_m2": civil.roof_m2,
        "plaster_m2": civil.plaster_m2, "paint_m2": civil.plaster_m2,
        "door": civil.door_count, "vent": civil.vent_count,
    }  # fmt: skip


def schedule_of(own: SiteYear, work: Mapping[str, float]) -> Schedule:
    """Who does what on which day, for this site with its own crew.

    Raises
    ------
    InputError
        For tasks that wait for themselves, unknown tasks or days; see `site_schedule`.
    """
    return site_schedule(
        own.site.programme, work, name=own.site.site.name,
        where=f"{own.sitefile.path.name}: programme", cautions=task_cautions(own.site),
    )  # fmt: skip


def labour_of_programme(schedule: Schedule, prices: PriceList) -> tuple[LabourHours, ...]:
    """Hours of each task of the programme by trade, as the price list names trades."""
    return tuple(
        LabourHours(
            task=one.task.name,
            trade=listed_trade(one.task.trade, prices), hours=one.task.person_h,
            item=_ITEMS.get(one.task.key, ""),
        )
        for one in schedule.planned if one.task.person_h > 0.0
    )  # fmt: skip


def bill_of_site(built: Installation) -> tuple[BillLine, ...]:
    """The bill of what is built, waste included, with what is the customer's own."""
    site = built.site
    return with_owned(bill_of(built, civil_of(site), site.quote.cable_waste_frac), site.existing)


def prices_of(own: SiteYear) -> PriceList:
    """The firm's price list that the site names.

    Raises
    ------
    InputError
        For a list that cannot be read.
    """
    return read_price_list(own.site.quote.price_list, own.sitefile.folder)


def offer_of(
    own: SiteYear, bill: tuple[BillLine, ...], prices: PriceList, schedule: Schedule
) -> Offer:
    """The bill and the hours of the programme, priced from the firm's list.

    Raises
    ------
    NoAnswer
        With what the price list lacks, by item; see `quote_of`.
    """
    try:
        return quote_of(
            bill, prices, quote=own.site.quote, array_kwp=own.site.array_w / 1000.0,
            labour_hours=labour_of_programme(schedule, prices), place=own.site.place,
        )  # fmt: skip
    except InputError as error:
        said = "; ".join(f"{fault.where}: {fault.given}" for fault in error.faults)
        remedy = "; ".join(dict.fromkeys(fault.remedy for fault in error.faults if fault.remedy))
        raise NoAnswer(**worded("stages", "no-offer", said=said, remedy=remedy)) from error


def economics_of_site(
    own: SiteYear, offer: Offer, harvest: Harvest, year: SupplyRun, lives: Lives,
    bills: EnergyBills,
) -> Economics:
    """What the offer costs and saves over the life of the system.

    Raises
    ------
    NoAnswer
        Where no energy is supplied, or the array gives none, to divide the costs by; for a figure
        that no cash flow over years can hold.
    """
    supplied_kwh = energy_kwh(year, "supplied")
    if min(supplied_kwh, harvest.ac_kwh) < LEAST_KWH:
        why = (worded("stages", "economics-without-supply") if supplied_kwh < LEAST_KWH
               else worded("stages", "economics-without-array"))  # fmt: skip
        raise _no_economics(why)
    plan = plan_of(
        offer, own.site,
        supplied_kwh_per_year=supplied_kwh,
        generated_kwh_per_year=harvest.ac_kwh,
        battery_years=told_years(lives),
        bills=bills, running=running_of(year),
    )  # fmt: skip
    plan = replace(plan, battery_cause=shortest(lives).cause, battery_worn_years=worn_years(lives))
    if beyond := out_of_range(plan):
        called = {name: name.replace("_", " ").replace("kwh", "kWh") for name, _, _ in beyond}
        said = "; ".join(f"{called[name]}: {given}" for name, given, _ in beyond)
        allowed = "; ".join(f"{called[name]}: {allowed}" for name, _, allowed in beyond)
        keys = " and ".join(dict.fromkeys(_FOLLOWS_FROM[name] for name, _, _ in beyond))
        raise _no_economics(worded(
            "stages", "economics-beyond-range", said=said, allowed=allowed, keys=keys))
    return economics_of(plan)


def _no_economics(why: Mapping[str, str]) -> NoAnswer:
    """That there is no cash flow: why, what it takes at least, what to do first."""
    return NoAnswer(**worded("stages", "no-economics", why=why["why"], least=why["least"],
                             first=why["first"]))


_BY_PRICES = "the price list"
_BY_TARIFF = "the prices of grid and fuel in [quote] and [quote.tariff]"
_BY_LIFE = "battery.life_years and battery.life_cycles, or the warmth of the battery's place"
_BY_GENERATOR = "the generator's hours and its life in [generator]"
_FOLLOWS_FROM: Mapping[str, str] = {
    "first_price": _BY_PRICES, "maintenance_per_year": _BY_PRICES, "battery_price": _BY_PRICES,
    "inverter_price": _BY_PRICES, "generator_price": _BY_PRICES, "service_per_year": _BY_PRICES,
    "bought_per_year": _BY_TARIFF, "today_per_kwh": _BY_TARIFF, "feed_in_per_year": _BY_TARIFF,
    "battery_years": _BY_LIFE, "battery_worn_years": _BY_LIFE,
    "generator_years": _BY_GENERATOR, "generator_worn_years": _BY_GENERATOR,
    "supplied_kwh_per_year": "[loads]", "generated_kwh_per_year": "[array] and [module]",
    "ageing_frac": "losses.yearly_ageing_frac", "lifetime_years": "costs.lifetime_years",
    "interest_frac": "costs.interest_frac", "inverter_years": "quote.inverter_years",
    "price_escalation_frac": "quote.price_escalation_frac",
    "feed_in_escalation_frac": "quote.tariff.feed_in_escalation_frac",
}
"""What of a site each figure of its cash flow is made of."""
