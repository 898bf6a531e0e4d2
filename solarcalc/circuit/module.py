"""A module under a strip of shade: cells in series, bypass diodes, halves side by side.

A strip of shade with a straight edge meets the cells row by row. Up the long side it reaches
every substring at once (a half-cut module's lower half first); across the long side it
reaches one substring after the other. Cells in the strip keep the diffuse light; the row on its
edge is covered in part.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.circuit.cells import Cells, Weather, cell_voltages_v

BYPASS_V = constant("circuit.bypass_v")
Strip = Literal["up-long-side", "up-short-side"]
Orientation = Literal["portrait", "landscape"]
Edge = Literal["lower", "side"]

EDGES = ("lower", "side")


def strip_of(orientation: Orientation, edge: Edge) -> Strip:
    """Which way a strip moves over the module.

    Portrait: the long side runs up the slope, so a strip from the lower edge moves up the long
    side and one from the side across it; in landscape the other way round.

    Raises
    ------
    InputError
        For any other word.
    """
    faults = [
        Fault(where=name, given=repr(word), allowed=" or ".join(repr(item) for item in allowed))
        for name, word, allowed in (
            ("orientation", orientation, ("portrait", "landscape")),
            ("edge", edge, EDGES),
        )
        if word not in allowed
    ]
    if faults:
        raise InputError(faults)
    return "up-long-side" if (orientation == "portrait") == (edge == "lower") else "up-short-side"


def stages_of(cells: Cells, strip: Strip) -> int:
    """Parts of a module that the strip reaches in turn: its halves, or its substrings."""
    return cells.halves if strip == "up-long-side" else cells.bypass_diodes


def rows_of_stage(cells: Cells, strip: Strip) -> int:
    """Rows of cells that the strip meets within one such part."""
    return cells.cells_in_column if strip == "up-long-side" else cells.columns_per_substring


def module_voltages_v(
    cells: Cells,
    strip: Strip,
    *,
    fraction: np.ndarray,
    diffuse_share: np.ndarray,
    weather: Weather,
    shares: np.ndarray,
) -> np.ndarray:
    """Voltage of a module [V] at each current, for each depth of the strip, shape (n, k).

    Parameters
    ----------
    cells : Cells
    strip : {"up-long-side", "up-short-side"}
    fraction : array (n,)
        Share of the module in the strip, [0 to 1].
    diffuse_share : array (n,)
        Share of the light that the strip leaves, [0 to 1].
    weather : Weather
    shares : array (k,)
        Current as a share of the unshaded module's photocurrent, rising.

    Notes
    -----
    Voltages of cells in series add at one current; a substring goes no lower than minus the
    bypass voltage; halves in parallel add their currents at one voltage, substring by
    substring, since the bypass diodes tie them together in the middle of the module.
    """
    stages, diodes = stages_of(cells, strip), cells.bypass_diodes
    part = np.concatenate([np.clip(fraction * stages - at, 0.0, 1.0) for at in range(stages)])
    left = np.where(part > 0.0, np.tile(diffuse_share, stages), 1.0)
    first, back = distinct(part, left)
    volts = _substring_v(cells, strip, part[first], left[first], weather, shares)
    of_stage = np.split(back, stages)
    if strip == "up-short-side":
        bypassed = _bypassed(volts)
        total: np.ndarray = np.sum([bypassed[which] for which in of_stage], axis=0)
        return total
    group = volts[back] if stages == 1 else _in_parallel(volts, of_stage, shares)
    module: np.ndarray = diodes * _bypassed(group)
    return module


def distinct(*columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places of the distinct rows of some columns, and for every row which of them it is."""
    _, first, back = np.unique(
        np.stack(columns, axis=1), axis=0, return_index=True, return_inverse=True
    )
    return first, back.ravel()


def _substring_v(
    cells: Cells,
    strip: Strip,
    part: np.ndarray,
    diffuse_share: np.ndarray,
    weather: Weather,
    shares: np.ndarray,
) -> np.ndarray:
    """Voltage (n, k) of one substring of which the strip covers `part`, before its diode."""
    rows = rows_of_stage(cells, strip)
    in_row = cells.cells_in_series // (cells.bypass_diodes * rows)
    covered = part * rows
    whole = np.minimum(np.floor(covered + 1e-9), rows - 1.0)
    edge = np.clip(covered - whole, 0.0, 1.0)
    on_edge = 1.0 - edge * (1.0 - diffuse_share)
    needed = np.round(np.concatenate([[1.0], diffuse_share, on_edge]), 9)
    lights, where = np.unique(needed, return_inverse=True)
    curves = cell_voltages_v(cells, lights, weather, shares)
    lit, shaded, edges = np.split(where, [1, 1 + len(part)])
    volts: np.ndarray = in_row * (
        (rows - 1.0 - whole)[:, None] * curves[lit]
        + whole[:, None] * curves[shaded]
        + curves[edges]
    )
    return volts


def _bypassed(volts: np.ndarray) -> np.ndarray:
    result: np.ndarray = np.maximum(volts, -float(BYPASS_V))
    return result


def _in_parallel(
    volts: np.ndarray, halves: list[np.ndarray], shares: np.ndarray
) -> np.ndarray:
    """Voltage of substrings side by side at each share of their current together, (n, k).

    `volts` holds the distinct curves; each half says which of them every row has.
    """
    ladder = np.linspace(float(volts[:, 0].max()), -float(BYPASS_V), len(shares))
    currents = currents_at(ladder, volts, shares)
    together = np.mean([currents[which] for which in halves], axis=0)
    return np.array([np.interp(shares, current, ladder) for current in together])


def currents_at(ladder: np.ndarray, volts: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Current of each curve (n, k) at the voltages of a ladder, shape (n, m)."""
    backward = shares[::-1]
    return np.array([np.interp(ladder, curve[::-1], backward) for curve in volts])
