"""When strings in parallel need fuses, and which: current that flows back into a faulty string."""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.wiring.string_plan import LIGHT_FACTOR

RULE = "IEC 62548-1 (62548:2016 cl. 6.5.3)"
LEAST_FACTOR = constant("wiring.least_factor")
MOST_FACTOR = constant("wiring.most_factor")


@dataclass(frozen=True, kw_only=True)
class StringFuses:
    """What the strings that share one combiner or controller need.

    Parameters
    ----------
    strings : int
        In parallel, on the fullest combiner or controller.
    backfeed_a : float
        What the others drive into one that is short-circuited [A].
    max_fuse_a : float
        Largest fuse on the module's sheet [A].
    needed : bool
    least_a, most_a : float
        The rating lies above the first, below the second and not above `max_fuse_a` [A].
    rated_a : float or None
        The smallest that is made inside; None where none is needed, or none is made.
    rated_v : float
        Least rated direct voltage: the string's cold open circuit [V].
    fuse_count : int
        Both poles of each string where the array floats, else one.
    cable_a : float
        Least capacity of the string's cable: the fuse's rating, or without fuses the current that
        may flow back [A].
    """

    strings: int
    backfeed_a: float
    max_fuse_a: float
    needed: bool
    least_a: float
    most_a: float
    rated_a: float | None
    rated_v: float
    fuse_count: int
    cable_a: float


def string_fuses(
    *, isc_a: float, strings: int, max_fuse_a: float, cold_voc_v: float, floating: bool = True
) -> StringFuses:
    """Whether strings need fuses, and which.

    Needed where (Ns - 1) Isc is above the largest fuse of the module; then 1.5 Isc < In < 2.4 Isc
    and In not above that largest fuse (IEC 62548). The formula decides, not the count: three
    strings may need none.

    Parameters
    ----------
    isc_a : float
        Short circuit of a string by its sheet [A], above 0.
    strings : int
        In parallel on the fullest combiner or controller, 1 or more.
    max_fuse_a : float
        Largest fuse on the module's sheet [A], above 0.
    cold_voc_v : float
        Open circuit of a string at the record low [V], above 0.
    floating : bool
        Neither pole earthed: a fuse in both.

    Raises
    ------
    InputError
        When one of them is not above 0.
    """
    given = {
        "module.isc_a": isc_a, "strings in parallel": strings,
        "protection.string_fuse_max_a": max_fuse_a, "cold open circuit of a string": cold_voc_v,
    }  # fmt: skip
    faults = [
        Fault(where=name, given=f"{value:g}", allowed="above 0")
        for name, value in given.items()
        if not (value > 0.0 and math.isfinite(value))
    ]
    if faults:
        raise InputError(faults)
    backfeed_a = (strings - 1) * isc_a
    needed = backfeed_a > max_fuse_a
    least_a, most_a = float(LEAST_FACTOR) * isc_a, float(MOST_FACTOR) * isc_a
    made = _made_a()
    inside = [each for each in made if least_a < each < most_a and each <= max_fuse_a]
    rated_a = inside[0] if needed and inside else None
    cable_a = max(float(LIGHT_FACTOR) * isc_a, float(LIGHT_FACTOR) * backfeed_a)
    if needed:
        cable_a = max(float(LIGHT_FACTOR) * isc_a, rated_a or max_fuse_a)
    return StringFuses(
        strings=strings, backfeed_a=backfeed_a, max_fuse_a=max_fuse_a, needed=needed,
        least_a=least_a, most_a=most_a, rated_a=rated_a, rated_v=cold_voc_v,
        fuse_count=(2 if floating else 1) * strings if needed else 0, cable_a=cable_a,
    )  # fmt: skip


def _made_a() -> list[float]:
    table = published("device_ratings")
    return sorted(float(row["rating_a"]) for row in table.rows if row["kind"] == "fuse")


def string_fuse_verdicts(fuses: StringFuses) -> list[Verdict]:
    """Whether what the other strings drive into a faulty one is held: by its modules or a fuse."""
    item, found = "Strings in parallel without fuses", f"{fuses.backfeed_a:.2f}"
    limit = f"at most {fuses.max_fuse_a:g}"
    clause = f"{RULE}: current back into one string against the module's largest fuse"
    if fuses.needed:
        item = f"A fuse for each string, as they can drive {found} A into a faulty one"
        found = "none made" if fuses.rated_a is None else f"{fuses.rated_a:g}"
        limit = f"above {fuses.least_a:.2f}, below {fuses.most_a:.2f}, {limit}"
        clause = f"{RULE}; ratings of data/tables/device_ratings.csv"
    return [
        judged(
            not fuses.needed or fuses.rated_a is not None, "failed",
            item=item, found=found, limit=limit, unit="A", clause=clause,
            remedy="fewer strings on one combiner, or modules whose sheet allows a larger fuse;"
            " without a fuse that suits, a fault burns the module or its cable",
        )
    ]  # fmt: skip


def string_fuse_advice(fuses: StringFuses) -> tuple[str, ...]:
    """What to ask for and how to work on it, in sentences."""
    if not fuses.needed:
        return (
            "No string fuses are needed while no string is added: reckon again before one is.",
            "The cable of each string must carry the current that the others drive back:"
            f" {fuses.cable_a:.1f} A or more.",
        )
    poles = "both poles" if fuses.fuse_count == 2 * fuses.strings else "the pole not earthed"
    rated = "no rating suits" if fuses.rated_a is None else f"{fuses.rated_a:g} A"
    return (
        f"{fuses.fuse_count} fuses on the fullest controller, made for photovoltaic strings (gPV,"
        f" IEC 60269-6), {rated}, for at"
        f" least {math.ceil(fuses.rated_v):d} V direct current, in {poles} of each string.",
        "No fuse for alternating current, no automotive fuse: neither can put out the arc.",
        f"The cable of each string must carry {fuses.cable_a:g} A or more.",
        "Never pull a fuse under load: open the isolator first, then measure that no current"
        f" flows. A fuse that warms its box needs a lower load or a larger box ({NO_SOURCE}).",
        "Local codes and a licensed electrician decide; where they ask for fuses, fit them.",
    )
