"""The survey sheet: two pages, what the file says already, room for what it does not."""

from __future__ import annotations

from typing import Any

import pytest

from solarcalc.documents.tree import texts_of
from solarcalc.sitefile.survey_fields import fields
from solarcalc.sitefile.wording import known_keys
from solarcalc.survey.known import known_answers

SITES = ("coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school", "ridge-clinic")


@pytest.mark.parametrize("name", SITES)
def test_two_pages_with_everything_to_ask(document_cases: Any, name: str) -> None:
    (document,) = document_cases.made(name, "SV")
    document_cases.hold_to_rules(document, pages=2)
    text = "\n".join(texts_of(document.blocks))
    for one in fields():
        assert one.kind == "loads" or one.label in text, one.key
    assert "DANGER" in text
    assert text.count("☐ measured ☐ stated ☐ assumed") > 20


def test_each_key_asked_for_is_one_of_the_site_file() -> None:
    for one in fields():
        for path in one.path:
            table, key, *_ = path.split(".")
            assert key in known_keys((table,)), path


def test_only_what_was_written_stands_there(document_cases: Any) -> None:
    design = document_cases.demo("ridge-clinic")
    known, _ = known_answers(design.sitefile)
    assert known["roof_length_m"] == design.site.roof.length_m
    assert "outage_h" not in known
