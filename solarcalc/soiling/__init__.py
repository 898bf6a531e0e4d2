"""Dust on the modules through the year: what settles, what takes it off, what it costs in light.

`build_up` adds the dust up, by a rate a dry day or by the particulates of the air
(`particulates`); `strip` is the dirt above the lower frame of a near-flat module.
"""

from solarcalc.soiling.build_up import (
    DUST_BY_TILT,
    DUST_MODEL,
    PARTICULATE_MODEL,
    RATE_TILT_DEG,
    dust_by_tilt,
    dust_model,
    rain_for_cleaning_mm,
    rate_per_dry_day_frac,
    soiling_loss_frac,
)
from solarcalc.soiling.particulates import clean_hours, loss_of_particulates
from solarcalc.soiling.strip import (
    STRIP_MODEL,
    STRIP_REACH_M,
    WET_DAY_MM,
    dirt_strip,
    strip_kept_frac,
    strip_over_cells_m,
    strip_strung,
)

__all__ = [
    "DUST_BY_TILT",
    "DUST_MODEL",
    "PARTICULATE_MODEL",
    "RATE_TILT_DEG",
    "STRIP_MODEL",
    "STRIP_REACH_M",
    "WET_DAY_MM",
    "clean_hours",
    "dirt_strip",
    "dust_by_tilt",
    "dust_model",
    "loss_of_particulates",
    "rain_for_cleaning_mm",
    "rate_per_dry_day_frac",
    "soiling_loss_frac",
    "strip_kept_frac",
    "strip_over_cells_m",
    "strip_strung",
]
