"""Documents of one site as files: HTML and PDF each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from solarcalc.documents.catalogue import documents_of
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making, file_stem
from solarcalc.documents.pdf import document_pdf
from solarcalc.documents.tree import Document
from solarcalc.sitefile.status import Code, document_set


@dataclass(frozen=True, kw_only=True)
class Written:
    """A document as it lies in its folder; `pdf` is empty where it is for the screen alone."""

    code: Code
    document: Document
    html: str
    pdf: str
    beside: tuple[str, ...]


def write_documents(making: Making, folder: Path, codes: Sequence[Code]) -> list[Written]:
    """Make documents of a site and write them into a folder.

    Parameters
    ----------
    making : Making
    folder : Path
        An existing folder.
    codes : sequence of str
    """
    return [_written(code, document, folder) for code in codes
            for document in documents_of(code, making)]  # fmt: skip


def _written(code: Code, document: Document, folder: Path) -> Written:
    stem = file_stem(document.head.number, document.head.revision)
    for name, content in document.files.items():
        (folder / name).write_bytes(content)
    (folder / f"{stem}.html").write_text(document_html(document), encoding="utf-8")
    pdf = f"{stem}.pdf" if document_set()[code].pages else ""
    if pdf:
        (folder / pdf).write_bytes(document_pdf(document))
    return Written(code=code, document=document, html=f"{stem}.html", pdf=pdf,
                   beside=tuple(document.files))  # fmt: skip
