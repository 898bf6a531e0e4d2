"""How each kind of battery is to be cared for, in words for whoever does it."""

from __future__ import annotations

from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.sitefile.chemistry import Chemistry

ADVICE_SOURCE = f"{NO_SOURCE}; the maker's sheet stands before all of it"


def care_advice(kind: Chemistry) -> tuple[str, ...]:
    """Care of a kind of battery, one sentence or two each, what can hurt first."""
    return (*kind.words.safety, *kind.advice)
