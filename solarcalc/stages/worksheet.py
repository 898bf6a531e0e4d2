"""Sizing by the book, beside the hour-by-hour year."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check
from solarcalc.basis.hours import MONTHS
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.battery.worksheet import (
    SizingInput,
    Worksheet,
    filled_worksheet,
    string_current_a,
    worksheet_checks,
)
from solarcalc.energy.year import Harvest
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.siteyear import SiteYear

AUTONOMY_DAYS = float(constant("battery.autonomy_days"))
_COLDEST_SHARE = 0.02


def sizing_input(own: SiteYear, harvest: Harvest, battery_c: np.ndarray) -> SizingInput:
    """The worksheet's figures from the site: loads of the worst month, cold, sun, one string.

    `battery_c`: (8760,), a value for each hour [degC].

    The worst month is that with the least sun over load. The running load is the mean of both
    boards in the hours that ask for most, a tenth of all.
    """
    site, loads = own.site, own.loads
    month = pd.DatetimeIndex(loads.index).month
    both = loads.sum(axis=1)
    daily_wh = both.groupby(month).mean() * 24.0
    days = both.groupby(month).size() / 24.0
    light = harvest.hours["plane_w_m2"].groupby(month).sum() / 1000.0 / days
    by_demand = (light / daily_wh).where(daily_wh > 0.0, np.inf)
    worst = 1 + int(np.argmin(by_demand.to_numpy()))
    battery = site.battery
    kept = float(harvest.hours["dc_w"].sum()) / (harvest.peak_kwp * 1000.0)
    kept /= float(harvest.hours["plane_w_m2"].sum()) / 1000.0
    voltage_v = battery.nominal_voltage_v
    drawn = sum(
        float(loads[board].mean()) / site.inverter_of(board).efficiency_frac
        for board in BOARDS
    )
    return SizingInput(
        daily_load_wh=float(daily_wh[worst]),
        running_load_w=float(both[both >= both.quantile(0.9)].mean()),
        inverter_efficiency_frac=float(both.mean()) / drawn if drawn > 0.0 else 1.0,
        bank_voltage_v=voltage_v,
        unit_voltage_v=battery.unit_voltage_v,
        unit_capacity_ah=battery.unit_capacity_ah,
        unit_rated_discharge_h=battery.rated_time_h,
        rate=battery.traits.rate,
        autonomy_days=AUTONOMY_DAYS,
        lowest_temp_c=float(pd.Series(battery_c).quantile(_COLDEST_SHARE)),
        sun_hours_h_per_day=float(light[worst]),
        string_current_a=_string_a(site, kept),
    )


def _string_a(site: Site, kept_frac: float) -> float:
    """What a string gives the bank of its rated power [A]; with several planes the mean of all."""
    of_planes = [
        (one.array.string_count, string_current_a(
            site.module.pmax_w * one.array.modules_in_series * kept_frac,
            one.controller.efficiency_frac, site.battery.nominal_voltage_v))
        for one in site.sites
    ]  # fmt: skip
    if len(of_planes) == 1:
        return of_planes[0][1]
    return sum(count * each_a for count, each_a in of_planes) / site.string_count


@dataclass(frozen=True, kw_only=True)
class FilledSheet:
    """The worksheet of a site and what it was filled in with."""

    figures: SizingInput
    sheet: Worksheet


def sheet_of(own: SiteYear, harvest: Harvest, battery_c: np.ndarray) -> FilledSheet:
    """The worksheet filled in for the site, its batteries as warm as they are by hour [degC].

    Raises
    ------
    NoAnswer
        Without a demand, without light in a month, or where a string gives nothing.
    """
    figures = sizing_input(own, harvest, battery_c)
    why: dict[str, str] = {}
    if min(figures.daily_load_wh, figures.running_load_w) <= 0.0:
        why = worded("stages", "worksheet-without-demand")
    elif figures.sun_hours_h_per_day <= 0.0:
        why = worded("stages", "worksheet-without-light", month=_dark_month(harvest))
    elif figures.string_current_a <= 0.0:
        why = worded("stages", "worksheet-without-string")
    if why:
        raise NoAnswer(**worded("stages", "no-worksheet", why=why["why"], do=why["do"]))
    return FilledSheet(figures=figures, sheet=filled_worksheet(figures))


def _dark_month(harvest: Harvest) -> str:
    """The first month without light on the modules."""
    plane = harvest.hours["plane_w_m2"]
    by_month = plane.groupby(pd.DatetimeIndex(plane.index).month).sum()
    return MONTHS[int(by_month.index[int(np.argmin(by_month.to_numpy()))]) - 1]


def book_checks(site: Site, filled: FilledSheet) -> tuple[Check, ...]:
    """The site's bank and array against the worksheet."""
    return worksheet_checks(
        filled.sheet, filled.figures, installed_wh=site.battery.rated_wh,
        installed_strings=site.string_count, kind=site.battery.traits,
    )  # fmt: skip
