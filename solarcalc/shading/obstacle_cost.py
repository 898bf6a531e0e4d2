"""What the shadows of boxes cost: strings hour by hour, modules over the year."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.sourced import constant
from solarcalc.shading.obstacles import ObstacleShade
from solarcalc.shading.places import ModulePlaces
from solarcalc.sitefile.records import Roof

OBSTACLE_COST_MODEL = constant("shading.obstacle_cost_model")


def string_of(module_count: int, modules_in_series: int) -> np.ndarray:
    """Number of the string each module belongs to, in the order of the places, shape (m,).

    A remainder that fills no string counts as a shorter one of its own.
    """
    return np.arange(module_count) // modules_in_series


def string_kept_frac(shade: ObstacleShade, *, modules_in_series: int) -> pd.DataFrame:
    """Share of the beam each string still turns into power, by hour, (n, strings), [0 to 1].

    Parameters
    ----------
    shade : ObstacleShade
    modules_in_series : int
        Modules of one string, taken in the order of the places.

    Notes
    -----
    (1 - shaded fraction) (1 - touched parts / (all parts + 1)) of the whole string. A part is
    a substring of a module, or the half of one where its cells are cut; one touched at a corner
    counts like one in full shade, so small shadows are judged on the strict side. The shaded
    fraction is the mean over the string's modules. The table made for strips of shade along an
    edge does not fit the shape of these shadows and is not used.
    """
    string = string_of(shade.module_count, modules_in_series)
    count = int(string.max(initial=-1)) + 1
    size = np.bincount(string, minlength=count)
    hours, inverse = np.unique(shade.hour, return_inverse=True)
    key = inverse * count + string[shade.module]
    shape = (len(hours), count)
    area, touched = (
        np.bincount(key, weights=what, minlength=len(hours) * count).reshape(shape)
        for what in (shade.shaded_frac, shade.shaded_blocks)
    )
    fraction = area / size
    lost = pvlib.shading.direct_martinez(
        np.ones(shape), np.ones(shape), fraction, touched, size * shade.blocks.per_module
    )
    kept = np.ones((len(shade.index), count))
    kept[hours] = 1.0 - lost
    return pd.DataFrame(kept, index=shade.index)


def obstacle_kept_frac(shade: ObstacleShade, *, modules_in_series: int) -> pd.Series:
    """Share of the direct light (beam and circumsolar) the array still uses, (n,), [0 to 1].

    The mean over its strings, each by its modules: strings are taken to find their best point
    each by itself, though they share a tracker. Multiply with the share left by row on row: an
    area under both shadows then counts twice, on the strict side.
    """
    kept = string_kept_frac(shade, modules_in_series=modules_in_series)
    if kept.shape[1] == 0:
        return pd.Series(1.0, index=shade.index, name="obstacle_kept_frac")
    size = np.bincount(string_of(shade.module_count, modules_in_series))
    mean = kept.to_numpy() @ (size / size.sum())
    return pd.Series(mean, index=shade.index, name="obstacle_kept_frac")


def module_beam_kept_frac(shade: ObstacleShade, direct_w_m2: pd.Series) -> np.ndarray:
    """Share of a year's direct light that still falls on each module, shape (m,), [0 to 1].

    By area alone, for the plan of the roof: what the string loses is more.

    Parameters
    ----------
    shade : ObstacleShade
    direct_w_m2 : Series, shape (n,)
        Beam and circumsolar on the plane of the modules [W/m2].
    """
    direct = direct_w_m2.to_numpy()
    lost = np.bincount(
        shade.module, weights=shade.shaded_frac * direct[shade.hour], minlength=shade.module_count
    )
    whole = float(direct.sum())
    kept: np.ndarray = 1.0 - lost / whole if whole > 0.0 else np.ones(shade.module_count)
    return kept


def module_shade_table(
    places: ModulePlaces,
    roof: Roof,
    *,
    beam_kept_frac: np.ndarray,
    sky_seen_frac: np.ndarray,
    modules_in_series: int,
) -> pd.DataFrame:
    """One line a module, numbered from 1: where it stands and what the boxes leave of its light.

    Returns
    -------
    DataFrame, shape (m,)
        ``row`` and ``string`` from 1; ``along_m``, ``up_m`` of its middle from the left end of
        the eaves [m]; ``beam_kept_frac`` of the year and ``sky_seen_frac`` [0 to 1]. The
        corners for a drawing are ``places.plan_corners_m``, in the same order.
    """
    middle = places.middle_m
    return pd.DataFrame(
        {
            "row": places.row + 1,
            "string": string_of(places.count, modules_in_series) + 1,
            "along_m": middle[:, 0] + roof.length_m / 2.0,
            "up_m": middle[:, 1] + roof.depth_m / 2.0,
            "beam_kept_frac": beam_kept_frac,
            "sky_seen_frac": sky_seen_frac,
        },
        index=pd.RangeIndex(1, places.count + 1, name="module"),
    )
