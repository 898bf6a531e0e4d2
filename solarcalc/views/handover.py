"""The facts of the customer's report out of a design and its year."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Literal

import numpy as np
import pandas as pd

from solarcalc.battery.bank import Bank
from solarcalc.battery.existing_battery import bank_left_frac
from solarcalc.battery.kinetic import capacity_share
from solarcalc.design import Design
from solarcalc.loads.year import appliances_of, board_day_w
from solarcalc.report.handover_facts import (
    EVENING_H,
    LONGEST_H,
    NIGHT_H,
    ApplianceFacts,
    BoardFacts,
    CustomerFacts,
    Part,
    SwitchFacts,
    WarrantyRow,
    lasting_h,
)
from solarcalc.sitefile.dangers import dangers_of
from solarcalc.sitefile.exposure import measures_of
from solarcalc.sitefile.loads import Appliance, Board
from solarcalc.sitefile.programme import day_of
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.supply import Inverter
from solarcalc.stages.battery_life import told_years
from solarcalc.stages.boards import banks_of, usable_battery_wh
from solarcalc.stages.files import there
from solarcalc.stages.serials import KINDS, Position, Serial, positions_of, serials_of
from solarcalc.supply.energy import energy_by_month_kwh, energy_w, reaching_frac
from solarcalc.wiring.runs import stem_of

_ROUNDS = 30
"""Turns in which a fast discharge and what a lead-acid bank gives at that pace agree."""


def customer_facts(design: Design) -> CustomerFacts:
    """What the customer is told, from the site as built."""
    year, year_energy = design.supply, design.year_energy
    site, banks = design.site, banks_of(design)
    battery = site.battery
    return CustomerFacts(
        site_name=site.site.name, customer=site.site.customer,
        module_count=site.module_count, array_w=site.array_w,
        battery=battery.traits,
        unit_count=battery.unit_count,
        full_wh=sum(one.rated_wh for one in site.banks.values())
        * bank_left_frac(battery, site.existing),
        usable_wh=usable_battery_wh(design),
        supplied_kwh=year_energy.supplied_kwh,
        boards=_boards(design, banks),
        one_inverter=site.supply.one_inverter,
        separate_banks=site.supply.separate_banks,
        fills=fills(design), grid=site.grid.there, generator_w=site.generator.power_w,
        changeover=site.protection.changeover, stamps=_stamps(design),
        switching_off=tuple(
            (step, tuple(SwitchFacts(tag=part.tag, place=part.place) for part in parts))
            for step, parts in design.installation.switched_by_hand),
        nonessential_off_frac=banks[0].level_frac(battery.nonessential_shed_frac),
        nonessential_on_frac=banks[0].level_frac(battery.nonessential_return_frac),
        given_kwh=_by_month_kwh(energy_w(year, "available") * reaching_frac(year)),
        needed_kwh=_by_month_kwh(energy_w(year, "demand")),
        unsupplied_h=_unsupplied_h(design),
        cleaning_months=tuple(sorted({int(day[:2]) for day in site.soiling.cleaning_dates})),
        dangers=tuple(key for one in dangers_of(site) for key in one.booklet),
        care=tuple(key for one in measures_of(site) for key in one.booklet),
        handed_over=signed_on(design, "BK"), battery_years=told_years(design.life),
    )  # fmt: skip


def booklet_facts(design: Design) -> CustomerFacts:
    """The same with the warranties of what was fitted; a quote has none yet.

    Raises
    ------
    InputError
        With every fault of the list of serial numbers.
    """
    return replace(customer_facts(design), warranty=_warranty(design))


def _unsupplied_h(design: Design) -> tuple[float, ...]:
    """Hours of each month in which the essential board gets less than it asks for [h]."""
    hours = design.supply.without_supply("essential").astype(float)
    return tuple(1000.0 * one for one in _by_month_kwh(hours))


def _by_month_kwh(hours_w: pd.Series) -> tuple[float, ...]:
    sums = energy_by_month_kwh(hours_w).iloc[:, 0]
    return tuple(float(sums.get(month, 0.0)) for month in range(1, 13))


def _drawn_w(design: Design, board: Board) -> list[float]:
    """Draw of a board at the battery in each clock hour of the mean day, inverter's own too [W]."""
    inverter = design.site.inverter_of(board)
    minutes = np.asarray(board_day_w(design.site.loads, board, folder=design.sitefile.folder))
    hours = minutes.reshape(24, 60).mean(axis=1) / inverter.efficiency_frac
    shared = board == "nonessential" and design.site.supply.one_inverter
    return [float(one) + (0.0 if shared else inverter.total_no_load_w) for one in hours]


def _stamps(design: Design) -> tuple[str, ...]:
    """What is no booklet yet: of invented equipment, of a system that fails or was not tested."""
    untested = not design.site.commissioning.results
    return (*(["stamp_example"] if "equipment" in design.example_of else []),
            *(["stamp_draft"] if design.blocking or untested else []))  # fmt: skip


def _boards(design: Design, banks: tuple[Bank, ...]) -> tuple[BoardFacts, ...]:
    essential, nonessential = _drawn_w(design, "essential"), _drawn_w(design, "nonessential")
    starts = (EVENING_H, NIGHT_H)
    if not fills(design):
        times = [[math.nan] * len(starts)] * 2
    elif len(banks) == 2:
        times = [[_alone_h(draw, bank, bank.min_soc_frac, start) for start in starts]
                 for draw, bank in ((essential, banks[0]), (nonessential, banks[1]))]  # fmt: skip
    else:
        pairs = [_together_h(essential, nonessential, banks[0],
                             design.site.battery.nonessential_shed_frac, start)
                 for start in starts]  # fmt: skip
        times = [[pair[0] for pair in pairs], [pair[1] for pair in pairs]]
    return (_board(design, "essential", banks[0], times[0]),
            _board(design, "nonessential", banks[-1], times[1]))  # fmt: skip


FULL_FRAC = 0.9
"""A bank that is never charged so far is told to be never full; common practice, no source."""


def fills(design: Design) -> bool:
    """Whether each bank is full at some hour of the year: times on a full one are told of it."""
    run = design.supply
    return all(
        float(run.banks[name]["stored_wh"].max()) >= FULL_FRAC * bank.capacity_wh
        for name, bank in zip(run.banks, run.system.banks, strict=True)
    )


def _board(design: Design, board: Board, bank: Bank, times_h: list[float]) -> BoardFacts:
    site = design.site
    if not float(design.supply.hours[f"{board}_load_w"].sum()) > 0.0:
        times_h = [math.nan] * len(times_h)
    inverter = site.inverter_of(board)
    shed = board == "nonessential" and not site.supply.separate_banks
    floor = site.battery.nonessential_shed_frac if shed else bank.min_soc_frac
    measured = bool(getattr(site.loads, f"{board}_profile"))
    return BoardFacts(
        board=board, tag=design.installation.by_key[f"board-{board}"].tag,
        inverter_w=inverter.total_power_w, inverter_count=inverter.count,
        phase_w=inverter.total_power_w / site.loads.phases_of(board) if inverter.one_a_phase
        else 0.0,
        evening_h=times_h[0], night_h=times_h[1], measured=measured,
        appliances=() if measured else tuple(
            _appliance(item, inverter, _no_load_w(site, board), bank, floor,
                       fills(design)) for item in appliances_of(site.loads, board)),
    )  # fmt: skip


def _no_load_w(site: Site, board: Board) -> float:
    """What inverters draw idle while only one thing is in use: the first board's never sleeps."""
    if board == "nonessential" and site.supply.layout == "shared-bank":
        return sum(inverter.total_no_load_w for inverter in site.inverters.values())
    return site.inverter_of(board).total_no_load_w


def _appliance(
    item: Appliance, inverter: Inverter, no_load_w: float, bank: Bank, floor: float,
    full: bool,
) -> ApplianceFacts:  # fmt: skip
    running = item.power_w * item.count * item.duty_frac / inverter.efficiency_frac
    runs_h = _alone_h([running + no_load_w] * 24, bank, floor, 0) if full else math.nan
    return ApplianceFacts(name=item.name, count=item.count, runs_h=runs_h)


def _alone_h(draw_w: list[float], bank: Bank, floor_frac: float, start: int) -> float:
    """Hours a full bank carries one draw down to `floor_frac`; a fast one gets less of lead."""
    whole = bank.usable_wh(floor_frac)
    hours = lasting_h(draw_w, whole, from_hour=start)
    for _ in range(_ROUNDS if math.isfinite(hours) else 0):
        again = lasting_h(draw_w, min(whole, _paced_wh(bank, hours)), from_hour=start)
        if abs(again - hours) < 0.01:
            return again
        hours = again
    return hours


def _paced_wh(bank: Bank, hours: float) -> float:
    """What a bank gives within so many hours, by its two wells [Wh]."""
    if bank.available_frac >= 1.0:
        return math.inf
    share = float(capacity_share(max(hours, 0.05), bank.available_frac, bank.exchange_per_h))
    return bank.usable_wh(0.0) * share


def _together_h(
    essential_w: list[float], nonessential_w: list[float], bank: Bank, off_frac: float, start: int
) -> tuple[float, float]:
    """Hours of the first and of the second board, both in use, the second off at `off_frac`."""
    both = [one + other for one, other in zip(essential_w, nonessential_w, strict=True)]
    nonessential_h = _alone_h(both, bank, max(off_frac, bank.min_soc_frac), start)
    if not math.isfinite(nonessential_h):
        return math.inf, math.inf
    spent = _spent_wh(both, nonessential_h, start)
    left = bank.usable_wh() - spent
    first = int(nonessential_h)
    into = nonessential_h - first
    rest = lasting_h(essential_w, max(0.0, left) + into * essential_w[(start + first) % 24],
                     from_hour=(start + first) % 24)  # fmt: skip
    total = first + rest
    return (total if total <= LONGEST_H else math.inf), nonessential_h


def _spent_wh(draw_w: list[float], hours: float, start: int) -> float:
    whole = int(hours)
    sums = sum(draw_w[(start + step) % 24] for step in range(whole))
    return sums + (hours - whole) * draw_w[(start + whole) % 24]


def _warranty(design: Design) -> tuple[WarrantyRow, ...]:
    """A line for each part, with what the list of serial numbers has of it."""
    site, built = design.site, design.installation
    fitted = serials_of(design) if there(design.sitefile.folder / site.handover.serials) else {}
    names: dict[str, Part] = {
        "battery": "part_battery", "inverter-essential": "part_inverter_essential",
        "inverter-nonessential": "part_inverter_nonessential", "controller": "part_controller",
        "generator": "part_generator",
    }  # fmt: skip
    positions = positions_of(built)
    modules = [one for one in positions if one.kind == "module"]
    rows = [replace(_warranty_row("part_panels", site.module.label, modules, fitted),
                    own=_own(design, "module"))]  # fmt: skip
    for part in built.of_kind(*KINDS):
        name = names["battery" if part.kind == "battery" else stem_of(part.key)]
        if part.kind == "inverter" and site.supply.one_inverter:
            name = "part_inverter"
        label = "" if part.kind == "generator" else \
            site.battery.label if part.kind == "battery" else part.name
        own = [one for one in positions if one.name.partition(".")[0] == part.tag]
        rated_w = site.inverter_of(part.board).continuous_power_w \
            if part.kind == "inverter" else None
        rows.append(replace(_warranty_row(name, label, own, fitted),
                            own=_own(design, part.kind, rated_w)))  # fmt: skip
    return (*rows, WarrantyRow(part="part_mounting"), WarrantyRow(part="part_work"))


def _warranty_row(
    part: Part, label: str, positions: Sequence[Position], fitted: Mapping[str, Serial]
) -> WarrantyRow:
    found = [fitted[one.name] for one in positions if one.name in fitted]
    models = dict.fromkeys(one.model for one in found if one.model)
    ends = [one.warranty_until for one in found if one.warranty_until]
    return WarrantyRow(
        part=part, label=", ".join(models) or label,
        count=len(positions), serials=tuple(one.serial for one in found if one.serial),
        until=min(ends) if ends and len(ends) == len(positions) else None,
    )  # fmt: skip


def _own(design: Design, item: str, rated_w: float | None = None) -> Literal["", "some", "all"]:
    """How much of an item of the bill, of a rating, was the customer's before."""
    lines = [line for line in design.bill if line.item == item
             and (rated_w is None or abs(line.size - rated_w) < 1.0)]  # fmt: skip
    owned = [line.owned != "" for line in lines]
    return "all" if lines and all(owned) else "some" if any(owned) else ""


def signed_on(design: Design, what: str) -> date | None:
    """The day on which something was signed, by its key of data/signatures.csv; None before."""
    return next((day_of(one.date) for one in design.site.status.signed if one.what == what), None)
