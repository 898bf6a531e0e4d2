"""The quote of a job: its design counted, priced, and reckoned over the life."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from solarcalc.basis.errors import InputError
from solarcalc.basis.sourced import Sourced, assumptions
from solarcalc.earthing.plan import EarthingPlan
from solarcalc.harvest.energy import Harvest
from solarcalc.job import changed, grounds, supply_year, yearly_harvest
from solarcalc.job.assumptions import defaults_of
from solarcalc.job.bank_life import years_at
from solarcalc.job.electrical import Electrical, electrical_of, label_schedule
from solarcalc.job.opening import Job
from solarcalc.job.own_hardware import own_hardware
from solarcalc.programme.days import crew_days, person_days, programme_answer
from solarcalc.programme.from_job import schedule_of
from solarcalc.programme.labour import PROGRAMME_ASSUMPTIONS
from solarcalc.programme.schedule import Schedule
from solarcalc.programme.workdays import DAY_BEGINS
from solarcalc.quote.answer import (
    plan_of,
    quote_answer,
    quote_values,
)
from solarcalc.quote.bill import bill_of
from solarcalc.quote.civil import BLOCK_FACE_M2, civil_works
from solarcalc.quote.design import (
    Design,
    battery_link_count,
    cable_line,
    device_line,
    equipment_of,
)
from solarcalc.quote.economics import Economics, economics_of
from solarcalc.quote.items import unit_words
from solarcalc.quote.offer import LabourHours, Offer, quote_of
from solarcalc.quote.prices import read_price_book
from solarcalc.sitefile.records import Alternative
from solarcalc.supply.run import SupplyRun
from solarcalc.wiring.labels import label_count
from solarcalc.wiring.pipe_sizes import pipe_size

Row = dict[str, object]
OWN = "as the site file has it"
_TRADES = {"builder": "mason", "roof": "installer", "electrician": "electrician", "": "installer"}
"""Trade of the programme to that of the price book."""
_ITEMS = {"batteries": "battery"}
"""Task whose work comes again when the thing is replaced."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Priced:
    """A job with its programme, its offer and its years of money."""

    job: Job
    harvest: Harvest
    design: Design
    schedule: Schedule
    offer: Offer
    economics: Economics


def design_of(job: Job, built: Electrical, earth: EarthingPlan) -> Design:
    """What a job takes, counted from what the stages before have chosen."""
    site, pipe = job.site, job.site.pipe
    pipe_m = pipe.length_m or built.run("main").run.length_m
    rods = earth.earthing.electrode == "rods"
    earth_m = sum(line.length_m or 0.0 for line in earth.lines)
    room = site.room
    civil = civil_works(
        length_m=room.length_m, depth_m=room.depth_m, height_m=room.height_m, wall=room.wall,
        roof=room.roof, door_m=room.door_m,
    )  # fmt: skip
    return Design(
        array_kwp=site.array_w / 1000.0,
        equipment=equipment_of(site), hardware=own_hardware(job),
        rail_stock_m=site.rails.stock_length_m,
        battery_link_count=battery_link_count(
            site.battery.units_in_series, site.battery.units_in_parallel
        ),
        string_connector_pairs=built.strings,
        cables=tuple(cable_line(one, earth_core=one.run.current == "ac") for one in built.sized),
        pipe_m=pipe_m, pipe_mm=pipe_size(pipe.size).outer_mm,
        trench_m=pipe_m if pipe.depth_m > 0.0 else 0.0,
        devices=tuple(device_line(device) for device in built.plan.devices),
        rod_count=earth.earthing.rod_count if rods else 0,
        rod_length_m=earth.earthing.rod_length_m,
        earth_m=earth_m + (0.0 if rods else earth.earthing.conductor_m),
        earth_mm2=earth.main_earth_mm2,
        civil=civil if site.programme.power_room == "new" else None,
        label_count=label_count(label_schedule(built)),
    )  # fmt: skip


def labour_of_programme(schedule: Schedule) -> tuple[LabourHours, ...]:
    """Hours of each task of the programme by trade, as the price book names trades."""
    return tuple(
        LabourHours(
            task=one.task.name,
            trade="painter" if one.task.key.startswith("paint") else _TRADES[one.task.trade],
            hours=one.task.person_h, item=_ITEMS.get(one.task.key, ""),
        )
        for one in schedule.planned if one.task.person_h > 0.0
    )  # fmt: skip


def priced(
    job: Job, harvest: Harvest, year: SupplyRun, built: Electrical, earth: EarthingPlan
) -> Priced:
    """The offer of a job and what it costs and saves over its life.

    Raises
    ------
    InputError
        What the price book lacks, by item; see `read_price_book` and `quote_of`.
    """
    site = job.site
    design, schedule = design_of(job, built, earth), schedule_of(job, built, earth)
    book = read_price_book(site.quote.price_book, job.sitefile.folder)
    offer = quote_of(
        bill_of(design, site.quote.cable_waste_frac), book, quote=site.quote,
        array_kwp=design.array_kwp, labour_hours=labour_of_programme(schedule),
    )  # fmt: skip
    hours = year.hours
    grid_wh = sum(
        float(hours[f"grid_to_{to}_w"].sum()) for to in ("critical", "heavy", "charge")
    )
    plan = plan_of(
        offer, site,
        served_kwh_per_year=float(
            (hours["critical_served_w"] + hours["heavy_served_w"]).sum()) / 1000.0,
        generated_kwh_per_year=harvest.ac_kwh,
        battery_years=years_at(job, year),
        grid_kwh_per_year=grid_wh / 1000.0, fuel_l_per_year=year.fuel_l,
    )  # fmt: skip
    return Priced(job=job, harvest=harvest, design=design, schedule=schedule, offer=offer,
                  economics=economics_of(plan))  # fmt: skip


def alternatives_of(own: Priced) -> dict[str, Priced]:
    """The site's own system and each of [[quote.alternatives]], each with a year of its own.

    Raises
    ------
    InputError
        For an alternative that cannot be built, with its name.
    """
    found = {OWN: own}
    for one in own.job.site.quote.alternatives:
        try:
            other = _as_alternative(own.job, one)
            same_array = one.module_count is None
            found[one.name] = _priced_job(
                other, own.harvest if same_array else yearly_harvest(other)
            )
        except InputError as error:
            raise InputError([
                replace(fault, where=f"quote.alternatives ({one.name}): {fault.where}")
                for fault in error.faults
            ]) from error  # fmt: skip
    return found


def _as_alternative(job: Job, one: Alternative) -> Job:
    tables: dict[str, dict[str, object]] = {
        "array": {"module_count": one.module_count},
        "battery": {"units_in_parallel": one.units_in_parallel},
        "generator": {"power_w": one.generator_w},
    }
    return changed(job, **tables)


def _priced_job(job: Job, harvest: Harvest) -> Priced:
    year = supply_year(job, harvest)
    built = electrical_of(job, harvest, year)
    return priced(job, harvest, year, built, grounds.earth_of(job, built))


def offers_of(found: Mapping[str, Priced]) -> dict[str, Offer]:
    """Offer of each alternative by name."""
    return {name: one.offer for name, one in found.items()}


def economics_by_name(found: Mapping[str, Priced]) -> dict[str, Economics]:
    """Money over the life of each alternative by name."""
    return {name: one.economics for name, one in found.items()}


def quantity_rows(own: Priced) -> list[Row]:
    """The bill of materials without prices: what is bought, and how much."""
    return [
        {"group": one.line.group, "item": one.line.name, "quantity": f"{one.line.quantity:g}",
         "unit": unit_words(one.line.unit)}
        for one in own.offer.lines
    ]  # fmt: skip


def money_answer(own: Priced) -> str:
    """Price, cost of a kWh, payback and days, in a few sentences."""
    return f"{quote_answer(own.offer, own.economics)} {programme_answer(own.schedule)}"


def money_values(own: Priced) -> dict[str, float | int | str]:
    """Named results of quote and programme."""
    schedule = own.schedule
    return {
        **quote_values(own.offer, own.economics),
        "first_day": f"{min(one.start for one in schedule.planned):%Y-%m-%d}",
        "last_day": f"{schedule.finish():%Y-%m-%d}",
        "crew_days": crew_days(schedule),
        "person_days": round(person_days(schedule), 1),
        "task_count": len(schedule.planned),
        "critical_task_count": sum(one.critical for one in schedule.planned),
    }


def money_assumptions(job: Job) -> list[Sourced]:
    """What the quote and the programme take for granted."""
    return [
        *assumptions("quote"), BLOCK_FACE_M2, *PROGRAMME_ASSUMPTIONS, DAY_BEGINS,
        *defaults_of(job, ("quote", "programme", "costs", "losses")),
    ]  # fmt: skip
