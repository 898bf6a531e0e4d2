"""In how many rows a roof holds so many modules, compiled: for very many planes and pitches.

It counts what `solarcalc.roof.packing.fit_on_roof` places, row by row, by the same rules; the
tests hold one against the other.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from solarcalc.roof.packing import TOUCH_M, kept_free, turned, usable
from solarcalc.roof.rows import Rows
from solarcalc.sitefile.roof import Roof
from solarcalc.sweep.compiled import compiled

_TOUCH_M = float(TOUCH_M)
_TRIES = 25
_FAR = 1e300


def rows_for(
    rows: Rows, roof: Roof, *, pitches_m: np.ndarray, counts: np.ndarray
) -> np.ndarray:
    """Fewest rows that hold each count of modules, shared evenly, at each pitch; 0: too many.

    Parameters
    ----------
    rows : Rows
    roof : Roof
    pitches_m : array (k,)
        As `fit_on_roof` [m].
    counts : array (c,)
        Modules.

    Returns
    -------
    array (k, c)
    """
    ground = turned(usable(roof), rows.turn_deg)
    blocks = np.array([turned(block, rows.turn_deg) for block in kept_free(roof)])
    one = rows.lift_deg > 0.0 or rows.modules_high == 1
    step = rows.module_up_m + rows.gap_m
    tiers = np.array(
        [(0.0, rows.footprint_m, rows.modules_high)] if one
        else [(n * step, rows.module_up_m, 1) for n in range(rows.modules_high)], float,
    )  # fmt: skip
    found = np.zeros((len(pitches_m), len(counts)), np.int64)
    _rows_for(
        ground, blocks.reshape(-1, 4, 2), tiers, np.asarray(pitches_m, float),
        (rows.footprint_m, rows.along_m, rows.gap_m), bool(rows.turn_deg % 90.0 >= TOUCH_M),
        np.asarray(counts, np.int64), found,
    )  # fmt: skip
    return found


@compiled(in_order=True)
def _rows_for(
    ground: Any, blocks: Any, tiers: Any, pitches: Any, module: Any, askew: Any, counts: Any,
    found: Any,
) -> None:  # fmt: skip
    for k in range(len(pitches)):
        starts = _starts(ground, blocks, tiers, pitches[k], module[0], askew)
        worth = np.zeros(len(starts), np.int64)
        for tier in range(len(tiers)):
            for number in range(len(starts)):
                held = _held(ground, blocks, starts[number] + tiers[tier, 0], tiers[tier, 1],
                             module[1], module[2])  # fmt: skip
                worth[number] += held * int(tiers[tier, 2])
        sizes = np.sort(_chosen(starts, worth, pitches[k]))[::-1]
        for c in range(len(counts)):
            for row_count in range(1, len(sizes) + 1):
                share, room = -(-counts[c] // row_count), 0
                for row in range(row_count):
                    room += min(sizes[row], share)
                if room >= counts[c]:
                    found[k, c] = row_count
                    break


@compiled(in_order=True)
def _starts(
    ground: Any, blocks: Any, tiers: Any, pitch: Any, footprint: Any, askew: Any
) -> Any:
    """Lower edges a row may have, sorted [m]."""
    low, high = ground[:, 1].min(), ground[:, 1].max()
    room = high - low - footprint
    if room < -_TOUCH_M or footprint < -_TOUCH_M:
        return np.empty(0)
    room = max(room, 0.0)
    bases = [0.0]
    for block in range(len(blocks)):
        for tier in range(len(tiers)):
            bases.append(blocks[block, :, 1].max() - tiers[tier, 0] - low)
    if askew:
        for ends in (room % pitch, pitch):
            for number in range(_TRIES):
                bases.append(ends if number == _TRIES - 1 else number * (ends / (_TRIES - 1)))
    found = [0.0]
    for base in bases:
        if 0.0 <= base <= room + _TOUCH_M:
            for number in range(int(np.ceil((room + _TOUCH_M - base) / pitch))):
                found.append(np.round(base + number * pitch, 12))
    return low + np.unique(np.array(found))


@compiled(in_order=True)
def _reach(corners: Any, low: Any, high: Any) -> Any:
    """Least and greatest coordinate along the rows of a shape inside a band across them."""
    left, right = _FAR, -_FAR
    for corner in range(len(corners)):
        x0, y0 = corners[corner]
        x1, y1 = corners[(corner + 1) % len(corners)]
        below, above = min(y0, y1), max(y0, y1)
        if low <= above + _TOUCH_M and high >= below - _TOUCH_M:
            if above - below < _TOUCH_M:
                first, last = x0, x1
            else:
                slope = (x1 - x0) / (y1 - y0)
                first = x0 + slope * (min(max(low, below), above) - y0)
                last = x0 + slope * (min(max(high, below), above) - y0)
            left, right = min(left, first, last), max(right, first, last)
    return left, right


@compiled(in_order=True)
def _held(ground: Any, blocks: Any, low: Any, depth: Any, along: Any, gap: Any) -> Any:
    """Modules side by side that a tier with its lower edge at `low` has room for."""
    high = low + depth
    bottom, top = ground[:, 1].min(), ground[:, 1].max()
    at_low, at_high = min(max(low, bottom), top), min(max(high, bottom), top)
    one, two = _reach(ground, at_low, at_low), _reach(ground, at_high, at_high)
    first, last = max(one[0], two[0]), min(one[1], two[1])
    lefts, rights = np.full(len(blocks) + 1, _FAR), np.full(len(blocks) + 1, -_FAR)
    for block in range(len(blocks)):
        met = blocks[block, :, 1].min() < high - _TOUCH_M
        left, right = -_FAR, -_FAR
        if met and blocks[block, :, 1].max() > low + _TOUCH_M:
            left, right = _reach(blocks[block], low, high)
        place = block  # in order of their left edges
        while place > 0 and lefts[place - 1] > left:
            lefts[place], rights[place] = lefts[place - 1], rights[place - 1]
            place -= 1
        lefts[place], rights[place] = left, right
    total, begin = 0, first
    for stretch in range(len(blocks) + 1):
        end = min(lefts[stretch], last) if stretch < len(blocks) else last
        free = max(end - begin, -gap)
        total += int(np.floor((free + gap) / (along + gap) + _TOUCH_M))
        begin = max(begin, rights[stretch])
    return total


@compiled(in_order=True)
def _chosen(starts: Any, worth: Any, pitch: Any) -> Any:
    """Modules of the rows that hold the most together while a pitch apart."""
    before = np.searchsorted(starts, starts - pitch + _TOUCH_M / 2.0, side="right")
    best = np.zeros(len(starts) + 1, np.int64)
    for number in range(len(starts)):
        best[number + 1] = max(best[number], worth[number] + best[before[number]])
    sizes = np.zeros(len(starts), np.int64)
    number, count = len(starts), 0
    while number > 0:
        if best[number] == best[number - 1]:
            number -= 1
        else:
            sizes[count] = worth[number - 1]
            count += 1
            number = before[number - 1]
    return sizes[:count]
