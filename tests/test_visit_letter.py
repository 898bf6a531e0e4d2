"""The letter after a visit: the largest finding first, curtailed energy apart, sums that agree."""

from __future__ import annotations

import re
from typing import Any

import pytest

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
    assert rest == pytest.approx(-losses["Not explained"], rel=0.005)
    whole = losses["Expected of a clean, whole, unshaded array"]
    assert expected == pytest.approx(whole - curtailed, rel=0.005)


@pytest.mark.parametrize("language", ["en", "fr"])
def test_without_a_record_the_letter_says_so(document_cases: Any, language: str) -> None:
    design = document_cases.demo("cove-cannery").changed({"firm": {"language": language}})
    (document,) = documents(Making(design=design))
    document_cases.hold_to_rules(document, pages=1)
    assert ("No record" if language == "en" else "Aucun enregistrement") in " ".join(
        texts_of(document.blocks))  # fmt: skip
