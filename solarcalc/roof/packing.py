"""As many modules as a roof carries inside its setback, around obstacles and walkways."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.roof.ground import TOUCH_M, kept_free, reach_in_bands, turned, usable
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.records import Roof

_OFFSET_TRIES = 25
"""Places tried for the first of rows that stand at an angle to the eaves."""


@dataclass(frozen=True, kw_only=True)
class RowPlace:
    """Modules of one row side by side without a break: a whole row, or a part between obstacles.

    Parameters
    ----------
    along_m, across_m : float
        Its lower left corner along and across the rows, about the roof's middle [m].
    modules_along, modules_up : int
        Side by side, and one above another.
    row : int
        Number of its row, 0 for the one nearest the eaves (or the left edge, where rows run up).
    """

    along_m: float
    across_m: float
    modules_along: int
    modules_up: int
    row: int

    @property
    def module_count(self) -> int:
        """Modules in this part."""
        return self.modules_along * self.modules_up


@dataclass(frozen=True, kw_only=True)
class RoofFit:
    """The modules that fit.

    ``turn_deg`` [deg] turns the row axes against the eaves, seen from above; places are about
    the roof's middle.
    """

    rows: Rows
    pitch_m: float
    places: tuple[RowPlace, ...]
    turn_deg: float

    @property
    def row_sizes(self) -> tuple[int, ...]:
        """Modules of each row, all its parts and layers together."""
        sizes: dict[int, int] = {}
        for place in self.places:
            sizes[place.row] = sizes.get(place.row, 0) + place.module_count
        return tuple(sizes[row] for row in sorted(sizes))

    @property
    def row_count(self) -> int:
        """Rows on the roof, however many parts obstacles break them into."""
        return len(self.row_sizes)

    @property
    def module_count(self) -> int:
        """Modules on the roof."""
        return sum(place.module_count for place in self.places)

    @property
    def largest_row(self) -> int:
        """Modules in the fullest row, all its layers together."""
        return max(self.row_sizes, default=0)


class _Layer(NamedTuple):
    """Part of a row that is filled by itself: its lower edge in the row, depth, modules up."""

    across_m: float
    depth_m: float
    modules_up: int


class _Gaps(NamedTuple):
    """Free stretches of each candidate row, shape (candidates, stretches), and what they take."""

    left: np.ndarray
    right: np.ndarray
    takes: np.ndarray


def fit_on_roof(rows: Rows, roof: Roof, *, pitch_m: float) -> RoofFit:
    """As many whole modules in parallel rows as the roof carries, inside its edge setback.

    Rows may stand at an angle to the eaves. A row is broken by obstacles with their clearance
    and by walkways, and goes on beyond them; modules one above another on a tilted frame stay
    together, layers of rows that lie along their roof are filled each by itself. A row need not
    stand one pitch behind the one before, only that at least: it may begin beyond a walkway.

    Parameters
    ----------
    rows : Rows
    roof : Roof
    pitch_m : float
        From the lower edge of one row to that of the next, in the roof plane, at least [m].

    Returns
    -------
    RoofFit
        With no places when nothing fits.

    Raises
    ------
    InputError
        When the pitch is smaller than a row's footprint.

    Notes
    -----
    A stretch of length l takes floor((l + gap) / (module + gap)) modules, which is the most.
    Rows pushed towards the eaves come to rest at the setback, behind the row before, or behind
    an obstacle: those places, and whole pitches on from them, are the candidates, and the best
    set of them is found exactly. So for rows along or square to the eaves no other layout of
    parallel rows takes more; for rows at an angle more offsets are tried and it may.
    """
    if pitch_m < rows.footprint_m - TOUCH_M:
        raise InputError(
            Fault(
                where="pitch_m",
                given=f"{pitch_m:g} m",
                allowed=f"at least {rows.footprint_m:.3f} m, what one row covers",
            )
        )
    ground = turned(usable(roof), rows.turn_deg)
    blocks = [turned(block, rows.turn_deg) for block in kept_free(roof)]
    layers = _layers(rows)
    starts = _candidates(rows, ground, blocks, layers, pitch_m)
    gaps = [_gaps(rows, ground, blocks, layer, starts) for layer in layers]
    worth = sum(
        (gap.takes.sum(axis=1) * layer.modules_up for gap, layer in zip(gaps, layers, strict=True)),
        start=np.zeros(len(starts), dtype=int),
    )
    places: list[RowPlace] = []
    for row, number in enumerate(_best_rows(starts, worth, pitch_m)):
        parts = [
            _parts(rows, ground, layer, float(starts[number]), _Gaps(*(a[number] for a in gap)))
            for layer, gap in zip(layers, gaps, strict=True)
        ]
        places += [replace(part, row=row) for part in _joined(parts, rows)]
    return RoofFit(rows=rows, pitch_m=pitch_m, places=tuple(places), turn_deg=rows.turn_deg)


def count_on_roof(rows: Rows, roof: Roof, *, pitch_m: float) -> tuple[int, int]:
    """Modules and rows that `fit_on_roof` finds room for, without their places.

    Notes
    -----
    On a clear roof, with rows along or square to its eaves, the count needs no search: rows
    floor((depth - footprint) / pitch) + 1, each of floor((length + gap) / (module + gap)).
    """
    bare = not roof.obstacles and not roof.walkways
    if not bare or rows.turn_deg % 90.0 >= TOUCH_M or rows.lift_deg == 0.0:
        fit = fit_on_roof(rows, roof, pitch_m=pitch_m)
        return fit.module_count, fit.row_count
    if pitch_m < rows.footprint_m - TOUCH_M or rows.footprint_m < -TOUCH_M:
        return 0, 0
    ground = turned(usable(roof), rows.turn_deg)
    length_m, depth_m = np.ptp(ground, axis=0).tolist()
    step = rows.along_m + rows.gap_m
    along = max(math.floor((length_m + rows.gap_m) / step + TOUCH_M), 0)
    room_m = depth_m - rows.footprint_m
    count = math.floor(room_m / pitch_m + TOUCH_M) + 1 if room_m >= -TOUCH_M and along else 0
    return count * along * rows.modules_up, count


def _layers(rows: Rows) -> tuple[_Layer, ...]:
    if rows.lift_deg > 0.0 or rows.modules_up == 1:
        return (_Layer(0.0, rows.footprint_m, rows.modules_up),)
    step = rows.module_up_m + rows.gap_m
    return tuple(_Layer(n * step, rows.module_up_m, 1) for n in range(rows.modules_up))


def _candidates(
    rows: Rows,
    ground: np.ndarray,
    blocks: list[np.ndarray],
    layers: tuple[_Layer, ...],
    pitch_m: float,
) -> np.ndarray:
    """Lower edges a row may have, sorted [m]."""
    low, high = float(ground[:, 1].min()), float(ground[:, 1].max())
    room = high - low - rows.footprint_m
    if room < -TOUCH_M or rows.footprint_m < -TOUCH_M:  # no room, or leaning past upright
        return np.empty(0)
    room = max(room, 0.0)
    bases = [0.0]
    bases += [float(block[:, 1].max()) - layer.across_m - low for block in blocks
              for layer in layers]
    if rows.turn_deg % 90.0 >= TOUCH_M:
        bases += np.linspace(0.0, room % pitch_m, _OFFSET_TRIES).tolist()
        bases += np.linspace(0.0, pitch_m, _OFFSET_TRIES).tolist()
    starts = [
        np.arange(base, room + TOUCH_M, pitch_m) for base in bases if 0.0 <= base <= room + TOUCH_M
    ]
    return low + np.unique(np.concatenate(starts).round(12))


def _gaps(
    rows: Rows,
    ground: np.ndarray,
    blocks: list[np.ndarray],
    layer: _Layer,
    starts: np.ndarray,
) -> _Gaps:
    """Free stretches of a layer of every candidate row, from left to right."""
    low = starts + layer.across_m
    high = low + layer.depth_m
    edges = [
        reach_in_bands(ground, line, line)
        for line in (np.clip(band, ground[:, 1].min(), ground[:, 1].max()) for band in (low, high))
    ]
    first, last = np.maximum(edges[0][0], edges[1][0]), np.minimum(edges[0][1], edges[1][1])
    taken_left, taken_right = [], []
    for block in blocks:
        met = (block[:, 1].min() < high - TOUCH_M) & (block[:, 1].max() > low + TOUCH_M)
        left, right = reach_in_bands(block, low, high)
        taken_left.append(np.where(met, left, -math.inf))
        taken_right.append(np.where(met, right, -math.inf))
    left, right = np.array([*taken_left, last]).T, np.array([first, *taken_right]).T
    if blocks:
        order = np.argsort(left[:, :-1], axis=1)
        left[:, :-1] = np.take_along_axis(left[:, :-1], order, axis=1)
        right[:, 1:] = np.take_along_axis(right[:, 1:], order, axis=1)
    begins = np.maximum.accumulate(right, axis=1)
    ends = np.minimum(left, last[:, None])
    free = np.maximum(ends - begins, -rows.gap_m)
    count = np.floor((free + rows.gap_m) / (rows.along_m + rows.gap_m) + TOUCH_M).astype(int)
    return _Gaps(begins, ends, count)


def _best_rows(starts: np.ndarray, worth: np.ndarray, pitch_m: float) -> list[int]:
    """Candidates that hold the most modules together while a pitch apart; the lowest of equals."""
    before = np.searchsorted(starts, starts - pitch_m + TOUCH_M / 2.0, side="right").tolist()
    counts = worth.tolist()
    best = [0]
    for number, count in enumerate(counts):
        best.append(max(best[-1], count + best[before[number]]))
    chosen = []
    number = len(counts)
    while number > 0:
        if best[number] == best[number - 1]:
            number -= 1
        else:
            chosen.append(number - 1)
            number = before[number - 1]
    return chosen[::-1]


def _parts(
    rows: Rows, ground: np.ndarray, layer: _Layer, start_m: float, gaps: _Gaps
) -> list[RowPlace]:
    """Modules of one layer of one row, part by part, in columns with other rows where they can.

    Columns are those of a row without a break, in the middle of the roof; a part that cannot
    keep to them without losing a module stands in the middle of its stretch.
    """
    step = rows.along_m + rows.gap_m
    places = []
    width = float(np.ptp(ground[:, 0]))
    full = math.floor((width + rows.gap_m) / step + TOUCH_M)
    column = float(ground[:, 0].min()) + (width - full * step + rows.gap_m) / 2.0
    for left, right, count in zip(*gaps, strict=True):
        if count < 1:
            continue
        slack = float(right - left) - (int(count) * step - rows.gap_m)
        along = float(left) + slack / 2.0
        if rows.turn_deg % 90.0 < TOUCH_M:
            shift = column + round((along - column) / step) * step - along
            along += shift if abs(shift) <= slack / 2.0 + TOUCH_M else 0.0
        places.append(
            RowPlace(
                along_m=along,
                across_m=start_m + layer.across_m,
                modules_along=int(count),
                modules_up=layer.modules_up,
                row=0,
            )
        )
    return places


def _joined(layers: list[list[RowPlace]], rows: Rows) -> list[RowPlace]:
    """Parts of one row; layers that are broken alike become one part several modules high."""
    shapes = [[(part.along_m, part.modules_along) for part in parts] for parts in layers]
    if len(layers) > 1 and all(shape == shapes[0] for shape in shapes):
        return [replace(part, modules_up=rows.modules_up) for part in layers[0]]
    return [part for parts in layers for part in parts]
