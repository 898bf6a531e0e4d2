"""Quantities of work, by the units that hours are asked for: read off the graph."""

from __future__ import annotations

from collections import Counter

from solarcalc.installation.records import Installation
from solarcalc.installation.schedules import label_count


def work_of(built: Installation) -> dict[str, float]:
    """Quantities of work of an installation, by unit of ``data/task_hours.csv``.

    Civil works and the lines of the test sheet are counted elsewhere.
    """
    found: Counter[str] = Counter()
    for part in built.parts:
        if part.work:
            found[part.work] += part.count
    cables, hardware = built.cables, built.hardware
    return {
        **found,
        "row": built.site.array.rows if hardware else 0,
        "rail_m": hardware.rail_m if hardware else 0.0,
        "cable_m": sum(one.core_m for one in cables),
        "termination": sum(2 * one.cores * one.count for one in cables)
        + sum(2 * one.count for one in built.earths),
        "earth_m": sum(one.core_m for one in built.earths),
        "duct_m": sum(route.pipe_m for route in built.routes),
        "trench_m": sum(route.trench_m for route in built.routes),
        "label": label_count(built),
    }
