"""Checks of the wiring's keys against the tables they are looked up in."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.errors import Fault
from solarcalc.basis.published import published
from solarcalc.basis.text import nearest
from solarcalc.sitefile.sound import Sound


def wiring_faults(sound: Sound) -> Iterator[Fault]:
    """A pipe that the table does not have."""
    size = sound.get("pipe", "size")
    known = [row["key"] for row in published("pipes").rows]
    if size is None or size in known:
        return
    near = nearest(size, known)
    other = "take the next smaller one, and give pipe.inner_mm as measured"
    yield sound.fault(
        ("pipe", "size"),
        size,
        "one of " + ", ".join(known),
        "its diameter inside is looked up by this key",
        f"did you mean {near}? Of a pipe not listed, {other}" if near else other,
    )
