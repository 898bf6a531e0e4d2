"""Every run of the system, from the modules to the house: what it carries and how it lies."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import Literal

import numpy as np

from solarcalc.sitefile.wiring import Method

DeviceKind = Literal["none", "dc-fuse", "dc-breaker", "ac-breaker"]


@dataclass(frozen=True, kw_only=True)
class Squares:
    """Means over the year of the second and fourth power of the hourly current [A2, A4]."""

    second: float
    fourth: float


def squares_of(hourly_a: np.ndarray) -> Squares:
    """Means over the year of the second and fourth power of the current; 0 without hours."""
    if hourly_a.size == 0:
        return Squares(second=0.0, fourth=0.0)
    squared = np.square(hourly_a, dtype=float)
    return Squares(second=float(squared.mean()), fourth=float(np.square(squared).mean()))


@dataclass(frozen=True, kw_only=True, eq=False)
class Run:
    """A run as it is asked for, before a cable is chosen.

    Parameters
    ----------
    key : str
        ``"string"``, ``"main"``, ``"controller_battery"``, ``"battery_inverter_critical"``,
        ``"inverter_board_heavy"``... A run of each board carries the board's name.
    name : str
        In words, for schedules.
    start, end : str
        What it joins, in words.
    current : {"dc", "ac"}
    count : int
        How many alike: strings, controllers.
    loaded : {2, 3}
        Loaded conductors of a circuit.
    voltage_v : float
        That the drop is measured against: at the hottest cell, bank nominal, board [V];
        three phases: line to line.
    highest_v : float
        Largest voltage between conductors: cold string, bank at equalising, board [V].
    design_a : float
        Design current with the standard factors, of one of the `count` [A].
    device : {"none", "dc-fuse", "dc-breaker", "ac-breaker"}
        What protects it against overload, if anything must.
    hourly_a : array (n,)
        Current of each hour of the year, mean, of one of the `count` [A].
    power_factor : float
        Of the design current, [0 to 1]; 1 for direct current.
    length_m : float
        One way [m].
    length_given : bool
        False where the site file leaves it out and a usual one stands in.
    method : str
        Reference method of installation.
    insulation : {"pvc", "xlpe"}
    material : {"copper", "aluminium"}
    ambient_c : float
        Of the air, or of the ground for D1 and D2 [degC].
    soil_k_m_per_w : float
        Of the ground; of no matter in air [K m/W].
    circuits_together : int
        On its way, with one conductor a pole of this run; others as they are chosen.
    alike : int
        Of these, how many are this run's own: each conductor more a pole is as many more.
    split : bool
        Two lines and a neutral of a split supply.
    size_mm2 : float or None
        Where the site file fixes it [mm2].
    in_parallel : int
        Conductors for each pole.
    drop_limit_frac : float
        Allowed for this run alone, [0 to 1].
    """

    key: str
    name: str
    start: str
    end: str
    current: Literal["dc", "ac"]
    count: int
    loaded: Literal[2, 3]
    voltage_v: float
    highest_v: float
    design_a: float
    device: DeviceKind
    hourly_a: np.ndarray
    power_factor: float
    length_m: float
    length_given: bool
    method: Method
    insulation: Literal["pvc", "xlpe"]
    material: Literal["copper", "aluminium"]
    ambient_c: float
    soil_k_m_per_w: float
    circuits_together: int
    size_mm2: float | None
    in_parallel: int
    drop_limit_frac: float
    alike: int = 1
    split: bool = False

    def circuits_with(self, in_parallel: int) -> int:
        """Circuits on its way with so many conductors a pole of this run."""
        return self.circuits_together + self.alike * (in_parallel - 1)

    @cached_property
    def squares(self) -> Squares:
        """Of its hourly current."""
        return squares_of(self.hourly_a)

    def figures(self) -> tuple[object, ...]:
        """All that a cable is chosen by: every field, and of the hours what their loss needs."""
        own = tuple(getattr(self, each.name) for each in fields(self) if each.name != "hourly_a")
        return (*own, self.squares)


@dataclass(frozen=True, kw_only=True, eq=False)
class SizedRun:
    """A run with its cable.

    Parameters
    ----------
    run : Run
    size_mm2 : float
        Of one conductor [mm2]; with American sizes the area that the gauge has.
    size_name : str
        As it is bought: ``"16 mm²"`` or ``"AWG 4"``.
    in_parallel : int
    table_a : float
        Capacity by the table, before factors, all parallel conductors together [A].
    capacity_a : float
        Capacity as it lies (I_z) [A].
    factors : dict of str to float
        Each factor by its name in words, in the order they are multiplied.
    device_a : float or None
        Rated current of the overload device (I_n) [A]; None where there is none.
    drop_v : float
        At the design current, conductor at its working temperature [V].
    drop_frac : float
        Of `run.voltage_v`, [0 to 1].
    loss_w : float
        At the design current, of one of the `count` [W].
    loss_kwh_per_year : float
        By the hourly currents, all of the `count` together [kWh/year].
    cost : float
        Cable bought and laid, all of the `count`, in the site's money.
    lifetime_cost : float
        The same and the worth of the energy lost over the life.
    decided_by : str
        What asked for this size: capacity, drop, short circuit, lifetime cost, the site file.
    """

    run: Run
    size_mm2: float
    size_name: str
    in_parallel: int
    table_a: float
    capacity_a: float
    factors: dict[str, float]
    device_a: float | None
    drop_v: float
    drop_frac: float
    loss_w: float
    loss_kwh_per_year: float
    cost: float
    lifetime_cost: float
    decided_by: str
