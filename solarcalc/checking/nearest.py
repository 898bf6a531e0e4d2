"""The nearest value with which a check passes, found by asking the rule itself of its neighbours.

Candidates come in the order of their distance from the design's own value. Where the rule is one
of a record of the site file alone, it is asked of that record with another value; else what is
named has passed the check in a design that was changed by nothing else.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import islice

import pandas as pd

from solarcalc.basis.check import Check
from solarcalc.basis.errors import InputError
from solarcalc.battery.wiring import charge_current_check
from solarcalc.design import Changes, Design
from solarcalc.earthing.electrode import MOST_RODS
from solarcalc.loads.year import peaks_of
from solarcalc.powerroom.checks import CABLES
from solarcalc.powerroom.ways import rounded_up_m
from solarcalc.protection.faults import bank_fault, fuse_classes
from solarcalc.sitefile.array import holds
from solarcalc.sitefile.guessed import is_given
from solarcalc.stages.boards import supply_of_sun
from solarcalc.stages.electrical import made_mm2
from solarcalc.supply.energy import energy_kwh
from solarcalc.supply.engine import derated_w
from solarcalc.variants import change_of_plane
from solarcalc.wiring.runs import charger_a, of_plane, plane_number, stem_of
from solarcalc.wiring.string_checks import MOST_COUNT, string_checks

MOST_TRIED = 24
"""Changed designs tried for one check at most; then nothing is named."""
MOST_UNITS = 36
"""Battery strings in parallel that are looked at."""
STEP_W, STEP_CM2 = 100.0, 10.0
"""Steps of a generator's plate [W] and of an opening [cm2]; common practice, no source."""
MOST_W = 100_000.0
"""Largest set that is looked for [W]."""


@dataclass(frozen=True, kw_only=True)
class Neighbour:
    """A value to try: its words, and the change of the site file that makes it."""

    words: str
    changes: Changes


Neighbours = Callable[[Design, Check], Iterable[Neighbour]]


def nearest_working(design: Design, check: Check) -> Neighbour | None:
    """The nearest value with which a check that has not passed does; None where none is known.

    Parameters
    ----------
    design : Design
    check : Check
        Of that design.
    """
    if check.rule not in _LEVERS:
        return None
    stage, neighbours = _LEVERS[check.rule]
    number = next((at for at, one in enumerate(design.planes) if one.plane == check.plane), 0)
    own = design.planes[number] if check.plane else design
    found = neighbours(own, check)
    if check.plane:
        found = (Neighbour(words=of_plane(one.words, own.site),
                           changes=change_of_plane(design, number, one.changes))
                 for one in found)  # fmt: skip
    for one in islice(found, MOST_TRIED):
        if not stage or passes(design, check, stage, one.changes):
            return one
    return None


def passes(design: Design, check: Check, stage: str, changes: Changes) -> bool:
    """Whether a check passes in the design so changed; not where that cannot be built."""
    try:
        changed: Iterable[Check] = getattr(design.changed(changes), stage)
    except InputError:
        return False
    found = [one for one in changed if (one.rule, one.plane, _about(one))
             == (check.rule, check.plane, _about(check))]  # fmt: skip
    return bool(found) and all(one.outcome == "passed" for one in found)


def _about(check: Check) -> str:
    """What tells two checks of one rule apart, without figures."""
    return check.key.partition(":")[2] if check.rule in _BY_THING else ""


def fitting_series(design: Design) -> list[int]:
    """Numbers of modules in series with which every check of the string's voltage passes."""
    whole = design.whole or design
    of_planes = whole.electrical.planes
    case = next((one.case for one in of_planes if one.site.roof.name == design.plane),
                of_planes[0].case)  # fmt: skip
    strings = design.site.array.string_count
    return [
        series for series in range(1, MOST_COUNT + 1)
        if all(one.outcome == "passed" for one in string_checks(case, series, strings)
               if one.rule in _STRING_VOLTAGE)
    ]  # fmt: skip


def _series(design: Design, _: Check) -> Iterator[Neighbour]:
    fit, strings = fitting_series(design), design.site.array.string_count
    own = design.site.array.modules_in_series
    for series in sorted(fit, key=lambda one: (abs(one - own), -one)):
        span = f"{fit[0]} to {fit[-1]} modules" if len(fit) > 1 else f"{series} modules"
        yield Neighbour(words=f"{span} in series", changes={
            "array": {"modules_in_series": series, "module_count": series * strings}})


def _strings_of_units(design: Design, _: Check) -> Iterator[Neighbour]:
    site = design.site
    charging = [one.controller for one in site.sites]
    for count in range(site.battery.units_in_parallel + 1, MOST_UNITS + 1):
        bank = site.battery.model_copy(update={"units_in_parallel": count})
        charged_a = charger_a(site.model_copy(update={"battery": bank}))
        if charge_current_check(bank, charging, charged_a).outcome == "passed":
            yield Neighbour(words=f"{count} battery strings in parallel",
                            changes={"battery": {"units_in_parallel": count}})


def _two_banks(design: Design, _: Check) -> Iterator[Neighbour]:
    """A battery for each board, the essential one's nearest to its share of the energy.

    No bank of more strings than a fuse of the table breaks; the essential board without supply for
    no longer. Planes on several roofs charge one bank.
    """
    site, strings = design.site, design.site.battery.units_in_parallel
    controllers, demand_kwh = site.controller.count, energy_kwh(design.supply, "demand")
    if site.supply.layout != "shared-bank" or site.planes or controllers < 2 or not demand_kwh:
        return
    one = bank_fault(site.battery, strings=1, known_a=site.protection.battery_fault_a)
    most = math.floor(1000.0 * max(each.breaking_ka for each in fuse_classes()) / one.string_a)
    share = energy_kwh(design.supply, "essential_demand") / demand_kwh
    pairs = itertools.product(range(max(strings - most, 1), min(most, strings - 1) + 1),
                              range(1, controllers))  # fmt: skip
    for count, own in sorted(pairs, key=lambda one: (
            abs(one[0] - share * strings), abs(one[1] - share * controllers))):
        changes: Changes = {"supply": {
            "layout": "separate-banks", "essential_bank_frac": round(count / strings, 4),
            "essential_array_frac": round(own / controllers, 4)}}
        if _dark_h(design, changes) <= design.supply.hours_without_supply("essential"):
            yield Neighbour(
                words=f"a battery for each board, {count} of {strings} strings and {own} of"
                f" {controllers} controllers for the essential one", changes=changes)  # fmt: skip


def _dark_h(design: Design, changes: Changes) -> float:
    """Hours without supply of the essential board in a changed design [h]; none can be told: all.
    """
    try:
        return design.changed(changes).supply.hours_without_supply("essential")
    except InputError:
        return math.inf


def _conductor(design: Design, check: Check) -> Iterator[Neighbour]:
    site = design.site
    for one in design.electrical.sized:
        own, key = one.run.size_mm2, one.run.key
        if own is not None and check.item.startswith(f"{one.run.name}:"):
            for size_mm2 in sorted(made_mm2(site, one.run)):
                if size_mm2 > own:
                    yield Neighbour(words=f"{size_mm2:.3g} mm²", changes=change_of_plane(
                        design, plane_number(key) - 1,
                        {"runs": {stem_of(key): {"size_mm2": size_mm2}}}))


def _pitch(design: Design, _: Check) -> Iterator[Neighbour]:
    rule_m = design.array.rule_m
    if rule_m is not None:
        for steps in range(2):
            pitch_m = (math.ceil(100.0 * (rule_m - 0.005)) + steps) / 100.0
            yield Neighbour(words=f"a pitch of {pitch_m:.2f} m",
                            changes={"array": {"row_pitch_m": pitch_m}})


def _modules(design: Design, _: Check) -> Iterator[Neighbour]:
    array, sizes = design.site.array, design.array.roof_fit.row_sizes
    fewer = range(array.module_count - array.modules_in_series, 0, -array.modules_in_series)
    for count in fewer:
        if holds(sizes, array.rows, count):
            rows = f"{array.rows} row{'s' if array.rows > 1 else ''}"
            yield Neighbour(words=f"{count} modules in {rows}",
                            changes={"array": {"module_count": count}})


def _more_supply(design: Design, _: Check) -> Iterator[Neighbour]:
    """The fewest battery strings that leave no hour without supply, else a generator.

    More battery never serves the essential board worse, so the fewest are found by halving. A
    trial runs on the sun of the design, which hangs on no count of units; what is named has run
    with its own.
    """
    own, sun = design.site.battery.units_in_parallel, design.energy.hours["bus_w"]
    least = _fewest(own, MOST_UNITS, lambda count: _supplied(design, _units(count), sun))
    if least is not None and _supplied(design, _units(least)):
        yield Neighbour(words=f"{least} battery strings in parallel", changes=_units(least))
    elif not design.site.generator.there:
        peak_w = peaks_of(design.site.loads, "essential", folder=design.sitefile.folder).power_w
        for steps in range(1, MOST_TRIED):
            power_w = STEP_W * math.ceil(peak_w * (1.0 + 0.1 * steps) / STEP_W)
            changes: Changes = {"generator": {"power_w": power_w}}
            if _supplied(design, changes, sun) and _supplied(design, changes):
                yield Neighbour(words=f"a generator of {power_w:.0f} W", changes=changes)
                return


def _units(count: int) -> Changes:
    return {"battery": {"units_in_parallel": count}}


def _fewest(above: int, most: int, enough: Callable[[int], bool]) -> int | None:
    """The least number above one that is enough, where more is never less; None without one."""
    if above >= most or not enough(most):
        return None
    low, high = above, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _supplied(design: Design, changes: Changes, sun: pd.Series | None = None) -> bool:
    """Whether a changed design leaves its essential board no hour without supply."""
    try:
        changed = design.changed(changes)
        year = changed.supply if sun is None else supply_of_sun(changed, sun)
    except InputError:
        return False
    return year.hours_without_supply("essential") == 0


def _spread(design: Design, _: Check) -> Iterator[Neighbour]:
    """Plates or beams under the racks, as large as their load asks for."""
    room, racks = design.site.room, design.room.layout.of_kind("rack")
    area_m2 = max([room.spread_m2, *(one.length_m * one.depth_m for one in racks)])
    asked_m2 = area_m2 * design.room.floor.rack_kg_per_m2 / room.floor_kg_per_m2
    steps = math.ceil(10.0 * asked_m2 - 1e-9)
    if racks and 0.1 * steps <= room.length_m * room.depth_m:
        yield Neighbour(words=f"load-spreading plates over {0.1 * steps:.1f} m²",
                        changes={"room": {"spread_m2": round(0.1 * steps, 1)}})


def _generator(design: Design, _: Check) -> Iterator[Neighbour]:
    site = design.site
    peak_w = peaks_of(site.loads, "essential", folder=design.sitefile.folder).power_w
    power_w = STEP_W * math.floor(site.generator.power_w / STEP_W)
    while (power_w := power_w + STEP_W) <= MOST_W:
        engine = site.generator.model_copy(update={"power_w": power_w})
        if derated_w(site.model_copy(update={"generator": engine})) >= peak_w:
            yield Neighbour(words=f"a set of {power_w:.0f} W",
                            changes={"generator": {"power_w": power_w}})


def _opening(design: Design, check: Check) -> Iterator[Neighbour]:
    key = "vent_low_cm2" if check.item.startswith("Low") else "vent_high_cm2"
    steps = math.ceil(design.room.need.gross_cm2 / STEP_CM2 - 1e-9)
    yield Neighbour(words=f"an opening of {STEP_CM2 * steps:.0f} cm²",
                    changes={"room": {key: STEP_CM2 * steps}})


def _rods(design: Design, _: Check) -> Iterator[Neighbour]:
    earthing = design.site.earthing
    measured = is_given(design.site, "soil.resistance_ohm")  # else a soil test comes first
    if earthing.electrode == "rods" and measured:
        for count in range(earthing.rod_count + 1, MOST_RODS + 1):
            yield Neighbour(words=f"{count} rods in a line",
                            changes={"earthing": {"rod_count": count}})


def _cable_way(design: Design, check: Check) -> Iterator[Neighbour]:
    for key, way_m in design.layout.ways_m.items():
        if CABLES.get(key) == check.about:
            length_m = rounded_up_m(way_m)
            yield Neighbour(words=f"{length_m:g} m",
                            changes={"runs": {key: {"length_m": length_m}}})


_STRING_VOLTAGE = frozenset(f"wiring/{name}" for name in (
    "open-circuit-string", "open-circuit-string-cold-checks", "same-table-factors",
    "working-voltage-string", "working-voltage-string-window-checks",
))  # fmt: skip
_CABLE = frozenset(f"wiring/{name}" for name in (
    "design-current-device", "current-that-surely", "voltage-drop-design", "voltage-drop-working",
    "current-cable-carries", "short-circuit-s",
))  # fmt: skip
_BREAKING = frozenset(f"protection/{name}" for name in (
    "breaking-capacity", "breaking-capacity-direct", "made"))
_LEVERS: dict[str, tuple[str, Neighbours]] = {
    **dict.fromkeys(_STRING_VOLTAGE, ("electrical_checks", _series)),
    **dict.fromkeys(_CABLE, ("electrical_checks", _conductor)),
    **dict.fromkeys(_BREAKING, ("electrical_checks", _two_banks)),
    "battery/charge-current-controllers": ("", _strings_of_units),
    "stages/row-pitch": ("roof_checks", _pitch),
    "stages/modules-on-roof": ("roof_checks", _modules),
    "supply/generator-peak": ("", _generator),
    "powerroom/opening-battery-room": ("ground_checks", _opening),
    "powerroom/cable-in-room": ("ground_checks", _cable_way),
    "powerroom/floor-under-racks": ("ground_checks", _spread),
    "earthing/electrode-limit": ("ground_checks", _rods),
    "stages/essential-board-without": ("", _more_supply),
}
"""Rule of a check: the stage of a design that has it, none where the candidates come from the rule
itself, and what is tried for it."""
_BY_THING = _CABLE | {"powerroom/opening-battery-room", "powerroom/cable-in-room"}
"""Rules that are asked of several things in one design."""
