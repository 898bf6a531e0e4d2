"""What the compiled loop runs: systems, and the sources beside their sun."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from solarcalc.supply import kernels


class Jobs(NamedTuple):
    """Systems with one bank each, shape (j,): what is run of them.

    ``light``, ``kept`` and ``added`` are lines of what `kernels.own_suns` is given; ``watts`` rated
    power times the efficiency of the controllers [W], ``limit_w`` the most they give [W], ``bank``
    the scale of the bank.
    """

    light: Any
    kept: Any
    watts: Any
    limit_w: Any
    bank: Any
    added: Any


class Mains(NamedTuple):
    """Sources beside the sun: None for one that is not there, and shorter machine code."""

    grid: Any = True
    engine: Any = True


def mains_of(islands: Sequence[kernels.Island], series: Sequence[np.ndarray]) -> Mains:
    """The sources beside the sun of banks with their series, (n, 9) each."""
    grid = any((one[:, kernels.GRID_W] > 0.0).any() for one in series)
    return Mains(grid=True if grid else None,
                 engine=True if any(one.generator_w > 0.0 for one in islands) else None)
