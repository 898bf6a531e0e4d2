"""Years of whole systems, each in a line of light of its own."""

from __future__ import annotations

from functools import partial

import numpy as np

from solarcalc.search.kits import Kit
from solarcalc.search.systems import Systems
from solarcalc.supply import kernels
from solarcalc.supply.jobs import Jobs, Mains, mains_of
from solarcalc.sweep.compiled import in_threads

JOBS_AT_ONCE = 64
"""Systems that a thread takes at a time."""
FIGURES = ("hours", "not_supplied_kwh", "running", "sun_kwh", "fuel_l", "generator_h",
           "essential_kwh")  # fmt: skip
_KINDS = len(kernels.SUMS)


def run_jobs(
    systems: Systems, which: np.ndarray, light: np.ndarray, of: np.ndarray,
    threads: int | None = 1,
) -> np.ndarray:
    """Years of systems, each in its line of light: figures, (j, 7).

    Hours without supply of the essential board, energy of both boards not supplied [kWh], what
    running costs over the lifetime, sun at the bus [kWh], fuel [l], hours of the generator, energy
    of the essential board not supplied [kWh].
    """
    found = np.zeros((len(which), len(FIGURES)))
    kits = systems.kit[which]
    for number in np.unique(kits):
        at = np.flatnonzero(kits == number)
        at = at[np.argsort(which[at], kind="stable")]  # alike side by side: enough at like hours
        kit = systems.kits[number]
        chosen = which[at]
        jobs = Jobs(
            light=of[at], kept=systems.kept_at[chosen], watts=systems.watts[chosen],
            limit_w=systems.limit_w[chosen], bank=systems.units[chosen].astype(float),
            added=systems.added_at[chosen],
        )  # fmt: skip
        mains = mains_of((kit.island,), (kit.series,))
        results = np.empty((len(at), _KINDS + 1))
        work = partial(_run_some, kit, jobs, light, systems, results, mains)
        in_threads(work, range(0, len(at), JOBS_AT_ONCE), threads)
        fuel, engine_h = results[:, 7], results[:, 6]
        found[at] = np.stack([
            results[:, 0], (results[:, 2] + results[:, 3]) / 1000.0, kit.running(fuel, engine_h),
            results[:, _KINDS] / 1000.0, fuel, engine_h, results[:, 2] / 1000.0,
        ], axis=1)  # fmt: skip
    return found


def _run_some(
    kit: Kit, jobs: Jobs, light: np.ndarray, systems: Systems, results: np.ndarray,
    mains: Mains, first: int,
) -> None:  # fmt: skip
    """Years of the jobs from a place on, as many as a thread takes at a time, into `results`."""
    last = min(first + JOBS_AT_ONCE, len(results))
    kernels.own_suns(first, last, kit.island, kit.series, jobs, light, systems.kept,
                     systems.added, systems.field.lit, mains, results)  # fmt: skip


def with_engine(systems: Systems) -> np.ndarray:
    """Which systems have a generator, (s,) of bool."""
    has = np.array([kit.generator_w > 0.0 for kit in systems.kits])
    return np.asarray(has[systems.kit])
