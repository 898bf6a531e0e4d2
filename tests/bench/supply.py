"""The supply engine beside a plain Python loop of the same rules, ten thousand pairs, its limits.

    python tests/bench/supply.py

The plain loop is `tests/plain_supply.py`: numbers and lists, branches where they save work. It
must give what the compiled loop gives, hour by hour, or nothing is printed. The year, its loads
and the system are invented. All times are of one run; "a step" is an hour of one system.
"""

from __future__ import annotations

import json
import os
import re
import resource
import runpy
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
from numba import njit

from solarcalc.basis.hours import year_hours
from solarcalc.battery.bank import Bank
from solarcalc.supply import kernels
from solarcalc.supply.frontier import frontier
from solarcalc.supply.jobs import mains_of
from solarcalc.supply.run import islands_of, simulate
from solarcalc.supply.site import random_presence
from solarcalc.supply.system import Board, GeneratorSet, GridSupply, Shedding, System

PLAIN = runpy.run_path(str(Path(__file__).resolve().parents[1] / "plain_supply.py"))
HOURS = 8760
AGREE = 1e-9
"""Largest difference of any flow or charge, of the bank's capacity, and of the year's sums."""
ARRAYS, BANKS = np.linspace(0.1, 4.0, 100), np.linspace(0.1, 4.0, 100)


def line(
    figure: str, value: float, unit: str, target: float | None = None, better: str = "lower"
) -> None:
    """Print one figure as one JSON object."""
    print(json.dumps({"figure": figure, "value": float(f"{value:.4g}"), "unit": unit,
                      "target": target, "better": better}), flush=True)  # fmt: skip


def seconds(function: Callable[[], Any], runs: int = 7) -> float:
    """Least processor time of a call [s], after one that is not counted: others may run here."""
    function()
    times = []
    for _ in range(runs):
        start = time.process_time()
        function()
        times.append(time.process_time() - start)
    return min(times)


def invented_year() -> tuple[pd.Series, pd.DataFrame]:
    """Sun of cloudy and clear days [W] and loads of morning and evening, [W]."""
    draw = np.random.default_rng(3)
    hour, index = np.tile(np.arange(24), 365), year_hours(2.0)
    clear = np.repeat(draw.beta(2.0, 1.3, 365), 24)
    sun = 2500.0 * clear * np.clip(np.sin((hour - 6.0) / 12.0 * np.pi), 0.0, None)
    busy, noon = np.isin(hour, (6, 7, 18, 19, 20, 21)), np.isin(hour, (10, 11, 12, 19))
    loads = {"essential": 250.0 + 400.0 * busy * draw.uniform(0.6, 1.4, HOURS),
             "nonessential": 1000.0 * noon * draw.uniform(0.3, 1.5, HOURS)}  # fmt: skip
    return pd.Series(sun, index=index), pd.DataFrame(loads, index=index)


def system_with(*, grid: bool, generator: bool) -> System:
    """A lead-acid bank of two wells, two boards, outages of six hours a day, a small generator."""
    bank = Bank(
        capacity_wh=10000.0, voltage_v=48.0, available_frac=0.6, exchange_per_h=0.5,
        min_soc_frac=0.4, charge_efficiency_frac=0.92, discharge_efficiency_frac=0.95,
        max_charge_w=2000.0, max_discharge_w=5000.0, acceptance_per_h=0.6,
        self_discharge_frac_per_h=4e-5, capacity_factor=np.full(HOURS, 0.95),
        charge_factor=np.ones(HOURS),
    )  # fmt: skip
    present = random_presence(HOURS, outage_h_per_day=6.0, mean_outage_h=3.0, seed=1)
    return System(
        banks=(bank,),
        boards={"essential": Board(rating_w=2000.0, efficiency_frac=0.93, no_load_w=12.0),
                "nonessential": Board(rating_w=3000.0, efficiency_frac=0.92, no_load_w=18.0)},
        shedding=Shedding(off_frac=0.45, on_frac=0.65),
        grid=GridSupply(present_frac=present, limit_w=800.0, charge_below_frac=0.5)
        if grid else None,
        generator=GeneratorSet(power_w=2000.0, start_frac=0.42, stop_frac=0.8, least_load_frac=0.3,
                               idle_fuel_l_per_h=0.4, fuel_l_per_kwh=0.28) if generator else None,
    )  # fmt: skip


class Pass:
    """One pass through the year of one system, from a full bank, by each of the loops."""

    def __init__(self, system: System) -> None:
        self.system = system
        ((_, self.island, self.series),) = islands_of(*invented_year(), system)
        full, c = self.island.capacity_wh, self.island.first_frac
        self.start = (c * full, (1.0 - c) * full, 0.0)
        self.out = np.empty((HOURS, len(kernels.FLOWS)))
        self.zeros = np.zeros(HOURS)
        self.mains = mains_of((self.island,), (self.series,))
        self.lanes = np.empty((kernels.STATE + 4 + len(kernels.SUMS)) * kernels.LANES)
        grid = system.grid and SimpleNamespace(
            present_frac=system.grid.present_frac.tolist(), limit_w=system.grid.limit_w,
            charge_below_frac=system.grid.charge_below_frac, taken=self.zeros.tolist(),
        )  # fmt: skip
        boards = ((self.island.essential_efficiency, self.island.essential_no_load_w),
                  (self.island.nonessential_efficiency,
                   self.island.nonessential_no_load_w))  # fmt: skip
        self.plain_input = (
            PLAIN["Bank"](system.banks[0]), self.series[:, 0].tolist(),
            (self.series[:, 1].tolist(), self.series[:, 2].tolist()), boards,
            (system.shedding.off_frac, system.shedding.on_frac),
            (self.island.grid_first, self.island.charger_efficiency, self.island.charger_w), grid,
            system.generator,
            (*self.start[:2], False),
        )  # fmt: skip

    def plain(self) -> Any:
        """Rows of the plain loop."""
        return PLAIN["run_year"](*self.plain_input)

    def written(self) -> None:
        """The compiled loop with every flow written down."""
        kernels.written_year(self.island, self.series, self.start, self.zeros, self.out)

    def all_lanes(self) -> None:
        """The compiled loop with all lanes, each the same system, sums alone."""
        lanes = self.lanes.reshape(-1, kernels.LANES)
        n = kernels.STATE
        lanes[:n], lanes[n:-2], lanes[-2:] = np.array(self.start)[:, None], 0.0, 1.0
        kernels.run_lanes(
            0, HOURS, self.island, self.series, self.lanes, self.mains, None, None)

    def agree(self) -> float:
        """Largest difference of the loops, of the capacity; all three are run."""
        rows = np.array(self.plain()[0], float)
        self.written()
        self.all_lanes()
        at = {name: i for i, name in enumerate(kernels.FLOWS)}
        out, full = self.out, self.island.capacity_wh
        names = ("essential_supplied_w", "nonessential_supplied_w", "solar_curtailed_w",
                 "discharge_w", "charge_w", "fuel_l")  # fmt: skip
        found = [np.abs(rows[:, i] - out[:, at[name]]).max() / full for i, name in enumerate(names)]
        found.append(np.abs(rows[:, 8] - out[:, at["stored_wh"]]).max() / full)
        assert (rows[:, 7] == out[:, at["generator_on"]]).all()
        sums = self.lanes.reshape(-1, kernels.LANES)[kernels.STATE :][: len(kernels.SUMS)]
        loads = self.series[:, 7:9]
        missed = loads - rows[:, :2]
        without = missed > kernels.NOT_SUPPLIED_W
        mine = [*without.sum(axis=0), *missed.sum(axis=0), rows[:, 2].sum(), rows[:, 3].sum(),
                rows[:, 7].sum(), rows[:, 5].sum(), rows[:, 6].sum()]  # fmt: skip
        for lane in range(kernels.LANES):
            size = np.maximum(np.abs(mine), loads.sum())
            size[[0, 1, 6]] = 1.0
            found.append((np.abs(sums[:, lane] - mine) / size).max())
        worst = float(max(found))
        assert worst < AGREE, worst
        return worst


def against_the_plain_loop() -> None:
    """Speed and agreement, per core."""
    for words, kinds in (
        ("grid with outages", {"grid": True, "generator": False}),
        ("grid with outages and generator", {"grid": True, "generator": True}),
        ("sun alone", {"grid": False, "generator": False}),
    ):
        one = Pass(system_with(**kinds))
        line(f"{words}: largest difference from the plain loop", one.agree(), "of capacity", AGREE)
        plain = seconds(one.plain, 5) / HOURS
        written = seconds(one.written, 25) / HOURS
        lanes = seconds(one.all_lanes, 25) / HOURS / kernels.LANES
        line(f"{words}: plain loop", 1e9 * plain, "ns a step")
        line(f"{words}: compiled, every flow written down", 1e9 * written, "ns a step")
        line(f"{words}: compiled, {kernels.LANES} systems at once", 1e9 * lanes, "ns a step")
        line(f"{words}: plain over compiled, one system with all flows", plain / written, "times",
             None, "higher")  # fmt: skip
        line(f"{words}: plain over compiled, many systems, per core", plain / lanes, "times",
             300.0, "higher")  # fmt: skip


def one_year() -> None:
    """What a workbook waits for."""
    year, system = invented_year(), system_with(grid=True, generator=True)
    line("one system's closed year with its table, warm",
         1000 * seconds(lambda: simulate(*year, system), 15), "ms")  # fmt: skip


def whole_frontier() -> None:
    """In a process of its own: seconds, and most memory held."""
    year = invented_year()
    for words, kinds in (
        ("two boards, two wells, outages", {"grid": True, "generator": False}),
        ("the same with a generator", {"grid": True, "generator": True}),
        ("the same without grid", {"grid": False, "generator": False}),
    ):
        system = system_with(**kinds)
        frontier(*year, system, array_scales=[1.0], bank_scales=[1.0])
        start, used = time.perf_counter(), time.process_time()
        table = frontier(*year, system, array_scales=ARRAYS, bank_scales=BANKS, threads=2)
        took, used = time.perf_counter() - start, time.process_time() - used
        assert len(table) == len(ARRAYS) * len(BANKS)
        line(f"{len(table):,} closed years, {words}, two threads", took, "s", 5.0)
        line(f"an hour of a closed year, {words}, processor time", 1e9 * used / len(table) / HOURS,
             "ns")  # fmt: skip
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    line("most memory held by that process", held, "GiB", 1.0)


def first_use(words: str) -> None:
    """In a process of its own: the first frontier and the first single year after the imports."""
    year, system = invented_year(), system_with(grid=True, generator=True)
    start = time.perf_counter()
    frontier(*year, system, array_scales=[1.0], bank_scales=[1.0])
    line(f"first frontier of a process, {words}", time.perf_counter() - start, "s")
    start = time.perf_counter()
    simulate(*year, system)
    line(f"first single year of a process, {words}", time.perf_counter() - start, "s")


@njit(nogil=True, fastmath=True)
def _multiply_add(rounds: int, values: Any) -> Any:
    """Nothing but multiplications and additions, 64 to a value, for their highest rate."""
    total = 0.0
    for _ in range(rounds):
        for i in range(len(values)):
            x = values[i]
            p, q = x, x + x
            for _ in range(32):
                p = p * x + 0.5
                q = q * x + 0.25
            total += p + q
    return total


WIDTH = 4
"""Double values in a vector register of this kind of processor (AVX2)."""


def bounds() -> None:
    """How near the arithmetic limit: vector instructions of a step beside their highest rate."""
    one = Pass(system_with(grid=True, generator=True))
    took = seconds(one.all_lanes, 25) / HOURS / kernels.LANES
    code: Any = kernels.run_lanes
    text = next(iter(code.inspect_asm().values()))
    counts = {
        kind: len(re.findall(rf"^\tv(?:{names})pd\b", text, re.M))
        for kind, names in (
            ("arithmetic", "add|sub|mul|div|min|max|fn?m(?:add|sub)[0-9]+"),
            ("choice", "cmp[a-z_]*|and|andn|or|blendv"),
        )
    }
    if counts["arithmetic"] == 0:  # another processor, or not in vectors
        return
    values = np.full(1024, 0.3)
    rate = 64 * 1024 * 500 / WIDTH / seconds(lambda: _multiply_add(500, values))
    line("vector multiply-adds alone", rate / 1e9, "1e9 a second", None, "higher")
    for kind, count in counts.items():
        line(f"vector instructions of {kind} for {WIDTH} steps", count, "")
    least = sum(counts.values()) / WIDTH / rate
    line("a step if they ran at the rate of multiply-adds", 1e9 * least, "ns")
    line("a step", 1e9 * took, "ns")
    line("of the arithmetic limit", 100.0 * least / took, "%", None, "higher")


def main() -> None:
    """Measure and print."""
    against_the_plain_loop()
    one_year()
    own = [sys.executable, __file__]
    subprocess.run([*own, "whole frontier"], check=True)
    subprocess.run([*own, "machine code kept"], check=True)
    with tempfile.TemporaryDirectory() as empty:
        environment = {**os.environ, "NUMBA_CACHE_DIR": empty}
        subprocess.run([*own, "nothing kept"], check=True, env=environment)
    with tempfile.TemporaryDirectory() as empty:  # kept machine code cannot be read
        environment = {**os.environ, "NUMBA_CACHE_DIR": empty}
        subprocess.run([*own, "limit"], check=True, env=environment)


if __name__ == "__main__":
    if sys.argv[1:] == ["whole frontier"]:
        whole_frontier()
    elif sys.argv[1:] == ["limit"]:
        bounds()
    elif sys.argv[1:]:
        first_use(sys.argv[1])
    else:
        main()
