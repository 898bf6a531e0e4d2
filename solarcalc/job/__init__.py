"""The one place that knows the order of the stages; what the workbooks call."""

from solarcalc.job.array import (
    roof_verdicts,
    standing,
    string_verdicts,
    yearly_harvest,
)
from solarcalc.job.assumptions import board_assumptions, light_assumptions
from solarcalc.job.boards import (
    autonomy_days,
    battery_answer,
    board_verdicts,
    flows_by_month,
    supply_year,
    unserved_frac,
)
from solarcalc.job.opening import Job, changed, open_job, site_path
from solarcalc.job.orientation import (
    compare_orientations,
    energy_by_pitch,
    energy_by_tilt,
    orientation_answer,
)

__all__ = [
    "Job",
    "autonomy_days",
    "battery_answer",
    "board_assumptions",
    "board_verdicts",
    "changed",
    "compare_orientations",
    "energy_by_pitch",
    "energy_by_tilt",
    "flows_by_month",
    "light_assumptions",
    "open_job",
    "orientation_answer",
    "roof_verdicts",
    "site_path",
    "standing",
    "string_verdicts",
    "supply_year",
    "unserved_frac",
    "yearly_harvest",
]
