"""The letter after a visit: the largest finding first, curtailed energy apart, sums that agree."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest

from solarcalc.basis.messages import messages
from solarcalc.documents import visit_letter
from solarcalc.documents.making import Making
from solarcalc.documents.tree import texts_of
from solarcalc.documents.visit_letter import documents, to_put_right
from solarcalc.views.followup import found_of


def test_what_was_found_comes_first_and_the_energies_balance(document_cases: Any) -> None:
    design = document_cases.demo("ridge-clinic")
    (document,) = document_cases.made("ridge-clinic", "VL")
    document_cases.hold_to_rules(document, pages=2)
    found = found_of(design)
    assert found is not None
    assert [one.kind for one in to_put_right(found)] == ["string", "dust"]
    text = "\n".join(texts_of(document.blocks))
    assert "found 2 things to put right. The largest: one group of panels" in text
    losses = found.separated.losses_kwh
    curtailed, expected, measured, rest = (int(one) for one in re.findall(r"(\d+)\skWh", text)[:4])
    assert curtailed == pytest.approx(-losses["Energy curtailed, battery full"], rel=0.005)
    assert measured == pytest.approx(losses["Measured"], rel=0.005)
    assert rest == pytest.approx(-losses["Unexplained"], rel=0.005)
    whole = losses["Expected of a clean array without faults or shading"]
    assert expected == pytest.approx(whole - curtailed, rel=0.005)


@pytest.mark.parametrize("language", ["en", "fr"])
def test_without_a_record_the_letter_says_so(document_cases: Any, language: str) -> None:
    design = document_cases.demo("cove-cannery").changed({"firm": {"language": language}})
    (document,) = documents(Making(design=design))
    document_cases.hold_to_rules(document, pages=1)
    assert ("No record" if language == "en" else "Aucun enregistrement") in " ".join(
        texts_of(document.blocks))  # fmt: skip


@pytest.mark.parametrize("language", ["en", "fr"])
def test_all_else_is_as_expected_only_where_little_is_unexplained(
    document_cases: Any, language: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: of 4260 kWh due 3340 came, findings explain 384, so 533 kWh (13 %) are open."""
    design = document_cases.demo("ridge-clinic").changed({"firm": {"language": language}})
    words = messages(language)
    (document,) = documents(Making(design=design))
    document_cases.hold_to_rules(document, pages=2)
    text = "\n".join(texts_of(document.blocks))
    assert words.text("visit_else") not in text
    assert "533" in text
    found = found_of(design)
    assert found is not None
    whole = replace(found, findings=tuple(
        replace(one, lost_kwh=one.lost_kwh + 533.0) if one.kind == "string" else one
        for one in found.findings))  # fmt: skip
    monkeypatch.setattr(visit_letter, "found_of", lambda _: whole)
    (explained,) = documents(Making(design=design))
    assert words.text("visit_else") in "\n".join(texts_of(explained.blocks))


@pytest.mark.parametrize("language", ["en", "fr"])
def test_made_safe_is_ticked_and_signed_never_said(document_cases: Any, language: str) -> None:
    design = document_cases.demo("ridge-clinic").changed({"firm": {"language": language}})
    (document,) = documents(Making(design=design))
    (warning,) = [one for one in document.blocks if one["kind"] == "box"]
    words = warning["blocks"][1]["items"][0][0]["words"]
    kinds = [one["kind"] for one in words if not isinstance(one, str)]
    assert kinds == ["tick", "fill", "fill"], "a box, who, and when"
    title = "".join(texts_of(warning["blocks"][:1]))
    assert title.startswith("WARNING" if language == "en" else "AVERTISSEMENT")


def test_the_next_visit_is_the_day_that_the_site_file_has(document_cases: Any) -> None:
    design = document_cases.demo("cove-cannery")
    for day, said in (("2027-05-04", "Next visit: 4 May 2027."), ("", "Next visit: in a year.")):
        (document,) = documents(Making(design=design.changed(
            {"firm": {"language": "en"}, "status": {"next_date": day}})))
        assert said in " ".join(texts_of(document.blocks))
