"""A claim sheet a page each: what is where, until when it is warranted, what is wrong with it."""

from __future__ import annotations

import re
import runpy
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.basis.errors import InputError
from solarcalc.basis.messages import languages
from solarcalc.basis.phrases import plain, untranslated
from solarcalc.design import Design
from solarcalc.documents import claim_sheet
from solarcalc.documents.claim_sheet import documents
from solarcalc.documents.making import Making
from solarcalc.documents.tree import text_of, texts_of
from solarcalc.followup.daily import Finding
from solarcalc.stages.serials import claim_rows, positions_of
from solarcalc.views.followup import found_of

JOBS = runpy.run_path(str(Path(__file__).with_name("job_cases.py")))
CLAIM = {"position": "S1/3", "date": "2030-05-04", "fault": "bypass diode short-circuited",
         "measured": "24.8 V where 37.1 V was due, at 820 W/m² and 41 °C"}
SITES = ("coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school", "ridge-clinic")


def claimed(design: Design, *claims: dict[str, str], language: str = "en") -> Any:
    return documents(Making(design=design.changed(
        {"handover": {"claims": list(claims)}, "firm": {"language": language}})))


def pairs_of(document: Any) -> dict[str, str]:
    return {text_of(term): text_of(said) for block in document.blocks if block["kind"] == "pairs"
            for term, said in block["rows"]}


@pytest.mark.parametrize("language", languages())
def test_a_claim_is_a_page_with_what_a_claim_wants(document_cases: Any, language: str) -> None:
    sheets = claimed(document_cases.demo("plateau-school"), CLAIM, {**CLAIM, "position": "G2.4"},
                     language=language)  # fmt: skip
    assert [one.head.number for one in sheets] == ["PBS-CL-01", "PBS-CL-02"]
    for document in sheets:
        document_cases.hold_to_rules(document, pages=1)
        text = " ".join(texts_of(document.blocks))
        assert not re.search(r"no source|from memory|common practice|USD|[a-z]+_[a-z]+_[a-z]", text)
    # by hand from data/handover/plateau-school.csv
    text = " ".join(texts_of(sheets[0].blocks))
    for said in ("S1/3", "Invented IM-307", "INVM4114", "24.8 V", CLAIM["fault"],
                 "Invented Plateau Solar", "Plateau Boarding School"):
        assert said in text


@pytest.mark.parametrize("name", SITES)
def test_what_was_designed_is_named_in_the_language_of_the_claim(
    document_cases: Any, name: str
) -> None:
    """Of a thing of each kind: no English in French, and what is invented says so."""
    design = document_cases.demo(name).changed({"status": {"stage": "visit"}})
    kinds = {one.kind: one for one in positions_of(design.installation)}
    for one in kinds.values():
        claims = {**CLAIM, "position": one.name}
        (english,), (french,) = (claimed(design, claims, language=each) for each in ("en", "fr"))
        assert one.designed_as.lower() in " ".join(texts_of(english.blocks)).lower()
        text = " ".join(texts_of(french.blocks))
        assert one.designed_as not in text
        assert untranslated(plain(one.designed_as), "fr") == ()
        assert ("(fictif)" in text) == one.designed_as.startswith("Invented")


@pytest.mark.parametrize(("day", "words"), [
    ("2037-10-23", "in force"), ("2037-10-24", "in force"), ("2037-10-25", "expired"),
])
def test_a_warranty_holds_to_the_end_of_its_last_day(
    document_cases: Any, day: str, words: str
) -> None:
    (document,) = claimed(document_cases.demo("plateau-school"), {**CLAIM, "date": day})
    assert words in pairs_of(document)["Warranty until"]
    first = text_of(document.blocks[0]["words"])
    assert ("goodwill" in first) == (words == "expired")


def test_what_nobody_wrote_down_is_a_line_to_write_on() -> None:
    (document,) = claimed(JOBS["school_at_handover"](), {
        "position": "T3", "date": "2030-01-01", "fault": "does not start"})
    said = pairs_of(document)
    assert said["Warranty until"] == said["Measured values"] == said["Delivered and handed over"] \
        == said["Manufacturer's reference"] == ""
    assert "to be confirmed" in text_of(document.blocks[0]["words"])


def test_a_claim_of_no_position_names_its_key(document_cases: Any) -> None:
    with pytest.raises(InputError, match=r"handover\.claims\[1\]\.position"):
        claimed(document_cases.demo("plateau-school"), {**CLAIM, "position": "S9/9"})
    with pytest.raises(InputError, match=r"handover\.claims\[1\]\.date"):
        claimed(document_cases.demo("plateau-school"), {**CLAIM, "date": "2030-02-30"})


@pytest.mark.slow
@settings(max_examples=6, deadline=None)
@given(data=some.data())
def test_each_position_of_a_site_can_be_claimed(document_cases: Any, data: Any) -> None:
    design = document_cases.demo(data.draw(some.sampled_from(SITES)))
    one = data.draw(some.sampled_from(positions_of(design.installation)))
    (document,) = claimed(design, {**CLAIM, "position": one.name})
    text = " ".join(texts_of(document.blocks))
    assert all(row["value"] in text for row in claim_rows(design, one.name)
               if row["field"] not in ("what", "warranty until", "handed over"))


def test_a_tired_battery_is_claimed_from_the_logger(
    document_cases: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    design = document_cases.demo("ridge-clinic").changed({"firm": {"language": "en"}})
    found = found_of(design)
    assert found is not None
    assert documents(Making(design=design)) == (), "a lost string names no part under warranty"
    weak = Finding(kind="capacity", said="71 % of the rating", outcome="review")
    monkeypatch.setattr(claim_sheet, "found_of",
                        lambda _: replace(found, findings=(*found.findings, weak)))
    (document,) = documents(Making(design=design))
    document_cases.hold_to_rules(document, pages=1)
    text = " ".join(texts_of(document.blocks))
    assert "71 % of the rating" in text
    batteries = [one for one in positions_of(design.installation) if one.kind == "battery"]
    assert all(one.name in text for one in batteries[:claim_sheet.MOST_UNITS])


@pytest.mark.parametrize("name", SITES)
def test_nothing_claimed_no_sheet(document_cases: Any, name: str) -> None:
    design = document_cases.demo(name).changed({"handover": {"claims": []}})
    assert documents(Making(design=design)) == ()


def test_the_demo_claims_a_weak_cell_in_its_language(document_cases: Any) -> None:
    """By hand from the site file and data/handover/plateau-school.csv."""
    (document,) = document_cases.made("plateau-school", "CL")
    document_cases.hold_to_rules(document, pages=1)
    text = " ".join(texts_of(document.blocks))
    for said in ("G2.17", "INVB4282", "24 octobre 2030", "24 octobre 2025", "1,96 V"):
        assert said in text
