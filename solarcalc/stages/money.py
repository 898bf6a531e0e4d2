"""What a site's design takes to buy and to build, its days, its price and its years of money."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from solarcalc.battery.wiring import wiring_of
from solarcalc.commissioning.sheet import sheet_of
from solarcalc.earthing.plan import EarthingPlan
from solarcalc.harvest.energy import Harvest
from solarcalc.powerroom.civil import ROOF_SLAB_M, CivilWorks, civil_works
from solarcalc.programme.from_site import site_schedule
from solarcalc.programme.schedule import Schedule
from solarcalc.quote.answer import plan_of
from solarcalc.quote.bill import BillLine, bill_of
from solarcalc.quote.design import (
    Counted,
    cable_line,
    device_line,
    equipment_of,
)
from solarcalc.quote.economics import Economics, economics_of
from solarcalc.quote.offer import LabourHours, Offer, quote_of
from solarcalc.quote.prices import read_price_book
from solarcalc.siteyear import SiteYear
from solarcalc.stages.array import own_hardware
from solarcalc.stages.electrical import Electrical, labels_of
from solarcalc.stages.grounds import test_facts
from solarcalc.supply.energy import energy_kwh
from solarcalc.supply.run import SupplyRun
from solarcalc.wiring.choose import core_count
from solarcalc.wiring.labels import label_count
from solarcalc.wiring.pipe_sizes import pipe_size

_TRADES = {
    "builder": "mason", "painter": "painter", "roof": "installer", "electrician": "electrician",
    "": "installer",
}  # fmt: skip
"""Trade of the programme to that of the price book."""
_ITEMS = {"battery": "battery"}
"""Task whose work comes again when the thing is replaced."""


def counted(own: SiteYear, built: Electrical, earth: EarthingPlan) -> Counted:
    """What a design takes, counted from what the stages before have chosen."""
    site, pipe = own.site, own.site.pipe
    pipe_m = pipe.length_m or built.run("main").run.length_m
    rods = earth.earthing.electrode == "rods"
    earth_m = sum(line.length_m or 0.0 for line in earth.lines)
    room = site.room
    civil = civil_works(
        length_m=room.length_m, depth_m=room.depth_m, height_m=room.height_m, wall=room.wall,
        roof=room.roof, door_m=room.door_m,
    )  # fmt: skip
    return Counted(
        array_kwp=site.array_w / 1000.0,
        equipment=equipment_of(site), hardware=own_hardware(own),
        rail_stock_m=site.rails.stock_length_m,
        battery_link_count=wiring_of(site.battery).series_links,
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
        label_count=label_count(labels_of(built)),
    )  # fmt: skip


def work_of(
    own: SiteYear, built: Electrical, earth: EarthingPlan, count: Counted
) -> dict[str, float]:
    """How much work of each unit a design is; see `solarcalc.sitefile.task_list.UNITS`.

    What is bought is fitted: all that is counted for the bill comes from there.
    """
    site, hardware = own.site, count.hardware
    made = Counter[str]()
    for one in count.equipment:
        made[one.key] += one.count
    ends = sum(
        2 * one.run.count * (core_count(one.run) * one.in_parallel + (one.run.current == "ac"))
        for one in built.sized
    )
    return {
        "module": made["module"], "controller": made["controller"],
        "inverter": made["inverter"], "generator": made["generator"],
        "battery_unit": made["battery"], "battery_link": count.battery_link_count,
        "row": site.array.rows if hardware else 0,
        "foot": hardware.foot_count if hardware else 0,
        "rail_m": hardware.rail_m if hardware else 0.0,
        "duct_m": count.pipe_m, "trench_m": count.trench_m,
        "cable_m": sum(line.core_m for line in count.cables), "termination": ends,
        "connector_pair": count.string_connector_pairs, "label": count.label_count,
        "device": sum(line.count for line in count.devices),
        "rod": count.rod_count, "earth_m": count.earth_m,
        "test_line": len(sheet_of(test_facts(own, earth))),
        **(room_work(count.civil) if count.civil else {}),
    }  # fmt: skip


def room_work(civil: CivilWorks) -> dict[str, float]:
    """How much work of each unit a new power room is.

    Both coats of paint cover both faces of the walls; concrete of the roof is counted with its
    formwork by the square metre.
    """
    concrete_roof = civil.roof == "concrete"
    roof_m3 = civil.roof_m2 * float(ROOF_SLAB_M) if concrete_roof else 0.0
    return {
        "dig_m3": civil.dig_m3, "concrete_m3": civil.concrete_m3 - roof_m3,
        f"{civil.wall}_wall_m2": civil.wall_m2,
        "concrete_roof_m2" if concrete_roof else "sheet_roof_m2": civil.roof_m2,
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
        where=f"{own.sitefile.path.name}: programme",
    )  # fmt: skip


def labour_of_programme(schedule: Schedule) -> tuple[LabourHours, ...]:
    """Hours of each task of the programme by trade, as the price book names trades."""
    return tuple(
        LabourHours(
            task=one.task.name,
            trade=_TRADES[one.task.trade], hours=one.task.person_h,
            item=_ITEMS.get(one.task.key, ""),
        )
        for one in schedule.planned if one.task.person_h > 0.0
    )  # fmt: skip


def bill_of_site(own: SiteYear, design: Counted) -> tuple[BillLine, ...]:
    """The bill of materials of what was counted, waste included."""
    return bill_of(design, own.site.quote.cable_waste_frac)


def offer_of(
    own: SiteYear, bill: tuple[BillLine, ...], array_kwp: float, schedule: Schedule
) -> Offer:
    """The bill and the hours of the programme, priced from the firm's list.

    Raises
    ------
    InputError
        What the price list lacks, by item; see `read_price_book` and `quote_of`.
    """
    quote = own.site.quote
    return quote_of(
        bill, read_price_book(quote.price_book, own.sitefile.folder), quote=quote,
        array_kwp=array_kwp, labour_hours=labour_of_programme(schedule),
    )  # fmt: skip


def economics_of_site(
    own: SiteYear, offer: Offer, harvest: Harvest, year: SupplyRun, battery_years: float
) -> Economics:
    """What the offer costs and saves over the life of the system."""
    return economics_of(plan_of(
        offer, own.site,
        served_kwh_per_year=energy_kwh(year, "supplied"),
        generated_kwh_per_year=harvest.ac_kwh,
        battery_years=battery_years,
        grid_kwh_per_year=energy_kwh(year, "grid"), fuel_l_per_year=year.fuel_l,
    ))  # fmt: skip
