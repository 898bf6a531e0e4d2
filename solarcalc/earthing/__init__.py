"""The earth electrode, the conductors joined to it, and what lightning asks."""

from solarcalc.earthing.bar import BarLine, Conductors, bar_lines, bar_rows, terminals
from solarcalc.earthing.checks import shown_ohm, touch_rows
from solarcalc.earthing.electrode import (
    Electrode,
    electrode_of,
    electrode_ohm,
    ground_for,
    rod_table,
)
from solarcalc.earthing.plan import (
    EarthingPlan,
    earthing_plan,
    electrode_rows,
    ground_rows,
    rod_shelter_rows,
)
from solarcalc.earthing.soil import Ground, SoilReading, ground_of

__all__ = [
    "BarLine",
    "Conductors",
    "EarthingPlan",
    "Electrode",
    "Ground",
    "SoilReading",
    "bar_lines",
    "bar_rows",
    "earthing_plan",
    "electrode_of",
    "electrode_ohm",
    "electrode_rows",
    "ground_for",
    "ground_of",
    "ground_rows",
    "rod_shelter_rows",
    "rod_table",
    "shown_ohm",
    "terminals",
    "touch_rows",
]
