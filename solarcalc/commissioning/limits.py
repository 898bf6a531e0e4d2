"""What each test is held against: tables, limits and sums, each with its source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.wiring.conductors import hot_ohm_per_km, resistances

SYSTEM_FACTOR = constant("commissioning.system_factor")
JOINT_OHM = constant("commissioning.joint_ohm")
TEST_C = constant("commissioning.test_c")
MODULE_OHM_M2 = float(constant("commissioning.module_ohm_m2"))
VOLTAGE_FRAC = constant("commissioning.voltage_frac")
NEUTRAL_EARTH_V = constant("commissioning.neutral_earth_v")
SENSITIVE_FRAC = constant("commissioning.sensitive_frac")
LEAST_VOLTAGE_LIGHT = constant("commissioning.least_voltage_light")
CELL_APART_V = constant("commissioning.cell_apart_v")
SET_POINT_FRAC = constant("commissioning.set_point_frac")
SUM_FRAC = constant("commissioning.sum_frac")
RESIDUAL_SHARE = (0.5, 1.0)
"""A device trips between these shares of its rated residual current: IEC 61008-1 cl. 5.3.4
(from memory); test instruments are built on the half."""


@dataclass(frozen=True, kw_only=True)
class InsulationTest:
    """How a circuit's insulation is tested.

    Parameters
    ----------
    test_v : float
        Direct test voltage [V].
    least_megohm : float
        [megohm]
    clause : str
        Rule and source.
    """

    test_v: float
    least_megohm: float
    clause: str


def insulation_test(circuit: Literal["array", "extra-low", "others"], circuit_v: float
                    ) -> InsulationTest:  # fmt: skip
    """Test voltage and least resistance of a circuit.

    Parameters
    ----------
    circuit : {"array", "extra-low", "others"}
        An array by 1.25 times its open-circuit voltage; extra-low voltage beyond the end of its
        table is tested as the others.
    circuit_v : float
        [V]

    Examples
    --------
    >>> insulation_test("array", 1.25 * 2 * 49.5).test_v
    500.0
    """
    table = published("insulation_tests")
    for row in table.rows:
        if row["circuit"] != circuit:
            continue
        end = float(row["up_to_v"]) if row["up_to_v"] else float("inf")
        if circuit_v < end or (circuit_v == end and row["own_row_at_end"] == "yes"):
            return InsulationTest(test_v=float(row["test_v"]), clause=table.clause,
                                  least_megohm=float(row["least_megohm"]))
    return insulation_test("others", circuit_v)


def insulation_by_modules_ohm(area_m2: float, module_count: int) -> float:
    """Insulation that modules of the least quality have together in parallel [ohm].

    Parameters
    ----------
    area_m2 : float
        Of one module [m2].
    module_count : int

    Notes
    -----
    R = 40 megohm m2 / area / count (IEC 61215-2 MQT 03): why a large array may come near the
    limit though every module is sound.
    """
    return MODULE_OHM_M2 / area_m2 / module_count


def bond_limit_ohm(size_mm2: float, length_m: float) -> float:
    """Most that a protective conductor of copper and its joint may read [ohm].

    Parameters
    ----------
    size_mm2 : float
        [mm2]
    length_m : float
        One way [m].
    """
    allowed = resistances("copper_class_2_plain")
    per_km = allowed[max(size for size in allowed if size <= size_mm2)]
    return hot_ohm_per_km(per_km, float(TEST_C), "copper") * length_m / 1000.0 + float(JOINT_OHM)


def trip_time_ms(times_rated: int) -> float:
    """Longest trip time of a residual current device at so many times its rated current [ms]."""
    rows = published("residual_trip_times").rows
    return next(float(row["longest_ms"]) for row in rows if int(row["times_rated"]) == times_rated)
