"""What goes on the van by crew and day: the bill's things by task, loose material by allowance."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from solarcalc.basis.files import data_rows
from solarcalc.installation.records import Installation
from solarcalc.installation.schedules import work_of
from solarcalc.programme.days import day_words
from solarcalc.programme.schedule import Planned, Schedule
from solarcalc.quote.bill import BillLine, unit_words

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
        Of each line of the bill they add up to its quantity; in the order of days and tasks.
    """
    found = [*_of_bill(bill, schedule), *_loose(built, bill, schedule)]
    order = [one.task.name for one in schedule.planned]
    return tuple(sorted(found, key=lambda one: (one.day, order.index(one.task), not one.key)))


def _of_bill(bill: Sequence[BillLine], schedule: Schedule) -> Iterator[Pick]:
    rules = {row["item"]: row for row in data_rows("loading")}
    for line in bill:
        rule = rules[line.item]
        one = _planned(schedule, rule["tasks"].split())
        yield from _shared_out(
            days_of(one, schedule) if rule["shared"] == "yes" else {one.start.date(): 1.0},
            Pick(day=one.start.date(), crew=one.crew, task=one.task.name, key=line.key,
                 name=line.name, quantity=line.quantity, unit=line.unit,
                 note="work: nothing to load" if line.item in LOADED_NOT else ""),
        )  # fmt: skip


def _planned(schedule: Schedule, keys: Sequence[str]) -> Planned:
    """The first of some tasks that the programme has, else its first task."""
    found = (one for key in keys if (one := schedule.at(key)) is not None)
    return next(found, schedule.planned[0])


def days_of(one: Planned, schedule: Schedule) -> dict[date, float]:
    """Hours of a task by day; its day with 1 where it takes no time."""
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
    """What allowances are counted by: items of the bill, work, ends, kinds of fuses."""
    found: dict[str, float] = {"site": 1.0}
    for line in bill:
        found[line.item] = found.get(line.item, 0.0) + line.quantity
    work = work_of(built)
    found |= {key: work[key] for key in ("trench_m", "duct_m", "cable_m", "earth_m")}
    found["device"] = work.get("device", 0.0)
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
            "quantity": f"{one.quantity:g}", "unit": unit_words(one.unit),
            "from": "bill" if one.key else "by allowance", "loaded": "",
            "serial numbers": "write down" if one.key.startswith(numbered) else "",
            "note": one.note,
        }
        for one in picks
    ]  # fmt: skip
