"""Checks between the sizes of the power room and what stands in it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from solarcalc.basis.errors import Fault
from solarcalc.sitefile.sound import Sound

_HIGHER_THAN_ROOM = "what stands or opens inside is no larger than the room"


def room_faults(sound: Sound) -> Iterator[Fault]:
    """An opening, a door, a unit or a rack larger than the room it is in."""
    yield from _within(sound, "vent_apart_m", "height_m", "set both as measured on the wall")
    yield from _within(sound, "door_m", "depth_m", "the door is in the wall at the end of depth_m")
    yield from _within(sound, "unit_length_m", "length_m", "")
    yield from _within(sound, "unit_depth_m", "depth_m", "")
    yield from _openings(sound)
    yield from _rack(sound)


def _within(sound: Sound, small: str, large: str, remedy: str) -> Iterator[Fault]:
    first, second = sound.get("room", small), sound.get("room", large)
    if first is None or second is None or first < second:
        return
    yield sound.fault(
        ("room", small), f"{first:g} m with {large} = {second:g} m", f"below {large}",
        _HIGHER_THAN_ROOM, remedy,
    )  # fmt: skip


def _openings(sound: Sound) -> Iterator[Fault]:
    depth, high = sound.get("room", "depth_m"), sound.get("room", "height_m")
    if depth is None or high is None:
        return
    most_m = min(depth, high)
    for key in ("vent_low_cm2", "vent_high_cm2"):
        cm2 = sound.get("room", key)
        if cm2 is not None and math.sqrt(cm2) / 100.0 >= most_m:
            yield sound.fault(
                ("room", key),
                f"{cm2:g} cm2, a square of {math.sqrt(cm2) / 100.0:.2f} m",
                f"a square that fits a wall {depth:g} m wide and {high:g} m high",
                _HIGHER_THAN_ROOM,
            )


def _rack(sound: Sound) -> Iterator[Fault]:
    tiers, unit, high = (
        sound.get("room", key) for key in ("rack_tiers", "unit_height_m", "height_m")
    )
    if None in (tiers, unit, high) or tiers * unit < high:
        return
    yield sound.fault(
        ("room", "rack_tiers"),
        f"rack_tiers = {tiers} of units {unit:g} m high in a room {high:g} m high",
        "units one above another that stay under the ceiling",
        _HIGHER_THAN_ROOM,
        "fewer tiers on a longer rack",
    )
