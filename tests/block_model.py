"""The block model of Martinez-Moreno et al. 2010 for a strip from below, by the library."""

from __future__ import annotations

import numpy as np
import pvlib

from solarcalc.shading.rows import Blocks


def beam_kept_frac(fraction, blocks: Blocks, *, modules_in_series: int, modules_high: int = 1):
    """Share of the beam that a string under a strip turns into power, all in the same row.

    (1 - shaded fraction) (1 - shaded blocks / (all blocks + 1)), fed with the blocks of the
    whole string: the model is made for a generator, and one module's blocks alone would
    understate the loss.
    """
    fraction = np.atleast_1d(np.asarray(fraction, dtype=float))
    layers = np.ceil(fraction * blocks.up * modules_high)
    shaded = layers * blocks.across * modules_in_series / modules_high
    ones = np.ones_like(fraction)
    total = blocks.per_module * modules_in_series
    return 1.0 - pvlib.shading.direct_martinez(ones, ones, fraction, shaded, total)
