"""Wind, feet and ballast as the orientation workbook and the documents show them."""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.design import Design
from solarcalc.stages.structure import dead_load_of
from solarcalc.structure.checks import PRELIMINARY, cautions_of, not_assessed
from solarcalc.structure.plan import StructurePlan, ZoneTotal
from solarcalc.structure.weight import factors_of
from solarcalc.structure.zones import tilted_over_roof, zone_sizes
from solarcalc.views.rows import Row, fact_line

LEFT_OUT = (
    "Left out: snow, earthquakes, strength of the roof, dynamic effects, hills, taller buildings,"
    " sheltering, frames, clamps."
)
LOCAL = "A qualified person decides under the local code."


def wind_rows(design: Design) -> list[Row]:
    """Wind at the top of the roof, zones, factors and dead load; dead load alone without wind."""
    plan, structure = design.structure, design.site.structure
    rows = dead_load_rows(design)
    if plan is None:
        return rows
    asce, sizes = structure.wind_code == "ASCE 7", zone_sizes(structure, plan.rows)
    factors = factors_of(structure.wind_code)
    wind = [
        fact_line("Wind code", structure.wind_code),
        fact_line("Basic wind velocity, 3-second gust" if asce
                  else "Basic wind velocity, 10-minute mean", structure.basic_wind_m_per_s, "m/s"),
        fact_line("Exposure category" if asce else "Terrain category",
                  structure.exposure if asce else structure.terrain),
        fact_line("Top of the roof above the ground", structure.height_m, "m"),
        fact_line("Peak velocity pressure", plan.pressure_kpa, "kN/m²"),
        fact_line("Width of the edge zones", sizes.edge_m, "m"),
        fact_line("Partial factors: wind, weight that holds",
                  f"{factors.wind:g}, {factors.holds if plan.ballasted else factors.holds_foot:g}"),
    ]  # fmt: skip
    if plan.ballasted:
        wind.append(fact_line("Friction coefficient under the feet", plan.friction))
    return [*wind, *rows]


def dead_load_rows(design: Design) -> list[Row]:
    """Dead load of array and ballast [kg, kg/m2, kN/m2]."""
    dead, feet = dead_load_of(design, design.structure), design.hardware.foot_count
    rows = [fact_line("Dead load of array and ballast", dead.mass_kg, "kg")]
    if dead.area_m2 > 0.0 and feet:
        rows += [fact_line("Dead load per m² of roof under the rows", dead.kg_per_m2, "kg/m²"),
                 fact_line("The same as a load", dead.kn_per_m2, "kN/m²"),
                 fact_line("Dead load per foot, mean", dead.mass_kg / feet, "kg")]
    return rows


def zone_rows(design: Design) -> list[Row]:
    """Feet and ballast by zone of the roof, and all together; empty without wind."""
    plan = design.structure
    if plan is None:
        return []
    rows = [_zone_row(plan, one.zone, [one]) for one in plan.zones]
    return rows if len(rows) == 1 else [*rows, _zone_row(plan, "whole roof", plan.zones)]


def _zone_row(plan: StructurePlan, name: str, zones: Sequence[ZoneTotal]) -> Row:
    held: Row = {
        "ballast blocks": f"{sum(one.block_count for one in zones)}",
        "ballast [kg]": f"{sum(one.ballast_kg for one in zones):.0f}",
    } if plan.ballasted else {
        "worst fixing, design uplift [kN]": f"{max(one.foot_kn for one in zones):.2f}",
    }  # fmt: skip
    return {"zone": name, "modules": f"{sum(one.module_count for one in zones)}",
            "feet": f"{sum(one.foot_count for one in zones)}",
            "net uplift [kN/m²]": f"{max(one.uplift_kpa for one in zones):.2f}", **held}


def mark_of(design: Design) -> str:
    """``"PRELIMINARY until ..."``, or who has assessed it and when."""
    by = design.site.status.roof_confirmed
    return f"Assessed by {by}" if by else (
        f"{PRELIMINARY} until a named qualified person has signed H2")


def wind_facts(design: Design) -> list[Row]:
    """Wind and dead load, a line each, for a document of few words."""
    plan, structure = design.structure, design.site.structure
    rows = [fact_line("Dead load of array and ballast", _dead_load_words(design))]
    if plan is None:
        return rows
    asce = structure.wind_code == "ASCE 7"
    ground = f"exposure {structure.exposure}" if asce else f"terrain {structure.terrain}"
    return [fact_line("Peak velocity pressure", (
        f"{plan.pressure_kpa:.2f} kN/m² ({structure.wind_code},"
        f" {structure.basic_wind_m_per_s:g} m/s, {ground}, {structure.height_m:g} m)")), *rows]


def _dead_load_words(design: Design) -> str:
    dead = dead_load_of(design, design.structure)
    if dead.area_m2 <= 0.0:
        return f"{dead.mass_kg:.0f} kg"
    return (f"{dead.mass_kg:.0f} kg, {dead.kg_per_m2:.1f} kg/m²"
            f" ({dead.kn_per_m2:.2f} kN/m²) under the rows")


def method_words(design: Design) -> str:
    """What uplift is by, what decides and what is left out; why there is none."""
    plan = design.structure
    if plan is None:
        check = not_assessed(design.site.structure)
        return f"Wind is not assessed: {check.found}. {check.remedy[0].upper()}{check.remedy[1:]}."
    method = ("Uplift by ASCE 7-16 fig. 29.4-7, every row as exposed."
              if tilted_over_roof(plan.rows)
              else "Suction on the roof by EN 1991-1-4 cl. 7.2, all of it on the modules.")
    decides = [f"{plan.governs.capitalize()} decides the ballast."] if plan.ballasted else []
    return " ".join([method, *decides, LEFT_OUT])


def structure_words(design: Design) -> str:
    """The same, with who has assessed it or that nobody has, and what a crew sees to."""
    if design.structure is None:
        return method_words(design)
    return " ".join([f"{mark_of(design)}.", method_words(design), LOCAL,
                     *cautions_of(design.site.structure)])
