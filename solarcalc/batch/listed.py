"""Summaries of sites as the lists over all of them read them, without the design behind them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from solarcalc.basis.text import alphabetic
from solarcalc.batch.folders import read_record

SCHEMA = 6
"""Number of the form of summary.json; it goes up when a key changes its meaning or goes."""

COUNTED = ("failed", "failed_safety", "review", "accepted", "not_assessed", "passed")
"""Counts of checks; those of safety are among the failed. Review: accepted by nobody."""


def read_records(out: Path) -> list[tuple[str, dict[str, Any]]]:
    """Folder name and `listed` summary of every finished site in `out`, by the site's name."""
    slugs = [path.parent.name for path in sorted(out.glob("*/summary.json"))]
    found = [(slug, record) for slug in slugs if (record := finished_record(out, slug))]
    return sorted(found, key=by_name)


def by_name(item: tuple[str, Mapping[str, Any]]) -> tuple[str, str]:
    """Key of the order of sites: name, then folder."""
    slug, record = item
    return alphabetic(str(record["site"]["name"])), slug


def finished_record(out: Path, slug: str) -> dict[str, Any] | None:
    """The `listed` summary of a site whose folder is whole; None for anything else."""
    pages = (out / slug / name for name in ("index.html", "report.html"))
    if not re.fullmatch(r"[a-z0-9-]+", slug) or not any(page.is_file() for page in pages):
        return None
    record = read_record(out / slug)
    whole = record and record.get("schema") == SCHEMA and (record.get("site") or {}).get("name")
    return listed(record) if record and whole else None


_LONG = ("checks", "assumptions", "written")
_LONG_OF_JOB = ("bill", "orders", "cables")


def listed(record: Mapping[str, Any]) -> dict[str, Any]:
    """What lists over all sites show of a summary: without its long tables.

    A batch of many sites holds one of these a site, a hundredth of the whole.
    """
    job = {key: value for key, value in (record.get("job") or {}).items()
           if key not in _LONG_OF_JOB}  # fmt: skip
    kept = {key: value for key, value in record.items() if key not in _LONG}
    return {**kept, "job": job}
