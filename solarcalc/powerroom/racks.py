"""Rows of racks on their walls, and the place of each battery unit in them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from solarcalc.basis.sourced import constant
from solarcalc.powerroom.boxes import Box
from solarcalc.sitefile.room import BETWEEN_M, SIDE_M
from solarcalc.sitefile.site import Site

WALL_M = constant("powerroom.wall_m")
FOOT_M = constant("powerroom.foot_m")
SHELF_M = constant("powerroom.shelf_m")
MOST_ROWS = 2


@dataclass(frozen=True, kw_only=True)
class RackRow:
    """A row of racks along one wall.

    Parameters
    ----------
    box : Box
    wide, tiers : int
        Units side by side, and one above another.
    units : int
        In it.
    """

    box: Box
    wide: int
    tiers: int
    units: int


@dataclass(frozen=True, kw_only=True)
class Racks:
    """All rows of racks.

    Parameters
    ----------
    rows : tuple of RackRow
        The first along the rack wall, a second along the wall opposite.
    units_a_tier : int
        Battery units side by side on one tier at the most.
    left_over : int
        Units without a place.
    """

    rows: tuple[RackRow, ...]
    units_a_tier: int
    left_over: int

    @property
    def boxes(self) -> tuple[Box, ...]:
        """Each row as one box."""
        return tuple(row.box for row in self.rows)

    @property
    def front_m(self) -> float:
        """Front of the racks on the rack wall, from that wall [m]; 0 without."""
        return self.boxes[0].out_m + self.boxes[0].depth_m if self.rows else 0.0


@dataclass(frozen=True, kw_only=True)
class UnitPlace:
    """Where one battery unit stands.

    Parameters
    ----------
    number : int
        In its bank, from 1.
    row, tier, column : int
        Rack, tier from the floor, place from the left end of the racks seen with the rack wall
        ahead, each from 1.
    box : Box
    on_top, at_left, at_right : bool
        Whether nothing of the rack is above it, at its left end, at its right end.
    """

    number: int
    row: int
    tier: int
    column: int
    box: Box
    on_top: bool
    at_left: bool
    at_right: bool


def above_unit_m(site: Site) -> float:
    """Free height above a unit [m]: to work on its terminals."""
    return site.battery.traits.room.above_m


def racks_of(site: Site) -> Racks:
    """Racks fill the rack wall from the left; what is over stands on the wall opposite."""
    room, units = site.room, site.battery.unit_count
    a_tier = min(math.ceil(units / room.rack_tiers), room.units_on_wall)
    rows: list[RackRow] = []
    left = units
    while left > 0 and a_tier > 0 and len(rows) < MOST_ROWS:
        here = min(left, a_tier * room.rack_tiers)
        wide = min(math.ceil(here / room.rack_tiers), a_tier)
        tiers = math.ceil(here / wide)
        rows.append(RackRow(box=_rack(site, len(rows), wide * room.unit_pitch_m, tiers), wide=wide,
                            tiers=tiers, units=here))  # fmt: skip
        left -= here
    return Racks(rows=tuple(rows), units_a_tier=a_tier, left_over=left)


def _rack(site: Site, row: int, length_m: float, tiers: int) -> Box:
    room, wall = site.room, float(WALL_M)
    tall = float(FOOT_M) + tiers * (float(SHELF_M) + room.unit_height_m)
    return Box(
        name=f"rack {row + 1}", kind="rack", along_m=float(SIDE_M),
        out_m=wall if row == 0 else room.depth_m - wall - room.unit_depth_m,
        length_m=length_m, depth_m=room.unit_depth_m,
        height_m=tall + (tiers - 1) * above_unit_m(site),
    )  # fmt: skip


def units_of(site: Site, racks: Racks) -> dict[str, tuple[UnitPlace, ...]]:
    """The place of every unit by bank, in the order in which links join them.

    From the lowest tier up, along one tier and back along the next, so that a link never crosses
    the rack; where a second row stands opposite, the first one ends and the second one begins at
    the left end, where they are nearest to one another. What has no place is left out.
    """
    cells = _cells(site, racks)
    found = {}
    for board, battery in site.banks.items():
        here = islice(cells, battery.unit_count)
        found[board] = tuple(
            _placed(site, racks.rows[row], (row, tier, column), number)
            for number, (row, tier, column) in enumerate(here, start=1)
        )  # fmt: skip
    return found


def _cells(site: Site, racks: Racks) -> Iterator[tuple[int, int, int]]:
    """Row, tier and column of one unit after another, from 0."""
    for number, row in enumerate(racks.rows):
        ends_left = number == 0 and len(racks.rows) == MOST_ROWS
        used = 0
        for tier in range(row.tiers):
            back = (row.tiers - 1 - tier) % 2 == 0 if ends_left else tier % 2 == 1
            columns = range(row.wide - 1, -1, -1) if back else range(row.wide)
            for column in columns:
                if used < row.units:
                    used += 1
                    yield number, tier, column


def _placed(site: Site, row: RackRow, cell: tuple[int, int, int], number: int) -> UnitPlace:
    room, gap_m = site.room, float(BETWEEN_M)
    (rack, tier, column), step_m = cell, float(SHELF_M) + room.unit_height_m + above_unit_m(site)
    box = Box(
        name=f"unit {number}", kind="unit", out_m=row.box.out_m,
        along_m=row.box.along_m + column * (room.unit_length_m + gap_m) + gap_m / 2.0,
        length_m=room.unit_length_m, depth_m=room.unit_depth_m, height_m=room.unit_height_m,
        base_m=float(FOOT_M) + float(SHELF_M) + tier * step_m,
    )  # fmt: skip
    return UnitPlace(number=number, row=rack + 1, tier=tier + 1, column=column + 1, box=box,
                     on_top=tier == row.tiers - 1, at_left=column == 0,
                     at_right=column == row.wide - 1)  # fmt: skip


def split_after(site: Site, racks: Racks) -> dict[str, int]:
    """By bank, the number of the last unit in the first rack where a string goes on in the other.

    Units fill the first rack, bank by bank; empty where every string stands in one rack.
    """
    found = {}
    for board, places in units_of(site, racks).items():
        last = sum(place.row == 1 for place in places)
        if 0 < last < len(places) and last % site.banks[board].units_in_series:
            found[board] = last
    return found
