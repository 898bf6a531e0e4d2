"""A million whole systems of each demo site: time, what was spared, equal to running every one.

    python tests/bench/search.py            # every demo site
    python tests/bench/search.py ridge-clinic

Modules stand on open frames, so that every tilt and azimuth can be tried. The times are those of
the second search in a process (machine code at hand), its equipment, light and rows of the roof
worked out anew: seconds on the wall with two threads, and seconds of processor over two, which is
what two idle processors take. Winners are built with all of their checks apart.
"""

from __future__ import annotations

import itertools
import json
import sys
import time
from typing import Any

import numpy as np

from solarcalc.basis.files import demo_sites
from solarcalc.design import Design, open_design
from solarcalc.search.axes import owns_generator
from solarcalc.search.bounds import Wish
from solarcalc.search.run import run_all, search_systems
from solarcalc.search.searched import Searched, search
from solarcalc.search.systems import Systems
from solarcalc.search.whole import cheapest_for, front_of

HOURS = (0.0, 20.0)
CHECKED = 20_000
"""Candidates that are run one by one to compare."""
GENERATOR_W = 4000.0
MILLION = 1_000_000


def line(
    figure: str, value: float, unit: str, target: float | None = None, better: str = "lower"
) -> None:
    """Print one figure as one JSON object."""
    print(json.dumps({"figure": figure, "value": float(f"{value:.4g}"), "unit": unit,
                      "target": target, "better": better}), flush=True)  # fmt: skip


def limits_of(design: Design, *, generator: bool) -> dict[str, Any]:
    """20 tilts, 20 azimuths and pitches the roof has room for, both ways round; 200 systems.

    Those of a plane beside the first are half of them with it left bare.
    """
    roof, array, module = design.site.roof, design.site.array, design.site.module
    low = max(roof.slope_deg, 2.5)
    slants = [array.modules_high * side for side in (module.length_m, module.width_m)]
    deep = roof.depth_m - 2.0 * roof.edge_setback_m
    beside = [{"name": one.name, "strings": [0, one.array.string_count], "controllers": [1]}
              for one in design.site.planes]  # fmt: skip
    pitches = np.linspace(max(slants) + 0.35, max(max(slants) + 1.6, deep), 27).round(3)
    return {
        "tilt_deg": np.linspace(low, low + 45.0, 20).round(2).tolist(),
        "azimuth_deg": [(roof.azimuth_deg + turn) % 360.0 for turn in np.arange(-95.0, 96.0, 10.0)],
        "row_pitch_m": pitches.tolist(), "orientation": ["portrait", "landscape"],
        "modules_in_series": [array.modules_in_series],
        "strings": [1, 2, 3, 4, 5], "controllers": [1], "battery": ["as designed"],
        "units_in_parallel": list(range(1, 1 + 40 // (generator + 1) // (len(beside) + 1))),
        "generator_w": [design.site.generator.power_w] if owns_generator(design.site)
        else [0.0, GENERATOR_W] if generator else [0.0],
        "planes": beside,
    }  # fmt: skip


def of_a_million(design: Design, limits: dict[str, Any]) -> dict[str, Any]:
    """Counts of strings of modules and of batteries of which a roof holds just a million systems.

    Or all of them, where even these are fewer.
    """
    counts, strings = limits["units_in_parallel"], limits["strings"]
    held = {one: search(design, limits=limits | {"units_in_parallel": counts[:1],
                                                 "strings": [one]}, threads=2).held
            for one in strings}  # fmt: skip
    several = [some for size in range(2, len(strings) + 1)
               for some in itertools.combinations(strings, size)]  # fmt: skip
    enough = [(number * sum(held[one] for one in some), number, some)
              for some in several for number in range(1, len(counts) + 1)]  # fmt: skip
    _, number, some = min((one for one in enough if one[0] >= MILLION), default=max(enough))
    return limits | {"units_in_parallel": counts[:number], "strings": [*some]}


def timed(design: Design, limits: dict[str, Any], hours: float) -> tuple[Searched, float, float]:
    """A search with its seconds on the wall and of processor."""
    wall, cpu = time.perf_counter(), time.process_time()
    searched = search(design, wish=Wish(most_hours=hours), limits=limits, threads=2)
    return searched, time.perf_counter() - wall, time.process_time() - cpu


def unequal(several: list[Systems], wish: Wish) -> tuple[int, int, int]:
    """Systems whose best plane is another one, on a part of the planes; and what was run."""
    wrong = run = all_run = 0
    for systems in several:
        found, every = search_systems(systems, wish), run_all(systems, wish)
        wrong += int((found.plane != every.plane).sum())
        run, all_run = run + found.run, all_run + every.run
    return wrong, run, all_run


def fewer(limits: dict[str, Any], every: int) -> dict[str, Any]:
    """A part of the planes: every so manieth tilt, azimuth and pitch."""
    return limits | {key: limits[key][::every]
                     for key in ("tilt_deg", "azimuth_deg", "row_pitch_m")}  # fmt: skip


def figures(name: str, *, generator: bool) -> None:
    """All figures of one site."""
    design = open_design(name, {"array": {"mounting": "open-frame"}})
    limits = of_a_million(design, limits_of(design, generator=generator))  # machine code, too
    what = f"{name}{', generator' if generator else ''}"
    _ = design.energy, design.offer
    target = 15.0 if generator else 10.0
    for hours in HOURS:
        searched, wall, cpu = timed(design, limits, hours)
        head = f"{what}, at most {hours:g} h:"
        line(f"{head} whole systems", searched.candidates, "", 1e6, "higher")
        line(f"{head} planes and pitches", searched.planes, "", 2e4, "higher")
        line(f"{head} systems that the roof holds", searched.held, "", None, "higher")
        line(f"{head} search, two threads, wall", wall, "s", target)
        line(f"{head} search, processor time over two", cpu / 2.0, "s", target)
        line(f"{head} of those held, not run", 100.0 * (1.0 - searched.run / searched.held), "%")
        line(f"{head} years in more light run", searched.bounds, "")
        start = time.process_time()
        winner, refused = cheapest_for(searched, most_hours=hours)
        line(f"{head} winner built and checked, {len(refused)} refused before it",
             time.process_time() - start, "s processor")  # fmt: skip
        if winner is not None:
            line(f"{head} hours of the winner's design less the search's",
                 winner.hours - winner.searched_hours, "h/year")  # fmt: skip
            if winner.offer is not None:
                line(f"{head} offer over the search's price", winner.offer.total / winner.price, "")
    part = limits | {"units_in_parallel": [1, 2, 3, 5, 8]}
    every = 2
    while (tried := search(design, limits=fewer(part, every))).held > 2 * CHECKED:
        every += 1
    for hours in HOURS:
        wrong, run, all_run = unequal([one.systems for one in tried.found], Wish(most_hours=hours))
        line(f"{what}, at most {hours:g} h: best planes that differ from running all {all_run}",
             wrong, "systems", 0.0)  # fmt: skip
        line(f"{what}, at most {hours:g} h: of these run by the search", run, "")
    if not generator:
        start = time.process_time()
        front = front_of(searched)
        line(f"{what}: front of {len(front)} designs, built and checked",
             time.process_time() - start, "s processor")  # fmt: skip


def main(names: list[str]) -> None:
    """Measure and print."""
    for name in names or sorted(demo_sites()):
        own = owns_generator(open_design(name).site)  # which a search does not change
        for generator in (True,) if own else (False, True):
            figures(name, generator=generator)


if __name__ == "__main__":
    main(sys.argv[1:])
