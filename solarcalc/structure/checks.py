"""Checks of what holds the array on its roof against wind."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from solarcalc.basis.check import Check, checked
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.structure import Structure
from solarcalc.structure.plan import StructurePlan
from solarcalc.structure.weight import DeadLoad
from solarcalc.structure.zones import tilted_over_roof

FLATTEST_SLOPE_DEG = constant("structure.flattest_slope_deg")
STEEPEST_TILT_DEG = constant("structure.steepest_tilt_deg")
LONGEST_CHORD_M = constant("structure.longest_chord_m")
HIGHEST_EDGE_M = constant("structure.highest_edge_m")
FLATTEST_BALLAST_DEG = constant("structure.flattest_ballast_deg")
USUAL_IMPOSED_KN_PER_M2 = constant("structure.usual_imposed_kn_per_m2")
PRELIMINARY = "PRELIMINARY"


def not_assessed(structure: Structure) -> Check:
    """Why nothing is said of the wind: no basic velocity, or modules without places."""
    if structure.basic_wind_m_per_s is None:
        return Check(outcome="not assessed", **worded("structure", "wind-unknown"))
    return Check(outcome="not assessed", **worded("structure", "without-places"))


def array_on_roof(
    plan: StructurePlan, dead: DeadLoad, *, confirmed_by: str
) -> Iterator[Check]:
    """Coefficients in their range, covering, fixings or ballast, and who has assessed it all.

    Parameters
    ----------
    plan : StructurePlan
    dead : DeadLoad
    confirmed_by : str
        Name and day; empty for nobody.
    """
    if tilted_over_roof(plan.rows):
        yield _range_check(plan, confirmed=bool(confirmed_by))
    yield from _covering_checks(plan)
    if plan.ballasted:
        yield from _ballast_checks(plan)
        most = float(USUAL_IMPOSED_KN_PER_M2)
        yield checked(dead.kn_per_m2 <= most or bool(confirmed_by), **worded(
            "structure", "ballast-heavy", kn_per_m2=dead.kn_per_m2, most_kn_per_m2=most,
        ))  # fmt: skip
    else:
        yield _fixing_check(plan)
    held = (f"{plan.block_count} ballast blocks of {plan.structure.block_mass_kg:g} kg"
            if plan.ballasted else f"{plan.worst_foot_kn:.1f} kN on the worst fixing")
    yield checked(bool(confirmed_by), **worded(
        "structure", "assessed", mark="" if confirmed_by else f"{PRELIMINARY}: ", held=held,
        dead_kg=dead.mass_kg, kg_per_m2=dead.kg_per_m2, kn_per_m2=dead.kn_per_m2,
        confirmed_by=confirmed_by or "nobody yet",
    ))  # fmt: skip


def _range_check(plan: StructurePlan, *, confirmed: bool) -> Check:
    rows = plan.rows
    edge_m = rows.slant_m * math.sin(math.radians(rows.lift_deg))
    inside = (
        rows.roof_slope_deg <= float(FLATTEST_SLOPE_DEG)
        and rows.lift_deg <= float(STEEPEST_TILT_DEG) and rows.slant_m <= float(LONGEST_CHORD_M)
        and edge_m <= float(HIGHEST_EDGE_M)
    )  # fmt: skip
    return checked(inside or confirmed, **worded(
        "structure", "range-of-coefficients", slope_deg=rows.roof_slope_deg,
        lift_deg=rows.lift_deg, slant_m=rows.slant_m, edge_m=edge_m,
        most_slope_deg=float(FLATTEST_SLOPE_DEG), most_lift_deg=float(STEEPEST_TILT_DEG),
        most_slant_m=float(LONGEST_CHORD_M), most_edge_m=float(HIGHEST_EDGE_M),
    ))  # fmt: skip


def _covering_checks(plan: StructurePlan) -> Iterator[Check]:
    covering, slope_deg = plan.structure.covering, plan.rows.roof_slope_deg
    if covering is None:
        yield Check(outcome="review", **worded("structure", "covering-unknown"))
    elif plan.ballasted:
        flat = covering == "concrete" and slope_deg <= float(FLATTEST_BALLAST_DEG)
        yield checked(flat, "failed", **worded(
            "structure", "ballast-on-covering", covering=covering, slope_deg=slope_deg,
            most_deg=float(FLATTEST_BALLAST_DEG),
        ))  # fmt: skip


def cautions_of(structure: Structure) -> tuple[str, ...]:
    """What a crew sees to on this covering, by sentences; nothing where nobody gave it."""
    found = {
        "concrete": worded("structure", "on-concrete"), "sheet": worded("structure", "on-sheet"),
        "tile": worded("structure", "on-tile"), "ballast": worded("structure", "under-ballast"),
    }  # fmt: skip
    key = "ballast" if structure.held_by == "ballast" else structure.covering or ""
    return tuple(re.split(r"(?<=\.) ", found[key]["caution"])) if key in found else ()


def _fixing_check(plan: StructurePlan) -> Check:
    given_kn, worst_kn = plan.structure.fixing_uplift_kn, plan.worst_foot_kn
    if given_kn is None:
        return Check(outcome="not assessed", **worded(
            "structure", "fixing-strength-unknown", worst_kn=worst_kn))  # fmt: skip
    return checked(worst_kn <= given_kn, "failed", **worded(
        "structure", "fixing-uplift", worst_kn=worst_kn, given_kn=given_kn))  # fmt: skip


def _ballast_checks(plan: StructurePlan) -> Iterator[Check]:
    yield checked(plan.holds_by_weight, "failed", **worded(
        "structure", "ballast-slides", friction=plan.friction, source=plan.friction_source,
        slope_deg=plan.rows.roof_slope_deg,
    ))  # fmt: skip
    if plan.structure.friction_coefficient is None:
        yield Check(outcome="review", **worded(
            "structure", "friction-unmeasured", friction=plan.friction,
            source=plan.friction_source))  # fmt: skip
