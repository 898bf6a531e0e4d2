"""Air for a battery's gas: how much, through what openings, and how far sparks must stay away.

Hydrogen burns from 4 % in air on and cannot be smelt. What is worked out here helps to plan; local
codes and licensed practice decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.physics import KELVIN_AT_0_C, STC_C
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.battery import Battery
from solarcalc.sitefile.chemistry import Chemistry
from solarcalc.sitefile.derating import air_kpa
from solarcalc.sitefile.room import Room

Charge = Literal["float", "boost"]

AIR_CLAUSE = (
    "IEC 62485-2 cl. 7.2: Q = 0.05 n I_gas C / 1000, hydrogen at 0 °C as the standard counts it,"
    " read in a list of published values; more by 1013 hPa over the air pressure of the site"
)
OPENING_CLAUSE = "IEC 62485-2 cl. 7.3: A = 28 Q each, read in a list of published values"
SPARK_CLAUSE = (
    "IEC 62485-2 cl. 7.4: d = 28.8 cube root(I_gas) cube root(C), read in a list of published"
    " values; for cells of a block that may share a vent times the cube root of their number, from"
    " memory"
)

AIR_FACTOR = constant("powerroom.air_factor")
OPENING_CM2_H_PER_M3 = constant("powerroom.opening_cm2_h_per_m3")
SPARK_MM = constant("powerroom.spark_mm")
VOLUME_H = constant("powerroom.volume_h")
HYDROGEN_M3_PER_AH = constant("powerroom.hydrogen_m3_per_ah")
LEAST_APART_M = constant("powerroom.least_apart_m")
BURNS_FROM_FRAC = constant("powerroom.burns_from_frac")
AIMED_FRAC = constant("powerroom.aimed_frac")


@dataclass(frozen=True, kw_only=True)
class AirNeed:
    """What the gas of a bank asks of its room; all 0 for a kind that makes none in use.

    Parameters
    ----------
    cells : int
        In series.
    capacity_ah : float
        Of all strings together [Ah].
    gas_ma_per_ah : float
        Design current that makes gas, safety factor of 5 inside [mA/Ah].
    flow_m3_per_h : float
        Air in every hour of charge [m3/h].
    held_full_m3_per_h : float
        Air while the bank is only held full [m3/h].
    free_cm2 : float
        Free opening, low and high each [cm2].
    gross_cm2 : float
        The same to build behind the mesh [cm2].
    volume_m3 : float
        Least free volume of the room [m3].
    spark_mm : float
        Distance from sparks [mm]: of the whole bank as one cell, or of one block whose cells share
        a vent, whichever is more.
    hydrogen_m3_per_h : float
        That the design current makes, at the temperature of the room [m3/h].
    equalising_m3_per_h : float
        Hydrogen of an equalising charge at its own current, no safety factor, as warm [m3/h].
    """

    cells: int
    capacity_ah: float
    gas_ma_per_ah: float
    flow_m3_per_h: float
    held_full_m3_per_h: float
    free_cm2: float
    gross_cm2: float
    volume_m3: float
    spark_mm: float
    hydrogen_m3_per_h: float
    equalising_m3_per_h: float


def gas_ma_per_ah(kind: Chemistry, charge: Charge) -> float:
    """Design current that makes gas [mA/Ah]; 0 for a kind that makes none in use.

    Parameters
    ----------
    kind : Chemistry
    charge : {"float", "boost"}
        Held full, or at the absorption voltage, as every sunny day does.

    Notes
    -----
    Current x emission factor x safety factor.
    """
    return 0.0 if kind.gas is None else kind.gas.design_ma_per_ah(charge)


def air_flow_m3_per_h(*, cells: int, gas_ma_per_ah: float, capacity_ah: float) -> float:
    """Air that keeps the hydrogen of a bank thin enough [m3/h].

    Parameters
    ----------
    cells : int
        In series.
    gas_ma_per_ah : float
        Design current, safety factor inside [mA/Ah].
    capacity_ah : float
        Rated; strings in parallel add up [Ah].

    Notes
    -----
    Q = 0.05 n I_gas C 1e-3, IEC 62485-2 cl. 7.2.

    Examples
    --------
    >>> round(air_flow_m3_per_h(cells=72, gas_ma_per_ah=20.0, capacity_ah=200.0), 1)
    14.4
    """
    return float(AIR_FACTOR) * cells * gas_ma_per_ah * capacity_ah / 1000.0


def opening_cm2(flow_m3_per_h: float) -> float:
    """Free opening of inlet and outlet each for an air flow [m3/h], in cm2: 28 Q."""
    return float(OPENING_CM2_H_PER_M3) * flow_m3_per_h


def gross_opening_cm2(free_cm2: float, mesh_free_frac: float) -> float:
    """Opening to build behind a mesh [cm2]; `mesh_free_frac` of it stays free, [0 to 1]."""
    return free_cm2 / mesh_free_frac


def least_volume_m3(flow_m3_per_h: float) -> float:
    """Free volume that a room of that air flow [m3/h] should have at least [m3]."""
    return float(VOLUME_H) * flow_m3_per_h


def spark_distance_mm(*, gas_ma_per_ah: float, capacity_ah: float, cells: int = 1) -> float:
    """Distance through the air within which nothing may spark or glow [mm].

    Parameters
    ----------
    gas_ma_per_ah : float
        Design current [mA/Ah].
    capacity_ah : float
        Rated, of one cell or block; of the whole bank is on the safe side [Ah].
    cells : int
        That give off their gas at one place, as those of a block may.

    Examples
    --------
    >>> round(spark_distance_mm(gas_ma_per_ah=5.0, capacity_ah=200.0))
    288
    >>> round(spark_distance_mm(gas_ma_per_ah=5.0, capacity_ah=200.0, cells=6))
    523
    """
    return float(SPARK_MM) * math.cbrt(gas_ma_per_ah) * math.cbrt(capacity_ah * cells)


def hydrogen_m3_per_h(*, cells: int, gassing_a: float, temp_c: float) -> float:
    """Hydrogen that a gassing current makes in all cells of a string [m3/h].

    Parameters
    ----------
    cells : int
        In series.
    gassing_a : float
        [A].
    temp_c : float
        Of the room, which the gas takes [degC].

    Notes
    -----
    Ideal gas: 0.418 litre an ampere-hour at 0 degC, (273.15 + t) / 273.15 times that at t.

    Examples
    --------
    >>> round(1000.0 * hydrogen_m3_per_h(cells=1, gassing_a=1.0, temp_c=25.0), 2)
    0.46
    """
    warmer = (KELVIN_AT_0_C + temp_c) / KELVIN_AT_0_C
    return float(HYDROGEN_M3_PER_AH) * warmer * cells * gassing_a


def hydrogen_share_frac(made_m3_per_h: float, flow_m3_per_h: float) -> float:
    """Share of hydrogen that a room settles at, air well mixed, [0 to 1].

    Parameters
    ----------
    made_m3_per_h : float
        Hydrogen [m3/h].
    flow_m3_per_h : float
        Fresh air [m3/h].

    Notes
    -----
    Mass balance at rest: share = g / (g + Q). Under the ceiling there is more of it.
    """
    whole = made_m3_per_h + flow_m3_per_h
    return made_m3_per_h / whole if whole > 0.0 else 0.0


def hours_to_share_h(made_m3_per_h: float, volume_m3: float, share_frac: float) -> float:
    """Hours until a room without any fresh air reaches a share of hydrogen [h].

    Parameters
    ----------
    made_m3_per_h : float
        Hydrogen [m3/h].
    volume_m3 : float
        Free volume of the room [m3].
    share_frac : float
        To reach, from 0 to below 1.

    Notes
    -----
    The gas pushes mixed air out: dx/dt = g (1 - x) / V, so t = -V/g ln(1 - x).

    Examples
    --------
    >>> round(hours_to_share_h(0.1, 10.0, 0.04), 2)
    4.08
    """
    if made_m3_per_h <= 0.0:
        return math.inf
    return -volume_m3 / made_m3_per_h * math.log1p(-share_frac)


def share_after_frac(
    made_m3_per_h: float, flow_m3_per_h: float, volume_m3: float, hours_h: float
) -> float:
    """Share of hydrogen in a room some hours after a charge began, air well mixed, [0 to 1].

    Parameters
    ----------
    made_m3_per_h : float
        Hydrogen [m3/h].
    flow_m3_per_h : float
        Fresh air [m3/h].
    volume_m3 : float
        Free volume of the room [m3].
    hours_h : float
        Since the charge began in a room without hydrogen [h].

    Notes
    -----
    dx/dt = (g (1 - x) - Q x) / V, so x = g / (g + Q) (1 - exp(-(g + Q) t / V)).

    Examples
    --------
    >>> round(share_after_frac(0.1, 0.0, 10.0, hours_to_share_h(0.1, 10.0, 0.04)), 6)
    0.04
    """
    risen = -math.expm1(-(made_m3_per_h + flow_m3_per_h) * hours_h / volume_m3)
    return hydrogen_share_frac(made_m3_per_h, flow_m3_per_h) * risen


def air_need(
    battery: Battery, mesh_free_frac: float, charge: Charge = "boost", *, temp_c: float = STC_C,
    elevation_m: float = 0.0,
) -> AirNeed:
    """What the gas of a site's bank asks of its room.

    Parameters
    ----------
    battery : Battery
    mesh_free_frac : float
        Of an opening, free behind its mesh, above 0 to 1.
    charge : {"float", "boost"}
        The sun charges to the absorption voltage on most days: boost.
    temp_c : float
        Of the room, for the room that the hydrogen takes; air, openings and distance are the
        standard's own, which counts it at 0 degC [degC].
    elevation_m : float
        Of the site: in thin air the same gas takes more room, which needs more air; the standard
        counts it at the pressure of the sea, and so does its distance [m].
    """
    thin = max(air_kpa(0.0) / air_kpa(elevation_m), 1.0)
    kind, cells, capacity = battery.traits, battery.cells_in_series, battery.rated_ah
    gas = gas_ma_per_ah(kind, charge)
    flow = thin * air_flow_m3_per_h(cells=cells, gas_ma_per_ah=gas, capacity_ah=capacity)
    equalising_a = 0.0 if kind.equalising is None else kind.equalising.current_per_h * capacity
    sources = ((capacity, 1), (battery.unit_capacity_ah, kind.cells(battery.unit_voltage_v)))
    return AirNeed(
        cells=cells,
        capacity_ah=capacity,
        gas_ma_per_ah=gas,
        flow_m3_per_h=flow,
        held_full_m3_per_h=thin * air_flow_m3_per_h(
            cells=cells, gas_ma_per_ah=gas_ma_per_ah(kind, "float"),
            capacity_ah=capacity,
        ),
        free_cm2=opening_cm2(flow),
        gross_cm2=gross_opening_cm2(opening_cm2(flow), mesh_free_frac),
        volume_m3=least_volume_m3(flow),
        spark_mm=max(spark_distance_mm(gas_ma_per_ah=gas, capacity_ah=of, cells=together)
                     for of, together in sources),
        hydrogen_m3_per_h=thin * hydrogen_m3_per_h(
            cells=cells, gassing_a=gas * capacity / 1000.0, temp_c=temp_c
        ),
        equalising_m3_per_h=thin * hydrogen_m3_per_h(
            cells=cells, gassing_a=equalising_a, temp_c=temp_c
        ),
    )  # fmt: skip


def flow_as_built_m3_per_h(room: Room) -> float:
    """Air that may be counted on in a room as built [m3/h]: fan, or the smaller opening at 0.1 m/s.

    Stack draught and wind mostly give more; the rule counts on the least.
    """
    smaller_cm2 = min(room.vent_low_cm2, room.vent_high_cm2) * room.mesh_free_frac
    return max(room.fan_m3_per_h, smaller_cm2 / float(OPENING_CM2_H_PER_M3))


def gassing_agrees(kind: Chemistry) -> tuple[str, ...]:
    """How the gas of ventilation and that of equalising agree; none where nothing is equalised."""
    gas, plan = kind.gas, kind.equalising
    if gas is None or plan is None:
        return ()
    most, equalising = gas.design_ma_per_ah("boost"), 1000.0 * plan.current_per_h
    return (
        f"The water a bank loses is worked out with {gas.float_ma_per_ah:g} mA/Ah while it is held"
        f" full and {equalising:g} mA/Ah while it is equalised, currents as they are. Ventilation"
        f" takes the same {gas.float_ma_per_ah:g} mA/Ah, {gas.boost_ma_per_ah:g} mA/Ah at the"
        f" absorption voltage, times a safety factor of {gas.safety_factor:g}: {most:g} mA/Ah. An"
        f" equalising charge makes {equalising / most:g} times the hydrogen of that design current"
        f" (its current: {plan.clause}): equalise with the door open, nobody smoking, the fan on.",
    )
