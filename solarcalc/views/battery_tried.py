"""Array and bank in other sizes: hours without supply, cost, and the smallest that will do.

It brings in a compiler (see `solarcalc.views.arrays_tried`).
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.quantity import grouped, in_unit, three_figures
from solarcalc.design import Design
from solarcalc.stages.battery_life import BankLife, bank_price, lives_of, shortest
from solarcalc.stages.boards import supply_of_sun, supply_system
from solarcalc.stages.kept import of_design
from solarcalc.supply.energy import not_supplied_frac
from solarcalc.supply.frontier import Prices, cost_front, frontier, smallest_that_meets, with_cost
from solarcalc.supply.run import SupplyRun
from solarcalc.views.rows import check_parameter

MOST_TIMES = 3
"""Sizes go up to so many times those of the site."""
LEAST_STEPS = 8


def sizes_of(own: int) -> list[int]:
    """Whole numbers of strings or parallel units to try: from one to some times the site's."""
    return list(range(1, max(MOST_TIMES * own, LEAST_STEPS) + 1))


def most_strings(design: Design) -> int | None:
    """Strings that the roof planes hold, turned the better way; None where that has no answer."""
    held = _held(design)
    return None if held is None else sum(strings for strings, _ in held)


def _held(design: Design) -> list[tuple[int, int]] | None:
    """Strings that each roof plane holds, and modules in each; None where one has no answer."""
    found = []
    for one in design.planes:
        choice = or_why(partial(getattr, one, "orientation"))()
        if isinstance(choice, NoAnswer):
            return None
        series = one.site.array.modules_in_series
        found.append((max(way.most_count for way in choice.ways.values()) // series, series))
    return found


def _roof_words(design: Design) -> str:
    held = _held(design)
    if held is None or sum(strings for strings, _ in held) < design.site.string_count:
        return ""
    modules = sum(strings * series for strings, series in held)
    roof = "this roof holds" if len(held) == 1 else "the roof planes hold"
    return f" within the {modules} modules that {roof}"


def size_table(design: Design) -> pd.DataFrame:
    """Every number of module strings that the roof holds with every number of parallel units.

    Returns
    -------
    DataFrame
        ``strings``, ``units``, ``array_kwp``, ``bank_kwh``; hours without supply, energy
        not supplied, fuel as `solarcalc.supply.frontier.frontier` has them; ``cost`` in the
        site's currency, fuel over the lifetime in it.

    Notes
    -----
    The sun of the site's own array is scaled, all its roof planes alike: other rows would shade
    one another a little differently, and the controllers' limit is taken to grow with the array.
    """
    harvest = design.energy
    site, costs = design.site, design.site.costs
    own_strings = site.string_count
    own_units = site.battery.units_in_parallel
    units = sizes_of(own_units)
    most = most_strings(design) or len(sizes_of(own_strings))
    strings = [count for count in sizes_of(own_strings) if count <= max(most, own_strings)]
    table = frontier(
        harvest.hours["bus_w"], design.loads, supply_system(design),
        array_scales=np.array(strings) / own_strings, bank_scales=np.array(units) / own_units,
    )  # fmt: skip
    prices = Prices(array=site.module_count * costs.per_module, bank=bank_price(design),
                    per_fuel_l=costs.per_fuel_l * costs.lifetime_years, fixed=costs.fixed)
    table = with_cost(table, prices)
    table["strings"] = np.round(table["array_scale"] * own_strings).astype(int)
    table["units"] = np.round(table["bank_scale"] * own_units).astype(int)
    table["array_kwp"] = table["array_scale"] * harvest.peak_kwp
    table["bank_kwh"] = table["bank_scale"] * site.battery.rated_wh / 1000.0
    return table


def smallest(table: pd.DataFrame, *, allowed_without_supply_h: float) -> pd.Series | None:
    """The cheapest pair whose essential board is without supply no longer; None where none is.

    `table`: one row a pair of array [kWp] and bank [kWh]; hours a year.
    """
    return smallest_that_meets(table, {"essential_without_supply_h": allowed_without_supply_h})


def front_of_sizes(table: pd.DataFrame) -> pd.DataFrame:
    """The pairs no other beats in both cost and hours without supply, cheapest first.

    Rows of `table`: one a pair of array [kWp] and bank [kWh].
    """
    return cost_front(table)


def front_rows(design: Design, front: pd.DataFrame) -> list[dict[str, Any]]:
    """Steps along the front, at most a dozen, for a page.

    `front` as `front_of_sizes`.
    """
    keep = np.unique(np.linspace(0, len(front) - 1, min(len(front), 12)).round().astype(int))
    return [
        {
            "strings": int(line["strings"]),
            "array [kWp]": f"{line['array_kwp']:.2f}",
            "battery strings in parallel": int(line["units"]),
            "battery, rated [kWh]": f"{line['bank_kwh']:.1f}",
            f"cost [{design.site.costs.currency}]": three_figures(line["cost"]),
            "essential loads without supply [h/year]": int(line["essential_without_supply_h"]),
            "non-essential energy not supplied [kWh/year]":
                round(line["nonessential_not_supplied_kwh"]),
            "fuel [l/year]": in_unit(line["fuel_l"], "l"),
        }
        for _, line in front.iloc[keep].iterrows()
    ]


def sizes_sentence(design: Design, table: pd.DataFrame, *, allowed_without_supply_h: float) -> str:
    """The smallest system that meets the target, beside the site's own, in words.

    `table`: one row a pair of array [kWp] and bank [kWh].

    Raises
    ------
    InputError
        For hours a year that are none.
    """
    check_parameter("allowed_without_supply_h", allowed_without_supply_h, "h/year")
    line = smallest(table, allowed_without_supply_h=allowed_without_supply_h)
    own, tried = own_line(design, table), grouped(str(len(table)))
    if line is None:
        return (
            f"None of the {tried} combinations tried{_roof_words(design)}, up to"
            f" {table['array_kwp'].max():.1f} kWp and"
            f" {table['bank_kwh'].max():.0f} kWh rated, leaves the essential board without"
            f" supply for at most"
            f" {allowed_without_supply_h:g} h/year."
        )
    return (
        f"The cheapest of {tried} combinations{_roof_words(design)} that leaves the"
        f" essential board without"
        f" supply for at most"
        f" {allowed_without_supply_h:g} h/year has {line['array_kwp']:.2f} kWp and"
        f" {line['bank_kwh']:.1f} kWh rated; this site has {own['array_kwp']:.2f} kWp and"
        f" {own['bank_kwh']:.1f} kWh rated, at {own['cost'] / line['cost']:.2f} times its cost and"
        f" {int(own['essential_without_supply_h'])} h/year without supply."
    )


def own_line(design: Design, table: pd.DataFrame) -> pd.Series:
    """The line of the site's own sizes."""
    site, battery = design.site, design.site.battery
    own = (table["strings"] == site.string_count) & (table["units"] == battery.units_in_parallel)
    return table[own].iloc[0]


def simulated_kwh(design: Design, table: pd.DataFrame, allowed_without_supply_h: float) -> float:
    """Smallest bank that meets the target with the site's own array, rated [kWh].

    `table`: one row a pair of array [kWp] and bank [kWh].

    The largest one tried where none does.

    Raises
    ------
    InputError
        For hours a year that are none.
    """
    check_parameter("allowed_without_supply_h", allowed_without_supply_h, "h/year")
    strings = design.site.string_count
    own = table[table["strings"] == strings]
    meets = own[own["essential_without_supply_h"] <= allowed_without_supply_h]
    return float(meets["bank_kwh"].min() if len(meets) else own["bank_kwh"].max())


Row = dict[str, Any]
Change = tuple[str, Design, float]
"""What is changed, the changed design, and by how much its array's sun is scaled."""

WARM_ROOM_C, COOL_ROOM_C = 35.0, 20.0
NOT_STATED = "not stated"
"""In place of a battery's years; why stands below the table."""


def what_would_change_the_supply(design: Design) -> list[Row]:
    """One row for each thing changed alone: supply, lowest charge, battery years.

    More or fewer strings scale the sun of the site's own array. Where no years can be told of the
    battery as it is used, `why_no_years` says why.
    """
    return [row for row, _ in _tried(design)]


def why_no_years(design: Design) -> list[str]:
    """Why rows of `what_would_change_the_supply` state no years: a sentence for each cause."""
    rows: dict[str, list[str]] = {}
    for row, bank in _tried(design):
        if bank.cause:
            rows.setdefault(bank.cause, []).append(str(row["changed parameter"]))
    return [f"Not stated where the battery {cause.removeprefix('it ')}: {', '.join(names)}."
            for cause, names in rows.items()]  # fmt: skip


@of_design
def _tried(design: Design) -> list[tuple[Row, BankLife]]:
    rows = [_row("as designed", design, design.supply)]
    for name, tried, scale in _changes(design):
        run = supply_of_sun(tried, design.energy.hours["bus_w"] * scale)
        rows.append(_row(name, tried, run))
    return rows


def _changes(design: Design) -> Iterator[Change]:
    site = design.site
    strings = site.string_count
    units = site.battery.units_in_parallel
    yield "one PV string more", design, (strings + 1) / strings
    if strings > 1:
        yield "one PV string fewer", design, (strings - 1) / strings
    if not site.supply.separate_banks:
        more = {"units_in_parallel": units + 1}
        yield "one battery string more", design.changed({"battery": more}), 1.0
        if units > 1:
            fewer = {"units_in_parallel": units - 1}
            yield "one battery string fewer", design.changed({"battery": fewer}), 1.0
    for word, room_c in (("warm", WARM_ROOM_C), ("cool", COOL_ROOM_C)):
        room = design.changed({"battery": {"room_c": room_c}})
        yield f"{word} battery room, {room_c:.0f} °C", room, 1.0
    if not site.grid.there:
        weak = {"kind": "random", "outage_h_per_day": 12.0, "mean_outage_h": 4.0}
        yield "grid available half of the time", design.changed({"grid": weak}), 1.0
    else:
        yield "no grid", design.changed({"grid": {"kind": "none"}}), 1.0
    if not site.generator.there:
        power_w = site.inverter_of("essential").total_power_w
        generator = design.changed({"generator": {"power_w": power_w}})
        yield f"generator of {power_w:.0f} W", generator, 1.0


def _row(name: str, design: Design, year: SupplyRun) -> tuple[Row, BankLife]:
    """A row, and the bank that lasts shortest."""
    bank = shortest(lives_of(design, year, design.room_year.battery_c))
    years: float | str = NOT_STATED if bank.cause else bank.said_years
    return {"changed parameter": name,
            "essential loads without supply [h/year]": year.hours_without_supply("essential"),
            "non-essential energy not supplied [%]":
                100.0 * not_supplied_frac(year, "nonessential"),
            "lowest state of charge [%]": 100.0 * float(year.state_of_charge.min()),
            "battery service life [years]": years,
            "fuel [l/year]": in_unit(year.fuel_l, "l")}, bank


LOW_DAYS = 7
LOW_LIGHT = (0.5, 0.3, 0.15)
"""Share of the sun left in a low-irradiance week, three times lower; round figures to see by."""


def low_irradiance_table(design: Design) -> list[dict[str, Any]]:
    """What a low-irradiance week does, at the time of year when the bank is lowest anyway.

    Returns
    -------
    list of dict
        One row a share: sun left, hours without supply of the essential board and what they are
        more than without, lowest charge, demand of the nonessential board not supplied; all of
        the year, as what the week takes may be missing after it.
    """
    first, year = hardest_day(design.supply), design.supply
    rows = []
    for left in (1.0, *LOW_LIGHT):
        run = year if left == 1.0 else _with_low_week(design, first, left)
        rows.append(
            {
                "irradiation, % of the typical week": 100.0 * left,
                "essential loads without supply [h/year]": run.hours_without_supply("essential"),
                "lowest state of charge [%]": 100.0 * float(run.state_of_charge.min()),
                "non-essential energy not supplied [kWh/year]": float(
                    run.not_supplied_w("nonessential").sum()
                ) / 1000.0,
            }
        )
    return rows


def hardest_day(year: SupplyRun) -> int:
    """First day of the seven whose mean state of charge is the lowest, counted from 0."""
    daily = year.state_of_charge.to_numpy().reshape(-1, 24).mean(axis=1)
    weekly = np.convolve(daily, np.ones(LOW_DAYS), mode="valid")
    return int(np.argmin(weekly))


def _with_low_week(design: Design, first_day: int, left: float) -> SupplyRun:
    sun: pd.Series = design.energy.hours["bus_w"].copy()
    sun.iloc[24 * first_day : 24 * (first_day + LOW_DAYS)] *= left
    return supply_of_sun(design, sun)


def _hours(count: int) -> str:
    return "1 more hour" if count == 1 else f"{count} more hours"


def low_irradiance_sentence(rows: list[dict[str, Any]]) -> str:
    """How low the irradiance of a week may be for the essential board, in words."""
    dark = [int(row["essential loads without supply [h/year]"]) for row in rows]
    worse = [row for row, hours in zip(rows[1:], dark[1:], strict=True) if hours > dark[0]]
    if not worse:
        return (
            f"A week with {rows[-1]['irradiation, % of the typical week']:.0f} % of"
            " the typical irradiation, when the battery is lowest in the year, causes no further"
            " interruption of the essential loads."
        )
    first = worse[0]
    return (
        f"A week with {first['irradiation, % of the typical week']:.0f} % of the"
        " typical irradiation, when the battery is lowest in the year, leaves the essential loads"
        f" {_hours(int(first['essential loads without supply [h/year]']) - dark[0])}"
        " without supply."
    )
