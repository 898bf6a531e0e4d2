"""Voltages, currents and powers carried from one light and heat to another (IEC 60891)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.records import Module

STC_W_M2, STC_C = 1000.0, 25.0
"""Irradiance [W/m2] and cell temperature [degC] of the standard test conditions, IEC 60904-3."""
KELVIN_AT_0_C = 273.15
BOLTZMANN_V_PER_K = 8.617333e-5
"""k / q, CODATA 2018, from memory [V/K]."""
DIODE_FACTOR = constant("commissioning.diode_factor")


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

    @property
    def above_stc_k(self) -> float:
        """Cells warmer than 25 degC by this [K]."""
        return self.cell_c - STC_C


STC = Conditions(light_w_m2=STC_W_M2, cell_c=STC_C)


@dataclass(frozen=True, kw_only=True)
class Coefficients:
    """What procedure 1 asks of a module or string.

    Parameters
    ----------
    alpha_a_per_k : float
        Of the short-circuit current [A/K].
    beta_v_per_k : float
        Of the open-circuit voltage [V/K].
    series_ohm : float
        Internal series resistance [ohm].
    kappa_ohm_per_k : float
        Its curve correction factor [ohm/K].
    """

    alpha_a_per_k: float
    beta_v_per_k: float
    series_ohm: float
    kappa_ohm_per_k: float


def point_moved(
    current_a: float, voltage_v: float, *, isc_a: float, before: Conditions, after: Conditions,
    of: Coefficients,
) -> tuple[float, float]:  # fmt: skip
    """A point of a current-voltage curve at another light and heat.

    Parameters
    ----------
    current_a, voltage_v : float
        The point as measured [A], [V].
    isc_a : float
        Short-circuit current of the same curve, at `before` [A].
    before, after : Conditions
    of : Coefficients

    Returns
    -------
    tuple of float
        Current [A] and voltage [V].

    Notes
    -----
    I2 = I1 + Isc1 (G2 / G1 - 1) + alpha (T2 - T1);
    V2 = V1 - Rs (I2 - I1) - kappa I2 (T2 - T1) + beta (T2 - T1): IEC 60891:2021 procedure 1. It
    holds near the light it was measured in; the standard keeps it to about 30 % of change.
    """
    warmer_k = after.cell_c - before.cell_c
    brighter = after.light_w_m2 / before.light_w_m2 - 1.0
    moved_a = current_a + isc_a * brighter + of.alpha_a_per_k * warmer_k
    moved_v = (
        voltage_v
        - of.series_ohm * (moved_a - current_a)
        - of.kappa_ohm_per_k * moved_a * warmer_k
        + of.beta_v_per_k * warmer_k
    )
    return moved_a, moved_v


def diode_voltage_v(cells_in_series: int) -> float:
    """Thermal voltage of all cells of a module in a row, at 25 degC, with the usual factor [V]."""
    return cells_in_series * float(DIODE_FACTOR) * BOLTZMANN_V_PER_K * (STC_C + KELVIN_AT_0_C)


def light_term_v(at: Conditions, *, diode_v: float) -> float:
    """What the light adds to the open-circuit voltage against 1000 W/m2; negative below it [V].

    Parameters
    ----------
    at : Conditions
    diode_v : float
        Diode factor times cells in series times k T / q at 25 degC [V].

    Notes
    -----
    n_s n (k T / q) ln(G / 1000), T the temperature of the cells: the single diode without its
    resistances, the logarithm of IEC 60891:2021.
    """
    warmer = (at.cell_c + KELVIN_AT_0_C) / (STC_C + KELVIN_AT_0_C)
    return diode_v * warmer * math.log(at.light_w_m2 / STC_W_M2)


def isc_expected_a(module: Module, at: Conditions) -> float:
    """Short-circuit current of one module, and so of its string [A].

    Notes
    -----
    Isc = Isc0 (G / 1000) (1 + alpha (T - 25)).
    """
    heat = module.alpha_isc_pct_per_k / 100.0 * at.above_stc_k
    return module.isc_a * at.light_w_m2 / STC_W_M2 * (1.0 + heat)


def isc_at_stc_a(measured_a: float, module: Module, at: Conditions) -> float:
    """A measured short-circuit current as it would be at standard test conditions [A]."""
    return measured_a / isc_expected_a(module, at) * module.isc_a


def voc_expected_v(
    module: Module, at: Conditions, *, in_series: int = 1, diode_v: float | None = None
) -> float:
    """Open-circuit voltage of a string [V].

    Parameters
    ----------
    module : Module
    at : Conditions
    in_series : int
        Modules of the string.
    diode_v : float or None
        As `light_term_v`; None: with the usual diode factor [V].

    Notes
    -----
    Voc = n (Voc0 (1 + beta (T - 25)) + light term).
    """
    heat = module.beta_voc_pct_per_k / 100.0 * at.above_stc_k
    diode = diode_voltage_v(module.cells_in_series) if diode_v is None else diode_v
    return in_series * (module.voc_v * (1.0 + heat) + light_term_v(at, diode_v=diode))


def voc_at_stc_v(
    measured_v: float, module: Module, at: Conditions, *, in_series: int = 1,
    diode_v: float | None = None,
) -> float:  # fmt: skip
    """A measured open-circuit voltage as it would be at standard test conditions [V]."""
    expected = voc_expected_v(module, at, in_series=in_series, diode_v=diode_v)
    return measured_v / expected * in_series * module.voc_v


def power_at_stc_w(measured_w: float, module: Module, at: Conditions) -> float:
    """A measured power as it would be at standard test conditions, the simple way [W].

    Notes
    -----
    P (1000 / G) / (1 + gamma (T - 25)): common practice, no source.
    """
    heat = module.gamma_pmax_pct_per_k / 100.0 * at.above_stc_k
    return measured_w * STC_W_M2 / at.light_w_m2 / (1.0 + heat)
