"""Which modules share a string: the order in which strings take the modules of a roof."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from solarcalc.roof.packing import LEVEL_COLUMNS_DIGITS, ModulePlaces

Layout = Literal["along-row", "tier-by-tier", "across-rows"]


@dataclass(frozen=True, kw_only=True)
class Spot:
    """Where a module stands by counting.

    Parameters
    ----------
    place : int
        Its number in the `ModulePlaces`.
    row, tier, column : int
        From 1: from the eaves, up the row's slope, along the row.
    part : int
        Of its tier, from 1, between two breaks.
    along_m, up_m : float
        Its corner along the row and up the modules' slope, about the roof's middle [m].
    """

    place: int
    row: int
    tier: int
    column: int
    part: int
    along_m: float
    up_m: float


def spots_of(places: ModulePlaces) -> tuple[Spot, ...]:
    """Every module with its row, tier, column and part, tier by tier along each row."""
    along = (places.corner_m @ places.right).round(LEVEL_COLUMNS_DIGITS)
    up = (places.corner_m @ places.up).round(LEVEL_COLUMNS_DIGITS)
    tiers: dict[tuple[int, float], list[int]] = defaultdict(list)
    for place, row in enumerate(places.row.tolist()):
        tiers[row, float(up[place])].append(place)
    rows = sorted({row for row, _ in tiers})
    found: list[Spot] = []
    for number, row in enumerate(rows, start=1):
        levels = sorted(level for other, level in tiers if other == row)
        for tier, level in enumerate(levels, start=1):
            members = sorted(tiers[row, level], key=lambda place: float(along[place]))
            found += _tier(places, members, along, Spot(
                place=0, row=number, tier=tier, column=0, part=0, along_m=0.0, up_m=level,
            ))  # fmt: skip
    return tuple(found)


def _tier(
    places: ModulePlaces, members: Sequence[int], along: np.ndarray, like: Spot
) -> Iterator[Spot]:
    """The modules of a tier from its first end; a new part where one is further than a gap on."""
    step = places.rows.along_m + places.rows.gap_m
    part, before = 0, -np.inf
    for column, place in enumerate(members, start=1):
        here = float(along[place])
        part += here - before > step * (1.0 + 1e-4)
        before = here
        yield replace(like, place=place, column=column, part=part, along_m=here)


def parts_of(spots: Iterable[Spot]) -> tuple[tuple[Spot, ...], ...]:
    """Modules side by side without a break, part by part: each lies on rails of its own."""
    found: dict[tuple[int, int, int], list[Spot]] = defaultdict(list)
    for spot in spots:
        found[spot.row, spot.tier, spot.part].append(spot)
    return tuple(tuple(part) for part in found.values())


def strings_on_roof(
    places: ModulePlaces, *, modules_in_series: int, layout: Layout
) -> tuple[tuple[Spot, ...], ...]:
    """The strings, each with its modules from the plus end to the minus end.

    As many strings as can be lie whole within one part of a row, then within one row; what is
    left of the rows is joined from the eaves up. Within a row strings go along it, and up and
    down where modules stand one above another, so that each module lies beside the one before.
    Across rows they go from row to row, column by column.

    Parameters
    ----------
    places : ModulePlaces
    modules_in_series : int
    layout : {"along-row", "tier-by-tier", "across-rows"}
        Of the site file.

    Returns
    -------
    tuple of tuple of Spot
        A remainder that fills no string is a shorter one at the end.
    """
    spots = spots_of(places)
    if layout == "across-rows":
        chains = [[_snake(spots, across=True)]]
    else:
        lanes: dict[tuple[int, int], dict[int, list[Spot]]] = defaultdict(
            lambda: defaultdict(list)
        )
        for spot in spots:
            lane = (spot.row, spot.tier if layout == "tier-by-tier" else 0)
            lanes[lane][spot.part].append(spot)
        chains = [
            [_snake(part, across=False) for part in parts.values()] for parts in lanes.values()
        ]
    return tuple(tuple(one) for one in _cut(chains, modules_in_series))


def strung(places: ModulePlaces, *, modules_in_series: int, layout: Layout) -> ModulePlaces:
    """The same modules in the order in which strings take them."""
    order = [
        spot.place for string in strings_on_roof(
            places, modules_in_series=modules_in_series, layout=layout
        ) for spot in string
    ]  # fmt: skip
    return replace(places, corner_m=places.corner_m[order], row=places.row[order])


def _snake(spots: Iterable[Spot], *, across: bool) -> list[Spot]:
    """Column by column, up one and down the next; across rows a column runs over all rows."""
    columns: dict[float, list[Spot]] = defaultdict(list)
    for spot in spots:
        columns[float(spot.column) if across else spot.along_m].append(spot)
    found: list[Spot] = []
    for number, key in enumerate(sorted(columns)):
        column = sorted(columns[key], key=lambda one: (one.row, one.tier))
        found += column[::-1] if number % 2 else column
    return found


def _cut(chains: Sequence[Sequence[list[Spot]]], series: int) -> list[list[Spot]]:
    """Whole strings from each part, then from what is left of a row, then from all of that.

    What is left of a part lies beside the break before the next one.
    """
    found: list[list[Spot]] = []
    left: list[Spot] = []
    for parts in chains:
        of_row: list[Spot] = []
        for number, part in enumerate(parts):
            over = len(part) % series
            first = over if number else 0
            found += [part[n : n + series] for n in range(first, first + len(part) - over, series)]
            of_row += part[:over] if number else part[len(part) - over :]
        whole = len(of_row) // series * series
        found += [of_row[n : n + series] for n in range(0, whole, series)]
        left += of_row[whole:]
    found += [left[n : n + series] for n in range(0, len(left), series)]
    return [*sorted((one for one in found if len(one) == series), key=_first),
            *(one for one in found if len(one) < series)]  # fmt: skip


def _first(string: Sequence[Spot]) -> tuple[int, float, int]:
    """Strings are numbered from the eaves up and along the rows."""
    lowest = min(string, key=lambda one: (one.row, one.along_m, one.tier))
    return lowest.row, lowest.along_m, lowest.tier
