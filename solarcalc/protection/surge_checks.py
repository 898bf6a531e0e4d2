"""Verdicts on surge protective devices: needed where, leads, protection voltage, energy."""

from __future__ import annotations

from collections.abc import Iterator

from solarcalc.basis.published import published
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.protection.case import Case
from solarcalc.protection.surge import (
    BACKUP_A,
    MARGIN_FRAC,
    MOST_LEAD_M,
    SurgePoint,
    lead_kv,
    surge_points,
    surge_type,
)


def surge_verdicts(case: Case) -> Iterator[Verdict]:
    """Checks of each place that needs a surge device."""
    points = surge_points(case)
    if any(point.needed for point in points):
        yield _leads(case)
    for point in points:
        if point.needed:
            yield _holds(case, point)
    yield from _backup(case, points)
    if case.site.protection.lightning_rods:
        yield _rods()
    yield from _too_high(points)


def _leads(case: Case) -> Verdict:
    lead_m = case.site.protection.surge_lead_m
    return judged(
        lead_m <= float(MOST_LEAD_M), "caution" if lead_m <= 1.0 else "failed",
        item="Leads of a surge device, both together",
        found=f"{lead_m:g}, adds {lead_kv(lead_m):.1f} kV", limit=f"at most {float(MOST_LEAD_M):g}",
        unit="m", clause=MOST_LEAD_M.source,
        remedy="move it beside the bar, or lead the line through its own terminals (in and out)",
    )  # fmt: skip


def _holds(case: Case, point: SurgePoint) -> Verdict:
    total_kv = point.protection_kv + lead_kv(case.site.protection.surge_lead_m)
    wanted_kv = float(MARGIN_FRAC) * point.withstand_kv
    source = published("surge_withstand").clause if point.current == "dc" else MARGIN_FRAC.source
    return judged(
        total_kv <= wanted_kv + 1e-9, "caution" if total_kv <= point.withstand_kv else "failed",
        item=f"{point.name}: voltage it lets through, with its leads",
        found=f"{total_kv:.2f}",
        limit=f"at most {wanted_kv:.2f}; the equipment stands {point.withstand_kv:g}",
        unit="kV", clause=source,
        remedy="shorter leads, a device with a lower protection voltage, or a second one at the"
        " equipment",
    )  # fmt: skip


def _backup(case: Case, points: tuple[SurgePoint, ...]) -> Iterator[Verdict]:
    if not any(point.needed and point.current == "ac" for point in points):
        return
    stems = ("grid_in", "generator_in", "inverter_board")
    runs = [each for stem in stems for each in case.of(stem)]
    before_a = max((each.device_a or 0.0 for each in runs), default=0.0)
    yield judged(
        before_a <= float(BACKUP_A),
        item="Backup fuse of the boards' surge device: largest device before it",
        found=f"{before_a:g}", limit=f"at most {float(BACKUP_A):g} without one", unit="A",
        clause=f"IEC 60364-5-53 cl. 534.4.5, from memory; {BACKUP_A.source}",
        remedy="a fuse of its own, of the size on the plate of the surge device",
    )  # fmt: skip


def _rods() -> Verdict:
    return Verdict(
        item="Lightning rods and the array", found="surge devices of type 1 and 2",
        limit="modules inside the protected space, at the separation distance", unit="",
        outcome="caution", clause=f"IEC 62305-3, {FROM_MEMORY}",
        remedy="a specialist in lightning protection sets distance, bonding and the currents that"
        " the devices must stand",
    )


def _too_high(points: tuple[SurgePoint, ...]) -> Iterator[Verdict]:
    highest_v = max(each or 0.0 for each in published("surge_voltages").numbers("rated_v"))
    for point in points:
        if point.current == "dc" and point.needed and point.rated_v > highest_v:
            yield judged(
                False, "failed", item=f"{point.name}: continuous voltage",
                found=f"{point.rated_v:.0f}", limit=f"at most {highest_v:.0f} made", unit="V",
                clause=published("surge_voltages").clause, remedy="fewer modules in series",
            )  # fmt: skip


def spared_words(case: Case) -> tuple[str, ...]:
    """Where no surge device is asked for and why, a sentence each."""
    return tuple(
        f"{point.name}: not asked for, {point.why}."
        for point in surge_points(case)
        if point.key in ("array-surge", "board-surge") and not point.needed
    )


def type_words(case: Case) -> str:
    """Why this type, for the page."""
    if surge_type(case) == 1:
        return "type 1 and 2: the house has lightning rods, whose current may come in"
    return f"type 2: no lightning rods, only what comes through the cables ({NO_SOURCE})"
