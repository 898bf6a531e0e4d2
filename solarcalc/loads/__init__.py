"""What each board draws, hour by hour; its peaks and starts; its phases."""

from solarcalc.loads.days import DayKind
from solarcalc.loads.peaks import Peaks, board_peaks, measured_peaks, rating_verdicts
from solarcalc.loads.phases import (
    PhasePlan,
    imbalance_frac,
    phase_table,
    phase_verdicts,
    share_out,
)
from solarcalc.loads.profile import (
    daily_profile_w,
    day_kinds,
    energy_per_day_wh,
    hourly_power_w,
    minutes_in_use,
    peak_power_w,
)
from solarcalc.loads.year import (
    appliances_of,
    board_day_w,
    board_hours_w,
    energy_table,
    kinds_of_loads,
    measured_w,
    peaks_of,
    profile_hours_w,
    varied_w,
)

__all__ = [
    "DayKind",
    "Peaks",
    "PhasePlan",
    "appliances_of",
    "board_day_w",
    "board_hours_w",
    "board_peaks",
    "daily_profile_w",
    "day_kinds",
    "energy_per_day_wh",
    "energy_table",
    "hourly_power_w",
    "imbalance_frac",
    "kinds_of_loads",
    "measured_peaks",
    "measured_w",
    "minutes_in_use",
    "peak_power_w",
    "peaks_of",
    "phase_table",
    "phase_verdicts",
    "profile_hours_w",
    "rating_verdicts",
    "share_out",
    "varied_w",
]
