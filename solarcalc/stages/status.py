"""What was accepted and still holds, and what keeps a job from its next stage."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache

from solarcalc.basis.check import OUTCOMES, Check
from solarcalc.commissioning.line import LETTERS
from solarcalc.quote.bill import BillLine
from solarcalc.quote.price_checks import OF_THE_DAY
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.status import Accepted
from solarcalc.wiring.runs import SizedRun


def machines_of(site: Site) -> str:
    """Label and rating of everything that a sheet is read of."""
    said = [f"{one.controller.label} {one.controller.max_charge_current_a:g} A"
            for one in site.sites]
    said += [f"{one.alike}{one.label} {one.continuous_power_w:g} W"
             for one in site.inverters.values()]  # fmt: skip
    said += [site.battery.label, f"generator {site.generator.power_w:g} W"]
    return "; ".join(said)


def _is_line_of(group: Check, line: Check) -> bool:
    """Whether a test line is of the category that a group check sums up."""
    names = {f"Tests: {name}": letter for name, letter in LETTERS.items()}
    return bool(re.match(rf"{names.get(group.item, '-')}\d", line.item))


def _same_figures(one: Check, other: Check) -> bool:
    """Whether two checks hold the same value against the same limit."""
    limits = [re.search(r"\d[\d.]*", check.limit) for check in (one, other)]
    numbers = [float(limit[0].rstrip(".")) if limit else None for limit in limits]
    return one.found == other.found and numbers[0] is not None and numbers[0] == numbers[1]


_SAID_BY: Mapping[str, tuple[str, Callable[[Check, Check], bool]]] = {
    "commissioning/category": ("commissioning/line", _is_line_of),
    "earthing/earth-lightning-rods": ("earthing/electrode-limit", _same_figures),
}
"""Rules whose finding another rule may say in full, that rule, and when it does."""


def once(checks: Iterable[Check]) -> tuple[Check, ...]:
    """The checks without those that another one says: nothing is printed or counted twice.

    A category of tests falls where a line of it is off as badly (tests still to do are told by
    the sheet); the earth of lightning rods where the electrode is held to just that limit. What
    falls is never worse than what stays.
    """
    found = tuple(checks)
    return tuple(check for check in found if not _said(check, found))


def _said(check: Check, others: Sequence[Check]) -> bool:
    rule, says = _SAID_BY.get(check.rule, ("", _same_figures))
    worse = OUTCOMES.index(check.outcome)
    return bool(rule) and check.open and any(
        other.open and OUTCOMES.index(other.outcome) <= worse and says(check, other)
        for other in others if other.rule == rule
    )  # fmt: skip


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
        _settled(check if _has_figures(check.found) else replace(check, concerns=machines),
                 by_key.get(check.key))
        for check in checks
    )


@lru_cache(maxsize=4096)
def _has_figures(text: str) -> bool:
    return any(map(str.isdigit, text))


def _settled(check: Check, one: Accepted | None) -> Check:
    if one is None or check.outcome in ("passed", "not assessed"):
        return check
    said = _void(check, one)
    if not said:
        return replace(check, accepted=f"{one.name}, {one.date}: {one.reason}")
    return replace(check, remedy=f"{said}; {check.remedy}" if check.remedy else said)


def _void(check: Check, one: Accepted) -> str:
    """Why an acceptance no longer holds for a check that failed or is for review; or empty."""
    if check.outcome == "failed":
        return f"what {one.name} accepted on {one.date} is void: a failed check cannot be accepted"
    if check.outcome == "review" and one.fingerprint != check.fingerprint:
        return f"{one.name} accepted other values on {one.date}: look again"
    return ""


def fingerprint_of(
    checks: Iterable[Check], bill: Iterable[BillLine], sized: Iterable[SizedRun]
) -> str:
    """Eight signs of what is found and built: another design gives another."""
    said = [f"{check.key} {check.fingerprint}" for check in checks if check.rule not in OF_THE_DAY]
    said += [f"{line.key} {line.quantity}" for line in bill]
    said += [f"{one.run.key} {one.size_name} {one.in_parallel}" for one in sized]
    return hashlib.sha256("\n".join(sorted(said)).encode()).hexdigest()[:8]


def lapsed(checks: Iterable[Check], accepted: Sequence[Accepted]) -> tuple[tuple[Check, str], ...]:
    """Settled checks that somebody accepted with other values, each with what is said of it."""
    by_key = {one.check: one for one in accepted}
    found = ((check, by_key.get(check.key)) for check in checks)
    return tuple((check, said) for check, one in found if one and (said := _void(check, one)))


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
