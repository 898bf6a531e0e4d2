"""What was accepted and still holds, and what keeps a job from its next stage."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from solarcalc.basis.check import Check
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.status import Accepted


def machines_of(site: Site) -> str:
    """Label and rating of everything that a sheet is read of."""
    said = [f"{site.controller.label} {site.controller.max_charge_current_a:g} A"]
    said += [f"{one.label} {one.continuous_power_w:g} W" for one in site.inverters.values()]
    said += [site.battery.label, f"generator {site.generator.power_w:g} W"]
    return "; ".join(said)


def settled(
    checks: Iterable[Check], accepted: Sequence[Accepted], machines: str = ""
) -> tuple[Check, ...]:
    """The checks, those for review marked where a person has accepted just these values.

    What is found in words alone, such as "by its sheet", is found of these machines and no others.

    A failed check is never accepted, and one whose values have changed since is open again and
    says so.
    """
    by_key = {one.check: one for one in accepted}
    return tuple(
        _settled(check if any(map(str.isdigit, check.found))
                 else replace(check, concerns=machines), by_key.get(check.key))
        for check in checks
    )


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
