"""How sure the yearly energy is: what is uncertain, by how much, and what that makes together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.harvest.energy import Harvest, lost_frac

_HALF_OF = (
    "Horizon",
    "Obstacles on the roof",
    "Shade of row on row, direct light",
    "Sky hidden by the row in front",
    "Dust",
    "Cells and strings in part shade",
    "Strip of dirt above the lower frame",
)
"""Losses whose own size is a guess by half."""


@dataclass(frozen=True, kw_only=True)
class Uncertainty:
    """One thing that is not known exactly.

    Parameters
    ----------
    name : str
    sigma_frac : float
        Standard deviation, as a share of the yearly energy [0 to 1].
    source : str
    """

    name: str
    sigma_frac: float
    source: str


FIXED = (
    Uncertainty(name="Long-term sunshine of the place against the weather file",
                sigma_frac=0.04, source=FROM_MEMORY),
    Uncertainty(name="One year against another", sigma_frac=0.04, source=FROM_MEMORY),
    Uncertainty(name="Light on the tilted plane", sigma_frac=0.02,
                source="two published sky models differ by 1.5 to 2.0 % a year at three stations,"
                " measured in the tests of this package"),
    Uncertainty(name="Rated power of the modules", sigma_frac=0.015, source=NO_SOURCE),
    Uncertainty(name="Module and heat model", sigma_frac=0.02, source=FROM_MEMORY),
    Uncertainty(name="Fixed losses: mismatch, cables, first light, ageing", sigma_frac=0.015,
                source=NO_SOURCE),
)
"""The same for every site; an office that knows better puts its own figures here."""


MADE_YEAR = Uncertainty(
    name="Year made from twelve monthly means", sigma_frac=0.02,
    source="its in-plane energy is within 3 % of that of real hourly files, measured in the tests"
    " of this package",
)  # fmt: skip


def uncertainties_of(harvest: Harvest, *, made_year: bool = False) -> tuple[Uncertainty, ...]:
    """The fixed uncertainties, and half of each loss that is modelled simply.

    Parameters
    ----------
    harvest : Harvest
    made_year : bool
        The hours were made from monthly means.
    """
    steps = harvest.steps
    own = [
        Uncertainty(
            name=f"Half of the loss: {after.name[0].lower()}{after.name[1:]}",
            sigma_frac=0.5 * abs(lost_frac(before, after)),
            source="what is modelled simply may be off by half; " + NO_SOURCE,
        )
        for before, after in pairwise(steps)
        if after.name in _HALF_OF and lost_frac(before, after) != 0.0
    ]
    return (*FIXED, *([MADE_YEAR] if made_year else []), *own)


def combined_frac(parts: Sequence[Uncertainty]) -> float:
    """Standard deviation of all parts together, taken as independent: root of summed squares.

    Examples
    --------
    >>> parts = [Uncertainty(name="-", sigma_frac=s, source="-") for s in (0.03, 0.04)]
    >>> round(combined_frac(parts), 6)
    0.05
    """
    return math.sqrt(sum(part.sigma_frac**2 for part in parts))


def exceeded_kwh(mean_kwh: float, sigma_frac: float, *, chance_frac: float) -> float:
    """Yearly energy [kWh] that is exceeded with a given chance; 0.5 gives the mean itself.

    Parameters
    ----------
    mean_kwh : float
        The computed energy, taken as the middle of what may come [kWh].
    sigma_frac : float
        Standard deviation as a share of it [0 to 1].
    chance_frac : float
        Chance that it is exceeded, above 0 and below 1: 0.9 for P90.

    Raises
    ------
    InputError
        For a chance outside.

    Notes
    -----
    Normal distribution: mean (1 - z sigma), with z = 1.2816 for P90.
    """
    if not 0.0 < chance_frac < 1.0:
        raise InputError(
            Fault(where="chance_frac", given=str(chance_frac), allowed="above 0 and below 1")
        )
    return mean_kwh * (1.0 - NormalDist().inv_cdf(chance_frac) * sigma_frac)
