"""Checks between the keys of [battery], and between the bank and what charges it."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from solarcalc.basis.errors import Fault
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.sitefile.chemistry import chemistries
from solarcalc.sitefile.sound import Sound, ordered

CELL_TOLERANCE_FRAC = 0.04
"""Widest gap of a unit from whole cells: 3.3 V is also printed for 3.2; common practice."""


PLATE_TOLERANCE_FRAC = 0.1
"""Nominal voltages within this are one class, 48 and 51.2 V; common practice."""


def battery_faults(sound: Sound) -> Iterator[Fault]:
    """Units of no whole cells, two rooms, tables that contradict themselves, a bank too high."""
    yield from _levels(sound)
    yield from _cells(sound)
    yield from _room(sound)
    yield from _table(sound)
    yield from _tracking(sound)
    yield from _plates(sound)


def _plates(sound: Sound) -> Iterator[Fault]:
    unit_v, series = (sound.get("battery", key) for key in ("unit_voltage_v", "units_in_series"))
    if None in (unit_v, series):
        return
    bank_v = unit_v * series
    for board in ("critical", "heavy"):
        plate_v = sound.get("inverter", board, "bank_voltage_v")
        if plate_v is None or abs(bank_v / plate_v - 1.0) <= PLATE_TOLERANCE_FRAC:
            continue
        yield sound.fault(
            ("inverter", board, "bank_voltage_v"),
            f"{plate_v:g} V with a bank of {series} x {unit_v:g} = {bank_v:g} V",
            f"the bank's voltage, within {PLATE_TOLERANCE_FRAC:.0%}",
            "an inverter works only on a bank of the voltage on its plate",
            "change battery.units_in_series, or take an inverter made for the bank",
        )


def _cells(sound: Sound) -> Iterator[Fault]:
    chemistry, unit_v = (sound.get("battery", key) for key in ("chemistry", "unit_voltage_v"))
    if None in (chemistry, unit_v):
        return
    kind = chemistries()[chemistry]
    cells, cell_v = kind.cells(unit_v), kind.cell.nominal_v
    if abs(unit_v / (cells * cell_v) - 1.0) <= CELL_TOLERANCE_FRAC:
        return
    yield sound.fault(
        ("battery", "unit_voltage_v"),
        f'{unit_v:g} V with chemistry = "{chemistry}"',
        f"whole cells of {cell_v:g} V, such as "
        + " or ".join(f"{count * cell_v:g}" for count in (max(cells - 1, 1), cells, cells + 1)),
        f"a {kind.name} cell has {cell_v:g} V ({kind.cell.clause})",
        "copy the nominal voltage from the label: a lithium unit sold as 12 V has 12.8 V",
    )


def _room(sound: Sound) -> Iterator[Fault]:
    if not sound.given("battery", "room_c"):
        return
    for key in ("room_swing_frac", "room_above_k"):
        if sound.given("battery", key):
            yield sound.fault(
                ("battery", key),
                sound.data["battery"][key],
                "left out, as room_c holds the room at one temperature",
                "a room is kept at a temperature or follows the air outdoors",
                f"take {key} out, or room_c",
            )


def _table(sound: Sound) -> Iterator[Fault]:
    hours, charges = (
        sound.get("battery", key) or [] for key in ("discharge_hours", "discharge_capacity_ah")
    )
    if not sound.given("battery", "discharge_hours") or len(hours) != len(charges):
        return
    rows = list(zip(hours, charges, strict=True))
    for (short_h, less_ah), (long_h, more_ah) in pairwise(rows):
        given = f"{less_ah:g} Ah in {short_h:g} h and {more_ah:g} Ah in {long_h:g} h"
        allowed = why = ""
        if less_ah > more_ah:
            allowed, why = "no less charge in a longer time", "a battery gives less in a hurry"
        elif less_ah / short_h <= more_ah / long_h:
            allowed, why = "less current in a longer time", "more current empties it sooner"
        if allowed:
            yield sound.fault(
                ("battery", "discharge_capacity_ah"), given, allowed, why,
                "copy times and capacities from one row of the data sheet",
            )  # fmt: skip


def _tracking(sound: Sound) -> Iterator[Fault]:
    unit_v, series = (sound.get("battery", key) for key in ("unit_voltage_v", "units_in_series"))
    most_v = sound.get("controller", "max_tracking_voltage_v")
    if None in (unit_v, series, most_v) or unit_v * series < most_v:
        return
    yield sound.fault(
        ("battery", "units_in_series"),
        f"units_in_series = {series} of {unit_v:g} V, a bank of {unit_v * series:g} V",
        f"a bank below controller.max_tracking_voltage_v = {most_v:g} V",
        f"a tracker that steps down cannot charge a bank above its own array ({NO_SOURCE})",
        "fewer units in series, or a controller for this bank",
    )


def _levels(sound: Sound) -> Iterator[Fault]:
    reserve, shed, back = (
        ("battery", name) for name in ("reserve_frac", "heavy_shed_frac", "heavy_return_frac")
    )
    yield from ordered(
        sound, reserve, shed, "the heavy board waits before the reserve is reached", equal=True
    )
    yield from ordered(
        sound, shed, back, "it comes back at a higher charge than it left at", equal=False
    )
