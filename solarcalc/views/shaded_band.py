"""What a strip of shade costs this array in portrait and in landscape, and where the lead turns."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from solarcalc.basis.quantity import signed
from solarcalc.circuit.module import Weather
from solarcalc.circuit.strings import Strung, best_points, kept_by_circuit_frac
from solarcalc.design import Design
from solarcalc.energy.diode import DARK_W_M2
from solarcalc.energy.light import RowLight, string_classes
from solarcalc.energy.year import array_power
from solarcalc.roof.rows import Orientation
from solarcalc.stages.array import kwh_per_kwp_of_power, light_of, own_boxes, standing
from solarcalc.views.orientation import ORIENTATIONS

DEPTHS = np.linspace(0.0, 1.0, 121)
EVEN_FRAC = 0.005
"""Differences of power kept below this are no lead."""
_NO_SHADE = Weather(light_w_m2=400.0, cell_c=35.0)
_NO_SHADE_LEFT = 0.3
"""A shaded hour for arrays that have none: made up, to have something to show."""


@dataclass(frozen=True, kw_only=True)
class ShadedHour:
    """The shaded hour of the year in the middle of the light: half falls in brighter ones.

    Parameters
    ----------
    weather : Weather
        Light on the cells out of the shade [W/m2] and cell temperature [degC].
    left_frac : float
        Share of that light that the strip leaves [0 to 1].
    hours : int
        Shaded hours of the year; 0 where none is and this one is made up.
    """

    weather: Weather
    left_frac: float
    hours: int


def equator_deg(design: Design) -> float:
    """Azimuth that faces the equator from the site [deg]."""
    return 180.0 if design.site.site.latitude_deg >= 0.0 else 0.0


def shaded_hour(design: Design) -> ShadedHour:
    """What a typical shaded hour of the site's own rows is like."""
    stands, array = standing(design), design.site.array
    if array.rows == 1 or stands.rows.lift_deg == 0.0:
        return ShadedHour(weather=_NO_SHADE, left_frac=_NO_SHADE_LEFT, hours=0)
    row = light_of(design, stands.rows, pitch_m=stands.pitch_m, row_count=array.rows)[-1]
    hours = shaded_hours(row)
    if hours.empty:
        return ShadedHour(weather=_NO_SHADE, left_frac=_NO_SHADE_LEFT, hours=0)
    by_light = hours.sort_values("light_w_m2", kind="stable")
    summed = by_light["light_w_m2"].cumsum().to_numpy()
    middle = by_light.iloc[int(np.searchsorted(summed, 0.5 * summed[-1]))]
    return ShadedHour(
        weather=Weather(
            light_w_m2=round(float(middle["light_w_m2"])), cell_c=round(float(middle["cell_c"]))
        ),
        left_frac=round(float(middle["left_frac"]), 2),
        hours=len(hours),
    )


def shaded_hours(row: RowLight) -> pd.DataFrame:
    """The hours in which a strip of shade lies on lit strings, shape (k,).

    Returns
    -------
    DataFrame
        ``shaded_frac``, ``left_frac``, ``light_w_m2`` on unshaded cells, ``cell_c``: what the
        circuit is asked with.
    """
    hours = pd.DataFrame(
        {"shaded_frac": row.shaded_frac, "left_frac": row.left_frac,
         "light_w_m2": row.light["open"], "cell_c": row.cell_c}
    )
    return hours[(hours["shaded_frac"] > 0.0) & (hours["light_w_m2"] > DARK_W_M2)]


def shaded_band_curves(design: Design, hour: ShadedHour) -> pd.DataFrame:
    """Power a row behind another keeps against the depth of the strip, both ways to lay it.

    Returns
    -------
    DataFrame
        ``orientation``; ``depth_frac`` of the row's width in the strip; ``kept_frac`` of its
        unshaded power at the highest point; ``climbing_frac`` where a tracker that only climbs
        from the unshaded voltage sits.
    """
    parts = []
    for orientation in ORIENTATIONS:
        best = best_points(behind(design, orientation), fraction=DEPTHS,
                           diffuse_share=np.full(len(DEPTHS), hour.left_frac), weather=hour.weather)
        parts.append(
            pd.DataFrame(
                {"orientation": orientation, "depth_frac": DEPTHS,
                 "kept_frac": best.global_w[1:] / best.global_w[0],
                 "climbing_frac": best.local_w[1:] / best.global_w[0]}
            )
        )
    return pd.concat(parts, ignore_index=True)


def behind(design: Design, orientation: Orientation) -> Strung:
    """The strings of a row behind another, laid one way or the other, as its shade meets them."""
    array, rows = design.site.array, standing(design, orientation).rows
    classes = string_classes(design.site.module, array, rows, max(array.rows, 2))
    return next(one.strung for one in classes if one.strung is not None)


def leads(curves: pd.DataFrame, column: str = "kept_frac") -> list[tuple[str, float, float]]:
    """Who keeps more, stretch by stretch: orientation, from depth, to depth [0 to 1].

    `curves`: one row a depth and orientation.

    Stretches in which neither is ahead by `EVEN_FRAC` are left out.
    """
    kept: Mapping[str, np.ndarray] = {
        str(name): part[column].to_numpy() for name, part in curves.groupby("orientation")
    }
    ahead = kept["landscape"] - kept["portrait"]
    sign = np.where(ahead > EVEN_FRAC, 1, np.where(ahead < -EVEN_FRAC, -1, 0))
    edges = np.flatnonzero(np.diff(sign)) + 1
    stretches = []
    for part in np.split(np.arange(len(DEPTHS)), edges):
        way = sign[part[0]]
        if way != 0:
            name = "landscape" if way > 0 else "portrait"
            stretches.append((name, float(DEPTHS[part[0]]), float(DEPTHS[part[-1]])))
    return stretches


def leads_sentence(design: Design, hour: ShadedHour, curves: pd.DataFrame) -> str:
    """Where the lead turns, in words, from the figures.

    `curves`: one row a depth and orientation.
    """
    light = (
        f"In the typical shaded hour of this year ({hour.weather.light_w_m2:.0f} W/m² on unshaded"
        f" cells, {100.0 * hour.left_frac:.0f} % of it in the shaded band)"
        if hour.hours
        else f"No row of this array shades another; in an assumed hour"
        f" ({hour.weather.light_w_m2:.0f} W/m² on unshaded cells, {100.0 * hour.left_frac:.0f} %"
        " of it in the shaded band)"
    )
    found = _in_words(leads(curves))
    climbing = _in_words(leads(curves, "climbing_frac"))
    build = design.site.module.cell_build
    if found == climbing:
        return (f"{light}, {build} cells: {found}; the same with an MPPT that stays on a local"
                " maximum.")
    return (f"{light}, {build} cells: {found}. With an MPPT that stays on a local maximum:"
            f" {climbing}.")


def _in_words(stretches: list[tuple[str, float, float]]) -> str:
    if not stretches:
        return "no difference at any depth of the shaded band"
    spans: dict[str, list[str]] = {}
    for name, low, high in stretches:
        spans.setdefault(name, []).append(f"{100.0 * low:.0f} to {100.0 * high:.0f}")
    ahead = [f"{name} with {', '.join(found)} %" for name, found in spans.items()]
    return f"higher power in {', '.join(ahead)} of the row in shade"


EVEN_PERCENT = 0.2
"""A difference smaller than this is none."""
CIRCUIT_HOURS = 120
"""Shaded hours solved by the circuit where no table serves: evenly picked from all of a year."""

Yields = dict[Orientation, float]
Row = dict[str, Any]


def yields(design: Design, *, tight: bool = False) -> Yields:
    """Array yield of the site's own number of rows, laid each way [kWh/kWp].

    Tight rows stand as close as each orientation allows.
    """
    found: Yields = {}
    for name in ORIENTATIONS:
        rows_light = _own_rows(design, name, tight=tight)
        found[name] = kwh_per_kwp_of_power(design, array_power(design.site.module, rows_light))
    return found


def _own_rows(
    design: Design, orientation: Orientation, *, tight: bool = False
) -> tuple[RowLight, ...]:
    """Light on the site's own number of rows, laid one way or the other."""
    stands = standing(design, orientation)
    pitch_m = stands.rows.least_pitch_m if tight else stands.pitch_m
    return light_of(
        design, stands.rows, pitch_m=pitch_m, row_count=design.site.array.rows,
        boxes=own_boxes(design, orientation),
    )  # fmt: skip


def climbing_yields(design: Design) -> Yields:
    """The same with a tracker that only climbs from the unshaded voltage [kWh/kWp].

    Notes
    -----
    No table holds where such a tracker sits. `CIRCUIT_HOURS` of the shaded hours are solved by
    the circuit, and their share of power kept, weighted by power, stands for all of them.
    """
    found: Yields = {}
    for name in ORIENTATIONS:
        rows_light = _own_rows(design, name)
        array = array_power(design.site.module, rows_light)
        array["p_w"] -= _lost_climbing(design, name, rows_light[-1])
        found[name] = kwh_per_kwp_of_power(design, array)
    return found


def _lost_climbing(design: Design, orientation: Orientation, row: RowLight) -> Any:
    """Power [W] of a module, mean over the array, that a climbing tracker misses, by hour."""
    alone = array_power(design.site.module, [row])["p_w"]
    hours = shaded_hours(row)
    lost = alone * 0.0
    if hours.empty:
        return lost
    some = hours.iloc[np.unique(np.linspace(0, len(hours) - 1, CIRCUIT_HOURS).round().astype(int))]
    best, sits = kept_by_circuit_frac(
        some["shaded_frac"], some["left_frac"], some["light_w_m2"], some["cell_c"],
        strung=behind(design, orientation),
    )  # fmt: skip
    weight = alone[some.index].to_numpy()
    missed = 1.0 - float((weight * sits / best).sum() / weight.sum())
    lost[hours.index] = alone[hours.index] * missed
    return lost * row.share


def what_would_change(design: Design) -> list[Row]:
    """One row for each thing changed alone: yields both ways, who leads and by how much."""
    return [_row("as designed", yields(design)), *(
        _row(name, found()) for name, found in _changes(design)
    )]  # fmt: skip


def _changes(design: Design) -> Iterator[tuple[str, Callable[[], Yields]]]:
    array, module, soiling = design.site.array, design.site.module, design.site.soiling

    def with_(**tables: Any) -> Callable[[], Yields]:
        return lambda: yields(design.changed(tables))

    if standing(design).rows.lift_deg > 0.0 and array.rows > 1:
        other = "half-cut" if module.cell_build == "full" else "full"
        yield f"modules with {other} cells", with_(module={"cell_build": other})
        if array.string_layout == "across-rows":
            yield "each string within one row", with_(array={"string_layout": "along-row"})
        else:
            yield "strings across rows", with_(array={"string_layout": "across-rows"})
        yield "MPPT that stays on a local maximum", lambda: climbing_yields(design)
        yield "rows at the smallest pitch", lambda: yields(design, tight=True)
    if array.mounting != "flush":
        yield "tilt 3°", with_(array={"tilt_deg": 3.0})
    dust = min(2.0 * soiling.loss_per_dry_day_frac, 0.05)
    yield "double soiling rate", with_(soiling={"loss_per_dry_day_frac": dust})


def _row(name: str, found: Yields) -> Row:
    ahead = lead_percent(found)
    return {
        "changed parameter": name,
        "portrait [kWh/kWp]": found["portrait"],
        "landscape [kWh/kWp]": found["landscape"],
        "landscape over portrait [%]": ahead,
        "advantage": "none"
        if abs(ahead) < EVEN_PERCENT
        else ("landscape" if ahead > 0.0 else "portrait"),
    }


def lead_percent(found: Yields) -> float:
    """Yield in landscape over that in portrait [%]; 0 where neither gives anything."""
    if found["portrait"] == 0.0:
        return 0.0
    return 100.0 * (found["landscape"] / found["portrait"] - 1.0)


def turns_sentence(table: list[Row]) -> str:
    """Which changes turn the lead round, and which only move it, in words."""
    first = table[0]["advantage"]
    turned = [
        f"{row['changed parameter']} ({signed(row['landscape over portrait [%]'])} %)"
        for row in table[1:]
        if row["advantage"] != first
    ]
    start = (
        "Per module there is no difference between the orientations"
        if first == "none"
        else f"Per module, {first} has the advantage"
    )
    if not turned:
        return f"{start}; none of these changes alters that."
    return f"{start}. This changes with: {', '.join(turned)}."
