"""The overload device a cable is sized for: next rating made, and the current it surely opens at.

Rules of IEC 60364-4-43 433.1: I_b <= I_n <= I_z and I_2 <= 1.45 I_z.
"""

from __future__ import annotations

from functools import cache

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.wiring.conductors import field_of
from solarcalc.wiring.runs import DeviceKind, Run

OVERLOAD_SHARE = constant("wiring.overload_share")
BREAKER_OPENS = constant("wiring.breaker_opens")
FUSE_OPENS = constant("wiring.fuse_opens")
SMALL_FUSE_OPENS = constant("wiring.small_fuse_opens")
SMALLEST_FUSE_OPENS = constant("wiring.smallest_fuse_opens")


@cache
def ratings_a(device: DeviceKind) -> tuple[float, ...]:
    """Rated currents that the device is made in, rising [A]; none without a device."""
    kind = {"dc-fuse": "fuse", "dc-breaker": "breaker", "ac-breaker": "breaker"}.get(device)
    rows = published("device_ratings").rows
    return tuple(sorted(float(row["rating_a"]) for row in rows if row["kind"] == kind))


def device_rating_a(run: Run) -> float | None:
    """Next rating at or above the design current, I_n [A]; None where there is no device.

    Raises
    ------
    InputError
        Above the largest rating of the table.
    """
    if run.device == "none":
        return None
    made = ratings_a(run.device)
    for rating in made:
        if rating >= run.design_a - 1e-9:
            return rating
    raise InputError(Fault(
        where=field_of(run, "in_parallel"), given=f"design current of {run.design_a:.0f} A",
        allowed=f"at most {made[-1]:g} A, the largest {run.device.replace('-', ' ')} of the table",
        why="data/tables/device_ratings.csv",
        remedy="raise the voltage or part the run into several, each with its own device",
    ))  # fmt: skip


def surely_opens_a(device: DeviceKind, rated_a: float) -> float:
    """Current at which the device surely opens within its conventional time, I_2 [A].

    Parameters
    ----------
    device : {"dc-fuse", "dc-breaker", "ac-breaker"}
    rated_a : float
        I_n [A].

    Examples
    --------
    >>> surely_opens_a("ac-breaker", 32.0), surely_opens_a("dc-fuse", 32.0)
    (46.4, 51.2)
    """
    if device != "dc-fuse":
        return rated_a * float(BREAKER_OPENS)
    if rated_a >= 16.0:  # bounds of IEC 60269-1 table 2
        return rated_a * float(FUSE_OPENS)
    return rated_a * float(SMALL_FUSE_OPENS if rated_a > 4.0 else SMALLEST_FUSE_OPENS)
