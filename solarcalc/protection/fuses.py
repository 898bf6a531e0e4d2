"""Fuses at a battery: which class breaks the fault, how soon it is cleared."""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant

FUSE_SELECTIVE = constant("protection.fuse_selective")
LONGEST_S = float(constant("protection.longest_s"))
SHORT_S = float(constant("protection.short_s"))


@dataclass(frozen=True, kw_only=True)
class FuseClass:
    """One class of fuse for direct current.

    Parameters
    ----------
    name : str
    largest_a, rated_v, breaking_ka : float
        [A], [V], [kA].
    """

    name: str
    largest_a: float
    rated_v: float
    breaking_ka: float


def fuse_classes() -> tuple[FuseClass, ...]:
    """All classes of the table, weakest first."""
    made = [
        FuseClass(
            name=row["class"], largest_a=float(row["largest_a"]), rated_v=float(row["rated_v"]),
            breaking_ka=float(row["breaking_ka"]),
        )
        for row in published("battery_fuse_classes").rows
    ]  # fmt: skip
    return tuple(sorted(made, key=lambda each: each.breaking_ka))


def class_for(rated_a: float, bank_v: float, fault_a: float) -> FuseClass | None:
    """Weakest class of fuse that still breaks the fault; None where none of the table does.

    Parameters
    ----------
    rated_a : float
        Of the fuse [A].
    bank_v : float
        Highest voltage of the bank [V].
    fault_a : float
        Prospective short-circuit current where it stands [A].

    Examples
    --------
    >>> class_for(200.0, 58.4, 8000.0).name
    'class T'
    """
    return next(
        (
            each for each in fuse_classes()
            if each.largest_a >= rated_a and each.rated_v >= bank_v
            and each.breaking_ka * 1000.0 >= fault_a
        ),
        None,
    )  # fmt: skip


def fuse_clear_s(rated_a: float, fault_a: float) -> float | None:
    """How long a gG fuse of that rating lets a fault flow at the most [s]; None: over 5 s.

    A class T fuse is faster. Between the gates of 5 and 0.1 s a straight line on logarithmic axes
    is taken; a fault above the gate of 0.1 s is let through with the heat (I^2 t) of that gate,
    so that ``fault_a**2 * fuse_clear_s`` never falls below what the cable must stand.

    Parameters
    ----------
    rated_a : float
        [A]; ratings between those of the table are taken as the next larger one.
    fault_a : float
        [A].

    References
    ----------
    IEC 60269-1, gates of gG fuses (data/tables/fuse_gates.csv).
    """
    most_5_s_a, most_0_1_s_a = _gates(rated_a)
    if fault_a < most_5_s_a:
        return None
    if fault_a >= most_0_1_s_a:
        return SHORT_S * (most_0_1_s_a / fault_a) ** 2
    share = math.log(fault_a / most_5_s_a) / math.log(most_0_1_s_a / most_5_s_a)
    return float(LONGEST_S * (SHORT_S / LONGEST_S) ** share)


def _gates(rated_a: float) -> tuple[float, float]:
    rows = published("fuse_gates").rows
    for row in rows:
        if float(row["rated_a"]) >= rated_a:
            return float(row["most_5_s_a"]), float(row["most_0_1_s_a"])
    scale = rated_a / float(rows[-1]["rated_a"])
    return float(rows[-1]["most_5_s_a"]) * scale, float(rows[-1]["most_0_1_s_a"]) * scale


def melting_a(rated_a: float) -> float:
    """Current that melts a gG fuse within 5 s in any case [A]."""
    return _gates(rated_a)[0]
