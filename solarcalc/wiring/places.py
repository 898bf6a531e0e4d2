"""Where to put the power room: places compared by cable, price, loss and heat."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from solarcalc.basis.present_value import annuity_years
from solarcalc.basis.quantity import grouped
from solarcalc.basis.sourced import constant
from solarcalc.battery.ageing import (
    HALVING_K,
    LONGEST_STRETCH,
    calendar_damage_per_year_frac,
    life_curve_of,
)
from solarcalc.sitefile.quote import Costs
from solarcalc.sitefile.site import Site
from solarcalc.wiring.chain import chain_of, whole_drop_frac
from solarcalc.wiring.runs import SizedRun, trench_m, ways_of

COOL_C = float(constant("wiring.cool_c"))

Money = float
"""An amount in the currency of the site file."""

_ONLY_ONE = "as the runs are given"


@dataclass(frozen=True, kw_only=True, eq=False)
class PlaceResult:
    """What a place of the power room asks for.

    Parameters
    ----------
    name, note : str
    runs : tuple of SizedRun
        Every run of the system with its cable.
    cable_m : float
        All runs together, one way, each of those alike counted [m].
    dc_main_size, house_size : str
        As bought; of the boards' runs the thickest.
    drop_frac : float
        From the modules to the house at full load, the longest way, [0 to 1].
    loss_kwh_per_year : float
        In all cables [kWh/year].
    trench_m : float
        [m].
    price : float
        Cables, trench, and what the place itself costs.
    lifetime_cost : float
        The same, and the worth of what the cables lose over the life.
    room_hottest_c, room_mean_c : float
        Of the battery room over the year, without the heat of equipment [degC].
    life_factor : float
        Life of a battery at rest there over its life at 20 degC; above 1 where it is cooler.
    heat_cost : float
        Worth, over the life, of what the room ages the battery beyond 20 degC; below 0 where it
        is cooler. Where cycles wear a battery out first, heat costs less.
    """

    name: str
    note: str
    runs: tuple[SizedRun, ...]
    cable_m: float
    dc_main_size: str
    house_size: str
    drop_frac: float
    loss_kwh_per_year: float
    trench_m: float
    price: Money
    lifetime_cost: Money
    room_hottest_c: float
    room_mean_c: float
    life_factor: float
    heat_cost: Money

    @property
    def whole_cost(self) -> Money:
        """Cost over the life with what the heat does to the battery: places are ranked by it."""
        return self.lifetime_cost + self.heat_cost


def place_result(
    site: Site, sized: tuple[SizedRun, ...], room_c: npt.NDArray[np.float64], name: str = ""
) -> PlaceResult:
    """What a site asks for with its power room at a place: cables, price and heat.

    What a place does to the loads, to fire, flood, theft or noise is for whoever knows it.

    Parameters
    ----------
    site : Site
        With its room there; see `Site.at`.
    sized : tuple of SizedRun
        Its cables.
    room_c : array (n,)
        Battery room by hour of the whole year [degC].
    name : str
        Of the place; empty where the site has only its runs as they are given.
    """
    place = next((one for one in site.places if one.name == name), None)
    dug_m = sum(trench_m(site, way) for way in ways_of(site))
    digging = dug_m * site.costs.per_metre_of_trench + (0.0 if place is None else place.cost)
    return PlaceResult(
        name=name or _ONLY_ONE,
        note="" if place is None else place.note,
        runs=sized,
        cable_m=sum(one.run.length_m * one.run.count for one in sized),
        dc_main_size=_thickest(sized, "dc_main"),
        house_size=_thickest(sized, "board_house"),
        drop_frac=whole_drop_frac(chain_of(site, sized)),
        loss_kwh_per_year=sum(one.loss_kwh_per_year for one in sized),
        trench_m=dug_m,
        price=sum(one.cost for one in sized) + digging,
        lifetime_cost=sum(one.lifetime_cost for one in sized) + digging,
        room_hottest_c=float(room_c.max()),
        room_mean_c=float(room_c.mean()),
        life_factor=life_factor(room_c),
        heat_cost=_heat_cost(site, room_c),
    )


def _thickest(sized: Sequence[SizedRun], key: str) -> str:
    one = max((one for one in sized if one.run.key.startswith(key)),
              key=lambda one: one.size_mm2 * one.in_parallel)  # fmt: skip
    return one.size_name if one.in_parallel == 1 else f"{one.in_parallel} × {one.size_name}"


def life_factor(room_c: npt.ArrayLike) -> float:
    """Life of a battery at rest in a room, over its life at 20 degC.

    Parameters
    ----------
    room_c : array (n,)
        By hour [degC].

    Notes
    -----
    1 / mean of 2^((T - 20) / 10), an hour ages by half at least: the rule of
    `battery.ageing.calendar_damage_per_year_frac`.

    Examples
    --------
    >>> life_factor([30.0])
    0.5
    """
    warmer_k = np.asarray(room_c, dtype=float) - COOL_C
    rate = np.maximum(2.0 ** (warmer_k / float(HALVING_K)), 1.0 / float(LONGEST_STRETCH))
    return float(1.0 / np.mean(rate))


def _heat_cost(site: Site, room_c: npt.NDArray[np.float64]) -> Money:
    """Worth over the life of the share of the battery that heat takes beyond 20 degC."""
    battery = site.battery
    curve = life_curve_of(battery)
    more_per_year = calendar_damage_per_year_frac(room_c, curve) - (
        calendar_damage_per_year_frac(COOL_C, curve)
    )
    bank = battery.unit_count * site.costs.per_battery_unit
    return more_per_year * bank * present_years(site.costs)


def present_years(costs: Costs) -> float:
    """Worth today of 1 a year over the life [years].

    Notes
    -----
    (1 - (1 + i)^-n) / i, n itself without interest; as annuity tables have it.
    """
    return annuity_years(costs.interest_frac, costs.lifetime_years)


def money_words(money: Money) -> str:
    """An amount with three digits, or whole.

    Examples
    --------
    >>> money_words(5.254), money_words(1234.4)
    ('5.25', '1234')
    """
    return f"{money:.3g}" if abs(money) < 999.5 else grouped(f"{money:.0f}")


def best_place(results: Sequence[PlaceResult]) -> PlaceResult:
    """The place that costs least over the life, with what its heat does to the battery."""
    return min(results, key=lambda one: one.whole_cost)


def places_sentence(results: Sequence[PlaceResult], currency: str) -> str:
    """What the comparison says, in a sentence or two."""
    best = best_place(results)
    size = (
        f"{best.cable_m:.0f} m of cable, main {best.dc_main_size}, {100.0 * best.drop_frac:.1f} %"
        f" lost on the way at full load and a room up to {best.room_hottest_c:.0f} °C"
    )
    if len(results) == 1:
        return f"One place, {best.name}: {size}."
    others = sorted((one for one in results if one is not best), key=lambda one: one.whole_cost)
    more = ", ".join(
        f"{one.name} {money_words(one.whole_cost - best.whole_cost)} more" for one in others
    )
    text = (
        f"{best.name}: least cost over its life, with {size}."
        f" Over the life, with the battery's ageing, {more} [{currency}]."
    )
    cheapest = min(results, key=lambda one: one.price)
    if cheapest is not best:
        less = money_words(best.price - cheapest.price)
        text += f" {cheapest.name} is cheaper to build, by {less}."
    coolest = min(results, key=lambda one: one.room_mean_c)
    if best.life_factor < 0.9 * coolest.life_factor:
        text += (
            f" But a battery at rest lasts {100.0 * best.life_factor / coolest.life_factor:.0f} %"
            f" as long there as at {coolest.name}."
        )
    return text


def place_rows(results: Sequence[PlaceResult], currency: str) -> list[dict[str, Any]]:
    """Rows for a table, one a place."""
    best = best_place(results)
    return [
        {
            "place": one.name + (" (costs least)" if one is best and len(results) > 1 else ""),
            "cable [m]": f"{one.cable_m:.0f}",
            "DC main": one.dc_main_size,
            "to the house": one.house_size,
            "drop at full load [%]": f"{100.0 * one.drop_frac:.1f}",
            "lost in cables [kWh/year]": f"{one.loss_kwh_per_year:.0f}",
            f"to build [{currency}]": money_words(one.price),
            f"over its life [{currency}]": money_words(one.lifetime_cost),
            f"battery's ageing by heat [{currency}]": money_words(one.heat_cost),
            "room, hottest [°C]": f"{one.room_hottest_c:.0f}",
            "room, mean [°C]": f"{one.room_mean_c:.0f}",
            "battery's life against 20 °C": f"{100.0 * one.life_factor:.0f} %",
            "note": one.note,
        }
        for one in results
    ]
