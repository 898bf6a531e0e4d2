"""How long the site's bank lasts, how it is kept, and what the customer already owns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from solarcalc.basis.check import Check, checked
from solarcalc.basis.worded import worded
from solarcalc.battery.ageing import (
    HotRoom,
    Life,
    ageing_checks,
    exchanged_frac,
    expected_life,
    hot_room,
    life_curve_of,
)
from solarcalc.battery.bank import Bank, wells_of
from solarcalc.battery.care import care_checks, equalising, misuse, partial_charge
from solarcalc.battery.existing import JUDGED, judge_existing
from solarcalc.battery.existing_battery import BoardNeed, Judgement, Place
from solarcalc.energy.year import Harvest
from solarcalc.loads.year import peaks_of
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.loads import BOARDS
from solarcalc.siteyear import SiteYear
from solarcalc.stages.boards import daily_energy_wh
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


T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class BankLife:
    """How long one bank lasts.

    Parameters
    ----------
    life : Life
        By the curves: of this bank only while it is used as they take it.
    place : HotRoom
        What its place's heat costs.
    cause : str
        Why no years can be told of it as it is used; empty where they can.
    """

    life: Life
    place: HotRoom
    cause: str

    @property
    def stated_years(self) -> float | None:
        """Years where they can be told [years], else None."""
        return None if self.cause else self.life.years

    @property
    def said_years(self) -> float | str:
        """Years to print: a number, or that it lasts none as it is used, with the cause."""
        return self.told(round(self.life.years, 1))

    def told(self, figure: T) -> T | str:
        """A figure of the years, or that the bank has none as it is used, with the cause."""
        return f"not stated for this use: {self.cause}" if self.cause else figure


Lives = Mapping[str, BankLife]


def lives_of(own: SiteYear, year: SupplyRun, battery_c: np.ndarray) -> dict[str, BankLife]:
    """Expected life of each bank, at a temperature of the battery by hour [degC], shape (n,)."""
    battery, curve = own.site.battery, life_curve_of(own.site.battery)
    whole = sum(bank.capacity_wh for bank in year.system.banks)
    lives = {}
    for bank, (name, charge) in zip(year.system.banks, charges(year).items(), strict=True):
        turns = _turns(bank, charge, year.banks[name]["discharge_w"].to_numpy(), battery)
        life = expected_life(charge, battery_c, curve=curve, turns_frac=turns)
        lives[name] = BankLife(
            life=life,
            place=hot_room(life, curve=curve, price=bank_price(own) * bank.capacity_wh / whole),
            cause=misuse(charge, battery_c, kind=battery.traits,
                         empty_frac=bank.level_frac(bank.min_soc_frac)),
        )  # fmt: skip
    return lives


def _turns(
    bank: Bank, charge: np.ndarray, discharge_w: np.ndarray, battery: Battery
) -> np.ndarray:
    """Charge at every turn through the year, in shares of what the kind rates its capacity by."""
    drawn = discharge_w / bank.discharge_efficiency_frac / bank.capacity_wh
    rated = battery.rated_ah / wells_of(battery).capacity_ah
    return exchanged_frac(charge, drawn, rated_frac=rated)


def shortest(lives: Lives) -> BankLife:
    """The bank that lasts shortest; one of which no years can be told before any other."""
    return min(lives.values(), key=lambda one: (not one.cause, one.life.years))


def told_years(lives: Lives) -> float | None:
    """Years of the bank that lasts shortest [years]; None where none can be told of it."""
    return shortest(lives).stated_years


def worn_years(lives: Lives) -> float:
    """Years after which wear alone ends the first bank, however it is used [years]."""
    return min(one.life.years for one in lives.values())


def said_years(lives: Lives) -> float | str:
    """Years of the bank that lasts shortest, to print: `BankLife.said_years`."""
    return shortest(lives).said_years


def life_checks(own: SiteYear, year: SupplyRun, lives: Lives) -> list[Check]:
    """Heat of the battery's place, sulphation and equalising, bank by bank."""
    kind = own.site.battery.traits
    checks: list[Check] = []
    for bank, (name, charge) in zip(year.system.banks, charges(year).items(), strict=True):
        equal = equalising(charge, kind=kind, capacity_wh=bank.capacity_wh,
                           voltage_v=bank.voltage_v)  # fmt: skip
        one = lives[name]
        own_checks = [
            checked(not one.cause, **worded("battery", "use-of-bank",
                                            found=one.cause or "within limits")),
            *(() if one.cause else ageing_checks(one.life, one.place)),
            *care_checks(partial_charge(charge, kind=kind), equal, kind=kind),
        ]
        if len(lives) > 1:  # two banks: each says whose it is
            own_checks = [
                replace(check, item=f"{check.item}, {name} battery", about=name)
                for check in own_checks
            ]
        checks += own_checks
    return checks


def place_of(own: SiteYear, harvest: Harvest) -> Place:
    """What bank and boards of a site ask of a thing that is there already."""
    battery = own.site.battery
    needs = {}
    for board in BOARDS:
        peaks = peaks_of(own.site.loads, board, folder=own.sitefile.folder)
        needs[board] = BoardNeed(
            peak_w=peaks.power_w,
            surge_va=peaks.surge_va or peaks.apparent_va or peaks.power_w,
            daily_wh=daily_energy_wh(own, board),
        )
    return Place(
        bank_voltage_v=battery.nominal_voltage_v,
        essential=needs["essential"],
        nonessential=needs["nonessential"],
        yield_kwh_per_kw_per_year=harvest.final_yield_h,
    )


def judged_existing(own: SiteYear, harvest: Harvest) -> list[Judgement]:
    """What the customer already owns: keep, use on the other board, or replace."""
    place = place_of(own, harvest)
    return [judge_existing(item, place) for item in own.site.existing if item.kind in JUDGED]
