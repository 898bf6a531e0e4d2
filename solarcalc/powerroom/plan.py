"""The whole power room of a site: what its air, heat, floor, places and fire ask for.

Batteries burn, gas, spill acid and give currents that weld: building and working in their room is
for trained people under local codes and licensed practice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from solarcalc.basis.check import Check, worst_first
from solarcalc.basis.quantity import signed
from solarcalc.basis.sourced import assumptions
from solarcalc.battery.ageing import HALVING_K
from solarcalc.battery.bank import room_temp_c
from solarcalc.powerroom.air import (
    AIMED_FRAC,
    BURNS_FROM_FRAC,
    AirNeed,
    air_need,
    flow_as_built_m3_per_h,
    gassing_agrees,
    hours_to_share_h,
    hydrogen_share_frac,
)
from solarcalc.powerroom.checks import air_checks, place_checks
from solarcalc.powerroom.fire import (
    CO2_M3_PER_KG,
    GAS_KG,
    GasInRoom,
    fire_checks,
    fire_notes,
    gas_in_room,
)
from solarcalc.powerroom.fittings import Entry
from solarcalc.powerroom.generator import generator_checks, generator_notes
from solarcalc.powerroom.heat import (
    BATTERY_J_PER_KG_K,
    COP,
    LEAK_PER_H,
    Openings,
    RoomYear,
    envelope_of,
    room_year,
)
from solarcalc.powerroom.layout import (
    FloorLoad,
    RoomLayout,
    floor_checks,
    floor_load,
    room_layout,
    unit_mass_kg,
)
from solarcalc.powerroom.life import (
    Warmth,
    first_guess_check,
    warmth_checks,
    warmth_of,
    with_batteries,
)
from solarcalc.sitefile.room import Room
from solarcalc.sitefile.site import Site

Row = dict[str, Any]

ROOM_ASSUMPTIONS = (*assumptions("powerroom"), CO2_M3_PER_KG, HALVING_K)

LICENSED = "Local codes and licensed practice decide; work on batteries is for trained people."


@dataclass(frozen=True, kw_only=True, eq=False)
class EquipmentHeat:
    """Heat of the equipment by hour, each an array (n,) [W]."""

    inverter_w: npt.NDArray[np.float64]
    controller_w: npt.NDArray[np.float64]
    battery_w: npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class RoomPlan:
    """All that is worked out for a power room.

    Parameters
    ----------
    need : AirNeed
    layout : RoomLayout
    year : RoomYear
        Room and batteries by the heat balance: the one series of both.
    warmth : Warmth
    floor : FloorLoad
    gas : GasInRoom
        What a CO2 extinguisher would leave to breathe, whether there is one or not.
    free_volume_m3 : float
        Room less what stands in it [m3].
    checks : tuple of Check
        Worst first; those of its cables are `way_checks`.
    rows : tuple of dict
        ``what``, ``value``, ``unit``: for a table.
    notes : tuple of str
        Air, fire and safety in words; defers to code and licence last.
    """

    need: AirNeed
    layout: RoomLayout
    year: RoomYear
    warmth: Warmth
    floor: FloorLoad
    gas: GasInRoom
    free_volume_m3: float
    checks: tuple[Check, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...]


def layout_of(site: Site, entries: Sequence[Entry] | None = None) -> RoomLayout:
    """Everything of the room in its place, as far from the batteries as sparks must stay."""
    spark_mm = air_need(site.battery, site.room.mesh_free_frac).spark_mm
    return room_layout(site, spark_mm, entries=entries)


def room_plan(
    site: Site, *, air_c: npt.ArrayLike, year: RoomYear, layout: RoomLayout
) -> RoomPlan:
    """Air, heat, floor, places and fire of the power room of a site.

    Parameters
    ----------
    site : Site
        Its [room], [battery], [supply] and place.
    air_c : array (n,)
        Outdoors [degC].
    year : RoomYear
        Of `year_of_room`.
    layout : RoomLayout
        Of `layout_of`.

    Returns
    -------
    RoomPlan

    Raises
    ------
    InputError
        Series that do not fit one another, or hold a value that is no number.
    """
    room, battery = site.room, site.battery
    taken = warmth_of(year.battery_c, battery)
    first = warmth_of(room_temp_c(battery, air_c), battery)
    need = air_need(
        battery, room.mesh_free_frac, elevation_m=site.site.elevation_m,
        temp_c=max(taken.hottest_c, float(year.temp_c.max())),
    )
    floor = floor_load(battery, room, layout)
    free_m3 = free_volume_m3(layout)
    gas = gas_in_room(float(GAS_KG), free_floor_m2(layout), room.height_m)
    return RoomPlan(
        need=need, layout=layout, year=year, warmth=taken,
        floor=floor, gas=gas,
        free_volume_m3=free_m3,
        checks=worst_first([
            *air_checks(site, need, free_volume_m3=free_m3),
            *place_checks(site, layout),
            *floor_checks(floor, room),
            *warmth_checks(taken, battery),
            first_guess_check(first, taken, battery),
            *fire_checks(site, gas),
            *generator_checks(site),
        ]),
        rows=(*_air_rows(room, need, free_m3), *_heat_rows(year, taken, first),
              *_floor_rows(floor)),
        notes=(*_air_notes(site), *fire_notes(site, gas), *generator_notes(site), LICENSED),
    )  # fmt: skip


def air_at_place_c(site: Site, air_c: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Air around the power room by hour [degC], shape (n,): warmer at a hot one of `places`.

    [room] says how the room is built, wherever it stands. A chosen place adds what it is warmer
    and swings more than the usual room (`battery.room_above_k`, `room_swing_frac` left out), by
    the rule of `battery.bank.room_temp_c`; common practice, no source.
    """
    air = np.asarray(air_c, dtype=float)
    if not site.room.place:
        return air
    fields = type(site.battery).model_fields
    usual = site.battery.model_copy(
        update={key: fields[key].default for key in ("room_swing_frac", "room_above_k")}
    )
    there: npt.NDArray[np.float64] = (
        air + room_temp_c(site.battery, air) - room_temp_c(usual, air)
    )
    return there


def year_of_room(
    site: Site, *, air_c: npt.ArrayLike, ghi_w_m2: npt.ArrayLike, losses: EquipmentHeat
) -> RoomYear:
    """Temperature of a site's room and batteries through the year.

    `air_c` [degC] and `ghi_w_m2` [W/m2] are (8760,), a value for each hour.

    Parameters
    ----------
    site, air_c, ghi_w_m2, losses
        As for `room_plan`. With `battery.room_c` the room is kept at that temperature.
    """
    room, battery = site.room, site.battery
    units = battery.unit_count
    mass_kg = units * unit_mass_kg(battery, room)
    envelope = envelope_of(room, mass_kg * float(BATTERY_J_PER_KG_K))
    year = room_year(
        envelope, openings_of(room), air_c=air_at_place_c(site, air_c), ghi_w_m2=ghi_w_m2,
        heat_w=heat_inside_w(room, losses), kept_c=battery.room_c,
        elevation_m=site.site.elevation_m,
    )  # fmt: skip
    return with_batteries(
        year, room, mass_kg=mass_kg, units=units, battery_loss_w=losses.battery_w
    )


def heat_inside_w(room: Room, losses: EquipmentHeat) -> npt.NDArray[np.float64]:
    """Heat that stays in the room by hour [W]: batteries, and the rest where it stands inside."""
    others = np.asarray(losses.inverter_w) + np.asarray(losses.controller_w)
    heat: npt.NDArray[np.float64] = np.asarray(losses.battery_w, dtype=float) + (
        others if room.inverters_inside else 0.0
    )
    return heat


def openings_of(room: Room) -> Openings:
    """What lets air through the room of the site file, behind its mesh."""
    free = room.mesh_free_frac / 1e4
    return Openings(
        low_m2=room.vent_low_cm2 * free,
        high_m2=room.vent_high_cm2 * free,
        apart_m=room.vent_apart_m,
        fan_m3_per_h=room.fan_m3_per_h,
        leak_m3_per_h=float(LEAK_PER_H) * room.length_m * room.depth_m * room.height_m,
    )


def free_floor_m2(layout: RoomLayout) -> float:
    """Floor that no rack covers [m2]."""
    covered = sum(box.length_m * box.depth_m for box in layout.of_kind("rack"))
    return layout.length_m * layout.depth_m - covered


def free_volume_m3(layout: RoomLayout) -> float:
    """Room less racks, inverters, controllers and boards as solid boxes [m3]."""
    solid = sum(
        box.length_m * box.depth_m * box.height_m
        for kind in ("rack", "inverter", "controller", "board")
        for box in layout.of_kind(kind)
    )
    return layout.length_m * layout.depth_m * layout.height_m - solid


def _air_rows(room: Room, need: AirNeed, free_m3: float) -> list[Row]:
    if need.flow_m3_per_h <= 0.0:
        return [_row("ventilation against hydrogen", "none in use", "")]
    made, flow = need.hydrogen_m3_per_h, flow_as_built_m3_per_h(room)
    return [
        _row("gassing current, design", f"{need.gas_ma_per_ah:g}", "mA/Ah"),
        _row("ventilation air flow, design", f"{need.flow_m3_per_h:.1f}", "m³/h"),
        _row("ventilation air flow at float charge", f"{need.held_full_m3_per_h:.1f}", "m³/h"),
        _row("free ventilation area, low and high each", f"{need.free_cm2:.0f}", "cm²"),
        _row("gross area behind the insect mesh, each", f"{need.gross_cm2:.0f}", "cm²"),
        _row("ventilation air flow, as built", f"{flow:.1f}", "m³/h"),
        _row("hydrogen concentration, as built",
             f"{100.0 * hydrogen_share_frac(made, flow):.2f}", "%"),
        *(
            _row(f"time to {100.0 * share:g} % hydrogen, openings blocked",
                 f"{hours_to_share_h(made, free_m3, share):.1f}", "h")
            for share in (float(AIMED_FRAC), float(BURNS_FROM_FRAC))
        ),
        _row("safety distance d from ignition sources", f"{need.spark_mm:.0f}", "mm"),
    ]  # fmt: skip


def _heat_rows(year: RoomYear, warmth: Warmth, first: Warmth) -> list[Row]:
    heat = float(year.heat_w.sum()) / 1000.0
    rows = [
        _row("heat loss of the equipment", f"{heat:.0f}", "kWh/year"),
        _row("battery temperature, annual mean", f"{warmth.mean_c:.1f}", "°C"),
        _row("battery temperature, maximum hourly", f"{warmth.hottest_c:.1f}", "°C"),
        _row("battery temperature, minimum hourly", f"{warmth.coldest_c:.1f}", "°C"),
        _row("time of the battery above 40 °C", f"{warmth.hours_hot_h:.0f}", "h/year"),
        _row("calendar life, share of that at 25 °C", f"{100.0 * warmth.life_frac:.0f}", "%"),
        _row("room temperature, annual mean", f"{float(year.temp_c.mean()):.1f}", "°C"),
        _row("room temperature, maximum hourly", f"{float(year.temp_c.max()):.1f}", "°C"),
        _row("battery temperature of the supply simulation, difference",
             signed(first.mean_c - warmth.mean_c), "K"),
        _row("time constant of walls, roof and floor",
             f"{year.envelope.time_constant_h:.0f}", "h"),
        _row("fresh-air flow, annual mean", f"{float(year.vent_m3_per_h.mean()):.0f}", "m³/h"),
    ]  # fmt: skip
    if year.cooling_w.any():
        taken = year.cooling_kwh_per_year
        rows += [
            _row("cooling demand", f"{taken:.0f}", "kWh/year"),
            _row("maximum hourly cooling demand", f"{year.cooling_kw:.2f}", "kW"),
            _row("electricity of the cooling unit", f"{taken / float(COP):.0f}", "kWh/year"),
        ]
    if year.heating_w.any():
        rows.append(
            _row("heating demand", f"{float(year.heating_w.sum()) / 1000.0:.0f}", "kWh/year")
        )
    return rows


def _floor_rows(floor: FloorLoad) -> list[Row]:
    by = ", estimated from its energy" if floor.guessed_by else ""
    return [
        _row(f"mass of a monobloc or module{by}", f"{floor.unit_kg:.0f}", "kg"),
        _row("mass of batteries and racks", f"{floor.total_kg:.0f}", "kg"),
        _row("floor load under the racks", f"{floor.rack_kg_per_m2:.0f}", "kg/m²"),
        _row("floor load, mean over the room", f"{floor.room_kg_per_m2:.0f}", "kg/m²"),
    ]


def _air_notes(site: Site) -> list[str]:
    kind = site.battery.traits
    if kind.gas is None:
        return [
            f"{kind.name.capitalize()}: no hydrogen in normal use, but openings keep the room cool"
            " and let smoke out if a cell fails, away from doors and windows.",
        ]
    notes = [
        "Keep both ventilation openings clear all year of nests, leaves and stored goods. The high"
        " one is directly under the ceiling and leads outdoors, not into the house.",
        "Gas alarm, hissing or a smell of rotten eggs without fire: leave, leave the door open,"
        " operate no switch inside. Stop charging only if this can be done from outside. If there"
        " is a fire, shut the door.",
        "Within the safety distance d: no switch, socket, fan, relay, open fuse or lamp, no flame,"
        " no charging phone. A fuse close to the battery is in a closed box outside the distance,"
        " or of a type that cannot emit sparks.",
    ]
    return [*notes, *gassing_agrees(kind)]


def _row(what: str, value: str, unit: str) -> Row:
    return {"Quantity": what, "Value": value, "Unit": unit}
