"""The calculation appendix: closed, numbered, everything of a design in it, each once."""

from __future__ import annotations

import re
import runpy
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import nbformat
import pytest
from bs4 import BeautifulSoup

from solarcalc.basis.files import workbooks_folder
from solarcalc.basis.quantity import three_figures
from solarcalc.design import Design, open_design
from solarcalc.documents.anchors import CHAPTERS, FOR_THE_CREW, anchors_of
from solarcalc.documents.appendix import documents
from solarcalc.documents.appendix_lists import by_chapter
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making, file_stem
from solarcalc.documents.tree import Document, text_of, texts_of
from solarcalc.page import RESULTS_MIME
from solarcalc.report.findings import findings_of, merged_assumptions
from solarcalc.stages.progress import test_report
from solarcalc.views import followup, worked
from solarcalc.views.assumptions import DEFAULT_USED

pytestmark = pytest.mark.slow
TESTS = Path(__file__).parent
DEMOS = runpy.run_path(str(TESTS / "document_cases.py"))["DEMOS"]
executed = cache(runpy.run_path(str(TESTS / "executed.py"))["executed"])
links_of = runpy.run_path(str(TESTS / "test_design_report.py"))["links_of"]
FULL = "ridge-clinic"
"""Has tests and, once it is visited, a logger."""


@cache
def visited(name: str) -> Design:
    """A demo site at its visit."""
    return open_design(name, {"status": {"stage": "visit"}})


@cache
def empty_workbooks() -> dict[str, Any]:
    """Workbooks that nobody executed, with results that say nothing."""
    found = {}
    for path in sorted(workbooks_folder().glob("*.ipynb")):
        notebook: Any = nbformat.read(path, as_version=4)
        for cell in notebook.cells:
            if cell.cell_type == "code":
                cell.outputs = []
        record = {"answer": "None.", "values": {}, "order": [], "checks": []}
        (last,) = [cell for cell in notebook.cells if "results" in cell.metadata.get("tags", [])]
        last.outputs = [nbformat.v4.new_output("display_data", data={RESULTS_MIME: record})]
        found[path.stem] = notebook
    return found


def appendix(document_cases: Any, name: str, *, full: bool = False) -> tuple[Document, ...]:
    design = visited(name) if full else document_cases.demo(name)
    notebooks = executed(design) if full else empty_workbooks()
    return documents(Making(design=design, notebooks=notebooks))


def folds_of(document: Document) -> dict[str, dict[str, Any]]:
    return {block["id"]: block for block in document.blocks if block["kind"] == "fold"}


def files_of(made: tuple[Document, ...]) -> dict[str, set[str]]:
    """Anchors of each file."""
    return {f"{file_stem(one.head.number, one.head.revision)}.html":
            {str(tag["id"]) for tag in BeautifulSoup(document_html(one), "html.parser").find_all(
                id=True)} for one in made}  # fmt: skip


@pytest.mark.parametrize("name", DEMOS)
def test_every_anchor_that_the_report_names_is_there(name: str, document_cases: Any) -> None:
    files = files_of(appendix(document_cases, name))
    (report,) = document_cases.made(name, "DR")
    for to, _ in links_of(report.blocks):
        file, _, anchor = to.partition("#")
        assert anchor in files[file]


@pytest.mark.parametrize("name", DEMOS)
def test_everything_is_folded_and_closed_and_its_links_lead_somewhere(
    name: str, document_cases: Any
) -> None:
    made = appendix(document_cases, name)
    files = files_of(made)
    for document in made:
        html = document_html(document)
        assert "<details open" not in html
        for to, _ in links_of(document.blocks):
            file, _, anchor = to.partition("#")
            assert file in files
            assert not anchor or anchor in files[file]
    for chapter in made[1:]:
        kinds = [block["kind"] for block in chapter.blocks]
        assert set(kinds) <= {"sentence", "paragraph", "heading", "fold"}
        assert kinds.count("paragraph") == 1, "the way back; all else is in folds"


@pytest.mark.parametrize("name", DEMOS)
def test_every_check_of_the_design_has_one_fold(name: str, document_cases: Any) -> None:
    made = appendix(document_cases, name)
    design = document_cases.demo(name)
    folds = {anchor: fold for one in made[1:] for anchor, fold in folds_of(one).items()}
    anchors = anchors_of(design)
    distinct = {check for checks in design.checks.values() for check in checks}
    assert set(anchors.checks) == distinct
    for check, anchor in anchors.checks.items():
        said = " ".join(texts_of([folds[anchor]]))
        for part in (check.item, check.found_words, check.limit_words, check.clause, check.key,
                     check.fingerprint, check.kind, check.evidence):
            assert part.replace("nonessential", "non-essential").replace(
                "Nonessential", "Non-essential") in said or part in said
    shown = [anchor for anchor, fold in folds.items() if "Fingerprint" in texts_of([fold])]
    assert sorted(shown) == sorted(anchors.checks.values())


@pytest.mark.parametrize("demo", DEMOS)
def test_every_cable_of_the_schedule_has_its_calculation(demo: str, document_cases: Any) -> None:
    folds = {key: " ".join(texts_of([fold])) for one in appendix(document_cases, demo)
             for key, fold in folds_of(one).items()}  # fmt: skip
    design = document_cases.demo(demo)
    runs = anchors_of(design).runs
    assert "battery_main" in {one.key for one in design.installation.cables} or (
        design.site.supply.separate_banks), "the battery's own conductors are among them"
    for cable in design.installation.cables:
        assert cable.sized is not None
        said = folds[runs[cable.sized.run.key]]
        name = cable.name.replace("nonessential", "non-essential")
        assert f"{cable.tag} {name}, {cable.size_name}" in said
        assert f"{three_figures(cable.capacity_a)} A" in said
        least = float(said.partition("at least ")[2].split()[0].replace("\u202f", ""))
        assert least <= cable.size_mm2 * cable.in_parallel
        assert (least > 0.0) == (" 0 A, cleared" not in said), "no size without a short circuit"


@pytest.mark.parametrize("name", DEMOS)
def test_the_first_page_counts_what_the_chapters_hold(name: str, document_cases: Any) -> None:
    first, *_ = appendix(document_cases, name)
    (counts,) = [block for block in first.blocks if block["kind"] == "table"]
    rows = [[text_of(cell["words"]) for cell in row] for row in counts["rows"]]
    design = document_cases.demo(name)
    outcomes = Counter("accepted" if one.accepted else one.outcome
                       for checks in design.checks.values() for one in set(checks))
    assert rows[-1][2:] == [str(outcomes[how]) for how in (
        "failed", "review", "accepted", "not assessed", "passed")]
    for column in range(1, 7):
        assert sum(int(row[column]) for row in rows[:-1]) == int(rows[-1][column])


def test_tests_and_visit_have_chapters_only_where_the_site_has_them(document_cases: Any) -> None:
    late = {(name, stage): {"07", "08"} & {one.head.number.rpartition("-")[2] for one in documents(
        Making(design=open_design(name, {"status": {"stage": stage}}),
               notebooks=empty_workbooks()))}
        for name in (FULL, "orchard-shop") for stage in ("build", "test", "visit")}
    assert late == {
        (FULL, "build"): set(), (FULL, "test"): {"07"}, (FULL, "visit"): {"07", "08"},
        **{("orchard-shop", stage): set() for stage in ("build", "test", "visit")}}


def test_a_category_of_tests_is_not_counted_beside_its_lines(document_cases: Any) -> None:
    first, *_ = appendix(document_cases, FULL, full=True)
    (counts,) = [block for block in first.blocks if block["kind"] == "table"]
    (row,) = [row for row in counts["rows"] if "A7" in text_of(row[0]["words"])]
    report = test_report(visited(FULL))
    assert report is not None
    assert text_of(row[2]["words"]) == str(len(report.standing("fail")))


def test_every_assumption_of_the_workbooks_stands_once(document_cases: Any) -> None:
    made = appendix(document_cases, FULL, full=True)
    notebooks = executed(visited(FULL))
    findings = {name: findings_of(name, one) for name, one in notebooks.items()}
    every = merged_assumptions(findings.values())
    assert Counter(one for found in by_chapter(findings).values() for one in found) == Counter(
        every)
    assert len(every) > 100
    lists = folds_of(made[-1])
    rows = [tuple(text_of(cell["words"]) for cell in row)
            for anchor in ("A10.3", "A10.4") for block in lists[anchor]["blocks"]
            for row in block["rows"]]
    assert len(rows) == len(every)
    firsts = Counter(row[0] for row in rows)
    for one in every:
        assert firsts[one.label.removesuffix(DEFAULT_USED)] >= 1


def test_calculations_come_without_lessons_exercises_and_warnings(document_cases: Any) -> None:
    made = appendix(document_cases, FULL, full=True)
    text = " ".join(said for one in made for said in texts_of(one.blocks))
    for notebook in executed(visited(FULL)).values():
        for cell in notebook.cells:
            if cell.cell_type == "markdown":
                for line in re.findall(r"^(?![#>|\-]).{60,}$", cell.source, re.MULTILINE):
                    assert line.strip() not in text
    assert "Caution" not in text
    assert "put your number" not in text
    kinds = Counter(block["kind"] for one in made for fold in folds_of(one).values()
                    for block in fold["blocks"])
    assert kinds["formula"] > 10
    assert kinds["figure"] > 20
    assert kinds["table"] > 50
    empty = [anchor for one in made for anchor, fold in folds_of(one).items()
             if not fold["blocks"]]
    assert not empty


def test_formulas_stand_there_with_their_figures(document_cases: Any) -> None:
    """Those of site, visit and cost; what cost and margin make is for the firm alone."""
    shown = [block["tex"] for one in appendix(document_cases, FULL, full=True)
             for fold in folds_of(one).values() for block in fold["blocks"]
             if block["kind"] == "formula"]  # fmt: skip
    design = visited(FULL)
    found = followup.found_of(design)
    assert found is not None
    wanted = [*worked.rows_worked(design), *worked.offer_worked(design),
              *worked.economics_worked(design), *worked.followup_worked(design, found)]
    assert [one.numeric for one in wanted if one.numeric not in shown] == []
    assert worked.price_worked(design).numeric not in shown


def test_it_can_be_printed_with_every_fold_open(document_cases: Any) -> None:
    for document in appendix(document_cases, FULL, full=True):
        document_cases.hold_to_rules(document)


def test_what_is_left_to_the_crew_is_still_in_the_workbooks() -> None:
    code = "\n".join(cell.source for one in empty_workbooks().values() for cell in one.cells)
    assert not [call for call in FOR_THE_CREW if call not in code]


def test_chapters_have_short_titles_and_each_workbook_has_one() -> None:
    assert all(len(one.title_words) <= 25 for one in CHAPTERS)
    assert {one.workbook for one in CHAPTERS if one.workbook} == {
        path.stem for path in workbooks_folder().glob("*.ipynb")}
