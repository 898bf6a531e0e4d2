"""What the room's temperature does to the batteries: how warm they get and what that costs."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from solarcalc.basis.check import Check, checked
from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
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


def first_guess_check(first: Warmth, taken: Warmth, battery: Battery) -> Check:
    """The plain rule that the supply year runs with, held against the room's own year.

    The supply year needs a temperature before it knows the heat that it makes itself. Only what
    the cold leaves of the capacity, the charge it stops and self-discharge follow that guess.
    """
    charging = battery.traits.charge_by_temperature
    warmer_k = taken.mean_c - first.mean_c
    cold_c = charging.stops_below_c
    frost = cold_c is not None and taken.coldest_c < cold_c <= first.coldest_c
    return checked(
        abs(warmer_k) <= float(BALANCE_K) and not frost,
        **worded(
            "powerroom", "first-guess-batteries", warmer_k=warmer_k,
            hotter_k=taken.hottest_c - first.hottest_c, colder_k=taken.coldest_c - first.coldest_c,
            balance_k=float(BALANCE_K),
        ),
        remedy="more air circulation around the batteries" if battery.room_c is not None
        else f"battery.room_above_k {battery.room_above_k + warmer_k:.1f}",
    )  # fmt: skip


def warmth_checks(warmth: Warmth, battery: Battery) -> list[Check]:
    """Hottest hour against where charging stops, life at rest, and cold that spoils a charge.

    Parameters
    ----------
    warmth : Warmth
    battery : Battery
    """
    charging = battery.traits.charge_by_temperature
    stops, cold_c = charging.stops_above_c, charging.stops_below_c
    keep, hot = 1.0 - float(MOST_LOST_FRAC), float(HOT_C)
    checks = [
        checked(
            warmth.hottest_c <= hot, "review" if warmth.hottest_c <= stops else "failed",
            **worded(
                "powerroom", "hottest-hour-batteries", hottest_c=warmth.hottest_c,
                hours_hot_h=warmth.hours_hot_h, hot=hot, stops=stops, hot_c_source=HOT_C.source,
                clause=charging.clause,
            ),
        ),
        checked(warmth.life_frac >= keep, **worded(
            "powerroom", "life-batteries-rest", life_percent=100.0 * warmth.life_frac,
            keep=100.0 * keep, halving_k=float(HALVING_K), halving_k_source=HALVING_K.source,
        )),
    ]
    if cold_c is not None:
        checks.append(
            checked(warmth.hours_too_cold_h == 0.0, **worded(
                "powerroom", "frost-battery-room", hours_too_cold_h=warmth.hours_too_cold_h,
                coldest_c=warmth.coldest_c, cold_c=cold_c, cold=charging.cold,
                clause=charging.clause,
            ))
        )
    return checks
