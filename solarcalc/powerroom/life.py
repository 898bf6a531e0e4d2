"""What the room's temperature does to the batteries: how warm they get and what that costs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.battery.ageing import (
    COMPARED_C,
    HALVING_K,
    MOST_LOST_FRAC,
    calendar_damage_per_year_frac,
    life_curve_of,
)
from solarcalc.powerroom.heat import BATTERY_J_PER_KG_K, RoomYear, followed_c
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.room import Room

BARE_FRAC = constant("powerroom.bare_frac")
SURFACE_W_PER_M2_K = constant("powerroom.surface_w_per_m2_k")
BALANCE_K = constant("powerroom.balance_k")
HOT_C = constant("powerroom.hot_c")


@dataclass(frozen=True, kw_only=True)
class Warmth:
    """How warm the batteries are over the year.

    Parameters
    ----------
    mean_c, hottest_c, coldest_c : float
        Hourly means [degC].
    hours_hot_h : float
        Above 40 degC [h a year].
    hours_too_cold_h : float
        Too cold to be charged [h a year].
    life_frac : float
        Years at rest here over those at 25 degC; above 1 in a cooler place.
    """

    mean_c: float
    hottest_c: float
    coldest_c: float
    hours_hot_h: float
    hours_too_cold_h: float
    life_frac: float


def with_batteries(
    year: RoomYear, room: Room, *, mass_kg: float, units: int, battery_loss_w: npt.ArrayLike
) -> RoomYear:
    """The year with the batteries' own temperature: slower than the air, warmed by their losses.

    Parameters
    ----------
    year : RoomYear
    room : Room
        Size of a unit.
    mass_kg : float
        Of all units [kg].
    units : int
    battery_loss_w : array (n,)
        Heat of the batteries, part of the heat in the room [W].

    Notes
    -----
    m c dT_b/dt = U A (T_air - T_b) + P_b, mean of each hour; A is half of all surfaces. The room
    has the heat P_b in its own hour.
    """
    length, depth, tall = room.unit_length_m, room.unit_depth_m, room.unit_height_m
    surface_m2 = 2.0 * (length * depth + length * tall + depth * tall) * units
    gives_w_per_k = float(SURFACE_W_PER_M2_K) * float(BARE_FRAC) * surface_m2
    constant_h = mass_kg * float(BATTERY_J_PER_KG_K) / gives_w_per_k / 3600.0
    target = year.temp_c + np.asarray(battery_loss_w, dtype=float) / gives_w_per_k
    return replace(year, battery_c=followed_c(target, constant_h))


def warmth_of(battery_c: npt.ArrayLike, battery: Battery) -> Warmth:
    """How warm the batteries are, and the share of life at rest they keep.

    Parameters
    ----------
    battery_c : array (n,)
        Hourly [degC].
    battery : Battery

    Notes
    -----
    Wear at rest doubles for each 10 K, hour by hour (`battery.ageing`); share = wear at 25 degC
    over wear here.
    """
    temps = np.asarray(battery_c, dtype=float)
    curve, per_year = life_curve_of(battery), HOURS_IN_YEAR / temps.size
    cold_c = battery.traits.charge_by_temperature.stops_below_c
    here = calendar_damage_per_year_frac(temps, curve)
    there = calendar_damage_per_year_frac(float(COMPARED_C), curve)
    return Warmth(
        mean_c=float(temps.mean()),
        hottest_c=float(temps.max()),
        coldest_c=float(temps.min()),
        hours_hot_h=float((temps > float(HOT_C)).sum()) * per_year,
        hours_too_cold_h=0.0 if cold_c is None else float((temps < cold_c).sum()) * per_year,
        life_frac=there / here,
    )


def balance_verdict(taken: Warmth, balance: Warmth, battery: Battery) -> Verdict:
    """The battery's temperature that every chapter takes, held against the room's heat balance.

    The supply year needs the temperature before it knows the heat that it makes itself; this is
    the look back.
    """
    charging, hot = battery.traits.charge_by_temperature, float(HOT_C)
    warmer_k = balance.mean_c - taken.mean_c
    near = abs(warmer_k) <= float(BALANCE_K) and balance.hottest_c <= hot
    cold_c = charging.stops_below_c
    frost = cold_c is not None and balance.coldest_c < cold_c <= taken.coldest_c
    return judged(
        near and not frost,
        "failed" if balance.hottest_c > charging.stops_above_c else "caution",
        item="Batteries by the room's heat balance, against the temperature taken",
        found=f"{warmer_k:+.1f} K in the mean, {balance.coldest_c:.0f} to"
        f" {balance.hottest_c:.0f} °C",
        limit=f"within {float(BALANCE_K):g} K; at most {hot:g} °C",
        unit="",
        clause=f"battery.room_c or its rule; {NO_SOURCE}",
        remedy="more air around the batteries" if battery.room_c is not None else
        f"battery.room_above_k {battery.room_above_k + warmer_k:.1f}, or more air and shade",
    )


def warmth_verdicts(warmth: Warmth, battery: Battery) -> list[Verdict]:
    """Hottest hour against where charging stops, life at rest, and cold that spoils a charge.

    Parameters
    ----------
    warmth : Warmth
    battery : Battery
    """
    charging = battery.traits.charge_by_temperature
    stops, cold_c = charging.stops_above_c, charging.stops_below_c
    keep, hot = 1.0 - float(MOST_LOST_FRAC), float(HOT_C)
    verdicts = [
        judged(
            warmth.hottest_c <= hot,
            "caution" if warmth.hottest_c <= stops else "failed",
            item="Hottest hour of the batteries in their room",
            found=f"{warmth.hottest_c:.0f} ({warmth.hours_hot_h:.0f} h a year above {hot:g})",
            limit=f"at most {hot:g}; charging stops at {stops:g}",
            unit="°C",
            clause=f"{HOT_C.source}; charging: {charging.clause}",
            remedy="larger openings low and high, shade over roof and walls, inverters in a room"
            " of their own, a lighter colour, a fan; never fewer openings than the gas needs",
        ),
        judged(
            warmth.life_frac >= keep,
            item="Life of the batteries at rest in their room",
            found=f"{100.0 * warmth.life_frac:.0f}",
            limit=f"at least {100.0 * keep:.0f}",
            unit="% of that at 25 °C",
            clause=f"halves per {float(HALVING_K):g} K, {HALVING_K.source}; limit: {NO_SOURCE}",
            remedy="a cooler wall, shade, larger openings, inverters outside; or say the shorter"
            " life in the offer",
        ),
    ]
    if cold_c is not None:
        verdicts.append(
            judged(
                warmth.hours_too_cold_h == 0.0,
                item="Frost in the battery room",
                found=f"{warmth.hours_too_cold_h:.0f} (coldest {warmth.coldest_c:.0f} °C)",
                limit="0",
                unit=f"h a year below {cold_c:g} °C",
                clause=f"{charging.cold}; {charging.clause}",
                remedy="insulate the room, a unit with its own heating, or a room that is lived in",
            )
        )
    return verdicts
