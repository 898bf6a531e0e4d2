"""What was accepted and still holds, and what keeps a job from its next stage."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from solarcalc.basis.check import Check
from solarcalc.sitefile.status import Accepted


def settled(checks: Iterable[Check], accepted: Sequence[Accepted]) -> tuple[Check, ...]:
    """The checks, those for review marked where a person has accepted just these values.

    A failed check is never accepted, and one whose values have changed since is open again and
    says so.
    """
    by_key = {one.check: one for one in accepted}
    return tuple(_settled(check, by_key.get(check.key)) for check in checks)


def _settled(check: Check, one: Accepted | None) -> Check:
    if one is None or check.outcome in ("passed", "not assessed"):
        return check
    if check.outcome == "failed":
        said = f"what {one.name} accepted on {one.date} is void: a failed check cannot be accepted"
    elif one.fingerprint != check.fingerprint:
        said = f"{one.name} accepted other values on {one.date}: look again"
    else:
        return replace(check, accepted=f"{one.name}, {one.date}: {one.reason}")
    return replace(check, remedy=f"{said}; {check.remedy}" if check.remedy else said)


def unmet(checks: Iterable[Check], accepted: Sequence[Accepted]) -> tuple[str, ...]:
    """Acceptances of checks that this design has not, or has passed: to be taken out."""
    outcomes = {check.key: check.outcome for check in checks}
    return tuple(
        f"{one.check}, accepted by {one.name} on {one.date}: "
        + ("no such check in this design" if one.check not in outcomes else "it passes")
        for one in accepted if outcomes.get(one.check, "passed") in ("passed", "not assessed")
    )  # fmt: skip


def blocking(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Checks that keep a design from being offered: failed ones of safety and of supply.

    A cost that does not come back, or prices that are invented, stamp a paper and stop nothing.
    """
    return tuple(
        check for check in checks
        if check.outcome == "failed" and check.kind in ("safety", "supply")
    )  # fmt: skip
