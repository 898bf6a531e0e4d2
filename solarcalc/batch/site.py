"""Everything that lies in the folder of one site: documents, schedules, summary, its first page."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

from solarcalc.batch.changes import write_changes
from solarcalc.batch.folders import read_record
from solarcalc.batch.kept import keep_documents
from solarcalc.batch.run import BOOKS
from solarcalc.batch.summary import site_record, site_summary
from solarcalc.batch.workbook import in_chapter_order
from solarcalc.design import open_design
from solarcalc.documents.catalogue import codes_of
from solarcalc.documents.html import document_html
from solarcalc.documents.making import Making
from solarcalc.documents.site_page import site_page
from solarcalc.documents.write import write_documents
from solarcalc.report.findings import findings_of, sheet_files
from solarcalc.report.letterhead import letterhead_of
from solarcalc.sitefile.read import SiteFile


def fill_folder(site_file: str, folder: str, target: str, codes: str) -> None:
    """Fill the folder of a site, which will take the place of the one before it.

    Parameters
    ----------
    site_file : str
    folder : str
        With the executed workbooks, where the calculation appendix is asked for.
    target : str
        Where the folder will stand; what stands there is kept in it.
    codes : str
        Of the documents, with spaces between.

    Raises
    ------
    InputError
        For a site file with input errors.
    """
    design, place = open_design(Path(site_file)), Path(folder)
    books = _books(place / BOOKS)
    making = Making(design=design, firm=letterhead_of(design.sitefile), notebooks=books)
    asked, before = codes_of(codes.split()), read_record(Path(target))
    kept, gone = keep_documents(before, design, Path(target), place, asked)
    written = write_documents(making, place, asked, kept)
    for sheet, content in sheet_files(books).items():
        (place / sheet).parent.mkdir(exist_ok=True)
        (place / sheet).write_bytes(content)
    _keep_files(design.sitefile, place)
    findings = [findings_of(name, book) for name, book in books.items()]
    record = site_record(site_summary(design.sitefile, design.sitefile.content), findings, design)
    record["written"] = [asdict(one) for one in written]
    text = json.dumps(record, ensure_ascii=False, indent=1, allow_nan=False)
    (place / "summary.json").write_text(text + "\n", encoding="utf-8")
    changes = write_changes(Path(target), place, record)
    page = site_page(making, written, changes, sheets=_sheets(place), gone=gone)
    (place / "index.html").write_text(document_html(page), encoding="utf-8")


def _keep_files(sitefile: SiteFile, place: Path) -> None:
    """The site file as it is, and the files it is based on, beside its documents."""
    (place / "site.toml").write_bytes(sitefile.path.read_bytes())
    for number, path in enumerate(sitefile.bases, start=1):
        (place / f"site-base-{number}.toml").write_bytes(path.read_bytes())


def _books(folder: Path) -> dict[str, Any]:
    if not folder.is_dir():
        return {}
    import nbformat

    read: Any = nbformat.read
    found = {path.stem: path for path in folder.glob("*.ipynb")}
    return {name: read(found[name], as_version=4) for name in in_chapter_order(found)}


def _sheets(folder: Path) -> list[str]:
    """Schedules, drawings and other tables beside the documents, by their path in the folder."""
    return sorted(path.relative_to(folder).as_posix() for path in folder.glob("*/*")
                  if path.parent.name not in (BOOKS, "earlier"))  # fmt: skip
