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


def median_ms(
    make: Callable[[int], Any], clock: Callable[[], float] = time.perf_counter
) -> float:
    """Median time of a call [ms]; each call gets a number of its own, so that nothing is kept."""
    numbers = count(1)
    make(next(numbers))
    times = []
    for _ in range(ROUNDS):
        start = clock()
        make(next(numbers))
        times.append(1000.0 * (clock() - start))
    return statistics.median(times)


def whole(design: Design) -> Design:
    """Checks and offer of a design."""
    assert design.checks
    assert design.offer
    return design


MOST_TIMES = 1.6
"""Two roof planes against one, both opened anew with a tilt of their own at each round."""
MOST_TIMES_PHASES = 1.1
"""Three phases against one, likewise."""


def planes_over_one(site: str) -> float:
    """Time of checks and offer of a site with a second plane over that of the site alone."""
    own = open_design(site).site
    second = {"name": "Second", "roof": {"azimuth_deg": (own.roof.azimuth_deg + 170.0) % 360.0},
              "array": {"azimuth_deg": (own.array.azimuth_deg + 170.0) % 360.0}}  # fmt: skip
    return over_plain(site, planes=[second])


def phases_over_one(site: str) -> float:
    """The same of a site with three phases over that of one."""
    return over_plain(site, loads={"phases": 3})


def over_plain(site: str, **changes: Any) -> float:
    """Time of checks and offer of a changed site over that of the site.

    Of the processor: other people's load lengthens neither.
    """
    own = open_design(site).site

    def opened(number: int, **more: Any) -> Design:
        tilt_deg = own.array.tilt_deg + 0.003 * number
        slope_deg = own.roof.slope_deg + 0.003 * number
        return whole(open_design(site, {
            "array": {"tilt_deg": tilt_deg}, "roof": {"slope_deg": slope_deg}, **more}))

    one, two = (median_ms(make, time.process_time) for make in (
        opened, lambda number: opened(number + 1000, **changes)))
    return two / one


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
    print(json.dumps({"what": "checks and offer of two roof planes over those of one",
                      "value": round(planes_over_one(site), 2), "unit": "times",
                      "target": MOST_TIMES, "better": "lower"}))  # fmt: skip
    print(json.dumps({"what": "checks and offer of three phases over those of one",
                      "value": round(phases_over_one(site), 2), "unit": "times",
                      "target": MOST_TIMES_PHASES, "better": "lower"}))  # fmt: skip


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "ridge-clinic")
