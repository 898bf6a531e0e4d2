"""The survey sheet: two pages, what the file says already, room for what it does not."""

from __future__ import annotations

from typing import Any

import pytest

from solarcalc.basis.files import data_rows
from solarcalc.documents.survey_sheet import written
from solarcalc.documents.tree import texts_of
from solarcalc.sitefile.site import Site

SITES = ("coral-pharmacy", "cove-cannery", "orchard-shop", "plateau-school", "ridge-clinic")


@pytest.mark.parametrize("name", SITES)
def test_two_pages_with_everything_to_ask(document_cases: Any, name: str) -> None:
    (document,) = document_cases.made(name, "SV")
    document_cases.hold_to_rules(document, pages=2)
    text = "\n".join(texts_of(document.blocks))
    assert all(row["what"] in text for row in data_rows("survey"))
    assert "DANGER" in text
    assert text.count("☐ measured ☐ stated ☐ assumed") > 20


def test_each_key_asked_for_is_one_of_the_site_file() -> None:
    for row in data_rows("survey"):
        if row["table"]:
            record = Site.model_fields[row["table"]].annotation
            assert all(key in record.model_fields for key in row["key"].split()), row


def test_only_what_was_written_stands_there(document_cases: Any) -> None:
    site = document_cases.demo("ridge-clinic").site
    assert written(site, "roof", "length_m") == f"{site.roof.length_m:g}"
    assert written(site, "grid", "outage_h_per_day") == ""
