"""What a year of grid energy and fuel costs, hour by hour and month by month, by the tariff.

Blocks count the use since the month began, as a prepaid meter does: each hour's energy falls into
the block or blocks that it reaches, at the price of its season and hour. Left out: charges by the
highest power, and what a meter rounds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pandas as pd

from solarcalc.basis.sourced import constant
from solarcalc.quote.economics import Money
from solarcalc.sitefile.quote import Quote
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.tariff import Band, Tariff
from solarcalc.supply.energy import FedIn, energy_w
from solarcalc.supply.run import SupplyRun
from solarcalc.supply.site import share_of_hours

TODAY_RULE, FEED_IN_RULE = constant("quote.today_rule"), constant("quote.feed_in_rule")
_ROUNDING = 1e-9


@dataclass(frozen=True, kw_only=True, eq=False)
class GridBill:
    """A year of the grid as it is charged; arrays by month have 12 places, from January.

    Parameters
    ----------
    block_kwh : array (n, blocks)
        Energy of each hour in each block [kWh].
    energy : array (n,)
        What each hour's energy costs, before tax.
    by_month : array (12,)
        All that is paid in each month: energy, fixed charge, tax and purchases of credit, less
        what is paid for energy fed in.
    fixed, tax, topups, feed_in : array (12,)
        Parts of that; the charges of the purchases of credit are `topups`.
    """

    block_kwh: np.ndarray
    energy: np.ndarray
    by_month: np.ndarray
    fixed: np.ndarray
    tax: np.ndarray
    topups: np.ndarray
    feed_in: np.ndarray

    @property
    def total(self) -> Money:
        """Of the year."""
        return float(self.by_month.sum())


@dataclass(frozen=True, kw_only=True, eq=False)
class EnergyBills:
    """What energy costs in a year without the system and with it.

    Parameters
    ----------
    before, after : GridBill
        The grid, for what the system supplies, and as it is still used.
    fuel_before, fuel_after : array (12,)
        Fuel of the generator of today, and of the system's, by month.
    supplied_kwh : float
        Energy to the boards in the year [kWh].
    """

    before: GridBill
    after: GridBill
    fuel_before: np.ndarray
    fuel_after: np.ndarray
    supplied_kwh: float

    @property
    def today_by_month(self) -> np.ndarray:
        """Spent today on what the system will supply, by month, (12,)."""
        spent: np.ndarray = self.before.by_month + self.fuel_before
        return spent

    @property
    def still_by_month(self) -> np.ndarray:
        """Still spent on grid and fuel with the system, by month, (12,)."""
        spent: np.ndarray = self.after.by_month + self.fuel_after
        return spent

    @property
    def today_per_kwh(self) -> Money:
        """What a kWh at the boards costs today, grid and generator together."""
        return float(self.today_by_month.sum()) / self.supplied_kwh

    @property
    def bought_per_year(self) -> Money:
        """Grid and fuel that the system still needs; below 0 where more is paid for feeding in."""
        return float(self.still_by_month.sum())


def bands_of(quote: Quote) -> tuple[Band, ...]:
    """Bands of the tariff; one of all hours at the single price where there are none."""
    return tuple(quote.tariff.bands) or (
        Band(name="all hours", per_kwh=[quote.grid_tariff_per_kwh]),)  # fmt: skip


def grid_bill(
    grid_kwh: pd.Series, quote: Quote, *, connected: bool = True,
    fed_in_kwh: pd.Series | None = None,
) -> GridBill:  # fmt: skip
    """A year of the grid, charged hour by hour.

    Parameters
    ----------
    grid_kwh : Series, shape (n,)
        Taken from the grid in each hour, by the start of the hour on the site's clock [kWh].
    quote : Quote
        The single price, or the tariff, of the site file.
    connected : bool
        Whether the fixed charge is paid.
    fed_in_kwh : Series, optional
        Fed into the grid in each hour [kWh].

    Notes
    -----
    With m(h) the use of the month up to the start of hour h, e(h) its energy and blocks that end
    at b_1 < b_2 < ...: the part in block k is min(m + e, b_k) - max(m, b_(k-1)), never below 0.
    """
    index, tariff = pd.DatetimeIndex(grid_kwh.index), quote.tariff
    month = index.month.to_numpy()
    kwh = grid_kwh.to_numpy(float)
    reached = grid_kwh.groupby(month).cumsum().to_numpy(float)
    bands = bands_of(quote)
    blocks = np.zeros((len(kwh), max(len(band.per_kwh) for band in bands)))
    energy = np.zeros(len(kwh))
    for band in bands:
        share = share_of_hours([(band.days, band.minutes)], index)
        share = np.where(np.isin(month, band.months), share, 0.0)
        parts = _parts(reached - kwh, reached, band.block_kwh) * share[:, None]
        blocks[:, : parts.shape[1]] += parts
        energy += parts @ np.asarray(band.per_kwh)
    fed_in = np.zeros(12) if fed_in_kwh is None else (
        tariff.feed_in_per_kwh * _by_month(fed_in_kwh.to_numpy(float), month))  # fmt: skip
    return _charged(_by_month(energy, month), tariff, connected, GridBill(
        block_kwh=blocks, energy=energy, by_month=np.zeros(12), fixed=np.zeros(12),
        tax=np.zeros(12), topups=np.zeros(12), feed_in=fed_in,
    ))  # fmt: skip


def _parts(start: np.ndarray, end: np.ndarray, ends_kwh: Sequence[float]) -> np.ndarray:
    """Energy between two states of the month's use, block by block, (n, blocks) [kWh]."""
    edges = [0.0, *ends_kwh, math.inf]
    return np.stack([np.clip(end, low, high) - np.clip(start, low, high)
                     for low, high in pairwise(edges)], axis=1)  # fmt: skip


def _charged(energy: np.ndarray, tariff: Tariff, connected: bool, bill: GridBill) -> GridBill:
    """The bill with fixed charge, tax and purchases of credit, from its energy by month."""
    fixed = np.full(12, tariff.fixed_per_month if connected else 0.0)
    tax = tariff.tax_frac * (energy + fixed)
    due = energy + fixed + tax
    topups = np.zeros(12)
    if tariff.topup_credit is not None:
        bought = np.ceil(np.cumsum(due) / tariff.topup_credit - _ROUNDING)
        topups = tariff.topup_charge * np.diff(bought, prepend=0.0)
    return replace(bill, fixed=fixed, tax=tax, topups=topups,
                   by_month=due + topups - bill.feed_in)  # fmt: skip


def _by_month(values: np.ndarray, month: np.ndarray) -> np.ndarray:
    sums: np.ndarray = np.bincount(month, weights=values, minlength=13)[1:13]
    return sums


def energy_bills(site: Site, year: SupplyRun) -> EnergyBills:
    """What energy costs in a year without the system and with it.

    Today's energy is what the system will supply, hour by hour: a part of each hour comes from a
    generator (`Site.today_generator_frac`), the rest from the grid.

    Parameters
    ----------
    site : Site
        Its [quote] and [grid].
    year : SupplyRun
        Hour by hour, with an index of starts of hours on the site's clock.
    """
    quote = site.quote
    supplied, grid = (energy_w(year, "supplied") / 1000.0, energy_w(year, "grid") / 1000.0)
    month = pd.DatetimeIndex(supplied.index).month.to_numpy()
    by_engine = site.today_generator_frac
    burnt_l = by_engine * quote.replaced_fuel_l_per_kwh * supplied.to_numpy(float)
    still_l = year.hours["fuel_l"].to_numpy(float)
    return EnergyBills(
        before=grid_bill(supplied * (1.0 - by_engine), quote, connected=by_engine < 1.0),
        after=grid_bill(grid, quote, connected=site.grid.there, fed_in_kwh=fed_in(site, year)),
        fuel_before=quote.fuel_price_per_l * _by_month(burnt_l, month),
        fuel_after=quote.fuel_price_per_l * _by_month(still_l, month),
        supplied_kwh=float(supplied.sum()),
    )  # fmt: skip


def fed_in(site: Site, year: SupplyRun) -> pd.Series:
    """Energy fed into the grid in each hour, (n,) [kWh]: curtailed energy that it takes.

    Behind the least efficient inverter, while the grid is there, within what the inverters have
    left beside the boards and within the tariff's limit. The year of supply itself is the same.
    """
    curtailed = energy_w(year, "curtailed")
    grid, tariff = year.system.grid, site.quote.tariff
    if grid is None or tariff.feed_in_limit_w <= 0.0:
        return curtailed * 0.0
    inverters = site.inverters.values()
    rated_w = sum(one.total_power_w for one in inverters)
    given_w = curtailed * min(one.efficiency_frac for one in inverters)
    left_w = (rated_w - energy_w(year, "supplied")).clip(lower=0.0)
    most_w = left_w.clip(upper=tariff.feed_in_limit_w)
    fed_w: pd.Series = given_w.clip(upper=most_w) * np.asarray(grid.present_frac)
    return fed_w / 1000.0


def fed_in_year(site: Site, year: SupplyRun) -> FedIn:
    """The same over the year, and what it is made of at the battery's bar."""
    grid_kwh = float(fed_in(site, year).sum())
    least = min(one.efficiency_frac for one in site.inverters.values())
    return FedIn(grid_kwh=grid_kwh, bus_kwh=grid_kwh / least)
