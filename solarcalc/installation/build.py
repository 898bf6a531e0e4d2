"""The graph of a site: every part, conductor and route, with its name in every paper."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace

from solarcalc.earthing.plan import EarthingPlan
from solarcalc.installation.array import array_parts
from solarcalc.installation.battery import battery_parts
from solarcalc.installation.cables import conductors_of, routes_of
from solarcalc.installation.inputs import Chosen
from solarcalc.installation.records import Installation, Label, Part
from solarcalc.installation.room import earth_parts, room_parts
from solarcalc.installation.supply import device_parts, supply_parts
from solarcalc.powerroom.layout import RoomLayout
from solarcalc.protection.plan import ProtectionPlan
from solarcalc.roof.hardware import Hardware
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import SizedRun

LETTERS = {
    "module": "G", "battery": "G", "generator": "G", "grid": "G", "controller": "T",
    "inverter": "T", "fuse": "F", "surge": "F", "residual": "F", "breaker": "Q", "isolator": "Q",
    "changeover": "Q", "bond": "X", "busbar": "X", "combiner": "X", "earth-bar": "X",
    "electrode": "X", "test-link": "X", "board": "DB", "house": "H", "alarm": "S",
}  # fmt: skip
"""First letters of a tag by kind, in the manner of IEC 81346-2, from memory; U for all else."""


def installation_of(
    site: Site, *, sized: Sequence[SizedRun], plan: ProtectionPlan, earth: EarthingPlan,
    layout: RoomLayout, hardware: Hardware | None, cold_string_v: float,
) -> Installation:  # fmt: skip
    """All that is built at a site whose cables, devices, earth and room are chosen.

    Parameters
    ----------
    site : Site
    sized : sequence of SizedRun
        Every run with its cable.
    plan : ProtectionPlan
    earth : EarthingPlan
    layout : RoomLayout
    hardware : Hardware or None
        What holds the modules; None where they need nothing.
    cold_string_v : float
        Open circuit of a string at the record low [V].

    Raises
    ------
    InputError
        Where no conductors carry the battery's main fuse.
    """
    chosen = Chosen(
        site=site, sized=tuple(sized), plan=plan, earth=earth, layout=layout, hardware=hardware,
        cold_string_v=cold_string_v,
    )  # fmt: skip
    parts = _tagged([
        *array_parts(chosen), *battery_parts(chosen), *supply_parts(chosen),
        *device_parts(chosen), *earth_parts(chosen), *room_parts(chosen),
    ])  # fmt: skip
    conductors = conductors_of(chosen, parts)
    return Installation(
        site=site, parts=parts, conductors=conductors, routes=routes_of(chosen, conductors),
        layout=layout, hardware=hardware,
    )  # fmt: skip


def _tagged(parts: Iterable[Part]) -> tuple[Part, ...]:
    """Each with its tag; on its plate as well."""
    numbers: Counter[str] = Counter()
    found = []
    for part in parts:
        letter = LETTERS.get(part.kind, "U")
        numbers[letter] += 1
        tag = f"{letter}{numbers[letter]}"
        labels = tuple(_named(label, tag, part.count) for label in part.labels)
        found.append(replace(part, tag=tag, labels=labels))
    return tuple(found)


def _named(label: Label, tag: str, count: int) -> Label:
    many = f"{tag}.1 to {tag}.{count}" if count > 1 else tag
    return replace(label, label=label.label.replace("{tag}", many))
