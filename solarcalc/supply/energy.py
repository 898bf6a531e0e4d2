"""The energies of a year of supply: each is defined here once, by the flows it is the sum of.

``available`` is what the array gives at the battery's bar, behind the charge controllers, were all
of it wanted: what a controller's own current limit clips is lost before it, a loss of the array
(`solarcalc.energy.year.Harvest.clipped_kwh`). ``used`` is the part of it that went to a board or
into a battery, ``curtailed`` the part that did neither, by what kept the battery from it
(`curtailed_by_reason_kwh`). ``demand`` is asked for and ``supplied`` is met in alternating current
at the boards, whatever source it came from; ``not_supplied`` is the rest of the demand. ``grid``
and ``generator`` are what was drawn from them. An hour without supply is one in which a board got
less than its demand (`SupplyRun.without_supply`); it is told of the essential board. The
nonessential board is fed in part between its two levels, so that such an hour may be one of almost
all its demand: of it the energy not supplied is told, and those hours as hours on less than the
demand. What the array alone would give behind the
inverters is another quantity, the potential energy of `solarcalc.energy.year.Harvest`: no battery
and no demand stand in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from solarcalc.basis.quantity import grouped, in_percent, told_share
from solarcalc.basis.worded import worded
from solarcalc.battery.bank import Bank
from solarcalc.sitefile.loads import BOARDS, Board
from solarcalc.supply.engine import NO_ENGINE, Running, running_of
from solarcalc.supply.run import SupplyRun

Energy = Literal[
    "available", "used", "curtailed", "demand", "supplied", "not_supplied", "essential_demand",
    "essential_supplied", "essential_not_supplied", "nonessential_demand", "nonessential_supplied",
    "nonessential_not_supplied", "grid", "generator",
]  # fmt: skip
_BOARD = {"demand": "load_w", "supplied": "supplied_w", "not_supplied": "not_supplied_w"}
_FLOWS: Mapping[str, list[str]] = {
    "available": ["solar_w"],
    "used": ["solar_used_w"],
    "curtailed": ["solar_curtailed_w"],
    **{name: [f"essential_{flow}", f"nonessential_{flow}"] for name, flow in _BOARD.items()},
    **{f"{board}_{name}": [f"{board}_{flow}"]
       for board in BOARDS for name, flow in _BOARD.items()},
    **{source: [f"{source}_to_{to}_w" for to in ("essential", "nonessential", "charge")]
       for source in ("grid", "generator")},
}  # fmt: skip


def energy_w(year: SupplyRun, name: Energy) -> pd.Series:
    """One energy hour by hour, as its mean power [W]."""
    flows = [year.hours[flow] for flow in _FLOWS[name]]
    return sum(flows[1:], start=flows[0])


def energy_kwh(year: SupplyRun, name: Energy) -> float:
    """One energy over the year [kWh], added up once."""
    if name not in year.sums_kwh:
        year.sums_kwh[name] = float(energy_w(year, name).sum()) / 1000.0
    return year.sums_kwh[name]


def energy_by_month_kwh(power_w: pd.Series | pd.DataFrame) -> pd.DataFrame:
    """Hourly means summed by month, 1 to 12 [kWh]."""
    table = pd.DataFrame(power_w)
    sums: pd.DataFrame = table.groupby(pd.DatetimeIndex(table.index).month).sum() / 1000.0
    sums.index.name = "month"
    return sums


def not_supplied_frac(year: SupplyRun, board: Board) -> float:
    """Share of a board's demand that was not supplied, [0 to 1]; 0 without a demand."""
    asked: Energy = "essential_demand" if board == "essential" else "nonessential_demand"
    missed: Energy = (
        "essential_not_supplied" if board == "essential" else "nonessential_not_supplied"
    )
    demand = energy_kwh(year, asked)
    return energy_kwh(year, missed) / demand if demand > 0.0 else 0.0


def reaching_frac(year: SupplyRun) -> float:
    """What was supplied over what sun, grid and generator put in, [0 to 1]; 1 where nothing was.

    Losses of batteries and inverters, and what these draw idle, are all in it.
    """
    put_in = sum(energy_kwh(year, name) for name in ("used", "grid", "generator"))
    return min(1.0, energy_kwh(year, "supplied") / put_in) if put_in > 0.0 else 1.0


Reason = Literal["full", "rate", "temperature"]
"""What kept a battery from what was curtailed: it was full or near it, its charge current was at
its limit, or cold or heat stopped or slowed its charge."""


def curtailed_by_reason_kwh(year: SupplyRun) -> dict[Reason, float]:
    """Energy curtailed in the year by what kept the battery from it [kWh].

    Notes
    -----
    Hour by hour, by what the bank would have taken without the limit. Temperature kept it from
    what it would have taken at its whole charge current, that current from what the bank still
    accepts beyond it. The rest found no room: the bank was full, or so near to it that its charge
    tapers.
    """
    found: dict[Reason, float] = {"full": 0.0, "rate": 0.0, "temperature": 0.0}
    for bank, hours in zip(year.system.banks, year.banks.values(), strict=True):
        for name, by_hour_w in kept_from_w(bank, hours).items():
            found[name] += float(by_hour_w.sum()) / 1000.0
    return found


def kept_from_w(bank: Bank, hours: pd.DataFrame) -> dict[Reason, np.ndarray]:
    """What each limit kept a bank from of what was curtailed, by hour [W]; their sum is all.

    Parameters
    ----------
    bank : Bank
    hours : DataFrame, shape (n,)
        Of the bank, as `SupplyRun.banks` has them.
    """
    curtailed = hours["solar_curtailed_w"].to_numpy()
    drawn_wh = hours["self_discharge_w"] + hours["discharge_w"] / bank.discharge_efficiency_frac
    missing_wh = bank.capacity_wh - (hours["stored_wh"] - drawn_wh).to_numpy()
    share = bank.accepted_frac / bank.charge_efficiency_frac
    accepted = share * np.maximum(missing_wh, 0.0)
    whole = np.minimum(accepted, bank.max_charge_w)
    held = np.minimum(accepted, bank.max_charge_w * np.asarray(bank.charge_factor))
    temperature = np.minimum(curtailed, whole - held)
    rate = np.minimum(curtailed - temperature, accepted - whole)
    return {"full": curtailed - temperature - rate, "rate": rate, "temperature": temperature}


@dataclass(frozen=True, kw_only=True)
class YearEnergy:
    """The energies that every paper of a site tells, in the same words.

    Parameters
    ----------
    demand_kwh, supplied_kwh, available_kwh, curtailed_kwh : float
        As this module defines them [kWh].
    by_reason_kwh : dict
        The energy curtailed by reason [kWh].
    essential_h : int
        Hours without supply of the essential board [h].
    nonessential_h : int
        Hours of the nonessential board on less than its demand [h].
    essential_most_h : int, optional
        Of the essential board where the modules are as weak in low light as is usual [h]; None
        where their sheet says how weak they are.
    grid_kwh, generator_kwh : float
        Drawn from them, what charging loses with it [kWh].
    running : Running, optional
        Hours, litres and starts of the generator; None where there is none.
    fed_in_kwh : float
        Given to the grid, alternating current [kWh]: what it was made of is not curtailed.
    """

    demand_kwh: float
    supplied_kwh: float
    available_kwh: float
    curtailed_kwh: float
    by_reason_kwh: dict[Reason, float]
    essential_h: int
    nonessential_h: int
    essential_most_h: int | None = None
    grid_kwh: float = 0.0
    generator_kwh: float = 0.0
    running: Running | None = None
    fed_in_kwh: float = 0.0

    @property
    def supplied_words(self) -> str:
        """Energy supplied, of what demand."""
        said = self._words()
        return said["supplied"] if self.demand_kwh > 0.0 else said["nothing_asked"]

    @property
    def curtailed_words(self) -> str:
        """Energy curtailed, of what was available, and why."""
        said = self._words()
        if self.available_kwh <= 0.0:
            return said["nothing_there"]
        why = [said[name] for name, kwh in self.by_reason_kwh.items() if round(kwh)]
        return f"{said['curtailed']}{': ' if why else ''}{', '.join(why)}"

    @property
    def words(self) -> str:
        """The headline of every paper: supplied, by what, curtailed and why, hours without."""
        said = (self.supplied_words, self.sources_words, self.fed_in_words, self.curtailed_words,
                self.hours_words)
        return "; ".join(part for part in said if part)

    @property
    def sources_words(self) -> str:
        """What grid and generator gave, and how the generator ran; empty where both gave none."""
        kwh = {"grid": self.grid_kwh, "generator": self.generator_kwh}
        given = {source: one for source, one in kwh.items() if round(one)}
        if not given:
            return ""
        ran = self.running or NO_ENGINE
        of = worded(
            "supply", "sources", grid=_whole(self.grid_kwh), generator=_whole(self.generator_kwh),
            run_h=_whole(ran.run_h), fuel_l=_whole(ran.fuel_l),
            starts=f"{grouped(str(ran.starts))} start{'' if ran.starts == 1 else 's'}",
        )  # fmt: skip
        return f"{of['of']} {', '.join(of[source] for source in given)}"

    @property
    def fed_in_words(self) -> str:
        """What was given to the grid; empty where it was nothing."""
        return self._words()["fed_in"] if round(self.fed_in_kwh) else ""

    @property
    def hours_words(self) -> str:
        """Hours without supply, and how many more they may be with modules weak in low light."""
        said = self._words()
        more = (self.essential_most_h or 0) > self.essential_h
        return said["hours"] + (said["weak_light"] if more else "")

    def _words(self) -> dict[str, str]:
        full, rate, temperature = (_whole(kwh) for kwh in self.by_reason_kwh.values())
        return worded(
            "supply", "energies", supplied=_whole(self.supplied_kwh),
            demand=_whole(self.demand_kwh), curtailed=_whole(self.curtailed_kwh),
            available=_whole(self.available_kwh),
            supplied_share=in_percent(told_share(self.supplied_kwh, self.demand_kwh)),
            curtailed_share=in_percent(told_share(self.curtailed_kwh, self.available_kwh)),
            hours=grouped(str(self.essential_h)), most=grouped(str(self.essential_most_h)),
            full=full, rate=rate, temperature=temperature, fed_in=_whole(self.fed_in_kwh),
        )  # fmt: skip


def _whole(kwh: float) -> str:
    return grouped(f"{kwh:.0f}")


@dataclass(frozen=True, kw_only=True)
class FedIn:
    """What is given to the grid in a year.

    Parameters
    ----------
    grid_kwh : float
        Alternating current, at the grid [kWh].
    bus_kwh : float
        That it is made of, at the battery's bar: otherwise it would be curtailed [kWh].
    """

    grid_kwh: float = 0.0
    bus_kwh: float = 0.0


def year_energy(
    year: SupplyRun, least: SupplyRun | None = None, fed_in: FedIn | None = None
) -> YearEnergy:
    """The energies of a year that its papers tell.

    Parameters
    ----------
    year : SupplyRun
    least : SupplyRun, optional
        The year with modules weak in low light.
    fed_in : FedIn, optional
        Of what the battery did not take, in equal parts of each reason.
    """
    fed_in, curtailed_kwh = fed_in or FedIn(), energy_kwh(year, "curtailed")
    left = max(1.0 - fed_in.bus_kwh / curtailed_kwh, 0.0) if fed_in.bus_kwh else 1.0
    return YearEnergy(
        demand_kwh=energy_kwh(year, "demand"), supplied_kwh=energy_kwh(year, "supplied"),
        available_kwh=energy_kwh(year, "available"), curtailed_kwh=left * curtailed_kwh,
        by_reason_kwh={name: left * kwh for name, kwh in curtailed_by_reason_kwh(year).items()},
        fed_in_kwh=fed_in.grid_kwh,
        essential_h=year.hours_without_supply("essential"),
        nonessential_h=year.hours_without_supply("nonessential"),
        essential_most_h=None if least is None else least.hours_without_supply("essential"),
        grid_kwh=energy_kwh(year, "grid"), generator_kwh=energy_kwh(year, "generator"),
        running=running_of(year),
    )
