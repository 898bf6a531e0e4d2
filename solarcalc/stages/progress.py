"""Where a job stands: its documents with their status, what blocks it, who does what next.

Only a failed check of safety or supply keeps a design from being offered. Everything else that is
open there is a condition of the offer, or a stamp on its papers.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Protocol

from solarcalc.basis.check import Check, Stage
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.quantity import in_unit
from solarcalc.basis.text import counted
from solarcalc.basis.worded import worded
from solarcalc.commissioning.judge import TestReport, commissioning_checks, judge
from solarcalc.commissioning.results import read_results, rows_read
from solarcalc.programme.schedule import Schedule
from solarcalc.sitefile.programme import day_of
from solarcalc.sitefile.status import (
    STAGES,
    Code,
    DocumentStatus,
    Issued,
    document_set,
    drawing_status,
    signatures,
)
from solarcalc.stages.files import there
from solarcalc.stages.said import held_early
from solarcalc.stages.serials import Built, positions_of
from solarcalc.stages.serials import rows_read as serials_read
from solarcalc.stages.status import once


class Job(Built, Protocol):
    """A site with its checks and papers; `solarcalc.design.Design` is one."""

    @property
    def all_checks(self) -> tuple[Check, ...]:
        """Every check, the worst first."""

    @property
    def blocking(self) -> tuple[Check, ...]:
        """The failed checks that keep the design from being offered."""

    @property
    def example_of(self) -> tuple[str, ...]:
        """What is invented and stamps the papers as an example."""

    @property
    def drawn(self) -> Built:
        """The same as drawings show it: checked by a person only where papers may say so."""

    @property
    def fingerprint(self) -> str:
        """Eight signs of what is found and built."""

    @property
    def programme(self) -> Schedule:
        """Who does what on which day."""


@dataclass(frozen=True, kw_only=True)
class Step:
    """Something that is open: what, and who does what about it."""

    what: str
    who: str
    do: str

    @property
    def words(self) -> str:
        """Who does what."""
        return f"{self.who}: {self.do}"


@dataclass(frozen=True, kw_only=True)
class Progress:
    """Where a job stands.

    Parameters
    ----------
    stage : Stage
    next_stage : Stage or None
        None at the last.
    documents : dict of code to status
        Those that exist from this stage or an earlier one on.
    blocks : tuple of Step
        What keeps the job from its next stage, the first to be done first.
    conditions : tuple of Step
        What is open and stamps or conditions the papers, and blocks nothing.
    open_holds : tuple of str
        Hold points that nobody signed; none are open before stage build.
    next_date : str
        Day by which the next step is due, ``"YYYY-MM-DD"``; empty where nobody said one.
    """

    stage: Stage
    next_stage: Stage | None
    documents: dict[Code, DocumentStatus]
    blocks: tuple[Step, ...]
    conditions: tuple[Step, ...]
    open_holds: tuple[str, ...]
    next_date: str

    @property
    def next_step(self) -> Step:
        """The first of what blocks; where nothing does, to go on."""
        if self.blocks:
            return self.blocks[0]
        if self.next_stage is None:
            return Step(what="nothing open", who="office", do="plan the next visit")
        return Step(what="nothing blocks", who="lead",
                    do=f"move the job on to {self.next_stage}")

    @property
    def words(self) -> str:
        """Stage and how much blocks the next one, in a line."""
        count = f"{len(self.blocks) or 'nothing'} open"
        return f"{self.stage}; {count} before {self.next_stage or 'the job is closed'}"


def reached(own: Built, stage: Stage) -> bool:
    """Whether a job has come to a stage."""
    return STAGES.index(own.site.status.stage) >= STAGES.index(stage)


def test_report(own: Built) -> TestReport | None:
    """The filled-in test sheet, judged; None before the job is at its tests.

    A sheet that is named and not there has nothing in it: `solarcalc.stages.files` says so.

    Raises
    ------
    InputError
        With every fault of the filled-in file.
    """
    report, faults = tests_read(own)
    if faults:
        raise InputError(faults)
    return report


def tests_read(own: Built) -> tuple[TestReport | None, tuple[Fault, ...]]:
    """The tests that can be read of the filled-in sheet, judged, and the faults of the others.

    A test that cannot be read is not done. The papers are made from `test_report`, of a sheet
    without a fault.
    """
    if not reached(own, "test"):
        return None, ()
    lines = own.test_lines
    sheet = own.site.commissioning.results
    path = own.sitefile.folder / sheet
    found, faults = rows_read(path, lines) if sheet and there(path) else ({}, ())
    return judge(lines, found, own.test_facts), faults


SAME_READING_FRAC = 0.02
"""Share within which two entries are one reading, rounded twice; common practice, no source."""
test_report.__test__ = False  # type: ignore[attr-defined]  # not a test, whatever its name


def electrode_checks(own: Built) -> list[Check]:
    """Whether the electrode's reading of the test sheet is the one that the design counts on.

    It is one fact in two places: the sheet, which is judged by its limit, and
    `earthing.measured_ohm`, by which touch voltage and devices are worked out. Nothing where only
    one of them is given.
    """
    entered, name = own.site.earthing.measured_ohm, own.site.commissioning.results
    path = own.sitefile.folder / name
    if entered is None or not name or not there(path):
        return []
    line = next(one for one in own.test_lines if one.category == "earth electrode")
    try:
        read = read_results(path, own.test_lines).get(line.id)
    except InputError:  # told where the sheet is read
        return []
    if read is None or abs(read.value - entered) <= SAME_READING_FRAC * entered:
        return []
    return [Check(outcome="review", **worded(
        "stages", "electrode-twice", line=line.id, read_ohm=in_unit(float(read.value), "Ω"),
        entered_ohm=in_unit(entered, "Ω")))]  # fmt: skip


def checks_of_stage(
    own: Job, stage: Stage, *, of_visit: Sequence[Check] = ()
) -> tuple[Check, ...]:
    """The checks that a document of a stage holds: those of that stage and of no other.

    Those of the survey, of its weather file, are held by the documents of the design as well: a
    survey sheet is a form to fill in.

    Parameters
    ----------
    own : Job
    stage : Stage
        Tests are judged once the job is at stage test, a logger once it is at stage visit.
    of_visit : sequence of Check
        Of the logger, `solarcalc.followup.answer.followup_checks`; passed on at stage visit alone.
    """
    report = test_report(own) if stage == "test" else None
    tests = commissioning_checks(report) if report else ()
    visit = of_visit if reached(own, "visit") else ()
    held = ("survey", "design") if stage == "design" else (stage,)
    return tuple(check for check in once((*own.all_checks, *tests, *visit))
                 if check.stage in held)


def progress_of(own: Job, *, of_visit: Sequence[Check] = ()) -> Progress:
    """Where a job stands and who does what next.

    Parameters
    ----------
    own : Job
    of_visit : sequence of Check
        Of the logger, at stage visit.
    """
    stage = own.site.status.stage
    place = STAGES.index(stage)
    unsigned = tuple(_unsigned(own))
    blocks = [*_failed(own), *_of_stage(own, of_visit), *(() if stage == "design" else unsigned)]
    return Progress(
        stage=stage, next_stage=(*STAGES, None)[place + 1],
        documents={code: document_status(own, code) for code, one in document_set().items()
                   if reached(own, one.stage)},
        blocks=tuple(blocks),
        conditions=(*_conditions(own), *(unsigned if stage == "design" else ())),
        open_holds=_open_holds(own), next_date=_next_date(own),
    )  # fmt: skip


def _failed(own: Job) -> Iterator[Step]:
    """Failed checks of safety and supply of the design, from stage design on."""
    if reached(own, "design"):
        for check in own.blocking:
            yield Step(what=f"{check.item} failed: {check.found_words} (required"
                       f" {check.limit_words})", who="designer", do=_first_of(check.remedy))


def _first_of(remedy: str) -> str:
    """The first clause of a remedy; a semicolon within brackets ends none."""
    first = re.match(r"(?:[^;(]|\([^)]*\)?)*", remedy)
    return (first and first[0]) or "change the design"


def _of_stage(own: Job, of_visit: Sequence[Check]) -> Iterator[Step]:
    stage = own.site.status.stage
    if stage == "build":
        yield from _approval(own)
    if stage in ("offer", "build"):
        yield from _offer(own)
    if reached(own, "test"):
        yield from _tests(own)
    if reached(own, "handover"):
        yield from _serials(own)
    if reached(own, "test") and held_early(own.site):
        yield from _approval(own)
    if stage == "visit":
        for check in of_visit:
            if check.kind == "safety" and check.open:
                yield Step(what=f"{check.item}: {check.found_words}", who="licensed electrician",
                           do=f"make it safe on the day: {_first_of(check.remedy)}")


def _offer(own: Job) -> Iterator[Step]:
    status = own.site.status
    if "prices" in own.example_of:
        yield Step(what="example prices", who="office",
                   do="price it by the firm's own price list")
    given = [one for one in status.issued if one.document == "QU"]
    if not given:
        yield Step(what="no validity date, the quote was not issued", who="office",
                   do=f"issue the quote, valid for {own.site.quote.valid_days} days")
    elif given[-1].revision != status.revision:
        yield Step(what=f"quote of revision {given[-1].revision}, the design is revision"
                   f" {status.revision}", who="office", do="issue the quote again")  # fmt: skip


def _approval(own: Job) -> Iterator[Step]:
    if not approved(own):
        by = own.site.checked
        early = ", ".join(held_early(own.site))
        signed = f", yet {early} signed" if early else ""
        yield Step(what=f"drawings not approved{signed}" if not by.done
                   else f"drawings approved by {by.name} are of another design",
                   who="licensed electrician", do="check the drawings and sign them")


def _tests(own: Job) -> Iterator[Step]:
    report, faults = tests_read(own)
    if report is None:
        return
    yield from _unread("test sheet", faults, "electrician")
    for each in report.standing("fail"):
        yield Step(what=f"test {each.line.id} failed: {each.line.what}, {each.line.where},"
                   f" {each.found} (required {each.limit})", who="electrician",
                   do=f"{each.remedy or 'put it right'}, then test {each.line.id} again")
    yield from _signed_against(own, report)
    missing = [each.line.id for each in report.standing("not done", "not assessed")]
    if missing:
        said = ", ".join(missing[:8]) + (f" and {len(missing) - 8} more" if missing[8:] else "")
        yield Step(what=f"{len(missing)} of {len(report.lines)} tests missing: {said}",
                   who="electrician", do=f"do the missing tests: {said}")


def _unread(what: str, faults: Sequence[Fault], who: str) -> Iterator[Step]:
    """A filled-in file with faults; what of it can be read is judged all the same."""
    if faults:
        yield Step(what=f"{counted(len(faults), 'fault')} in the {what}, first {faults[0].line}",
                   who=who, do=f"put the {what} right: no report is made of it as it is")


TESTS_OF_HOLD: dict[str, frozenset[str]] = {
    "H4": frozenset({"polarity", "voltage", "input-polarity"}),
    "H6": frozenset({"battery-polarity", "torque"}),
    "H7": frozenset({"electrode"}),
    "H8": frozenset({"array-insulation", "battery-insulation", "board-insulation",
                     "incoming-insulation", "trip-half", "trip-time", "trip-current",
                     "trip-time-delayed"}),
}
"""Tests that a hold point says are done, by the keys of their lines."""


def _signed_against(own: Job, report: TestReport) -> Iterator[Step]:
    """Hold points that somebody signed and the sheet contradicts; one that is blank does not."""
    if len(report.standing("not done")) == len(report.lines):
        return
    signed = {one.what for one in own.site.status.signed}
    for hold, keys in TESTS_OF_HOLD.items():
        of_hold = [each for each in report.lines if each.line.key in keys]
        for standing, said in (("fail", "failed"), ("not done", "not done")):
            ids = [each.line.id for each in of_hold if each.standing == standing]
            if hold in signed and ids:
                named = ", ".join(ids[:6]) + (f" and {len(ids) - 6} more" if ids[6:] else "")
                yield Step(what=f"{hold} signed, yet tests {said}: {named}",
                           who="licensed electrician",
                           do=f"switch off and lock until {named} passed, then sign {hold} again")


def _serials(own: Job) -> Iterator[Step]:
    wanted = positions_of(own.installation)
    path = own.sitefile.folder / own.site.handover.serials
    found, faults = serials_read(path, wanted) if there(path) else ({}, ())
    yield from _unread("list of serial numbers", faults, "crew lead")
    lacking = [one.name for one in wanted if one.name not in found or not found[one.name].serial]
    undated = [name for name, one in found.items() if one.warranty_until is None]
    for what, names in (("serial numbers", lacking), ("warranty dates", undated)):
        if names:
            yield Step(what=f"{len(names)} of {len(wanted)} {what} missing", who="crew lead",
                       do=f"fill in {what} from {names[0]} on")


def _unsigned(own: Job) -> Iterator[Step]:
    """What should be signed by now and is not: of this stage and of those before it."""
    signed = {one.what for one in own.site.status.signed}
    for one in signatures().values():
        if reached(own, one.stage) and one.key not in signed:
            label = f"{one.key} " if one.hold else ""
            yield Step(what=f"{label}{one.open}", who=one.who, do=f"sign {one.key}: {one.what}")


def _conditions(own: Job) -> Iterator[Step]:
    for check in own.all_checks:
        if check.open and check.outcome == "review":
            yield Step(what=f"to review, {check.kind}: {check.item}", who="lead",
                       do="accept it with name and reason, or change the design")
    for what in own.example_of:
        yield Step(what=f"{what} invented: stamped EXAMPLE", who="office",
                   do=f"replace the invented {what} by the firm's own")
    if reached(own, "design") and not approved(own):
        yield Step(what="design not approved", who="licensed electrician",
                   do="check the drawings and sign them")


def _open_holds(own: Built) -> tuple[str, ...]:
    signed = {one.what for one in own.site.status.signed}
    return tuple(one.key for one in signatures().values()
                 if one.hold and reached(own, "build") and one.key not in signed)


def _next_date(own: Job) -> str:
    """What the site file says; else the end of the quote's validity, or of the work on site."""
    status = own.site.status
    if status.next_date:
        return status.next_date
    if status.stage == "offer":
        given = [day_of(one.date) for one in status.issued if one.document == "QU"]
        if given and given[-1]:
            return (given[-1] + timedelta(days=own.site.quote.valid_days)).isoformat()
    if status.stage == "build":
        return own.programme.finish().date().isoformat()
    return ""


def approved(own: Job) -> bool:
    """Whether a licensed person has approved just this design, and no check of safety fails."""
    by = own.site.checked
    unsafe = any(one.kind == "safety" and one.outcome == "failed" for one in own.all_checks)
    return by.done and by.fingerprint == own.fingerprint and not unsafe


def document_status(own: Job, code: Code) -> DocumentStatus:
    """The status of a document as it would be made now.

    A document is a draft until it is issued, for this revision of the design; a new revision
    sets every document but the survey sheet back to draft. Decision sheet, report, appendix and
    quote are drafts while a check of safety or supply fails; a site pack is as its drawings are,
    `drawing_status`.

    Parameters
    ----------
    own : Job
    code : Code
        Of ``data/document_set.csv``.
    """
    document, status = document_set()[code], own.site.status
    issues = [one for one in status.issued if one.document == code]
    current = any(one.revision == status.revision for one in issues)
    if not reached(own, document.stage) or not (current or (code == "SV" and issues)):
        return "draft"
    signed = {one.what for one in status.signed}
    if code == "SP":
        return drawing_status(status, approved=own.drawn.site.checked.done)
    if code in ("DS", "DR", "CA", "QU") and own.blocking:
        return "draft"
    if code == "TR" and "TR" in signed:
        return "as built"
    return document.status


def issue_status(own: Job, issue: Issued) -> DocumentStatus:
    """The status of one issue of a document: superseded once the design has another revision."""
    if issue.document != "SV" and issue.revision != own.site.status.revision:
        return "superseded"
    return document_status(own, issue.document)


