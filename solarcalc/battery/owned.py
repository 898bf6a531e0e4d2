"""What the customer already owns: keep it, use it on the other board, or replace it.

The critical board must not go dark, so it gets what is sound; the other board may wait, and can
have what is worn but safe. Judged by the test results of the site file's [[owned]].
"""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import Sourced, assumptions
from solarcalc.battery.owned_battery import (
    judged_battery,
    kind_assumptions,
    kind_of,
)
from solarcalc.battery.owned_inverter import judged_inverter
from solarcalc.battery.owned_module import judged_module
from solarcalc.battery.owned_result import (
    CHOICES,
    BoardNeed,
    Judgement,
    Place,
)
from solarcalc.energy.diode import DIODE_FACTOR
from solarcalc.sitefile.owned import Owned

__all__ = [
    "OWNED_CAUTION",
    "BoardNeed",
    "Judgement",
    "Place",
    "judge_owned",
    "owned_assumptions",
    "owned_table",
]

OWNED_CAUTION = (
    "A swollen, leaking or hot battery, a cracked or burnt module, an inverter with a damaged case"
    " or a tripping breaker is not tested and not used, whatever its figures: isolate it and call"
    " a licensed person. Tests and reuse go by local codes."
)
"""To be shown wherever a judgement is."""


def owned_assumptions(owned: Iterable[Owned]) -> list[Sourced]:
    """What the judgement of these takes for granted, each with its source; empty for none."""
    things = list(owned)
    kinds = {str(one.chemistry): kind_of(one) for one in things if one.kind == "battery"}
    by_kind = [entry for kind in kinds.values() for entry in kind_assumptions(kind)]
    return [*assumptions("battery", "owned"), DIODE_FACTOR, *by_kind] if things else []


def judge_owned(owned: Owned, place: Place) -> Judgement:
    """Keep, use on the other board, replace, or test first; with what follows from each.

    Parameters
    ----------
    owned : Owned
        One [[owned]] of the site file.
    place : Place
        The bank's voltage and what the two boards ask.

    Returns
    -------
    Judgement

    Raises
    ------
    InputError
        A bank voltage that is not above 0, or a need below 0.
    """
    _check(place)
    judge = {"battery": judged_battery, "inverter": judged_inverter, "module": judged_module}
    return judge[owned.kind](owned, place)


def owned_table(judgements: Iterable[Judgement]) -> pd.DataFrame:
    """One row a thing: what it is, the choice, why, and what follows from each choice."""
    rows = [
        (item.label, item.kind, item.choice, "; ".join(item.why),
         *(item.consequences[choice] for choice in CHOICES))
        for item in judgements
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["owned", "kind", "choice", "found", *CHOICES])


def _check(place: Place) -> None:
    faults = []
    if not 0.0 < place.bank_voltage_v < float("inf"):
        faults.append(_fault("bank_voltage_v", place.bank_voltage_v, "above 0 V"))
    for board, need in (("critical", place.critical), ("heavy", place.heavy)):
        for name in ("peak_w", "surge_va", "daily_wh"):
            value = getattr(need, name)
            if not 0.0 <= value < float("inf"):
                faults.append(_fault(f"{board}.{name}", value, "0 or more"))
    if faults:
        raise InputError(faults)


def _fault(field: str, given: object, allowed: str) -> Fault:
    return Fault(where=f"owned things: {field}", given=str(given), allowed=allowed)
