"""What a site's design takes to buy and to build, its days, its price and its years of money."""

from __future__ import annotations

from solarcalc.earthing.plan import EarthingPlan
from solarcalc.harvest.energy import Harvest
from solarcalc.programme.from_site import site_schedule
from solarcalc.programme.labour import Works
from solarcalc.programme.schedule import Schedule
from solarcalc.quote.answer import plan_of
from solarcalc.quote.bill import BillLine, bill_of
from solarcalc.quote.civil import civil_works
from solarcalc.quote.design import (
    Counted,
    battery_link_count,
    cable_line,
    device_line,
    equipment_of,
)
from solarcalc.quote.economics import Economics, economics_of
from solarcalc.quote.offer import LabourHours, Offer, quote_of
from solarcalc.quote.prices import read_price_book
from solarcalc.siteyear import SiteYear
from solarcalc.stages.array import own_hardware
from solarcalc.stages.battery_life import years_at
from solarcalc.stages.electrical import Electrical, core_m, labels_of
from solarcalc.supply.energy import energy_kwh
from solarcalc.supply.run import SupplyRun
from solarcalc.wiring.labels import label_count
from solarcalc.wiring.pipe_sizes import pipe_size

_TRADES = {"builder": "mason", "roof": "installer", "electrician": "electrician", "": "installer"}
"""Trade of the programme to that of the price book."""
_ITEMS = {"batteries": "battery"}
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
        label_count=label_count(labels_of(built)),
    )  # fmt: skip


def works_of(own: SiteYear, built: Electrical, earth: EarthingPlan) -> Works:
    """Quantities of a design that decide how long the work takes.

    Cable is counted by its cores; rods where the electrode is made of them.
    """
    site = own.site
    return Works(
        module_count=site.array.module_count, rows=site.array.rows, cable_m=core_m(built),
        pipe_m=site.pipe.length_m or built.run("main").run.length_m,
        battery_units=site.battery.unit_count,
        controller_count=site.controller.count,
        inverter_count=len(site.inverters),
        rod_count=earth.earthing.rod_count if earth.earthing.electrode == "rods" else 0,
        room=site.programme.power_room, room_floor_m2=site.room.length_m * site.room.depth_m,
    )  # fmt: skip


def schedule_of(own: SiteYear, works: Works) -> Schedule:
    """Who does what on which day, for this site with its own crew.

    Raises
    ------
    InputError
        For tasks that wait for themselves, unknown tasks or days; see `site_schedule`.
    """
    return site_schedule(
        own.site.programme, works, name=own.site.site.name,
        where=f"{own.sitefile.path.name}: programme",
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
    own: SiteYear, offer: Offer, harvest: Harvest, year: SupplyRun
) -> Economics:
    """What the offer costs and saves over the life of the system."""
    return economics_of(plan_of(
        offer, own.site,
        served_kwh_per_year=energy_kwh(year, "supplied"),
        generated_kwh_per_year=harvest.ac_kwh,
        battery_years=years_at(own, year),
        grid_kwh_per_year=energy_kwh(year, "grid"), fuel_l_per_year=year.fuel_l,
    ))  # fmt: skip
