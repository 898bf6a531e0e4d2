"""Hostile texts in every field that takes a text: every document sets them as letters, or refuses.

The texts try to run, to be maths, a spreadsheet formula, a template, Typst and a link; all of them
are made up.
"""

from __future__ import annotations

import re
import runpy
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import demo_sites
from solarcalc.design import Design, open_design
from solarcalc.documents.catalogue import documents_of
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import document_pdf
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.read import read_site, with_changes
from solarcalc.sitefile.status import document_set

Page = runpy.run_path(str(Path(__file__).with_name("html_reader.py")))["Page"]
MARK = "zzhostilezz"
HOSTILE = (
    f"{MARK}<script>alert(1)</script>", f"={MARK}|' /C calc'!A0", f"#read(\"/etc/{MARK}\")",
    f"</style></svg>{MARK}", f"[{MARK}](javascript:1) {{{{7*7}}}} $x_1$", f"{MARK}]]>&#x3c;b>",
)  # fmt: skip
OWN_MAKING = ("CA",)
"""Made of executed workbooks: `tests/test_batch.py` has a hostile name there."""
NAMES_FILES = {"source", "file", "results", "serials", "logo", "price_list", "base",
               "equipment_files", "essential_profile", "nonessential_profile"}  # fmt: skip


def leaves(tables: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Ways to every text of a site file."""
    if isinstance(tables, dict):
        return [found for key, value in tables.items() for found in leaves(value, (*way, key))]
    if isinstance(tables, list):
        return [found for place, value in enumerate(tables)
                for found in leaves(value, (*way, place))]  # fmt: skip
    return [way] if isinstance(tables, str) else []


def put(tables: Any, way: tuple[Any, ...], text: str) -> Any:
    """The same tables with another text there."""
    first, *rest = way
    if isinstance(tables, list):
        return [put(value, tuple(rest), text) if rest and place == first else
                text if place == first else value for place, value in enumerate(tables)]
    return {key: (put(value, tuple(rest), text) if rest else text) if key == first else value
            for key, value in tables.items()}  # fmt: skip


@cache
def hostile_design(number: int) -> tuple[Design, int]:
    """A site at its last stage with a hostile text in each field that takes one, and how many."""
    site = read_site(demo_sites()["ridge-clinic"])
    tables, count = dict(site.written), 0
    for way in leaves(tables):
        if NAMES_FILES & set(map(str, way)) or way[0] in ("commissioning", "logger"):
            continue
        tried = put(tables, way, HOSTILE[(number + count) % len(HOSTILE)])
        try:
            with_changes(site, {way[0]: tried[way[0]]})
        except InputError:
            continue
        tables, count = tried, count + 1
    return open_design("ridge-clinic", {key: value for key, value in tables.items()
                                        if value != site.written[key]}), count


def test_there_are_fields_that_take_any_text() -> None:
    design, count = hostile_design(0)
    assert count >= 8
    assert MARK in design.site.site.name
    assert MARK in design.site.firm.name


@pytest.mark.parametrize("number", [0, pytest.param(1, marks=pytest.mark.slow)])
@pytest.mark.parametrize("code", [code for code in document_set() if code not in OWN_MAKING])
def test_every_document_shows_them_as_letters(code: Any, number: int) -> None:
    design, _ = hostile_design(number)
    making = Making(design=design, firm=letterhead_of(design.sitefile))
    said, made = 0, documents_of(code, making)
    for document in made:
        html = document_html(document)
        page = Page(html)
        assert not {"script", "iframe", "object"} & set(page.tags)
        assert not [value for _, name, value in page.attributes if name.startswith("on")
                    or (name != "aria-label" and "javascript:" in (value or "").lower())]
        assert "<script" not in html
        said += page.words.count(MARK)
        if document_set()[code].pages:
            assert document_pdf(document).startswith(b"%PDF")
        for name, content in dict(document.files).items():
            assert Path(name).name == name
            assert not re.search(rb"(?m)^=|[,;]=", content), f"{name}: a formula of a spreadsheet"
    assert said or not made
