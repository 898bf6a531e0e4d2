"""How long batteries last by their makers: cycles at a depth, years at rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE


@dataclass(frozen=True, kw_only=True)
class LifeCurve:
    """What a maker says of the life of a battery.

    Parameters
    ----------
    depth_frac : tuple of float
        Depths of discharge, rising, [above 0 to 1].
    cycles : tuple of float
        Cycles to the end of life at each depth, falling.
    calendar_years : float
        Life at rest at the reference temperature [years].
    reference_c : float
        [degC].
    source : str

    Raises
    ------
    InputError
        Fewer than two points, depths that do not rise within 0 to 1, cycles that do not fall,
        a life of no length.
    """

    depth_frac: tuple[float, ...]
    cycles: tuple[float, ...]
    calendar_years: float
    reference_c: float
    source: str

    def __post_init__(self) -> None:
        depth, cycles = np.asarray(self.depth_frac), np.asarray(self.cycles)
        faults = []
        if not (len(depth) >= 2 and depth[0] > 0.0 and depth[-1] <= 1.0
                and (np.diff(depth) > 0.0).all()):
            faults.append(
                _fault("depth_frac", self.depth_frac, "two or more depths, rising, above 0 to 1")
            )
        if not (len(cycles) == len(depth) and (np.diff(cycles) < 0.0).all()
                and (cycles > 0.0).all()):
            faults.append(
                _fault("cycles", self.cycles, "a number above 0 for each depth, falling")
            )
        if not 0.0 < self.calendar_years < np.inf:
            faults.append(_fault("calendar_years", self.calendar_years, "above 0 years"))
        if faults:
            raise InputError(faults)


LIFE_CURVES: dict[str, LifeCurve] = {
    "flooded": LifeCurve(
        depth_frac=(0.2, 0.5, 0.8), cycles=(3400.0, 1500.0, 985.0), calendar_years=12.0,
        reference_c=20.0,
        source="20 and 50 % as one seller prints them for a deep-cycle cell, 80 % on their line;"
        f" years at rest: {NO_SOURCE}",
    ),
    "agm": LifeCurve(
        depth_frac=(0.3, 0.5, 0.8), cycles=(1500.0, 800.0, 400.0), calendar_years=10.0,
        reference_c=20.0,
        source="between 600 and 1000 cycles at 50 %, 300 and 500 at 80 %, as makers differ;"
        f" {NO_SOURCE}",
    ),
    "gel": LifeCurve(
        depth_frac=(0.3, 0.5, 0.8), cycles=(1800.0, 1000.0, 550.0), calendar_years=12.0,
        reference_c=20.0, source=NO_SOURCE,
    ),
    "lifepo4": LifeCurve(
        depth_frac=(0.3, 0.5, 0.8), cycles=(8000.0, 5000.0, 3500.0), calendar_years=15.0,
        reference_c=25.0, source=FROM_MEMORY,
    ),
}  # fmt: skip
"""Life by chemistry where the maker's sheet is not at hand; makers differ by half and more."""


def cycles_to_end(depth_frac: ArrayLike, curve: LifeCurve) -> np.ndarray:
    """Cycles to the end of life at a depth of discharge; infinite at depth 0.

    Notes
    -----
    Straight lines between the points where both axes are logarithmic, N = a D^-b; the first
    and the last line go on beyond the ends.
    """
    depth = np.asarray(depth_frac, dtype=float)
    log_depth, log_cycles = np.log(curve.depth_frac), np.log(curve.cycles)
    slope = np.diff(log_cycles) / np.diff(log_depth)
    with np.errstate(divide="ignore", over="ignore"):
        at = np.log(depth)
        piece = np.clip(np.searchsorted(log_depth, at) - 1, 0, len(slope) - 1)
        cycles: np.ndarray = np.exp(log_cycles[piece] + slope[piece] * (at - log_depth[piece]))
    return cycles


def with_points(
    curve: LifeCurve, *, depth_frac: Sequence[float], cycles: Sequence[float], source: str
) -> LifeCurve:
    """A life curve with the cycles of the maker's own sheet; raises as `LifeCurve`."""
    return replace(
        curve, depth_frac=tuple(depth_frac), cycles=tuple(cycles), source=source
    )


def _fault(field: str, given: object, allowed: str) -> Fault:
    return Fault(where=f"life curve: {field}", given=str(given), allowed=allowed)
