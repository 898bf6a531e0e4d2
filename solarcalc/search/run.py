"""Every system of a search with its best plane, none run that cannot be it.

A front row of a tilt and azimuth gives at least what any array there gives, at any pitch: in each
hour no row behind passes it, boxes and tracking windows only take. A system that with a front row
alone is no better than with a plane found before has no better plane there, and none of them is
run (`solarcalc.search.bounds`). Nor is any front row of neighbouring tilts and azimuths where the
most light of them all in each hour does no better. Of planes of one tilt and azimuth one that
another passes in every hour is not run; the most light of the others bounds them in the same way.
What roof planes beside the first give is of the system: the same on every plane of the first.
Where all is supplied and no generator starts, the most sun decides, and that is known without a
run: what has less of it than a plane found before, which leaves nothing to wish, is not run at all.
Where a generator runs, litres follow the sun within a margin only: there systems are run on every
plane where that is asked (`certain`).
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from solarcalc.search.bounds import Wish, before, least_figures, loosened, most_of, raised
from solarcalc.search.light import Node, PlaneField
from solarcalc.search.systems import Systems
from solarcalc.search.years import run_jobs, with_engine
from solarcalc.sweep.compiled import in_threads, thread_count
from solarcalc.sweep.kernels import outshone

FIRST_NODES = 4
"""Tilts with azimuths that are run before any other, so that the others have a plane to pass."""
NODES_ACROSS = (4, 2)
"""Tilts, and azimuths, of neighbours that are bounded together, from coarse to fine."""
PITCHES_TOGETHER = (None, 4)
"""Pitches that are bounded together: first all of a tilt and azimuth."""


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
        Candidates that were run, and years in light that no plane of theirs passes.
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


@dataclass(frozen=True, kw_only=True, eq=False)
class _Lines:
    """Light of planes, (m, n); pitches of one tilt and azimuth with the same rows are a group.

    `years` of rows behind others were worked out.
    """

    light: np.ndarray
    group: np.ndarray
    years: int

    def parts(self, together: int | None) -> np.ndarray:
        """For each line the number of its part: its group, or so many side by side in it."""
        if together is None:
            return np.unique(self.group, return_inverse=True)[1]
        within = np.arange(len(self.group)) - np.searchsorted(self.group, self.group)
        pairs = np.column_stack([self.group, within // together])
        return np.unique(pairs, axis=0, return_inverse=True)[1].ravel()


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
    chunks = [order[:FIRST_NODES], *_blocks(systems.field, order[FIRST_NODES:])]
    several = len(chunks) - 1 >= (threads or thread_count())  # else threads share out a chunk
    _search_chunk(found, wish, chunks[0], certain=certain, threads=threads)
    in_threads(lambda number: _search_chunk(found, wish, chunks[number], certain=certain,
                                            threads=1 if several else threads),
               range(1, len(chunks)), threads if several else 1)  # fmt: skip
    return found


def _blocks(own: PlaneField, order: Sequence[int]) -> list[list[int]]:
    """Neighbouring nodes together, those of the first of the order first."""
    blocks: dict[int, list[int]] = {}
    for block, number in zip(_neighbourhoods(own, order, NODES_ACROSS[0]), order, strict=True):
        blocks.setdefault(int(block), []).append(number)
    return list(blocks.values())


def _neighbourhoods(own: PlaneField, numbers: Sequence[int], across: int) -> np.ndarray:
    """For each node the number of its square of so many tilts and azimuths."""
    tilt, azimuth = np.divmod(np.array(numbers, np.int64), len(own.azimuths_deg))
    return np.asarray((tilt // across) * len(own.azimuths_deg) + azimuth // across)


def _nothing_found(systems: Systems) -> Found:
    size = len(systems)
    return Found(systems=systems, keys=np.full((size, 5), np.inf),
                 plane=np.full(size, -1, np.int64), figures=np.full((size, 7), np.nan))


def _brightest_first(systems: Systems, threads: int | None) -> list[int]:
    """Nodes by what their front rows give in the year."""
    own = systems.field
    sums = np.zeros(own.node_count)
    _ = own.lit, own.windows, own.least_pitch_m, own.node(0)  # made before threads share them

    def work(number: int) -> None:
        sums[number] = own.front(number).sum(dtype=float)

    in_threads(work, range(own.node_count), threads)
    order: list[int] = np.argsort(-sums, kind="stable").tolist()
    return order


def _search_chunk(
    found: Found, wish: Wish, numbers: Sequence[int], *, certain: bool, threads: int | None
) -> None:
    systems, own = found.systems, found.systems.field
    nodes = [own.node(number) for number in numbers]
    at, which = np.nonzero(np.array([node.holds[systems.count_at] for node in nodes]))
    front = np.array([node.net for node in nodes])
    least, years = least_figures(systems, which, front, at), 0
    best = _best_so_far(found)
    worth = np.flatnonzero(before(wish.keys(least), best[which]))
    unbound = worth[with_engine(systems)[which[worth]] & certain]
    left = np.setdiff1d(worth, unbound, assume_unique=True)
    for across in NODES_ACROSS if np.isfinite(best).any() else ():
        squares = np.unique(_neighbourhoods(own, numbers, across), return_inverse=True)[1]
        least[left], ran = raised(systems, wish, which[left], least[left], squares[at[left]],
                                  most_of(front, squares), threads)  # fmt: skip
        left = left[before(wish.keys(least[left]), best[which[left]])]
        years += ran
    of_front = run_jobs(systems, which[left], front, at[left], threads)
    lower = loosened(systems, wish, which[left], of_front)
    open_ = left[before(wish.keys(lower), best[which[left]])]
    may = np.union1d(unbound, open_)
    lines, jobs = _planes_to_run(systems, numbers, nodes, (at[may], which[may]))
    ran_at = np.full((len(nodes), len(systems)), -1)
    ran_at[at[left], which[left]] = np.arange(len(left))
    front_at = ran_at[jobs.node, jobs.system]
    has = front_at >= 0
    least, known = least_figures(systems, jobs.system, lines.light, jobs.light), jobs.whole & has
    least[has, :3] = lower[front_at[has], :3]
    with found.lock:
        _take(found, wish, jobs.of(known), of_front[front_at[known]])
    run, ran = _run_likeliest_first(found, wish, jobs.of(~known), least[~known], lines, threads)
    held = sum(int((node.rows > 0).sum(axis=0)[systems.count_at].sum()) for node in nodes)
    planes = sum(int(own.valid(number).sum()) for number in numbers)
    with found.lock:
        found.held += held
        found.planes += planes
        found.bounds += years + len(left) + ran
        found.run += run + int(known.sum())
        found.years += lines.years


def _best_so_far(found: Found) -> np.ndarray:
    with found.lock:
        return found.keys.copy()


def _run_likeliest_first(
    found: Found, wish: Wish, jobs: _Jobs, least: np.ndarray, lines: _Lines,
    threads: int | None,
) -> tuple[int, int]:  # fmt: skip
    """Run of each system the job with the least key, then what may still be better.

    No job is better than its least figures. How many were run, and years that bounded others.
    """
    systems = found.systems

    def run(now: np.ndarray) -> int:
        some = jobs.of(now)
        figures = run_jobs(systems, some.system, lines.light, some.light, threads)
        with found.lock:
            _take(found, wish, some, figures)
        return len(now)

    def better(some: np.ndarray) -> np.ndarray:
        keys, best = wish.keys(least[some]), _best_so_far(found)
        return np.asarray(some[before(keys, best[jobs.system[some]])])

    left = better(np.arange(len(least)))
    likeliest = left[_first_of_each(jobs.system[left], wish.keys(least[left]))]
    ran, years = run(likeliest), 0
    left = better(np.setdiff1d(left, likeliest, assume_unique=True))
    engine = with_engine(systems)[jobs.system]  # whose margin is wider than pitches lie apart
    for together in PITCHES_TOGETHER:
        plain = left[~engine[left]]
        if len(plain):
            parts = lines.parts(together)
            least[plain], more = raised(systems, wish, jobs.system[plain], least[plain],
                                        parts[jobs.light[plain]], most_of(lines.light, parts),
                                        threads)  # fmt: skip
            left, years = better(left), years + more
    return ran + run(left), years


def _first_of_each(system: np.ndarray, keys: np.ndarray) -> np.ndarray:
    """Places of the job with the least key of each system, in the order of the systems."""
    order = np.lexsort((*keys.T[::-1], system))
    return order[np.unique(system[order], return_index=True)[1]]


def _planes_to_run(
    systems: Systems, numbers: Sequence[int], nodes: Sequence[Node],
    open_: tuple[np.ndarray, np.ndarray],
) -> tuple[_Lines, _Jobs]:  # fmt: skip
    """Light of planes that may be the best of some system, and the systems to run in it."""
    own = systems.field
    _, table_of = own.windows
    tables = np.array(table_of, np.int64)[systems.balance_at]
    engine = with_engine(systems)
    lines: list[np.ndarray] = []
    system, light, plane, of_node, whole = [], [], [], [], []
    group: list[int] = []
    years = groups = 0
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
                groups += 1
                for pitch, line in made if runs else _not_outshone(made):
                    group.append(groups)
                    system.append(those)
                    light.append(np.full(len(those), len(lines)))
                    plane.append(np.full(len(those), numbers[at] * len(own.pitches_m) + pitch))
                    of_node.append(np.full(len(those), at))
                    whole.append(np.full(len(those), np.array_equal(line, node.net)))
                    lines.append(line)
    light_of = np.array(lines) if lines else np.empty((0, len(own.lit)), np.float32)
    none = np.empty(0, np.int64)
    return _Lines(light=light_of, group=np.array(group, np.int64), years=years), _Jobs(
        system=np.concatenate([none, *system]), light=np.concatenate([none, *light]),
        plane=np.concatenate([none, *plane]), node=np.concatenate([none, *of_node]),
        whole=np.concatenate([none.astype(bool), *whole]),
    )  # fmt: skip


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
    new = before(keys[first], found.keys[which])
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
