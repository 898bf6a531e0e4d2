"""What goes on the van by crew and day: the bill's things by task, loose material by allowance."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from solarcalc.basis.files import data_rows
from solarcalc.basis.quantity import in_quantity
from solarcalc.basis.text import capital
from solarcalc.installation.records import Conductor, Installation
from solarcalc.installation.schedules import work_of
from solarcalc.programme.days import day_words
from solarcalc.programme.schedule import Planned, Schedule
from solarcalc.quote.bill import CUSTOMERS_OWN, BillLine, rounded_up, size_key, unit_words
from solarcalc.sitepack.trenches import trenches_of

Row = dict[str, object]
STEPS = {"each": 1.0, "m": 1.0, "l": 1.0}
"""Least that is loaded, by unit; 0.1 of all others."""
LOADED_NOT = ("trench", "digging", "plastering")
"""Items of the bill that are work alone."""
PICK_COLUMNS = ("day", "crew", "task", "what", "quantity", "unit", "from")


@dataclass(frozen=True, kw_only=True)
class Pick:
    """What is loaded of one thing on one day.

    Parameters
    ----------
    day : date
    crew, task : str
        The task in words.
    key : str
        Of the line of the bill; empty for loose material.
    name : str
    quantity : float
        In its unit.
    unit : str
    note : str
    """

    day: date
    crew: str
    task: str
    key: str
    name: str
    quantity: float
    unit: str
    note: str = ""


def picks_of(
    built: Installation, bill: Sequence[BillLine], schedule: Schedule
) -> tuple[Pick, ...]:
    """Everything by day: a thing of the bill is loaded with its task, bulky ones day by day.

    Parameters
    ----------
    built : Installation
    bill : sequence of BillLine
    schedule : Schedule
        Of this site alone.

    Returns
    -------
    tuple of Pick
        Of each line of the bill they add up to its quantity, cable to the next whole metre of
        each kind; in the order of days and tasks.
    """
    found = [*_of_bill(built, bill, schedule), *_loose(built, bill, schedule)]
    order = [one.task.name for one in schedule.planned]
    return tuple(sorted(found, key=lambda one: (one.day, order.index(one.task), not one.key)))


def cable_words(one: Conductor) -> str:
    """What a conductor is on the drum: kind of cable, where it is for, and its colours."""
    if "EN 50618" in one.insulation:
        return one.insulation
    if one.current == "surge":
        return "leads of surge devices"
    if one.current == "ac":
        return f"{one.insulation}, AC, line and neutral colours"
    battery = "battery" in one.key
    return f"{'battery' if battery else 'DC'}, + and − marked"


PROTECTIVE = "protective conductor, green-yellow"


def _by_cable(built: Installation, line: BillLine) -> Iterator[BillLine]:
    """A line of cable of the bill by kind of cable: the same size is not the same cable.

    Each is cut from a drum of its own, so each is rounded up to the whole metre.
    """
    metres: dict[str, float] = defaultdict(float)
    for one in built.conductors if line.item.startswith("cable-") else ():
        if one.current == "earth" or one.material != line.item.removeprefix("cable-"):
            continue
        for (name, _), core_m in one.metres_by_size.items():
            if line.key != f"{line.item}-{size_key(name)}":
                continue
            own = one.count * one.length_m if "PE" in one.functions else 0.0
            own = min(own, core_m) if name == one.size_name and not one.own_size else (
                core_m if name != one.size_name else 0.0)  # fmt: skip
            metres[PROTECTIVE] += own
            metres[cable_words(one)] += core_m - own
    whole, step = sum(metres.values()), STEPS.get(line.unit, 0.1)
    kinds = {kind: length_m for kind, length_m in metres.items() if length_m > 0.0}
    if not kinds:
        yield line
    for kind, length_m in kinds.items():
        yield replace(line, name=f"{line.name}, {kind}",
                      quantity=rounded_up(line.quantity * length_m / whole, step))  # fmt: skip


def _by_kind(built: Installation, line: BillLine) -> Iterator[BillLine]:
    """A line of the bill by what is loaded: cables of one size, conduits and ducts of one size."""
    if line.item != "duct":
        yield from _by_cable(built, line)
        return
    metres: dict[str, float] = defaultdict(float)
    for route in built.routes:
        if route.duct is not None and line.key == f"duct-{route.duct.outer_mm:g}mm":
            metres[capital(route.duct.words)] += route.duct_m
    left_m, left = line.quantity, sum(metres.values())
    for words, duct_m in sorted(metres.items(), key=lambda one: one[1]):  # the longest last
        share_m = min(rounded_up(left_m * duct_m / left, 1.0), left_m)
        left_m, left = left_m - share_m, left - duct_m
        if share_m > 0.0:
            yield replace(line, name=words, quantity=share_m)


def loaded_lines(built: Installation, bill: Sequence[BillLine]) -> Iterator[BillLine]:
    """Lines of a bill as they are bought and loaded: cable by its kind, whole steps of each.

    Parameters
    ----------
    built : Installation
    bill : sequence of BillLine
    """
    for line in (part for whole in bill for part in _by_kind(built, whole)):
        yield replace(line, quantity=rounded_up(line.quantity, STEPS.get(line.unit, 0.1)))


def _of_bill(built: Installation, bill: Sequence[BillLine], schedule: Schedule) -> Iterator[Pick]:
    rules = {row["item"]: row for row in data_rows("loading")}
    for line in loaded_lines(built, bill):
        rule = rules[line.item]
        one = _planned(schedule, rule["tasks"].split())
        yield from _shared_out(
            days_of(one, schedule) if rule["shared"] == "yes" else {one.start.date(): 1.0},
            Pick(day=one.start.date(), crew=one.crew, task=one.task.name, key=line.key,
                 name=line.name, quantity=line.quantity, unit=line.unit,
                 note="work: nothing to load" if line.item in LOADED_NOT
                 else f"on site already: {CUSTOMERS_OWN}" if line.owned else ""),
        )  # fmt: skip


def _planned(schedule: Schedule, keys: Sequence[str]) -> Planned:
    """The first of some tasks that the programme has, else its first task."""
    found = (one for key in keys if (one := schedule.at(key)) is not None)
    return next(found, schedule.planned[0])


def days_of(one: Planned, schedule: Schedule) -> dict[date, float]:
    """Hours of a task by day; its day with 1 where it takes no time.

    In person-hours [h].
    """
    works = next(site for site in schedule.sites if site.name == one.site)
    hours: dict[date, float] = defaultdict(float)
    for begin, end in works.calendar.spells(one.start, one.finish):
        hours[begin.date()] += (end - begin).total_seconds() / 3600.0
    return dict(hours) or {one.start.date(): 1.0}


def _shared_out(hours: dict[date, float], whole: Pick) -> Iterator[Pick]:
    """A quantity over the days of its task by hours: never too late, and no more than all."""
    step = STEPS.get(whole.unit, 0.1)
    done_h, loaded, last = 0.0, 0.0, max(hours)
    for day, spell_h in hours.items():
        done_h += spell_h
        steps = math.ceil(whole.quantity * done_h / sum(hours.values()) / step - 1e-9)
        due = whole.quantity if day == last else min(whole.quantity, steps * step)
        if due - loaded > 1e-9:
            yield replace(whole, day=day, quantity=round(due - loaded, 6))
        loaded = due


def _loose(
    built: Installation, bill: Sequence[BillLine], schedule: Schedule
) -> Iterator[Pick]:
    counted = counted_of(built, bill)
    for row in data_rows("loose_material"):
        quantity, one = float(row["each"]) * counted.get(row["per"], 0.0), schedule.at(row["task"])
        if quantity > 0.0 and one is not None:
            step = STEPS.get(row["unit"], 0.1)
            yield Pick(
                day=one.start.date(), crew=one.crew, task=one.task.name, key="",
                name=row["material"], quantity=round(math.ceil(quantity / step - 1e-9) * step, 6),
                unit=row["unit"], note=row["note"],
            )  # fmt: skip


def counted_of(built: Installation, bill: Sequence[BillLine]) -> dict[str, float]:
    """What allowances are counted by: items of the bill, work, ends, kinds of fuses.

    A number of each.
    """
    found: dict[str, float] = {"site": 1.0}
    for line in bill:
        found[line.item] = found.get(line.item, 0.0) + line.quantity
    found["sand_m3"] = sum(trench.fill_sand_m3 for trench in trenches_of(built))
    work = work_of(built)
    found |= {key: work[key] for key in ("trench_m", "duct_m", "cable_m", "earth_m")}
    found["device"] = work.get("device", 0.0)
    found["tile_foot"] = sum(line.quantity for line in bill if line.key == "roof-foot-hook")
    found["duct_run"] = float(sum(route.duct_count for route in built.routes))
    found["earth_end"] = float(sum(2 * one.count for one in built.earths))
    found["cable_end"] = float(sum(2 * one.count for one in built.cables))
    found["bare_end"] = float(sum(
        2 * one.cores * one.count for one in built.cables if one.lug_count == 0
    ))  # fmt: skip
    fuses = built.of_kind("fuse")
    found["fuse_kind"] = float(len({(part.rated_a, part.device) for part in fuses}))
    return found


def pick_rows(picks: Sequence[Pick]) -> list[Row]:
    """The pick list, with boxes to tick and for serial numbers."""
    numbered = ("module", "inverter", "controller", "battery", "generator")
    return [
        {
            "day": day_words(one.day), "crew": one.crew, "task": one.task, "what": one.name,
            "quantity": in_quantity(one.quantity), "unit": unit_words(one.unit),
            "from": "bill" if one.key else "by allowance", "loaded": "",
            "serial numbers": "write down" if one.key.startswith(numbered) else "",
            "note": one.note,
        }
        for one in picks
    ]  # fmt: skip
