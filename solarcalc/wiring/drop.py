"""Volts dropped and energy lost in a run, its conductors at the temperature they work at."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.hours import HOURS_IN_YEAR
from solarcalc.wiring.capacity import Capacity
from solarcalc.wiring.conductors import (
    REACTANCE_OHM_PER_KM,
    hot_ohm_per_km,
    rise_per_k,
    working_c,
)
from solarcalc.wiring.runs import Run, Squares


@dataclass(frozen=True, kw_only=True)
class Losses:
    """What a run loses, of one of its `count` unless it says otherwise.

    Parameters
    ----------
    working_c : float
        Conductor at the design current [degC].
    drop_v : float
        At the design current [V].
    drop_frac : float
        Of the run's voltage, [0 to 1].
    loss_w : float
        At the design current [W].
    loss_kwh_per_year : float
        By the hourly currents, all of the `count` [kWh/year].
    """

    working_c: float
    drop_v: float
    drop_frac: float
    loss_w: float
    loss_kwh_per_year: float


def volts_dropped(
    current_a: float,
    length_m: float,
    *,
    r_ohm_per_km: float,
    x_ohm_per_km: float = 0.0,
    power_factor_frac: float = 1.0,
    loaded: Literal[2, 3] = 2,
) -> float:
    """Drop along a run [V]; between lines where three conductors are loaded.

    Parameters
    ----------
    current_a : float
        Of a conductor [A].
    length_m : float
        One way [m].
    r_ohm_per_km, x_ohm_per_km : float
        Of a conductor, at its temperature [ohm/km].
    power_factor_frac : float
        Lagging, [0 to 1]; 1 for direct current.
    loaded : {2, 3}

    Notes
    -----
    b I L (R cos + X sin), b = 2, or sqrt(3) for three phases: IEC 60364-5-52 annex G.

    Examples
    --------
    >>> round(volts_dropped(20.0, 30.0, r_ohm_per_km=8.866), 2)
    10.64
    """
    ways = 2.0 if loaded == 2 else math.sqrt(3.0)
    sine = math.sqrt(max(0.0, 1.0 - power_factor_frac**2))
    ohm_per_km = r_ohm_per_km * power_factor_frac + x_ohm_per_km * sine
    return ways * current_a * length_m / 1000.0 * ohm_per_km


def losses(
    run: Run, r20_ohm_per_km: float, carries: Capacity, *, in_parallel: int, squares: Squares
) -> Losses:
    """What the run loses with that conductor.

    Parameters
    ----------
    run : Run
    r20_ohm_per_km : float
        Of one conductor at 20 degC [ohm/km].
    carries : Capacity
        Of all in parallel.
    in_parallel : int
        Conductors for each pole.
    squares : Squares
        Of `run.hourly_a`.

    Notes
    -----
    Each hour loses n I^2 R(t) with n loaded conductors and t = ambient + (hottest - ambient)
    (I / I_z)^2. R is a straight line in t, so the year's sum needs the means of I^2 and I^4 alone.
    """
    r20 = r20_ohm_per_km / in_parallel
    i_z, rise_k = carries.capacity_a, carries.hottest_c - run.ambient_c
    conductor_c = working_c(run.ambient_c, carries.hottest_c, run.design_a / i_z)
    hot = hot_ohm_per_km(r20, conductor_c, run.material)
    reactance = float(REACTANCE_OHM_PER_KM) / in_parallel if run.current == "ac" else 0.0
    drop_v = volts_dropped(
        run.design_a, run.length_m, r_ohm_per_km=hot, x_ohm_per_km=reactance,
        power_factor_frac=run.power_factor, loaded=run.loaded,
    )  # fmt: skip
    resting = hot_ohm_per_km(r20, run.ambient_c, run.material)
    warming = r20 * rise_per_k(run.material) * rise_k / i_z**2
    km = run.loaded * run.length_m / 1000.0
    mean_w = km * (squares.second * resting + squares.fourth * warming)
    return Losses(
        working_c=conductor_c,
        drop_v=drop_v,
        drop_frac=drop_v / run.voltage_v,
        loss_w=km * run.design_a**2 * hot,
        loss_kwh_per_year=run.count * mean_w * HOURS_IN_YEAR / 1000.0,
    )
