"""The survey sheet: two pages, what the file says already, room for what it does not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from solarcalc.basis.files import demo_sites
from solarcalc.design import open_design
from solarcalc.documents.making import Making
from solarcalc.documents.survey_sheet import documents
from solarcalc.documents.tree import text_of, texts_of
from solarcalc.sitefile.equipment import appliance_catalogue
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.survey_fields import fields
from solarcalc.sitefile.survey_text import short_text
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
    assert text.count("☐\u00a0measured ☐\u00a0stated ☐\u00a0assumed") > 20


@pytest.mark.parametrize("name", SITES)
def test_language_and_currency_in_use_stand_there_where_the_file_is_silent(
    document_cases: Any, name: str
) -> None:
    (document,) = document_cases.made(name, "SV")
    design = document_cases.demo(name)
    rows = {text_of(row[0]["words"]): text_of(row[1]["words"]) for block in document.blocks
            if block["kind"] == "table" and block["head"] for row in block["rows"]
            if len(row) == 4 and row[1]}  # fmt: skip
    assert rows["Language of the customer's documents"].startswith(design.site.firm.language)
    assert rows["Currency"].startswith(design.prices.currency)


def test_each_key_asked_for_is_one_of_the_site_file() -> None:
    for one in fields():
        for path in one.path:
            table, key, *_ = path.split(".")
            assert key in known_keys((table,)), path


def test_a_full_survey_keeps_to_its_two_pages(document_cases: Any, tmp_path: Path) -> None:
    record: dict[str, Any] = {one.key: "W" * 120 for one in fields() if one.kind == "text"}
    record |= {
        "weather": "library:12839.tm2", "latitude_deg": 25.8, "longitude_deg": -80.3,
        "time_zone": "America/New_York", "currency": "USD", "roof_length_m": 30.0,
        "roof_kind": "metal sheet", "room_m": "13.25 x 12.45 x 2.65",
        "horizon": ", ".join(f"{10 * east}:11" for east in range(30)),
        "loads": tuple(f"Very long name of a machine {n} 85 W, 12, 06:00-08:00+18:00-23:00,"
                       " nonessential" for n in range(30)),
        "obstacles": tuple(f"Box with a very long name {n}: {n} along, 1 up, 0.5 x 0.5 x 1.5"
                           for n in range(20)),
    }  # fmt: skip
    path = tmp_path / "full.toml"
    path.write_text(short_text(record), encoding="utf-8")
    (document,) = documents(Making(design=open_design(read_site(path))))
    document_cases.hold_to_rules(document, pages=2)


def test_only_what_was_written_stands_there(document_cases: Any) -> None:
    design = document_cases.demo("ridge-clinic")
    known, _ = known_answers(design.sitefile)
    assert known["roof_length_m"] == design.site.roof.length_m
    assert "outage_h" not in known


@pytest.mark.parametrize("name", demo_sites())
def test_the_customer_reads_no_key_of_the_catalogue(document_cases: Any, name: str) -> None:
    texts = [*texts_of(document_cases.made(name, "SV")[0].blocks)]
    assert {*appliance_catalogue()}.isdisjoint(texts)
