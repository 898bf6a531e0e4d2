"""Whether a logger's clock fits the sun: shape of clear days, and the middle of the daylight."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.followup.daily import Finding
from solarcalc.sky import plane_light
from solarcalc.sun import sun_position

Floats = NDArray[np.float64]

WINDOW_DAYS = 10
"""Days looked at together; their upper envelope is a clear day wherever two or three are clear."""
ENVELOPE = 0.9
MOST_LAG_MIN = 180.0
OFF_MIN = float(constant("followup.off_min"))
AGREE_MIN = float(constant("followup.agree_min"))
LEAST_KNOWN = float(constant("followup.least_known"))
EDGE_DAYS = 2
"""A stretch that begins or ends so near an end of the file is taken to reach it."""
FIRST_LIGHT = (0.01, 0.003)
"""Share of the highest power, and of the clear sky's, at which a day begins and ends; so near the
dark, light comes from the whole sky and the direction of the plane hardly matters (no source)."""


@dataclass(frozen=True, kw_only=True)
class Plane:
    """Where an array stands and how it lies.

    Parameters
    ----------
    latitude_deg, longitude_deg, elevation_m : float
        [deg], north and east positive; [m].
    tilt_deg, azimuth_deg : float
        [deg]; 0 flat; 0 north, 90 east.
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    tilt_deg: float
    azimuth_deg: float


@dataclass(frozen=True, kw_only=True)
class ClockStretch:
    """Days over which the clock stood off by the same.

    Parameters
    ----------
    first, last : date
    shift_min : float
        Clock ahead of the sun [min]; a whole multiple of the file's step.
    """

    first: date
    last: date
    shift_min: float


def mid_step(index: pd.DatetimeIndex) -> pd.DatetimeIndex:
    """Middle of each interval of a regular index labelled at the start."""
    return index + (index[1] - index[0]) / 2


def sun_of_steps(index: pd.DatetimeIndex, plane: Plane) -> pd.DataFrame:
    """Sun angles of the middle of each interval [deg], under the index given."""
    table = sun_position(
        mid_step(index), latitude_deg=plane.latitude_deg, longitude_deg=plane.longitude_deg,
        elevation_m=plane.elevation_m,
    )  # fmt: skip
    return table.set_axis(index)


def clear_light(index: pd.DatetimeIndex, sun: pd.DataFrame, plane: Plane) -> pd.Series:
    """Light of a clear sky on the plane [W/m2]: Haurwitz on the horizontal, 0.12 of it diffuse.

    The share of diffuse light on a clear day is common practice without a source; only the shape
    of the day is used, without the band over the horizon, of which rows see little.
    """
    cosine = np.cos(np.deg2rad(sun["apparent_zenith_deg"])).clip(lower=0.0)
    ghi = (1098.0 * cosine * np.exp(-0.057 / cosine.where(cosine > 0.01, 1.0))).where(
        cosine > 0.01, 0.0
    )
    diffuse = 0.12 * ghi
    hours = pd.DataFrame(
        {"ghi": ghi, "dhi": diffuse,
         "dni": ((ghi - diffuse) / cosine.where(cosine > 0.05, np.inf)).clip(upper=1100.0)},
        index=index,
    )
    light = plane_light(
        hours, sun, tilt_deg=plane.tilt_deg, azimuth_deg=plane.azimuth_deg, albedo_frac=0.2
    )
    return (light["total"] - light["horizon"]).clip(lower=0.0)


def by_day(series: pd.Series) -> tuple[Floats, NDArray[np.object_]]:
    """A regular series as one row a whole day of its own clock, and the dates of the rows."""
    index = pd.DatetimeIndex(series.index)
    step = index[1] - index[0]
    per_day = round(pd.Timedelta(days=1) / step)
    since = (index[0] - index[0].normalize()) / step
    lead = int(np.floor(since + 1e-9))
    days = -(-(lead + len(series)) // per_day)
    whole = np.full(days * per_day, np.nan)
    whole[lead : lead + len(series)] = series.to_numpy(float)
    first = index[0].date()
    dates = np.array([first + pd.Timedelta(days=day) for day in range(days)], dtype=object)
    return whole.reshape(days, per_day), dates


def shifts_by_window(power: pd.Series, clear: pd.Series) -> pd.DataFrame:
    """Shift of the clock against the sun in each window of ten days [min].

    Returns
    -------
    DataFrame, one row a window
        ``day`` its first date; ``shape_min`` by the shape of its clear days, ``middle_min`` by
        the middle of the daylight; positive: the clock is ahead; nan where it cannot be told.
    """
    measured, dates = by_day(power)
    model, _ = by_day(clear)
    step_min = 1440.0 / measured.shape[1]
    rows = []
    for first in range(0, len(dates), WINDOW_DAYS):
        part = slice(first, first + WINDOW_DAYS)
        rows.append((dates[first], *_shift(measured[part], model[part], step_min)))
    return pd.DataFrame(rows, columns=["day", "shape_min", "middle_min"])


def _envelope(block: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    known = np.isfinite(block)
    count = known.sum(axis=0)
    some = count >= min(3, block.shape[0])
    ordered = np.sort(block, axis=0)  # nan last
    at = np.round(ENVELOPE * np.maximum(count - 1, 0)).astype(int)
    return np.where(some, ordered[at, np.arange(block.shape[1])], 0.0), some


def _shift(measured: Floats, model: Floats, step_min: float) -> tuple[float, float]:
    (seen, known), (sky, _) = _envelope(measured), _envelope(model)
    if seen.max() <= 0.0 or sky.max() <= 0.0 or known.mean() < LEAST_KNOWN:
        return float("nan"), float("nan")
    lags = np.arange(-int(MOST_LAG_MIN / step_min), int(MOST_LAG_MIN / step_min) + 1)
    moved = np.array([np.roll(sky, lag) for lag in lags]) * known
    size = np.linalg.norm(moved, axis=1) * np.linalg.norm(seen)
    fit = moved @ seen / np.where(size > 0.0, size, np.inf)
    place = int(np.argmax(fit))
    if place in (0, len(fit) - 1):
        return float(lags[place]) * step_min, _middle(seen, sky, step_min)
    before, at, after = fit[place - 1 : place + 2]
    bend = before - 2.0 * at + after
    part = 0.5 * (before - after) / bend if bend < 0.0 else 0.0
    return (float(lags[place]) + part) * step_min, _middle(seen, sky, step_min)


def _middle(seen: Floats, sky: Floats, step_min: float) -> float:
    """Middle of the daylight of the measured envelope, less that of the clear one [min]."""

    def ends(line: Floats, share: float) -> float:
        level = share * line.max()
        lit = np.flatnonzero(line > level)
        first, last = int(lit[0]), int(lit[-1])
        rise = first - _part(line, first, first - 1, level)
        fall = last + _part(line, last, (last + 1) % len(line), level)
        return 0.5 * (rise + fall)

    return (ends(seen, FIRST_LIGHT[0]) - ends(sky, FIRST_LIGHT[1])) * step_min


def _part(line: Floats, inside: int, outside: int, level: float) -> float:
    gap = line[inside] - line[outside]
    return float((line[inside] - level) / gap) if gap > 0.0 else 0.0


def clock_stretches(
    power: pd.Series, clear: pd.Series, windows: pd.DataFrame
) -> tuple[ClockStretch, ...]:
    """Days over which the clock stood off, each with its shift; none where it fits.

    `windows` come from `shifts_by_window`. A shift counts where both ways agree within
    `AGREE_MIN` and pass `OFF_MIN` in two windows or more in a row (in one where the file has but
    one or two). The first and last day are then looked for day by day.
    """
    shape, middle = windows["shape_min"].to_numpy(float), windows["middle_min"].to_numpy(float)
    step_min = (power.index[1] - power.index[0]).total_seconds() / 60.0
    agree = np.abs(shape - middle) <= AGREE_MIN
    off = agree & (np.abs(shape) >= OFF_MIN)
    shape, off = _bridged(shape, off, says_right=agree & ~off)
    need = 1 if len(windows) <= 2 else 2
    measured, dates = by_day(power)
    model, _ = by_day(clear)
    found: list[ClockStretch] = []
    place = 0
    while place < len(off):
        stop = place
        while stop < len(off) and off[stop] and abs(shape[stop] - shape[place]) <= OFF_MIN:
            stop += 1
        if stop - place >= need:
            lag = round(float(np.median(shape[place:stop])) / step_min)
            if lag:
                found.append(_edges(measured, model, dates, place, stop, lag, step_min))
        place = max(stop, place + 1)
    return tuple(found)


def _bridged(
    shape: Floats, off: NDArray[np.bool_], *, says_right: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Cloudy windows that say nothing, between two of the same shift: the clock stood so there too.

    A window in which both ways say that the clock is right ends a stretch.
    """
    shape, off = shape.copy(), off.copy()
    known = np.flatnonzero(off)
    for before, after in pairwise(known):
        between = slice(before + 1, after)
        if abs(shape[after] - shape[before]) <= OFF_MIN and not says_right[between].any():
            shape[between], off[between] = 0.5 * (shape[before] + shape[after]), True
    return shape, off


def _edges(
    measured: Floats, model: Floats, dates: NDArray[np.object_], place: int, stop: int, lag: int,
    step_min: float,
) -> ClockStretch:  # fmt: skip
    """First and last day by the day-by-day fit at the shift against the fit at none."""
    low = max((place - 1) * WINDOW_DAYS, 0)
    high = min((stop + 1) * WINDOW_DAYS, len(dates))
    seen = np.nan_to_num(measured[low:high])
    sky = np.nan_to_num(model[low:high])
    shifted = np.roll(sky.ravel(), lag).reshape(sky.shape)
    size = np.linalg.norm(seen, axis=1)

    def fit(line: Floats) -> Floats:
        norm = np.linalg.norm(line, axis=1) * size
        return np.asarray((seen * line).sum(axis=1) / np.where(norm > 0.0, norm, np.inf))

    gain = fit(shifted) - fit(sky)
    total = np.concatenate([[0.0], np.cumsum(gain)])
    last = int(np.argmax(total - np.minimum.accumulate(total)))
    first = int(np.argmin(total[: last + 1]))
    begin, end = low + first, low + max(last - 1, first)
    begin = 0 if begin <= EDGE_DAYS else begin
    end = len(dates) - 1 if end >= len(dates) - 1 - EDGE_DAYS else end
    return ClockStretch(first=dates[begin], last=dates[end], shift_min=lag * step_min)


def with_clock_set_right(
    table: pd.DataFrame, stretches: tuple[ClockStretch, ...]
) -> pd.DataFrame:
    """The table with each stretch moved back by its shift, on the same regular grid."""
    if not stretches:
        return table
    index = pd.DatetimeIndex(table.index)
    step = index[1] - index[0]
    day = np.array(index.date)
    moved = index
    for stretch in stretches:
        inside = (day >= stretch.first) & (day <= stretch.last)
        moved = moved.where(~inside, moved - pd.Timedelta(minutes=stretch.shift_min))
    result = table.set_axis(moved).sort_index(kind="stable")
    result = result[~result.index.duplicated(keep="first")]
    grid = pd.date_range(min(index[0], result.index[0]), max(index[-1], result.index[-1]),
                         freq=step)  # fmt: skip
    result = result.reindex(grid)
    result.index.name = table.index.name
    return result


def clock_findings(
    windows: pd.DataFrame, stretches: tuple[ClockStretch, ...], *, ends: date | None = None
) -> tuple[Finding, ...]:
    """What the clock says, and what the plane says where the two ways do not agree.

    `windows`: one row a window of days; `ends`: last day of the file, a stretch to it goes on.
    """
    found = [
        Finding(
            size=stretch.shift_min, since=stretch.first,
            until=None if stretch.last == ends else stretch.last,
            confidence="high" if abs(stretch.shift_min) >= 45.0 else "medium",
            **worded("followup", "clock-ahead" if stretch.shift_min > 0 else "clock-behind",
                     shift_min=abs(stretch.shift_min)),
        )
        for stretch in stretches
    ]  # fmt: skip
    shape, middle = windows["shape_min"], windows["middle_min"]
    apart = (shape.abs() >= OFF_MIN) & ((shape - middle).abs() > AGREE_MIN)
    if not stretches and len(windows) >= 2 and apart.mean() > 0.6:
        early = float(shape[apart].median()) < 0.0
        found.append(
            Finding(size=float(shape[apart].median()), **worded(
                "followup", "clock-findings", median=abs(float(shape[apart].median())),
                side="before" if early else "after",
                half_days="afternoons" if early else "mornings",
            ))
        )
    return tuple(found)
