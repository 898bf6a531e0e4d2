"""Checks between the keys of what is owned: each kind has its own, and tests come whole."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from solarcalc.basis.errors import Fault
from solarcalc.sitefile.owned_records import MEASURED, OF_EVERY_KIND, RATED
from solarcalc.sitefile.sound import Sound

TOGETHER: tuple[tuple[str, str, str], ...] = (
    ("measured_capacity_ah", "measured_hours_h", "capacity depends on the length of the test"),
    ("measured_hours_h", "measured_capacity_ah", "the length of a test belongs to its result"),
    ("measured_resistance_ohm", "new_resistance_ohm", "it is judged against that of a new unit"),
    *(
        (name, other, "a module is judged at 1000 W/m2 and 25 degC")
        for name in ("measured_pmax_w", "measured_voc_v", "measured_isc_a")
        for other in ("measured_irradiance_w_m2", "measured_temp_c")
    ),
)
"""A key, the key that must stand beside it, and why."""


def owned_faults(sound: Sound) -> Iterator[Fault]:
    """Keys of another kind, rated figures left out, halves of tests, labels given twice."""
    labels: dict[str, int] = {}
    for number, row in _sound_rows(sound):
        loc = ("owned", number)
        kind = row["kind"]
        own = {*OF_EVERY_KIND, *RATED[kind], *MEASURED[kind]}
        for name in row:
            if name not in own:
                yield sound.fault(
                    (*loc, name), row[name], f'left out with kind = "{kind}"',
                    "it belongs to another kind", f"take {name} out, or correct kind",
                )  # fmt: skip
        for name in RATED[kind]:
            if name not in row:
                yield sound.fault(
                    (*loc, name), f'nothing, with kind = "{kind}"', "the figure of its data sheet",
                    "test results are judged against it", f"add {name} = ... to this [[owned]]",
                )  # fmt: skip
        for name, other, why in TOGETHER:
            if name in row and name in own and other not in row:
                yield sound.fault(
                    (*loc, other), f"nothing, with {name} = {row[name]:g}", f"{other} as well",
                    why, f"add {other}, or take {name} out",
                )  # fmt: skip
        yield from _label_once(sound, number, row["label"], labels)


def _label_once(sound: Sound, number: int, label: str, labels: dict[str, int]) -> Iterator[Fault]:
    key = " ".join(label.casefold().split())
    if key in labels:
        yield sound.fault(
            ("owned", number, "label"), label, "each thing owned under its own label",
            f"item {labels[key] + 1} has the same",
            "put what is alike in one with count, or name what sets them apart",
        )  # fmt: skip
    labels.setdefault(key, number)


def _sound_rows(sound: Sound) -> Iterator[tuple[int, Mapping[str, Any]]]:
    """Rows without a fault of their own, with their number."""
    rows = sound.data.get("owned")
    for number, row in enumerate(rows if isinstance(rows, list) else []):
        loc = ("owned", number)
        if isinstance(row, dict) and not any(
            place[:2] == loc or place == loc[: len(place)] for place in sound.bad
        ):
            yield number, row
