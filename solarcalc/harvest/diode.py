"""A module's best power from its data sheet, light and cell temperature."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
import pvlib

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.sourced import Sourced
from solarcalc.sitefile.records import Module

DIODE_MODEL = Sourced(
    label="Module model",
    value="single diode, five parameters fitted to the data sheet",
    unit="",
    source="De Soto et al. 2006, through pvlib.ivtools.sdm.fit_desoto",
)
DARK_W_M2 = 1.0
"""Effective irradiance below which a module is taken to give nothing."""


@lru_cache(maxsize=64)
def diode_of(module: Module) -> dict[str, float]:
    """Single-diode parameters at standard test conditions, fitted to the data sheet.

    Returns
    -------
    dict
        ``I_L_ref`` [A], ``I_o_ref`` [A], ``R_s`` [ohm], ``R_sh_ref`` [ohm], ``a_ref`` [V],
        ``alpha_sc`` [A/K], ``EgRef`` [eV], ``dEgdT`` [1/K].

    Raises
    ------
    InputError
        When no physical set of parameters fits the data sheet.
    """
    where = f"module: {module.label}"
    try:
        fitted, _ = pvlib.ivtools.sdm.fit_desoto(
            v_mp=module.vmp_v,
            i_mp=module.imp_a,
            v_oc=module.voc_v,
            i_sc=module.isc_a,
            alpha_sc=module.alpha_isc_pct_per_k / 100.0 * module.isc_a,
            beta_voc=module.beta_voc_pct_per_k / 100.0 * module.voc_v,
            cells_in_series=module.cells_in_series,
            root_kwargs={"method": "lm"},  # the default search fails on most data sheets
        )
    except RuntimeError as error:
        raise _no_fit(where, " ".join(str(error).split())[:200]) from None
    positive = ("I_L_ref", "I_o_ref", "R_s", "R_sh_ref", "a_ref")
    bad = [key for key in positive if not fitted[key] > 0.0]
    if bad:
        raise _no_fit(where, "not positive: " + ", ".join(bad))
    return {key: float(fitted[key]) for key in (*positive, "alpha_sc", "EgRef", "dEgdT")}


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
    power, voltage = np.zeros(len(light_w_m2)), np.zeros(len(light_w_m2))
    lit = light_w_m2.to_numpy() > DARK_W_M2
    if lit.any():
        best = pvlib.pvsystem.max_power_point(
            *_five_parameters(module, light_w_m2.to_numpy()[lit], cell_c.to_numpy()[lit]),
            method="newton",
        )
        power[lit], voltage[lit] = best["p_mp"], best["v_mp"]
    return pd.DataFrame({"p_w": power, "v_v": voltage}, index=light_w_m2.index)


def open_circuit_v(module: Module, *, light_w_m2: float, cell_c: float) -> float:
    """Open-circuit voltage of one module [V], from the same diode model."""
    curve = pvlib.pvsystem.singlediode(*_five_parameters(module, light_w_m2, cell_c))
    return float(np.asarray(curve["v_oc"]))


def _five_parameters(module: Module, light: Any, cell_c: Any) -> Any:
    diode = diode_of(module)
    return pvlib.pvsystem.calcparams_desoto(
        light,
        cell_c,
        alpha_sc=diode["alpha_sc"],
        a_ref=diode["a_ref"],
        I_L_ref=diode["I_L_ref"],
        I_o_ref=diode["I_o_ref"],
        R_sh_ref=diode["R_sh_ref"],
        R_s=diode["R_s"],
        EgRef=diode["EgRef"],
        dEgdT=diode["dEgdT"],
    )
