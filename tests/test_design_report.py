"""The design report: within its limits, every figure led back to the appendix, nothing of later.

Limits of pages, figures, tables and words are the project's own.
"""

from __future__ import annotations

import re
import runpy
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from hypothesis import HealthCheck, Phase, given, settings

from solarcalc.basis.errors import InputError
from solarcalc.commissioning.judge import commissioning_checks
from solarcalc.design import Design, open_design
from solarcalc.documents.anchors import anchors_of
from solarcalc.documents.design_report import documents
from solarcalc.documents.facts import to_review
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import document_pdf
from solarcalc.documents.tree import Document, texts_of
from solarcalc.followup.answer import followup_checks
from solarcalc.sitefile.site import Site
from solarcalc.views import commissioning, followup

TESTS = Path(__file__).parent
SITES = runpy.run_path(str(TESTS / "site_files.py"))
BROKEN: Mapping[str, Any] = runpy.run_path(str(TESTS / "test_no_answer.py"))["BROKEN"]
DEMOS = runpy.run_path(str(TESTS / "document_cases.py"))["DEMOS"]
PAGES, FIGURES, TABLES, WORDS = 12, 9, 12, 4500
FINDINGS, WORDS_EACH = 25, 30  # beyond so many, each failed or to review has so many words
ANCHOR = re.compile(r"\bA\d+\.\d+\b")
SECTION = re.compile(r"^(\d+) [A-Z]")


def blocks_in(blocks: Any) -> Iterator[dict[str, Any]]:
    """Every block of a tree."""
    for block in blocks:
        yield block
        for inner in (block.get("blocks", []), *block.get("columns", []),
                      *(block["items"] if block["kind"] == "list" else [])):
            yield from blocks_in(inner)


def counted(document: Document, kind: str) -> int:
    return sum(block["kind"] == kind for block in blocks_in(document.blocks))


def links_of(value: Any) -> Iterator[tuple[str, str]]:
    """Where each link leads and its words."""
    if isinstance(value, Mapping):
        if value.get("kind") == "link":
            yield value["to"], "".join(value["words"])
        for inner in value.values():
            yield from links_of(inner)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            yield from links_of(inner)


LEAST_SCALE = 0.55
"""Of the size that a figure is drawn in, with letters of 7 to 9 points: smaller is not read."""


def scales_of(document: Document) -> Iterator[float]:
    """How much smaller each figure is set than it was drawn."""
    for block in blocks_in(document.blocks):
        drawn = re.search(rb'<svg[^>]* width="([\d.]+)pt"', block.get("content", b""))
        if drawn and block["largest_mm"]:
            yield block["largest_mm"] * 72.0 / 25.4 / float(drawn[1])


WORDS_A_PLANE = 500
"""More for each further roof plane, whose checks and figures stand beside those of the first."""


LEAST_PLAN_SCALE = 0.75
"""Of the roof plan, whose modules have names of 7 points: 5 points on paper are read."""


def held_to_limits(
    document: Document, document_cases: Any, findings: int = 0, planes: int = 1
) -> tuple[str, list[str]]:
    html, pages = document_cases.hold_to_rules(document, pages=PAGES)
    assert counted(document, "figure") <= FIGURES + planes - 1
    assert min(scales_of(document)) >= LEAST_SCALE
    plans = [scale for block in blocks_in(document.blocks)
             if "".join(map(str, block.get("caption", ""))).startswith("Plan of the roof")
             for scale in scales_of(replace(document, blocks=(block,)))]
    assert min(plans, default=1.0) >= LEAST_PLAN_SCALE
    assert counted(document, "table") <= TABLES + planes - 1
    text = " ".join(texts_of(document.blocks))
    most = WORDS + WORDS_EACH * max(findings - FINDINGS, 0)
    most += WORDS_A_PLANE * (planes - 1)
    assert sum(len(page.split()) for page in pages) <= most, "as a reader of the PDF counts"
    assert "no source" not in text
    assert "from memory" not in text
    keys = "|".join(Site.model_fields)
    assert not re.findall(rf"\b(?:{keys})\.[a-z]\w+|\[+(?:{keys})\b[.\w]*\]+", text)
    return html, pages


LEAST_FILLED_FRAC = 0.65
"""Of a page that another one follows: what is left is less than a picture and its caption need."""


def filled_fracs(content: bytes) -> list[float]:
    """How far down each page of a PDF its last line or picture reaches, the footer left out."""
    document = pypdfium2.PdfDocument(content)
    found = []
    for page in document:
        high = page.get_height()
        foot = 0.06 * high
        ends = [one.get_bounds()[1] for one in page.get_objects()]
        found.append(1.0 - min(end for end in ends if end > foot) / high)
    document.close()
    return found


@pytest.mark.slow
@pytest.mark.parametrize("name", DEMOS)
def test_it_keeps_its_limits_and_long_sections_a_page_each(name: str, document_cases: Any) -> None:
    (document,) = document_cases.made(name, "DR")
    planes = len(document_cases.demo(name).site.sites)
    _, pages = held_to_limits(document, document_cases, planes=planes)
    heads = [block for block in document.blocks
             if block["kind"] == "heading" and block["level"] == 2]  # fmt: skip
    assert [block["id"] for block in heads] == [f"s{number}" for number in range(1, 13)]
    for number, head in enumerate(heads[:8]):  # pictures of two roof planes run on to a page more
        page = pages[number] if planes == 1 else " ".join(pages[number:number + planes])
        assert "".join(head["words"]).replace(" ", "") in page.replace(" ", "")
    filled = filled_fracs(document_pdf(document))[6 + planes:-1]
    assert min(filled) > LEAST_FILLED_FRAC, "8 to 12 run on, so that none leaves half a page empty"


@pytest.mark.slow
@pytest.mark.parametrize("name", DEMOS)
def test_each_open_check_has_its_line_with_its_calculation(
    name: str, document_cases: Any
) -> None:
    (document,) = document_cases.made(name, "DR")
    design = document_cases.demo(name)
    anchors = anchors_of(design)
    (second,) = [block for block in document.blocks if block["kind"] == "table"
                 and block["caption"] == ["Failed first, safety first"]]  # fmt: skip
    led = [to.partition("#")[2] for row in second["rows"] for to, _ in links_of(row)]
    shown = [one for one in design.all_checks if one.outcome in ("failed", "review")]
    assert sorted(led) == sorted({anchors.checks[one] for one in shown})
    assert len(to_review(shown)) + len(design.failed) <= len(shown)
    classes = [row[0]["words"][0] for row in second["rows"]]
    actions = ["".join(row[4]["words"]) for row in second["rows"]]
    assert all(actions), "each says what to do"
    assert not [one for one in actions if "see the calculation" in one]
    order = ["failed, safety", "failed", "review, safety", "review"]
    ranks = [next(rank for rank, said in enumerate(order) if one.startswith(said))
             for one in classes]  # fmt: skip
    assert ranks == sorted(ranks)


@pytest.mark.parametrize("name", DEMOS)
def test_words_of_a_link_name_the_anchor_it_leads_to(name: str, document_cases: Any) -> None:
    (document,) = document_cases.made(name, "DR")
    links = list(links_of(document.blocks))
    assert len(links) > 30
    for to, words in links:
        file, _, anchor = to.partition("#")
        assert anchor == words
        assert ANCHOR.fullmatch(words)
        assert file == anchors_of(document_cases.demo(name)).file(int(words[1:].split(".")[0]))


@pytest.mark.parametrize("name", DEMOS)
def test_each_line_of_the_cables_leads_to_its_calculation(name: str, document_cases: Any) -> None:
    (document,) = document_cases.made(name, "DR")
    (cables,) = [block for block in document.blocks if block["kind"] == "table"
                 and block["caption"][:1] == ["Cables and their protection"]]  # fmt: skip
    assert cables["rows"]
    assert [len(list(links_of(row))) for row in cables["rows"]] == [1] * len(cables["rows"])


@pytest.mark.slow
def test_nothing_that_was_tested_or_logged_is_in_it(document_cases: Any) -> None:
    (document,) = document_cases.made("ridge-clinic", "DR")
    design = document_cases.demo("ridge-clinic")
    text = " ".join(texts_of(document.blocks))
    report = commissioning.report_of_site(design, *commissioning.sheet_of_site(design))
    found = followup.found_of(design)
    assert found is not None
    late = [*commissioning_checks(report), *followup_checks(found)]
    assert late
    for check in late:
        assert check.item not in text
        assert len(check.found) < 12 or check.found not in text
    bare = design.changed({"commissioning": {"results": ""}, "logger": {"file": ""}})
    (before,) = documents(Making(design=bare))
    assert " ".join(texts_of(before.blocks)) == text


@pytest.mark.slow
@settings(max_examples=3, deadline=None, suppress_health_check=list(HealthCheck),
          phases=[Phase.explicit, Phase.reuse, Phase.generate])  # fmt: skip
@given(SITES["site_changes"]())
def test_any_site_has_a_report_within_its_limits(document_cases: Any, changes: Any) -> None:
    try:
        design = open_design(SITES["_base"](), changes)
        (document,) = documents(Making(design=design))
    except InputError:
        return
    findings = sum(one.outcome in ("failed", "review") for one in design.all_checks)
    held_to_limits(document, document_cases, findings)


def broken(name: str) -> Design:
    site, changes, _ = BROKEN[name]
    return open_design(site, changes)


@pytest.mark.slow
@pytest.mark.parametrize("name", BROKEN)
def test_what_has_no_answer_says_why_and_the_rest_goes_on(name: str, document_cases: Any) -> None:
    design = broken(name)
    (document,) = documents(Making(design=design))
    held_to_limits(document, document_cases)
    text = " ".join(texts_of(document.blocks))
    assert "12 Revision, documents, standards, approval" in text
    assert "NoAnswer" not in text
