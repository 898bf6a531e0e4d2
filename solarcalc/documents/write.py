"""Documents of one site as files: HTML and PDF each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.design import Design
from solarcalc.documents.catalogue import codes_at, codes_of, documents_of
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making, file_stem
from solarcalc.documents.message import message_text
from solarcalc.documents.pdf import document_pdf
from solarcalc.documents.tree import Document
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.status import Code, document_set


@dataclass(frozen=True, kw_only=True)
class Filed:
    """A document as it lies in its folder, in plain values.

    Parameters
    ----------
    code : Code
    number, title, status, revision : str
        Of its title block.
    fingerprint : str
        Of the design that it was made from.
    html, pdf : str
        File names; `pdf` is empty where it is for the screen alone.
    beside : tuple of str
        Files that belong to it.
    """

    code: Code
    number: str
    title: str
    status: str
    revision: str
    fingerprint: str
    html: str
    pdf: str
    beside: tuple[str, ...]

    @property
    def files(self) -> tuple[str, ...]:
        """Every file of it."""
        return tuple(name for name in (self.html, self.pdf, *self.beside) if name)


OF_WORKBOOKS: Code = "CA"
LISTS_THE_OTHERS: Code = "DR"
"""The document that lists those beside it: it is made last."""


def write_design(design: Design, folder: Path, codes: Sequence[str] = ()) -> list[Filed]:
    """Make documents of a design and write them into a folder, without workbooks.

    Parameters
    ----------
    design : Design
    folder : Path
        Made if it is not there.
    codes : sequence of str, optional
        Such as ``["DS", "QU"]``; all of the stage of the site but the calculation appendix if left
        out, which is made of executed workbooks: `solarcalc report` makes it.

    Returns
    -------
    list of Filed
        In the order of the set.

    Raises
    ------
    InputError
        For a code that no document has, for a document of a later stage, and for the appendix.
    """
    asked = codes_of(codes)
    if OF_WORKBOOKS in asked:
        raise InputError(Fault(
            where="codes", given=repr(OF_WORKBOOKS), allowed="documents without workbooks",
            why="the calculation appendix is made of executed workbooks",
            remedy=f"solarcalc report SITE --documents {OF_WORKBOOKS} --out DIR"))  # fmt: skip
    made = codes_at(design.site.status.stage, asked, where=design.sitefile.path.name)
    folder.mkdir(parents=True, exist_ok=True)
    making = Making(design=design, firm=letterhead_of(design.sitefile))
    return write_documents(making, folder, [code for code in made if code != OF_WORKBOOKS])


def write_documents(
    making: Making, folder: Path, codes: Sequence[Code], kept: Sequence[Filed] = ()
) -> list[Filed]:
    """Make documents of a site and write them into a folder.

    Parameters
    ----------
    making : Making
    folder : Path
        An existing folder.
    codes : sequence of str
    kept : sequence of Filed
        That lie there already, of the same design.

    Returns
    -------
    list of Filed
        All of them, in the order of the set.
    """
    found = list(kept)
    for code in sorted(codes, key=lambda one: one == LISTS_THE_OTHERS):
        first = {one.code: f"{one.number} {one.title}" for one in reversed(in_order(found))}
        told = replace(making, beside=tuple(reversed(first.values())))
        found += [_written(code, document, folder, told)
                  for document in documents_of(code, told)]  # fmt: skip
    return in_order(found)


def in_order(found: Sequence[Filed]) -> list[Filed]:
    """Documents in the order of the set, those of one code by their number."""
    order = list(document_set())
    return sorted(found, key=lambda one: (order.index(one.code), one.number))


def _written(code: Code, document: Document, folder: Path, making: Making) -> Filed:
    beside = dict(document.files)
    if code == "QU":
        beside["message.txt"] = message_text(making).encode()
    stem = file_stem(document.head.number, document.head.revision)
    for name, content in beside.items():
        (folder / name).write_bytes(content)
    (folder / f"{stem}.html").write_text(document_html(document), encoding="utf-8")
    pdf = f"{stem}.pdf" if document_set()[code].pages else ""
    if pdf:
        (folder / pdf).write_bytes(document_pdf(document))
    head = document.head
    return Filed(code=code, number=head.number, title=head.title, status=head.status,
                 revision=head.revision, fingerprint=making.design.fingerprint,
                 html=f"{stem}.html", pdf=pdf, beside=tuple(beside))  # fmt: skip
