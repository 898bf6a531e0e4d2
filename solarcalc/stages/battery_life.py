"""How long the site's bank lasts, how it is kept, and what the customer already owns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from solarcalc.basis.check import Check, checked
from solarcalc.basis.worded import worded
from solarcalc.battery.ageing import (
    HotRoom,
    Life,
    ageing_checks,
    expected_life,
    hot_room,
    life_curve_of,
)
from solarcalc.battery.care import care_checks, equalising, misuse, partial_charge
from solarcalc.battery.existing import judge_existing
from solarcalc.battery.existing_battery import BoardNeed, Judgement, Place
from solarcalc.energy.year import Harvest
from solarcalc.loads.year import peaks_of
from solarcalc.sitefile.loads import BOARDS
from solarcalc.siteyear import SiteYear
from solarcalc.stages.boards import battery_temp_c, daily_energy_wh
from solarcalc.supply.run import SupplyRun


def bank_price(own: SiteYear) -> float:
    """Price of all battery units, in the site's currency."""
    battery = own.site.battery
    return own.site.costs.per_battery_unit * battery.unit_count


def charges(year: SupplyRun) -> dict[str, np.ndarray]:
    """State of charge of each bank by hour, held within 0 and 1 against rounding."""
    return {
        name: (hours["stored_wh"] / bank.capacity_wh).clip(0.0, 1.0).to_numpy()
        for bank, (name, hours) in zip(year.system.banks, year.banks.items(), strict=True)
    }


def lives_of(own: SiteYear, year: SupplyRun) -> dict[str, tuple[Life, HotRoom]]:
    """Expected life of each bank and what its place's heat costs."""
    curve, temp_c = life_curve_of(own.site.battery), battery_temp_c(own)
    whole = sum(bank.capacity_wh for bank in year.system.banks)
    return {
        name: (
            expected_life(charge, temp_c, curve=curve),
            hot_room(charge, temp_c, curve=curve,
                     price=bank_price(own) * bank.capacity_wh / whole),
        )
        for bank, (name, charge) in zip(year.system.banks, charges(year).items(), strict=True)
    }  # fmt: skip


def shortest_years(lives: Mapping[str, tuple[Life, HotRoom]]) -> float:
    """Years of the bank that lasts shortest [years]."""
    return min(life.years for life, _ in lives.values())


def misused(own: SiteYear, year: SupplyRun) -> str:
    """Why no years can be said of the site's bank, or of one of two; empty where they can."""
    kind, reserve = own.site.battery.traits, own.site.battery.min_soc_frac
    found = (misuse(charge, kind=kind, min_soc_frac=reserve) for charge in charges(year).values())
    return next((cause for cause in found if cause), "")


def told_years(own: SiteYear, year: SupplyRun, life_years: float) -> float | None:
    """Years that money counts on; None where none can be told as the bank is used."""
    return None if misused(own, year) else life_years


def said_years(own: SiteYear, year: SupplyRun, life_years: float) -> float | str:
    """Years to print: a number, or that it lasts none as it is used, with the cause."""
    cause = misused(own, year)
    return f"not as it is used: {cause}" if cause else round(life_years, 1)


def years_at(own: SiteYear, year: SupplyRun, battery_c: np.ndarray) -> float:
    """The same at another temperature of the battery by hour [degC], shape (n,)."""
    curve = life_curve_of(own.site.battery)
    return min(expected_life(charge, battery_c, curve=curve).years
               for charge in charges(year).values())  # fmt: skip


def life_checks(
    own: SiteYear, year: SupplyRun, lives: Mapping[str, tuple[Life, HotRoom]]
) -> list[Check]:
    """Heat of the battery's place, sulphation and equalising, bank by bank."""
    kind = own.site.battery.traits
    checks: list[Check] = []
    for bank, (name, charge) in zip(year.system.banks, charges(year).items(), strict=True):
        equal = equalising(charge, kind=kind, capacity_wh=bank.capacity_wh,
                           voltage_v=bank.voltage_v)  # fmt: skip
        cause = misuse(charge, kind=kind, min_soc_frac=own.site.battery.min_soc_frac)
        own_checks = [
            checked(not cause, **worded("battery", "use-of-bank",
                                        found=cause or "as it should be")),
            *ageing_checks(*lives[name]),
            *care_checks(partial_charge(charge, kind=kind), equal, kind=kind),
        ]
        if len(lives) > 1:  # two banks: each says whose it is
            own_checks = [
                replace(check, item=f"{check.item}, {name} bank", about=f"{check.about} {name}")
                for check in own_checks
            ]
        checks += own_checks
    return checks


def judged_existing(own: SiteYear, harvest: Harvest) -> list[Judgement]:
    """What the customer already owns: keep, use on the other board, or replace."""
    battery = own.site.battery
    needs = {}
    for board in BOARDS:
        peaks = peaks_of(own.site.loads, board, folder=own.sitefile.folder)
        needs[board] = BoardNeed(
            peak_w=peaks.power_w,
            surge_va=peaks.surge_va or peaks.apparent_va or peaks.power_w,
            daily_wh=daily_energy_wh(own, board),
        )
    place = Place(
        bank_voltage_v=battery.nominal_voltage_v,
        essential=needs["essential"],
        nonessential=needs["nonessential"],
        yield_kwh_per_kw_per_year=harvest.final_yield_h,
    )
    return [judge_existing(item, place) for item in own.site.existing]
