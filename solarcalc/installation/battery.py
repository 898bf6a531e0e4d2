"""Parts of the battery: units, links, rack, busbars; its main conductors and string leads."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.basis.sourced import FROM_MEMORY, constant
from solarcalc.basis.worded import worded
from solarcalc.battery.wiring import wiring_of
from solarcalc.installation.records import (
    Bought,
    Chosen,
    Installation,
    Label,
    Part,
    battery_bought,
)
from solarcalc.powerroom.ways import rounded_up_m
from solarcalc.protection.banks import Bank, bar_for, string_fault_a
from solarcalc.protection.case import board_of
from solarcalc.protection.faults import fuse_clear_s
from solarcalc.protection.plan import FaultHeat
from solarcalc.wiring.choose import drop_check, money_of, safe_and_cheapest
from solarcalc.wiring.conductors import LONGEST_S, least_for_run_mm2
from solarcalc.wiring.runs import Run, SizedRun

LEAD_M = constant("installation.battery_lead_m")


def battery_parts(chosen: Chosen) -> Iterator[Part]:
    """Units, links, bars and rack of every bank."""
    site = chosen.site
    for bank in chosen.plan.banks:
        battery = site.banks[bank.board or "shared"]
        words, board = bank.words, bank.board
        yield Part(
            key=bank.key("battery"), kind="battery", name=f"{battery.label}, {words}",
            count=battery.unit_count, place="power room", board=board, work="battery_unit",
            drawn_on=("single-line",), tests=("unit", "torque"), where="on its rack",
            bought=battery_bought(battery),
            labels=_signs(chosen, words),
        )  # fmt: skip
        links = wiring_of(battery).series_links
        if links:
            yield Part(
                key=bank.key("battery-link"), kind="battery-link", count=links,
                name=f"Link between units, {words}", place="power room", board=board,
                where="from unit to unit", bought=Bought(item="battery-link"),
                work="battery_link", tests=("links",),
            )  # fmt: skip
        yield from _bars(bank)
    racks = len(chosen.layout.of_kind("rack"))
    yield Part(
        key="rack", kind="rack", name="Battery rack", count=max(racks, 1), place="power room",
        where="wall of the racks", drawn_on=("room", "earthing"), earthed=True,
        bought=Bought(item="rack"),
    )  # fmt: skip


def _bars(bank: Bank) -> Iterator[Part]:
    """Plus and minus bar that everything hangs on, and those that strings are joined at."""
    bar = bar_for(bank.bar_a)
    rated_a = bar.rated_a if bar else bank.bar_a
    several = bank.fault.strings > 1
    for key, name, there in (("busbar", "Busbars, positive and negative", True),
                             ("string-bar", "Busbars of the strings, positive and negative",
                             several)):
        if there:
            yield Part(
                key=bank.key(key), kind="busbar", name=f"{name}, {bank.words}", count=2,
                place="power room", where="in a closed box on the wall, as drawn in the power room",
                rated_a=rated_a,
                board=bank.board, work="device",
                drawn_on=("single-line",) if key == "busbar" else (),
                bought=Bought(item="busbar", very=f"{rated_a:.0f}a", words=f"{rated_a:.0f} A"
                              + (f", copper {bar.words}" if bar else ""), size=round(rated_a)),
            )  # fmt: skip


def _signs(chosen: Chosen, words: str) -> tuple[Label, ...]:
    battery = chosen.site.battery
    danger = battery.traits.words.sign
    return (Label(
        label="Sign 6", words=f"Battery {battery.nominal_voltage_v:.0f} V: stays live whatever is"
        f" switched; a short circuit burns; {danger}",
        where=f"door of the battery room, and at the {words}", count=2,
        rule=f"IEC 62485-2 clause on marking, {FROM_MEMORY}",
    ),)  # fmt: skip


def battery_cables(chosen: Chosen) -> Iterator[tuple[Bank, str, SizedRun]]:
    """Main conductors and string leads of each bank with their size, by what they are.

    As long as their way along the walls of the room, and no shorter than usual; as large as their
    fuse asks, their drop, and the short circuit until that fuse has cleared it.

    Raises
    ------
    InputError
        Where no conductors in parallel carry the bank's fuse.
    """
    for bank in chosen.plan.banks:
        drawn_a = sum(each.run.count * each.run.design_a for each in bank.inverters)
        main_a = max(drawn_a, bank.charging_a)
        strings = bank.fault.strings
        yield bank, "battery_main", _sized(
            chosen, bank, "battery_main", main_a, bank.fuse_a, 1)
        if strings > 1:
            yield bank, "battery_string", _sized(
                chosen, bank, "battery_string", main_a / max(strings - 1, 1), bank.string_fuse_a,
                strings)  # fmt: skip


def _length_m(chosen: Chosen, key: str) -> float:
    """Of a main conductor or string lead by the places of what it joins, at least the usual [m]."""
    way_m = chosen.layout.ways_m.get(key, 0.0)
    return max(float(LEAD_M), rounded_up_m(way_m))


def _sized(
    chosen: Chosen, bank: Bank, key: str, design_a: float, fuse_a: float | None, count: int,
) -> SizedRun:  # fmt: skip
    like = next(one for one in chosen.sized if one.run.key.startswith("battery_inverter")
                and board_of(one.run.key, "battery_inverter") == (bank.board or "essential"))
    names = {"battery_main": ("Battery to its busbars", "battery", "bars"),
             "battery_string": ("Battery string to its busbars", "string of units", "bars")}
    name, start, end = names[key]
    board = f", {bank.board} board" if bank.board else ""
    run = replace(
        like.run, key=bank.key(key), name=f"{name}{board}", start=f"{start}{board}", end=end,
        count=count, design_a=design_a, lasting_a=design_a, device="dc-fuse" if fuse_a else "none",
        hourly_a=np.zeros(1), length_m=_length_m(chosen, bank.key(key)), length_given=False,
        method="C",
        grouped_circuits=count, alike=count, company_mm2=(), size_mm2=None, in_parallel=1,
    )  # fmt: skip
    heat = lead_heat((bank,), run)
    least = least_for_run_mm2(run, *heat) if heat else 0.0
    for limit_frac in (run.drop_limit_frac, math.inf):  # too long a way: `lead_checks` tells it
        try:
            sized, _ = safe_and_cheapest(
                replace(run, drop_limit_frac=limit_frac), money_of(chosen.site),
                sizes=chosen.site.cables.sizes, least_mm2=least, device_a=fuse_a,
            )  # fmt: skip
            return replace(sized, run=run)
        except InputError as error:
            refused = error
    raise InputError([
        replace(fault, where="battery.units_in_series",
                remedy=worded("protection", "made")["remedy"])
        for fault in refused.faults
    ]) from refused  # fmt: skip


def lead_heat(banks: Iterable[Bank], run: Run) -> FaultHeat | None:
    """Short circuit that heats a battery's conductor most: current [A], until it is cleared [s].

    None where no fuse clears it, and for a run that is neither main conductor nor string lead.

    Parameters
    ----------
    banks : iterable of Bank
    run : Run
    """
    for bank in banks:
        string = run.key == bank.key("battery_string")
        fuse_a = bank.string_fuse_a if string else bank.fuse_a
        if fuse_a and run.key in (bank.key("battery_main"), bank.key("battery_string")):
            part = string_fault_a(bank) / bank.fault.bars_a if string else 1.0
            faults_a = [part * fault_a for fault_a in bank.fault.ends_a(0.0)]
            return max(((fault_a, fuse_clear_s(fuse_a, fault_a) or LONGEST_S)
                        for fault_a in faults_a), key=lambda heat: least_for_run_mm2(run, *heat))
    return None


def lead_checks(built: Installation) -> Iterator[Check]:
    """Conductors of a battery that drop more than they may on their way through the room."""
    for one in built.conductors:
        lead = one.sized if one.key.startswith(("battery_main", "battery_string")) else None
        if lead is not None and lead.drop_frac > lead.run.drop_limit_frac:
            yield drop_check(lead)
