"""What blocks the light: the row in front, what stands on the roof, what stands around."""

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
    "SHADE_MODEL",
    "SIGHT_MARGIN",
    "SKY_MASK_MODEL",
    "Blocks",
    "beam_kept_frac",
    "blocks_of",
    "roof_hides_sun",
    "shaded_blocks",
    "shaded_fraction",
    "sky_seen_frac",
]
