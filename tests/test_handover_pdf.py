"""PDFs: A4, numbered, nothing cut off or left out, nothing fetched, whole or not at all."""

from __future__ import annotations

import re
import runpy
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdfium2
import pytest

from solarcalc.basis.messages import languages
from solarcalc.documents.pdf import document_pdf
from solarcalc.documents.tree import (
    Document,
    Head,
    box,
    cell,
    heading,
    pairs,
    picture,
    points,
    sentence,
    table,
)
from solarcalc.report.findings import ReportError
from solarcalc.report.letterhead import read_logo
from solarcalc.sitefile.chemistry import chemistries

CASES = runpy.run_path(str(Path(__file__).with_name("test_handover.py")))
facts, FIRM, EVIL, customer_document = (
    CASES[name] for name in ("facts", "FIRM", "EVIL", "customer_document"))
A4_PT = (595.28, 841.89)
"""210 by 297 mm (ISO 216) at 72 points an inch."""
MARGIN_PT = 14.0 / 25.4 * 72.0


@contextmanager
def opened(content: bytes) -> Iterator[Any]:
    document = pypdfium2.PdfDocument(content)
    try:
        yield document
    finally:
        document.close()


def pages_of(content: bytes) -> list[str]:
    with opened(content) as document:
        return [page.get_textpage().get_text_bounded() for page in document]


def letters_of(text: str) -> Counter[str]:
    """Each letter and how often it stands there; spaces, points of lists and breaks left out."""
    return Counter(re.sub(r"[\s\u200b\u00ad\ufffe\x02•‣–\-]", "", text).casefold())


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("appliances", [2, 25])
def test_the_booklet_has_two_to_four_numbered_a4_pages(language: str, appliances: int) -> None:
    many = tuple(replace(board, appliances=board.appliances[:1] * appliances)
                 for board in facts().boards)
    made = facts(boards=many, battery=chemistries()["flooded"], generator_w=4000.0)
    content = document_pdf(customer_document(made, FIRM, language))
    pages = pages_of(content)
    assert len(pages) == 4
    for number, page in enumerate(pages, start=1):
        assert f"{number}/{len(pages)}" in page.replace(" ", "")
        assert "Ridge clinic" in page
    with opened(content) as document:
        for page in document:
            assert page.get_size() == pytest.approx(A4_PT, abs=0.1)


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("battery", ["flooded", "agm", "lifepo4"])
def test_every_letter_of_the_booklet_is_on_its_four_pages(
    document_cases: Any, language: str, battery: str
) -> None:
    made = facts(battery=chemistries()[battery], grid=battery == "agm", generator_w=4000.0)
    document_cases.hold_to_rules(customer_document(made, FIRM, language), pages=4)


def on_paper(*blocks: Any) -> Document:
    head = Head(site="Clinic", number="C-DS-01", title="Sheet")
    return Document(code="DS", head=head, blocks=blocks, headed=False)


@pytest.mark.parametrize("columns", [4, 9, 12, 20])
def test_a_table_wider_than_the_page_is_not_cut_off(columns: int) -> None:
    """Cells that may not wrap on the screen wrap on paper."""
    cells = [f"column {one} of many and on and on and on" for one in range(columns)]
    page = letters_in_places(on_paper(table(cells, [cells], right=range(columns))))
    assert sum(len(letter) for letter, *_ in page) > 8 * columns
    assert max(right for _, _, right in page) <= A4_PT[0] - MARGIN_PT + 0.5


LONG = "abcdefghij" * 20


@pytest.mark.parametrize(("block", "count"), [
    (table(["a", "b", "c"], [[LONG, LONG, "words and words"]]), 2), (sentence(LONG), 1),
    (heading(LONG), 1), (points([LONG]), 1), ({"kind": "plain", "text": LONG}, 1),
    (pairs([(LONG, LONG)]), 2), (box([table([LONG], [])]), 1),
])
def test_a_word_longer_than_a_line_goes_on_in_the_next(block: Any, count: int) -> None:
    page = letters_in_places(on_paper(block))
    body = [one for one in page if one[0].isalpha()]
    assert len(body) >= 200 * count
    assert max(right for _, _, right in body) <= A4_PT[0] - MARGIN_PT + 0.5


def letters_in_places(document: Document) -> list[tuple[str, float, float]]:
    """Letters of the first page with their left and right edges [pt]."""
    with opened(document_pdf(document)) as pages:
        text = pages[0].get_textpage()
        found = []
        for place in range(text.count_chars()):
            letter = text.get_text_range(place, 1)
            if letter.strip():
                left, _, right, _ = text.get_charbox(place)
                found.append((letter, left, right))
        return found


def test_cells_that_reach_over_rows_and_columns_keep_their_places() -> None:
    cells = letters_in_places(on_paper(table(
        [cell("P", columns=2), "Q"], [[cell("U", rows=2), "X", "Y"], ["Z", "W"]])))
    left = {letter: at for letter, at, _ in cells}
    assert left["P"] == pytest.approx(left["U"], abs=2.0)
    assert left["X"] == pytest.approx(left["Z"], abs=2.0)
    assert left["Q"] == pytest.approx(left["Y"], abs=2.0)
    assert left["U"] < left["X"] < left["Y"]


@pytest.mark.parametrize("evil", [
    EVIL, '#read("/etc/hostname")', "#{1+1}", '"; #panic("x") "', "$1/0$ `raw` *b* _e_ @ref <lab>",
    "\\u{41} \\ \\n", "= heading", "// comment", "/* open", "#import \"@preview/x:1.0.0\"",
    "]]]))}",
])
def test_a_hostile_name_is_letters_in_the_pdf_too(evil: str) -> None:
    firm = replace(FIRM, name=evil, contact=evil, licence=evil)
    pages = pages_of(document_pdf(customer_document(facts(evil), firm, "en")))
    plain = re.sub(r"\s+", "", "".join(pages)).replace("\u200b", "")
    assert plain.count(re.sub(r"\s+", "", evil)) >= 8


def test_accents_and_signs_are_there_to_be_read() -> None:
    said = "élève à Noël, œuvre ; 5 °C ≥ 3 Ω ✗ ▲ ✓ ● µ ² − “x” ’ Ελλάς Київ"
    (page,) = pages_of(document_pdf(on_paper(sentence(said))))
    assert said in page.replace("\xa0", " ")


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_the_logo_stands_at_the_right_of_the_first_page(tmp_path: Path, kind: str) -> None:
    """A logo of one colour: its pixels are looked for where it should be, and nowhere else."""
    if kind == "svg":
        path = tmp_path / "logo.svg"
        path.write_text('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 30 10">'
                        '<rect width="30" height="10" fill="#00c800"/></svg>')
        logo = read_logo(path)
    else:
        from PIL import Image

        path = tmp_path / "logo.png"
        Image.new("RGB", (300, 100), (0, 200, 0)).save(path)
        logo = read_logo(path)
    made = customer_document(facts(), replace(FIRM, logo=logo), "en")
    with opened(document_pdf(made)) as document:
        drawn = document[0].render(scale=1.0).to_pil().convert("RGB")
        other = document[1].render(scale=1.0).to_pil().convert("RGB")
    spots = [(x, y) for x in range(drawn.width) for y in range(drawn.height)
             if drawn.getpixel((x, y)) == (0, 200, 0)]
    high_pt, right_pt = 13.0 / 25.4 * 72.0, A4_PT[0] - 14.0 / 25.4 * 72.0
    assert len(spots) == pytest.approx(3.0 * high_pt**2, rel=0.1)
    assert max(x for x, _ in spots) == pytest.approx(right_pt, abs=2.0)
    assert max(y for _, y in spots) < 120
    assert (0, 200, 0) not in {color for _, color in other.getcolors(1 << 20)}


def test_a_damaged_picture_is_told() -> None:
    for held in (b"\x89PNG\r\n\x1a\n", b"\x89PNG"):
        with pytest.raises(ReportError, match="PDF: a picture that cannot be read"):
            document_pdf(on_paper(picture(held, "a picture")))


def test_same_page_same_bytes() -> None:
    page = customer_document(facts(), FIRM, "en")
    assert document_pdf(page) == document_pdf(page)


def test_letters_come_with_the_libraries_not_from_the_system() -> None:
    with opened(document_pdf(customer_document(facts(), FIRM, "fr"))) as document:
        fonts = {font.split("+")[-1] for page in document for font in fonts_of(page)}
    assert fonts
    assert all(font.startswith(("DejaVuSans", "LibertinusSerif")) for font in fonts)


def fonts_of(page: Any) -> set[str]:
    return {thing.get_font().get_base_name() for thing in page.get_objects()
            if isinstance(thing, pypdfium2.PdfTextObj)}  # fmt: skip


def test_a_drawing_that_points_outside_is_refused(tmp_path: Path) -> None:
    (tmp_path / "x.png").write_bytes(b"secret")
    for address in ("https://example.org/x.png", "/etc/hostname", str(tmp_path / "x.png"),
                    "document.json"):
        svg = ('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">'
               f'<image href="{address}" width="9" height="9"/></svg>')
        with pytest.raises(ReportError, match="points outside itself"):
            document_pdf(on_paper(picture(svg, "a drawing")))
