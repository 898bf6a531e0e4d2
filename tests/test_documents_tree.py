"""The tree of blocks: both setters say the same, nothing is markup, nothing is left out."""

from __future__ import annotations

import re
from typing import Any

import pypdfium2
import pytest
from bs4 import BeautifulSoup
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from solarcalc.basis.errors import InputError
from solarcalc.basis.hours import MONTHS
from solarcalc.basis.quantity import UNITS
from solarcalc.documents.catalogue import codes_of
from solarcalc.documents.columns import fit_table
from solarcalc.documents.html import document_html
from solarcalc.documents.pdf import document_pdf
from solarcalc.documents.tree import (
    Document,
    Head,
    beside,
    box,
    cell,
    drawing,
    figure,
    fill,
    fold,
    formula,
    heading,
    landscape,
    link,
    new_page,
    numbers,
    pairs,
    picture,
    points,
    sentence,
    signatures,
    soft,
    strong,
    table,
    text_of,
    tick,
    whole,
)

SVG = ('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 20" role="img">'
       '<title id="t">x</title><rect width="30" height="20" fill="white"/></svg>')  # fmt: skip
EVIL = "<b>#let x = 1</b> & *strong* $x$ \\ @key [x]"


def document(*blocks: dict[str, object], **given: object) -> Document:
    head = Head(site="Ridge Clinic", number="RC-DS-01", issued="2026-11-27", title="Decision sheet",
                checked="A. Person", made_from="design 1234")  # fmt: skip
    return Document(code="DS", head=head, blocks=tuple(blocks), **given)  # type: ignore[arg-type]


ALL = (
    heading("First", key="first"), sentence("One ", strong("two"), " ", soft("three"), fill()),
    sentence(link("#first", "above"), tick("go"), look="aside"), points(["a", ["b", strong("c")]]),
    table(["run", "U [V]"], [["W1", "12.5"], [cell("W2", mark="failed"), None]], right=(1,),
          caption="Runs"), pairs([("term", "said")]), numbers([("9.8 kWp", "array")]),
    figure(SVG, "a box", "It is white.", largest_mm=30.0), formula(r"\frac{a}{b}"),
    box([sentence(strong("DANGER"), " live")], look="danger"),
    whole([picture(SVG, "again", largest_mm=30.0)]),
    beside([sentence("left")], [sentence("right")]), new_page(),
    fold("A1", [sentence("inside")], key="a1"), signatures("Design", "Construction"),
    drawing(SVG, "a plan", paper="a3"), landscape([table(["a", "b"], [["wide", "table"]])]),
    sentence("after it"),
)  # fmt: skip


@pytest.mark.parametrize("look", ["sheet", "report", "booklet", "letter"])
def test_each_kind_of_block_is_set_both_ways(document_cases: Any, look: str) -> None:
    whole_document = document(*ALL, look=look, stamp="EXAMPLE", contents=True)
    html, pages = document_cases.hold_to_rules(whole_document)
    assert len(pages) == 5
    page = BeautifulSoup(html, "html.parser")
    marks = [str(one["id"]) for one in page.find_all(id=True)]
    assert len(marks) == len(set(marks))
    assert [one["href"] for one in page.select("nav a")] == ["#first"]


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.text(st.characters(codec="latin-1", categories=("L", "N", "P", "S", "Zs"),
                                      exclude_characters="\xad"), min_size=1), min_size=1))
def test_any_text_stays_text(document_cases: Any, texts: list[str]) -> None:
    made = document(*(sentence(text) for text in [*texts, EVIL]), points(texts),
                    table(["a"], [[text] for text in texts]))  # fmt: skip
    html, _ = document_cases.hold_to_rules(made)
    assert "<b>" not in html.partition("<main>")[2]


def test_a_picture_without_words_is_refused() -> None:
    with pytest.raises(ValueError, match="text alternative"):
        picture(SVG, " ")


def test_a_row_becomes_a_card_with_its_heads() -> None:
    page = BeautifulSoup(document_html(document(*ALL)), "html.parser")
    first = page.select("table")[0]
    assert [one.get("data-label") for one in first.select("tbody tr:first-child td")] == [
        "run", "U [V]"]  # fmt: skip
    assert [one["scope"] for one in first.select("thead th")] == ["col", "col"]


def test_an_unknown_code_names_those_there_are() -> None:
    with pytest.raises(InputError, match="DS decision sheet"):
        codes_of(["DX"])


WORD = st.text("abcdefghijkmnorstuvwxyz", min_size=1, max_size=11)


@given(columns=st.lists(st.lists(WORD, min_size=1, max_size=9), min_size=5, max_size=9),
       figures=st.integers(0, 10**6))  # fmt: skip
def test_no_letter_is_parted_where_every_word_has_room(columns: Any, figures: int) -> None:
    """Such a head would be read out letter by letter, and never be found in the PDF."""
    head = [" ".join(words) for words in columns]
    drawn = table(head, [[f"{figures} kWh"] * len(head)], right=range(1, len(head)))
    fitted = fit_table(drawn, 516.0, fill=True)
    texts = [text_of(cell["words"]) for row in (*fitted["head"], *fitted["rows"]) for cell in row]
    assert not any("\u200b" in text for text in texts)
    narrow = fit_table(drawn, 30.0 * len(head) / 4.0, fill=True)  # there words are parted
    for row, other in zip(fitted["head"], narrow["head"], strict=True):
        assert [text_of(one["words"]) for one in row] == [
            text_of(one["words"]).replace("\u200b", "") for one in other]


PRINTED = sorted({unit for unit in UNITS.values() if " " not in unit} | {"USD", "EUR/kWh", *MONTHS})
"""What stands behind a number on the same line."""


def lines_of(*blocks: dict[str, object]) -> list[list[str]]:
    """Lines of each page on paper, without its foot."""
    paper = pypdfium2.PdfDocument(document_pdf(document(*blocks, headed=False)))
    try:
        said = [page.get_textpage().get_text_bounded() for page in paper]
    finally:
        paper.close()
    return [[line for line in text.replace("\xa0", " ").split("\r\n") if "RC-DS-01" not in line]
            for text in said]  # fmt: skip


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(words=st.lists(st.tuples(WORD, st.integers(0, 99_999), st.sampled_from(PRINTED)),
                      min_size=20, max_size=60))  # fmt: skip
def test_no_line_ends_between_a_number_and_its_unit(words: Any) -> None:
    """As a sentence, as a term, in a wide cell and on the screen."""
    text = " ".join(f"{word} {number} {unit}" for word, number, unit in words)
    for block in (sentence(text), pairs([("term", text)]), table(["a", "b"], [[text, "c"]])):
        (lines,) = lines_of(block)
        assert not [line for line in lines if line[-1:].isdecimal()]
    (shown,) = (one.text for one in BeautifulSoup(
        document_html(document(sentence(text))), "html.parser").select("main p"))
    assert not re.search(rf"\d (?:{'|'.join(map(re.escape, PRINTED))}) ", shown)


def test_a_number_wider_than_its_column_may_leave_its_unit() -> None:
    """Letters over the edge of a cell would be worse."""
    fitted = fit_table({**table(["a", "b"], [["at most 25000 kWh", "c"]]), "shares": (1, 40)},
                       516.0, fill=True)  # fmt: skip
    assert text_of(fitted["rows"][0][0]["words"]).endswith("25000 kWh")


@settings(max_examples=10, deadline=None)
@given(before=st.integers(30, 75), rows=st.integers(2, 9))
def test_what_is_signed_and_short_lists_go_over_no_end_of_a_page(before: int, rows: int) -> None:
    """A line to sign stands on the page of what it signs, and a price below its heading."""
    prices = pairs([(f"group {row}", f"price {row}") for row in range(rows)])
    pages = lines_of(*(sentence(f"line {row}") for row in range(before)), heading("Price", 3),
                     prices, sentence("I accept."), signatures("Customer: name"))  # fmt: skip
    on = [page for page in pages if any(line.startswith("group") for line in page)]
    assert len(on) == 1
    assert any(line.startswith("Price") for line in on[0])
    assert all(("I accept." in page) == ("Customer: name" in page) for page in pages)
