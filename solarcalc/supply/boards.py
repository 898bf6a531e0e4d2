"""A board behind its inverter, and when the heavy one waits."""

from __future__ import annotations

from dataclasses import dataclass

UNSERVED_W = 0.5
"""A board short of less than this is taken as served: rounding, not darkness [W]."""


@dataclass(frozen=True, kw_only=True)
class Board:
    """One board behind its inverter.

    Parameters
    ----------
    rating_w : float
        Continuous rating of the inverter [W].
    efficiency_frac : float
    idle_w : float
        What the inverter draws from the store's side while it is on [W].
    """

    rating_w: float
    efficiency_frac: float
    idle_w: float


@dataclass(frozen=True, kw_only=True)
class Shedding:
    """When the heavy board waits: it goes off at ``off_frac`` and returns at ``on_frac``.

    Both are states of charge, [0 to 1].
    """

    off_frac: float
    on_frac: float
