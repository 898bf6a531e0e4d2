"""Two wells: why a bank gives less in a hurry, and recovers with rest.

Charge lies in two wells. The load draws from the available one; the bound one follows at its own
pace. The model of J. F. Manwell and J. G. McGowan, Lead acid battery storage model for hybrid
energy systems, Solar Energy 50(5) (1993) 399-405: its equations as printed in the literature that
uses them, the paper itself not opened. What is here is the reference: plain, in ampere-hours, for
one cell or one bank. Voltage, gassing and temperature are not in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded

FEWEST_RATES = 3
"""Capacities that three unknowns (both wells, the pace between them) need: counting."""
WORST_FIT_FRAC = float(constant("battery.worst_fit_frac"))

_NOTHING_EVENED = 1e-12
"""Rate times time below which the bound well has given nothing: a guard against 0 / 0."""
_STARTS = tuple((c, k) for c in (0.2, 0.5, 0.8) for k in (0.1, 0.5, 2.0))
_BOUNDS = ((0.01, 1e-3), (1.0, 20.0))

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class TwoWells:
    """A battery as two wells of charge.

    Parameters
    ----------
    capacity_ah : float
        Of both wells together: what is had without any hurry [Ah].
    available_frac : float
        Share of it in the available well when full, above 0 up to 1; 1: one well.
    exchange_per_h : float
        Rate at which the two even out [1/h].
    """

    capacity_ah: float
    available_frac: float
    exchange_per_h: float

    @property
    def full(self) -> tuple[float, float]:
        """Charge in the available and in the bound well when full [Ah]."""
        available = self.capacity_ah * self.available_frac
        return available, self.capacity_ah - available


def capacity_share(time_h: Floats | float, available_frac: float, exchange_per_h: float) -> Floats:
    """Share of the slow capacity that a steady current has drawn when it empties in a given time.

    Parameters
    ----------
    time_h : float or array (n,)
        From full to empty, above 0 [h].
    available_frac : float
        Share of the available well, above 0 up to 1.
    exchange_per_h : float
        Rate at which the wells even out, from 0 [1/h].

    Returns
    -------
    share : array (n,)
        From `available_frac` (at once) to 1 (for ever), [0 to 1].

    Notes
    -----
    Manwell and McGowan 1993, with c = available_frac, k = exchange_per_h, t = time_h:
    q(t) / qmax = k c t / (1 - exp(-k t) + c (k t - 1 + exp(-k t))).

    Examples
    --------
    >>> round(350.0 * float(capacity_share(20.0, 0.3, 0.6)), 2)
    293.02
    """
    evened = np.maximum(np.asarray(time_h, dtype=float) * exchange_per_h, _NOTHING_EVENED)
    risen = -np.expm1(-evened)
    share: Floats = available_frac * evened / (risen + available_frac * (evened - risen))
    return share


def capacity_in_ah(wells: TwoWells, time_h: float) -> float:
    """Charge drawn by the steady current that empties a full battery in `time_h` [Ah]."""
    share = capacity_share(time_h, wells.available_frac, wells.exchange_per_h)
    return wells.capacity_ah * float(share)


def capacity_at_ah(wells: TwoWells, current_a: float) -> float:
    """Charge that a full battery gives at a steady current [Ah].

    Parameters
    ----------
    wells : TwoWells
    current_a : float
        Above 0 [A].

    Notes
    -----
    The time t at which q(t) / t is that current, by bisection (Brent); q as in `capacity_share`.

    Examples
    --------
    >>> wells = TwoWells(capacity_ah=350.0, available_frac=0.3, exchange_per_h=0.6)
    >>> round(capacity_at_ah(wells, 293.0235 / 20.0), 2)
    293.02
    """
    from scipy.optimize import brentq

    if wells.available_frac >= 1.0:
        return wells.capacity_ah
    longest = wells.capacity_ah / current_a
    time_h = brentq(
        lambda hours: capacity_in_ah(wells, hours) / hours - current_a,
        longest * wells.available_frac * (1.0 - 1e-9),
        longest,
        xtol=1e-12 * longest,
    )
    return float(current_a * time_h)


def fit_wells(
    hours: Sequence[float], capacities_ah: Sequence[float], *, where: str = "table of capacities",
    rise_allowed_frac: float = 0.0,
) -> TwoWells:  # fmt: skip
    """Wells that come nearest to capacities at several discharge times.

    Parameters
    ----------
    hours : sequence of float
        Discharge times, shortest first, at least three, each above 0 [h].
    capacities_ah : sequence of float
        Charge each gave, above 0 [Ah].
    where : str
        File and field, for the fault.
    rise_allowed_frac : float
        By how much a shorter discharge may have given more than a longer one, [0 to 1]: 0 for
        a data sheet; some for measurements, in which the order and the warmth of tests show.

    Returns
    -------
    TwoWells

    Raises
    ------
    InputError
        When the figures cannot be those of a battery: too few, out of order, more charge in a
        hurry, more current in less of a hurry, or nothing two wells come near to.

    Notes
    -----
    Least squares on the relative error of `capacity_share`, from nine starts (a Levenberg type
    search within bounds, scipy). The full capacity enters straight and is solved for.
    """
    times, given = np.asarray(hours, dtype=float), np.asarray(capacities_ah, dtype=float)
    _refuse_impossible(times, given, where, rise_allowed_frac)
    wells = _nearest(times, given)
    shares = capacity_share(times, wells.available_frac, wells.exchange_per_h)
    worst = float(np.max(np.abs(wells.capacity_ah * shares / given - 1.0)))
    if worst > WORST_FIT_FRAC:
        rows = zip(times, given, strict=True)
        raise InputError(
            Fault(
                **worded("battery", "fit-wells", worst_fit_frac=WORST_FIT_FRAC, worst=worst),
                where=where, given=", ".join(f"{ah:g} Ah in {h:g} h" for h, ah in rows),
            )
        )
    return wells


def _nearest(times: Floats, given: Floats) -> TwoWells:
    from scipy.optimize import least_squares

    def full_ah(pair: Floats) -> float:
        relative = capacity_share(times, float(pair[0]), float(pair[1])) / given
        return float(relative.sum() / (relative @ relative))

    def errors(pair: Floats) -> Floats:
        shares = capacity_share(times, float(pair[0]), float(pair[1]))
        return np.asarray(full_ah(pair) * shares / given - 1.0)

    found = [
        least_squares(errors, start, bounds=_BOUNDS, xtol=1e-13, ftol=1e-13, gtol=1e-13)
        for start in _STARTS
    ]
    best = min(found, key=lambda result: float(result.cost)).x
    return TwoWells(
        capacity_ah=full_ah(best), available_frac=float(best[0]), exchange_per_h=float(best[1])
    )


def _refuse_impossible(times: Floats, given: Floats, where: str, rise_frac: float) -> None:
    def refuse(value: str, allowed: str, why: str) -> None:
        raise InputError(
            Fault(**worded("battery", "refuse"), where=where, given=value, allowed=allowed, why=why)
        )  # fmt: skip

    if len(times) != len(given) or len(times) < FEWEST_RATES:
        refuse(f"{len(times)} times and {len(given)} capacities",
               f"as many capacities as times, at least {FEWEST_RATES}",
               "the two wells have three unknowns")
    for name, values in (("hours", times), ("Ah", given)):
        if not (np.isfinite(values).all() and (values > 0.0).all()):
            refuse(str(values.tolist()), f"{name} above 0", "")
    if (np.diff(times) <= 0.0).any():
        refuse(str(times.tolist()), "hours, each above the one before it", "")
    for place in range(len(times) - 1):
        pair = ", then ".join(
            f"{given[number]:g} Ah in {times[number]:g} h" for number in (place, place + 1)
        )
        if given[place] > given[place + 1] * (1.0 + rise_frac):
            refuse(pair, "no less charge in a longer time",
                   "a battery delivers less at a high discharge rate")
        if given[place] / times[place] <= given[place + 1] / times[place + 1]:
            refuse(pair, "less current in a longer time", "a higher current empties it sooner")
