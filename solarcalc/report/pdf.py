"""A finished page as a PDF on A4, pages numbered; nothing is fetched from outside it."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Any

from solarcalc.basis.files import write_whole
from solarcalc.report.records import ReportError

_PAGES = """
@page { size: A4; margin: 16mm 16mm 18mm;
  @bottom-left { content: string(paper); font: 8pt "DejaVu Sans", sans-serif; color: #55534e;
    width: 85%; white-space: nowrap; overflow: hidden; text-align: left; }
  @bottom-right { content: counter(page) " / " counter(pages);
    font: 8pt "DejaVu Sans", sans-serif; color: #55534e; } }
h1 { string-set: paper content(); }
table { max-width: 100%; }
th, td { overflow-wrap: break-word !important; }
td, th { white-space: normal !important; }
body:not(.booklet) tr:has(> :nth-child(8)) > * { font-size: 7.5pt !important;
  padding-right: 3pt !important; }
body:not(.booklet) tr:has(> :nth-child(11)) > * { font-size: 6.5pt !important;
  overflow-wrap: anywhere !important; }
img, svg { max-width: 100%; }
figure img { max-height: 235mm !important; }
.dangers { break-before: auto !important; }
nav { font-size: 9pt; }
"""
"""On top of the page's own print style: numbers at the foot, nothing larger than a page."""

NEEDS = (
    "pip install 'solarcalc[pdf]'; and the system's Pango: on Debian or Ubuntu apt install"
    " libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0; on macOS brew install pango; on"
    " Windows the package pango of MSYS2 (weasyprint's documentation, First steps)"
)
"""What to install."""


class PdfMissingError(ReportError):
    """The library that makes PDFs, or what it needs from the system, is not there."""


def check_pdf() -> None:
    """See that PDFs can be made here.

    Raises
    ------
    PdfMissingError
        Says what is missing and what to install.
    """
    _library()


def pdf_bytes(html: str) -> bytes:
    """A page as a PDF.

    The same page on the same machine gives the same bytes; another machine may have other fonts.

    Parameters
    ----------
    html : str
        A page that needs nothing else.

    Raises
    ------
    PdfMissingError
        When PDFs cannot be made here.
    ReportError
        When the page points outside itself.
    """
    library = _library()
    fonts = import_module("weasyprint.text.fonts").FontConfiguration()
    urls = import_module("weasyprint.urls")
    fetcher = urls.URLFetcher(
        allowed_protocols=("data",), allow_redirects=False, fail_on_errors=True)
    page = library.HTML(string=html, url_fetcher=fetcher, base_url=None)
    pages = library.CSS(string=_PAGES, font_config=fonts)
    try:
        content: bytes = page.write_pdf(stylesheets=[pages], font_config=fonts)
    except urls.FatalURLFetchingError as error:
        raise ReportError(f"PDF: the page points outside itself: {error}") from error
    return content


def write_pdf(html: str, path: Path) -> None:
    """Write a page as a PDF, whole or not at all.

    Parameters
    ----------
    html : str
        A page that needs nothing else.
    path : Path
        The PDF file; its folder must exist.

    Raises
    ------
    PdfMissingError
        When PDFs cannot be made here.
    ReportError
        When the page points outside itself.
    """
    write_whole(path, pdf_bytes(html))


def _library() -> Any:
    try:
        library = import_module("weasyprint")
    except ImportError as error:
        raise PdfMissingError(f"no PDF: weasyprint is not installed ({error}). {NEEDS}") from error
    except OSError as error:  # the library is there, what it calls of the system is not
        first = str(error).splitlines()[0]
        raise PdfMissingError(f"no PDF: the system lacks Pango ({first}). {NEEDS}") from error
    if not hasattr(import_module("weasyprint.urls"), "URLFetcher"):
        raise PdfMissingError(f"no PDF: weasyprint is older than 68.0. {NEEDS}")
    return library
