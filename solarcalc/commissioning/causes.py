"""A likely cause, and how far a reading is from what is expected of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from solarcalc.basis.sourced import constant

CauseKey = Literal[
    "reversed-string", "open-string", "modules-missing", "modules-added", "module-reversed",
    "bypass-diode",
    "voltage-low", "voltage-high", "temperature-reading", "other-modules", "open-fuse",
    "string-current-low", "string-current-high", "two-strings", "sensor-shaded", "array-dirty",
    "current-doubtful", "held-back", "pole-to-earth", "both-poles-to-earth", "insulation-low",
    "open-conductor", "poor-bond", "poor-earth", "residual-device", "neutral-tie",
    "unit-reversed", "open-unit", "dead-cell", "unlike-unit", "not-charged", "overcharged",
    "link-missing", "unit-linked-backwards", "bank-reversed", "sum-wrong", "out-of-limits", "seen",
]  # fmt: skip

NOTHING_FRAC = float(constant("commissioning.nothing_frac"))


@dataclass(frozen=True, kw_only=True)
class Cause:
    """What is likely behind one reading or several.

    Parameters
    ----------
    key : str
        Short name of the cause.
    ids : tuple of str
        Lines it explains.
    words : str
        What it is, as a guess that can be looked at.
    remedy : str
        What to look at or do first.
    """

    key: CauseKey
    ids: tuple[str, ...]
    words: str
    remedy: str


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A reading of a string beside what is expected of it.

    Parameters
    ----------
    id, name : str
        Of the line; of the string.
    modules : int
        In series.
    ratio : float
        Measured over expected.
    """

    id: str
    name: str
    modules: int
    ratio: float


def typical(ratios: Sequence[float]) -> float:
    """The ratio that a string is compared with: the middle one; of two the nearer to 1.

    Examples
    --------
    >>> typical([0.7, 0.99]), typical([1.0, 0.6, 0.98])
    (0.99, 0.98)
    """
    if not ratios:
        return 1.0
    if len(ratios) == 2:
        return min(ratios, key=lambda ratio: abs(ratio - 1.0))
    return median(ratios)
