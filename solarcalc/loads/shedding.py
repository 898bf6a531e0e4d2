"""In which order the loads of the nonessential board are shed, and at which level each goes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from solarcalc.loads.days import daily_profile_w
from solarcalc.sitefile.loads import Appliance, Loads


@dataclass(frozen=True, kw_only=True)
class ShedStep:
    """Appliances that are shed together.

    Parameters
    ----------
    number : int
        As the site file has it: 1 is shed first.
    appliances : tuple of Appliance
    off_share_frac, back_share_frac : float
        Where it is shed, and where it is back, between the level at which all of the board is
        shed and the one at which none is, [0 to 1].
    """

    number: int
    appliances: tuple[Appliance, ...]
    off_share_frac: float
    back_share_frac: float

    def level_frac(self, share_frac: float, shed_frac: float, return_frac: float) -> float:
        """State of charge at such a share of the way between two levels, [0 to 1]."""
        return shed_frac + share_frac * (return_frac - shed_frac)


def shed_steps(loads: Loads) -> tuple[ShedStep, ...]:
    """The steps of the nonessential board, shed first before shed last.

    Empty where all of it is one step, or where it was measured: a profile names no appliance.
    Between its two levels the board is fed in part, in proportion to the charge; the steps divide
    that way by their share of the board's energy, so that together they draw what the board does.

    Parameters
    ----------
    loads : Loads
    """
    numbers = sorted({item.shed_step for item in loads.nonessential})
    if len(numbers) < 2 or loads.nonessential_profile:
        return ()
    lists = {number: tuple(item for item in loads.nonessential if item.shed_step == number)
             for number in numbers}  # fmt: skip
    energy = {number: float(daily_profile_w(items).sum()) for number, items in lists.items()}
    whole, back, found = sum(energy.values()), 1.0, []
    for number, items in lists.items():
        off = max(back - energy[number] / whole, 0.0) if whole > 0.0 else back
        found.append(ShedStep(number=number, appliances=items, off_share_frac=off,
                              back_share_frac=back))  # fmt: skip
        back = off
    return tuple(found)


def shared_by_step(
    demand_w: Mapping[int, np.ndarray], supplied_w: np.ndarray
) -> dict[int, np.ndarray]:
    """What each step gets of the board's supply, the one that is shed last before all others [W].

    Parameters
    ----------
    demand_w : mapping of int to array (n,)
        By the number of the step [W].
    supplied_w : array (n,)
        To the board [W].
    """
    left, found = np.asarray(supplied_w, dtype=float), {}
    for number in sorted(demand_w, reverse=True):
        found[number] = np.minimum(demand_w[number], left)
        left = left - found[number]
    return dict(sorted(found.items()))
