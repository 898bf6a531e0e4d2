"""One shape for every check, shared by workbooks, report and summary.

A check has a class and a stage, by which it is ordered and by which a stage may be blocked; an
identity that stands while its figures change; and a fingerprint of those figures, so that what a
person has accepted is that and nothing else.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Literal

from solarcalc.basis.quantity import with_unit
from solarcalc.basis.text import safe_file_name

Outcome = Literal["failed", "review", "passed", "not assessed"]
Kind = Literal["safety", "supply", "yield", "cost", "data"]
Stage = Literal["survey", "design", "offer", "build", "test", "handover", "visit"]
Evidence = Literal["measured", "standard read", "quoted", "data sheet", "assumed", "computed"]
OUTCOMES: tuple[Outcome, ...] = ("failed", "review", "not assessed", "passed")
KINDS: tuple[Kind, ...] = ("safety", "supply", "data", "yield", "cost")
_STAGE_OF: dict[str, Stage] = {
    "weather": "survey", "quote": "offer", "programme": "build", "commissioning": "test",
    "followup": "visit", "earthing/electrode-measured-built": "test",
    "stages/survey-left": "survey",
}  # fmt: skip
"""Stage of the checks of a package, or of one rule; ``design`` for all others."""


@dataclass(frozen=True, kw_only=True)
class Check:
    """What was checked, what was found, what the limit is and what to do.

    Parameters
    ----------
    item : str
        The thing checked, in site language.
    found, limit : str
        Value found and value allowed, already rounded for a reader.
    unit : str
        Unit of both; empty where they are words.
    outcome : {"failed", "review", "passed", "not assessed"}
        Failed: a limit is broken. Review: a person has to look and to accept it or not. Not
        assessed: what it needs is not known, and nothing is claimed.
    clause : str
        The rule and its source, or ``"common practice, no source"``.
    remedy : str
        What to do when it is not passed.
    action : str
        The same in a short clause, for a line of a report; empty where the remedy is short.
    rule : str
        Package and rule: ``"protection/breaking-capacity"``.
    kind : {"safety", "supply", "data", "yield", "cost"}
        Its class: what is at stake.
    about : str
        Which of several things the rule is about; empty where the item says it.
    evidence : str
        What the found value rests on.
    concerns : str
        Machines that a finding in words rests on: with others it is another finding.
    plane : str
        Name of the roof plane, where a site has several; `on_plane` puts it into the item.
    accepted : str
        Who accepted it for review, when and why, by the site file; empty where nobody did.
    """

    item: str
    found: str
    limit: str
    unit: str = ""
    outcome: Outcome
    clause: str
    remedy: str = ""
    action: str = ""
    rule: str
    kind: Kind
    about: str = ""
    evidence: Evidence = "computed"
    concerns: str = ""
    plane: str = ""
    accepted: str = ""

    @cached_property
    def key(self) -> str:
        """Identity that stands while figures change: the rule and what it is about."""
        return _identity(self.rule, self.about, self.item, self.plane)

    @property
    def found_words(self) -> str:
        """What was found, its unit after the number."""
        return with_unit(self.found, self.unit)

    @property
    def limit_words(self) -> str:
        """What is allowed, its unit after the number."""
        return with_unit(self.limit, self.unit)

    @property
    def stage(self) -> Stage:
        """Stage of the job that it belongs to."""
        package = self.rule.partition("/")[0]
        return _STAGE_OF.get(self.rule) or _STAGE_OF.get(package, "design")

    @cached_property
    def fingerprint(self) -> str:
        """Eight signs of what is found and asked; another value gives another."""
        said = "|".join(
            (self.key, self.outcome, self.found, self.limit, self.unit, self.concerns)
        )
        return hashlib.sha256(said.encode()).hexdigest()[:8]

    @property
    def open(self) -> bool:
        """Whether someone has still to do something: failed, or for review and not accepted."""
        return self.outcome == "failed" or (self.outcome == "review" and not self.accepted)


@lru_cache(maxsize=4096)
def _identity(rule: str, about: str, item: str, plane: str) -> str:
    """`Check.key` by what it follows from."""
    own = item.removesuffix(_of_plane(plane))
    texts = map(_named_before, (about.lower(), own.lower()))
    said = (re.sub(r"[^a-z]+", "-", text).strip("-") for text in texts)
    key = f"{rule}:{next((about for about in said if len(about) > 2), 'it')}"
    return f"{key}@{safe_file_name(plane)}" if plane else key


_BEFORE = {
    "pv string cable": "string", "pv dc main cable": "main",
    "battery string to its busbars": "string of units to its bars",
    "battery to its busbars": "battery to its bars",
}
"""Names of runs, and those by which site files accept checks of them."""
_CIRCUIT = re.compile(r"distribution circuit to the (\w+ board)")


def _named_before(text: str) -> str:
    for name, before in _BEFORE.items():
        text = text.replace(name, before)
    return _CIRCUIT.sub(r"house \1", text)


def _of_plane(plane: str) -> str:
    return f" ({plane})" if plane else ""


def on_plane(checks: Iterable[Check], plane: str) -> tuple[Check, ...]:
    """Checks of a roof plane, its name after what is checked; as they are without a name.

    Examples
    --------
    ``"Wind on the array (East roof)"``.
    """
    if not plane:
        return tuple(checks)
    return tuple(
        replace(check, plane=plane,
                item=check.item if plane in check.item else check.item + _of_plane(plane))
        for check in checks
    )  # fmt: skip


def checked(
    passed: bool, otherwise: Outcome = "review", *, item: str, found: str, limit: str,
    unit: str = "", clause: str, remedy: str, action: str = "", rule: str, kind: Kind,
    about: str = "", evidence: Evidence = "computed",
) -> Check:  # fmt: skip
    """A check that has passed, or is `otherwise` and then says what to do."""
    return Check(
        item=item, found=found, limit=limit, unit=unit, clause=clause, rule=rule, kind=kind,
        about=about, evidence=evidence, outcome="passed" if passed else otherwise,
        remedy="" if passed else remedy, action="" if passed else action,
    )  # fmt: skip


def worst_first(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Failed safety, failed others, review safety, review others, then the rest; stable."""
    return tuple(sorted(checks, key=lambda check: (
        OUTCOMES.index(check.outcome), check.outcome != "passed" and check.kind != "safety"
    )))  # fmt: skip


def count_words(checks: Iterable[Check]) -> str:
    """How all checks of a site stand, in a sentence: no check fails only where that is so."""
    found = list(checks)
    failed = [check for check in found if check.outcome == "failed"]
    safety = sum(check.kind == "safety" for check in failed)
    said = {0: "No check fails", 1: "1 check fails"}.get(len(failed), f"{len(failed)} checks fail")
    if found and all(check.outcome in ("review", "not assessed") for check in found):
        said = "No check passes"  # such as tests of which none is done
    counts = {
        "to review": sum(check.open and check.outcome == "review" for check in found),
        "accepted": sum(bool(check.accepted) for check in found),
        "not assessed": sum(check.outcome == "not assessed" for check in found),
        "passed": sum(check.outcome == "passed" for check in found),
    }
    rest = ", ".join(f"{count} {words}" for words, count in counts.items() if count)
    return f"{said}{f', {safety} of safety' if safety else ''}; {rest}."


def chapter_words(checks: Iterable[Check]) -> str:
    """How the checks of one chapter stand: ``"none of its 40 checks fails, 3 to review"``."""
    found = list(checks)
    failed = sum(check.outcome == "failed" for check in found)
    review = sum(check.open and check.outcome == "review" for check in found)
    said = f"{failed} of its {len(found)} checks" if failed else f"none of its {len(found)} checks"
    accepted = sum(bool(check.accepted) for check in found)
    taken = f", {accepted} accepted by people" if accepted else ""
    return f"{said} {'fail' if failed > 1 else 'fails'}, {review} to review{taken}"
