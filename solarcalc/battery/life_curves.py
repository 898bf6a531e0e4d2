"""How long batteries last by their makers: cycles at a depth, years at rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from solarcalc.basis.errors import Fault, InputError
from solarcalc.sitefile.battery import Battery


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


def life_curve_of(battery: Battery) -> LifeCurve:
    """The life of this battery: by its own sheet where the site file gives it, else by kind.

    Makers differ by half and more.
    """
    usual = battery.traits.life
    depths, cycles, source = usual.depth_frac, usual.cycles, usual.clause
    if battery.life_depth_frac:
        depths, cycles = battery.life_depth_frac, battery.life_cycles
        source = "the maker's sheet, as the site file gives it"
    return LifeCurve(
        depth_frac=tuple(depths), cycles=tuple(cycles), reference_c=usual.reference_c,
        calendar_years=battery.life_years or usual.calendar_years, source=source,
    )  # fmt: skip


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


def _fault(field: str, given: object, allowed: str) -> Fault:
    return Fault(where=f"life curve: {field}", given=str(given), allowed=allowed)
