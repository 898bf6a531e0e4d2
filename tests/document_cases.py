"""What every document is held to: same text in HTML and PDF, pages within its budget, no frills."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from pathlib import Path

import pypdfium2
from bs4 import BeautifulSoup

from solarcalc.design import Design, open_design
from solarcalc.documents.catalogue import documents_of
from solarcalc.documents.html import document_html, head_fields
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import document_pdf
from solarcalc.documents.tree import Document, texts_of
from solarcalc.report.letterhead import letterhead_of

SITES = Path(__file__).resolve().parents[1] / "data" / "sites"
DEMOS = tuple(sorted(path.stem for path in SITES.glob("*.toml")))


@cache
def demo(name: str) -> Design:
    """A demo site's design, worked out once a process."""
    return open_design(SITES / f"{name}.toml")


@cache
def made(name: str, code: str) -> tuple[Document, ...]:
    """A document of a demo site."""
    design = demo(name)
    making = Making(design=design, firm=letterhead_of(design.sitefile))
    return documents_of(code, making)  # type: ignore[arg-type]


def pages_of(content: bytes) -> list[str]:
    """Text of each page of a PDF."""
    document = pypdfium2.PdfDocument(content)
    try:
        return [page.get_textpage().get_text_bounded() for page in document]
    finally:
        document.close()


def letters_of(text: str) -> Counter[str]:
    """Each letter and how often it is there; spaces and signs that setters add are left out."""
    return Counter(re.sub(r"[\s\u200b\u00ad\ufffe\x02•‣–\-☐]", "", text).casefold())


def html_text(html: str) -> str:
    """The text a reader sees in the body of the page, drawings and formulas left out."""
    page = BeautifulSoup(html, "html.parser").body
    assert page is not None
    for one in page.find_all(["svg", "header", "nav", "footer"]):
        one.decompose()
    for one in page.select(".stamp, .unseen"):
        one.decompose()
    return page.get_text(" ")


def hold_to_rules(document: Document, *, pages: int = 0) -> tuple[str, list[str]]:
    """Set a document both ways and hold it to the rules of all; returns HTML and PDF pages.

    Both say every letter of the tree. The PDF has at most `pages` pages, each with its number and
    the stamp; the title block is complete.
    """
    html, content = document_html(document), document_pdf(document)
    tree = letters_of(" ".join(texts_of(document.blocks)))
    assert letters_of(html_text(html)) == tree
    found = pages_of(content)
    assert not tree - letters_of(" ".join(found)), "letters that the PDF has not"
    assert not pages or len(found) <= pages, f"{len(found)} pages where {pages} are allowed"
    squeezed = [page.replace(" ", "") for page in found]
    for number, page in enumerate(squeezed, start=1):
        assert f"{number}/{len(found)}" in page
        assert document.head.number in page
        assert document.stamp.replace(" ", "") in page
    for _, said in head_fields(document.head) if document.headed else []:
        assert said.replace(" ", "") in squeezed[0].replace("\r\n", "")
    assert len(document.head.title) <= 25
    assert not re.search(r"<script|src=\"http|href=\"http", html)
    return html, found
