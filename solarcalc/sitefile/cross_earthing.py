"""Checks between the keys of the earth electrode."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.errors import Fault
from solarcalc.sitefile.sound import Sound

DEEPEST_SHARE = 0.25
"""Depth over length up to which the formulas of strip and ring hold; see earthing.formulas."""


def earthing_faults(sound: Sound) -> Iterator[Fault]:
    """A strip or ring deeper than a quarter of its length."""
    kind, length, depth = (
        sound.get("earthing", name) for name in ("electrode", "conductor_m", "conductor_depth_m")
    )
    if None in (kind, length, depth) or kind == "rods" or depth <= DEEPEST_SHARE * length:
        return
    yield sound.fault(
        ("earthing", "conductor_depth_m"),
        f"conductor_depth_m = {depth:g} with conductor_m = {length:g}",
        f"at most a quarter of conductor_m, {DEEPEST_SHARE * length:g} m",
        "the formulas of strip and ring are for long conductors near the surface (IEEE 142)",
        "give more conductor, or rods",
    )
