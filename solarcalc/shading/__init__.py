"""What blocks the light: the row in front, what stands on the roof, what stands around."""

from solarcalc.shading.horizon import (
    HORIZON_MODEL,
    horizon_height_deg,
    horizon_hides_sun,
    horizon_sky_seen_frac,
)
from solarcalc.shading.rows import (
    SHADE_MODEL,
    SIGHT_MARGIN,
    SKY_MASK_MODEL,
    Blocks,
    beam_kept_frac,
    blocks_of,
    roof_hides_sun,
    shaded_blocks,
    shaded_fraction,
    sky_seen_frac,
)

__all__ = [
    "HORIZON_MODEL",
    "SHADE_MODEL",
    "SIGHT_MARGIN",
    "SKY_MASK_MODEL",
    "Blocks",
    "beam_kept_frac",
    "blocks_of",
    "horizon_height_deg",
    "horizon_hides_sun",
    "horizon_sky_seen_frac",
    "roof_hides_sun",
    "shaded_blocks",
    "shaded_fraction",
    "sky_seen_frac",
]
