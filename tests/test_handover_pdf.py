"""PDFs: A4, numbered, nothing cut off, nothing fetched, whole or not at all."""

from __future__ import annotations

import re
import runpy
import subprocess
import sys
import types
from dataclasses import replace
from pathlib import Path
from shutil import which
from typing import Any

import pytest

from solarcalc.report.handover import write_handover
from solarcalc.report.handover_customer import customer_html
from solarcalc.report.pdf import PdfMissingError, check_pdf, pdf_bytes, write_pdf
from solarcalc.report.records import ReportError

CASES = runpy.run_path(str(Path(__file__).with_name("test_handover.py")))
facts, FIRM, REPORT, EVIL = (CASES[name] for name in ("facts", "FIRM", "REPORT", "EVIL"))
try:
    check_pdf()
    LACKS = ""
except PdfMissingError as error:
    LACKS = str(error)
needs_pdf = pytest.mark.skipif(bool(LACKS), reason=LACKS or "PDFs can be made here")
needs_poppler = pytest.mark.skipif(
    which("pdftotext") is None, reason="pdftotext reads the PDF back; it is not installed")


def text_of(content: bytes, tmp_path: Path, *options: str) -> str:
    path = tmp_path / "read.pdf"
    path.write_bytes(content)
    done = subprocess.run(["pdftotext", *options, str(path), "-"], capture_output=True, check=True)
    return done.stdout.decode("utf-8")


@needs_pdf
@needs_poppler
@pytest.mark.parametrize("language", ["en", "fr"])
@pytest.mark.parametrize("appliances", [2, 25])
def test_the_booklet_has_two_to_four_numbered_a4_pages(
    tmp_path: Path, language: str, appliances: int
) -> None:
    many = tuple(replace(board, appliances=board.appliances[:1] * appliances)
                 for board in facts().boards)
    made = facts(boards=many, battery="flooded", generator_w=4000.0)
    content = pdf_bytes(customer_html(made, FIRM, language))
    pages = text_of(content, tmp_path, "-layout").split("\f")[:-1]
    assert 2 <= len(pages) <= 4
    for number, page in enumerate(pages, start=1):
        assert f"{number}/{len(pages)}" in page.replace(" ", "")
        assert "Ridge clinic" in page
    boxes = {line for line in text_of(content, tmp_path, "-bbox").splitlines() if "<page " in line}
    assert all('width="595.2' in box and 'height="841.8' in box for box in boxes)


@needs_pdf
@needs_poppler
@pytest.mark.parametrize("columns", [4, 9, 12, 20])
def test_a_table_wider_than_the_page_is_not_cut_off(tmp_path: Path, columns: int) -> None:
    """Cells that may not wrap on the screen wrap on paper."""
    cells = "".join(f'<td class="number">column {one} of many and on and on and on</td>'
                    for one in range(columns))
    style = "<style>td.number { white-space: nowrap; } @page { margin: 16mm; }</style>"
    content = pdf_bytes(f"{style}<table><tr>{cells}</tr></table>")
    ends = [float(one) for one in re.findall(r'xMax="([\d.]+)"',
                                             text_of(content, tmp_path, "-bbox"))]
    assert len(ends) > 8 * columns
    assert max(ends) <= 595.3 - 45.0


@needs_pdf
@needs_poppler
def test_a_hostile_name_is_letters_in_the_pdf_too(tmp_path: Path) -> None:
    text = text_of(pdf_bytes(customer_html(facts(EVIL), FIRM, "en")), tmp_path)
    assert "<script>alert(1)</script>" in re.sub(r"\s+", " ", text)


@needs_pdf
def test_same_page_same_bytes() -> None:
    page = customer_html(facts(), FIRM, "en")
    assert pdf_bytes(page) == pdf_bytes(page)


@needs_pdf
@pytest.mark.parametrize("address", ["https://example.org/x.png", "file:///etc/hostname"])
def test_a_page_that_points_outside_is_refused(tmp_path: Path, address: str) -> None:
    with pytest.raises(ReportError, match="points outside itself"):
        write_pdf(f'<img src="{address}" alt="">', tmp_path / "out.pdf")
    assert list(tmp_path.iterdir()) == []


@needs_pdf
def test_a_pdf_is_written_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "out.pdf"
    write_pdf("<p>one</p>", path)
    before = path.read_bytes()
    assert before.startswith(b"%PDF")

    def stop(*_: object) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("solarcalc.basis.files.os.replace", stop)
    with pytest.raises(OSError, match="Input/output"):
        write_pdf("<p>two</p>", path)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


@needs_pdf
def test_the_pack_has_four_files(tmp_path: Path) -> None:
    files = write_handover(tmp_path, facts(), FIRM, "fr", REPORT)
    assert [path.name for path in files] == [
        "customer.html", "customer.pdf", "engineer.html", "engineer.pdf"]
    assert all(path.stat().st_size > 200 for path in files)
    assert all(path.read_bytes().startswith(b"%PDF") for path in files if path.suffix == ".pdf")


def test_what_is_missing_is_named_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(PdfMissingError, match=r"not installed.*pip install 'solarcalc\[pdf\]'"):
        check_pdf()


def test_a_system_without_pango_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def lacking(name: str) -> types.ModuleType:
        raise OSError(f"cannot load library 'libpango-1.0-0' for {name}\nmore")

    patched: Any = lacking
    monkeypatch.setattr("solarcalc.report.pdf.import_module", patched)
    with pytest.raises(PdfMissingError, match=r"lacks Pango \(cannot load.*libpango") as told:
        check_pdf()
    assert "brew install pango" in str(told.value)
    assert "more" not in str(told.value)


def test_a_library_that_is_too_old_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    old: Any = types.ModuleType
    monkeypatch.setattr("solarcalc.report.pdf.import_module", old)
    with pytest.raises(PdfMissingError, match=r"older than 68\.0"):
        check_pdf()
