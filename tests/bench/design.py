"""How soon a design answers: from its file to the offer, and after a change of one thing.

    python tests/bench/design.py [SITE]

One JSON object a line; medians of several rounds of one process, weather and machine code warm.
"""

from __future__ import annotations

import json
import statistics
import sys
import time
from collections.abc import Callable
from itertools import count
from typing import Any

from solarcalc.design import Design, open_design

ROUNDS = 15
TARGETS_MS = {
    "offer from a site file": 250.0,
    "one cable changed, then checks and offer": 10.0,
    "one plane changed: light on it": 50.0,
    "one tilt changed, then supply, checks and offer": 150.0,
}


def median_ms(make: Callable[[int], Any]) -> float:
    """Median time of a call [ms]; each call gets a number of its own, so that nothing is kept."""
    numbers = count(1)
    make(next(numbers))
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        make(next(numbers))
        times.append(1000.0 * (time.perf_counter() - start))
    return statistics.median(times)


def whole(design: Design) -> Design:
    """Checks and offer of a design."""
    assert design.checks
    assert design.offer
    return design


def main(site: str) -> None:
    """Measure and print."""
    own = whole(open_design(site))
    dc_main_m = own.electrical.run("dc_main").run.length_m
    tilt_deg = own.site.array.tilt_deg
    found = {
        "offer from a site file": median_ms(lambda _: open_design(site).offer),
        "one cable changed, then checks and offer": median_ms(
            lambda n: whole(own.changed({"runs": {"dc_main": {"length_m": dc_main_m + 0.01 * n}}}))
        ),
        "one plane changed: light on it": median_ms(
            lambda n: own.changed({"array": {"tilt_deg": tilt_deg - 0.01 * n}}).energy
        ),
        "one tilt changed, then supply, checks and offer": median_ms(
            lambda n: whole(own.changed({"array": {"tilt_deg": tilt_deg + 0.01 * n}}))
        ),
    }
    for name, ms in found.items():
        print(json.dumps({"what": name, "value": round(ms, 1), "unit": "ms",
                          "target": TARGETS_MS[name], "better": "lower"}))  # fmt: skip


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "ridge-clinic")
