"""The machine-readable summary of a site: what is found, where the job stands, what is bought."""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import asdict
from datetime import datetime
from typing import Any, TypeVar

from solarcalc import __version__
from solarcalc.basis.check import Check, Stage
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.quantity import told_share
from solarcalc.batch.listed import COUNTED, SCHEMA
from solarcalc.commissioning.judge import commissioning_checks
from solarcalc.design import Design
from solarcalc.programme.days import crew_days
from solarcalc.report.findings import (
    Findings,
    SiteSummary,
    headline_of,
    merged_assumptions,
)
from solarcalc.sitefile.dangers import dangers_of
from solarcalc.sitefile.exposure import measures_of
from solarcalc.sitefile.read import SiteFile
from solarcalc.sitepack.pick_list import LOADED_NOT, loaded_lines
from solarcalc.stages.boards import usable_battery_wh
from solarcalc.stages.progress import document_status, progress_of, reached, test_report
from solarcalc.stages.status import once
from solarcalc.views.followup import visit_checks

T = TypeVar("T")
_OF_WHAT_STANDS: dict[str, Stage] = {"commissioning": "test", "followup": "visit"}
"""Workbooks whose checks are of a system that stands, and the stage from which they are judged."""


def site_record(
    site: SiteSummary, findings: Sequence[Findings], design: Design | None = None
) -> dict[str, Any]:
    """What summary.json holds; without the design nothing of the job, and every check counts.

    Checks and headline are those of the workbooks that ran; where none did, of the design.
    """
    by_book = [(found.workbook, found.checks) for found in findings]
    headline = headline_of(findings)
    if design is not None and not findings:
        by_book, headline = _of_design(design)
    checks = [
        {"workbook": workbook, "key": check.key, "fingerprint": check.fingerprint,
         "stage": check.stage, **asdict(check)}
        for workbook, found in by_book for check in once(found)
    ]  # fmt: skip
    judged = [check for check in checks if _judged(check, design)]
    return {
        "schema": SCHEMA,
        "site": {**asdict(site), "place": site.place,
                 "dangers": [one.key for one in site.dangers],
                 "asked_by_place": [one.key for one in site.asked_by_place],
                 "made": site.made.isoformat(timespec="seconds")},
        "headline": headline,
        "workbooks": {found.workbook: {"title": found.title, "answer": found.answer,
                                       "values": found.values} for found in findings},
        "check_counts": _counts(judged), "failed_by_kind": Counter(
            check["kind"] for check in judged if check["outcome"] == "failed"),
        "checks": checks,
        "job": {} if design is None else job_record(design),
        "assumptions": [asdict(entry) for entry in merged_assumptions(findings)],
    }


def _of_design(design: Design) -> tuple[list[tuple[str, tuple[Check, ...]]], str]:
    """Checks by the workbook that would show them, and the headline, without running any."""
    report = test_report(design)
    tests = tuple(commissioning_checks(report)) if report else ()
    energy = _or_none(lambda: design.year_energy)
    return [*design.checks.items(), ("commissioning", tests),
            ("followup", tuple(visit_checks(design)))], energy.words if energy else ""


def _judged(check: dict[str, Any], design: Design | None) -> bool:
    """Whether a check is judged by now: tests from stage test on, a logger from visit on."""
    stage = _OF_WHAT_STANDS.get(check["workbook"])
    return design is None or stage is None or reached(design, stage)


def _counts(checks: Sequence[dict[str, Any]]) -> dict[str, int]:
    counts = Counter(check["outcome"].replace(" ", "_") for check in checks)
    counts["failed_safety"] = sum(check["outcome"] == "failed" and check["kind"] == "safety"
                                  for check in checks)  # fmt: skip
    counts["accepted"] = sum(bool(check["accepted"]) for check in checks)
    counts["review"] -= counts["accepted"]
    return {name: counts[name] for name in COUNTED}


def job_record(design: Design) -> dict[str, Any]:
    """Where a job stands, its main figures, and what is bought and laid: plain values.

    What has no answer is None.
    """
    energy, offer = _or_none(lambda: design.year_energy), _or_none(lambda: design.offer)
    battery, status = design.site.battery, design.site.status
    progress = progress_of(design, of_visit=visit_checks(design))
    demand_kwh = energy.demand_kwh if energy else 0.0
    days = _or_none(lambda: crew_days(design.programme))
    return {
        "file": design.sitefile.word, "stage": progress.stage, "revision": status.revision,
        "date": status.date, "fingerprint": design.fingerprint,
        "array_kwp": design.site.array_w / 1000.0,
        "rated_battery_kwh": battery.rated_wh / 1000.0,
        "usable_battery_kwh": usable_battery_wh(design) / 1000.0,
        "demand_kwh": energy and energy.demand_kwh, "supplied_kwh": energy and energy.supplied_kwh,
        "supplied_frac": (told_share(energy.supplied_kwh, demand_kwh)
                          if energy and demand_kwh > 0.0 else None),
        "without_supply_h": energy and energy.essential_h,
        "example_of": design.example_of,
        "price": offer and offer.total, "currency": design.prices.currency,
        "price_status": price_status(design), "days": days,
        "levelised_cost_per_kwh": _finite(or_why(lambda: design.economics.cost_per_kwh_supplied)()),
        "documents": progress.documents, "open_holds": progress.open_holds,
        "blocks": [asdict(step) for step in progress.blocks],
        "conditions": [asdict(step) for step in progress.conditions],
        "next_step": progress.next_step.words, "next_date": progress.next_date,
        "bill": [{"key": line.key, "name": line.told, "quantity": line.quantity,
                  "unit": line.unit} for line in design.bill],
        "orders": [{"group": line.group, "key": line.key, "name": line.name,
                    "quantity": line.quantity, "unit": line.unit}
                   for line in loaded_lines(design.installation, design.bill)
                   if not line.owned and line.item not in LOADED_NOT],
        "cables": [{"key": one.run.key, "name": one.run.name, "size": one.size_name,
                    "in_parallel": one.in_parallel, "length_m": one.run.length_m}
                   for one in design.electrical.sized],
    }  # fmt: skip


def price_status(design: Design) -> str:
    """How far a price binds: ``"example"`` where some are invented, ``"list"``, or ``"offer"``."""
    if "prices" in design.example_of:
        return "example"
    return "offer" if document_status(design, "QU") == "for offer" else "list"


def _finite(value: float | NoAnswer) -> float | None:
    return value if isinstance(value, float) and math.isfinite(value) else None


def _or_none(make: Callable[[], T]) -> T | None:
    found = or_why(make)()
    return None if isinstance(found, NoAnswer) else found


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
