"""A system, its sun and its loads made ready for the compiled loop, and what is refused there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from solarcalc.basis.errors import Fault, InputError
from solarcalc.battery import Bank
from solarcalc.supply.boards import Board
from solarcalc.supply.system import GeneratorSet, System

if TYPE_CHECKING:
    from solarcalc.supply.kernels import Island

BOARDS = ("critical", "heavy")
_NO_TAPER_PER_H = 1e30
"""Stands for an acceptance without limit: the compiled loop takes no infinite value [1/h]."""
_NOBODY = Board(rating_w=0.0, efficiency_frac=1.0, idle_w=0.0)
_NO_ENGINE = GeneratorSet(
    power_w=0.0, start_frac=0.0, stop_frac=1.0, least_load_frac=0.0, idle_fuel_l_per_h=0.0,
    fuel_l_per_kwh=0.0,
)  # fmt: skip


def check_series(solar_w: pd.Series, loads_w: pd.DataFrame, system: System) -> None:
    """Refuse series that do not fit one another or hold what cannot be.

    Raises
    ------
    InputError
        For a missing load column, unlike hours, another count of hours in a bank or the grid, or
        a negative, missing or endless value; it names series and hour.
    """
    n, faults = len(solar_w), []
    if n == 0:
        faults.append(Fault(where="solar_w", given="no hour", allowed="one hour or more"))
    for name in BOARDS:
        if name not in loads_w:
            faults.append(Fault(where="loads_w", given=", ".join(map(str, loads_w.columns)),
                                allowed=f"a column {name!r}"))  # fmt: skip
    if not loads_w.index.equals(solar_w.index):
        faults.append(Fault(where="loads_w", given=f"{len(loads_w)} hours, not those of solar_w",
                            allowed=f"the same {n} hours"))  # fmt: skip
    counts = [(f"bank {i}: {name}", len(getattr(bank, name)))
              for i, bank in enumerate(system.banks, start=1)
              for name in ("capacity_factor", "charge_factor")]  # fmt: skip
    if system.grid is not None:
        counts.append(("grid: present_frac", len(system.grid.present_frac)))
    faults += [Fault(where=where, given=f"{count} hours", allowed=f"{n} hours, as solar_w")
               for where, count in counts if count != n]  # fmt: skip
    series = [("solar_w", solar_w)]
    series += [(name, loads_w[name]) for name in BOARDS if name in loads_w]
    for name, one in series:
        values = one.to_numpy(float)
        bad = ~((values >= 0.0) & np.isfinite(values))
        if bad.any():
            faults.append(Fault(where=f"{name}, hour {one.index[int(np.argmax(bad))]}",
                                given=str(values[bad][0]), allowed="0 W or more in every hour",
                                remedy="mend the profile at that hour"))  # fmt: skip
    if faults:
        raise InputError(faults)


def islands_of(
    solar_w: pd.Series, loads_w: pd.DataFrame, system: System
) -> list[tuple[str, Island, np.ndarray]]:
    """Name, constants and series of each bank with what hangs on it; series as `kernels` has it."""
    sun = solar_w.to_numpy(float)
    loads = [loads_w[name].to_numpy(float) for name in BOARDS]
    boards = [system.boards[name] for name in BOARDS]
    if not system.separate:
        one = system.architecture.layout == "one-inverter"
        served = np.minimum(loads[0], boards[0].rating_w)
        room = boards[0].rating_w - served if one else boards[1].rating_w
        if one:
            boards[1] = Board(rating_w=boards[0].rating_w, idle_w=0.0,
                              efficiency_frac=boards[0].efficiency_frac)  # fmt: skip
        series = _series(system, sun, loads, (served, np.minimum(loads[1], room)), system.banks[0])
        return [("shared", _island(system, system.banks[0], boards, system.generator), series)]
    share, found = system.architecture.critical_sun_frac, []
    for at, name in enumerate(BOARDS):
        own = [load if i == at else np.zeros(len(sun)) for i, load in enumerate(loads)]
        here = [board if i == at else _NOBODY for i, board in enumerate(boards)]
        part = sun * (share if at == 0 else 1.0 - share)
        capped = tuple(np.minimum(x, b.rating_w) for x, b in zip(own, here, strict=True))
        series = _series(system, part, own, capped, system.banks[at])
        engine = system.generator if at == 0 else None
        found.append((name, _island(system, system.banks[at], here, engine), series))
    return found


def _series(
    system: System, sun: np.ndarray, loads: list[np.ndarray], served: tuple[np.ndarray, ...],
    bank: Bank,
) -> np.ndarray:  # fmt: skip
    present = np.zeros(len(sun)) if system.grid is None else system.grid.present_frac
    limit_w = 0.0 if system.grid is None else system.grid.limit_w
    floor = 1.0 - np.asarray(bank.capacity_factor) * (1.0 - bank.reserve_frac)
    columns = [sun, *served, present, present * limit_w, floor, bank.charge_factor, *loads]
    return np.ascontiguousarray(np.stack(columns, axis=1), dtype=float)


_LEAST_EXCHANGE = 1e-12
"""Exchange [1/h] below which the two wells stand apart: a guard against rounding, no more."""


def well_step(bank: Bank) -> tuple[float, float, float]:
    """Constants of an hour of the two wells: q1' = keep q1 + gain q0 - give d.

    Parameters
    ----------
    bank : Bank

    Notes
    -----
    With k and c of `kernels`: keep = e^-k, gain = c (1 - e^-k),
    give = ((1 - e^-k) + c (k - 1 + e^-k)) / k. One well (c = 1): keep + gain = give = 1.
    """
    c = bank.available_frac
    k = max(bank.exchange_per_h, _LEAST_EXCHANGE) if c < 1.0 else 1.0
    gone = -math.expm1(-k)
    return 1.0 - gone, c * gone, (gone + c * (k - gone)) / k


def _island(
    system: System, bank: Bank, boards: list[Board], engine: GeneratorSet | None
) -> Island:
    from solarcalc.supply.kernels import Island

    keep, gain, give = well_step(bank)
    engine, grid, plan = engine or _NO_ENGINE, system.grid, system.architecture
    critical, heavy = boards
    return Island(
        capacity_wh=float(bank.capacity_wh), first_frac=float(bank.available_frac),
        keep=keep, gain=gain, give=give,
        charge_efficiency=float(bank.charge_efficiency_frac),
        discharge_efficiency=float(bank.discharge_efficiency_frac),
        max_charge_w=float(bank.max_charge_w), max_discharge_w=float(bank.max_discharge_w),
        acceptance_per_h=float(min(bank.acceptance_per_h, _NO_TAPER_PER_H)),
        self_discharge=float(bank.self_discharge_frac_per_h),
        off_frac=float(system.shedding.off_frac), on_frac=float(system.shedding.on_frac),
        critical_efficiency=float(critical.efficiency_frac), critical_idle_w=float(critical.idle_w),
        heavy_efficiency=float(heavy.efficiency_frac), heavy_idle_w=float(heavy.idle_w),
        grid_first=plan.order == "sun-grid-battery",
        charge_below_frac=0.0 if grid is None else float(grid.charge_below_frac),
        charger_efficiency=float(plan.charger_efficiency_frac),
        generator_w=float(engine.power_w), start_frac=float(engine.start_frac),
        stop_frac=float(engine.stop_frac), least_w=float(engine.power_w * engine.least_load_frac),
        idle_fuel_l=float(engine.idle_fuel_l_per_h),
        fuel_l_per_wh=float(engine.fuel_l_per_kwh) / 1000.0,
    )  # fmt: skip
