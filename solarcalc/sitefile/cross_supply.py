"""Checks between the keys of grid, generator and battery."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.errors import Fault
from solarcalc.sitefile.sound import Sound, list_at

WHOLE_UNITS = 0.02
"""How far a share written with few digits may be from whole strings of units."""
_DAYS = {"all": ("weekdays", "weekends"), "weekdays": ("weekdays",), "weekends": ("weekends",)}


def supply_faults(sound: Sound) -> Iterator[Fault]:
    """Timetables with days missing or given twice, a generator that would never stop."""
    yield from _timetable(sound)
    yield from _generator(sound)
    yield from _grid_charge(sound)
    yield from _two_banks(sound)


def _timetable(sound: Sound) -> Iterator[Fault]:
    rows = list_at(sound, ("grid", "timetable"))
    if sound.get("grid", "kind") is None or sound.get("grid", "timetable") is None:
        return
    seen: dict[str, int] = {}
    for number, row in enumerate(rows):
        twice = [day for day in _DAYS[row["days"]] if day in seen]
        for day in twice:
            yield sound.fault(
                ("grid", "timetable", number, "days"),
                f"{row['days']!r}, which holds {day} again",
                "each kind of day once",
                f"table {seen[day] + 1} has {day} as well",
                "put all spans of a kind of day in one table",
            )
        seen |= {day: number for day in _DAYS[row["days"]] if day not in seen}
    missing = [day for day in _DAYS["all"] if day not in seen]
    if sound.get("grid", "kind") == "timetable" and missing:
        yield sound.fault(
            ("grid", "timetable"),
            "nothing for " + " and ".join(missing),
            "[[grid.timetable]] for all days, or one for weekdays and one for weekends",
            "a timetable covers every day",
            f'add a table with days = "{missing[0] if len(missing) == 1 else "all"}" and'
            " present = [...], empty for days without grid",
        )


def _generator(sound: Sound) -> Iterator[Fault]:
    power_w = sound.get("generator", "power_w")
    start, stop = (sound.get("generator", name) for name in ("start_frac", "stop_frac"))
    if not power_w or start is None or stop is None or start < stop:
        return
    yield sound.fault(
        ("generator", "stop_frac"),
        f"stop_frac = {stop:g} with start_frac = {start:g}",
        "above start_frac",
        "it stops at a higher charge than it starts at",
        "raise stop_frac, or lower start_frac",
    )


def _two_banks(sound: Sound) -> Iterator[Fault]:
    share = sound.get("supply", "critical_bank_frac")
    units = sound.get("battery", "units_in_parallel")
    if sound.get("supply", "layout") != "separate-banks" or None in (share, units):
        return
    critical = round(units * share)
    if 1 <= critical < units and abs(critical - units * share) < WHOLE_UNITS:
        return
    shares = ", ".join(f"{count / units:.4g}" for count in range(1, units))
    yield sound.fault(
        ("supply", "critical_bank_frac"),
        f"critical_bank_frac = {share:g} with battery.units_in_parallel = {units}",
        f"one of {shares}" if units > 1 else "two or more units_in_parallel",
        "with separate banks each board has whole strings of units, at least one",
        "give another share, or another number of strings",
    )


def _grid_charge(sound: Sound) -> Iterator[Fault]:
    level, reserve = sound.get("grid", "charge_below_frac"), sound.get("battery", "reserve_frac")
    kind = sound.get("grid", "kind")
    if kind in (None, "none") or level is None or reserve is None:
        return
    if 0.0 < level <= reserve:
        yield sound.fault(
            ("grid", "charge_below_frac"),
            f"charge_below_frac = {level:g} with battery.reserve_frac = {reserve:g}",
            "0, or above reserve_frac",
            "charged up to the reserve the bank has nothing to give",
            "raise charge_below_frac, or write 0 for a grid that does not charge",
        )
