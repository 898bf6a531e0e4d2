"""[costs] out of the price list: what a module, a metre of row or a mm2 of copper costs the firm.

A key that the site file gives goes first; the others follow from rows of the list, hours of
``data/task_hours.csv`` at the rates of the list, and [quote] for energy. All is in its currency.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.installation.records import (
    Bought,
    battery_bought,
    controller_bought,
    inverter_bought,
    module_bought,
    rail_bought,
)
from solarcalc.quote.bill import bought_line, size_key
from solarcalc.quote.economics import Money
from solarcalc.quote.prices import TRADES, Price, PriceList, priced, rate_of
from solarcalc.roof.hardware import RAILS_A_TIER
from solarcalc.sitefile.bill_items import ITEMS
from solarcalc.sitefile.quote import IN_MONEY, Costs
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.task_list import task_list
from solarcalc.wiring.gauge import gauges

WASH_H = constant("quote.wash_h")
SERVICE_PART_FRAC = constant("quote.service_part_frac")
SERVICE_HOURS_H = constant("quote.service_hours_h")
def listed_trade(trade: str, prices: PriceList) -> str:
    """The trade of the price list whose rate work of a trade of the programme is paid at.

    Parameters
    ----------
    trade : str
        A key of `TRADES`.
    prices : PriceList
    """
    names = TRADES[trade]
    return next((name for name in names if name in prices.rates), names[-1])


def priced_costs(site: Site, prices: PriceList, file: str) -> Costs:
    """[costs] of a site with all its money, in the currency of its price list.

    Parameters
    ----------
    site : Site
    prices : PriceList
    file : str
        Name of the site file, for messages.

    Raises
    ------
    InputError
        For a list that lacks what a cost follows from, and for costs in another currency.
    """
    given = site.costs.model_fields_set
    if site.costs.currency not in ("", prices.currency):
        raise InputError(Fault(
            where=f"{file}: costs.currency",
            **worded("quote", "currencies", given=site.costs.currency, prices=prices.currency,
                     file=prices.file),
        ))  # fmt: skip
    shop = _Shop(prices=prices, site=file)
    rules = _rules(site, shop)
    found = {key: shop.sum_of(key, rules[key]) for key in IN_MONEY if key not in given}
    if shop.faults:
        raise InputError(shop.faults)
    own = {name: getattr(site.costs, name) for name in Costs.model_fields}
    return Costs.model_construct(
        _fields_set=set(given), **(own | found | {"currency": prices.currency}),
    )  # fmt: skip


def controller_cost(site: Site, prices: PriceList, file: str) -> Money:
    """What one charge controller of the site costs, with the work, by the price list.

    Raises
    ------
    InputError
        For a list that lacks it.
    """
    shop = _Shop(prices=prices, site=file, key="fixed")
    found = shop.price(controller_bought(site.controller)) + shop.work("controller")
    if shop.faults:
        raise InputError(shop.faults)
    return found


@dataclass(kw_only=True)
class _Shop:
    """A price list being asked, for one key of [costs] after the other; notes what it lacks."""

    prices: PriceList
    site: str
    key: str = ""
    faults: list[Fault] = field(default_factory=list)

    def sum_of(self, key: str, rule: Callable[[], Money]) -> Money:
        """What a rule comes to, for a key of [costs]."""
        self.key = key
        return rule()

    def price(self, bought: Bought) -> Money:
        """Price of one of it."""
        line = bought_line(bought)
        if self.prices.row_of(line) not in self.prices.prices:
            self.lacks(bought.item)
            return 0.0
        return priced((line,), self.prices)[0]

    def work(self, unit: str) -> Money:
        """Wages for a unit of work, of all tasks that have it."""
        return sum(hours * self.rate(trade) for trade, hours in _hours_of(unit))

    def rate(self, trade: str) -> Money:
        """Wage of an hour of a trade of the programme."""
        try:
            return rate_of(listed_trade(trade, self.prices), self.prices)
        except InputError as error:
            self.faults += [one for one in error.faults if one not in self.faults]
            return 0.0

    def lacks(self, item: str) -> None:
        """Note that the list has no price of an item."""
        kind = ITEMS[item]
        wanted = " or ".join(f"{item} {unit if unit == 'each' else f'a {unit}'}"
                             for unit in (kind.unit, kind.by) if unit)  # fmt: skip
        fault = Fault(**worded(
            "quote", "costs-missing", file=self.prices.file, item=item, wanted=wanted,
            key=self.key, site=self.site,
        ))  # fmt: skip
        self.faults += [fault] if fault not in self.faults else []


@cache
def _hours_of(unit: str) -> tuple[tuple[str, float], ...]:
    """Trade of the programme and hours for a unit of work [h], task by task; no room is built."""
    return tuple(
        (task.trade, rate.person_h) for task in task_list() if not task.of_the_room
        for rate in task.rates if rate.unit == unit
    )  # fmt: skip


def _rules(site: Site, shop: _Shop) -> Mapping[str, Callable[[], Money]]:
    """How each key of [costs] follows from the price list."""
    aluminium = any(getattr(run, "material", "") == "aluminium"
                    for one in site.sites for _, run in one.runs)  # fmt: skip
    return {
        "per_module": lambda: shop.price(module_bought(site.module)) + shop.work("module")
        + float(RAILS_A_TIER) * shop.price(Bought(item="mid-clamp")),
        "per_metre_of_row": lambda: _row(site, shop),
        "fixed": lambda: shop.work("once") + sum(
            (shop.price(inverter_bought(one)) + shop.work("inverter")) * one.count
            for one in site.inverters.values()),
        "per_cleaning": lambda: site.module_count * float(WASH_H) * shop.rate(""),
        "per_battery_unit": lambda: shop.price(battery_bought(site.battery))
        + shop.work("battery_unit"),
        "per_generator": lambda: _generator(site, shop),
        "per_generator_service": lambda: _service(site, shop),
        "per_fuel_l": lambda: site.quote.fuel_price_per_l,
        "per_m_mm2_of_copper": lambda: _copper(shop)[0],
        "per_m_mm2_of_aluminium": lambda: _aluminium(shop, needed=aluminium),
        "per_metre_of_core": lambda: _copper(shop)[1]
        + shop.work("cable_m"),
        "per_metre_of_trench": lambda: shop.work("trench_m") + _trench(shop.prices),
        "per_kwh_lost": lambda: site.quote.grid_price_per_kwh,
    }  # fmt: skip


def _row(site: Site, shop: _Shop) -> Money:
    """A metre of a row of modules: its rails with their feet, and the work."""
    rail = shop.price(rail_bought(site.rails)) / site.rails.stock_length_m
    ballasted = site.structure.held_by == "ballast"
    foot = (shop.price(Bought(item="ballast-foot" if ballasted else "roof-foot"))
            + shop.work("ballast_foot" if ballasted else "foot"))
    of_rail = rail + shop.work("rail_m") + foot / site.rails.foot_spacing_m
    return float(RAILS_A_TIER) * site.array.modules_high * of_rail


def _generator(site: Site, shop: _Shop) -> Money:
    """The site's generator as it is bought, and the work to set it up; nothing without one."""
    if not site.generator.there:
        return 0.0
    return _set(site, shop) + shop.work("generator")


def _service(site: Site, shop: _Shop) -> Money:
    """Oil, filters and the work of one service of it; nothing without one."""
    if not site.generator.there:
        return 0.0
    wage = float(SERVICE_HOURS_H) * shop.rate("electrician")
    return float(SERVICE_PART_FRAC) * _set(site, shop) + wage


def _set(site: Site, shop: _Shop) -> Money:
    return shop.price(Bought(item="generator", size=site.generator.power_w))


def _trench(prices: PriceList) -> Money:
    """What is bought for a metre of trench; nothing but work where the list has no such row."""
    row = prices.prices.get("trench")
    return row.price if row else 0.0


def _copper(shop: _Shop) -> tuple[Money, Money]:
    """Price of single core a metre: for each mm2 of it, and whatever its size.

    Of the row for the kind; else of the line through the rows for its sizes.
    """
    kind, sizes = _kind_and_sizes(shop.prices, "cable-copper")
    if kind is not None:
        return (kind.price, 0.0) if kind.unit == "m mm2" else (0.0, kind.price)
    if not sizes:
        shop.lacks("cable-copper")
    return _line_through(sizes) if sizes else (0.0, 0.0)


def _aluminium(shop: _Shop, *, needed: bool) -> Money:
    """Price of a metre for each mm2, what is not by size being as for copper.

    Aluminium that no run asks for and no row prices is as copper.
    """
    kind, sizes = _kind_and_sizes(shop.prices, "cable-aluminium")
    if kind is not None and kind.unit == "m mm2":
        return kind.price
    slope, start = _copper(shop)
    if sizes:
        return max(_slope([(mm2, price - start) for mm2, price in sizes]), 0.0)
    if needed:
        shop.lacks("cable-aluminium")
    return slope


def _kind_and_sizes(
    prices: PriceList, item: str
) -> tuple[Price | None, list[tuple[float, Money]]]:
    """Price of a kind of cable, and of its sizes; of the firm's own list where that has any."""
    own = prices.own_prices
    rows = own if any(key == item or key.startswith(f"{item}-") for key in own) else prices.prices
    return rows.get(item), _sizes(rows, item)


def _sizes(rows: Mapping[str, Price], item: str) -> list[tuple[float, Money]]:
    """Size [mm2] and price of a metre of each row for a size of a cable."""
    found = []
    for key, row in rows.items():
        size = _mm2_of(key.removeprefix(f"{item}-")) if key.startswith(f"{item}-") else None
        if size:
            found.append((size, row.price * (size if row.unit == ITEMS[item].by else 1.0)))
    return found


def _mm2_of(size: str) -> float | None:
    """mm2 of a size as it stands in keys of the price list; None where it is none."""
    for gauge in gauges():
        if size_key(gauge.name) == size:
            return gauge.size_mm2
    try:
        return float(size.removesuffix("mm2"))
    except ValueError:
        return None


def _line_through(sizes: Sequence[tuple[float, Money]]) -> tuple[Money, Money]:
    """Slope and start of the line through sizes and prices, neither below 0.

    Examples
    --------
    >>> [round(one, 9) for one in _line_through([(4.0, 0.9), (6.0, 1.1), (10.0, 1.5)])]
    [0.1, 0.5]
    >>> _line_through([(4.0, 0.8)])
    (0.2, 0.0)
    """
    if len(sizes) > 1:
        mm2, price = np.array(sizes, dtype=float).T
        slope, start = np.polyfit(mm2, price, 1)
        if slope >= 0.0 and start >= 0.0:
            return float(slope), float(start)
    return _slope(sizes), 0.0


def _slope(sizes: Sequence[tuple[float, Money]]) -> Money:
    """Slope of the line from nothing at no size, least squares."""
    return sum(mm2 * price for mm2, price in sizes) / sum(mm2**2 for mm2, _ in sizes)
