"""Very many arrays over a year, compiled: their energy in one table, and which of them is best.

A plane (tilt, azimuth, cleaning plan) is made ready once and shared by all pitches, ways round
and counts up (`kernels`); the module's power is a fit to its diode (`device`), the cost of
shade the circuit's own table (`tables`). The first use after a change of the code compiles for
about ten seconds; the machine code is then kept on disk, and brought in within a second. Import
this stage where it is used: it imports numba, which takes as long again. Neither starts a thread.
"""

from solarcalc.sweep.device import Equipment
from solarcalc.sweep.fields import OneYear, Setting, one_year, sweep, warm_up
from solarcalc.sweep.ranking import (
    Costs,
    best,
    cost_per_kwh,
    kwh_per_kwp,
    kwh_per_m2,
    trade_off_front,
    yearly_share_frac,
)
from solarcalc.sweep.years import (
    NO_DUST,
    ORIENTATIONS,
    CleaningPlan,
    Field,
    RoofPlane,
    SkyYear,
    sky_year_of,
)

__all__ = [
    "NO_DUST",
    "ORIENTATIONS",
    "CleaningPlan",
    "Costs",
    "Equipment",
    "Field",
    "OneYear",
    "RoofPlane",
    "Setting",
    "SkyYear",
    "best",
    "cost_per_kwh",
    "kwh_per_kwp",
    "kwh_per_m2",
    "one_year",
    "sky_year_of",
    "sweep",
    "trade_off_front",
    "warm_up",
    "yearly_share_frac",
]
