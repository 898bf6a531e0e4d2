"""What keeps a lead-acid bank well: full charges, soon enough after one another.

Battery gas burns and explodes, acid blinds, and a bank can deliver thousands of amperes: the
advice here is for people trained to work on batteries, under local codes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from solarcalc.basis.sourced import NO_SOURCE, Sourced
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.battery.gassing import (
    EQUALISE_EVERY_DAYS,
    FULL_FRAC,
    GASSING_CONSTANTS,
    Equalising,
    check_chemistry,
    checked_charge,
    full_days_of,
)

RAISED_DAYS = Sourced(
    label="Days without a full charge from which sulphation is a risk", value=7.0, unit="days",
    source=NO_SOURCE,
)  # fmt: skip
HIGH_DAYS = Sourced(
    label="Days without a full charge from which the risk is high", value=14.0, unit="days",
    source=NO_SOURCE,
)  # fmt: skip
HIGH_BELOW_HALF_FRAC = Sourced(
    label="Share of the year below half charge from which the risk is high", value=0.25, unit="",
    source=NO_SOURCE,
)  # fmt: skip
SULPHATION_CAUSE = (
    "incomplete recharge is the main cause of early loss of capacity in solar service"
    " (T. Hund, Sandia National Laboratories, Capacity loss in PV batteries; abstract read)"
)
CARE_CONSTANTS = (
    RAISED_DAYS, HIGH_DAYS, HIGH_BELOW_HALF_FRAC, *GASSING_CONSTANTS,
)  # fmt: skip

Risk = Literal["none", "low", "raised", "high"]


@dataclass(frozen=True, kw_only=True)
class PartialCharge:
    """How a bank lives between its full charges.

    Parameters
    ----------
    longest_days : float
        Longest stretch without a full charge [days]; infinite when it is never full.
    full_days : int
        Days of the series on which it was full at some hour.
    below_80_h, below_50_h : int
        Hours below 80 and below 50 % [h].
    below_50_frac : float
        Share of all hours, [0 to 1].
    risk : {"none", "low", "raised", "high"}
        Of sulphation; "none" for lithium, which does not sulphate.
    """

    longest_days: float
    full_days: int
    below_80_h: int
    below_50_h: int
    below_50_frac: float
    risk: Risk


def hours_since_full(charge_frac: ArrayLike, *, full_frac: float = float(FULL_FRAC)) -> np.ndarray:
    """Hours since the bank was last full, by hour, shape (n,), [h]; 0 in a full hour.

    The year is taken to follow itself, so January counts on from December; infinite where the
    bank is never full.

    Examples
    --------
    >>> hours_since_full([0.5, 1.0, 0.9, 0.8]).tolist()
    [3.0, 0.0, 1.0, 2.0]
    """
    full = checked_charge(charge_frac) >= full_frac
    if not full.any():
        return np.full(full.size, np.inf)
    hour = np.arange(full.size)
    last = np.maximum.accumulate(np.where(full, hour, -1))
    before = hour[full][-1] - full.size
    return (hour - np.where(last < 0, before, last)).astype(float)


def partial_charge(
    charge_frac: ArrayLike, *, chemistry: str, full_frac: float = float(FULL_FRAC)
) -> PartialCharge:
    """Time without a full charge, hours at partial charge and the risk of sulphation.

    Parameters
    ----------
    charge_frac : array (n,)
        Hourly state of charge, [0 to 1].
    chemistry : {"flooded", "agm", "gel", "lifepo4"}
    full_frac : float
        What counts as full, [0 to 1].

    Raises
    ------
    InputError
        A chemistry or a state of charge that is none.

    Notes
    -----
    Low: full at least every 7 days. Raised: longer. High: longer than 14 days, or a quarter of
    the year below half charge.
    """
    check_chemistry(chemistry)
    charge = checked_charge(charge_frac)
    since_h = hours_since_full(charge, full_frac=full_frac)
    longest_days = float(since_h.max()) / 24.0
    below_50 = int((charge < 0.5).sum())
    return PartialCharge(
        longest_days=longest_days,
        full_days=len(full_days_of(charge, full_frac)),
        below_80_h=int((charge < 0.8).sum()),
        below_50_h=below_50,
        below_50_frac=below_50 / charge.size,
        risk=_risk(chemistry, longest_days, below_50 / charge.size),
    )


def _risk(chemistry: str, longest_days: float, below_50_frac: float) -> Risk:
    if chemistry == "lifepo4":
        return "none"
    if longest_days > float(HIGH_DAYS) or below_50_frac >= float(HIGH_BELOW_HALF_FRAC):
        return "high"
    return "raised" if longest_days > float(RAISED_DAYS) else "low"


def care_verdicts(
    partial: PartialCharge, equalised: Equalising, *, chemistry: str
) -> tuple[Verdict, ...]:
    """Sulphation by the days without a full charge; equalising charges that come late."""
    check_chemistry(chemistry)
    if chemistry == "lifepo4":
        return ()
    found = "never full" if np.isinf(partial.longest_days) else f"{partial.longest_days:.0f}"
    verdicts = [
        judged(
            partial.risk == "low",
            "failed" if partial.risk == "high" else "caution",
            item="Risk of sulphation: longest time without a full charge",
            found=f"{found}; {partial.below_50_frac:.0%} of the hours below half",
            limit=f"{float(RAISED_DAYS):g}; {float(HIGH_BELOW_HALF_FRAC):.0%}",
            unit="days",
            clause=f"{SULPHATION_CAUSE}; days: {RAISED_DAYS.source}",
            remedy="more modules or less use in the dull months, a full charge from the grid or"
            " a generator every week, or lithium, which does not mind",
        )
    ]
    if chemistry == "flooded":
        verdicts.append(
            judged(
                equalised.late_days <= float(RAISED_DAYS),
                item="Equalising charge: longest wait for a full bank",
                found=f"{equalised.late_days}",
                limit=f"{float(RAISED_DAYS):g}",
                unit="days",
                clause=EQUALISE_EVERY_DAYS.source,
                remedy="give it from the grid or a generator when the sun does not fill the bank",
            )
        )
    return tuple(verdicts)
