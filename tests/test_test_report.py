"""The test report says every test, the failed ones first, and what was not done."""

from __future__ import annotations

from typing import Any

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.documents.making import Making
from solarcalc.documents.test_report import documents, result_words
from solarcalc.documents.tree import texts_of
from solarcalc.views.commissioning import report_of_site, sheet_of_site

SITES = ("coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school", "ridge-clinic")
LINES_A_PAGE = 39


@pytest.mark.parametrize("name", SITES)
def test_one_page_and_the_sheet_with_every_test(document_cases: Any, name: str) -> None:
    (document,) = document_cases.made(name, "TR")
    _, lines = sheet_of_site(document_cases.demo(name))
    _, pages = document_cases.hold_to_rules(document, pages=1 + -(-len(lines) // LINES_A_PAGE))
    assert "All tests" in pages[0] + pages[1]  # it begins below the signatures where there is room
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


def test_instruments_stand_in_the_report_and_one_out_of_calibration_is_said(
    document_cases: Any,
) -> None:
    """By hand: ten kinds at the school, calibrated to 31 March 2026, tested on 23 October 2025."""
    design = document_cases.demo("plateau-school")
    (document,) = documents(Making(design=design))
    _, pages = document_cases.hold_to_rules(document)
    assert texts_of(document.blocks)[0].endswith(
        "may be handed over. Signed by Invented Electrician, 2025-10-23.")
    assert pages[0].count("invented, no. 45") == 10
    given = [one.model_dump() for one in design.site.commissioning.instruments]
    late = design.changed({"commissioning": {"instruments": [
        {**given[0], "calibrated_until": "2025-10-22"}, *given[1:]]}})
    fewer = design.changed({"commissioning": {"instruments": given[1:]}})
    for one in (late, fewer):
        text = " ".join(texts_of(documents(Making(design=one))[0].blocks))
        assert "once the instruments are entered below" in text
        assert ("2025-10-22: before the tests" in text) == (one is late)


def test_an_instrument_of_a_kind_nobody_asked_for_has_a_row(document_cases: Any) -> None:
    design = document_cases.demo("ridge-clinic").changed({"commissioning": {"instruments": [
        {"kind": "thermal camera", "number": "invented, no. 1"}]}})
    text = "\n".join(texts_of(documents(Making(design=design))[0].blocks))
    assert "\nthermal camera\ninvented, no. 1\n" in text
    assert "\nearth tester\n" in text


def test_a_day_of_calibration_that_is_none_is_refused(document_cases: Any) -> None:
    with pytest.raises(InputError, match=r"commissioning\.instruments\[1\]\.calibrated_until"):
        document_cases.demo("ridge-clinic").changed({"commissioning": {"instruments": [
            {"kind": "voltmeter", "calibrated_until": "2027-02-30"}]}})
