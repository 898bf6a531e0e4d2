"""Where a generator stands, and what its exhaust does to people."""

from __future__ import annotations

from solarcalc.basis.check import Check, checked
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.dangers import dangers_of
from solarcalc.sitefile.site import Site

EXHAUST_M = constant("powerroom.exhaust_m")


def generator_checks(site: Site) -> list[Check]:
    """Never with the batteries; a room of its own is looked at; its exhaust far from openings."""
    if not site.generator.there:
        return []
    return [_place_check(site), _exhaust_check(site)]


def generator_notes(site: Site) -> list[str]:
    """What its exhaust, its fuel and its start can do, and what is done against it."""
    return [
        f"{one.danger} {one.measure}" for one in dangers_of(site) if one.met.startswith("generator")
    ]


def _place_check(site: Site) -> Check:
    place = site.generator.place
    return checked(
        place == "outside", "review" if place == "own room" else "failed",
        **worded("powerroom", "generator-place", place=place),
        evidence="computed" if "place" in site.generator.model_fields_set else "assumed",
    )  # fmt: skip


def _exhaust_check(site: Site) -> Check:
    far_m, least_m = site.generator.from_openings_m, float(EXHAUST_M)
    words = worded(
        "powerroom", "generator-exhaust", found="not measured" if far_m is None else f"{far_m:g}",
        least_m=least_m, exhaust_m_source=EXHAUST_M.source,
    )
    if far_m is None:
        return Check(outcome="not assessed", **words)
    return checked(far_m > least_m, "failed", **words)
