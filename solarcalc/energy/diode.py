"""A module's best power from its data sheet; readings carried to other light and heat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
import pvlib
from scipy.optimize import brentq

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.keys import Digested
from solarcalc.basis.physics import BOLTZMANN_V_PER_K, KELVIN_AT_0_C, STC_C, STC_W_M2
from solarcalc.basis.sourced import constant
from solarcalc.circuit.module import Cells, cells_of_fit, five_parameters, weak_light_frac
from solarcalc.sitefile.array import COLUMNS_PER_DIODE, Module
from solarcalc.sitefile.existing import Existing

DIODE_FACTOR = constant("energy.diode_factor")


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
            raise InputError(Fault(where="commissioning: irradiance_w_m2, cell_c",
                                   given=f"{self.light_w_m2:g} W/m2, {self.cell_c:g} degC",
                                   allowed="numbers, the irradiance above 0 W/m2",
                                   why="a voltage in the dark says nothing about one in the light"))

    def over_stc(self, pct_per_k: float | None) -> float:
        """What a sheet's figure becomes in this heat, over itself; None: it stays as it is.

        A factor, 1 at 25 °C.
        """
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


def isc_expected_a(module: Module | Existing, at: Conditions) -> float:
    """Short-circuit current of one module, and so of its string [A].

    Notes
    -----
    Isc = Isc0 (G / 1000) (1 + alpha (T - 25)).
    """
    warm_a = (module.isc_a or 0.0) * at.over_stc(module.alpha_isc_pct_per_k)
    return warm_a * at.light_w_m2 / STC_W_M2


def isc_at_stc_a(measured_a: float, module: Module | Existing, at: Conditions) -> float:
    """A measured short-circuit current as it would be at standard test conditions [A]."""
    return measured_a / isc_expected_a(module, at) * (module.isc_a or 0.0)


def voc_expected_v(module: Module | Existing, at: Conditions, *, in_series: int = 1) -> float:
    """Open-circuit voltage of a string of so many modules in series [V].

    Notes
    -----
    Voc = n (Voc0 (1 + beta (T - 25)) + light term).
    """
    warm_v = (module.voc_v or 0.0) * at.over_stc(module.beta_voc_pct_per_k)
    return in_series * (warm_v + light_term_v(at, cells_in_series=module.cells_in_series or 1))


def voc_at_stc_v(
    measured_v: float, module: Module | Existing, at: Conditions, *, in_series: int = 1
) -> float:
    """A measured open-circuit voltage as it would be at standard test conditions [V].

    Heat and light change what is there by its share: a string that lacks a module is carried
    over as the shorter string it is.
    """
    expected_v = voc_expected_v(module, at, in_series=in_series)
    return measured_v / expected_v * in_series * (module.voc_v or 0.0)


def power_at_stc_w(measured_w: float, module: Module | Existing, at: Conditions) -> float:
    """A measured power as it would be at standard test conditions, the simple way [W].

    Notes
    -----
    P (1000 / G) / (1 + gamma (T - 25)): common practice, no source.
    """
    return measured_w * STC_W_M2 / at.light_w_m2 / at.over_stc(module.gamma_pmax_pct_per_k)


FIT_TOLERANCE_FRAC = float(constant("energy.fit_tolerance_frac"))
"""Data sheets with a very high fill factor end at a shunt resistance without end, where the fit
still misses by a few tenths of a percent; a fit further off has not found the module.
"""
IDEALITY_RANGE = (0.6, 1.5)
"""Diode factor of one cell; fits of 600 made-up but usual data sheets gave 0.78 to 1.17.

Counting both halves of a half-cut module halves it: common practice, no source.
"""
THERMAL_V = BOLTZMANN_V_PER_K * (STC_C + KELVIN_AT_0_C)
"""k T / q at 25 degC [V]."""
DARK_W_M2 = 1.0
"""Effective irradiance below which a module is taken to give nothing."""


@lru_cache(maxsize=64)
def diode_of(module: Module) -> dict[str, float]:
    """Single-diode parameters at standard test conditions, fitted to the data sheet.

    Returns
    -------
    dict
        ``I_L_ref`` [A], ``I_o_ref`` [A], ``R_s`` [ohm], ``R_sh_ref`` [ohm], ``a_ref`` [V],
        ``alpha_sc`` [A/K], ``EgRef`` [eV], ``dEgdT`` [1/K], ``Adjust`` [%], ``G_weak`` [S].

    Raises
    ------
    InputError
        When no physical set of parameters fits the data sheet.

    Notes
    -----
    Five parameters alone give a power coefficient some percent weaker than the data sheet's.
    The sixth, ``Adjust``, takes a share off the current coefficient until the power between 25
    and 50 degC falls as the data sheet says (Dobos 2012); the short-circuit current then rises
    a little less with heat than its own coefficient.
    The seventh, ``G_weak``, meets the efficiency at 200 W/m2 (`five_parameters`) and leaves full
    light as it is. A sheet without that figure is given the usual one, or what the others alone
    give where that is lower.
    """
    diode = _in_full_light(module.model_copy(update={"efficiency_200_w_m2_frac": None}))
    return diode | {"G_weak": _weak_shunt_s(diode, module)}


def _where(module: Module, key: str = "vmp_v") -> str:
    return f"module.{key} ({module.label})"


@lru_cache(maxsize=64)
def _in_full_light(module: Module) -> dict[str, float]:
    """The six parameters that its efficiency in weak light leaves as they are."""
    where = _where(module)
    figures = {"v_mp": module.vmp_v, "i_mp": module.imp_a, "v_oc": module.voc_v,
               "i_sc": module.isc_a}
    slopes = {
        "alpha_sc": module.alpha_isc_pct_per_k / 100.0 * module.isc_a,
        "beta_voc": module.beta_voc_pct_per_k / 100.0 * module.voc_v,
    }
    try:
        fitted, _ = pvlib.ivtools.sdm.fit_desoto(
            **figures,
            **slopes,
            cells_in_series=module.cells_in_series,
            init_guess=_first_guess(**figures, **slopes),
            root_kwargs={"method": "lm"},  # the default search fails on most data sheets
        )
    except RuntimeError as error:
        raise _no_fit(where, " ".join(str(error).split())[:200]) from None
    bad = [key for key in _POSITIVE if not fitted[key] > 0.0]
    if bad:
        raise _no_fit(where, "not positive: " + ", ".join(bad))
    ideality = fitted["a_ref"] / (module.cells_in_series * THERMAL_V)
    if not IDEALITY_RANGE[0] <= ideality <= IDEALITY_RANGE[1]:
        raise _no_fit(_where(module, "cells_in_series"), "the diode factor of a cell comes out as"
                      f" {ideality:.2f}, where {IDEALITY_RANGE[0]} to {IDEALITY_RANGE[1]} is"
                      " possible")  # fmt: skip
    missed = _missed(fitted, figures)
    if missed:
        raise _no_fit(where, "the nearest module misses " + missed)
    diode = {key: float(fitted[key]) for key in (*_POSITIVE, "alpha_sc", "EgRef", "dEgdT")}
    return diode | {"Adjust": _adjust_percent(diode, module)}


_ADJUST_RANGE_PERCENT = (-400.0, 400.0)
"""Where the sixth parameter is looked for; usual data sheets need 20 to 60."""
_WARM_C = 50.0


def _adjust_percent(diode: dict[str, float], module: Module) -> float:
    """The sixth parameter [%]: zero where the power coefficient is already the data sheet's."""
    gamma_pct_per_k = module.gamma_pmax_pct_per_k

    def miss(adjust_percent: float) -> float:
        tried = diode | {"Adjust": adjust_percent}
        curves = five_parameters(tried, STC_W_M2, np.array([STC_C, _WARM_C]))
        cool_w, warm_w = pvlib.pvsystem.max_power_point(*curves, method="newton")["p_mp"]
        return float(100.0 * (warm_w / cool_w - 1.0) / (_WARM_C - STC_C) - gamma_pct_per_k)

    low, high = _ADJUST_RANGE_PERCENT
    if diode["alpha_sc"] == 0.0:
        return 0.0
    if miss(low) * miss(high) > 0.0:
        raise _no_fit(_where(module, "gamma_pmax_pct_per_k"),
                      f"no such module loses {-gamma_pct_per_k:g} % of its power a kelvin")
    return float(brentq(miss, low, high, xtol=1e-3))


WEAK_W_M2 = 200.0
"""Weak light of data sheets, EN 50380 and IEC 61215 [W/m2]."""
USUAL_EFFICIENCY_200_FRAC = float(constant("energy.efficiency_200_w_m2_frac"))


def _weak_shunt_s(diode: dict[str, float], module: Module) -> float:
    """The seventh parameter [S]: the power at 200 W/m2 is then what it should be."""

    def over(weak_s: float) -> float:
        curve = five_parameters(diode | {"G_weak": weak_s}, WEAK_W_M2, STC_C)
        best = pvlib.pvsystem.max_power_point(*curve, method="newton")["p_mp"]
        return float(best) / module.pmax_w * STC_W_M2 / WEAK_W_M2 - wanted

    given = module.efficiency_200_w_m2_frac
    wanted = USUAL_EFFICIENCY_200_FRAC if given is None else given
    if given is None and over(0.0) <= 0.0:
        return 0.0
    sun = WEAK_W_M2 / STC_W_M2
    none_left_s = -sun / diode["R_sh_ref"] / weak_light_frac(sun)
    most_s = 4.0 * module.imp_a / module.vmp_v
    if over(none_left_s) < 0.0 or over(most_s) > 0.0:
        best, least = (over(weak_s) + wanted for weak_s in (none_left_s, most_s))
        raise _no_fit(_where(module, "efficiency_200_w_m2_frac"),
                      f"efficiency_200_w_m2_frac = {wanted:g}: of such modules it is"
                      f" {least:.3f} to {best:.3f}")  # fmt: skip
    return float(brentq(over, none_left_s, most_s, xtol=1e-9))


@lru_cache(maxsize=64)
def efficiency_200_frac(module: Module) -> float:
    """Efficiency at 200 W/m2 and 25 degC over that at full sun, as the fit has it, [0 to 1.1]."""
    best = pvlib.pvsystem.max_power_point(
        *five_parameters(diode_of(module), WEAK_W_M2, STC_C), method="newton"
    )
    return float(best["p_mp"]) / module.pmax_w * STC_W_M2 / WEAK_W_M2


LEAST_EFFICIENCY_200_FRAC = constant("energy.least_efficiency_200_w_m2_frac")


@lru_cache(maxsize=64)
def weak_light_bounds(module: Module) -> tuple[Module, Module]:
    """The module with the least usual efficiency at 200 W/m2, and with the most.

    The most is what the other figures of the sheet give by themselves: the published matrices lie
    at it or below. Where the sheet has the figure, both are the module itself.
    """
    if module.efficiency_200_w_m2_frac is not None:
        return module, module
    plain = diode_of(module) | {"G_weak": 0.0}
    curve = five_parameters(plain, WEAK_W_M2, STC_C)
    best_w = float(pvlib.pvsystem.max_power_point(*curve, method="newton")["p_mp"])
    most = best_w / module.pmax_w * STC_W_M2 / WEAK_W_M2
    low, high = (
        module.model_copy(update={"efficiency_200_w_m2_frac": frac})
        for frac in (min(float(LEAST_EFFICIENCY_200_FRAC), most), most)
    )
    return low, high


_POSITIVE = ("I_L_ref", "I_o_ref", "R_s", "R_sh_ref", "a_ref")
_GUESS = {"I_L_ref": "IL_0", "I_o_ref": "Io_0", "R_s": "Rs_0", "R_sh_ref": "Rsh_0", "a_ref": "a_0"}


def _first_guess(**figures: float) -> dict[str, float]:
    """Where the search starts: the explicit solution of Batzelis 2017, where it has one."""
    with np.errstate(all="ignore"):
        near = pvlib.ivtools.sdm.fit_desoto_batzelis(**figures)
    known = all(np.isfinite(near[key]) and near[key] > 0.0 for key in _POSITIVE)
    return {_GUESS[key]: float(near[key]) for key in _POSITIVE} if known else {}


def _missed(fitted: dict[str, float], figures: dict[str, float]) -> str:
    """The figures of the data sheet that the fitted module does not give, in words."""
    curve = pvlib.pvsystem.singlediode(*(fitted[key] for key in _POSITIVE))
    return ", ".join(
        f"{key} by {100.0 * (float(curve[key]) / given - 1.0):.1f} %"
        for key, given in figures.items()
        if not abs(float(curve[key]) / given - 1.0) <= FIT_TOLERANCE_FRAC
    )


def _no_fit(where: str, detail: str) -> InputError:
    return InputError(
        Fault(
            where=where,
            given="a data sheet that no single-diode module has",
            allowed="voltages, currents, temperature coefficients and cells_in_series of one"
            " module at standard test conditions",
            why=detail,
            remedy="check the seven figures against the data sheet; half-cut modules count the"
            " cells in series, half of all cells",
        )
    )


def diode_curve(module: Module, light_w_m2: pd.Series, cell_c: pd.Series) -> pd.DataFrame:
    """Best power and its voltage of one module, by hour; nothing in the dark.

    Parameters
    ----------
    module : Module
    light_w_m2 : Series, shape (n,)
        Effective irradiance [W/m2].
    cell_c : Series, shape (n,)
        Cell temperature [degC].

    Returns
    -------
    DataFrame, shape (n,)
        ``p_w`` [W], ``v_v`` [V].
    """
    light, cell = light_w_m2.to_numpy(dtype=float), cell_c.to_numpy(dtype=float)
    power_w, voltage_v = _best_power(module, Digested.of_arrays(light, cell))
    return pd.DataFrame({"p_w": power_w, "v_v": voltage_v}, index=light_w_m2.index)


@lru_cache(maxsize=48)
def _best_power(module: Module, light_and_heat: Digested) -> tuple[np.ndarray, np.ndarray]:
    """The same of plain numbers [W, V].

    Kept: what is tried of a design mostly leaves the light on its cells as it was.
    """
    light, cell = light_and_heat.taken()
    power_w, voltage_v = np.zeros(len(light)), np.zeros(len(light))
    lit = light > DARK_W_M2
    if lit.any():
        best = pvlib.pvsystem.max_power_point(
            *five_parameters(diode_of(module), light[lit], cell[lit]), method="newton")
        power_w[lit], voltage_v[lit] = best["p_mp"], best["v_mp"]
    return power_w, voltage_v


def power_at_voltage_w(
    module: Module, light_w_m2: np.ndarray, cell_c: np.ndarray, voltage_v: np.ndarray
) -> np.ndarray:
    """Power of an evenly lit module held at a voltage [W]; 0 above its open-circuit voltage.

    Parameters
    ----------
    module : Module
    light_w_m2, cell_c, voltage_v : array (n,)
        Effective irradiance, above 0 [W/m2]; cell temperature [degC]; of the module [V].
    """
    five = five_parameters(diode_of(module), light_w_m2, cell_c)
    current_a = pvlib.pvsystem.i_from_v(voltage_v, *five, method="newton")
    power_w: np.ndarray = np.maximum(np.asarray(voltage_v * current_a, dtype=float), 0.0)
    return power_w


@lru_cache(maxsize=64)
def open_circuit_v(module: Module, *, light_w_m2: float, cell_c: float) -> float:
    """Open-circuit voltage of one module [V], from the same diode model."""
    curve = pvlib.pvsystem.singlediode(*five_parameters(diode_of(module), light_w_m2, cell_c))
    return float(np.asarray(curve["v_oc"]))


def cells_of(module: Module) -> Cells:
    """The cells of a module, fitted to its data sheet and laid out as the site file says."""
    columns = module.cell_columns or COLUMNS_PER_DIODE * module.bypass_diodes
    return cells_of_fit(diode_of(module), cells_in_series=module.cells_in_series,
                        bypass_diodes=module.bypass_diodes, cell_build=module.cell_build,
                        columns_per_substring=int(columns) // module.bypass_diodes)
