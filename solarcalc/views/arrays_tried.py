"""Very many arrays on the roof of a job: their energy, their count of modules and their cost.

It brings in a compiler, which takes a second that the other workbooks need not wait.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.quantity import grouped, in_percent, in_unit, three_figures
from solarcalc.basis.worded import worded
from solarcalc.design import Design
from solarcalc.energy.diode import cells_of
from solarcalc.energy.light import cell_temperature_c
from solarcalc.roof.packing import count_on_roof
from solarcalc.roof.rows import Orientation, Rows
from solarcalc.search.axes import STEEPEST_DEG
from solarcalc.search.setting import OWN_PLAN, own_plan, plan_of, setting_of
from solarcalc.soiling import (
    dirt_band_kept_frac,
    dirt_band_of_year,
    dirt_band_over_cells_m,
    dirt_band_strung,
)
from solarcalc.stages.array import (
    Standing,
    array_kwh_per_kwp,
    open_plane,
    room_checks,
    standing,
)
from solarcalc.stages.snow import snow_leaves_frac, snow_of
from solarcalc.stages.surroundings import boxes_of
from solarcalc.sweep.device import Equipment
from solarcalc.sweep.fields import Setting, sweep
from solarcalc.sweep.ranking import (
    Better,
    Costs,
    best,
    cost_per_kwh,
    kwh_per_kwp,
    kwh_per_m2,
    trade_off_front,
)
from solarcalc.sweep.years import CleaningPlan, Field
from solarcalc.views.orientation import ORIENTATIONS
from solarcalc.views.rows import check_parameter

PITCH_STEPS = 60
MONTHLY = tuple(f"{month:02d}-01" for month in range(1, 13))


@dataclass(frozen=True, kw_only=True)
class Axes:
    """What is tried on a roof, beside portrait and landscape.

    Parameters
    ----------
    tilts_deg : tuple of float
    pitches_slants : tuple of float
        From row to row, in widths of a row up its slope.
    modules_high : tuple of int
    """

    tilts_deg: tuple[float, ...]
    pitches_slants: tuple[float, ...]
    modules_high: tuple[int, ...]


def axes_of(design: Design, most_modules_high: int | None = None) -> Axes:
    """What to try on the site's roof; fewer where each layout must be searched for.

    Tables as high as the site's, and all up to `most_modules_high` where that is given. A bare
    roof with rows along its eaves is counted at once; boxes, walkways and turned rows take
    milliseconds each.

    Raises
    ------
    InputError
        For a height that is no whole number of modules from 1 to 6.
    """
    if most_modules_high is not None:
        check_parameter("most_modules_high", most_modules_high, "modules", low=1, high=6)
    roof, rows = design.site.roof, standing(design).rows
    bare = not roof.obstacles and not roof.walkways and rows.turn_deg % 90.0 == 0.0
    low = roof.slope_deg
    high = max(STEEPEST_DEG, low + 10.0)
    up = {design.site.array.modules_high, *range(1, (most_modules_high or 0) + 1)}
    return Axes(tilts_deg=tuple(np.linspace(low, high, 16 if bare else 7).round(1).tolist()),
                pitches_slants=tuple(np.linspace(0.95, 2.75, 19 if bare else 9).round(3).tolist()),
                modules_high=tuple(sorted(up)))


def plans_of(design: Design) -> tuple[CleaningPlan, ...]:
    """Washing as the site file has it, on the first of every month, and never."""
    return tuple(plan_of(design, name, dates) for name, dates in _cleaning_days(design).items())


def _cleaning_days(design: Design) -> dict[str, tuple[str, ...]]:
    """Days of washing by the name of a plan; of two plans with the same days the later name."""
    own = tuple(design.site.soiling.cleaning_dates)
    tried = {"no manual cleaning": (), "cleaned monthly": MONTHLY, OWN_PLAN: own}
    return {name: days for days, name in {days: name for name, days in tried.items()}.items()}


def swept_roof(design: Design, axes: Axes | None = None) -> pd.DataFrame:
    """The roof filled by every array of the axes: energy, modules and cost, one line an array.

    Returns
    -------
    DataFrame
        ``tilt_deg``, ``azimuth_deg``, ``plan``, ``orientation``, ``modules_high``, ``pitch_m``,
        ``modules``, ``rows``, ``peak_kwp``; ``kwh_per_kwp`` of array energy, ``roof_kwh`` of
        the filled roof, ``kwh_per_m2`` of a row behind another over the roof from it to the
        next, ``cost_per_kwh`` in the site's currency. Empty for modules that lie flush with the
        roof; missing energy where rows would stand too close.

    Notes
    -----
    Left out, as in `solarcalc.sweep`: the controller's limits and the shade of boxes. The strip
    of dirt is one factor a tilt, orientation and plan. Rows face as the site's do.
    """
    if standing(design).rows.lift_deg == 0.0:
        return pd.DataFrame()
    axes = axes or axes_of(design)
    field = Field(tilts_deg=axes.tilts_deg, azimuths_deg=(standing(design).rows.azimuth_deg,),
                  pitches=axes.pitches_slants, pitch_unit="slants", modules_high=axes.modules_high,
                  plans=plans_of(design))
    site = setting_of(design, axes.modules_high)
    return _counted(design, site, field, sweep(site, field))


def _counted(design: Design, site: Setting, field: Field, table: pd.DataFrame) -> pd.DataFrame:
    """The swept table with what fits on the roof and what it costs."""
    found: dict[tuple[float, str, int, float], tuple[int, int]] = {}
    keys = list(zip(
        table["tilt_deg"], table["orientation"].astype(str), table["modules_high"],
        table["pitch_m"], strict=True,
    ))  # fmt: skip
    missing = table["behind_kwh_per_kwp"].isna().to_numpy()
    for key, none in zip(keys, missing, strict=True):
        if key not in found:
            found[key] = (0, 0) if none else _count(design, site.equipment, key)
    modules, rows = np.array([found[key] for key in keys]).T
    along_m = np.array([site.equipment.along_m(key[1]) for key in keys]) + site.equipment.gap_m
    cleanings = {plan.name: plan.cleanings_per_year for plan in field.plans}
    table = table.assign(
        modules=modules, rows=rows, peak_kwp=modules * design.site.module.pmax_w / 1000.0
    )
    clean = _dirt_bands_leave_frac(design, field, table) * _snow_leaves(design, site, table)
    each = kwh_per_kwp(table, row_count=np.maximum(rows, 1)) * clean
    table["kwh_per_kwp"] = each.where(modules > 0)
    table["roof_kwh"] = table["kwh_per_kwp"] * table["peak_kwp"]
    table["kwh_per_m2"] = kwh_per_m2(table, site.equipment) * clean
    table["cost_per_kwh"] = cost_per_kwh(costs_of(design), energy_kwh=table["roof_kwh"].fillna(0.0),
                                         module_count=modules,
                                         row_length_m=modules / table["modules_high"] * along_m,
                                         cleanings_per_year=table["plan"].astype(str).map(cleanings))
    return table.drop(columns=["behind_kwh_per_kwp", "front_kwh_per_kwp"])


def _dirt_bands_leave_frac(design: Design, field: Field, table: pd.DataFrame) -> np.ndarray:
    """Share of the year that the dirt band leaves each line, weighted by light, (n,)."""
    azimuth_deg = standing(design).rows.azimuth_deg
    kept: dict[tuple[float, str, str], float] = {
        (tilt, way, name): _dirt_band_leaves_frac(design, (tilt, azimuth_deg), way, days)
        for tilt in field.tilts_deg
        for way in ORIENTATIONS
        for name, days in _cleaning_days(design).items()
    }
    keys = zip(
        table["tilt_deg"], table["orientation"].astype(str), table["plan"].astype(str), strict=True
    )
    return np.array([kept[key] for key in keys])


def _snow_leaves(design: Design, site: Setting, table: pd.DataFrame) -> np.ndarray:
    """Share of the year that snow leaves each line, one factor a plane and table, (n,)."""
    lines = list(zip(table["tilt_deg"], table["azimuth_deg"], table["orientation"].astype(str),
                     table["modules_high"], strict=True))  # fmt: skip
    tried = {line: replace(
        standing(design).rows, tilt_deg=float(line[0]), azimuth_deg=float(line[1]),
        modules_high=int(line[3]), slant_m=site.equipment.slant_m(line[2], int(line[3])),
    ) for line in lines}  # fmt: skip
    left = dict(zip(tried, snow_leaves_frac(design, list(tried.values())), strict=True))
    return np.array([left[line] for line in lines])


def _dirt_band_leaves_frac(
    design: Design, plane_deg: tuple[float, float], way: Orientation, cleaning_days: tuple[str, ...]
) -> float:
    site, (tilt_deg, azimuth_deg) = design.site, plane_deg
    soiling = site.soiling.model_copy(update={"cleaning_dates": list(cleaning_days)})
    if dirt_band_over_cells_m(soiling, tilt_deg=tilt_deg) == 0.0:
        return 1.0
    up_m = site.module.length_m if way == "portrait" else site.module.width_m
    strip = dirt_band_of_year(design.weather.hours, soiling, tilt_deg=tilt_deg, module_up_m=up_m)
    light = open_plane(design, tilt_deg, azimuth_deg)[0]["total"]
    cell_c = cell_temperature_c(light, design.weather.hours, mounting=site.array.mounting,
                                gap_under_m=site.array.gap_under_m)
    strung = dirt_band_strung(cells_of(site.module), way)
    kept = dirt_band_kept_frac(strip, light, cell_c, strung=strung)
    return float((light * kept).sum() / light.sum())


@or_why
def field_of(design: Design, most_modules_high: int | None = None) -> pd.DataFrame:
    """Every array tried on the site's roof, filled by each: `swept_roof` of `axes_of`."""
    room_checks(design)
    field = swept_roof(design, axes_of(design, most_modules_high))
    if not len(field):
        raise NoAnswer(**worded("stages", "no-array-to-choose"))
    return field


def _count(
    design: Design, equipment: Equipment, key: tuple[float, str, int, float]
) -> tuple[int, int]:
    tilt_deg, way, modules_high, pitch_m = key
    rows: Rows = replace(standing(design, "portrait" if way == "portrait" else "landscape").rows,
                         tilt_deg=float(tilt_deg), modules_high=int(modules_high),
                         slant_m=equipment.slant_m(way, int(modules_high)))
    return count_on_roof(rows, design.site.roof, pitch_m=float(pitch_m))


def costs_of(design: Design) -> Costs:
    """What an array costs, as the site file has it."""
    costs = design.site.costs
    return Costs(
        per_module=costs.per_module, per_row_m=costs.per_metre_of_row, fixed=costs.fixed,
        per_cleaning=costs.per_cleaning, lifetime_years=costs.lifetime_years,
        interest_frac=costs.interest_frac,
    )  # fmt: skip


def energy_by_pitch(design: Design, *, steps: int = PITCH_STEPS) -> pd.DataFrame:
    """Modules that fit and energy against the row pitch, both orientations.

    Returns
    -------
    DataFrame
        ``orientation``, ``pitch_m``, ``modules``; ``kwh_per_kwp`` and ``roof_kwh`` of the filled
        roof; ``kwh_per_m2`` of a row behind another over the roof from it to the next. Pitches
        run from the smallest the rows allow to half as much again as the shadow rule asks. Empty
        for rows flush with the roof, which need no pitch. Boxes shade every pitch as they do
        the rows at the site's own; the dirt band is left out.
    """
    parts = []
    for orientation in ORIENTATIONS:
        stands = standing(design, orientation)
        if stands.rows.lift_deg > 0.0:
            low = stands.rows.least_pitch_m
            high = max(1.5 * (stands.rule_m or stands.pitch_m), 1.5 * low)
            parts.append(_by_pitch(design, stands, orientation, np.linspace(low, high, steps)))
    columns = ["orientation", "pitch_m", "modules", "kwh_per_kwp", "kwh_per_m2", "roof_kwh"]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)


def _by_pitch(
    design: Design, stands: Standing, orientation: Orientation, pitches_m: np.ndarray
) -> pd.DataFrame:
    rows = stands.rows
    site = setting_of(design, (rows.modules_high,))
    field = Field(
        tilts_deg=(rows.tilt_deg,), azimuths_deg=(rows.azimuth_deg,),
        pitches=pitches_m.tolist(), orientations=(orientation,), modules_high=(rows.modules_high,),
        plans=(own_plan(design),),
    )  # fmt: skip
    table = sweep(site, field)
    fits = [count_on_roof(rows, design.site.roof, pitch_m=float(pitch)) for pitch in pitches_m]
    modules, row_counts = np.array(fits).T
    kept = _boxes_leave_frac(design, stands) * snow_leaves_frac(design, [rows])[0]
    each = kept * kwh_per_kwp(table, row_count=np.maximum(row_counts, 1)).to_numpy()
    each = np.where(modules > 0, each, 0.0)
    return pd.DataFrame(
        {"orientation": orientation, "pitch_m": pitches_m, "modules": modules, "kwh_per_kwp": each,
         "kwh_per_m2": kept * kwh_per_m2(table, site.equipment).to_numpy(),
         "roof_kwh": each * modules * design.site.module.pmax_w / 1000.0}
    )


def _boxes_leave_frac(design: Design, stands: Standing) -> float:
    """Share of the year's energy that boxes leave the filled roof at its own pitch."""
    boxes = boxes_of(design, stands.roof_fit)
    if boxes is None:
        return 1.0
    with_, without = (
        array_kwh_per_kwp(
            design, stands.rows, pitch_m=stands.pitch_m, row_count=stands.roof_fit.row_count,
            boxes=tried,
        )
        for tried in (boxes, None)
    )  # fmt: skip
    return with_ / without if without > 0.0 else 0.0


def swept_planes(
    design: Design, *, tilts_deg: Sequence[float], azimuths_deg: Sequence[float]
) -> pd.DataFrame:
    """Array yield of one row alone, turned and tilted every way: no row shades it.

    Returns
    -------
    DataFrame
        ``tilt_deg``, ``azimuth_deg``, ``kwh_per_kwp``.
    """
    array = design.site.array
    field = Field(
        tilts_deg=tilts_deg,
        azimuths_deg=azimuths_deg,
        pitches=(10.0,),  # of no matter to a front row
        pitch_unit="slants",
        orientations=(array.orientation,),
        modules_high=(array.modules_high,),
        plans=(own_plan(design),),
    )
    site = replace(setting_of(design, ()), wiring=None)
    table = sweep(site, field)
    table["kwh_per_kwp"] = table["front_kwh_per_kwp"] * _snow_leaves(design, site, table)
    return table[["tilt_deg", "azimuth_deg", "kwh_per_kwp"]]


_WISHES: tuple[tuple[str, str, Better], ...] = (
    ("highest energy of the roof", "roof_kwh", "more"),
    ("highest specific yield", "kwh_per_kwp", "more"),
    ("highest energy per m² of rows", "kwh_per_m2", "more"),
    ("lowest cost per kWh", "cost_per_kwh", "less"),
)


def bests_of_field(table: pd.DataFrame) -> pd.DataFrame:
    """The best array by each wish, one line a wish, named in ``wish``."""
    lines = [
        best(table, column, better=better).assign(wish=wish) for wish, column, better in _WISHES
    ]
    return pd.concat(lines, ignore_index=True)


@or_why
def front_of_field(table: pd.DataFrame) -> pd.DataFrame:
    """The arrays no other beats in both energy of the roof and cost of a kWh.

    Rows of `field_of`, one an array.
    """
    return _front(table)


def _front(table: pd.DataFrame) -> pd.DataFrame:
    return trade_off_front(table, first=("roof_kwh", "more"), second=("cost_per_kwh", "less"))


@or_why
def bests_table(design: Design, table: pd.DataFrame) -> list[dict[str, Any]]:
    """The best arrays for a page.

    One row an array; `table` as `field_of`.
    """
    currency = design.site.costs.currency
    return [
        {
            "objective": line["wish"],
            "array": _named(line),
            "modules": int(line["modules"]),
            "energy [kWh/year]": in_unit(line["roof_kwh"], "kWh"),
            "specific yield [kWh/kWp]": in_unit(line["kwh_per_kwp"], "kWh"),
            "per m² of rows [kWh/m²]": f"{line['kwh_per_m2']:.0f}",
            f"cost [{currency}/MWh]": three_figures(1000.0 * line["cost_per_kwh"]),
        }
        for _, line in bests_of_field(table).iterrows()
    ]


@or_why
def field_sentence(design: Design, table: pd.DataFrame) -> str:
    """What the field says, in one sentence.

    `table` as `field_of`.
    """
    bests, front = bests_of_field(table).set_index("wish"), _front(table)
    most, least = bests.iloc[0], bests.iloc[3]
    kept = in_percent(least["roof_kwh"] / most["roof_kwh"], 0)
    at_cost = in_percent(least["cost_per_kwh"] / most["cost_per_kwh"], 0)
    start = (
        f"Of {grouped(str(len(table)))} arrays tried on this roof, {_named(most)} gives the"
        f" highest energy, {in_unit(most['roof_kwh'], 'kWh')} kWh/year"
    )
    if most["cost_per_kwh"] == least["cost_per_kwh"]:
        return f"{start}, and also the lowest cost per kWh.{_snow_said(design)}"
    return (
        f"{start}; the lowest cost per kWh is that of {_named(least)}, with {kept} % of"
        f" that energy at {at_cost} % of that"
        f" cost per kWh. {len(front)} arrays lie on the trade-off curve.{_snow_said(design)}"
    )


def _snow_said(design: Design) -> str:
    """How the search takes snow, in words; nothing where none falls."""
    return (" Here snow is one factor a year for each tilt and azimuth; in the year's energy it"
            " goes by months." if snow_of(design).falls else "")


def _named(line: pd.Series) -> str:
    up = int(line["modules_high"])
    high = "" if up == 1 else f" {up} high"
    return (
        f"{line['orientation']}{high}, tilt {line['tilt_deg']:g}°, row pitch"
        f" {line['pitch_m']:.2f} m, {line['plan']}"
    )


def planes_sentence(design: Design, planes: pd.DataFrame) -> str:
    """How much the site's own plane gives of the best one, in words.

    `planes`: one row a plane, angles [deg], yield [kWh/kWp].
    """
    known = planes.dropna()
    best_line = known.iloc[int(known["kwh_per_kwp"].argmax())]
    rows = standing(design).rows
    near = known[known["kwh_per_kwp"] >= 0.97 * best_line["kwh_per_kwp"]]
    return (
        f"The best is tilt {best_line['tilt_deg']:.0f}°, azimuth {best_line['azimuth_deg']:.0f}°;"
        f" {in_percent(len(near) / len(known), 0)} % of the tilts and azimuths tried are within"
        f" 3 % of it. This site has tilt {rows.tilt_deg:.0f}°, azimuth {rows.azimuth_deg:.0f}°."
        f"{_snow_said(design)}"
    )
