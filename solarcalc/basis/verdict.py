"""One shape for every check, shared by workbooks, report and summary."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Outcome = Literal["passed", "caution", "failed"]
_ORDER: dict[str, int] = {"failed": 0, "caution": 1, "passed": 2}


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """What was checked, what was found, what the limit is and what to do.

    Parameters
    ----------
    item : str
        The thing checked, in site language.
    found, limit : str
        Value found and value allowed, already rounded for a reader.
    unit : str
        Unit of both; empty where they are words.
    outcome : {"passed", "caution", "failed"}
    clause : str
        The rule and its source, or ``"common practice, no source"``.
    remedy : str
        What to do when it is not passed.
    """

    item: str
    found: str
    limit: str
    unit: str = ""
    outcome: Outcome
    clause: str
    remedy: str = ""


def judged(
    passed: bool, otherwise: Outcome = "caution", *, item: str, found: str, limit: str,
    unit: str = "", clause: str, remedy: str,
) -> Verdict:  # fmt: skip
    """A verdict that has passed, or is `otherwise` and then says what to do."""
    return Verdict(
        item=item,
        found=found,
        limit=limit,
        unit=unit,
        outcome="passed" if passed else otherwise,
        clause=clause,
        remedy="" if passed else remedy,
    )


def worst_first(verdicts: Iterable[Verdict]) -> tuple[Verdict, ...]:
    """Verdicts with the failed ones first, then cautions; order kept within each."""
    return tuple(sorted(verdicts, key=lambda verdict: _ORDER[verdict.outcome]))
