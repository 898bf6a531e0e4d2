"""Made-up modules for the tests of the circuit, and a second way to solve it, cell by cell."""

from __future__ import annotations

from functools import cache

import numpy as np
import pvlib
from scipy.optimize import brentq

from solarcalc.circuit.module import Cells, cells_of_fit
from solarcalc.energy.diode import diode_of
from solarcalc.sitefile.array import Module

_FIGURES = {
    "full": {
        "pmax_w": 300.0, "voc_v": 39.9, "isc_a": 9.77, "vmp_v": 32.6, "imp_a": 9.2,
        "alpha_isc_pct_per_k": 0.05, "beta_voc_pct_per_k": -0.29, "gamma_pmax_pct_per_k": -0.37,
        "length_m": 1.64, "width_m": 0.992, "mass_kg": 18.5,
    },
    "half-cut": {
        "pmax_w": 375.0, "voc_v": 41.3, "isc_a": 11.5, "vmp_v": 34.6, "imp_a": 10.84,
        "alpha_isc_pct_per_k": 0.045, "beta_voc_pct_per_k": -0.275,
        "gamma_pmax_pct_per_k": -0.34, "length_m": 1.765, "width_m": 1.048, "mass_kg": 20.5,
    },
}  # fmt: skip


@cache
def cells_of(build: str) -> Cells:
    """Sixty cells in series, three diodes; invented figures of a common size."""
    module = Module(
        label="Invented", cells_in_series=60, cell_build=build, bypass_diodes=3, **_FIGURES[build]
    )
    return cells_of_fit(
        diode_of(module), cells_in_series=60, bypass_diodes=3, cell_build=build
    )


def five_parameters(cells: Cells, light_w_m2, cell_c):
    """The library's five parameters of the evenly lit module, and its conductance in weak light."""
    photo, saturation, series, shunt, ideality = pvlib.pvsystem.calcparams_cec(
        light_w_m2, cell_c, cells.alpha_isc_a_per_k, cells.ideality_v, cells.photocurrent_a,
        cells.saturation_a, cells.shunt_ohm, cells.series_ohm, cells.adjust_percent,
        cells.gap_ev, cells.gap_slope_per_k,
    )  # fmt: skip
    sun = light_w_m2 / 1000.0
    more = cells.weak_shunt_s * sun * (np.exp(-3.5 * sun) - np.exp(-3.5))
    return photo, saturation, series, 1.0 / (1.0 / shunt + more), ideality


def plain_module_w(cells: Cells, light_w_m2, cell_c) -> float:
    """Best power of the evenly lit module by the library [W]."""
    return float(
        pvlib.pvsystem.max_power_point(
            *five_parameters(cells, light_w_m2, cell_c), method="brentq"
        )["p_mp"]
    )


def cell_light(cells: Cells, up: str, fraction: float, diffuse: float) -> np.ndarray:
    """Relative light of every cell by plain geometry, (halves, substrings, cells)."""
    light = np.ones((cells.halves, cells.bypass_diodes, 2, cells.cells_in_column))
    for half, group, column, row in np.ndindex(light.shape):
        if up == "long":
            low, size = half * cells.cells_in_column + row, cells.halves * cells.cells_in_column
        else:
            low, size = 2 * group + column, 2 * cells.bypass_diodes
        covered = min(max(fraction * size - low, 0.0), 1.0)
        light[half, group, column, row] = 1.0 - covered * (1.0 - diffuse)
    return light.reshape(cells.halves, cells.bypass_diodes, -1)


def second_way_w(cells: Cells, light: np.ndarray, light_w_m2: float, cell_c: float,
                 bypass_v: float = 0.5) -> float:  # fmt: skip
    """Best power of one module [W]: each cell by bisection, diodes and halves by root finding.

    The best three of 40 evenly spaced currents, then 25 more around each.
    """
    halves, count = cells.halves, cells.cells_in_series

    def cell_v(amps: float, relative: float) -> float:
        photo, saturation, series, shunt, ideality = (
            float(value) for value in five_parameters(cells, relative * light_w_m2, cell_c)
        )
        photo, saturation = photo / halves, saturation / halves
        series, shunt = series * halves / count, shunt * halves / count
        ideality /= count

        def excess(diode_v: float) -> float:
            broken = 2e-6 / halves * diode_v * (1.0 + diode_v / 15.0) ** -3.0
            forward = saturation * np.expm1(diode_v / ideality)
            return photo - forward - diode_v / shunt - broken - amps

        found = brentq(excess, -15.0 + 1e-9, 1.2, xtol=1e-9)
        return found - amps * series

    def substring_v(amps: float, cells_light: np.ndarray) -> float:
        lights, counts = np.unique(cells_light.round(12), return_counts=True)
        return sum(n * cell_v(amps, u) for u, n in zip(lights, counts, strict=True))

    def group_v(amps: float, parts: np.ndarray) -> float:
        if halves == 1:
            return max(substring_v(amps, parts[0]), -bypass_v)
        if np.allclose(parts[0], parts[1]):
            return max(substring_v(amps / 2.0, parts[0]), -bypass_v)
        top = float(five_parameters(cells, light_w_m2, cell_c)[0])
        lower = brentq(
            lambda x: substring_v(x, parts[0]) - substring_v(amps - x, parts[1]), -top, 2.0 * top,
            xtol=1e-6,
        )  # fmt: skip
        return max(substring_v(lower, parts[0]), -bypass_v)

    def power_w(amps: float) -> float:
        groups = light.transpose(1, 0, 2)
        seen: dict[bytes, float] = {}
        for parts in groups:
            key = parts.round(12).tobytes()
            if key not in seen:
                seen[key] = group_v(amps, parts)
        return amps * sum(seen[parts.round(12).tobytes()] for parts in groups)

    top = float(five_parameters(cells, light_w_m2, cell_c)[0])
    coarse = np.linspace(0.01, 0.999, 40) * top
    powers = [power_w(amps) for amps in coarse]
    best = 0.0
    for at in np.argsort(powers)[-3:]:
        fine = np.linspace(coarse[max(at - 1, 0)], coarse[min(at + 1, 39)], 25)
        best = max(best, *(power_w(amps) for amps in fine))
    return best
