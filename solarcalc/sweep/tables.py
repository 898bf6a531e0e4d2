"""Shade tables laid out for the compiled loops: cells of sixteen figures, places by bins."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.circuit import ShadeTable, Strung, shade_table
from solarcalc.sweep import kernels

SHARE_BINS = 2048
"""Bins of the diffuse share. A share beside a knot may fall in the cell next to its own, whose
plane is then carried on by half a bin at most."""
LIGHT_KNOTS, HEAT_KNOTS = 4, 2
"""Knots of light and heat that the compiled loops are written for."""


@lru_cache(maxsize=16)
def shade_of(strungs: tuple[Strung, ...]) -> kernels.Shade:
    """The shade tables of some ways of stringing, side by side, made where they are missing.

    Each cell of a table, between two knots of each of its four axes, is held as the sixteen
    coefficients of its product of straight lines, single precision, in one line of the
    processor's cache.
    """
    return pack([shade_table(strung) for strung in strungs])


def pack(tables: list[ShadeTable]) -> kernels.Shade:
    """Tables with the same knots of light, heat and diffuse share, for the compiled loops.

    Raises
    ------
    InputError
        When a table has another number of knots than the loops are written for.
    """
    _check(tables)
    first = tables[0]
    widths = [_bin_count(table.fraction) for table in tables]
    most = max(widths) + 1
    froms, pers = (np.zeros((len(tables), most), np.float32) for _ in range(2))
    ats = np.zeros((len(tables), most), np.uint32)
    cells, held = [], 0
    for row, (table, width) in enumerate(zip(tables, widths, strict=True)):
        flat = _cells(table.kept_frac)
        low, start, per = _bins(table.fraction, width)
        froms[row, : width + 1], pers[row, : width + 1] = start, per
        ats[row, : width + 1] = held + low * flat.shape[1] * flat.shape[2]
        cells.append(flat.reshape(-1, 16))
        held += len(cells[-1])
    share_low, share_from, share_per = _bins(first.diffuse_share, SHARE_BINS)
    log_light, heat = np.log(first.light_w_m2), first.cell_c
    return kernels.Shade(
        kept=np.concatenate(cells).astype(np.float32),
        fraction_from=froms,
        fraction_per=pers,
        fraction_at=ats,
        fraction_bins=np.array(widths, np.float32),
        share_from=share_from,
        share_per=share_per,
        share_at=(share_low * (LIGHT_KNOTS - 1)).astype(np.uint32),
        log_light=tuple(np.float32(value) for value in log_light),
        per_log_light=tuple(np.float32(value) for value in 1.0 / np.diff(log_light)),
        heat_from=np.float32(heat[0]),
        heat_per=np.float32(1.0 / (heat[1] - heat[0])),
    )


@lru_cache(maxsize=1)
def no_shade() -> kernels.Shade:
    """A table in which nothing is lost; it keeps the types of the loops where none is used."""
    ends = np.array([0.0, 1.0])
    return pack([ShadeTable(
        fraction=ends, diffuse_share=ends, light_w_m2=np.array([1.0, 10.0, 100.0, 1000.0]),
        cell_c=ends, kept_frac=np.ones((2, 2, LIGHT_KNOTS, HEAT_KNOTS)),
    )])  # fmt: skip


def _cells(kept: np.ndarray) -> np.ndarray:
    """Coefficients of each cell, (fraction, share, light, 16), the last as 2 x 2 x 2 x 2.

    Of the sixteen the slowest index is the power of heat, then light, fraction, share.
    """
    found = kept
    for axis in range(4):
        low = np.take(found, range(kept.shape[axis] - 1), axis=axis)
        rise = np.diff(found, axis=axis)
        found = np.stack([low, rise], axis=-1)
    # axes now: fraction, share, light, heat, then powers of fraction, share, light, heat
    found = found.transpose(0, 1, 2, 3, 7, 6, 4, 5)
    return np.ascontiguousarray(found.reshape(*found.shape[:3], 16))


def _bin_count(knots: np.ndarray) -> int:
    """Bins of a width that goes into every gap between knots, or else is a small part of it."""
    count = round(1.0 / float(np.diff(knots).min()))
    whole = np.abs(knots * count - np.round(knots * count)).max() < 1e-6
    return count if whole else 16 * count


def _bins(knots: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Knot below the middle of each bin, its value, and one over the gap; the last bin is 1."""
    middle = np.minimum((np.arange(count + 1) + 0.5) / count, 1.0)
    low = np.clip(np.searchsorted(knots, middle, side="right") - 1, 0, len(knots) - 2)
    per = 1.0 / np.diff(knots)
    return low, knots[low].astype(np.float32), per[low].astype(np.float32)


def _check(tables: list[ShadeTable]) -> None:
    first = tables[0]
    for table in tables:
        knots = (len(table.light_w_m2), len(table.cell_c))
        alike = all(
            np.array_equal(getattr(table, axis), getattr(first, axis))
            for axis in ("diffuse_share", "light_w_m2", "cell_c")
        )
        if knots != (LIGHT_KNOTS, HEAT_KNOTS) or not alike:
            raise InputError(
                Fault(
                    where="shade table",
                    given=f"{knots[0]} knots of light, {knots[1]} of heat",
                    allowed=f"{LIGHT_KNOTS} and {HEAT_KNOTS}, the same in every table",
                    why="the compiled loops are written for them",
                )
            )
