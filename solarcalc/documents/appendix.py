"""The calculation appendix: all that a design was worked out by, folded, numbered, to be linked to.

A first page that counts, a document a chapter (`solarcalc.documents.anchors`), and a last one of
guesses, values and sources. Formulas, tables and pictures are those of the executed workbooks; each
run of cable and each check has a fold of its own. Names of site-file keys stand here and in no
other document.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from solarcalc.basis.check import Check, Stage, worst_first
from solarcalc.documents.anchors import (
    ASSUMED,
    CHAPTERS,
    CHECKS_OF,
    Anchors,
    Chapter,
    anchors_of,
    chapter_sections,
    chapters_of,
    check_numbers,
)
from solarcalc.documents.appendix_lists import list_blocks
from solarcalc.documents.appendix_runs import run_blocks
from solarcalc.documents.cells import cell_blocks
from solarcalc.documents.making import Making
from solarcalc.documents.tree import (
    Block,
    Document,
    Word,
    cell,
    code,
    fold,
    heading,
    link,
    pairs,
    sentence,
    strong,
    table,
)
from solarcalc.page import MARKS, RESULTS_MIME
from solarcalc.report.findings import Findings, findings_of, value_rows
from solarcalc.stages.progress import document_status, reached
from solarcalc.stages.status import once

TITLE = "Calculation appendix"
_HEAD = ("Chapter", "Calculations", "Failed", "To review", "Accepted", "Not assessed", "Passed")


@dataclass(frozen=True, kw_only=True, eq=False)
class _Making:
    """What the appendix of a site is made from."""

    making: Making
    anchors: Anchors

    @cached_property
    def findings(self) -> dict[str, Findings]:
        """Of each executed workbook, those that have something to say of this site."""
        return {name: findings_of(name, notebook)
                for name, notebook in self.making.notebooks.items() if self.has(name)}  # fmt: skip

    def has(self, workbook: str) -> bool:
        """Whether the site has what a workbook judges: tests and a visit come late."""
        design = self.making.design
        late: dict[str, tuple[Stage, str]] = {
            "commissioning": ("test", design.site.commissioning.results),
            "followup": ("visit", design.site.logger.file),
        }
        stage, file = late.get(workbook, ("survey", workbook))
        return bool(file) and reached(design, stage)

    @cached_property
    def checks(self) -> dict[int, tuple[tuple[Check, str], ...]]:
        """Checks of each chapter with their anchors: of the design, then of tests and visit."""
        late = {name: once(found.checks) for name, found in self.findings.items()
                if name in ("commissioning", "followup")}  # fmt: skip
        numbered = [*self.anchors.checks.items(), *check_numbers(late, 0)]
        made = {one.number: tuple(item for item in numbered
                                  if item[1].startswith(f"{one.name}.")) for one in CHAPTERS}
        return made | {one.number: tuple(self._own_checks(one)) for one in self.chapters
                       if one.number > ASSUMED.number}  # fmt: skip

    def _own_checks(self, chapter: Chapter) -> Iterator[tuple[Check, str]]:
        """Checks that a notebook without a chapter among ours made itself."""
        first = len(chapter_sections(chapter, self.making.notebooks)) + 1
        found = dict.fromkeys(self.findings[chapter.workbook].checks)
        for place, check in enumerate(found, start=first):
            yield check, f"{chapter.name}.{place}"

    @cached_property
    def chapters(self) -> list[Chapter]:
        """Those that this site has."""
        return [one for one in chapters_of(self.making.notebooks)
                if not one.workbook or self.has(one.workbook)]  # fmt: skip


def documents(making: Making) -> tuple[Document, ...]:
    """First page, one document a chapter, and the lists."""
    held = _Making(making=making, anchors=anchors_of(making.design))
    made = {one.number: tuple(_chapter(held, one)) for one in held.chapters}
    first = _document(making, 0, TITLE, tuple(_first_page(held, made)))
    rest = [_document(making, one.number, one.title_words, made[one.number])
            for one in held.chapters]  # fmt: skip
    return (first, *rest)


def _document(making: Making, number: int, title: str, blocks: Sequence[Block]) -> Document:
    head = making.head("CA", title, sheet=number, kind="calculation",
                       status=document_status(making.design, "CA"))  # fmt: skip
    return Document(code="CA", head=head, stamp=making.example_stamp(), contents=number > 0,
                    blocks=tuple(blocks))  # fmt: skip


def _first_page(held: _Making, made: Mapping[int, Sequence[Block]]) -> Iterator[Block]:
    """Chapters with what stands in them: sums of what their folds say."""
    yield sentence(
        "Each chapter is a file of its own, every part of it closed until it is opened. A number"
        " such as A5.3 in another document leads to the part that has the calculation."
    )
    rows, total = [], Counter[str]()
    for one in held.chapters:
        counts = Counter(_stands(check) for check, _ in held.checks[one.number])
        folds = [block for block in made[one.number] if block["kind"] == "fold"]
        counts["folds"] = len(folds) - sum(counts.values())
        total += counts
        rows.append([link(held.anchors.file(one.number), one.title_words), *_counted(counts)])
    yield table(_HEAD, [*rows, [strong("All"), *_counted(total)]], right=range(1, 7))
    if not held.making.notebooks:
        yield sentence("The workbooks were not executed: chapters hold runs of cable and checks"
                       " only.", look="aside")


def _counted(counts: Mapping[str, int]) -> list[Block | str]:
    shown: list[Block | str] = [str(counts.get("folds", 0))]
    marks: dict[str, Literal["", "failed", "review"]] = {"failed": "failed", "review": "review"}
    for how in ("failed", "review", "accepted", "not assessed", "passed"):
        mark = marks.get(how, "") if counts.get(how) else ""
        shown.append(cell(str(counts.get(how, 0)), mark=mark, align="right"))
    return shown


def _stands(check: Check) -> str:
    return "accepted" if check.accepted else check.outcome


def _chapter(held: _Making, chapter: Chapter) -> Iterator[Block]:
    """Results, sections of the workbook, runs of cable, checks; the last one lists."""
    yield sentence(link(held.anchors.file(0), "All chapters"))
    if chapter is ASSUMED:
        yield from list_blocks(held.making.design, held.findings, held.chapters)
        return
    checks = held.checks[chapter.number]
    yield heading("Calculations", key=f"{chapter.name}-calculations")
    if chapter.workbook in held.making.notebooks and (checks or chapter not in CHAPTERS):
        yield from _results(held, chapter)
    for place, section in enumerate(chapter_sections(chapter, held.making.notebooks), start=1):
        anchor = f"{chapter.name}.{place}"
        yield fold([strong(anchor), f" {section.title}"], cell_blocks(section.cells), key=anchor)
    if chapter.number == CHECKS_OF["electrical"]:
        yield from run_blocks(held.making.design, held.anchors)
    if checks:
        yield heading("Checks", key=f"{chapter.name}-checks")
        order = worst_first(check for check, _ in checks)
        numbers = dict(checks)
        yield from (_check(check, numbers[check]) for check in order)


def _results(held: _Making, chapter: Chapter) -> Iterator[Block]:
    """Answer and named values of the chapter's workbook."""
    anchor = f"{chapter.name}.0"
    for cell_ in held.making.notebooks[chapter.workbook].cells:
        for output in cell_.get("outputs", []):
            if RESULTS_MIME in output.get("data", {}):
                record = output["data"][RESULTS_MIME]
                values = [[name, value, unit] for name, value, unit in value_rows(record)]
                yield fold([strong(anchor), " Results"], [
                    sentence(record["answer"]),
                    table(("What", "Value", "Unit"), values, right=(1,)),
                ], key=anchor)  # fmt: skip


def _check(check: Check, anchor: str) -> Block:
    """One check with all that it carries."""
    rows: list[tuple[str, Word]] = [
        ("Found", check.found_words), ("Required", check.limit_words), ("Source", check.clause),
        ("Evidence", check.evidence), ("Class", check.kind), ("Stage", check.stage),
        ("Action", check.remedy), ("Accepted", check.accepted),
        ("Key", code(check.key)), ("Fingerprint", code(check.fingerprint)),
    ]  # fmt: skip
    return fold([strong(anchor), f" {check.item}: ", strong(MARKS[check.outcome])],
                [pairs(row for row in rows if row[1])], key=anchor)  # fmt: skip
