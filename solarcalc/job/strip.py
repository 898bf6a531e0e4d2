"""What a strip of shade costs this array in portrait and in landscape, and where the lead turns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from solarcalc.circuit.module import Weather
from solarcalc.circuit.strings import Strung, best_points
from solarcalc.harvest.diode import DARK_W_M2
from solarcalc.harvest.light import RowLight, string_classes
from solarcalc.job.array import light_of, standing
from solarcalc.job.opening import Job
from solarcalc.job.orientation import ORIENTATIONS
from solarcalc.roof.rows import Orientation

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


def equator_deg(job: Job) -> float:
    """Azimuth that faces the equator from the site [deg]."""
    return 180.0 if job.site.site.latitude_deg >= 0.0 else 0.0


def shaded_hour(job: Job) -> ShadedHour:
    """What a typical shaded hour of the site's own rows is like."""
    stands, array = standing(job), job.site.array
    if array.rows == 1 or stands.rows.lift_deg == 0.0:
        return ShadedHour(weather=_NO_SHADE, left_frac=_NO_SHADE_LEFT, hours=0)
    row = light_of(job, stands.rows, pitch_m=stands.pitch_m, row_count=array.rows)[-1]
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
        {
            "shaded_frac": row.shaded_frac,
            "left_frac": row.left_frac,
            "light_w_m2": row.light["open"],
            "cell_c": row.cell_c,
        }
    )
    return hours[(hours["shaded_frac"] > 0.0) & (hours["light_w_m2"] > DARK_W_M2)]


def strip_curves(job: Job, hour: ShadedHour) -> pd.DataFrame:
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
        best = best_points(
            behind(job, orientation),
            fraction=DEPTHS,
            diffuse_share=np.full(len(DEPTHS), hour.left_frac),
            weather=hour.weather,
        )
        parts.append(
            pd.DataFrame(
                {
                    "orientation": orientation,
                    "depth_frac": DEPTHS,
                    "kept_frac": best.global_w[1:] / best.global_w[0],
                    "climbing_frac": best.local_w[1:] / best.global_w[0],
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def behind(job: Job, orientation: Orientation) -> Strung:
    """The strings of a row behind another, laid one way or the other, as its shade meets them."""
    array, rows = job.site.array, standing(job, orientation).rows
    classes = string_classes(job.site.module, array, rows, max(array.rows, 2))
    return next(one.strung for one in classes if one.strung is not None)


def leads(curves: pd.DataFrame, column: str = "kept_frac") -> list[tuple[str, float, float]]:
    """Who keeps more, stretch by stretch: orientation, from depth, to depth [0 to 1].

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


def leads_sentence(job: Job, hour: ShadedHour, curves: pd.DataFrame) -> str:
    """Where the lead turns, in words, from the figures."""
    light = (
        f"In the typical shaded hour of this year ({hour.weather.light_w_m2:.0f} W/m² on the cells"
        f" out of the shade, of which the strip leaves {100.0 * hour.left_frac:.0f} %)"
        if hour.hours
        else f"No row of this array shades another; in a made-up hour"
        f" ({hour.weather.light_w_m2:.0f} W/m², of which a strip leaves"
        f" {100.0 * hour.left_frac:.0f} %)"
    )
    found = _in_words(leads(curves))
    climbing = _in_words(leads(curves, "climbing_frac"))
    build = job.site.module.cell_build
    if found == climbing:
        return f"{light}, {build} modules: {found}; with a tracker that only climbs, the same."
    return f"{light}, {build} modules: {found}. With a tracker that only climbs {climbing}."


def _in_words(stretches: list[tuple[str, float, float]]) -> str:
    if not stretches:
        return "neither way is ahead at any depth of the strip"
    spans: dict[str, list[str]] = {}
    for name, low, high in stretches:
        spans.setdefault(name, []).append(f"{100.0 * low:.0f} to {100.0 * high:.0f}")
    ahead = [f"{name} with {', '.join(found)} %" for name, found in spans.items()]
    return f"ahead is {', '.join(ahead)} of the row in shade"
