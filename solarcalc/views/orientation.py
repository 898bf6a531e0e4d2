"""Portrait against landscape on the site's roof, and what pitch and tilt do to the answer."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, get_args

import pandas as pd

from solarcalc.basis.no_answer import NO_ANSWER
from solarcalc.basis.quantity import in_unit
from solarcalc.basis.text import capital, small
from solarcalc.design import Design
from solarcalc.energy.light import LIGHT_STEPS
from solarcalc.energy.year import array_power
from solarcalc.roof.hardware import Hardware
from solarcalc.roof.packing import RoofFit
from solarcalc.roof.rows import Orientation
from solarcalc.stages.array import (
    Standing,
    array_kwh_per_kwp,
    kwh_per_kwp_of_power,
    light_of,
    open_plane,
    standing,
)
from solarcalc.stages.orientation import OrientationChoice, Way
from solarcalc.stages.surroundings import boxes_of
from solarcalc.views.rows import Row, Values, fact_line

ORIENTATIONS: tuple[Orientation, ...] = get_args(Orientation)
_LOSSES_OF_LYING = (
    "shade_loss_frac", "dirt_band_loss_frac", "box_loss_frac", "mask_loss_frac", "dust_loss_frac",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Variant:
    """One way to lay the modules, the roof filled.

    Parameters
    ----------
    stands : Standing
    peak_kwp : float
        Rated power of all modules that fit [kWp].
    array_kwh_per_kwp : float
        Array yield of the year [kWh/kWp]; 0 when nothing fits.
    shade_loss_frac : float
        Energy lost to shade of row on row, as a share of what there would be without [0 to 1].
    dirt_band_loss_frac : float
        Energy lost to the dirt band above the lower frames, as a share of what was left.
    box_loss_frac, mask_loss_frac, dust_loss_frac : float
        Light lost to boxes on the roof, to sky hidden by rows, and to dust, each as a share of
        what was left.
    """

    stands: Standing
    peak_kwp: float
    array_kwh_per_kwp: float
    shade_loss_frac: float
    dirt_band_loss_frac: float
    box_loss_frac: float
    mask_loss_frac: float
    dust_loss_frac: float

    @property
    def fit(self) -> RoofFit:
        """The filled roof."""
        return self.stands.roof_fit

    @property
    def array_kwh(self) -> float:
        """Energy of the filled roof in a year [kWh]."""
        return self.array_kwh_per_kwp * self.peak_kwp


def compare_orientations(design: Design) -> dict[Orientation, Variant]:
    """Both orientations, each with the roof filled at its own pitch."""
    return {orientation: _variant(design, orientation) for orientation in ORIENTATIONS}


def _variant(design: Design, orientation: Orientation) -> Variant:
    stands = standing(design, orientation)
    fit = stands.roof_fit
    if fit.module_count == 0:
        return Variant(stands=stands, peak_kwp=0.0, array_kwh_per_kwp=0.0, shade_loss_frac=0.0,
                       dirt_band_loss_frac=0.0, box_loss_frac=0.0, mask_loss_frac=0.0,
                       dust_loss_frac=0.0)
    row_count = fit.row_count
    rows_light = light_of(design, stands.rows, pitch_m=stands.pitch_m, row_count=row_count,
                          boxes=boxes_of(design, fit))
    power = array_power(design.site.module, rows_light)
    total = power.sum()
    sums = {
        step: sum(row.share * float(row.light[step].sum()) for row in rows_light)
        for step in LIGHT_STEPS
    }
    return Variant(stands=stands, peak_kwp=fit.module_count * design.site.module.pmax_w / 1000.0,
                   array_kwh_per_kwp=kwh_per_kwp_of_power(design, power),
                   shade_loss_frac=1.0 - total["clean_w"] / total["open_w"],
                   dirt_band_loss_frac=1.0 - total["bare_w"] / total["clean_w"],
                   box_loss_frac=1.0 - sums["after_obstacles"] / sums["after_horizon"],
                   mask_loss_frac=1.0 - sums["after_mask"] / sums["after_shade"],
                   dust_loss_frac=1.0 - sums["after_dust"] / sums["after_glass"])


def energy_by_tilt(design: Design, tilts_deg: Sequence[float]) -> pd.DataFrame:
    """Yield of one row alone and its dust against tilt, so that only tilt is compared.

    Returns
    -------
    DataFrame, one line a tilt
        ``tilt_deg``, ``kwh_per_kwp``, ``dust_loss_frac`` (mean over the year, not weighted).
    """
    rows = standing(design).rows
    lines = []
    for tilt_deg in tilts_deg:
        alone = replace(rows, tilt_deg=float(tilt_deg), azimuth_deg=design.site.array.azimuth_deg)
        _, dust = open_plane(design, alone.tilt_deg, alone.azimuth_deg)
        lines.append(
            (
                float(tilt_deg),
                array_kwh_per_kwp(design, alone, pitch_m=alone.slant_m, row_count=1),
                float(dust.mean()),
            )
        )
    return pd.DataFrame(lines, columns=["tilt_deg", "kwh_per_kwp", "dust_loss_frac"])


def answer(design: Design, variants: dict[Orientation, Variant]) -> str:
    """The answer in one sentence, from the figures."""
    best, other = sorted(variants, key=lambda name: variants[name].array_kwh, reverse=True)
    first, second = variants[best], variants[other]
    if first.fit.module_count == 0:
        there = design.site.roof.obstacles or design.site.roof.walkways
        clear = ", clear of its obstacles and walkways" if there else ""
        return (
            "No module of this size fits on this roof within its edge setback"
            f"{clear}, in either orientation."
        )
    if second.fit.module_count == 0:
        count = first.fit.module_count
        return f"Only {best} fits: {count} module{'s' * (count > 1)}, {first.peak_kwp:.1f} kWp."
    if second.array_kwh == 0.0:
        return (
            f"The roof has room for at most {first.fit.module_count} modules in {best} and"
            f" {second.fit.module_count} in {other}, but these strings deliver no energy: see the"
            " MPP voltage range of the controller."
        )
    per_module = first.array_kwh_per_kwp / second.array_kwh_per_kwp - 1.0
    return (
        f"The roof has room for at most {first.fit.module_count} modules"
        f" ({design.site.module.label}) in {best} and {second.fit.module_count} in {other}; {best}"
        f" yields {in_unit(first.array_kwh, 'kWh')} kWh/year,"
        f" {_more(first.array_kwh / second.array_kwh - 1.0)} {other}; per module it yields"
        f" {_more(per_module)} {other}, with an uncertainty of"
        f" ± {max(100.0 * sigma_of_lead_frac(variants), 0.1):.1f} percentage points."
    )


def sigma_of_lead_frac(variants: dict[Orientation, Variant]) -> float:
    """Standard deviation of the ratio of what a module gives both ways, [0 to 1].

    Notes
    -----
    Weather, module and fixed losses are the same both ways and fall out of the ratio. What is
    left is by how much the losses differ that depend on how a module lies; each model may be off
    by half, both ways alike, and the parts are taken as independent.
    """
    one, other = (variants[name] for name in ORIENTATIONS)
    parts = [0.5 * (getattr(one, key) - getattr(other, key)) for key in _LOSSES_OF_LYING]
    return math.sqrt(sum(part**2 for part in parts))


def _more(share: float) -> str:
    percent = round(100.0 * share, 1)
    if percent == 0.0:
        return "the same as"
    return f"{abs(percent):.1f} % {'more' if percent > 0 else 'less'} than"


def plane_answer(
    design: Design, choice: OrientationChoice, variants: dict[Orientation, Variant]
) -> str:
    """The answer of the workbook, with the roof plane that it is of where a site has several."""
    said = f"{choice.reason} {answer(design, variants)}"
    return f"{design.plane}: {said}" if design.plane else said


def other_planes_words(whole: Design, design: Design) -> str:
    """Which roof plane is shown, and which others the site has."""
    others = [one.plane for one in whole.planes if one.plane != design.plane]
    return (f"Shown is the roof plane {design.plane}. Set the parameter plane to see"
            f" {' or '.join(others)}; module plan and checks are of all.")


def array_inputs(design: Design) -> list[Row]:
    """Roof, module and array of the site file."""
    roof, module, array = design.site.roof, design.site.module, design.site.array
    flush = array.mounting == "flush"
    return [
        fact_line("Roof length along the eaves", roof.length_m, "m"),
        fact_line("Roof length up the slope", roof.depth_m, "m"),
        fact_line("Roof slope", roof.slope_deg, "°"),
        fact_line("Roof azimuth, down the slope", roof.azimuth_deg, "°"),
        fact_line("Edge setback", roof.edge_setback_m, "m"),
        fact_line("Module", module.label),
        fact_line("Rated module power", module.pmax_w, "W"),
        fact_line("Module length", module.length_m, "m"),
        fact_line("Module width", module.width_m, "m"),
        fact_line("Cells", {"half-cut": "half-cut", "full": "full-size"}[module.cell_build]),
        fact_line("Number of modules", array.module_count),
        fact_line("Modules per string", array.modules_in_series),
        fact_line("Orientation", array.orientation),
        fact_line("Rows", array.rows),
        fact_line("Mounting", array.mounting),
        fact_line("Tilt", roof.slope_deg if flush else array.tilt_deg, "°"),
        fact_line("Azimuth (0° north, 90° east)",
                  roof.azimuth_deg if flush else array.azimuth_deg, "°"),
        *_what_stands_there(design),
    ]


def _what_stands_there(design: Design) -> list[Row]:
    """Obstacles and walkways of the roof, numbered as on its plan."""
    rows = []
    for box in design.site.roof.obstacles:
        size = f"{box.length_m:g} m × {box.depth_m:g} m, height {box.height_m:g} m,"
        rows.append((box.name, f"{size} clearance {box.clearance_m:g} m"))
    for way in design.site.roof.walkways:
        rows.append((way.name, f"width {way.width_m:g} m, {way.runs} the eaves"))
    beside = [
        (f"Beside the roof: {one.name}",
         f"{one.kind}, {one.distance_m:g} m at {one.bearing_deg:g}°, {one.width_m:g} m wide,"
         f" top {abs(one.top_m):g} m {'below' if one.top_m < 0.0 else 'above'} the eaves")
        for one in design.site.roof.neighbours
    ]  # fmt: skip
    return [
        *(fact_line(f"{number}  {name}", size)
          for number, (name, size) in enumerate(rows, start=1)),
        *(fact_line(name, words) for name, words in beside),
    ]  # fmt: skip


CLAMP_ZONE_BOX = "______ to ______"
"""For the clamp zone of the manufacturer's instructions, which no key of the site file has."""


_COST = "Mounting system with labour, before margin and tax"
_CLAMP_ZONE = "Clamp zone from the corner, by the manufacturer"
ON_THE_SHEET = ("Module length", "Module width", "Cells")
"""Lines of `array_inputs` that the module's data sheet has: a design report goes without."""
FOR_THE_FITTERS = (_CLAMP_ZONE, "Rail offcuts", "Mid clamps", "End clamps")
"""Lines of `choice_table` that decide nothing: a design report goes without."""


def choice_table(choice: OrientationChoice, *, priced: bool = True) -> list[Row]:
    """Both orientations for the modules of the design, one column each; what they cost or not."""
    lines: list[tuple[str, str, Callable[[Way], object]]] = [
        ("All modules fit", "", lambda w: "yes" if w.fits else "no"),
        ("Room in even rows of whole strings, at most", "modules", lambda w: w.most_count),
        ("Rows × tiers", "", lambda w: f"{w.rows} × {w.modules_high}"),
        ("Row pitch", "m", lambda w: f"{w.pitch_m:.2f}"),
        ("Potential AC energy", "kWh/year", lambda w: in_unit(w.energy_kwh, "kWh/year")),
        *((f"Loss: {small(name)}", "%", partial(_lost, name))
          for name in choice.losses),
        ("Rail installed", "m", lambda w: f"{w.hardware.rail_m:.1f}"),
        ("Rail offcuts", "m", lambda w: f"{w.hardware.waste_m:.1f}"),
        ("Roof fixings (feet)" if choice.feet == "roof fixings" else capital(choice.feet), "",
         lambda w: w.hardware.foot_count),
        ("Mid clamps", "", lambda w: w.hardware.mid_clamp_count),
        ("End clamps", "", lambda w: w.hardware.end_clamp_count),
        ("Mass of modules and rails per m²", "kg/m²",
         lambda w: f"{w.hardware.load_on_modules_kg_per_m2:.1f}"),
        ("Strings in more than one row", f"of {choice.portrait.string_count}",
         lambda w: w.split_count),
        ("Clamped module side", "", lambda w: f"{w.clamped_side} side"),
        (_CLAMP_ZONE, "mm", lambda w: CLAMP_ZONE_BOX),
        (_COST, choice.currency,
         lambda w: NO_ANSWER if w.mounting_price is None
         else in_unit(w.mounting_price, choice.currency)),
        ("Labour for rails and modules", "person-hours", lambda w: f"{w.fitting_h:.1f}"),
    ]
    return [
        {"Quantity": what, **{name: figure(way) for name, way in choice.ways.items()},
         "Unit": unit}
        for what, unit, figure in lines if priced or what != _COST
    ]


def _lost(name: str, way: Way) -> str:
    return f"{100.0 * way.losses_frac.get(name, 0.0):.1f}"


def choice_words(choice: OrientationChoice, *, priced: bool = True) -> str:
    """Which way and why, where that would turn, what to ask, what the filled roof has room for."""
    reason = choice.reason if priced else choice.reason_unpriced
    texts = reason, choice.turning, choice.clamping, choice.extended
    return " ".join(text for text in texts if text)


def hardware_table(variants: Mapping[Orientation, Variant]) -> list[Row]:
    """What holds the modules of the filled roof, one column an orientation."""
    parts = {name: variant.stands.hardware for name, variant in variants.items()}
    lines: list[tuple[str, str, Callable[[Hardware], int | str]]] = [
        ("Rail installed", "m", lambda h: f"{h.rail_m:.1f}"),
        ("Stock lengths of rail", "", lambda h: h.stock_count),
        ("Offcuts", "%", lambda h: f"{100.0 * h.waste_frac:.0f}"),
        ("Rail splices", "", lambda h: h.splice_count),
        ("Expansion joints", "", lambda h: h.expansion_joint_count),
        ("Gap at each expansion joint", "mm", lambda h: f"{h.expansion_gap_mm:.0f}"),
        ("Mid clamps", "", lambda h: h.mid_clamp_count),
        ("End clamps", "", lambda h: h.end_clamp_count),
        ("Roof fixings (feet)", "", lambda h: h.foot_count),
        ("Mass of modules, rails and fixings", "kg", lambda h: f"{h.mass_kg:.0f}"),
        ("Roof area under the rows", "m²", lambda h: f"{h.area_used_m2:.1f}"),
        ("Dead load of modules and rails per m² of that roof area", "kg/m²",
         lambda h: f"{h.load_on_roof_kg_per_m2:.1f}"),
        ("Dead load of modules and rails per m² of module area", "kg/m²",
         lambda h: f"{h.load_on_modules_kg_per_m2:.1f}"),
    ]
    return [
        {"Quantity": what, **{name: figure(part) for name, part in parts.items()},
         "Unit": unit}
        for what, unit, figure in lines
    ]


_MAY_BE_NONE = ("obstacle shading [%]", "dirt band [%]")
"""Losses most sites have not: their columns are left out where nothing is lost."""


def orientation_table(variants: Mapping[Orientation, Variant]) -> list[Row]:
    """One row an orientation, the roof filled."""
    rows: list[Row] = [
        {
            "orientation": name,
            "row pitch [m]": variant.stands.pitch_m,
            "rows": variant.fit.row_count,
            "modules": variant.fit.module_count,
            "array [kWp]": variant.peak_kwp,
            "energy [kWh/year]": variant.array_kwh,
            "specific yield [kWh/kWp]": variant.array_kwh_per_kwp,
            "obstacle shading [%]": 100.0 * variant.box_loss_frac,
            "inter-row shading [%]": 100.0 * variant.shade_loss_frac,
            "dirt band [%]": 100.0 * variant.dirt_band_loss_frac,
            "diffuse loss by the row in front [%]": 100.0 * variant.mask_loss_frac,
            "soiling [%]": 100.0 * variant.dust_loss_frac,
        }
        for name, variant in variants.items()
    ]
    unused = [name for name in _MAY_BE_NONE if all(row[name] == 0.0 for row in rows)]
    return [{key: row[key] for key in row if key not in unused} for row in rows]


def values(variants: Mapping[Orientation, Variant], stands: Standing) -> Values:
    """Named results of the orientation workbook.

    Each name ends in its unit.
    """
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
            f"{name}_obstacle_shading_frac": round(variant.box_loss_frac, 4),
            f"{name}_row_shade_frac": round(variant.shade_loss_frac, 4),
            f"{name}_dirt_band_frac": round(variant.dirt_band_loss_frac, 4),
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


WORST_MODULES = 5
"""Rows of the table of modules that lose most."""


def worst_modules_table(table: pd.DataFrame) -> list[dict[str, Any]]:
    """The modules that lose most to obstacles, worst first.

    One row a module; `table` as `box_shade_table`.
    """
    worst = table.nsmallest(WORST_MODULES, "beam_kept_frac")
    return [
        {
            "module": number,
            "row": int(line["row"]),
            "string": int(line["string"]),
            "along the eaves [m]": line["along_m"],
            "up the slope [m]": line["up_m"],
            "direct irradiation lost to obstacles [%]": 100.0 * (1.0 - line["beam_kept_frac"]),
            "sky hidden by obstacles [%]": 100.0 * (1.0 - line["sky_seen_frac"]),
        }
        for number, (_, line) in zip(worst.index, worst.iterrows(), strict=True)
        if line["beam_kept_frac"] < 1.0
    ]
