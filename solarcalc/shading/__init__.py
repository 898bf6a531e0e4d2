"""What blocks the light: the row in front, what stands on the roof, what stands around."""

from solarcalc.shading.horizon import (
    HORIZON_MODEL,
    horizon_height_deg,
    horizon_hides_sun,
    horizon_sky_seen_frac,
)
from solarcalc.shading.obstacle_cost import (
    OBSTACLE_COST_MODEL,
    module_beam_kept_frac,
    module_shade_table,
    obstacle_kept_frac,
    string_kept_frac,
    string_of,
)
from solarcalc.shading.obstacles import (
    OBSTACLE_MODEL,
    ObstacleShade,
    obstacle_shade,
    obstacle_sky_seen_frac,
)
from solarcalc.shading.places import ModulePlaces, modules_on_roof, roof_axes
from solarcalc.shading.rows import (
    SIGHT_MARGIN,
    SKY_MASK_MODEL,
    Blocks,
    blocks_of,
    roof_hides_sun,
    shaded_fraction,
    sky_seen_frac,
)

__all__ = [
    "HORIZON_MODEL",
    "OBSTACLE_COST_MODEL",
    "OBSTACLE_MODEL",
    "SIGHT_MARGIN",
    "SKY_MASK_MODEL",
    "Blocks",
    "ModulePlaces",
    "ObstacleShade",
    "blocks_of",
    "horizon_height_deg",
    "horizon_hides_sun",
    "horizon_sky_seen_frac",
    "module_beam_kept_frac",
    "module_shade_table",
    "modules_on_roof",
    "obstacle_kept_frac",
    "obstacle_shade",
    "obstacle_sky_seen_frac",
    "roof_axes",
    "roof_hides_sun",
    "shaded_fraction",
    "sky_seen_frac",
    "string_kept_frac",
    "string_of",
]
