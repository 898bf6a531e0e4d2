"""The first page of a site's folder: where the job stands, its documents, what changed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Protocol

from solarcalc.basis.check import Check
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.design import Design
from solarcalc.documents.handover_file import why_no_handover
from solarcalc.documents.making import Making
from solarcalc.documents.quote import why_no_quote
from solarcalc.documents.tree import (
    Block,
    Cell,
    Document,
    cell,
    fold,
    heading,
    link,
    points,
    sentence,
    strong,
    table,
)
from solarcalc.documents.write import Filed
from solarcalc.sitefile.status import document_set
from solarcalc.stages.progress import progress_of, reached, test_report
from solarcalc.views.followup import visit_checks

MOST_CHANGES = 12
"""Changes shown at once; the others are folded."""


class Change(Protocol):
    """One thing that is other than in the report before."""

    @property
    def what(self) -> str:
        """What is other than before."""
    @property
    def old(self) -> str:
        """As it was."""
    @property
    def new(self) -> str:
        """As it is now."""
    @property
    def how(self) -> str:
        """How it changed."""
    @property
    def safety(self) -> bool:
        """Whether it bears on safety."""
    @property
    def small(self) -> bool:
        """Whether it is too small to matter."""


class Changes(Protocol):
    """What changed since the report before."""

    @property
    def sentence(self) -> str:
        """All of it in one sentence."""
    @property
    def rows(self) -> Sequence[Change]:
        """Each change."""


def site_page(
    making: Making, written: Sequence[Filed], changes: Changes | None, *,
    sheets: Sequence[str] = (), gone: Sequence[Filed] = (),
) -> Document:  # fmt: skip
    """The page that leads to everything in the folder of a site.

    Parameters
    ----------
    making : Making
    written : sequence of Filed
        Documents in the folder.
    changes : Changes, optional
        Since the report before; None for the first.
    sheets : sequence of str
        Schedules, drawings and tables in its folders, by path.
    gone : sequence of Filed
        Documents of the report before that are true no more.
    """
    head = making.head("IX", "Documents of the site", status="")
    blocks = (*_stage(making), *_documents(written), *_missing(making), *_gone(gone),
              *_changes(changes), *_others(written, sheets))  # fmt: skip
    return Document(code="IX", head=head, look="report", stamp=making.example_stamp(),
                    blocks=blocks)  # fmt: skip


def _stage(making: Making) -> Iterator[Block]:
    design = making.design
    of_visit = visit_checks(design)
    progress, unsafe = progress_of(design, of_visit=of_visit), _unsafe(design, of_visit)
    by = f", by {progress.next_date}" if progress.next_date else ""
    yield sentence(*([strong(f"{unsafe}. ")] if unsafe else []),
                   f"Stage: {progress.stage}. Next step: {progress.next_step.words}{by}.",
                   look="answer")  # fmt: skip
    energy = or_why(lambda: design.year_energy)()
    if not isinstance(energy, NoAnswer):
        yield sentence(f"Energy of the year: {energy.words}.")
    if progress.blocks:
        title = f"{len(progress.blocks)} open before {progress.next_stage or 'it is closed'}"
        blocks = [points(f"{one.what} ({one.who})" for one in progress.blocks)]
        if unsafe:  # nobody has to open anything to see what is unsafe
            yield from (heading(title, key="open"), *blocks)
        else:
            yield fold(title, blocks, key="open")
    if progress.conditions:
        yield fold(f"{len(progress.conditions)} conditions and stamps that block nothing",
                   [points(f"{one.what} ({one.who}: {one.do})" for one in progress.conditions)],
                   key="conditions")  # fmt: skip


def _unsafe(design: Design, of_visit: Sequence[Check]) -> str:
    """How many tests and checks of safety failed, and what that forbids; empty for none."""
    report = test_report(design)
    tests = len(report.standing("fail")) if report else 0
    checks = sum(one.kind == "safety" for one in design.failed)
    found = sum(one.kind == "safety" and one.open for one in of_visit)
    return "; ".join(f"{count} {what}{'s' * (count != 1)} {then}" for count, what, then in (
        (checks, "safety check", "of the design failed: not to be built"),
        (tests, "test", "failed: not to be handed over"),
        (found, "safety finding", "of the visit open: to be made safe"),
    ) if count)


def _documents(written: Sequence[Filed]) -> Iterator[Block]:
    yield heading("Documents", key="documents")
    rows: list[list[Cell]] = []
    for one in written:
        rows.append([
            link(one.html, f"{one.number} {one.title}"), document_set()[one.code].reader,
            one.status, one.revision, link(one.pdf, f"PDF of {one.number}") if one.pdf else "−",
        ])  # fmt: skip
    yield table(["Document", "Reader", "Status", "Rev.", "To print or send"], rows)


def _missing(making: Making) -> Iterator[Block]:
    """Why the customer's documents of this stage cannot be made, where they cannot."""
    design = making.design
    if reached(design, "offer") and (why := why_no_quote(design)):
        yield sentence(strong("No quote: "), why)
    if reached(design, "handover") and (why := why_no_handover(design)):
        yield sentence(strong("No booklet and handover file: "), f"{why}.")


def _gone(gone: Sequence[Filed]) -> Iterator[Block]:
    if gone:
        named = "; ".join(f"{one.number} {one.title}, made for revision {one.revision}"
                          for one in gone)  # fmt: skip
        yield sentence("Of another design, price or status, not made again: ", named, "; in ",
                       link("earlier/", "earlier"), ".")  # fmt: skip


def _changes(changes: Changes | None) -> Iterator[Block]:
    if changes is None:
        return
    yield heading("What changed since last time", key="changes")
    yield sentence(changes.sentence)
    rows: list[list[Cell]] = [
        [strong(row.what) if row.safety else row.what, row.old or "−", row.new or "−",
         cell(row.how, mark="failed" if row.how == "now failed" else "")] for row in changes.rows
    ]  # fmt: skip
    heads, most = ["What", "Before", "Now", "How"], sum(not row.small for row in changes.rows)
    most = min(most, MOST_CHANGES)
    if rows[:most]:
        yield table(heads, rows[:most])
    if rows[most:]:
        yield fold(f"{len(rows) - most} more", [table(heads, rows[most:])])
    yield sentence("The documents before these are kept in the folder ",
                   link("earlier/", "earlier"), ".")  # fmt: skip


def _others(written: Sequence[Filed], sheets: Sequence[str]) -> Iterator[Block]:
    beside = [name for one in written for name in one.beside]
    if beside or sheets:
        yield fold("Other files: schedules, drawings, tables to fill in",
                   [points(link(name, name) for name in (*beside, *sheets))],
                   key="files")  # fmt: skip
    yield sentence("Input: ", link("site.toml", "the site file these documents were made from"),
                   ". All figures: ", link("summary.json", "summary.json"), ".",
                   look="small")  # fmt: skip
