"""What a cable stands while a short circuit lasts, until its device has opened.

The heat is taken to stay in the metal, which holds from 0.1 s to 5 s. For a faster device the
energy it lets through (I2t of its sheet) decides instead: IEC 60364-4-43 434.5.2.
"""

from __future__ import annotations

import math
from functools import cache

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.basis.verdict import Verdict, judged
from solarcalc.wiring.conductors import (
    OHM_MM2_PER_KM,
    SOLAR_HOTTEST_C,
    Insulation,
    Material,
    is_solar,
    next_size_mm2,
)
from solarcalc.wiring.runs import Run, SizedRun

LONGEST_S = float(constant("wiring.longest_s"))
_HEAT = {"copper": (234.5, 3.45e-3), "aluminium": (228.0, 2.5e-3)}
"""Beta [K], heat capacity [J/(K mm3)]: IEC 60364-5-54 annex A, read in a list of published values
by the factors k that they give."""

SOLAR_SHORT_CIRCUIT_C = constant("wiring.solar_short_circuit_c")

_ADVICE = (
    "take the next size, or a device that opens faster; the fault currents and the settings are "
    "for a licensed electrician to confirm under local codes"
)


def adiabatic_k(material: Material, start_c: float, end_c: float) -> float:
    """Heat a conductor takes on its way from one temperature to another, k [A s^0.5/mm2].

    Parameters
    ----------
    material : {"copper", "aluminium"}
    start_c, end_c : float
        Before and after the short circuit [degC].

    Notes
    -----
    k = sqrt(Q (beta + 20) / rho20 x ln((beta + end) / (beta + start))), IEC 60364-5-54 annex A.

    Examples
    --------
    >>> round(adiabatic_k("copper", 70.0, 160.0))
    115
    """
    beta, heat = _HEAT[material]
    rho = float(OHM_MM2_PER_KM[material]) * 1e-6
    rise = math.log((beta + end_c) / (beta + start_c))
    return math.sqrt(heat * (beta + 20.0) / rho * rise)


@cache
def printed_k(material: Material, insulation: Insulation) -> float:
    """The factor k as standards print it [A s^0.5/mm2], from full load to the insulation's end."""
    for row in published("cable_adiabatic_k").rows:
        if (row["material"], row["insulation"]) == (material, insulation):
            return float(row["k"])
    raise KeyError((material, insulation))


def k_of(run: Run) -> float:
    """The factor k of a run's cable [A s^0.5/mm2]."""
    if is_solar(run):
        return adiabatic_k("copper", float(SOLAR_HOTTEST_C), float(SOLAR_SHORT_CIRCUIT_C))
    return printed_k(run.material, run.insulation)


def least_withstand_mm2(
    fault_a: float, clear_s: float, material: Material, insulation: Insulation
) -> float:
    """Area that stands the fault until it is cleared [mm2]; the next size made is above it.

    Parameters
    ----------
    fault_a : float
        Current of the short circuit [A], above 0.
    clear_s : float
        Until the device has opened [s], above 0 to 5.
    material : {"copper", "aluminium"}
    insulation : {"pvc", "xlpe"}

    Raises
    ------
    InputError
        A current or time that is not above zero, or a time above 5 s.

    Notes
    -----
    S = I sqrt(t) / k, IEC 60364-4-43 434.5.2 and IEC 60364-5-54 543.1.2.

    Examples
    --------
    >>> round(least_withstand_mm2(6000.0, 0.4, "copper", "pvc"), 1)
    33.0
    """
    return _area_mm2(fault_a, clear_s, printed_k(material, insulation))


def least_for_run_mm2(run: Run, fault_a: float, clear_s: float) -> float:
    """As `least_withstand_mm2`, for the cable of a run [mm2].

    Parameters
    ----------
    run : Run
    fault_a, clear_s : float
        Current of the short circuit [A] and time until it is cleared [s].

    Raises
    ------
    InputError
        As `least_withstand_mm2`.
    """
    return _area_mm2(fault_a, clear_s, k_of(run))


def withstand_verdict(sized: SizedRun, fault_a: float, clear_s: float) -> Verdict:
    """Whether a run's cable stands the fault until it is cleared; parallel ones share it.

    Parameters
    ----------
    sized : SizedRun
    fault_a, clear_s : float
        Current of the short circuit [A] and time until it is cleared [s].

    Raises
    ------
    InputError
        As `least_withstand_mm2`.
    """
    least_mm2 = least_for_run_mm2(sized.run, fault_a, clear_s)
    area_mm2 = sized.size_mm2 * sized.in_parallel
    size_mm2 = next_size_mm2(least_mm2 / sized.in_parallel, sized.run.material)
    need = f"{size_mm2:g} mm² or more" if size_mm2 else "more than the largest size"
    return judged(
        area_mm2 >= least_mm2, "failed",
        item=f"{sized.run.name}: short circuit of {fault_a:.0f} A for {clear_s:g} s",
        found=f"{area_mm2:.1f}",
        limit=f"at least {least_mm2:.1f}",
        unit="mm²",
        clause=f"S ≥ I √t / k, k = {k_of(sized.run):.0f}: IEC 60364-4-43 434.5.2",
        remedy=f"needs {need} for each conductor: {_ADVICE}",
    )  # fmt: skip


def _area_mm2(fault_a: float, clear_s: float, k: float) -> float:
    faults = []
    if not (fault_a > 0.0 and math.isfinite(fault_a)):
        faults.append(Fault(where="fault current", given=f"{fault_a:g} A", allowed="above 0 A"))
    if not 0.0 < clear_s <= LONGEST_S:
        faults.append(Fault(
            where="time until the fault is cleared", given=f"{clear_s:g} s",
            allowed=f"above 0 to {LONGEST_S:g} s", why="heat leaves the metal after that: "
            "IEC 60364-4-43 434.5.2", remedy="take a device that opens faster",
        ))  # fmt: skip
    if faults:
        raise InputError(faults)
    return fault_a * math.sqrt(clear_s) / k
