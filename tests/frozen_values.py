"""Values of every workbook of a design, by name, without running the workbooks."""

from __future__ import annotations

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


def values_of(design: Design) -> dict[str, dict[str, Any]]:
    """What the results cell of each workbook would print."""
    facts, lines = commissioning.sheet_of_site(design)
    return {
        "orientation": orientation.values(
            orientation.compare_orientations(design), design.array
        ),
        "yield": yields.values(design),
        "battery": battery.values(design),
        "electrical": electrical.values(design, electrical.places_of(design)),
        "earthing": earthing.values(design),
        "quote": quote.values(design),
        "commissioning": commissioning.values(commissioning.report_of_site(design, facts, lines)),
        "followup": followup.values(followup.found_of(design)),
    }
