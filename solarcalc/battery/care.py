"""What keeps a lead-acid bank well: full charges, soon enough after one another.

Battery gas burns and explodes, acid blinds, and a bank can deliver thousands of amperes: the
advice here is for people trained to work on batteries, under local codes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from solarcalc.basis.sourced import Sourced, constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.battery.gassing import FULL_FRAC, Equalising, checked_charge, full_days_of
from solarcalc.sitefile.chemistry import Chemistry

EQUALISE_LATE_DAYS = int(constant("battery.equalise_late_days"))
SULPHATION_CAUSE = (
    "incomplete recharge is the main cause of early loss of capacity in solar service"
    " (T. Hund, Sandia National Laboratories, Capacity loss in PV batteries; abstract read)"
)
Risk = Literal["none", "low", "raised", "high"]


def care_assumptions(kind: Chemistry) -> list[Sourced]:
    """What the care of this kind takes for granted, each with its source."""
    found = [FULL_FRAC]
    if kind.sulphation is not None:
        found += [kind.sulphation.sourced("raised_days", "days"),
                  kind.sulphation.sourced("high_days", "days"),
                  kind.sulphation.sourced("high_below_half_frac")]  # fmt: skip
    if kind.equalising is not None:
        found += [kind.equalising.sourced("every_days", "days"),
                  kind.equalising.sourced("length_h", "h"),
                  kind.equalising.sourced("current_per_h", "1/h"),
                  kind.charge.sourced("equalise_v", "V")]  # fmt: skip
    if kind.water is not None and kind.gas is not None:
        found += [kind.water.sourced("overcharge_frac"),
                  kind.gas.sourced("float_ma_per_ah", "mA/Ah")]  # fmt: skip
    return found


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
        Of sulphation; "none" for a kind that does not sulphate.
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
    charge_frac: ArrayLike, *, kind: Chemistry, full_frac: float = float(FULL_FRAC)
) -> PartialCharge:
    """Time without a full charge, hours at partial charge and the risk of sulphation.

    Parameters
    ----------
    charge_frac : array (n,)
        Hourly state of charge, [0 to 1].
    kind : Chemistry
    full_frac : float
        What counts as full, [0 to 1].

    Raises
    ------
    InputError
        A state of charge that is none.

    Notes
    -----
    Low: full at least every `raised_days`. Raised: longer. High: longer than `high_days`, or
    `high_below_half_frac` of the year below half charge; days and share of `kind.sulphation`.
    """
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
        risk=_risk(kind, longest_days, below_50 / charge.size),
    )


def _risk(kind: Chemistry, longest_days: float, below_50_frac: float) -> Risk:
    rule = kind.sulphation
    if rule is None:
        return "none"
    if longest_days > rule.high_days or below_50_frac >= rule.high_below_half_frac:
        return "high"
    return "raised" if longest_days > rule.raised_days else "low"


def care_verdicts(
    partial: PartialCharge, equalised: Equalising, *, kind: Chemistry
) -> tuple[Verdict, ...]:
    """Sulphation by the days without a full charge; equalising charges that come late."""
    rule, verdicts = kind.sulphation, []
    if rule is not None:
        found = "never full" if np.isinf(partial.longest_days) else f"{partial.longest_days:.0f}"
        verdicts.append(judged(
            partial.risk == "low",
            "failed" if partial.risk == "high" else "caution",
            item="Risk of sulphation: longest time without a full charge",
            found=f"{found}; {partial.below_50_frac:.0%} of the hours below half",
            limit=f"{rule.raised_days:g}; {rule.high_below_half_frac:.0%}",
            unit="days",
            clause=f"{SULPHATION_CAUSE}; days: {rule.clause}",
            remedy="more modules or less use in the dull months, a full charge from the grid or"
            " a generator every week, or lithium, which does not mind",
        ))  # fmt: skip
    if kind.equalising is not None:
        verdicts.append(judged(
            equalised.late_days <= EQUALISE_LATE_DAYS,
            item="Equalising charge: longest wait for a full bank",
            found=f"{equalised.late_days}",
            limit=f"{EQUALISE_LATE_DAYS}",
            unit="days",
            clause=kind.equalising.clause,
            remedy="give it from the grid or a generator when the sun does not fill the bank",
        ))  # fmt: skip
    return tuple(verdicts)
