"""What current a cable carries as it lies: table, then a factor each for heat, soil and company.

IEC 60364-5-52 for the methods A1 to D2, EN 50618 for cable made for modules. Cables that carry
little beside loaded ones, sun on a cable and harmonics in a neutral are not looked at.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.wiring.conductors import (
    checked_size_mm2,
    field_of,
    hottest_c,
    is_buried,
    is_solar,
    resistances,
)
from solarcalc.wiring.runs import Run

ALUMINIUM_SHARE = constant("wiring.aluminium_share")

AIR_REFERENCE_C = float(constant("wiring.air_reference_c"))
GROUND_REFERENCE_C = float(constant("wiring.ground_reference_c"))
SOLAR_AIR_LIMIT_C = float(constant("wiring.solar_air_limit_c"))


@dataclass(frozen=True, kw_only=True)
class Capacity:
    """What a conductor, or some in parallel, carries.

    Parameters
    ----------
    table_a : float
        By the table, all in parallel together [A].
    factors : dict of str to float
        By name, in the order they are multiplied.
    hottest_c : float
        Conductor temperature at `capacity_a` [degC].
    largest_device_a : float or None
        Largest device that may protect it, where a rule of its own says so [A].
    """

    table_a: float
    factors: dict[str, float]
    hottest_c: float
    largest_device_a: float | None = None

    @property
    def capacity_a(self) -> float:
        """Capacity as it lies, I_z [A]."""
        return self.table_a * math.prod(self.factors.values())


def capacity(run: Run, size_mm2: float, in_parallel: int = 1) -> Capacity:
    """What the run carries with conductors of that size.

    Parameters
    ----------
    run : Run
    size_mm2 : float
        Of one conductor, a metric size [mm2].
    in_parallel : int
        Conductors for each pole; each set counts as a circuit more in the group.

    Raises
    ------
    InputError
        A size not in the table; aluminium that is too small or not made; ambient at or above
        what the insulation stands; soil outside its table.
    """
    size = checked_size_mm2(run, size_mm2)
    table = _table_a(run.method, run.insulation, run.loaded)[size]
    if run.material == "aluminium":
        table *= math.sqrt(resistances("copper_class_2_plain")[size]
                           / resistances("aluminium")[size])  # fmt: skip
    return Capacity(
        table_a=table * in_parallel, factors=factors(run, in_parallel), hottest_c=hottest_c(run)
    )


def factors(run: Run, in_parallel: int = 1) -> dict[str, float]:
    """The factors of the run by name, in the order they are multiplied.

    Raises
    ------
    InputError
        As `capacity`.
    """
    found = {}
    if is_solar(run):
        found[f"air at {run.ambient_c:.0f} °C"] = _solar_air_factor(run)
    elif is_buried(run):
        found[f"ground at {run.ambient_c:.0f} °C"] = _heat_factor(run, GROUND_REFERENCE_C)
        found[f"soil of {run.soil_k_m_per_w:g} K m/W"] = _soil_factor(run)
    else:
        found[f"air at {run.ambient_c:.0f} °C"] = _heat_factor(run, AIR_REFERENCE_C)
    circuits = run.circuits_with(in_parallel)
    found[f"{circuits} circuit{'s' if circuits > 1 else ''} together"] = _group_factor(
        run, circuits
    )
    return found


@cache
def _table_a(method: str, insulation: str, loaded: int) -> dict[float, float]:
    if method.startswith("solar-"):
        rows = published("cable_capacity_solar").rows
    else:
        both = published("cable_capacity").rows + published("cable_capacity_large").rows
        kind = (insulation, str(loaded))
        rows = tuple(row for row in both if (row["insulation"], row["loaded"]) == kind)
    return {float(row["size_mm2"]): float(row[method]) for row in rows}


@cache
def _rows(name: str, across: str, head: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Two columns of a table, rows without a figure left out."""
    table = published(name)
    pairs = zip(table.numbers(across), table.numbers(head), strict=True)
    kept = [(x, y) for x, y in pairs if x is not None and y is not None]
    return tuple(x for x, _ in kept), tuple(y for _, y in kept)


def _between(name: str, across: str, head: str, value: float) -> float:
    """Straight line between two rows; the end row outside of them."""
    return float(np.interp(value, *_rows(name, across, head)))


def _heat_factor(run: Run, reference_c: float) -> float:
    """By the table; above its last row by the rule it is made with, sqrt((t - a) / (t - ref))."""
    limit_c = hottest_c(run)
    if not run.ambient_c < limit_c:
        raise _too_hot(run, f"below {limit_c:.0f} °C", f"what {run.insulation} insulation stands")
    name = "cable_ground_factor" if is_buried(run) else "cable_air_factor"
    temperatures_c, _ = _rows(name, "ambient_c", run.insulation)
    if run.ambient_c > temperatures_c[-1]:
        return math.sqrt((limit_c - run.ambient_c) / (limit_c - reference_c))
    return _between(name, "ambient_c", run.insulation, run.ambient_c)


def _solar_air_factor(run: Run) -> float:
    if not run.ambient_c <= SOLAR_AIR_LIMIT_C:
        raise _too_hot(run, f"at most {SOLAR_AIR_LIMIT_C:.0f} °C", "the largest of EN 50618")
    return _between("cable_air_factor_solar", "ambient_c", "factor", run.ambient_c)


def _too_hot(run: Run, allowed: str, why: str) -> InputError:
    return InputError(Fault(
        where=field_of(run, "ambient_c"), given=f"{run.ambient_c:g} °C around {run.name}",
        allowed=allowed, why=why,
        remedy="shade the cable, let air pass or take a cable for more heat; where the key is "
        "left out the value comes from [cables]",
    ))  # fmt: skip


def _soil_factor(run: Run) -> float:
    rows, _ = _rows("cable_soil_factor", "soil_k_m_per_w", run.method)
    if not rows[0] <= run.soil_k_m_per_w <= rows[-1]:
        raise InputError(Fault(
            where="cables.soil_k_m_per_w", given=f"{run.soil_k_m_per_w:g} K m/W",
            allowed=f"{rows[0]:g} to {rows[-1]:g} K m/W",
            why=published("cable_soil_factor").clause,
            remedy="2.5 where nothing is known; bed the cable in soil that holds water",
        ))  # fmt: skip
    return _between("cable_soil_factor", "soil_k_m_per_w", run.method, run.soil_k_m_per_w)


def _group_factor(run: Run, circuits: int) -> float:
    """By the next number of circuits in the table that is not smaller."""
    if run.method == "D2":
        column = "buried"
    elif run.method in ("C", "solar-surface", "solar-touching"):
        column = "layer"
    else:
        column = "bunched"
    numbers, values = _rows("cable_group_factor", "circuits", column)
    for number, value in zip(numbers, values, strict=True):
        if number >= circuits:
            return value
    raise InputError(Fault(
        where=field_of(run, "circuits_together"), given=f"{circuits} circuits together",
        allowed=f"at most {numbers[-1]:.0f}", why=published("cable_group_factor").clause,
        remedy="part them into several pipes or bunches",
    ))  # fmt: skip
