"""The metal of a cable: sizes made, resistance, what it stands while a short circuit lasts.

Which kind of copper a run has is settled here: fine tinned wires in the cable made for modules,
fine plain wires in battery leads, stranded wires in all else.

The heat is taken to stay in the metal, which holds from 0.1 s to 5 s. For a faster device the
energy it lets through (I2t of its sheet) decides instead: IEC 60364-4-43 434.5.2.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from typing import Literal

from solarcalc.basis.check import Check, checked
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import Sourced, constant
from solarcalc.basis.worded import worded
from solarcalc.sitefile.wiring import USUAL_RUNS
from solarcalc.wiring.runs import Run, SizedRun, module_cable, plane_number

Material = Literal["copper", "aluminium"]
Insulation = Literal["pvc", "xlpe"]

COPPER_RISE_PER_K = constant("wiring.copper_rise_per_k")
ALUMINIUM_RISE_PER_K = constant("wiring.aluminium_rise_per_k")
OHM_MM2_PER_KM: Mapping[Material, Sourced] = {
    "copper": constant("wiring.copper_ohm_mm2_per_km"),
    "aluminium": constant("wiring.aluminium_ohm_mm2_per_km"),
}
"""Of the metal, for a fault and what it heats. A cable as made has up to the resistance that
IEC 60228 allows its size, `resistances`: wires are twisted, and a size is a name."""
REACTANCE_OHM_PER_KM = constant("wiring.reactance_ohm_per_km")
PVC_HOTTEST_C = constant("wiring.pvc_hottest_c")
XLPE_HOTTEST_C = constant("wiring.xlpe_hottest_c")
SOLAR_HOTTEST_C = constant("wiring.solar_hottest_c")
SOLAR_LASTING_C = constant("wiring.solar_lasting_c")
TERMINAL_C = constant("wiring.terminal_c")
SMALLEST_ALUMINIUM_MM2 = constant("wiring.smallest_aluminium_mm2")
SMALLEST_COPPER_MM2 = constant("wiring.smallest_copper_mm2")

_BATTERY_RUNS = ("controller_battery", "battery_inverter")


def field_of(run: Run, key: str) -> str:
    """The key of a run as the user writes it in the file, such as ``runs.dc_main.length_m``."""
    table = next((name for name in USUAL_RUNS if run.key.startswith(name)), run.key)
    number = plane_number(run.key)
    return f"{f'planes[{number - 1}].' if number > 1 else ''}runs.{table}.{key}"


def hottest_c(run: Run) -> float:
    """Conductor temperature that the run's capacities stand for [degC]."""
    if run.lies.for_modules:
        return float(SOLAR_HOTTEST_C)
    return float(PVC_HOTTEST_C if run.insulation == "pvc" else XLPE_HOTTEST_C)


def rise_per_k(material: Material) -> float:
    """How resistance rises with temperature, of that at 20 degC [1/K]."""
    return float(COPPER_RISE_PER_K if material == "copper" else ALUMINIUM_RISE_PER_K)


def hot_ohm_per_km(r20_ohm_per_km: float, conductor_c: float, material: Material) -> float:
    """Resistance at a conductor temperature [ohm/km].

    Parameters
    ----------
    r20_ohm_per_km : float
        At 20 degC [ohm/km].
    conductor_c : float
        Of the conductor [degC].
    material : {"copper", "aluminium"}

    Notes
    -----
    R = R20 (1 + rise (t - 20)), IEC 60028.

    Examples
    --------
    >>> round(hot_ohm_per_km(7.41, 70.0, "copper"), 3)
    8.866
    """
    return r20_ohm_per_km * (1.0 + rise_per_k(material) * (conductor_c - 20.0))


def working_c(ambient_c: float, hottest_c: float, load_frac: float) -> float:
    """Temperature of a conductor that carries a share of its capacity [degC].

    Parameters
    ----------
    ambient_c, hottest_c : float
        Around it, and at its capacity [degC].
    load_frac : float
        Current over capacity.

    Notes
    -----
    t = ambient + (hottest - ambient) (I / I_z)^2: heat goes with the square of the current, the
    rise with the heat (IEC 60287-1-1, loss taken at constant resistance).

    Examples
    --------
    >>> working_c(30.0, 70.0, 0.5)
    40.0
    """
    return ambient_c + (hottest_c - ambient_c) * load_frac**2


def resistance_column(run: Run) -> str:
    """Column of the resistance table for the kind of conductor that the run has."""
    if module_cable(run):
        return "copper_class_5_tinned"
    if run.material == "aluminium":
        return "aluminium"
    battery = run.key.startswith(_BATTERY_RUNS)
    return "copper_class_5_plain" if battery else "copper_class_2_plain"


@cache
def resistances(column: str) -> dict[float, float]:
    """Size [mm2] to resistance at 20 degC [ohm/km], a column of IEC 60228."""
    table = published("cable_resistance")
    pairs = zip(table.numbers("size_mm2"), table.numbers(column), strict=True)
    return {size: ohm for size, ohm in pairs if size is not None and ohm is not None}


@cache
def sizes_mm2(material: Material) -> tuple[float, ...]:
    """Sizes of that metal that a run may have, rising [mm2]."""
    least = SMALLEST_COPPER_MM2 if material == "copper" else SMALLEST_ALUMINIUM_MM2
    column = "copper_class_2_plain" if material == "copper" else "aluminium"
    return tuple(size for size in resistances(column) if size >= float(least))


def next_size_mm2(least_mm2: float, material: Material = "copper") -> float | None:
    """Smallest size made that has at least that area [mm2]; None above the largest."""
    return next((size for size in sizes_mm2(material) if size >= least_mm2 - 1e-9), None)


def protective_mm2(line_mm2: float) -> float:
    """Least protective conductor of the same metal as the line conductor, by the table.

    Up to 16 mm2 the same, up to 35 mm2 it is 16, beyond half; not yet a size that is made.

    Parameters
    ----------
    line_mm2 : float
        Of the largest line conductor [mm2].

    Raises
    ------
    InputError
        When it is not above 0.

    References
    ----------
    IEC 60364-5-54:2011 table 54.2.

    Examples
    --------
    >>> protective_mm2(25.0), protective_mm2(70.0)
    (16.0, 35.0)
    """
    if not 0.0 < line_mm2 < math.inf:
        raise InputError(Fault(
            where="size of the line conductor", given=f"{line_mm2:g} mm2", allowed="above 0 mm2",
        ))  # fmt: skip
    if line_mm2 <= 16.0:
        return line_mm2
    return 16.0 if line_mm2 <= 35.0 else line_mm2 / 2.0


LONGEST_S = float(constant("wiring.longest_s"))
_HEAT = {"copper": (234.5, 3.45e-3), "aluminium": (228.0, 2.5e-3)}
"""Beta [K], heat capacity [J/(K mm3)]: IEC 60364-5-54 annex A, read in a list of published values
by the factors k that they give."""

SOLAR_SHORT_CIRCUIT_C = constant("wiring.solar_short_circuit_c")


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
    if run.lies.for_modules:
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


def withstand_check(sized: SizedRun, fault_a: float, clear_s: float) -> Check:
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
    return checked(area_mm2 >= least_mm2, "failed", **worded(
        "wiring", "short-circuit-s", run_name=sized.run.name, fault_a=fault_a, clear_s=clear_s,
        area_mm2=area_mm2, least_mm2=least_mm2, k_of=k_of(sized.run), need=need,
    ))  # fmt: skip


def _area_mm2(fault_a: float, clear_s: float, k: float) -> float:
    faults = []
    if not (fault_a > 0.0 and math.isfinite(fault_a)):
        faults.append(Fault(where="fault current", given=f"{fault_a:g} A", allowed="above 0 A"))
    if not 0.0 < clear_s <= LONGEST_S:
        faults.append(Fault(
            **worded("wiring", "time-until-fault", clear_s=clear_s, longest_s=LONGEST_S),
        ))  # fmt: skip
    if faults:
        raise InputError(faults)
    return fault_a * math.sqrt(clear_s) / k
