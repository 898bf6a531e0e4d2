"""Documents of one site as files: HTML and PDF each, and a list of them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from solarcalc.basis.text import safe_file_name
from solarcalc.design import open_design
from solarcalc.documents.catalogue import Kind, kinds_of
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making
from solarcalc.documents.pdf import document_pdf
from solarcalc.documents.tree import Document
from solarcalc.report.letterhead import letterhead_of

LIST = "documents.json"
"""Of what was written, in the folder of the documents."""


@dataclass(frozen=True, kw_only=True)
class Written:
    """A document as it lies in the folder: its kind's code and name, its head, its files."""

    code: str
    name: str
    number: str
    title: str
    status: str
    revision: str
    html: str
    pdf: str


def write_documents(
    site_file: str, folder: str, codes: Sequence[str], books: str = ""
) -> list[Written]:
    """Make documents of a site and write them into a folder, with a list of them.

    Parameters
    ----------
    site_file : str
    folder : str
        An existing folder.
    codes : sequence of str
        Of `solarcalc.documents.catalogue.KINDS`.
    books : str
        Folder of the executed workbooks, for the calculation appendix.

    Raises
    ------
    InputError
        For a site file with input errors, or an unknown code.
    """
    design = open_design(Path(site_file))
    making = Making(design=design, firm=letterhead_of(design.sitefile),
                    notebooks=_notebooks(books))  # fmt: skip
    place = Path(folder)
    written = [
        _written(kind, document, place) for kind in kinds_of(codes) for document in
        kind.made(making)
    ]  # fmt: skip
    listed = place / LIST
    before = json.loads(listed.read_text(encoding="utf-8")) if listed.is_file() else []
    listed.write_text(json.dumps([*before, *(vars(one) for one in written)], indent=1,
                                 ensure_ascii=False) + "\n", encoding="utf-8")  # fmt: skip
    return written


def _notebooks(books: str) -> dict[str, Any]:
    if not books:
        return {}
    import nbformat

    read: Any = nbformat.read
    return {path.stem: read(path, as_version=4) for path in sorted(Path(books).glob("*.ipynb"))}


def _written(kind: Kind, document: Document, folder: Path) -> Written:
    head = document.head
    stem = safe_file_name(f"{head.number}-{head.revision}")
    (folder / f"{stem}.html").write_text(document_html(document), encoding="utf-8")
    for name, content in document.files.items():
        (folder / name).write_bytes(content)
    pdf = f"{stem}.pdf" if kind.pages else ""
    if pdf:
        (folder / pdf).write_bytes(document_pdf(document))
    return Written(code=kind.code, name=kind.name, number=head.number, title=head.title,
                   status=head.status, revision=head.revision, html=f"{stem}.html", pdf=pdf)
