"""Readings of a module or string carried to and from standard test conditions (IEC 60891)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.physics import BOLTZMANN_V_PER_K, KELVIN_AT_0_C, STC_C, STC_W_M2
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.array import Module
from solarcalc.sitefile.owned import Owned

DIODE_FACTOR = constant("harvest.diode_factor")


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """Light and heat of a measurement.

    Parameters
    ----------
    light_w_m2 : float
        In the plane of the modules, above 0 [W/m2].
    cell_c : float
        Of the cells [degC].

    Raises
    ------
    InputError
        Where there is no light: nothing can be carried over from the dark.
    """

    light_w_m2: float
    cell_c: float

    def __post_init__(self) -> None:
        if not (self.light_w_m2 > 0.0 and math.isfinite(self.light_w_m2 + self.cell_c)):
            raise InputError(Fault(
                where="commissioning: irradiance_w_m2, cell_c",
                given=f"{self.light_w_m2:g} W/m2, {self.cell_c:g} degC",
                allowed="numbers, the irradiance above 0 W/m2",
                why="a voltage in the dark says nothing about one in the light",
            ))  # fmt: skip

    def over_stc(self, pct_per_k: float | None) -> float:
        """What a sheet's figure becomes in this heat, over itself; None: it stays as it is."""
        return 1.0 + (pct_per_k or 0.0) / 100.0 * (self.cell_c - STC_C)


STC = Conditions(light_w_m2=STC_W_M2, cell_c=STC_C)


def light_term_v(at: Conditions, *, cells_in_series: int) -> float:
    """What the light adds to the open-circuit voltage against 1000 W/m2; negative below it [V].

    Notes
    -----
    n_s n (k T / q) ln(G / 1000), T the temperature of the cells: the single diode without its
    resistances, the logarithm of IEC 60891:2021.
    """
    cell_v = float(DIODE_FACTOR) * BOLTZMANN_V_PER_K * (at.cell_c + KELVIN_AT_0_C)
    return cells_in_series * cell_v * math.log(at.light_w_m2 / STC_W_M2)


def isc_expected_a(module: Module | Owned, at: Conditions) -> float:
    """Short-circuit current of one module, and so of its string [A].

    Notes
    -----
    Isc = Isc0 (G / 1000) (1 + alpha (T - 25)).
    """
    warm_a = (module.isc_a or 0.0) * at.over_stc(module.alpha_isc_pct_per_k)
    return warm_a * at.light_w_m2 / STC_W_M2


def isc_at_stc_a(measured_a: float, module: Module | Owned, at: Conditions) -> float:
    """A measured short-circuit current as it would be at standard test conditions [A]."""
    return measured_a / isc_expected_a(module, at) * (module.isc_a or 0.0)


def voc_expected_v(module: Module | Owned, at: Conditions, *, in_series: int = 1) -> float:
    """Open-circuit voltage of a string of so many modules in series [V].

    Notes
    -----
    Voc = n (Voc0 (1 + beta (T - 25)) + light term).
    """
    warm_v = (module.voc_v or 0.0) * at.over_stc(module.beta_voc_pct_per_k)
    return in_series * (warm_v + light_term_v(at, cells_in_series=module.cells_in_series or 1))


def voc_at_stc_v(
    measured_v: float, module: Module | Owned, at: Conditions, *, in_series: int = 1
) -> float:
    """A measured open-circuit voltage as it would be at standard test conditions [V].

    Heat and light change what is there by its share: a string that lacks a module is carried
    over as the shorter string it is.
    """
    expected_v = voc_expected_v(module, at, in_series=in_series)
    return measured_v / expected_v * in_series * (module.voc_v or 0.0)


def power_at_stc_w(measured_w: float, module: Module | Owned, at: Conditions) -> float:
    """A measured power as it would be at standard test conditions, the simple way [W].

    Notes
    -----
    P (1000 / G) / (1 + gamma (T - 25)): common practice, no source.
    """
    return measured_w * STC_W_M2 / at.light_w_m2 / at.over_stc(module.gamma_pmax_pct_per_k)
