"""Documents of the report before that were not asked for and still show the design: kept."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from solarcalc import __version__
from solarcalc.batch.run import APPENDIX
from solarcalc.design import Design
from solarcalc.documents.write import Filed
from solarcalc.quote.offer import Offer
from solarcalc.sitefile.status import Code, document_set
from solarcalc.stages.progress import document_status, reached
from solarcalc.variants import offer_of

PARTS = ("workbooks", "drawings", "schedules", "quote", "quote-firm")
"""Folders that the workbooks fill: they are kept with the appendix."""


def keep_documents(
    before: Mapping[str, Any] | None, design: Design, target: Path, folder: Path,
    asked: Sequence[Code],
) -> tuple[list[Filed], list[Filed]]:  # fmt: skip
    """Copy what is still true of the report before into the new one.

    A document is still true where design, revision, price, names and the version of solarcalc are
    those it was made with, and its status is what it would get now.

    Parameters
    ----------
    before : mapping, optional
        The summary of the report at `target`; None where there is none.
    design : Design
    target, folder : Path
        Where that report stands, and the one that takes its place.
    asked : sequence of str
        Codes that are made anew.

    Returns
    -------
    tuple of two lists of Filed
        Kept, and left behind.
    """
    kept: list[Filed] = []
    gone: list[Filed] = []
    whole = before is not None and _same(before, design)
    for one in _filed(before):
        if one.code in asked:
            continue
        good = whole and reached(design, document_set()[one.code].stage) and (
            (one.fingerprint, one.revision) == (design.fingerprint, design.site.status.revision)
            and one.status == document_status(design, one.code)
            and all((target / name).is_file() for name in one.files))
        (kept if good else gone).append(one)
    for one in kept:
        for name in one.files:
            shutil.copy2(target / name, folder / name)
    if any(one.code == APPENDIX for one in kept):
        for part in PARTS:
            if (target / part).is_dir():
                shutil.copytree(target / part, folder / part, dirs_exist_ok=True)
    return kept, gone


def _filed(before: Mapping[str, Any] | None) -> list[Filed]:
    """Documents that a summary lists; none where it is of an older form."""
    rows = (before or {}).get("written", [])
    known = {"code", "number", "title", "status", "revision", "fingerprint", "html", "pdf"}
    return [Filed(**{name: str(row[name]) for name in known},  # type: ignore[arg-type]
                  beside=tuple(map(str, row.get("beside", ()))))
            for row in rows if known <= row.keys() and row["code"] in document_set()
            and _plain(row)]  # fmt: skip


def _plain(row: Mapping[str, Any]) -> bool:
    """Whether its files are names in its own folder."""
    return all(Path(str(name)).name == name
               for name in (row["html"], row["pdf"] or "x", *row.get("beside", ())))  # fmt: skip


def _same(before: Mapping[str, Any], design: Design) -> bool:
    """Whether what the fingerprint leaves out is the same: price, names, version."""
    site, offer = design.site.site, offer_of(design)
    there, job = before.get("site", {}), before.get("job") or {}
    price = offer.total if isinstance(offer, Offer) else None
    return ((there.get("name"), there.get("customer"), there.get("version"))
            == (site.name, site.customer, __version__)
            and (job.get("price"), job.get("currency")) == (price, design.prices.currency)
            and job.get("fingerprint") == design.fingerprint)  # fmt: skip
