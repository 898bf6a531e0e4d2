"""What keeps a bank well: full charges, equalising, water, and the gas that comes of it.

Battery gas burns and explodes, acid blinds, and a bank can deliver thousands of amperes: the
advice here is for people trained to work on batteries, under local codes.

Battery gas burns and explodes, and acid blinds: for people trained to work on batteries, under
local codes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.physics import FARADAY_C_PER_MOL
from solarcalc.basis.quantity import in_percent
from solarcalc.basis.sourced import Sourced, constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.chemistry import Chemistry

WATER_G_PER_MOL = 18.015
"""Molar mass of water [g/mol]: H 1.008, O 15.999, IUPAC standard atomic weights."""
ELECTRONS_PER_WATER = 2.0
WATER_G_PER_AH = WATER_G_PER_MOL * 3600.0 / (ELECTRONS_PER_WATER * FARADAY_C_PER_MOL)
"""Water that an ampere-hour of gassing takes from each cell [g]: Faraday's law, 0.336."""

FULL_FRAC = constant("battery.full_frac")


@dataclass(frozen=True, kw_only=True)
class Equalising:
    """The equalising charges of a year.

    Parameters
    ----------
    days : tuple of int
        Day of the series on which each can be given, from 0: the first full day once it is due.
    late_days : int
        Most days that one waits for a full bank beyond its due day [days].
    energy_kwh_per_year : float
        At the terminals; all of it becomes gas and heat.
    water_l_per_year : float
        Whole bank [l].
    """

    days: tuple[int, ...]
    late_days: int
    energy_kwh_per_year: float
    water_l_per_year: float


@dataclass(frozen=True, kw_only=True)
class Water:
    """Water to fill up in a year, whole bank [l], and a cell a month [ml]; 0 where sealed."""

    charging_l_per_year: float
    held_full_l_per_year: float
    equalising_l_per_year: float
    cell_ml_per_month: float


def water_g(gassing_ah: float, *, cells_in_series: int) -> float:
    """Water that gassing takes from a bank [g].

    Parameters
    ----------
    gassing_ah : float
        Charge that becomes gas, at the bank's terminals [Ah]; parallel strings share it.
    cells_in_series : int
        Each passes all of it.

    Notes
    -----
    m = M Q / (2 F) a cell: 0.336 g for each ampere-hour.
    """
    return WATER_G_PER_AH * gassing_ah * cells_in_series


def equalising(
    charge_frac: ArrayLike, *, kind: Chemistry, capacity_wh: float, voltage_v: float
) -> Equalising:
    """When equalising charges fall due and what they cost; none for a kind that gets none.

    An equalising charge begins from a full bank, so each waits for the first full day once it
    is due. It is not taken from the energy balance of the year: it comes on top.

    Parameters
    ----------
    charge_frac : array (n,)
        Hourly state of charge, [0 to 1].
    kind : Chemistry
        Its `equalising` and the voltage of that charge.
    capacity_wh, voltage_v : float
        Of the bank, rated [Wh], [V].

    Raises
    ------
    InputError
        A state of charge, capacity or voltage that is none.
    """
    charge, plan = checked_charge(charge_frac), kind.equalising
    _positive(capacity_wh=capacity_wh, voltage_v=voltage_v)
    if plan is None or kind.charge.equalise_v is None:
        return Equalising(days=(), late_days=0, energy_kwh_per_year=0.0, water_l_per_year=0.0)
    full_days = full_days_of(charge, float(FULL_FRAC))
    days, late = _due_days(full_days, charge.size // 24, plan.every_days)
    cells = kind.cells(voltage_v)
    ah = plan.current_per_h * capacity_wh / voltage_v * plan.length_h
    per_year = len(days) * HOURS_IN_YEAR / charge.size
    return Equalising(days=days, late_days=late,
                      energy_kwh_per_year=per_year * ah * cells * kind.charge.equalise_v / 1000.0,
                      water_l_per_year=per_year * water_g(ah, cells_in_series=cells) / 1000.0)


def _due_days(full: np.ndarray, day_count: int, every_days: int) -> tuple[tuple[int, ...], int]:
    """Days on which a charge is given, and the longest wait; the first is due on day 0 + every."""
    days, late, due = [], 0, every_days
    while due < day_count:
        ready = full[full >= due]
        if ready.size == 0:
            late = max(late, day_count - due)
            break
        days.append(int(ready[0]))
        late = max(late, int(ready[0]) - due)
        due = int(ready[0]) + every_days
    return tuple(days), late


def water_per_year(
    charge_frac: ArrayLike, discharge_w: ArrayLike, *, kind: Chemistry, capacity_wh: float,
    voltage_v: float, equalised: Equalising,
) -> Water:  # fmt: skip
    """Water that a bank must be given in a year; sealed kinds take and need none.

    Parameters
    ----------
    charge_frac, discharge_w : array (n,)
        Hourly state of charge [0 to 1], and power out of the terminals [W].
    kind, capacity_wh, voltage_v
        As for `equalising`.
    equalised : Equalising

    Notes
    -----
    Ampere-hours that gas: a share of what was drawn, and the current that gasses while held full
    in every hour at full; each takes 0.336 g a cell. A sealed cell joins its gas again and vents
    only when overcharged; what it vents is lost for good.
    """
    charge = checked_charge(charge_frac)
    _positive(capacity_wh=capacity_wh, voltage_v=voltage_v)
    drawn = np.asarray(discharge_w, dtype=float)
    if drawn.shape != charge.shape or not (drawn >= 0.0).all():
        raise InputError(_fault("discharge_w", f"{drawn.size} hours", "0 W or more, hour by hour"))
    if kind.water is None or kind.gas is None:
        return Water(charging_l_per_year=0.0, held_full_l_per_year=0.0,
                     equalising_l_per_year=0.0, cell_ml_per_month=0.0)  # fmt: skip
    per_year = HOURS_IN_YEAR / charge.size
    cells = kind.cells(voltage_v)
    drawn_ah = float(drawn.sum()) / voltage_v * kind.water.overcharge_frac * per_year
    full_h = float((charge >= float(FULL_FRAC)).sum()) * per_year
    held_ah = kind.gas.float_ma_per_ah / 1000.0 * capacity_wh / voltage_v * full_h
    litres = [water_g(ah, cells_in_series=cells) / 1000.0 for ah in (drawn_ah, held_ah)]
    total_ml = (sum(litres) + equalised.water_l_per_year) * 1000.0
    return Water(charging_l_per_year=litres[0], held_full_l_per_year=litres[1],
                 equalising_l_per_year=equalised.water_l_per_year,
                 cell_ml_per_month=total_ml / cells / 12.0)


STANDS_EMPTY_DAYS = constant("battery.stands_empty_days")
NEARLY_EMPTY_FRAC = constant("battery.nearly_empty_frac")
SULPHATE_PER_H = constant("battery.sulphate_per_h")
SULPHATE_LOW_PER_H = constant("battery.sulphate_low_per_h")


def sulphate_factor(charge_frac: ArrayLike) -> float:
    """How much more a discharge wears a lead-acid bank for the sulphate left in it, 1 or more.

    Parameters
    ----------
    charge_frac : array (n,)
        Hourly state of charge, [0 to 1]; infinite where it is never full.

    Notes
    -----
    Mean over the charge drawn of 1 + (a + b (1 - lowest)) t: t the hours since the last full
    charge, lowest the least charge since then. Of the weighting by Schiffer et al. 2007 only
    that: currents, acid layers and full charges that fall short are left out.
    """
    charge = checked_charge(charge_frac)
    since_h = hours_since_full(charge)
    if np.isinf(since_h).any():
        return float("inf")
    # Begin the round at a full hour, so that each stretch lies in one piece.
    turned = np.roll(charge, -int(np.argmin(since_h)))
    since_h = np.roll(since_h, -int(np.argmin(since_h)))
    lowest = np.empty(turned.size)
    least = 1.0
    for hour, (now, since) in enumerate(zip(turned, since_h, strict=True)):
        least = now if since == 0.0 else min(least, now)
        lowest[hour] = least
    drawn = np.maximum(turned - np.roll(turned, -1), 0.0)
    if not drawn.any():
        return 1.0
    slope = float(SULPHATE_PER_H) + float(SULPHATE_LOW_PER_H) * (1.0 - lowest)
    return 1.0 + float(np.average(slope * since_h, weights=drawn))


def freezing_c(charge_frac: ArrayLike, kind: Chemistry) -> np.ndarray:
    """Temperature at which the acid freezes [degC]; minus infinity for a kind without acid.

    Parameters
    ----------
    charge_frac : array (n,)
        State of charge, [0 to 1]: what is discharged leaves thin acid behind.
    kind : Chemistry
    """
    charge, curve = np.asarray(charge_frac, dtype=float), kind.freezing
    if curve is None:
        return np.full(charge.shape, -np.inf)
    freezes: np.ndarray = np.interp(charge, curve.charge_frac, curve.freezes_c)
    return freezes


def misuse(
    charge_frac: ArrayLike, battery_c: ArrayLike, *, kind: Chemistry, empty_frac: float
) -> str:
    """What makes a bank's life one that no curve of cycles and heat tells; empty for nothing.

    Curves are of cells that are charged to full after each discharge. One that freezes, whose
    risk of sulphation is high (`partial_charge`: the check of it fails), or that stands empty for
    days, ends sooner than any of them says.

    Parameters
    ----------
    charge_frac : array (n,)
        Hourly state of charge, [0 to 1].
    battery_c : array (n,) or float
        Temperature of the battery [degC].
    kind : Chemistry
    empty_frac : float
        State of charge below which nothing is drawn, the cold counted: `Bank.level_frac` of the
        reserve, [0 to 1].
    """
    charge = checked_charge(charge_frac)
    if (np.asarray(battery_c, dtype=float) < freezing_c(charge, kind)).any():
        return "it freezes"
    partial = partial_charge(charge, kind=kind)
    if partial.risk == "high":
        return _too_seldom_full(partial, kind)
    low = charge <= empty_frac + float(NEARLY_EMPTY_FRAC)
    since_h = np.full(low.size, np.inf) if low.all() else hours_since_full(
        np.where(low, 0.0, 1.0), full_frac=1.0
    )
    if since_h.max() >= 24.0 * float(STANDS_EMPTY_DAYS):
        return "it is empty for days"
    return ""


def _too_seldom_full(partial: PartialCharge, kind: Chemistry) -> str:
    """Why the risk of sulphation is high."""
    if np.isinf(partial.longest_days):
        return "it is never fully charged"
    if kind.sulphation is not None and partial.longest_days > kind.sulphation.high_days:
        return f"it is not fully charged for {partial.longest_days:.0f} days"
    return f"it is below half charge for {in_percent(partial.below_50_frac, 0)} % of the year"


def full_days_of(charge: np.ndarray, full_frac: float) -> np.ndarray:
    """Days, from 0, on which a state of charge is full at some hour.

    Numbers of days, (d,), rising; `charge` is (8760,) [0 to 1].
    """
    return np.unique(np.flatnonzero(charge >= full_frac) // 24)


def checked_charge(charge_frac: ArrayLike) -> np.ndarray:
    """A state of charge as an array; raises InputError where it is none.

    Shape (n,), a value for each hour [0 to 1].
    """
    charge = np.asarray(charge_frac, dtype=float)
    # A balance may end a hair outside by rounding.
    if charge.ndim != 1 or not charge.size or not (
        (charge >= -1e-9) & (charge <= 1.0 + 1e-9)
    ).all():
        raise InputError(
            _fault("charge_frac", f"{charge.size} hours", "one hour or more, each from 0 to 1")
        )
    return charge


def _positive(**values: float) -> None:
    faults = [
        _fault(name, value, "above 0") for name, value in values.items()
        if not 0.0 < value < np.inf
    ]  # fmt: skip
    if faults:
        raise InputError(faults)


def _fault(field: str, given: object, allowed: str) -> Fault:
    return Fault(where=f"battery care: {field}", given=str(given), allowed=allowed)


EQUALISE_LATE_DAYS = int(constant("battery.equalise_late_days"))
Risk = Literal["none", "low", "raised", "high"]


def care_assumptions(kind: Chemistry) -> list[Sourced]:
    """What the care of this kind takes for granted, each with its source."""
    found = [FULL_FRAC]
    if kind.sulphation is not None:
        found += [kind.sulphation.sourced("raised_days", "days"),
                  kind.sulphation.sourced("high_days", "days"),
                  kind.sulphation.sourced("high_below_half_frac"),
                  SULPHATE_PER_H, SULPHATE_LOW_PER_H]  # fmt: skip
    if kind.freezing is not None:
        found.append(kind.freezing.sourced("freezes_c", "degC"))
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
    return PartialCharge(longest_days=longest_days, full_days=len(full_days_of(charge, full_frac)),
                         below_80_h=int((charge < 0.8).sum()), below_50_h=below_50,
                         below_50_frac=below_50 / charge.size,
                         risk=_risk(kind, longest_days, below_50 / charge.size))


def _risk(kind: Chemistry, longest_days: float, below_50_frac: float) -> Risk:
    rule = kind.sulphation
    if rule is None:
        return "none"
    if longest_days > rule.high_days or below_50_frac >= rule.high_below_half_frac:
        return "high"
    return "raised" if longest_days > rule.raised_days else "low"


def care_checks(
    partial: PartialCharge, equalised: Equalising, *, kind: Chemistry
) -> tuple[Check, ...]:
    """Sulphation by the days without a full charge; equalising charges that come late."""
    rule, checks = kind.sulphation, []
    if rule is not None:
        found = "never full" if np.isinf(partial.longest_days) else f"{partial.longest_days:.0f}"
        checks.append(checked(
            partial.risk == "low", "failed" if partial.risk == "high" else "review",
            **worded(
                "battery", "risk-sulphation-longest", found=found,
                below_50_frac=partial.below_50_frac, raised_days=rule.raised_days,
                high_below_half_frac=rule.high_below_half_frac, clause=rule.clause,
            ),
        ))  # fmt: skip
    if kind.equalising is not None:
        checks.append(checked(
            equalised.late_days <= EQUALISE_LATE_DAYS,
            rule="battery/equalised-late", kind="cost",
            item="Equalising charge: longest time without a full charge",
            found=f"{equalised.late_days}",
            limit=f"at most {EQUALISE_LATE_DAYS}", unit="days", clause=kind.equalising.clause,
            remedy="equalise from the grid or a generator when PV does not fully charge the"
                   " battery",
        ))  # fmt: skip
    return tuple(checks)
