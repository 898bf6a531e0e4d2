"""Checks between the keys of [quote]: alternatives that are none, or fit no string."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from solarcalc.basis.errors import Fault
from solarcalc.sitefile.sound import Sound, list_at

_CHANGES = ("module_count", "units_in_parallel", "generator_w")


def quote_faults(sound: Sound) -> Iterator[Fault]:
    """Alternatives without a change, of one name, or with strings that do not come out even."""
    first: dict[str, int] = {}
    series = sound.get("array", "modules_in_series")
    for number, row in enumerate(list_at(sound, ("quote", "alternatives"))):
        if not isinstance(row, dict):
            continue
        yield from _alternative(sound, number, row, series)
        name = row.get("name")
        if not isinstance(name, str):
            continue
        key = " ".join(name.casefold().split())
        if key in first:
            yield sound.fault(
                ("quote", "alternatives", number, "name"), name,
                "each alternative under its own name",
                f"alternative {first[key] + 1} has the same name", "name what sets them apart",
            )  # fmt: skip
        first.setdefault(key, number)


def _alternative(
    sound: Sound, number: int, row: dict[str, Any], series: int | None
) -> Iterator[Fault]:
    place = ("quote", "alternatives", number)
    if not any(key in row for key in _CHANGES):
        yield sound.fault(
            (*place, "name"), row.get("name", ""), "one or more of " + ", ".join(_CHANGES),
            "it is the same system a second time", "say what is different, or take it out",
        )  # fmt: skip
    count = row.get("module_count")
    if type(count) is int and count > 0 and series and count % series:
        nearby = sorted({max(count // series, 1) * series, (count // series + 1) * series})
        yield sound.fault(
            (*place, "module_count"), f"module_count = {count} with modules_in_series = {series}",
            f"a multiple of modules_in_series, such as {' or '.join(map(str, nearby))}",
            "strings in parallel are equally long",
        )  # fmt: skip
