"""The earthing and the power room of a site whose cables are chosen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from solarcalc.basis.check import Check, worst_first
from solarcalc.basis.worded import worded
from solarcalc.commissioning.facts import Bond, TestFacts, facts_of
from solarcalc.earthing.bar import Conductors
from solarcalc.earthing.electrode import electrode_of, ground_for
from solarcalc.earthing.plan import EarthingPlan
from solarcalc.energy.year import Harvest
from solarcalc.installation.records import Conductor, Installation
from solarcalc.powerroom.checks import way_checks
from solarcalc.powerroom.heat import RoomYear
from solarcalc.powerroom.layout import RoomLayout
from solarcalc.powerroom.plan import EquipmentHeat, RoomPlan, room_plan, year_of_room
from solarcalc.protection.plan import rack_fault
from solarcalc.protection.surge import SHORT_DELAY
from solarcalc.sitefile.site import Site
from solarcalc.siteyear import SiteYear
from solarcalc.stages.electrical import Electrical
from solarcalc.supply.run import SupplyRun
from solarcalc.wiring.runs import SizedRun, stem_of

_ARRAY = ("string", "dc_main")
_BATTERY = ("controller_battery", "battery_inverter")


def earthed_of(site: Site, built: Electrical) -> Conductors:
    """What the earthing follows from of cables and devices; most changes of them leave it."""
    fault_a, clear_s = max(
        (built.plan.fault_of(one.run.key) for one in built.sized
         if one.run.key.startswith("battery_inverter")),
        key=lambda pair: pair[0] ** 2 * pair[1],
    )  # fmt: skip
    return Conductors(
        ac_mm2=_largest_mm2(one for one in built.sized if one.run.current == "ac"),
        dc_mm2=_largest_mm2(one for one in built.sized if stem_of(one.run.key) in _ARRAY),
        battery_mm2=_largest_mm2(one for one in built.sized if one.run.key.startswith(_BATTERY)),
        fault_a=fault_a, clear_s=clear_s, rack_fault=rack_fault(built.plan.banks),
        generator_m=site.runs.generator_in.length_m, house_m=site.runs.board_house.length_m,
        surges={each.key: each.count for each in built.plan.devices if each.kind == "surge"},
    )  # fmt: skip


def _largest_mm2(sized: Iterable[SizedRun]) -> float:
    """Largest conductor of some runs, those in parallel together [mm2]."""
    return max(one.size_mm2 * one.in_parallel for one in sized)


def test_facts(built: Installation) -> TestFacts:
    """A site as its test sheet sees it: a bond for each earth conductor outside cables."""
    bonds = [
        Bond(name=one.name.removeprefix("Earth of "), start=one.start_words, end=one.end_words,
             size_mm2=one.size_mm2, length_m=one.length_m)
        for one in sorted(built.earths, key=_late) if "continuity" in one.tests
    ]  # fmt: skip
    site = built.site
    electrode = electrode_of(site.earthing, ground_for(site.earthing, site.soil))
    return replace(
        facts_of(site, bonds=bonds), electrode_assumed_ohm=electrode.worst_ohm,
        short_delay=any(SHORT_DELAY in part.device.extra for part in built.devices if part.device),
    )  # fmt: skip


def _late(one: Conductor) -> bool:
    """Whether a conductor is tested after cases and frames: of a surge device or a neutral."""
    return "surge" in one.start or one.start.startswith(("bond", "lightning"))


def room_year_of(own: SiteYear, harvest: Harvest, year: SupplyRun) -> RoomYear:
    """The heat of the power room through the site's own year.

    The controllers' heat is that of the energy the boards and the battery take, not of what is
    curtailed.
    """
    hours, supply = harvest.hours, year.hours
    used = np.divide(
        supply["solar_used_w"], supply["solar_w"],
        out=np.zeros(len(supply)), where=supply["solar_w"].to_numpy() > 0.0,
    )  # fmt: skip
    losses = EquipmentHeat(
        inverter_w=(supply["inverter_loss_w"] + supply["charger_loss_w"]).to_numpy(),
        controller_w=np.clip((hours["dc_w"] - hours["bus_w"]).to_numpy() * used, 0.0, None),
        battery_w=(supply["battery_loss_w"] + supply["self_discharge_w"]).to_numpy(),
    )
    weather = own.weather.hours
    return year_of_room(
        own.site, air_c=weather["temp_air"].to_numpy(), ghi_w_m2=weather["ghi"].to_numpy(),
        losses=losses,
    )  # fmt: skip


def room_of(own: SiteYear, heat: RoomYear, layout: RoomLayout) -> RoomPlan:
    """The power room of a site whose heat and places are known."""
    air_c = own.weather.hours["temp_air"].to_numpy()
    return room_plan(own.site, air_c=air_c, year=heat, layout=layout)


def grounds_checks(site: Site, earth: EarthingPlan, room: RoomPlan) -> list[Check]:
    """Every check of earthing and power room."""
    kept = [] if room.year.cooling_kw == 0.0 else [_kept(room)]
    inside = worst_first((*room.checks, *way_checks(site, room.layout)))
    return [*earth.checks, *inside, *kept]


def _kept(room: RoomPlan) -> Check:
    """A room kept at one temperature asks for a cooler or heater, which no list of loads holds."""
    year = room.year
    heating_kwh = float(year.heating_w.sum()) / 1000.0
    return Check(outcome="review", **worded(
        "stages", "keeping-room-one", cooling_kwh_per_year=year.cooling_kwh_per_year,
        cooling_kw=year.cooling_kw, heating_kwh=heating_kwh,
    ))  # fmt: skip
