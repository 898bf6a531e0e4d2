"""What is written beside a cable or a device: its size, how it lies, its ratings."""

from __future__ import annotations

import re

from solarcalc.protection.devices import Device
from solarcalc.wiring.runs import SizedRun

BURIED = ("D1", "D2")
"""Methods of IEC 60364-5-52 that lie in the ground: in a pipe, and without one."""
KEPT = "\u00a0"
"""A space at which no line is broken."""
METAL = {"copper": "Cu", "aluminium": "Al"}
_PARTED = re.compile(r"[,;(]\s*| or ")
METHODS = {"solar-free": "free air", "solar-surface": "on surface", "solar-touching": "touching"}
RUN_NOTE = (
    "W1, W2...: line of the cable schedule; ×2: two alike; then length one way (with ? a guess),"
    " how it lies by IEC 60364-5-52, design current."
)
"""How the words beside a run are read."""


def run_pieces(sized: SizedRun, number: int) -> list[str]:
    """Words beside a run, the weightiest first: number, size, length, method, current.

    Parameters
    ----------
    sized : SizedRun
    number : int
        Its line in the schedule of cables, from 1.
    """
    run = sized.run
    size = sized.size_name if sized.in_parallel == 1 else f"{sized.in_parallel} × {sized.size_name}"
    alike = "" if run.count == 1 else f" ×{run.count}"
    return [
        f"W{number}{alike}: {size.replace(' mm', KEPT + 'mm')} {METAL[run.material]}",
        f"{run.length_m:g} m{'' if run.length_given else '?'}",
        METHODS.get(run.method, run.method),
        f"{run.design_a:.3g} A",
        run.insulation.upper(),
    ]


def device_pieces(device: Device) -> list[str]:
    """Words beside a device, the weightiest first: rating, voltage, poles, kind, breaking.

    Of what else to ask for only the first words: the schedule has them all.
    """
    alike = "" if device.count == 1 else f"{device.count} × "
    rating = [] if device.rated_a is None else [f"{device.rated_a:g} A"]
    poles = "1 pole" if device.poles == 1 else f"{device.poles} poles"
    extra = _PARTED.split(device.extra)[: 2 if device.kind == "residual" else 1]
    extra = [words for words in extra if words]
    breaking = [] if device.breaking_ka is None else [f"{device.breaking_ka:g} kA"]
    if device.current == "dc":
        pieces = [*rating, f"{device.rated_v:g} V DC", poles, *extra, *breaking]
    else:
        pieces = [*rating, poles, *extra, *breaking, f"{device.rated_v:g} V AC"]
    if device.kind == "surge":
        pieces = [*extra, f"{device.rated_v:g} V", poles]
    return [alike + pieces[0], *pieces[1:]]


def watts(value_w: float) -> str:
    """Power in words [W or kW]."""
    return f"{value_w / 1000.0:g} kW" if value_w >= 10000.0 else f"{value_w:g} W"
