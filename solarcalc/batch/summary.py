"""The machine-readable summary of a site, and the page and table over all sites."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any

from solarcalc import __version__
from solarcalc.basis.files import write_whole
from solarcalc.basis.quantity import on_paper
from solarcalc.basis.text import guard_cell
from solarcalc.report.findings import (
    Findings,
    SiteSummary,
    headline_of,
    merged_assumptions,
)
from solarcalc.report.write import environment
from solarcalc.sitefile.dangers import dangers_of
from solarcalc.sitefile.exposure import measures_of
from solarcalc.sitefile.read import SiteFile

SCHEMA = 3
"""Number of the form of summary.json; it goes up when a key changes its meaning or goes."""

HEADLINES = ("array_power_kwp", "rated_battery_kwh", "usable_battery_kwh")
"""Values that the page over all sites shows."""
COUNTED = ("failed", "failed_safety", "review", "accepted", "not_assessed", "passed")
"""Counts of checks; those of safety are among the failed. Review: accepted by nobody."""

def site_record(site: SiteSummary, findings: Sequence[Findings]) -> dict[str, Any]:
    """What summary.json holds."""
    checks = [
        {"workbook": found.workbook, "key": check.key, "fingerprint": check.fingerprint,
         "stage": check.stage, **asdict(check)}
        for found in findings for check in found.checks
    ]  # fmt: skip
    counts = Counter(check["outcome"].replace(" ", "_") for check in checks)
    counts["failed_safety"] = sum(
        check["outcome"] == "failed" and check["kind"] == "safety" for check in checks
    )
    counts["accepted"] = sum(bool(check["accepted"]) for check in checks)
    counts["review"] -= counts["accepted"]
    return {
        "schema": SCHEMA,
        "site": {**asdict(site), "place": site.place,
                 "dangers": [one.key for one in site.dangers],
                 "asked_by_place": [one.key for one in site.asked_by_place],
                 "made": site.made.isoformat(timespec="seconds")},
        "headline": headline_of(findings),
        "workbooks": {found.workbook: {"title": found.title, "answer": found.answer,
                                       "values": found.values} for found in findings},
        "check_counts": {name: counts[name] for name in COUNTED},
        "checks": checks,
        "assumptions": [asdict(entry) for entry in merged_assumptions(findings)],
    }


def read_records(out: Path) -> list[tuple[str, dict[str, Any]]]:
    """Folder name and summary of every finished site in `out`, by the site's name."""
    found = []
    for path in sorted(out.glob("*/summary.json")):
        slug = path.parent.name
        if not re.fullmatch(r"[a-z0-9-]+", slug) or not (path.parent / "report.html").is_file():
            continue
        try:
            record = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            continue
        if isinstance(record, dict) and record.get("schema") == SCHEMA:
            found.append((slug, record))
    return sorted(found, key=lambda item: str(item[1]["site"]["name"]).casefold())


def write_index(out: Path, failed: Sequence[tuple[Path, str]]) -> None:
    """Write index.html: every site in `out`, and what failed in this run with its reason."""
    rows = [{"slug": slug, "site": record["site"], "counts": record["check_counts"],
             "headline": record["headline"], "headlines": _headlines(record)}
            for slug, record in read_records(out)]  # fmt: skip
    rows.sort(key=lambda row: (-row["counts"]["failed_safety"], -row["counts"]["failed"]))
    page = environment().get_template("sites.html.j2").render(
        rows=rows, failed=[(path.name, reason) for path, reason in failed])
    write_whole(out / "index.html", page)


def write_csv(out: Path) -> None:
    """Write summary.csv: one row a site, one column a value, unit last in the column's name.

    It begins with a byte order mark, without which spreadsheets misread accented names.
    """
    records = read_records(out)
    fixed = ["slug", "site", "energy", "customer", "latitude_deg", "longitude_deg", "elevation_m",
             "made", "version", *(f"checks_{name}" for name in COUNTED)]
    values = list(dict.fromkeys(
        f"{workbook}.{name}" for _, record in records
        for workbook, found in record["workbooks"].items() for name in found["values"]))
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=[*fixed, *values], lineterminator="\r\n")
    writer.writeheader()
    for slug, record in records:
        writer.writerow({key: guard_cell(value) if isinstance(value, str) else value
                         for key, value in _row(slug, record).items()})
    write_whole(out / "summary.csv", text.getvalue(), encoding="utf-8-sig")


def _row(slug: str, record: dict[str, Any]) -> dict[str, Any]:
    site = record["site"]
    kept = ("customer", "latitude_deg", "longitude_deg", "elevation_m", "made", "version")
    return {
        "slug": slug, "site": site["name"], "energy": record["headline"],
        **{key: site[key] for key in kept},
        **{f"checks_{name}": record["check_counts"][name] for name in COUNTED},
        **{f"{workbook}.{name}": value for workbook, found in record["workbooks"].items()
           for name, value in found["values"].items()},
    }


def _headlines(record: dict[str, Any]) -> list[tuple[str, str, str]]:
    """The main figures of a site, or the first of each workbook where it has none of them."""
    values = [found["values"] for found in record["workbooks"].values()]
    named = [(name, found[name]) for name in HEADLINES for found in values if name in found]
    firsts = [next(iter(found.items())) for found in values if found]
    return [on_paper(*pair) for pair in (named or firsts)]


def site_summary(sitefile: SiteFile, content: bytes) -> SiteSummary:
    """The words of a title block, for a site file of that content."""
    place = sitefile.site.site
    return SiteSummary(
        name=place.name, customer=place.customer, note=place.note, slug=sitefile.slug,
        latitude_deg=place.latitude_deg, longitude_deg=place.longitude_deg,
        elevation_m=place.elevation_m, file_name=sitefile.path.name,
        file_sha256=hashlib.sha256(content).hexdigest(),
        made=datetime.now().astimezone(), version=__version__,
        examples=("equipment",) if sitefile.examples else (),
        dangers=dangers_of(sitefile.site), asked_by_place=measures_of(sitefile.site),
    )
