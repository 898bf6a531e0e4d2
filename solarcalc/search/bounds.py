"""What no plane of a system can be better than, known without a run or from one run for many.

More sun never serves a board worse (`solarcalc.supply`, held by its tests): a system run in light
that in each hour is at least that of some planes is never worse than on any of them. Such light is
a front row's, for all pitches of its tilt and azimuth, and the most by hour of several lines.
Where a generator runs, litres do not follow the sun so strictly: with a little more of it the set
may start once more in a year. What bounds it is loosened by such a turn and by `ENGINE_MARGIN`,
which is no proof and which the tests hold against running every plane.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from solarcalc.search.systems import Systems
from solarcalc.search.years import FIGURES, run_jobs, with_engine

Criterion = Literal["hours", "supplied"]
DIGITS = 3
NEAR = 2e-3
"""Energy [kWh] and money are compared to so many digits; a year that closed is known no nearer."""
ENGINE_MARGIN, ENGINE_HOURS, ENGINE_CYCLES = 0.04, 24.0, 1.0
"""Share, hours and turns from start to stop by which a generator may not follow the sun.

A set that gave less in more than a turn would have let the bank fall below the level that starts
it. Of 41,000 planes of the eight demo sites the worst was 2.1 % beside one turn, and no hour.
"""
ALONE = 2
"""So few planes are sooner run than bounded."""


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


def least_figures(
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
    figures = np.zeros((len(which), len(FIGURES)))
    figures[:, 2] = _at_rest(systems, which)
    figures[:, 3] = sun_kwh[place] + NEAR
    return figures


def _at_rest(systems: Systems, which: np.ndarray) -> np.ndarray:
    """What a generator that never starts costs over the lifetime, (j,)."""
    costs = np.array([kit.running(0.0, 0.0) for kit in systems.kits])
    return np.asarray(costs[systems.kit[which]])


def loosened(
    systems: Systems, wish: Wish, which: np.ndarray, bounds: np.ndarray
) -> np.ndarray:
    """Figures that no plane is better than whose light `bounds` pass in each hour, (j, 7).

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


def most_of(light: np.ndarray, parts: np.ndarray) -> np.ndarray:
    """The most light of each part by hour, (parts, n), of lines (m, n) by their part, (m,)."""
    order = np.argsort(parts, kind="stable")
    first = np.unique(parts[order], return_index=True)[1]
    return np.asarray(np.maximum.reduceat(light[order], first))


def raised(
    systems: Systems, wish: Wish, system: np.ndarray, least: np.ndarray, parts: np.ndarray,
    light: np.ndarray, threads: int | None,
) -> tuple[np.ndarray, int]:  # fmt: skip
    """Least figures of candidates, by a year of each system in the most light of their part.

    Parameters
    ----------
    systems : Systems
    wish : Wish
    system, parts : array (c,)
        The system of each candidate and the part of the light in which it lies.
    least : array (c, 7)
        Figures that no candidate is better than.
    light : array (parts, n)
    threads : int or None

    Returns
    -------
    array (c, 7)
        As `least`, raised where a part has more than `ALONE` candidates of a system.
    int
        Years that were run.
    """
    pairs, place, many = np.unique(parts * len(systems) + system, return_inverse=True,
                                   return_counts=True)  # fmt: skip
    shared = np.flatnonzero(many > ALONE)
    of, which = np.divmod(pairs[shared], len(systems))
    lower = np.zeros((len(pairs), 3))
    lower[shared] = loosened(systems, wish, which,
                             run_jobs(systems, which, light, of, threads))[:, :3]  # fmt: skip
    higher = least.copy()
    higher[:, :3] = np.maximum(least[:, :3], lower[place])
    return higher, len(shared)


def before(keys: np.ndarray, best: np.ndarray) -> np.ndarray:
    """Whether each key is better than the best, or as good; from left to right, (j,) of bool."""
    better = np.zeros(len(keys), bool)
    same = np.ones(len(keys), bool)
    for column in range(keys.shape[1]):
        better |= same & (keys[:, column] < best[:, column])
        same &= keys[:, column] == best[:, column]
    return better | same
