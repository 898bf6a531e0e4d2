"""How many years a bank lasts: makers' curves, cycles by their depth, time by its heat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import rainflow
from numpy.typing import ArrayLike

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.battery.care import sulphate_factor
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
    sulphates : bool
        Whether cycles wear more the longer the bank is not full (`care.sulphate_factor`).

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
    sulphates: bool = False

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
            faults.append(_fault("cycles", self.cycles, "a number above 0 for each depth, falling"))
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
        sulphates=battery.traits.sulphation is not None,
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


Money = float
"""An amount in the one currency of the site file."""

HALVING_K = constant("battery.halving_k")
LONGEST_STRETCH = constant("battery.longest_stretch")
COMPARED_C = constant("battery.compared_c")
MOST_LOST_FRAC = constant("battery.most_lost_frac")
AGEING_MODEL = constant("battery.ageing_model")


@dataclass(frozen=True, kw_only=True)
class Life:
    """Expected life of a bank.

    Parameters
    ----------
    years : float
        Both together [years].
    cycle_years, calendar_years : float
        By cycles alone, by time and heat alone [years]; infinite where a cause is absent.
    cycles_per_year : float
        Full cycles counted, whatever their depth; a half cycle is 0.5.
    full_depth_cycles_per_year : float
        Sum of depth times count: the same use as so many whole discharges.
    deepest_frac : float
        Deepest cycle, [0 to 1].
    mean_temp_c : float
        [degC].
    """

    years: float
    cycle_years: float
    calendar_years: float
    cycles_per_year: float
    full_depth_cycles_per_year: float
    deepest_frac: float
    mean_temp_c: float


@dataclass(frozen=True, kw_only=True)
class HotRoom:
    """What the temperature of the battery's place costs against 25 degC all year.

    Parameters
    ----------
    years_at_25c : float
        Life at 25 degC with the same cycles [years].
    years_lost : float
        [years]; below 0 where the place is cooler.
    yearly_cost, yearly_cost_at_25c, yearly_penalty : float or None
        Price over years, in the currency of the price; None where no price is given.
    """

    years_at_25c: float
    years_lost: float
    yearly_cost: Money | None
    yearly_cost_at_25c: Money | None
    yearly_penalty: Money | None


def rainflow_cycles(charge_frac: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Depth of every cycle of a state of charge, and its count: 1, or 0.5 for a half.

    The plain count of the standard, not that of a history that repeats: what is open at the end
    of the year counts as halves.

    Parameters
    ----------
    charge_frac : array (n,)
        State of charge in the order of time, any unit.

    Returns
    -------
    depth_frac : array (m,)
        Range of each cycle, in the unit given; none of range 0.
    count : array (m,)

    Examples
    --------
    >>> depth, count = rainflow_cycles([1.0, 0.5, 1.0])
    >>> depth.tolist(), count.tolist()
    ([0.5, 0.5], [0.5, 0.5])

    References
    ----------
    ASTM E1049-85, cl. 5.4.4, through the rainflow library.
    """
    history = np.asarray(charge_frac, dtype=float)
    # The library sees no range in two points alone; the last one again changes no count.
    history = np.append(history, history[-1:])
    found = [(size, count) for size, _, count, _, _ in rainflow.extract_cycles(history)]
    table = np.array([pair for pair in found if pair[0] > 0.0]).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def exchanged_frac(
    charge_frac: ArrayLike, drawn_frac: ArrayLike, *, rated_frac: float = 1.0
) -> np.ndarray:
    """Charge at every turn through the year, two points an hour, in shares of the rated capacity.

    Makers state depths in the capacity they rate, which the bank gives at that rate: a share of
    all it holds. An hour that draws and charges goes down and up again between its two ends.

    Parameters
    ----------
    charge_frac : array (n,)
        State of charge at the start of each hour, [0 to 1].
    drawn_frac : array (n,)
        Taken from the store in each hour, the loss of discharge counted, in the same shares.
    rated_frac : float
        Rated capacity over the whole one, [above 0 to 1].

    Returns
    -------
    array (2 n,)
        Below 0 where more was drawn than the rated capacity.
    """
    charge, drawn = np.asarray(charge_frac, dtype=float), np.asarray(drawn_frac, dtype=float)
    turns = np.stack([charge, charge - drawn], axis=1).ravel()
    return 1.0 - (1.0 - turns) / rated_frac


def cycle_damage_per_year_frac(
    charge_frac: ArrayLike, curve: LifeCurve, turns_frac: ArrayLike | None = None
) -> float:
    """Share of the life that a year of cycles takes: Miner's sum of count over cycles to the end.

    Parameters
    ----------
    charge_frac : array (n,)
        Hourly state of charge, [0 to 1]; fewer or more hours than a year are scaled to one.
    curve : LifeCurve
        Of one that sulphates, the sum is taken times `care.sulphate_factor`.
    turns_frac : array (m,), optional
        Charge at every turn of the same hours, `exchanged_frac`; left out: hour by hour.
    """
    return _worn(charge_frac, curve,
                 *rainflow_cycles(charge_frac if turns_frac is None else turns_frac))


def _worn(
    charge_frac: ArrayLike, curve: LifeCurve, depth: np.ndarray, count: np.ndarray
) -> float:
    """The same of cycles that are counted already."""
    per_year = HOURS_IN_YEAR / np.asarray(charge_frac).size
    worn = float((count / cycles_to_end(depth, curve)).sum()) * per_year
    factor = sulphate_factor(charge_frac) if curve.sulphates and worn > 0.0 else 1.0
    return worn * factor if np.isfinite(factor) else worn


def calendar_damage_per_year_frac(battery_temp_c: ArrayLike, curve: LifeCurve) -> float:
    """Share of the life that a year of time takes, hour by hour at the battery's temperature.

    Parameters
    ----------
    battery_temp_c : array (n,)
        Hourly [degC]; one value stands for the whole year.

    Notes
    -----
    Mean over the hours of 2^((T - T_ref) / 10 K) / life at T_ref; a cool hour takes at least
    half of what an hour at T_ref takes. Depth of discharge has no part in it.
    """
    warmer_k = np.asarray(battery_temp_c, dtype=float) - curve.reference_c
    rate = np.maximum(2.0 ** (warmer_k / float(HALVING_K)), 1.0 / float(LONGEST_STRETCH))
    return float(np.mean(rate)) / curve.calendar_years


def expected_life(
    charge_frac: ArrayLike, battery_temp_c: ArrayLike, *, curve: LifeCurve,
    turns_frac: ArrayLike | None = None,
) -> Life:
    """Years until the bank holds what its maker calls the end of life, mostly 80 %.

    Cycles wear out and shed the active mass, heat corrodes and dries: both take from the same
    fifth of the capacity, so the two shares of a year are added, years = 1 / (cycles + time).
    The lesser of the two lives alone would grant each of them the whole fifth. Temperature does
    not change the damage of a cycle. Time without a full charge makes the cycles of a kind that
    sulphates wear more (`care.sulphate_factor`); of one that is never full nothing can be said
    and nothing is added here: `care.misuse` withholds its years.

    Parameters
    ----------
    charge_frac : array (n,)
        Hourly state of charge, [0 to 1].
    battery_temp_c : array (n,) or float
        [degC].
    curve : LifeCurve
        The maker's, or one of `LIFE_CURVES`.
    turns_frac : array (m,), optional
        Charge at every turn, `exchanged_frac`; left out: the hourly state of charge.

    Returns
    -------
    Life

    Raises
    ------
    InputError
        Fewer than two hours; a state of charge outside 0 to 1; values that are no numbers;
        temperatures of another number of hours.
    """
    charge, temp = _checked(charge_frac, battery_temp_c)
    turns = charge if turns_frac is None else np.asarray(turns_frac, dtype=float)
    depth, count = rainflow_cycles(turns)
    by_cycles = _worn(charge, curve, depth, count)
    by_time = calendar_damage_per_year_frac(temp, curve)
    per_year = HOURS_IN_YEAR / charge.size
    return Life(
        years=1.0 / (by_cycles + by_time),
        cycle_years=1.0 / by_cycles if by_cycles > 0.0 else float("inf"),
        calendar_years=1.0 / by_time,
        cycles_per_year=float(count.sum()) * per_year,
        full_depth_cycles_per_year=float((count * depth).sum()) * per_year,
        deepest_frac=float(depth.max(initial=0.0)),
        mean_temp_c=float(temp.mean()),
    )


def hot_room(life: Life, *, curve: LifeCurve, price: Money | None = None) -> HotRoom:
    """Years and money that the battery's place costs against a room at 25 degC.

    Parameters
    ----------
    life : Life
        At the temperatures of its place.
    curve : LifeCurve
        That the life was told by.
    price : float, optional
        Of the whole bank, put in place.

    Raises
    ------
    InputError
        A price below 0.
    """
    if price is not None and not 0.0 <= price < np.inf:
        raise InputError(_refused("price", price, "0 or more"))
    by_time = calendar_damage_per_year_frac(float(COMPARED_C), curve)
    at_25c = 1.0 / (1.0 / life.cycle_years + by_time)
    here = None if price is None else price / life.years
    there = None if price is None else price / at_25c
    return HotRoom(
        years_at_25c=at_25c,
        years_lost=at_25c - life.years,
        yearly_cost=here,
        yearly_cost_at_25c=there,
        yearly_penalty=None if here is None or there is None else here - there,
    )


def ageing_checks(
    life: Life, room: HotRoom, *, wanted_years: float | None = None
) -> tuple[Check, ...]:
    """The heat of the battery's place; and the years expected against those wanted."""
    lost = room.years_lost / room.years_at_25c
    checks = [
        checked(lost <= float(MOST_LOST_FRAC), **worded(
            "battery", "heat-of-place", years_lost=max(room.years_lost, 0.0),
            years_at_25c=room.years_at_25c,
            most_lost_frac=float(MOST_LOST_FRAC) * room.years_at_25c, halving_k=float(HALVING_K),
            halving_k_source=HALVING_K.source,
        ))
    ]
    if wanted_years is not None:
        checks.append(
            checked(life.years >= wanted_years, **worded(
                "battery", "expected-life-battery", years=life.years, wanted_years=wanted_years,
                ageing_model_value=AGEING_MODEL.value, ageing_model_source=AGEING_MODEL.source,
            ))
        )
    return tuple(checks)


def _checked(charge_frac: ArrayLike, battery_temp_c: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    charge = np.asarray(charge_frac, dtype=float)
    temp = np.asarray(battery_temp_c, dtype=float)
    if charge.ndim != 1 or charge.size < 2:
        raise InputError(_refused("charge_frac", f"{charge.size} hours", "two hours or more"))
    # A balance may end a hair outside by rounding; more than that is no state of charge.
    if not ((charge >= -1e-9) & (charge <= 1.0 + 1e-9)).all():
        raise InputError(
            _refused("charge_frac", f"{charge.min():g} to {charge.max():g}", "from 0 to 1")
        )
    if not np.isfinite(temp).all() or temp.ndim > 1 or temp.size not in (1, charge.size):
        raise InputError(
            _refused("battery_temp_c", f"{temp.size} values", "one, or one for each hour, in degC")
        )
    return charge, temp


def _refused(field: str, given: object, allowed: str) -> Fault:
    return Fault(where=f"battery life: {field}", given=str(given), allowed=allowed)
