"""What would change the answer: portrait against landscape, module for module, one thing at a time.

The roof's own count of modules is no matter of physics; it is compared in `orientation`. Here each
orientation is taken with as many rows as the site has, and only what one module gives is compared.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from solarcalc.circuit.strings import kept_by_circuit_frac
from solarcalc.harvest.energy import array_power
from solarcalc.harvest.light import RowLight
from solarcalc.job.array import kwh_per_kwp_of_power, light_of, own_boxes, standing
from solarcalc.job.opening import Job, changed
from solarcalc.job.orientation import ORIENTATIONS
from solarcalc.job.strip import behind, shaded_hours
from solarcalc.roof.rows import Orientation

EVEN_PERCENT = 0.2
"""A lead smaller than this is none."""
CIRCUIT_HOURS = 120
"""Shaded hours solved by the circuit where no table serves: evenly picked from all of a year."""

Yields = dict[Orientation, float]
Row = dict[str, Any]


def yields(job: Job, *, tight: bool = False) -> Yields:
    """Array yield of the site's own number of rows, laid each way [kWh/kWp].

    Tight rows stand as close as each orientation allows.
    """
    found: Yields = {}
    for name in ORIENTATIONS:
        rows_light = _own_rows(job, name, tight=tight)
        found[name] = kwh_per_kwp_of_power(job, array_power(job.site.module, rows_light))
    return found


def _own_rows(
    job: Job, orientation: Orientation, *, tight: bool = False
) -> tuple[RowLight, ...]:
    """Light on the site's own number of rows, laid one way or the other."""
    stands = standing(job, orientation)
    pitch_m = stands.rows.least_pitch_m if tight else stands.pitch_m
    return light_of(
        job, stands.rows, pitch_m=pitch_m, row_count=job.site.array.rows,
        boxes=own_boxes(job, orientation),
    )  # fmt: skip


def climbing_yields(job: Job) -> Yields:
    """The same with a tracker that only climbs from the unshaded voltage [kWh/kWp].

    Notes
    -----
    No table holds where such a tracker sits. `CIRCUIT_HOURS` of the shaded hours are solved by
    the circuit, and their share of power kept, weighted by power, stands for all of them.
    """
    found: Yields = {}
    for name in ORIENTATIONS:
        rows_light = _own_rows(job, name)
        array = array_power(job.site.module, rows_light)
        array["p_w"] -= _lost_climbing(job, name, rows_light[-1])
        found[name] = kwh_per_kwp_of_power(job, array)
    return found


def _lost_climbing(job: Job, orientation: Orientation, row: RowLight) -> Any:
    """Power [W] of a module, mean over the array, that a climbing tracker misses, by hour."""
    alone = array_power(job.site.module, [row])["p_w"]
    hours = shaded_hours(row)
    lost = alone * 0.0
    if hours.empty:
        return lost
    some = hours.iloc[np.unique(np.linspace(0, len(hours) - 1, CIRCUIT_HOURS).round().astype(int))]
    best, sits = kept_by_circuit_frac(
        some["shaded_frac"], some["left_frac"], some["light_w_m2"], some["cell_c"],
        strung=behind(job, orientation),
    )  # fmt: skip
    weight = alone[some.index].to_numpy()
    missed = 1.0 - float((weight * sits / best).sum() / weight.sum())
    lost[hours.index] = alone[hours.index] * missed
    return lost * row.share


def what_would_change(job: Job) -> list[Row]:
    """One row for each thing changed alone: yields both ways, who leads and by how much."""
    return [_row("as the site file says", yields(job)), *(
        _row(name, found()) for name, found in _changes(job)
    )]  # fmt: skip


def _changes(job: Job) -> Iterator[tuple[str, Callable[[], Yields]]]:
    array, module, soiling = job.site.array, job.site.module, job.site.soiling

    def with_(**tables: Any) -> Callable[[], Yields]:
        return lambda: yields(changed(job, **tables))

    if standing(job).rows.lift_deg > 0.0 and array.rows > 1:
        other = "half-cut" if module.cell_build == "full" else "full"
        yield f"modules of {other} cells, else the same", with_(module={"cell_build": other})
        if array.string_path == "across-rows":
            yield "each string within one row", with_(array={"string_path": "along-row"})
        else:
            yield "strings across the rows", with_(array={"string_path": "across-rows"})
        yield "a tracker that only climbs", lambda: climbing_yields(job)
        yield "rows as close as can be", lambda: yields(job, tight=True)
    if array.mounting != "flush":
        yield "laid nearly flat, 3°", with_(array={"tilt_deg": 3.0})
    dust = min(2.0 * soiling.loss_per_dry_day_frac, 0.05)
    yield "twice the dust", with_(soiling={"loss_per_dry_day_frac": dust})


def _row(name: str, found: Yields) -> Row:
    ahead = lead_percent(found)
    return {
        "what is changed": name,
        "portrait [kWh/kWp]": found["portrait"],
        "landscape [kWh/kWp]": found["landscape"],
        "landscape over portrait [%]": ahead,
        "ahead": "neither"
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
    first = table[0]["ahead"]
    turned = [
        f"{row['what is changed']} ({row['landscape over portrait [%]']:+.1f} %)"
        for row in table[1:]
        if row["ahead"] != first
    ]
    start = (
        "Module for module neither way is ahead"
        if first == "neither"
        else f"Module for module {first} is ahead"
    )
    if not turned:
        return f"{start}, and none of these changes alters that."
    return f"{start}. That changes with: {', '.join(turned)}."
