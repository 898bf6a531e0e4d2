"""Where each module of a layout stands on its roof, in three dimensions and in string order."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from solarcalc.roof import RoofFit, RowPlace, Rows

LEVEL_COLUMNS_DIGITS = 6
"""Columns of two layers within a micrometre of one another are one column."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ModulePlaces:
    """Modules on a roof, in the order in which strings take them.

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

    Strings take them in that order, so a string lies in neighbouring columns of one row where
    rows hold whole strings.

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
        (
            place.row,
            round(place.along_m + column * (rows.along_m + rows.gap_m), LEVEL_COLUMNS_DIGITS),
            _low_edge_m(place, rows, rises),
            layer,
        )
        for place in fit.places
        for column in range(place.modules_along)
        for layer in range(place.modules_up)
    )
    kept = _chosen([entry[0] for entry in found], module_count, row_count)
    step = rows.module_up_m + rows.gap_m
    corners = [
        found[n][1] * along + found[n][2] * across + found[n][3] * step * up for n in kept
    ]
    return ModulePlaces(
        rows=rows,
        corner_m=np.array(corners).reshape(-1, 3),
        right=along,
        up=up,
        row=np.array([found[n][0] for n in kept], dtype=int),
    )


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
