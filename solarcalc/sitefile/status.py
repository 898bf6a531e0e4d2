"""Where a job stands: [status], with the checks for review that a person has accepted."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from solarcalc.basis.errors import Fault
from solarcalc.sitefile.base import Line, Loc, Name, Record, Sound, shown
from solarcalc.sitefile.programme import DAY_WORDS, day_of


class Accepted(Record):
    """[[status.accepted]]: a check for review that a person has looked at and taken on."""

    check: Name = Field(description="its name, as `solarcalc check` prints it")
    fingerprint: str = Field(
        min_length=8, max_length=8, description="of the values accepted, printed beside it"
    )
    name: Name = Field(description="who accepts it")
    reason: Name = Field(description="why")
    date: Line = Field(description='day, "YYYY-MM-DD"')


class Status(Record):
    """[status]: stage, revision, and what was accepted."""

    stage: Literal["survey", "design", "offer", "build", "test", "handover", "visit"] = Field(
        default="design", description="how far the job has come"
    )
    revision: Line = Field(default="A", description="of the design")
    date: Line = Field(default="", description='of that revision, "YYYY-MM-DD", or ""')
    accepted: list[Accepted] = Field(default_factory=list)


def status_faults(sound: Sound) -> Iterator[Fault]:
    """Days that are none, a check accepted twice."""
    yield from _day(sound, ("status", "date"), sound.get("status", "date"))
    seen: dict[str, int] = {}
    for number, row in enumerate(sound.get("status", "accepted") or []):
        loc: Loc = ("status", "accepted", number)
        yield from _day(sound, (*loc, "date"), row["date"] or "none")
        if row["check"] in seen:
            yield sound.fault(
                (*loc, "check"), row["check"], "each check once",
                f"item {seen[row['check']] + 1} accepts it too", "leave the later one",
            )  # fmt: skip
        seen.setdefault(row["check"], number)


def _day(sound: Sound, loc: Loc, text: object) -> Iterator[Fault]:
    if text and (not isinstance(text, str) or day_of(text) is None):
        yield sound.fault(loc, shown(text), DAY_WORDS, "no such day in the calendar")
