"""Tables and named results of the workbooks: figures put into rows, nothing worked out anew."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from typing import TypeAlias

from solarcalc.basis.hours import MONTHS
from solarcalc.harvest.energy import Harvest, lost_frac
from solarcalc.job.array import Standing
from solarcalc.job.opening import Job
from solarcalc.job.orientation import Variant
from solarcalc.roof.hardware import Hardware
from solarcalc.roof.rows import Orientation

ROUNDING_FRAC = 1e-9
"""A step that takes less than this share took nothing."""

Row: TypeAlias = dict[str, object]
Values: TypeAlias = dict[str, float | int | str]


def fact_line(what: str, value: object, unit: str = "") -> Row:
    """One fact of a list; a number is written to four digits at most, not to fixed decimals."""
    shown = value
    if isinstance(value, float):
        shown = f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.4g}"
    return {"what": what, "value": shown, "unit": unit}


def array_inputs(job: Job) -> list[Row]:
    """Roof, module and array of the site file."""
    roof, module, array = job.site.roof, job.site.module, job.site.array
    flush = array.mounting == "flush"
    return [
        fact_line("Roof, along the eaves", roof.length_m, "m"),
        fact_line("Roof, up the slope", roof.depth_m, "m"),
        fact_line("Roof slope", roof.slope_deg, "deg"),
        fact_line("Roof falls towards", roof.azimuth_deg, "deg"),
        fact_line("Kept free along every edge", roof.edge_setback_m, "m"),
        fact_line("Module", module.label),
        fact_line("Module power", module.pmax_w, "W"),
        fact_line("Module, long side", module.length_m, "m"),
        fact_line("Module, short side", module.width_m, "m"),
        fact_line("Cells", "half-cut" if module.cell_build == "half-cut" else "full"),
        fact_line("Modules", array.module_count),
        fact_line("Modules in series", array.modules_in_series),
        fact_line("Orientation", array.orientation),
        fact_line("Rows", array.rows),
        fact_line("Mounting", array.mounting),
        fact_line("Tilt", roof.slope_deg if flush else array.tilt_deg, "deg"),
        fact_line("Azimuth", roof.azimuth_deg if flush else array.azimuth_deg, "deg"),
        *_what_stands_there(job),
    ]


def _what_stands_there(job: Job) -> list[Row]:
    """Obstacles and walkways of the roof, numbered as on its plan."""
    rows = []
    for box in job.site.roof.obstacles:
        size = f"{box.length_m:g} × {box.depth_m:g}, {box.height_m:g} high,"
        rows.append((box.name, f"{size} {box.clearance_m:g} kept free around"))
    for way in job.site.roof.walkways:
        rows.append((way.name, f"{way.width_m:g} wide, {way.runs} the eaves"))
    return [fact_line(f"{number}  {name}", size, "m")
            for number, (name, size) in enumerate(rows, start=1)]


def hardware_table(variants: Mapping[Orientation, Variant]) -> list[Row]:
    """What holds the modules of the filled roof, one column an orientation."""
    parts = {name: variant.stands.hardware for name, variant in variants.items()}
    lines: list[tuple[str, str, Callable[[Hardware], int | str]]] = [
        ("Rail laid", "m", lambda h: f"{h.rail_m:.1f}"),
        ("Stock lengths of rail to buy", "", lambda h: h.stock_count),
        ("Left over from them", "%", lambda h: f"{100.0 * h.waste_frac:.0f}"),
        ("Splices", "", lambda h: h.splice_count),
        ("Expansion joints", "", lambda h: h.expansion_joint_count),
        ("Gap at each of them", "mm", lambda h: f"{h.expansion_gap_mm:.0f}"),
        ("Mid clamps", "", lambda h: h.mid_clamp_count),
        ("End clamps", "", lambda h: h.end_clamp_count),
        ("Roof feet", "", lambda h: h.foot_count),
        ("Modules, rails and feet", "kg", lambda h: f"{h.mass_kg:.0f}"),
        ("Roof the rows take", "m²", lambda h: f"{h.area_used_m2:.1f}"),
        ("Weight over that roof", "kg/m²", lambda h: f"{h.load_on_roof_kg_per_m2:.1f}"),
        ("Weight over the modules' faces", "kg/m²",
         lambda h: f"{h.load_on_modules_kg_per_m2:.1f}"),
    ]
    return [
        {"what": what, **{name: figure(part) for name, part in parts.items()}, "unit": unit}
        for what, unit, figure in lines
    ]


_MAY_BE_NONE = ("boxes [%]", "strip of dirt [%]")
"""Losses most sites have not: their columns are left out where nothing is lost."""


def orientation_table(variants: Mapping[Orientation, Variant]) -> list[Row]:
    """One row an orientation, the roof filled."""
    rows: list[Row] = [
        {
            "orientation": name,
            "row pitch [m]": variant.stands.pitch_m,
            "rows": variant.fit.row_count,
            "modules": variant.fit.module_count,
            "kWp": variant.peak_kwp,
            "roof [kWh]": variant.array_kwh,
            "each kWp [kWh]": variant.array_kwh_per_kwp,
            "boxes [%]": 100.0 * variant.box_loss_frac,
            "row shade [%]": 100.0 * variant.shade_loss_frac,
            "strip of dirt [%]": 100.0 * variant.strip_loss_frac,
            "hidden sky [%]": 100.0 * variant.mask_loss_frac,
            "dust [%]": 100.0 * variant.dust_loss_frac,
        }
        for name, variant in variants.items()
    ]
    unused = [name for name in _MAY_BE_NONE if all(row[name] == 0.0 for row in rows)]
    return [{key: row[key] for key in row if key not in unused} for row in rows]


def orientation_values(
    variants: Mapping[Orientation, Variant], stands: Standing
) -> Values:
    """Named results of the orientation workbook."""
    values: Values = {
        "site_row_pitch_m": round(stands.pitch_m, 2),
        "shadow_rule_pitch_m": "no answer" if stands.rule_m is None else round(stands.rule_m, 2),
    }
    for name, variant in variants.items():
        values |= {
            f"{name}_module_count": variant.fit.module_count,
            f"{name}_array_kwp": round(variant.peak_kwp, 2),
            f"{name}_row_pitch_m": round(variant.stands.pitch_m, 2),
            f"{name}_array_energy_kwh": round(variant.array_kwh),
            f"{name}_array_yield_kwh_per_kwp": round(variant.array_kwh_per_kwp),
            f"{name}_box_shade_frac": round(variant.box_loss_frac, 4),
            f"{name}_row_shade_frac": round(variant.shade_loss_frac, 4),
            f"{name}_dirt_strip_frac": round(variant.strip_loss_frac, 4),
            f"{name}_dust_frac": round(variant.dust_loss_frac, 4),
            f"{name}_rail_m": round(variant.stands.hardware.rail_m, 1),
            f"{name}_rail_stock_count": variant.stands.hardware.stock_count,
            f"{name}_mid_clamp_count": variant.stands.hardware.mid_clamp_count,
            f"{name}_end_clamp_count": variant.stands.hardware.end_clamp_count,
            f"{name}_roof_foot_count": variant.stands.hardware.foot_count,
            f"{name}_area_used_m2": round(variant.stands.hardware.area_used_m2, 1),
            f"{name}_dead_load_kg_per_m2": round(
                variant.stands.hardware.load_on_modules_kg_per_m2, 1
            ),
        }
    return values


def weather_inputs(job: Job) -> list[Row]:
    """The weather year in a few lines."""
    weather = job.weather
    rain = weather.rain_mm_year
    return [
        fact_line("File", weather.source),
        fact_line("Station", weather.station),
        fact_line("Distance from the site", weather.distance_km, "km"),
        fact_line("Site above the station", weather.elevation_gap_m, "m"),
        fact_line("Hours are labelled", weather.file_label_convention),
        fact_line("Global light on the level", weather.ghi_kwh_m2_year, "kWh/m² a year"),
        fact_line("Beam light, facing the sun", weather.dni_kwh_m2_year, "kWh/m² a year"),
        fact_line("Diffuse light on the level", weather.dhi_kwh_m2_year, "kWh/m² a year"),
        fact_line("Mean air temperature", weather.temp_air_mean_c, "°C"),
        fact_line("Coldest hour", float(weather.hours["temp_air"].min()), "°C"),
        fact_line("Hottest hour", float(weather.hours["temp_air"].max()), "°C"),
        fact_line("Rain", "not in the file") if rain is None else fact_line("Rain", rain, "mm"),
    ]


def loss_table(harvest: Harvest) -> list[Row]:
    """Yield left after each step, and what the step took; below 0 where it gave (cold cells)."""
    rows: list[Row] = [
        {
            "step": harvest.steps[0].name,
            "part": "light",
            "yield left [kWh/kWp]": harvest.reference_yield_h,
            "lost in the step [%]": None,
        }
    ]
    for before, after in pairwise(harvest.steps):
        lost = lost_frac(before, after)
        rows.append(
            {
                "step": after.name,
                "part": f"{after.part} loss",
                "yield left [kWh/kWp]": after.yield_kwh_per_kwp,
                "lost in the step [%]": 100.0 * lost if abs(lost) > ROUNDING_FRAC else 0.0,
            }
        )
    return rows


def month_table(harvest: Harvest) -> list[Row]:
    """Light, energy, yield and performance ratio of each month."""
    return [
        {
            "month": MONTHS[number],
            "in-plane light [kWh/m²]": row["plane_kwh_m2"],
            "array energy [kWh]": row["dc_kwh"],
            "usable energy [kWh]": row["ac_kwh"],
            "final yield [kWh/kWp]": row["final_yield_kwh_per_kwp"],
            "performance ratio": row["performance_ratio"],
        }
        for number, (_, row) in enumerate(harvest.by_month().iterrows())
    ]


def yield_values(harvest: Harvest) -> Values:
    """Named results of the yield workbook."""
    months = harvest.by_month()["ac_kwh"]
    values: Values = {
        "array_power_kwp": round(harvest.peak_kwp, 2),
        "reference_yield_kwh_per_kwp": round(harvest.reference_yield_h),
        "array_yield_kwh_per_kwp": round(harvest.array_yield_h),
        "final_yield_kwh_per_kwp": round(harvest.final_yield_h),
        "capture_loss_kwh_per_kwp": round(harvest.reference_yield_h - harvest.array_yield_h),
        "system_loss_kwh_per_kwp": round(harvest.array_yield_h - harvest.final_yield_h),
        "performance_ratio": round(harvest.performance_ratio, 3),
        "usable_energy_kwh": round(harvest.ac_kwh),
        "string_coldest_voltage_v": round(harvest.coldest_voc_v),
    }
    return values | {
        f"usable_{name.lower()}_kwh": round(float(energy))
        for name, energy in zip(MONTHS, months, strict=True)
    }
