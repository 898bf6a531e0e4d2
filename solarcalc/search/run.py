"""Every system of a search with its best plane, none run that cannot be it.

A front row of a tilt and azimuth gives at least what any array there gives, at any pitch: in each
hour no row behind passes it, boxes and tracking windows only take. More sun never serves a board
worse (`solarcalc.supply`, held by its tests), so a system run with that front row alone is never
worse than with any plane there; where it is no better than a plane found before, those planes are
not run. Of planes of one tilt and azimuth one that another passes in every hour is not run either.
What roof planes beside the first give is of the system: the same on every plane of the first.
Where all is supplied and no generator starts, the most sun decides, and that is known without a
run: what has less of it than a plane found before, which leaves nothing to wish, is not run at all.
Where a generator runs, litres do not follow the sun so strictly: with a little more of it the set
may start once more in a year. There the front row bounds nothing: systems with a generator are run
on every plane where that is asked (`certain`). Else its bound is loosened by some such turns and by
`ENGINE_MARGIN`, which is no proof and which the tests hold against running every plane.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Literal

import numpy as np

from solarcalc.search.kits import Kit
from solarcalc.search.light import Node
from solarcalc.search.systems import Systems
from solarcalc.supply import kernels
from solarcalc.supply.jobs import Jobs, Mains, mains_of
from solarcalc.sweep.compiled import in_threads, thread_count
from solarcalc.sweep.kernels import outshone

Criterion = Literal["hours", "supplied"]
NODES_AT_ONCE = 16
FIRST_NODES = 4
JOBS_AT_ONCE = 64
"""Tilts with azimuths, and systems, that a thread takes at a time."""
DIGITS = 3
NEAR = 2e-3
"""Energy [kWh] and money are compared to so many digits; a year that closed is known no nearer."""
ENGINE_MARGIN, ENGINE_HOURS, ENGINE_CYCLES = 0.04, 24.0, 1.0
"""Share, hours and turns from start to stop by which a generator may not follow the sun.

A set that gave less in more than a turn would have let the bank fall below the level that starts
it. Of 41,000 planes of the eight demo sites the worst was 2.1 % beside one turn, and no hour.
"""
_KINDS = len(kernels.SUMS)
_FIGURES = ("hours", "not_supplied_kwh", "running", "sun_kwh", "fuel_l", "generator_h",
            "essential_kwh")  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Wish:
    """By what the planes of a system are put in order, best first.

    Parameters
    ----------
    most_hours : float
        Hours a year without supply of the essential board that are allowed [h].
    criterion : {"hours", "supplied"}
        Fewest hours without supply of the essential board, or least energy of both boards not
        supplied. In either case first the hours above `most_hours`, and what a generator costs
        to run before what is left; of equals the most sun.
    """

    most_hours: float = 0.0
    criterion: Criterion = "hours"

    def keys(self, figures: np.ndarray) -> np.ndarray:
        """What is compared from left to right, less being better, (j, 5); figures as `run_jobs`."""
        hours, missed, running, sun = np.round(figures[:, :4].T, DIGITS)
        over = np.maximum(hours - self.most_hours, 0.0)
        middle = (running, hours, missed) if self.criterion == "hours" else (missed, running, hours)
        return np.stack([over, *middle, -sun], axis=1)


@dataclass(kw_only=True, eq=False)
class Found:
    """The best plane of each system of one `Systems`.

    Parameters
    ----------
    systems : Systems
    keys : array (s, 5)
        Infinite where no plane holds it.
    plane : array (s,)
        Node times pitches plus pitch; -1 for none.
    figures : array (s, 7)
        As `run_jobs`.
    held : int
        Candidates that the roof holds.
    run, bounds : int
        Candidates that were run, and systems with a front row.
    planes : int
        Planes whose rows can stand; pitches count as planes.
    years : int
        Years of rows behind others that were worked out.
    """

    systems: Systems
    keys: np.ndarray
    plane: np.ndarray
    figures: np.ndarray
    held: int = 0
    run: int = 0
    bounds: int = 0
    planes: int = 0
    years: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)

    @property
    def candidates(self) -> int:
        """Systems with planes whose rows can stand, whether the roof holds them or not."""
        return self.planes * len(self.systems)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Jobs:
    """Systems to run, by their places, each in a line of light; plane for the record.

    `node` is the place of the plane's node in the chunk, `whole` whether its light is that of the
    node's front row.
    """

    system: np.ndarray
    light: np.ndarray
    plane: np.ndarray
    node: np.ndarray
    whole: np.ndarray

    def of(self, which: np.ndarray) -> _Jobs:
        """Some of them, by place or by whether."""
        return _Jobs(system=self.system[which], light=self.light[which],
                     plane=self.plane[which], node=self.node[which], whole=self.whole[which])


def run_jobs(
    systems: Systems, which: np.ndarray, light: np.ndarray, of: np.ndarray,
    threads: int | None = 1,
) -> np.ndarray:
    """Years of systems, each in its line of light: figures, (j, 7).

    Hours without supply of the essential board, energy of both boards not supplied [kWh], what
    running costs over the lifetime, sun at the bus [kWh], fuel [l], hours of the generator, energy
    of the essential board not supplied [kWh].
    """
    found = np.zeros((len(which), len(_FIGURES)))
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


def held_with_engine(systems: Systems) -> int:
    """Candidates with a generator that the roof holds."""
    counts, own = systems.count_at[with_engine(systems)], systems.field
    if not len(counts):
        return 0
    return sum(int((own.node(number).rows > 0).sum(axis=0)[counts].sum())
               for number in range(own.node_count))


def search_systems(
    systems: Systems, wish: Wish, *, certain: bool = False, threads: int | None = None
) -> Found:
    """The best plane of each system; the figures do not depend on the threads.

    Parameters
    ----------
    systems : Systems
    wish : Wish
    certain : bool
        Whether systems with a generator are run on every plane, not by a margin.
    threads : int, optional
        Processors to use; all that the process may use if left out.
    """
    found = _nothing_found(systems)
    order = _brightest_first(systems, threads)
    chunks = [order[:FIRST_NODES],
              *(order[first : first + NODES_AT_ONCE]
                for first in range(FIRST_NODES, len(order), NODES_AT_ONCE))]  # fmt: skip
    several = len(chunks) - 1 >= (threads or thread_count())  # else threads share out a chunk
    _search_chunk(found, wish, chunks[0], certain=certain, threads=threads)
    in_threads(lambda number: _search_chunk(found, wish, chunks[number], certain=certain,
                                            threads=1 if several else threads),
               range(1, len(chunks)), threads if several else 1)  # fmt: skip
    return found


def _nothing_found(systems: Systems) -> Found:
    size = len(systems)
    return Found(systems=systems, keys=np.full((size, 5), np.inf),
                 plane=np.full(size, -1, np.int64), figures=np.full((size, 7), np.nan))


def _brightest_first(systems: Systems, threads: int | None) -> list[int]:
    """Nodes by what their front rows give in the year."""
    own = systems.field
    sums = np.zeros(own.node_count)
    _ = own.lit, own.windows, own.least_pitch_m, own.node(0)  # made before threads share them

    def work(first: int) -> None:
        for number in range(first, min(first + NODES_AT_ONCE, own.node_count)):
            sums[number] = own.front(number).sum(dtype=float)

    in_threads(work, range(0, own.node_count, NODES_AT_ONCE), threads)
    order: list[int] = np.argsort(-sums, kind="stable").tolist()
    return order


def _search_chunk(
    found: Found, wish: Wish, numbers: Sequence[int], *, certain: bool, threads: int | None
) -> None:
    systems, own = found.systems, found.systems.field
    nodes = [own.node(number) for number in numbers]
    fits = np.array([node.holds[systems.count_at] for node in nodes])
    at, which = np.nonzero(fits)
    front = np.array([node.net for node in nodes])
    with found.lock:
        best = found.keys.copy()
    worth = _before(wish.keys(_least(systems, which, front, at)), best[which])
    at, which = at[worth], which[worth]
    open_ = with_engine(systems)[which] if certain else np.zeros(len(which), bool)
    bound = np.flatnonzero(~open_)
    of_front = run_jobs(systems, which[bound], front, at[bound], threads)
    lower = _loosened(systems, wish, which[bound], of_front)
    open_[bound] = _before(wish.keys(lower), best[which[bound]])
    light, jobs, years = _planes_to_run(systems, numbers, nodes, (at[open_], which[open_]))
    ran = np.full((len(nodes), len(systems)), -1)
    ran[at[bound], which[bound]] = np.arange(len(bound))
    bound_at = ran[jobs.node, jobs.system]
    has = bound_at >= 0
    least, known = _least(systems, jobs.system, light, jobs.light), jobs.whole & has
    least[has, :3] = lower[bound_at[has], :3]
    keys = wish.keys(least)
    with found.lock:
        _take(found, wish, jobs.of(known), of_front[bound_at[known]])
    run = _run_likeliest_first(found, wish, jobs.of(~known), keys[~known], light, threads)
    held = sum(int((node.rows > 0).sum(axis=0)[systems.count_at].sum()) for node in nodes)
    planes = sum(int(own.valid(number).sum()) for number in numbers)
    with found.lock:
        found.held += held
        found.planes += planes
        found.bounds += len(bound)
        found.run += run + int(known.sum())
        found.years += years


def _run_likeliest_first(
    found: Found, wish: Wish, jobs: _Jobs, keys: np.ndarray, light: np.ndarray,
    threads: int | None,
) -> int:  # fmt: skip
    """Run of each system the job with the least key, then what may still be better; how many.

    No job is better than its key.
    """
    left, run = np.arange(len(keys)), 0
    for likeliest in (True, False):
        with found.lock:
            best = found.keys.copy()
        left = left[_before(keys[left], best[jobs.system[left]])]
        now = left[_first_of_each(jobs.system[left], keys[left])] if likeliest else left
        some = jobs.of(now)
        figures = run_jobs(found.systems, some.system, light, some.light, threads)
        with found.lock:
            _take(found, wish, some, figures)
        left, run = np.setdiff1d(left, now, assume_unique=True), run + len(now)
    return run


def _least(
    systems: Systems, which: np.ndarray, light: np.ndarray, of: np.ndarray
) -> np.ndarray:
    """Figures that no system is better than in its line of light, none of them run, (j, 7).

    Nothing that is not supplied, a generator that never starts, and the sun at the bus of that
    line, which is known without a run and the same for all banks.
    """
    alike = np.stack([systems.kept_at, systems.watts, systems.limit_w, systems.added_at])
    kinds, kind_of = np.unique(alike, axis=1, return_inverse=True)
    pairs, place = np.unique(of * kinds.shape[1] + kind_of[which], return_inverse=True)
    sun_kwh = np.empty(len(pairs))
    for number, pair in enumerate(pairs):
        line, kind = divmod(pair, kinds.shape[1])
        kept_at, watts, limit_w, added_at = kinds[:, kind]
        first_w = np.minimum(watts * (light[line] * systems.kept[int(kept_at)]), limit_w)
        sun_kwh[number] = (first_w.sum() + systems.added[int(added_at)].sum()) / 1000.0
    figures = np.zeros((len(which), len(_FIGURES)))
    figures[:, 2] = _at_rest(systems, which)
    figures[:, 3] = sun_kwh[place] + NEAR
    return figures


def _at_rest(systems: Systems, which: np.ndarray) -> np.ndarray:
    """What a generator that never starts costs over the lifetime, (j,)."""
    costs = np.array([kit.running(0.0, 0.0) for kit in systems.kits])
    return np.asarray(costs[systems.kit[which]])


def _first_of_each(system: np.ndarray, keys: np.ndarray) -> np.ndarray:
    """Places of the job with the least key of each system, in the order of the systems."""
    order = np.lexsort((*keys.T[::-1], system))
    return order[np.unique(system[order], return_index=True)[1]]


def _loosened(
    systems: Systems, wish: Wish, which: np.ndarray, bounds: np.ndarray
) -> np.ndarray:
    """Figures that no plane of the node is better than.

    With less sun a generator runs more, and while it runs it serves both boards: what these miss
    is bounded only where it never starts, if what it costs to run is compared before.
    """
    lower = bounds.copy()
    engine = with_engine(systems)[which]
    lower[:, 1:3] = np.maximum(lower[:, 1:3] - NEAR, 0.0)
    lower[:, 3] += NEAR
    cycle = np.array([kit.cycle_cost for kit in systems.kits])[systems.kit[which]]
    spread = ENGINE_CYCLES * cycle * systems.units[which]
    lower[engine, 0] = np.maximum(lower[engine, 0] - ENGINE_HOURS, 0.0)
    lower[engine & ((bounds[:, 4] > 0.0) | (wish.criterion == "supplied")), 1] = 0.0
    loose = lower[:, 2] * (1.0 - ENGINE_MARGIN) - spread
    lower[engine, 2] = np.maximum(loose, _at_rest(systems, which))[engine]
    return lower


def _before(keys: np.ndarray, best: np.ndarray) -> np.ndarray:
    """Whether each key is better than the best, or as good; from left to right, (j,) of bool."""
    better = np.zeros(len(keys), bool)
    same = np.ones(len(keys), bool)
    for column in range(keys.shape[1]):
        better |= same & (keys[:, column] < best[:, column])
        same &= keys[:, column] == best[:, column]
    return better | same


def _planes_to_run(
    systems: Systems, numbers: Sequence[int], nodes: Sequence[Node],
    open_: tuple[np.ndarray, np.ndarray],
) -> tuple[np.ndarray, _Jobs, int]:  # fmt: skip
    """Light of planes that may be the best of some system, the systems to run in it, years made."""
    own = systems.field
    _, table_of = own.windows
    tables = np.array(table_of, np.int64)[systems.balance_at]
    engine = with_engine(systems)
    lines: list[np.ndarray] = []
    system, light, plane, of_node, whole = [], [], [], [], []
    years = 0
    for at in np.unique(open_[0]):
        which, node = open_[1][open_[0] == at], nodes[at]
        counts = np.unique(systems.count_at[which])
        several = np.flatnonzero((node.rows[:, counts] > 1).any(axis=1))
        power, held = (own.behind(numbers[at], several, node.front) if len(several)
                       else (np.empty((0, len(own.lit)), np.float32),) * 2)  # fmt: skip
        years += len(several)
        place = {int(pitch): number for number, pitch in enumerate(several)}
        for count in counts:
            of_count = which[systems.count_at[which] == count]
            kinds = np.stack([tables[of_count], engine[of_count]])
            for table, runs in np.unique(kinds, axis=1).T.tolist():
                those = of_count[(kinds[0] == table) & (kinds[1] == runs)]
                made = []
                for pitch in _distinct(node.rows[:, count]):
                    rows, number = int(node.rows[pitch, count]), place.get(int(pitch), -1)
                    behind = node.front if rows == 1 else power[number]
                    window = None if table < 0 else (
                        node.held[table] if rows == 1 else held[number, table])
                    made.append((int(pitch), own.net_power(node.front, behind, rows, window)))
                for pitch, line in made if runs else _not_outshone(made):
                    system.append(those)
                    light.append(np.full(len(those), len(lines)))
                    plane.append(np.full(len(those), numbers[at] * len(own.pitches_m) + pitch))
                    of_node.append(np.full(len(those), at))
                    whole.append(np.full(len(those), np.array_equal(line, node.net)))
                    lines.append(line)
    made_light = np.array(lines) if lines else np.empty((0, len(own.lit)), np.float32)
    none = np.empty(0, np.int64)
    return made_light, _Jobs(
        system=np.concatenate([none, *system]), light=np.concatenate([none, *light]),
        plane=np.concatenate([none, *plane]), node=np.concatenate([none, *of_node]),
        whole=np.concatenate([none.astype(bool), *whole]),
    ), years  # fmt: skip


def _distinct(rows: np.ndarray) -> list[int]:
    """Pitches that hold a count; of those with a single row, which are all alike, the first."""
    held = np.flatnonzero(rows > 0)
    single = held[rows[held] == 1]
    return sorted([*single[:1].tolist(), *held[rows[held] > 1].tolist()])


def _not_outshone(made: Sequence[tuple[int, np.ndarray]]) -> list[tuple[int, np.ndarray]]:
    """Of pitches with their light those that no other passes in every hour."""
    if len(made) < 2:
        return list(made)
    light = np.array([line for _, line in made])
    order = np.argsort(-light.sum(axis=1, dtype=float), kind="stable")
    stays = np.zeros(len(made), bool)
    outshone(light, order, stays)
    return [one for one, stay in zip(made, stays, strict=True) if stay]


def _take(found: Found, wish: Wish, jobs: _Jobs, figures: np.ndarray) -> None:
    """Put in what is better than the best so far; of equals the first plane."""
    if not len(figures):
        return
    keys = wish.keys(figures)
    first = _first_of_each(jobs.system, np.column_stack([keys, jobs.plane]))
    which = jobs.system[first]
    new = _before(keys[first], found.keys[which])
    equal = (keys[first] == found.keys[which]).all(axis=1)
    new &= ~equal | (jobs.plane[first] < found.plane[which])
    taken = first[new]
    at = jobs.system[taken]
    found.keys[at], found.plane[at] = keys[taken], jobs.plane[taken]
    found.figures[at] = figures[taken]


def plane_figures(
    systems: Systems, system: int
) -> tuple[np.ndarray, np.ndarray]:
    """Every plane that holds a system, (p,), and its figures there, (p, 7)."""
    found = [
        (plane, figures) for plane, _, figures in _each_plane(systems, np.array([system]), every=1)
    ]  # fmt: skip
    planes = np.array([plane for plane, _ in found], np.int64)
    return planes, np.concatenate([one for _, one in found]) if found else np.empty((0, 7))


def run_all(systems: Systems, wish: Wish, *, every: int = 1) -> Found:
    """The best plane of each system with every plane run, or every so manieth: no bound is used."""
    own, size = systems.field, len(systems)
    found = _nothing_found(systems)
    found.planes = sum(int(own.valid(number).sum()) for number in range(own.node_count))
    for plane, which, figures in _each_plane(systems, np.arange(size), every=every):
        of_plane = np.full(len(which), plane)
        jobs = _Jobs(system=which, light=which, plane=of_plane, node=of_plane,
                     whole=np.zeros(len(which), bool))  # fmt: skip
        _take(found, wish, jobs, figures)
        found.held += len(which)
        found.run += len(which)
    return found


def _each_plane(
    systems: Systems, chosen: np.ndarray, *, every: int
) -> Iterator[tuple[int, np.ndarray, np.ndarray]]:
    """Every so manieth plane, which of the chosen systems it holds, and their figures there."""
    own = systems.field
    _, table_of = own.windows
    tables = np.array(table_of, np.int64)[systems.balance_at]
    for number in range(own.node_count):
        node = own.node(number)
        for pitch in np.flatnonzero(own.valid(number)).tolist():
            plane = number * len(own.pitches_m) + pitch
            which = chosen[node.rows[pitch][systems.count_at[chosen]] > 0]
            if plane % every or not len(which):
                continue
            power, held = own.behind(number, np.array([pitch]), node.front)
            made: dict[tuple[int, int], int] = {}
            lines: list[np.ndarray] = []
            for one in which:
                key = int(node.rows[pitch, systems.count_at[one]]), int(tables[one])
                if key not in made:
                    made[key] = len(lines)
                    first = key[0] == 1
                    window = None if key[1] < 0 else (node.held if first else held[0])[key[1]]
                    lines.append(own.net_power(node.front, node.front if first else power[0],
                                               key[0], window))  # fmt: skip
            of = np.array([made[int(node.rows[pitch, systems.count_at[one]]), int(tables[one])]
                           for one in which], np.int64)  # fmt: skip
            yield plane, which, run_jobs(systems, which, np.array(lines), of)
