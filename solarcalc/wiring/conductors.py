"""The metal of a cable: sizes made, resistance cold and at its working temperature, its limits.

Which kind of copper a run has is settled here: fine tinned wires in the cable made for modules,
fine plain wires in battery leads, stranded wires in all else.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache
from typing import Literal

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import Sourced, constant
from solarcalc.sitefile.wiring import USUAL_RUNS
from solarcalc.wiring.runs import Run

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


def is_solar(run: Run) -> bool:
    """Whether the run is of the single-core cable made for modules (EN 50618)."""
    return run.method.startswith("solar-")


def is_buried(run: Run) -> bool:
    """Whether it lies in the ground."""
    return run.method in ("D1", "D2")


def field_of(run: Run, key: str) -> str:
    """The key of a run as the user writes it in the site file, such as ``runs.main.length_m``."""
    table = next((name for name in USUAL_RUNS if run.key.startswith(name)), run.key)
    return f"runs.{table}.{key}"


def hottest_c(run: Run) -> float:
    """Conductor temperature that the run's capacities stand for [degC]."""
    if is_solar(run):
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
    if is_solar(run):
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


def checked_size_mm2(run: Run, size_mm2: float) -> float:
    """The size, if such a conductor is made and allowed [mm2].

    Raises
    ------
    InputError
        A size that is in no table; aluminium below its smallest size; aluminium in cable that is
        made for modules, which is of copper.
    """
    made = sizes_mm2(run.material)
    where = field_of(run, "size_mm2")
    if is_solar(run) and run.material == "aluminium":
        raise InputError(Fault(
            where=field_of(run, "material"), given="aluminium", allowed="copper",
            why=f"cable made for modules ({run.method}) is of tinned copper: EN 50618",
            remedy="take copper, or another method",
        ))  # fmt: skip
    for size in made:
        if math.isclose(size, size_mm2, rel_tol=1e-6):
            return size
    sizes = ", ".join(f"{size:g}" for size in made)
    if run.material == "aluminium" and size_mm2 < float(SMALLEST_ALUMINIUM_MM2):
        raise InputError(Fault(
            where=where, given=f"{size_mm2:g} mm² of aluminium", allowed=f"one of {sizes} mm²",
            why=f"aluminium smaller than {made[0]:g} mm² breaks and works loose: "
            + SMALLEST_ALUMINIUM_MM2.source,
            remedy=f"take {made[0]:g} mm² or more, or copper",
        ))  # fmt: skip
    near = min(made, key=lambda size: abs(math.log(size / max(size_mm2, 1e-3))))
    raise InputError(Fault(
        where=where, given=f"{size_mm2:g} mm²", allowed=f"one of {sizes} mm²",
        why="sizes are those of IEC 60228", remedy=f"the nearest is {near:g} mm²",
    ))  # fmt: skip
