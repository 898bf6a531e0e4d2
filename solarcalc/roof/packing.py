"""As many modules as a roof carries around what is on it, and where each of them stands."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.roof import Roof

TOUCH_M = 1e-9
"""Closer than this, two edges lie against each other: a guard against rounding, no more."""


def kept_free(roof: Roof) -> tuple[np.ndarray, ...]:
    """Corners of each piece of roof kept free of modules [m], each of shape (4, 2).

    Boxes with their clearance all around (square at its corners), then walkways over the whole
    roof; along the eaves and up the slope, about the roof's middle. Heights play no part: what
    an obstacle shades is not looked at here.
    """
    half_length, half_depth = roof.length_m / 2.0, roof.depth_m / 2.0
    boxes = [
        (box.along_m - box.clearance_m, box.up_m - box.clearance_m,
         box.along_m + box.length_m + box.clearance_m, box.up_m + box.depth_m + box.clearance_m)
        for box in roof.obstacles
    ]
    for way in roof.walkways:
        low, high = way.from_m, way.from_m + way.width_m
        along = way.runs == "along"
        boxes.append((0.0, low, roof.length_m, high) if along else (low, 0.0, high, roof.depth_m))
    middle = np.array([half_length, half_depth])
    return tuple(_rectangle(*box) - middle for box in boxes)


def usable(roof: Roof) -> np.ndarray:
    """Corners of the roof inside its edge setback, about its middle [m], shape (4, 2)."""
    half_length = max(roof.length_m / 2.0 - roof.edge_setback_m, 0.0)
    half_depth = max(roof.depth_m / 2.0 - roof.edge_setback_m, 0.0)
    return _rectangle(-half_length, -half_depth, half_length, half_depth)


def _rectangle(left: float, low: float, right: float, high: float) -> np.ndarray:
    return np.array([[left, low], [right, low], [right, high], [left, high]])


def turned(corners: np.ndarray, turn_deg: float) -> np.ndarray:
    """Corners in axes along and across rows that stand at an angle to the eaves."""
    turn = math.radians(turn_deg)
    back: np.ndarray = np.array(
        [[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]]
    )
    result: np.ndarray = corners @ back
    return result


def reach_in_bands(
    corners: np.ndarray, low: np.ndarray, high: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest coordinate along the rows of a shape inside bands across them.

    Parameters
    ----------
    corners : array (m, 2)
        Of a convex shape, in order [m].
    low, high : array (n,)
        Edges of each band [m].

    Returns
    -------
    left, right : array (n,)
        Infinite, left above right, where the shape has no point in the band.
    """
    left, right = np.full(low.shape, math.inf), np.full(low.shape, -math.inf)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        below, above = min(y0, y1), max(y0, y1)
        within = (low <= above + TOUCH_M) & (high >= below - TOUCH_M)
        if above - below < TOUCH_M:
            ends = (np.full(low.shape, x0), np.full(low.shape, x1))
        else:
            slope = (x1 - x0) / (y1 - y0)
            first, last = (x0 + slope * (np.clip(y, below, above) - y0) for y in (low, high))
            ends = (first, last)
        left = np.where(within, np.minimum(left, np.minimum(*ends)), left)
        right = np.where(within, np.maximum(right, np.maximum(*ends)), right)
    return left, right


_OFFSET_TRIES = 25
"""Places tried for the first of rows that stand at an angle to the eaves."""


@dataclass(frozen=True, kw_only=True)
class RowPlace:
    """Modules of one row side by side without a break: a whole row, or a part between obstacles.

    Parameters
    ----------
    along_m, across_m : float
        Its lower left corner along and across the rows, about the roof's middle [m].
    modules_along, modules_high : int
        Side by side, and one above another.
    row : int
        Number of its row, 0 for the one nearest the eaves (or the left edge, where rows run up).
    """

    along_m: float
    across_m: float
    modules_along: int
    modules_high: int
    row: int

    @property
    def module_count(self) -> int:
        """Modules in this part."""
        return self.modules_along * self.modules_high


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
        """Modules of each row, all its parts and tiers together."""
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
        """Modules in the fullest row, all its tiers together."""
        return max(self.row_sizes, default=0)


class _Tier(NamedTuple):
    """Part of a row that is filled by itself: its lower edge in the row, depth, modules high."""

    across_m: float
    depth_m: float
    modules_high: int


class _Gaps(NamedTuple):
    """Free stretches of each candidate row, shape (candidates, stretches), and what they take."""

    left: np.ndarray
    right: np.ndarray
    takes: np.ndarray


def fit_on_roof(rows: Rows, roof: Roof, *, pitch_m: float) -> RoofFit:
    """As many whole modules in parallel rows as the roof carries, inside its edge setback.

    Rows may stand at an angle to the eaves. A row is broken by obstacles with their clearance
    and by walkways, and goes on beyond them; modules one above another on a tilted frame stay
    together, tiers of rows that lie along their roof are filled each by itself. A row need not
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
            Fault(where="pitch_m", given=f"{pitch_m:g} m",
                  allowed=f"at least {rows.footprint_m:.3f} m, what one row covers")
        )
    ground = turned(usable(roof), rows.turn_deg)
    blocks = [turned(block, rows.turn_deg) for block in kept_free(roof)]
    tiers = _tiers(rows)
    starts = _candidates(rows, ground, blocks, tiers, pitch_m)
    gaps = [_gaps(rows, ground, blocks, tier, starts) for tier in tiers]
    worth = sum(
        (gap.takes.sum(axis=1) * tier.modules_high for gap, tier in zip(gaps, tiers, strict=True)),
        start=np.zeros(len(starts), dtype=int),
    )
    places: list[RowPlace] = []
    for row, number in enumerate(_best_rows(starts, worth, pitch_m)):
        parts = [
            _parts(rows, ground, tier, float(starts[number]), _Gaps(*(a[number] for a in gap)))
            for tier, gap in zip(tiers, gaps, strict=True)
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
    return count * along * rows.modules_high, count


def _tiers(rows: Rows) -> tuple[_Tier, ...]:
    if rows.lift_deg > 0.0 or rows.modules_high == 1:
        return (_Tier(0.0, rows.footprint_m, rows.modules_high),)
    step = rows.module_up_m + rows.gap_m
    return tuple(_Tier(n * step, rows.module_up_m, 1) for n in range(rows.modules_high))


def _candidates(
    rows: Rows, ground: np.ndarray, blocks: list[np.ndarray], tiers: tuple[_Tier, ...],
    pitch_m: float,
) -> np.ndarray:  # fmt: skip
    """Lower edges a row may have, sorted [m]."""
    low, high = float(ground[:, 1].min()), float(ground[:, 1].max())
    room = high - low - rows.footprint_m
    if room < -TOUCH_M or rows.footprint_m < -TOUCH_M:  # no room, or leaning past upright
        return np.empty(0)
    room = max(room, 0.0)
    bases = [0.0]
    bases += [float(block[:, 1].max()) - tier.across_m - low for block in blocks
              for tier in tiers]
    if rows.turn_deg % 90.0 >= TOUCH_M:
        bases += np.linspace(0.0, room % pitch_m, _OFFSET_TRIES).tolist()
        bases += np.linspace(0.0, pitch_m, _OFFSET_TRIES).tolist()
    starts = [
        np.arange(base, room + TOUCH_M, pitch_m) for base in bases if 0.0 <= base <= room + TOUCH_M
    ]
    return low + np.unique(np.concatenate(starts).round(12))


def _gaps(
    rows: Rows, ground: np.ndarray, blocks: list[np.ndarray], tier: _Tier, starts: np.ndarray
) -> _Gaps:
    """Free stretches of a tier of every candidate row, from left to right."""
    low = starts + tier.across_m
    high = low + tier.depth_m
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
    rows: Rows, ground: np.ndarray, tier: _Tier, start_m: float, gaps: _Gaps
) -> list[RowPlace]:
    """Modules of one tier of one row, part by part, in columns with other rows where they can.

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
            RowPlace(along_m=along, across_m=start_m + tier.across_m, modules_along=int(count),
                     modules_high=tier.modules_high, row=0)
        )
    return places


def _joined(tiers: list[list[RowPlace]], rows: Rows) -> list[RowPlace]:
    """Parts of one row; tiers that are broken alike become one part several modules high."""
    shapes = [[(part.along_m, part.modules_along) for part in parts] for parts in tiers]
    if len(tiers) > 1 and all(shape == shapes[0] for shape in shapes):
        return [replace(part, modules_high=rows.modules_high) for part in tiers[0]]
    return [part for parts in tiers for part in parts]


LEVEL_COLUMNS_DIGITS = 6
"""Columns of two tiers within a micrometre of one another are one column."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ModulePlaces:
    """Modules on a roof, in an order: that of `modules_on_roof`, or of the strings.

    Axes of the roof: along the eaves, up the slope, square to the roof; about the roof's middle.
    Lower edges lie on the roof: the few centimetres of rail under them are left out.

    Parameters
    ----------
    rows : Rows
    corner_m : array (m, 3)
        Corner of each module where it touches the roof, first along the row [m].
    right, up : array (3,)
        Unit vectors along the row and up the module's slope.
    row : array (m,)
        Number of its row, as in the `RoofFit`.
    """

    rows: Rows
    corner_m: np.ndarray
    right: np.ndarray
    up: np.ndarray
    row: np.ndarray

    @property
    def count(self) -> int:
        """Modules."""
        return len(self.row)

    @property
    def middle_m(self) -> np.ndarray:
        """Middle of each face [m], shape (m, 3)."""
        half = self.right * self.rows.along_m + self.up * self.rows.module_up_m
        result: np.ndarray = self.corner_m + half / 2.0
        return result

    @cached_property
    def plan_corners_m(self) -> np.ndarray:
        """Corners of each module seen from above the roof, about its middle [m], (m, 4, 2)."""
        right, up = self.right * self.rows.along_m, self.up * self.rows.module_up_m
        around = np.array([0.0 * right, right, right + up, up])
        result: np.ndarray = (self.corner_m[:, None, :] + around)[:, :, :2]
        return result


def roof_axes(rows: Rows) -> np.ndarray:
    """Axes of the roof as (east, north, up): eaves, up the slope, square to it; shape (3, 3)."""
    azimuth = math.radians(rows.roof_azimuth_deg)
    eaves = np.array([-math.cos(azimuth), math.sin(azimuth), 0.0])
    return np.array([eaves, np.cross(rows.roof_normal, eaves), rows.roof_normal])


def modules_on_roof(
    fit: RoofFit, *, module_count: int | None = None, row_count: int | None = None
) -> ModulePlaces:
    """Each module of a layout, row by row from the eaves and column by column along the row.

    `solarcalc.roof.strings` says which of them share a string.

    Parameters
    ----------
    fit : RoofFit
        The roof filled.
    module_count : int, optional
        Modules of the array, where the roof holds more; all of them when left out.
    row_count : int, optional
        Rows they stand in: the fullest ones, the nearest to the eaves of equals, each filled
        from its beginning with an even share. As many as needed when left out.

    Returns
    -------
    ModulePlaces
        Fewer than `module_count` where the roof does not hold them.
    """
    rows = fit.rows
    turn = math.radians(fit.turn_deg)
    along = np.array([math.cos(turn), math.sin(turn), 0.0])
    across = np.array([-math.sin(turn), math.cos(turn), 0.0])
    lift = math.radians(rows.lift_deg)
    rises = _rises_across(rows, across)
    up = across * (rises * math.cos(lift)) + np.array([0.0, 0.0, math.sin(lift)])
    found = sorted(
        (place.row,
         round(place.along_m + column * (rows.along_m + rows.gap_m), LEVEL_COLUMNS_DIGITS),
         _low_edge_m(place, rows, rises), tier)
        for place in fit.places
        for column in range(place.modules_along)
        for tier in range(place.modules_high)
    )
    kept = _chosen([entry[0] for entry in found], module_count, row_count)
    step = rows.module_up_m + rows.gap_m
    corners = [
        found[n][1] * along + found[n][2] * across + found[n][3] * step * up for n in kept
    ]
    return ModulePlaces(rows=rows, corner_m=np.array(corners).reshape(-1, 3), right=along, up=up,
                        row=np.array([found[n][0] for n in kept], dtype=int))


def _rises_across(rows: Rows, across: np.ndarray) -> float:
    """1 where rows rise the way their row axes count, -1 where they fall that way."""
    facing = roof_axes(rows) @ rows.module_normal
    return -1.0 if rows.lift_deg > 0.0 and float(facing @ across) > 0.0 else 1.0


def _low_edge_m(place: RowPlace, rows: Rows, rises: float) -> float:
    return place.across_m if rises > 0.0 else place.across_m + rows.footprint_m


def _chosen(row_of: list[int], module_count: int | None, row_count: int | None) -> list[int]:
    """Positions of the modules that belong to the array."""
    wanted = len(row_of) if module_count is None else module_count
    sizes = {row: row_of.count(row) for row in sorted(set(row_of))}
    fullest = sorted(sizes, key=lambda row: (-sizes[row], row))
    share = wanted
    if row_count is not None:
        fullest, share = fullest[:row_count], -(-wanted // row_count)
    left, room = wanted, {}
    for row in sorted(fullest) if row_count is not None else sorted(sizes):
        room[row] = min(sizes[row], share, left)
        left -= room[row]
    kept = []
    for position, row in enumerate(row_of):
        if room.get(row, 0) > 0:
            room[row] -= 1
            kept.append(position)
    return kept
