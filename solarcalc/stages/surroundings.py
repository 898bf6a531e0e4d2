"""What stands around an array: the horizon, boxes on its roof, trees and walls beside it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from solarcalc.basis.check import Check, checked
from solarcalc.basis.keys import Same
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.energy.light import Around
from solarcalc.roof.packing import ModulePlaces, RoofFit, modules_on_roof
from solarcalc.roof.rows import Orientation, Rows
from solarcalc.roof.strings import Layout, strung
from solarcalc.shading.obstacles import (
    OBSTACLE_COST_MODEL,
    ObstacleShade,
    module_beam_kept_frac,
    module_shade_table,
    obstacle_kept_frac,
    obstacle_shade,
    obstacle_sky_seen_frac,
)
from solarcalc.shading.rows import (
    Blocks,
    blocks_of,
    horizon_band_seen_frac,
    horizon_hides_sun,
    horizon_sky_seen_frac,
    roof_hides_sun,
)
from solarcalc.sitefile.roof import Roof
from solarcalc.siteyear import SiteYear

BOX_LOSS_FRAC = float(constant("shading.box_loss_frac"))


@dataclass(frozen=True, kw_only=True, eq=False)
class Boxes:
    """What the boxes on the roof do to one layout.

    Parameters
    ----------
    places : ModulePlaces
    shade : ObstacleShade
    sky_seen_frac : array (m,)
        Share of its sky that each module still sees, [0 to 1].
    """

    places: ModulePlaces
    shade: ObstacleShade
    sky_seen_frac: np.ndarray


def boxes_of(
    own: SiteYear, fit: RoofFit, *, module_count: int | None = None, row_count: int | None = None
) -> Boxes | None:
    """What the roof's boxes do to a layout; None where there is no box or no module.

    Parameters
    ----------
    own : SiteYear
    fit : RoofFit
        The roof filled.
    module_count, row_count : int, optional
        Modules of the array and the rows they stand in, where it does not fill the roof.
    """
    roof = own.site.roof
    if not (roof.obstacles or roof.neighbours) or not fit.places:
        return None
    return _boxes(
        Same(own.sun), roof, fit, (module_count, row_count),
        (own.site.array.modules_in_series, own.site.array.string_layout),
        blocks_of(own.site.module, fit.rows.orientation),
    )  # fmt: skip


@lru_cache(maxsize=16)
def _boxes(
    sun: Same, roof: Roof, fit: RoofFit, counts: tuple[int | None, int | None],
    strings: tuple[int, Layout], blocks: Blocks,
) -> Boxes:  # fmt: skip
    """Kept: changed designs share a sun, and most changes leave the layout alone."""
    places = strung(
        modules_on_roof(fit, module_count=counts[0], row_count=counts[1]),
        modules_in_series=strings[0], layout=strings[1],
    )  # fmt: skip
    return Boxes(
        places=places,
        shade=obstacle_shade(places, roof, sun.table, blocks),
        sky_seen_frac=obstacle_sky_seen_frac(places, roof),
    )


def around_of(own: SiteYear, rows: Rows, boxes: Boxes | None) -> Around:
    """What hides light from all of an array."""
    horizon = own.site.horizon
    hidden = roof_hides_sun(rows, own.sun) | horizon_hides_sun(horizon, own.sun)
    around = Around(
        sun_hidden=hidden,
        horizon_sky=horizon_sky_seen_frac(horizon, rows.tilt_deg, rows.azimuth_deg),
        horizon_band=horizon_band_seen_frac(horizon, rows.tilt_deg, rows.azimuth_deg),
    )
    if boxes is None:
        return around
    return replace(
        around,
        obstacle_beam=obstacle_kept_frac(
            boxes.shade, modules_in_series=own.site.array.modules_in_series
        ),
        obstacle_sky=float(boxes.sky_seen_frac.mean()),
    )


def box_shade_table(own: SiteYear, boxes: Boxes, light: pd.DataFrame) -> pd.DataFrame:
    """One line a module: where it stands and what the boxes leave of its year's light.

    `light` is that of `solarcalc.sky.plane_light` on the modules; see `module_shade_table`.
    """
    return module_shade_table(
        boxes.places,
        own.site.roof,
        beam_kept_frac=module_beam_kept_frac(boxes.shade, light["beam"] + light["circumsolar"]),
        sky_seen_frac=boxes.sky_seen_frac,
        modules_in_series=own.site.array.modules_in_series,
    )


def box_check(around: Around, light: pd.DataFrame, way: Orientation) -> Check:
    """Whether boxes on the roof and beside it take more direct light than is worth a word.

    `light`: columns of `plane_light`, one row an hour [W/m2].
    """
    direct = (light["beam"] + light["circumsolar"]) * (~around.sun_hidden).astype(float)
    whole = float(direct.sum())
    lost = 1.0 - float((direct * around.obstacle_beam).sum()) / whole if whole > 0.0 else 0.0
    return checked(lost <= BOX_LOSS_FRAC, clause=OBSTACLE_COST_MODEL.source, **worded(
        "stages", "direct-light-lost", way=way, lost=100.0 * lost,
        box_loss_percent=100.0 * BOX_LOSS_FRAC,
    ))  # fmt: skip
