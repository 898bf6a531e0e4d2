"""Values of every workbook of a design, by name, without running the workbooks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from solarcalc.design import Design
from solarcalc.views import (
    battery,
    commissioning,
    earthing,
    electrical,
    followup,
    orientation,
    quote,
    yields,
)


def _tests(design: Design) -> dict[str, Any]:
    facts, lines = commissioning.sheet_of_site(design)
    return commissioning.values(commissioning.report_of_site(design, facts, lines))


VALUES: dict[str, Callable[[Design], dict[str, Any]]] = {
    "orientation": lambda design: orientation.values(
        orientation.compare_orientations(design), design.array
    ),
    "yield": yields.values,
    "battery": battery.values,
    "electrical": lambda design: electrical.values(design, electrical.places_of(design)),
    "earthing": earthing.values,
    "quote": quote.values,
    "commissioning": _tests,
    "followup": lambda design: followup.values(followup.found_of(design)),
}
"""What the results cell of each workbook would print."""


def values_of(design: Design) -> dict[str, dict[str, Any]]:
    """What the results cells of all workbooks would print."""
    return {workbook: values(design) for workbook, values in VALUES.items()}
