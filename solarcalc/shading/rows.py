"""What one row takes from the next: the strip in shadow and the sky it hides.

Rows are taken as endless. What a strip costs in power is told by the circuit of the cells
(`solarcalc.circuit`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.sourced import constant
from solarcalc.roof import LOWEST_COSINE, Rows, cosine_on
from solarcalc.sitefile.records import Module

SKY_MASK_MODEL = constant("shading.sky_mask_model")
SIGHT_MARGIN = 1e-6
"""Shaded fractions below this are rounding of the geometry, not shade."""


@dataclass(frozen=True, kw_only=True)
class Blocks:
    """Independent parts of one module as a strip of shade from its lower edge meets them.

    Parameters
    ----------
    across : int
        Parts side by side that the same strip reaches together.
    up : int
        Parts one above another that the strip reaches in turn.
    """

    across: int
    up: int

    @property
    def per_module(self) -> int:
        """Parts of a module."""
        return self.across * self.up


def blocks_of(module: Module, orientation: str) -> Blocks:
    """How a module's bypassed parts lie when the strip rises from its lower edge.

    The bypassed substrings of a common module run along its long side. In portrait a strip
    along the short lower edge reaches all of them at once; in landscape it reaches them one
    after the other. A half-cut module has two halves in parallel, split across the long side,
    so that in portrait its upper half still works (common practice, no source).
    """
    halves = 2 if module.cell_build == "half-cut" else 1
    if orientation == "portrait":
        return Blocks(across=module.bypass_diodes, up=halves)
    return Blocks(across=halves, up=module.bypass_diodes)


def shaded_fraction(rows: Rows, sun: pd.DataFrame, *, pitch_m: float) -> pd.Series:
    """Share of a row's width in the shadow of the row in front, by hour, [0 to 1].

    Parameters
    ----------
    rows : Rows
    sun : DataFrame, shape (n,)
        ``apparent_zenith_deg``, ``azimuth_deg`` [deg].
    pitch_m : float
        In the roof plane [m].

    Returns
    -------
    Series, shape (n,)
        0 where the sun is below the horizon or behind the modules.

    Notes
    -----
    1 - (pitch / slant) (n_roof . s) / (n_module . s), held within 0 and 1. On a level roof it
    equals pvlib.shading.shaded_fraction1d wherever the sun is in front of the modules.
    """
    zenith, azimuth = sun["apparent_zenith_deg"].to_numpy(), sun["azimuth_deg"].to_numpy()
    on_modules = cosine_on(rows.module_normal, zenith, azimuth)
    on_roof = cosine_on(rows.roof_normal, zenith, azimuth)
    lit = (on_modules > LOWEST_COSINE) & (zenith < 90.0)
    ratio = np.divide(on_roof, on_modules, out=np.ones_like(on_roof), where=lit)
    fraction = np.clip(1.0 - pitch_m / rows.slant_m * ratio, 0.0, 1.0)
    fraction[~lit | (fraction < SIGHT_MARGIN)] = 0.0
    return pd.Series(fraction, index=sun.index, name="shaded_frac")


def roof_hides_sun(rows: Rows, sun: pd.DataFrame) -> pd.Series:
    """Hours in which the sun is up but below the plane of the roof, so that no row sees it."""
    zenith, azimuth = sun["apparent_zenith_deg"].to_numpy(), sun["azimuth_deg"].to_numpy()
    hidden = (cosine_on(rows.roof_normal, zenith, azimuth) <= 0.0) & (zenith < 90.0)
    return pd.Series(hidden, index=sun.index, name="hidden")


def sky_seen_frac(rows: Rows, *, pitch_m: float) -> float:
    """Share of its own unobstructed sky that a row behind another still sees, [0 to 1].

    Notes
    -----
    View factor of the row to the sky between its neighbours, mean over the slant, over that of
    the same plane alone, (1 + cos) / 2. Angles are taken in the roof's frame, so a roof's own
    slope counts as the horizon of both.
    """
    if rows.lift_deg == 0.0:
        return 1.0
    seen = pvlib.bifacial.utils.vf_row_sky_2d_integ(rows.lift_deg, rows.slant_m / pitch_m)
    alone = (1.0 + np.cos(np.radians(rows.lift_deg))) / 2.0
    return float(seen / alone)
