"""Everything that lies in the folder of one site: documents, schedules, summary, its first page."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from solarcalc.batch.changes import write_changes
from solarcalc.batch.folders import read_record, write_record
from solarcalc.batch.inherited import design_alone
from solarcalc.batch.kept import keep_documents
from solarcalc.batch.notebooks import import_nbformat, in_chapter_order
from solarcalc.batch.run import BOOKS
from solarcalc.batch.summary import site_record, site_summary
from solarcalc.batch.unchanged import note_made
from solarcalc.checking.kept import noted_files
from solarcalc.checking.sites import named_files
from solarcalc.design import Design
from solarcalc.documents.catalogue import codes_at, codes_of
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making
from solarcalc.documents.site_page import site_page
from solarcalc.documents.write import Filed, write_documents
from solarcalc.report.findings import findings_of, sheet_files
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitefile.status import Code


def fill_folder(
    site_file: str, folder: str, target: str, codes: str, books: str = "", since_s: float = 0.0
) -> None:
    """Fill the folder of a site, which will take the place of the one before it.

    What is read meanwhile is noted beside the documents: as long as it stays as it is, they stand.

    Parameters
    ----------
    site_file : str
    folder : str
        With the executed workbooks, where the calculation appendix is asked for.
    target : str
        Where the folder will stand; what stands there is kept in it.
    codes : str
        Of the documents, with spaces between.
    books : str
        Digest of the workbooks as they were before they ran.
    since_s : float
        When the site file was first read [s since the epoch]; 0 leaves the note out.

    Raises
    ------
    InputError
        For a site file with input errors.
    """
    with noted_files() as opened:
        design, before = design_alone(site_file)
        opened |= before
        asked, written = _fill(design, Path(folder), Path(target), codes_of(codes.split()))
    if since_s > 0.0:
        made = {*asked, *(one.code for one in written)}
        files = (design.sitefile.path, *design.sitefile.bases)
        could_be = set[str]().union(*map(named_files, files))
        own = tuple(f"{one.absolute()}{os.sep}" for one in (Path(folder).parent, Path.cwd()))
        note_made(
            Path(folder), Path(site_file), codes=sorted(made), books=books, since_s=since_s,
            whole={*codes_at(design.site.status.stage)} <= made,
            opened=could_be | {name for name in opened if not name.startswith(own)})  # fmt: skip


def _fill(
    design: Design, place: Path, target: Path, asked: Sequence[Code]
) -> tuple[Sequence[Code], Sequence[Filed]]:
    """Documents, tables, summary and first page; which were asked for and which lie there."""
    books = _books(place / BOOKS)
    making = Making(design=design, firm=letterhead_of(design.sitefile), notebooks=books)
    before = read_record(target)
    kept, gone = keep_documents(before, design, target, place, asked)
    written = write_documents(making, place, asked, kept)
    for sheet, content in sheet_files(books, design.site.firm.crew).items():
        (place / sheet).parent.mkdir(exist_ok=True)
        (place / sheet).write_bytes(content)
    _keep_files(design.sitefile, place)
    findings = [findings_of(name, book) for name, book in books.items()]
    record = site_record(site_summary(design.sitefile, design.sitefile.content), findings, design)
    record["written"] = [asdict(one) for one in written]
    write_record(place, record)
    changes = write_changes(target, place, record)
    page = site_page(making, written, changes, sheets=_sheets(place), gone=gone)
    (place / "index.html").write_text(document_html(page), encoding="utf-8")
    return asked, written


def _keep_files(sitefile: SiteFile, place: Path) -> None:
    """The site file as it is, and the files it is based on, beside its documents."""
    (place / "site.toml").write_bytes(sitefile.path.read_bytes())
    for number, path in enumerate(sitefile.bases, start=1):
        (place / f"site-base-{number}.toml").write_bytes(path.read_bytes())


def _books(folder: Path) -> dict[str, Any]:
    if not folder.is_dir():
        return {}
    found = {path.stem: path for path in folder.glob("*.ipynb")}
    reads = import_nbformat().v4.reads  # what was just written here needs no schema
    return {name: reads(found[name].read_text(encoding="utf-8"))
            for name in in_chapter_order(found)}


def _sheets(folder: Path) -> list[str]:
    """Schedules, drawings and other tables beside the documents, by their path in the folder."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.glob("*/*")
                  if path.parent.name not in (BOOKS, "earlier"))  # fmt: skip
