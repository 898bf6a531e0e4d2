"""A cell in any light, lit or shaded, and a module of cells under a strip of shade.

A strip of shade with a straight edge meets the cells row by row. Up the long side it reaches
every substring at once (a half-cut module's lower half first); across the long side it
reaches one substring after the other. Cells in the strip keep the diffuse light; the row on its
edge is covered in part.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np
import pvlib

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import STC_W_M2
from solarcalc.basis.sourced import constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.array import COLUMNS_PER_DIODE

BREAKDOWN_V = constant("circuit.breakdown_v")
BREAKDOWN_EXPONENT = constant("circuit.breakdown_exponent")
BREAKDOWN_S = constant("circuit.breakdown_s")
"""Held as a conductance, so that breakdown does not change with the shunt fitted to a module."""

DARKEST_SHARE = 1e-4
"""Share of full light below which a cell counts as having this: the shunt grows without end."""
WEAK_DECAY = float(constant("circuit.weak_decay"))
LEAST_SHUNT_FRAC = 1e-3
"""Least conductance of the shunt, as a share of De Soto's in the same light: never negative."""
MOST_FORWARD_SHARE = 1.2
"""Current that may be pushed backwards through a cell, as a share of the lit photocurrent."""
_REVERSE_POINTS, _FORWARD_POINTS = 160, 320
_NEAREST_BREAKDOWN = 5e-4

CellBuild = Literal["full", "half-cut"]


@dataclass(frozen=True, kw_only=True)
class Cells:
    """The single-diode figures of a module at standard test conditions, and how its cells lie.

    A half-cut module counts the cells of one half in `cells_in_series`, as its data sheet's
    voltage does; its current is that of both halves.

    Parameters
    ----------
    photocurrent_a, saturation_a : float
        Of the module [A].
    series_ohm, shunt_ohm : float
        Of the module [ohm].
    ideality_v : float
        Ideality factor times cells in series times thermal voltage [V].
    alpha_isc_a_per_k : float
        Temperature coefficient of the short-circuit current [A/K].
    gap_ev, gap_slope_per_k : float
        Band gap at 25 degC [eV] and its relative slope [1/K].
    adjust_percent : float
        Sixth parameter, taken off the current's temperature coefficient [%].
    weak_shunt_s : float
        Conductance beside the shunt in weak light, none at 1000 W/m2 (`five_parameters`) [S].
    cells_in_series, bypass_diodes : int
    cell_build : {"full", "half-cut"}
    columns_per_substring : int
        Columns of cells, along the long side, behind one bypass diode.

    Raises
    ------
    InputError
        When the cells cannot be laid out in that many columns, or a figure is not positive.
    """

    photocurrent_a: float
    saturation_a: float
    series_ohm: float
    shunt_ohm: float
    ideality_v: float
    cells_in_series: int
    bypass_diodes: int
    cell_build: CellBuild
    alpha_isc_a_per_k: float = 0.0
    gap_ev: float = 1.121
    gap_slope_per_k: float = -0.0002677
    adjust_percent: float = 0.0
    weak_shunt_s: float = 0.0
    columns_per_substring: int = COLUMNS_PER_DIODE

    def __post_init__(self) -> None:
        faults = [
            Fault(where=f"cells: {name}", given=repr(getattr(self, name)), allowed="above 0")
            for name in _POSITIVE
            if not getattr(self, name) > 0
        ]
        if self.cell_build not in ("full", "half-cut"):
            faults.append(
                Fault(where="cells: cell_build", given=repr(self.cell_build),
                      allowed='"full" or "half-cut"')
            )
        columns = self.bypass_diodes * self.columns_per_substring
        if not faults and self.cells_in_series % columns:
            faults.append(
                Fault(given=str(self.cells_in_series), **worded(
                    "circuit", "cells-cells-series", columns=columns,
                    bypass_diodes=self.bypass_diodes,
                    columns_per_substring=self.columns_per_substring,
                ))
            )
        if faults:
            raise InputError(faults)

    @property
    def fit(self) -> dict[str, float]:
        """The electrical figures under the library's names, as `five_parameters` takes them.

        Currents in [A], resistances in [ohm], `a_ref` in [V], the coefficient in [A/K].
        """
        return {
            "I_L_ref": self.photocurrent_a,
            "I_o_ref": self.saturation_a,
            "R_s": self.series_ohm,
            "R_sh_ref": self.shunt_ohm,
            "a_ref": self.ideality_v,
            "alpha_sc": self.alpha_isc_a_per_k,
            "EgRef": self.gap_ev,
            "dEgdT": self.gap_slope_per_k,
            "Adjust": self.adjust_percent,
            "G_weak": self.weak_shunt_s,
        }

    @property
    def halves(self) -> int:
        """Parallel parts: two in a half-cut module."""
        return 2 if self.cell_build == "half-cut" else 1

    @property
    def cells_in_column(self) -> int:
        """Cells of one column, within one half."""
        return self.cells_in_series // (self.bypass_diodes * self.columns_per_substring)


_POSITIVE = (
    "photocurrent_a", "saturation_a", "series_ohm", "shunt_ohm", "ideality_v",
    "cells_in_series", "bypass_diodes", "columns_per_substring",
)  # fmt: skip


def cells_of_fit(
    fit: Mapping[str, float], *, cells_in_series: int, bypass_diodes: int, cell_build: CellBuild,
    columns_per_substring: int = COLUMNS_PER_DIODE,
) -> Cells:  # fmt: skip
    """The cells of a module from fitted parameters under the library's names.

    Parameters
    ----------
    fit : mapping
        ``I_L_ref``, ``I_o_ref`` [A], ``R_s``, ``R_sh_ref`` [ohm], ``a_ref`` [V], ``alpha_sc``
        [A/K], ``EgRef`` [eV], ``dEgdT`` [1/K], ``Adjust`` [%]; ``G_weak`` [S], 0 if left out.
    cells_in_series, bypass_diodes, columns_per_substring : int
    cell_build : {"full", "half-cut"}

    Raises
    ------
    InputError
        As `Cells` does.
    """
    return Cells(photocurrent_a=fit["I_L_ref"], saturation_a=fit["I_o_ref"], series_ohm=fit["R_s"],
                 shunt_ohm=fit["R_sh_ref"], ideality_v=fit["a_ref"],
                 alpha_isc_a_per_k=fit["alpha_sc"], gap_ev=fit["EgRef"],
                 gap_slope_per_k=fit["dEgdT"], adjust_percent=fit["Adjust"],
                 weak_shunt_s=fit.get("G_weak", 0.0), cells_in_series=cells_in_series,
                 bypass_diodes=bypass_diodes, cell_build=cell_build,
                 columns_per_substring=columns_per_substring)


def weak_light_frac(sun: Any) -> Any:
    """Share of the conductance G_weak that counts in s suns: s (exp(-3.5 s) - exp(-3.5)).

    Parameters
    ----------
    sun : float or array
        Light over 1000 W/m2.
    """
    return sun * (np.exp(-WEAK_DECAY * sun) - np.exp(-WEAK_DECAY))


def five_parameters(fit: Mapping[str, float], light_w_m2: Any, cell_c: Any) -> Any:
    """The five parameters of an evenly lit module in some light at some temperature.

    Parameters
    ----------
    fit : mapping
        Under the library's names, as `cells_of_fit` takes them.
    light_w_m2, cell_c : float or array
        Light that reaches the cells [W/m2]; cell temperature [degC].

    Returns
    -------
    tuple
        Photocurrent [A], saturation current [A], series and shunt resistance [ohm], ideality
        times cells times thermal voltage [V]; De Soto et al. 2006 with the sixth parameter of
        Dobos 2012, through pvlib.pvsystem.calcparams_cec.

    Notes
    -----
    De Soto's shunt conductance falls with the light: s / R_sh_ref, s = G / 1000. Flashed modules
    lose more in weak light; that stands in a second conductance, G_weak times
    `weak_light_frac`, none at s = 1. Met at 200 W/m2, the power of eleven published modules at
    100 W/m2 is then within 4 %, where De Soto's is up to 20 % high, and within 1.5 % above.
    The form is our own, held to NREL's matrices in `tests/published/energy/weak-light.toml`.
    """
    library = {key: value for key, value in fit.items() if key != "G_weak"}
    photo, saturation, series, shunt, ideality = pvlib.pvsystem.calcparams_cec(
        light_w_m2, cell_c, **library
    )
    weak_s = fit.get("G_weak", 0.0)
    if weak_s == 0.0:
        return photo, saturation, series, shunt, ideality
    sun = np.asarray(light_w_m2, dtype=float) / STC_W_M2
    conductance = sun / fit["R_sh_ref"] + weak_s * weak_light_frac(sun)
    shunt = 1.0 / np.maximum(conductance, LEAST_SHUNT_FRAC * sun / fit["R_sh_ref"])
    return photo, saturation, series, shunt, ideality


@dataclass(frozen=True, kw_only=True)
class Weather:
    """Light on the unshaded cells [W/m2] and temperature of all cells [degC]."""

    light_w_m2: float
    cell_c: float


@lru_cache(maxsize=256)
def photocurrent_a(cells: Cells, weather: Weather) -> float:
    """Photocurrent [A] of the unshaded module, both halves together."""
    return float(_module_parameters(cells, np.array([1.0]), weather)[0][0])


def cell_voltages_v(
    cells: Cells, relative_light: np.ndarray, weather: Weather, shares: np.ndarray
) -> np.ndarray:
    """Voltage of one cell [V] in each light at each current, shape (n, k).

    All cells share one temperature; a shaded cell keeps the temperature of its module.

    Parameters
    ----------
    cells : Cells
    relative_light : array (n,)
        Light on the cell as a share of the unshaded light, [0 to 1].
    weather : Weather
    shares : array (k,)
        Current as a share of the lit photocurrent, rising, [-1.2 to any].

    Notes
    -----
    The curve's explicit points (current and voltage from the diode's voltage) are joined by
    straight lines, dense towards breakdown and in the forward knee. The shunt of a cell falls
    with its own light as in De Soto et al. 2006, so that evenly dim cells are a dim module.
    """
    light = np.maximum(np.asarray(relative_light, dtype=float), DARKEST_SHARE)
    photo, saturation, series, shunt, ideality = _module_parameters(cells, light, weather)
    halves, count = cells.halves, cells.cells_in_series
    per_cell = (photo / halves, saturation / halves, series * halves / count,
                shunt * halves / count, ideality / count)  # fmt: skip
    lit_a = photocurrent_a(cells, weather) / halves
    knee_v = per_cell[4] * np.log1p((1.0 + MOST_FORWARD_SHARE) * lit_a / per_cell[1])
    diode_v = np.concatenate(
        [
            np.broadcast_to(_reverse_v(), (len(light), _REVERSE_POINTS)),
            np.multiply.outer(knee_v, np.linspace(0.0, 1.0, _FORWARD_POINTS)),
        ],
        axis=1,
    )
    columns = [value[:, None] for value in per_cell]
    current, voltage, _ = pvlib.singlediode.bishop88(
        diode_v, *columns, breakdown_factor=float(BREAKDOWN_S) / halves * columns[3],
        breakdown_voltage=float(BREAKDOWN_V), breakdown_exp=float(BREAKDOWN_EXPONENT),
    )
    wanted = shares * lit_a
    return np.array(
        [np.interp(wanted, amps[::-1], volts[::-1])
         for amps, volts in zip(current, voltage, strict=True)]
    )  # fmt: skip


def _reverse_v() -> np.ndarray:
    """Diode voltages from close to breakdown up to just below zero, denser towards breakdown."""
    away = np.geomspace(_NEAREST_BREAKDOWN, 1.0, _REVERSE_POINTS + 1)[:-1]
    result: np.ndarray = float(BREAKDOWN_V) * (1.0 - away)
    return result


def _module_parameters(
    cells: Cells, relative_light: np.ndarray, weather: Weather
) -> tuple[np.ndarray, ...]:
    """Photocurrent, saturation, series, shunt and ideality of the evenly lit module, (n,)."""
    five = five_parameters(cells.fit, relative_light * weather.light_w_m2, weather.cell_c)
    return tuple(np.broadcast_to(value, relative_light.shape) for value in five)


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
    cells: Cells, strip: Strip, *, fraction: np.ndarray, diffuse_share: np.ndarray,
    weather: Weather, shares: np.ndarray,
) -> np.ndarray:  # fmt: skip
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
    cells: Cells, strip: Strip, part: np.ndarray, diffuse_share: np.ndarray, weather: Weather,
    shares: np.ndarray,
) -> np.ndarray:  # fmt: skip
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
