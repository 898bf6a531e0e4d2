"""Dust on the modules through the year: what settles, what takes it off, what it costs in light."""

from solarcalc.soiling.build_up import (
    DUST_BY_TILT,
    DUST_MODEL,
    RATE_TILT_DEG,
    dust_by_tilt,
    rain_for_cleaning_mm,
    soiling_loss_frac,
)

__all__ = [
    "DUST_BY_TILT",
    "DUST_MODEL",
    "RATE_TILT_DEG",
    "dust_by_tilt",
    "rain_for_cleaning_mm",
    "soiling_loss_frac",
]
