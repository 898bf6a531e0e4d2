"""Where a job stands: [status], what was accepted, signed and issued; [handover], what was fitted.

Which documents there are and who signs what at which stage: ``data/document_set.csv`` and
``data/signatures.csv``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Literal, get_args

from pydantic import Field

from solarcalc.basis.check import Stage
from solarcalc.basis.errors import Fault
from solarcalc.basis.files import data_rows
from solarcalc.basis.text import nearest
from solarcalc.sitefile.base import Line, Loc, Name, Record, Sound, shown
from solarcalc.sitefile.programme import DAY_WORDS, day_of

Code = Literal["SV", "DS", "DR", "CA", "QU", "SP", "TR", "BK", "HF", "VL", "CL"]
"""Documents of a site; the index over all sites is none of them."""
DocumentStatus = Literal[
    "draft", "for approval", "for offer", "for construction", "as built", "issued", "superseded"
]
STAGES: tuple[Stage, ...] = get_args(Stage)
"""In the order of a job."""


@dataclass(frozen=True, kw_only=True)
class Document:
    """One of the documents: from which stage it is made, and the status it is issued with.

    Most `pages` on A4, 0 for no limit; whether it `leaves` the firm; the `module` that makes it.
    """

    code: Code
    title: str
    reader: str
    stage: Stage
    status: DocumentStatus
    pages: int
    leaves: bool
    module: str


@dataclass(frozen=True, kw_only=True)
class Signature:
    """What somebody signs before a job leaves a stage; `open` says it while nobody has."""

    key: str
    stage: Stage
    who: str
    what: str
    open: str

    @property
    def hold(self) -> bool:
        """Whether work on site stops at it: H1 to H8."""
        return self.key[:1] == "H" and self.key[1:].isdigit()


@cache
def document_set() -> dict[Code, Document]:
    """The documents of a site by their code, in the order of the stages."""
    rows = (
        Document(**{**row, "pages": int(row["pages"]),
                    "leaves": row["leaves"] == "yes"})  # type: ignore[arg-type]
        for row in data_rows("document_set")
    )  # fmt: skip
    return {row.code: row for row in rows}


@cache
def signatures() -> dict[str, Signature]:
    """What is signed, by its key, in the order of the stages."""
    rows = (Signature(**row) for row in data_rows("signatures"))  # type: ignore[arg-type]
    return {row.key: row for row in rows}


class Accepted(Record):
    """[[status.accepted]]: a check for review that a person has looked at and taken on."""

    check: Name = Field(description="its name, as `solarcalc check` prints it")
    fingerprint: str = Field(
        min_length=8, max_length=8, description="of the accepted values, printed beside it"
    )
    name: Name = Field(description="who accepts it")
    reason: Name = Field(description="why")
    date: Line = Field(description='day, "YYYY-MM-DD"')


class Issued(Record):
    """[[status.issued]]: a document that left the desk."""

    document: Code = Field(description="its code, of data/document_set.csv")
    revision: Name = Field(description="of the design that it shows")
    date: Line = Field(description='day, "YYYY-MM-DD"')
    to: Name = Field(description="who got it")


class Signed(Record):
    """[[status.signed]]: a hold point or another thing that somebody has signed."""

    what: Name = Field(description="a key of data/signatures.csv, such as H2, QU, TR")
    name: Name = Field(description="who signed")
    date: Line = Field(description='day, "YYYY-MM-DD"')


class Action(Record):
    """[[status.actions]]: by when a finding of the visit is put right, as its letter says."""

    finding: Literal[
        "string", "dust", "shade", "step", "outage", "heat", "clock", "plane", "capacity",
        "ageing", "units", "file",
    ] = Field(description="kind of finding")
    date: Line = Field(description='day, "YYYY-MM-DD"')
    since: Line = Field(default="", description="first day of the finding that is meant, where"
                        ' there are several of a kind, "YYYY-MM-DD"; "": all of them')  # fmt: skip


class Status(Record):
    """[status]: stage, revision, and what was accepted, signed and issued."""

    stage: Literal["survey", "design", "offer", "build", "test", "handover", "visit"] = Field(
        default="design", description="how far the job has come"
    )
    revision: Line = Field(default="A", description="of the design")
    date: Line = Field(default="", description='of that revision, "YYYY-MM-DD", or ""')
    next_date: Line = Field(
        default="", description='day by which the next step is due, "YYYY-MM-DD", or ""'
    )
    accepted: list[Accepted] = Field(default_factory=list)
    issued: list[Issued] = Field(default_factory=list)
    signed: list[Signed] = Field(default_factory=list)
    actions: list[Action] = Field(default_factory=list)

    def latest_issue(self, code: str) -> Issued | None:
        """The latest issue of a document for this revision; None before there is one.

        An issue of an earlier revision says nothing of this one; a survey sheet has its own
        revision.
        """
        issues = [one for one in self.issued
                  if one.document == code and (code == "SV" or one.revision == self.revision)]
        return max(issues, key=lambda one: one.date, default=None)

    @property
    def roof_confirmed(self) -> str:
        """Who confirmed roof, wind, ballast and feet, and when: hold point H2; empty for nobody."""
        return next((f"{one.name}, {one.date}" for one in self.signed if one.what == "H2"), "")


def drawing_status(status: Status, *, approved: bool) -> DocumentStatus:
    """The status of a site's drawings, and of the site pack that they stand in.

    Drawings of a design or an offer are for approval; from the building on they are drafts until
    a site pack is issued for this revision, and beyond approval only where just this design is
    `approved`: as built once the signature under the drawings stands.
    """
    if status.stage == "survey":
        return "draft"
    early = status.stage in ("design", "offer")
    if not early and status.latest_issue("SP") is None:
        return "draft"
    if early or not approved:
        return "for approval"
    built = STAGES.index(status.stage) >= STAGES.index("handover")
    drawn = built and any(one.what == "drawings" for one in status.signed)
    return "as built" if drawn else "for construction"


class Claim(Record):
    """[[handover.claims]]: a fault of a fitted thing, for the maker's warranty."""

    position: Name = Field(description="of the list of serial numbers, such as S1/3 or T1")
    date: Line = Field(description='day on which the fault was found, "YYYY-MM-DD"')
    fault: Name = Field(description="what was found")
    measured: Line = Field(default="", description="measured values with their units")


class Handover(Record):
    """[handover]: what was fitted, for the customer's warranties, and what is claimed."""

    serials: Line = Field(
        default="", description="serial numbers by position, a CSV file; left out: none"
    )
    claims: list[Claim] = Field(default_factory=list)


def status_faults(sound: Sound) -> Iterator[Fault]:
    """Days that are none, a check accepted twice, a thing signed twice or by no key of ours."""
    for key in ("date", "next_date"):
        yield from _day(sound, ("status", key), sound.get("status", key))
    yield from _accepted_faults(sound)
    yield from _issued_faults(sound)
    yield from _signed_faults(sound)
    for table, name in (("handover", "claims"), ("status", "actions")):
        for number, row in enumerate(sound.get(table, name) or []):
            yield from _day(sound, (table, name, number, "date"), row["date"] or "none")
            yield from _day(sound, (table, name, number, "since"), row.get("since"))


def _issued_faults(sound: Sound) -> Iterator[Fault]:
    seen: dict[tuple[str, str, str], int] = {}
    for number, row in enumerate(sound.get("status", "issued") or []):
        loc: Loc = ("status", "issued", number)
        yield from _day(sound, (*loc, "date"), row["date"] or "none")
        one = row["document"], row["revision"], row["to"]
        if one in seen:
            yield sound.fault(
                loc, f"{row['document']} revision {row['revision']} to {row['to']}",
                "each issue once", f"item {seen[one] + 1} is the same", "leave the earlier one",
            )  # fmt: skip
        seen.setdefault(one, number)


def _signed_faults(sound: Sound) -> Iterator[Fault]:
    seen: dict[str, int] = {}
    for number, row in enumerate(sound.get("status", "signed") or []):
        loc: Loc = ("status", "signed", number)
        yield from _day(sound, (*loc, "date"), row["date"] or "none")
        what = row["what"]
        if what not in signatures():
            near = nearest(what, signatures())
            yield sound.fault(
                (*loc, "what"), what, "one of " + ", ".join(signatures()),
                "nothing else is signed", f"did you mean {near}?" if near else "",
            )  # fmt: skip
        if what in seen:
            yield sound.fault((*loc, "what"), what, "each once",
                              f"item {seen[what] + 1} has it too", "leave the later one")
        seen.setdefault(what, number)


def _accepted_faults(sound: Sound) -> Iterator[Fault]:
    seen: dict[str, int] = {}
    for number, row in enumerate(sound.get("status", "accepted") or []):
        loc: Loc = ("status", "accepted", number)
        yield from _day(sound, (*loc, "date"), row["date"] or "none")
        if row["check"] in seen:
            yield sound.fault(
                (*loc, "check"), row["check"], "each check once",
                f"item {seen[row['check']] + 1} accepts it too", "keep the later one only",
            )  # fmt: skip
        seen.setdefault(row["check"], number)


def _day(sound: Sound, loc: Loc, text: object) -> Iterator[Fault]:
    if text and (not isinstance(text, str) or day_of(text) is None):
        yield sound.fault(loc, shown(text), DAY_WORDS, "no such day in the calendar")
