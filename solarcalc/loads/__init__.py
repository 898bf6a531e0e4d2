"""What each board draws, hour by hour."""

from solarcalc.loads.profile import (
    daily_profile_w,
    energy_per_day_wh,
    hourly_power_w,
    minutes_in_use,
    peak_power_w,
)

__all__ = [
    "daily_profile_w",
    "energy_per_day_wh",
    "hourly_power_w",
    "minutes_in_use",
    "peak_power_w",
]
