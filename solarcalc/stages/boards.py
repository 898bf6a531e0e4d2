"""The two boards through the year: what is supplied, how low the battery goes."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import lru_cache
from typing import TypeVar

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check, Outcome, checked
from solarcalc.basis.keys import Same
from solarcalc.basis.no_answer import NoAnswer
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.battery.bank import Bank, bank_of, room_temp_c
from solarcalc.battery.existing_battery import bank_left_frac
from solarcalc.battery.wiring import bank_checks
from solarcalc.energy.diode import LEAST_EFFICIENCY_200_FRAC
from solarcalc.loads.days import hourly_power_w
from solarcalc.loads.peaks import Peaks, board_peaks, rating_checks, start_checks
from solarcalc.loads.phases import (
    PHASES,
    each_phase_checks,
    fits,
    on_phase,
    phase_checks,
    share_out,
    shares_of,
    voltage_checks,
)
from solarcalc.loads.shedding import shared_by_step, shed_steps
from solarcalc.loads.year import board_day_w, board_hours_w, peaks_of
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.loads import BOARDS, Appliance, Board
from solarcalc.sitefile.site import Site, SiteBoard
from solarcalc.siteyear import SiteYear
from solarcalc.supply.energy import not_supplied_frac
from solarcalc.supply.engine import engine_checks
from solarcalc.supply.run import SupplyRun, simulate
from solarcalc.supply.site import grid_checks, system_of
from solarcalc.supply.system import System
from solarcalc.wiring.runs import charger_a

Part = TypeVar("Part", str, int)
NONESSENTIAL_WAIT_FRAC = float(constant("supply.nonessential_wait_frac"))


def loads_of(own: SiteYear) -> pd.DataFrame:
    """What the boards ask for in each hour of the year [W], one column a board."""
    index = pd.DatetimeIndex(own.weather.hours.index)
    loads, folder = own.site.loads, own.sitefile.folder
    return pd.DataFrame({board: board_hours_w(loads, board, index, folder=folder)
                         for board in BOARDS})  # fmt: skip


def daily_energy_wh(own: SiteYear, board: Board) -> float:
    """Energy a board asks for on the mean day of the year [Wh/day]."""
    day_w = board_day_w(own.site.loads, board, folder=own.sitefile.folder)
    return float(day_w.sum()) / 60.0


def banks_of(own: SiteYear) -> tuple[Bank, ...]:
    """The bank of the site; of two, the essential board's and the nonessential board's."""
    return _banks_in(own.site.battery, tuple(own.site.banks.values()),
                     frozenset(own.site.battery.model_fields_set), Same(own.weather.hours),
                     bank_left_frac(own.site.battery, own.site.existing))  # fmt: skip


@lru_cache(maxsize=16)
def _banks_in(
    whole: Battery, banks: tuple[Battery, ...], _written: frozenset[str], hours: Same,
    left_frac: float,
) -> tuple[Bank, ...]:
    """The banks, made once for years of other sun or loads.

    Their temperature is a first guess, for the bank alone: the room's own year,
    `Design.room_year`, needs the losses of a supply year run with this one; whatever comes after
    the supply takes that.
    """
    temp_c = room_temp_c(whole, hours.table["temp_air"].to_numpy())
    return tuple(bank_of(battery, temp_c, left_frac) for battery in banks)


def usable_battery_wh(own: SiteYear) -> float:
    """Usable energy of all banks of the site, `Bank.usable_wh` [Wh]."""
    return sum(bank.usable_wh() for bank in banks_of(own))


def level_frac(own: SiteYear, soc_frac: float) -> float:
    """A level of the site file as the year runs on it and devices are set, [0 to 1].

    `Bank.level_frac`: lifted by the cold. Two banks are of one kind and in one room.
    """
    return banks_of(own)[0].level_frac(soc_frac)


def supply_system(own: SiteYear) -> System:
    """Banks, boards, grid and generator of the site."""
    return system_of(own.site, banks_of(own), pd.DatetimeIndex(own.weather.hours.index),
                     served_by_phase_w(own))


def served_by_phase_w(own: SiteYear) -> dict[str, np.ndarray]:
    """Most that inverters serve of a board of several phases, each within its own limit [W].

    The phases have the parts of the board's hour that the appliance list gives them, and each an
    equal part of the inverters' power; where one set of inverters serves both boards, the
    essential one comes first on each phase.
    """
    if all(board.phases == 1 for board in own.site.boards):
        return {}
    return _served_w(Same(own.site), Same(own.loads))


@lru_cache(maxsize=4)
def _served_w(of: Same, asked: Same) -> dict[str, np.ndarray]:
    """The same, made once for the years of one site: with its sun, and with weak light."""
    site: Site = of.table
    loads: pd.DataFrame = asked.table
    found = dict[str, np.ndarray]()
    for keys, lists in phase_lists(site).items():
        line_w = site.inverter_of(keys[0]).total_power_w / len(lists)
        if site.loads.variation_frac == 0.0 and all(
            sum(item.count * item.power_w for item in here) <= line_w for here in lists.values()
        ):  # fmt: skip
            continue  # not even with all of it on
        left: dict[str, np.ndarray | float] = dict.fromkeys(lists, line_w)
        for key in keys:
            served = np.zeros(len(loads))
            for phase, load_w in phase_hours_w(site, loads, key).items():
                here_w = np.minimum(load_w, left[phase])
                left[phase] = left[phase] - here_w
                served += here_w
            found[key] = served
    return found


def phase_hours_w(site: Site, loads: pd.DataFrame, board: Board) -> dict[str, np.ndarray]:
    """What is asked for on each phase of a board in each hour, together the board's own [W]."""
    (items,) = (one.appliances for one in site.boards if one.key == board)
    phases = site.loads.phases_of(board)
    shares, _ = shares_of(items, phases)
    return _parts_hours_w(loads[board], {
        phase: on_phase(items, shares, phase) for phase in PHASES[phases]})  # fmt: skip


def step_hours_w(own: SiteYear, year: SupplyRun) -> dict[int, pd.DataFrame]:
    """Load and supply of each step of the nonessential board, hour by hour, by its number [W].

    Columns ``load_w`` and ``supplied_w``; together they are the board's. Empty without steps.

    Parameters
    ----------
    own : SiteYear
    year : SupplyRun
    """
    steps = shed_steps(own.site.loads)
    if not steps:
        return {}
    demand = _parts_hours_w(own.loads["nonessential"],
                            {step.number: list(step.appliances) for step in steps})  # fmt: skip
    supplied = shared_by_step(demand, year.hours["nonessential_supplied_w"].to_numpy())
    return {number: pd.DataFrame({"load_w": demand[number], "supplied_w": supplied[number]},
                                 index=year.hours.index) for number in demand}  # fmt: skip


def _parts_hours_w(
    board_w: pd.Series, lists: Mapping[Part, Sequence[Appliance]]
) -> dict[Part, np.ndarray]:
    """The hours of parts of a board, as its list divides them; together the board's own [W]."""
    index = pd.DatetimeIndex(board_w.index)
    parts = {key: hourly_power_w(items, index).to_numpy() for key, items in lists.items()}
    listed, whole = sum(parts.values()), board_w.to_numpy()
    scale = np.divide(whole, listed, out=np.zeros(len(index)), where=listed > 0.0)
    return {key: part * scale for key, part in parts.items()}


def supply_of_sun(own: SiteYear, bus_w: pd.Series) -> SupplyRun:
    """The site's year under another sun, offered at the battery bus [W].

    `bus_w`: shape (8760,), a value for each hour.
    """
    return simulate(bus_w, own.loads, supply_system(own))


def autonomy_days(own: SiteYear) -> float:
    """Days the full bank carries the essential board alone, down to the reserve.

    The inverter's loss and idle draw are counted, and the cold of the battery's coldest month
    (`Bank.cold_frac`). Drawn so slowly, a lead-acid bank gives all it holds.

    Raises
    ------
    NoAnswer
        When neither the board nor its inverter draws anything: the days would have no end.
    """
    inverter = own.site.inverter_of("essential")
    daily_wh = daily_energy_wh(own, "essential") / inverter.efficiency_frac
    daily_wh += 24.0 * inverter.total_no_load_w
    if daily_wh <= 0.0:
        raise NoAnswer(**worded("stages", "no-autonomy"))
    return banks_of(own)[0].usable_wh() / daily_wh


def autonomy_checks(own: SiteYear) -> list[Check]:
    """Nothing to check but that there is an answer."""
    autonomy_days(own)
    return []


def board_checks(own: SiteYear, year: SupplyRun) -> list[Check]:
    """Checks of both boards and of the bank through the year."""
    dark = year.hours_without_supply("essential")
    waits = not_supplied_frac(year, "nonessential")
    spell = year.longest_without_supply_h("essential")
    checks = [
        Check(
            **worded("stages", "essential-board-without", dark=dark, spell=spell),
            outcome=_essential_outcome(dark),
            remedy="" if dark == 0 else "more battery capacity, more modules, or loads shifted"
                                        " to daytime",
        ),
        checked(waits <= NONESSENTIAL_WAIT_FRAC, **worded(
            "stages", "nonessential-board-s", waits=100.0 * waits,
            nonessential_wait_percent=100.0 * NONESSENTIAL_WAIT_FRAC,
        )),
    ]
    peaks_by = {board.key: peaks_of(own.site.loads, board.key, folder=own.sitefile.folder)
                for board in own.site.boards}
    for board in own.site.boards:
        checks += _rating_checks(board, peaks_by[board.key])
        checks += start_checks(board.key, board.appliances)
        checks += voltage_checks(board.key, board.appliances, own.site.supply.ac_voltage_v)
        checks += _phase_checks(own, board)
    checks += _shared_inverter_checks(own)
    checks += _each_phase_checks(own)
    checks += _output_checks(own)
    checks += engine_checks(own.site, year, float(own.weather.hours["temp_air"].max()),
                            essential_peak_w=peaks_by["essential"].power_w)
    checks += grid_checks(own.site)
    checks += bank_checks(
        own.site.battery, [one.controller for one in own.site.sites], charger_a(own.site))
    return checks + _closing_check(year)


def inverter_checks(own: SiteYear, boards: Collection[Board] = BOARDS) -> list[Check]:
    """Checks of whether inverters bear the boards that they serve, of those asked for.

    One inverter for both boards is looked at with both.
    """
    asked = [board for board in own.site.boards
             if board.key in boards or own.site.supply.one_inverter]  # fmt: skip
    checks = []
    for board in asked:
        peaks = peaks_of(own.site.loads, board.key, folder=own.sitefile.folder)
        checks += [*_rating_checks(board, peaks), *_phase_checks(own, board)]
    return [*checks, *_shared_inverter_checks(own),
            *_each_phase_checks(own, {board.key for board in asked})]  # fmt: skip


def _rating_checks(board: SiteBoard, peaks: Peaks) -> list[Check]:
    inverter = board.inverter
    return rating_checks(board.key, peaks, inverter.total_power_w, inverter.total_surge_va)


def _phase_checks(own: SiteYear, board: SiteBoard) -> list[Check]:
    if board.phases == 1:
        return []
    return phase_checks(
        board.key, share_out(board.appliances, board.phases), line_v=own.site.supply.ac_voltage_v,
        line_w=board.inverter.total_power_w / board.phases,
    )  # fmt: skip


def weak_light_checks(year: SupplyRun, least: SupplyRun | None) -> list[Check]:
    """Whether the essential board's verdict holds where the modules are weak in low light.

    Parameters
    ----------
    year : SupplyRun
    least : SupplyRun or None
        The same year with the least usual efficiency at 200 W/m2; None where the sheet has its
        own: nothing is asked then.
    """
    if least is None:
        return []
    dark, most = (one.hours_without_supply("essential") for one in (year, least))
    most = max(dark, most)
    same = _essential_outcome(most) == _essential_outcome(dark)
    return [checked(same, evidence="assumed", **worded(
        "stages", "weak-light", dark=dark, most=most, least=float(LEAST_EFFICIENCY_200_FRAC),
    ))]  # fmt: skip


def _shared_inverter_checks(own: SiteYear) -> list[Check]:
    """Whether an inverter that serves both boards bears them together; each by itself is no test.

    Nothing where a board was measured: the two profiles do not tell what runs at once.
    """
    boards, loads = own.site.boards, own.site.loads
    if not own.site.supply.one_inverter or loads.essential_profile or loads.nonessential_profile:
        return []
    inverter = boards[0].inverter
    both = board_peaks([item for board in boards for item in board.appliances])
    return rating_checks(
        " and ".join(board.key for board in boards), both, inverter.total_power_w,
        inverter.total_surge_va,
    )  # fmt: skip


def phase_lists(site: Site) -> dict[tuple[Board, ...], dict[str, list[Appliance]]]:
    """Appliances on each phase, by the boards that share their inverters; nothing of one phase.

    Nothing of a board that was measured: its profile does not tell the phases.
    """
    boards, loads = site.boards, site.loads
    groups = [boards] if site.supply.one_inverter else [(board,) for board in boards]
    found = {}
    for group in groups:
        measured = any(getattr(loads, f"{board.key}_profile") for board in group)
        if measured or group[0].phases == 1:
            continue
        shares = {board.key: shares_of(board.appliances, board.phases)[0] for board in group}
        found[tuple(board.key for board in group)] = {
            phase: [item for board in group
                    for item in on_phase(board.appliances, shares[board.key], phase)]
            for phase in PHASES[group[0].phases]
        }  # fmt: skip
    return found


def _output_checks(own: SiteYear) -> list[Check]:
    """Whether inverters are made for the voltage of the boards, where their plate is entered."""
    line_v = own.site.supply.ac_voltage_v
    return [
        checked(fits(inverter.output_voltage_v, line_v), "failed", **worded(
            "stages", "output-voltage", board=board, plate_v=inverter.output_voltage_v,
            line_v=line_v,
        ))
        for board, inverter in own.site.inverters.items() if inverter.output_voltage_v is not None
    ]  # fmt: skip


def _each_phase_checks(own: SiteYear, boards: Collection[Board] = BOARDS) -> list[Check]:
    checks = []
    for keys, lists in phase_lists(own.site).items():
        if set(keys).isdisjoint(boards):
            continue
        inverter, phases = own.site.inverter_of(keys[0]), len(lists)
        checks += each_phase_checks(" and ".join(keys), lists, inverter.total_power_w / phases,
                                    inverter.total_surge_va / phases)  # fmt: skip
    return checks


def _closing_check(year: SupplyRun) -> list[Check]:
    """A caution where the year's end does not meet its start; nothing where it does."""
    gap = year.closing_gap_frac
    if abs(gap) <= OPEN_YEAR_FRAC:
        return []
    return [
        Check(outcome="review", **worded(
            "stages", "charge-end-year", gap=100.0 * gap, open_year_percent=100.0 * OPEN_YEAR_FRAC,
        ))
    ]


OPEN_YEAR_FRAC = float(constant("supply.open_year_frac"))


def _essential_outcome(dark_h: int) -> Outcome:
    if dark_h == 0:
        return "passed"
    return "review" if dark_h <= ESSENTIAL_WITHOUT_SUPPLY_H else "failed"


ESSENTIAL_WITHOUT_SUPPLY_H = int(constant("supply.essential_without_supply_h"))
