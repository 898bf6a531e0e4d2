"""The test report says every test, the failed ones first, and what was not done."""

from __future__ import annotations

from typing import Any

import pytest

from solarcalc.documents.test_report import result_words
from solarcalc.documents.tree import texts_of
from solarcalc.views.commissioning import report_of_site, sheet_of_site

SITES = ("coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school", "ridge-clinic")
LINES_A_PAGE = 39


@pytest.mark.parametrize("name", SITES)
def test_one_page_and_the_sheet_with_every_test(document_cases: Any, name: str) -> None:
    (document,) = document_cases.made(name, "TR")
    _, lines = sheet_of_site(document_cases.demo(name))
    _, pages = document_cases.hold_to_rules(document, pages=1 + -(-len(lines) // LINES_A_PAGE))
    assert "All tests" in pages[1]
    text = "\n".join(texts_of(document.blocks))
    assert all(f"\n{line.id}\n" in text for line in lines)


def test_failed_tests_come_first_with_cause_and_action(document_cases: Any) -> None:
    (document,) = document_cases.made("ridge-clinic", "TR")
    design = document_cases.demo("ridge-clinic")
    report = report_of_site(design, *sheet_of_site(design))
    failed = report.standing("fail")
    assert len(failed) == 2
    texts = texts_of(document.blocks)
    assert texts[0] == result_words(report)
    assert "2 failed" in texts[0]
    assert texts[0].endswith("not to be handed over.")
    for each in failed:
        assert texts.index(each.line.id) < texts.index("Extent of the work")
    assert document.head.status == "draft"


def test_nothing_measured_is_said(document_cases: Any) -> None:
    (document,) = document_cases.made("cove-cannery", "TR")
    assert texts_of(document.blocks)[0].startswith("No test has been done")
