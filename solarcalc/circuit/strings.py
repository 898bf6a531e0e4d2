"""Modules in series, strings in parallel on one tracker; its best point and where it may sit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.worded import worded
from solarcalc.circuit.module import (
    Cells,
    Edge,
    Orientation,
    Weather,
    currents_at,
    distinct,
    module_voltages_v,
    photocurrent_a,
    strip_of,
)

CURRENT_POINTS = 256
"""Currents of a curve from none to a little above the photocurrent."""
FINE_CURRENT_POINTS = 1200
_BACKWARD_POINTS = 32
_LEAST_BACKWARD = 1e-5
_TOP_SHARE = 1.01


@dataclass(frozen=True, kw_only=True)
class StringWiring:
    """The modules of one string, by what the strip of shade does to them.

    Parameters
    ----------
    by_tier : tuple of int
        Modules in each tier of the shaded row, from the lower edge up.
    unshaded : int
        Modules the strip never reaches, such as those in the front row.
    strings : int
        Strings like this one in parallel on the tracker.
    """

    by_tier: tuple[int, ...]
    unshaded: int = 0
    strings: int = 1

    @property
    def in_series(self) -> int:
        """Modules of one string."""
        return self.unshaded + sum(self.by_tier)


@dataclass(frozen=True, kw_only=True)
class Strung:
    """What hangs on one tracker and how the strip of shade meets it.

    Parameters
    ----------
    cells : Cells
    wiring : tuple of StringWiring
        The strings in parallel. All have the same count of tiers and of modules in series.
    orientation : {"portrait", "landscape"}
    edge : {"lower", "side"}
        Edge of the module from which the strip enters.
    least_v : float
        Lowest voltage of a string that the tracker reaches [V]; 0 for any. Bypassed parts lower
        the voltage: a short string may fall under it where a long one does not. For the
        circuit alone: no table holds it (see `solarcalc.circuit.table.power_kept_frac`).

    Raises
    ------
    InputError
        When there are no strings or modules, or strings of unlike length.
    """

    cells: Cells
    wiring: tuple[StringWiring, ...]
    orientation: Orientation
    edge: Edge = "lower"
    least_v: float = 0.0

    def __post_init__(self) -> None:
        strip_of(self.orientation, self.edge)
        kinds = {(item.in_series, len(item.by_tier)) for item in self.wiring}
        counts = [count for item in self.wiring for count in (item.unshaded, *item.by_tier)]
        if (
            len(kinds) != 1
            or min(kinds) < (1, 1)
            or min(counts) < 0
            or min(item.strings for item in self.wiring) < 1
        ):
            raise InputError(Fault(**worded("circuit", "wiring"), given=repr(self.wiring)))

    @property
    def tiers(self) -> int:
        """Modules one above another in the row."""
        return len(self.wiring[0].by_tier)


def along_row(
    modules_in_series: int, *, modules_high: int = 1, tier_by_tier: bool = False
) -> tuple[StringWiring, ...]:
    """Strings that stay within one row, so that the strip meets their modules alike.

    Parameters
    ----------
    modules_in_series, modules_high : int
        Of a string; one above another in the row.
    tier_by_tier : bool
        Each tier of the row is a string of its own, all in parallel on the tracker;
        otherwise a string holds equally many modules of every tier.

    Raises
    ------
    InputError
        When a string cannot hold equally many of every tier.
    """
    if tier_by_tier:
        return tuple(
            StringWiring(by_tier=tuple(modules_in_series * (at == tier)
                                        for at in range(modules_high)))
            for tier in range(modules_high)
        )  # fmt: skip
    if modules_high < 1 or modules_in_series % modules_high:
        raise InputError(
            Fault(where="modules_in_series", given=str(modules_in_series),
                  allowed=f"a multiple of the {modules_high} modules high",
                  remedy="wire tier by tier, or give the strings one by one")
        )
    return (StringWiring(by_tier=(modules_in_series // modules_high,) * modules_high),)


def spread(
    modules_in_series: int, *, modules_high: int, unshaded: int = 0
) -> tuple[StringWiring, ...]:
    """Strings of which all tiers of the row hold as equal a part as can be.

    Where the modules do not divide evenly, as eight in three tiers, as many strings as there
    are tiers hang on the tracker, each with another tier short.

    Parameters
    ----------
    modules_in_series, modules_high : int
        Of a string; one above another in the row.
    unshaded : int
        Of them, in a row that no other shades.
    """
    even, over = divmod(modules_in_series - unshaded, modules_high)
    counts = [even + (tier < over) for tier in range(modules_high)]
    turns = range(modules_high if over else 1)
    return tuple(
        StringWiring(by_tier=tuple(counts[turn:] + counts[:turn]), unshaded=unshaded)
        for turn in turns
    )


def across_rows(modules_in_series: int, *, shaded: int) -> tuple[StringWiring, ...]:
    """A string that runs over several rows: `shaded` of its modules meet the strip together."""
    return (StringWiring(by_tier=(shaded,), unshaded=modules_in_series - shaded),)


@dataclass(frozen=True, kw_only=True)
class Best:
    """Power [W] and voltage [V] of the highest point; power [W] where a simple tracker sits.

    Arrays of shape (n,).
    """

    global_w: np.ndarray
    global_v: np.ndarray
    local_w: np.ndarray


def current_shares(points: int = CURRENT_POINTS) -> np.ndarray:
    """Currents of a curve as shares of the photocurrent: some backwards, most forwards.

    Shape (n,), rising.

    Backwards they crowd towards none: a dark half draws its small current over most of its
    voltage.
    """
    backward = -np.geomspace(1.0, _LEAST_BACKWARD, _BACKWARD_POINTS)
    forward = _TOP_SHARE * np.linspace(0.0, 1.0, points) ** 1.25  # denser at small currents
    result: np.ndarray = np.concatenate([backward, forward])
    return result


def best_points(
    strung: Strung, *, fraction: np.ndarray, diffuse_share: np.ndarray, weather: Weather,
    points: int = FINE_CURRENT_POINTS,
) -> Best:  # fmt: skip
    """Best power of the strings under a strip, from their circuit, for one light and heat.

    Parameters
    ----------
    strung : Strung
    fraction : array (n,)
        Share of the row's width in the strip, [0 to 1].
    diffuse_share : array (n,)
        Share of the light that the strip leaves, [0 to 1].
    weather : Weather
    points : int
        Currents of a curve.

    Returns
    -------
    Best
        The first point is always the unshaded one's reference: a tracker starts at the
        unshaded strings' best voltage and climbs as long as the power grows.
    """
    shares = current_shares(points)
    fraction = np.concatenate([[0.0], np.asarray(fraction, dtype=float)])
    diffuse_share = np.concatenate([[1.0], np.asarray(diffuse_share, dtype=float)])
    tiers = _tiers_v(strung, fraction, diffuse_share, weather, shares)
    full_a = photocurrent_a(strung.cells, weather)
    if len(strung.wiring) == 1:
        volts = _string_v(strung.wiring[0], tiers)
        currents = shares[None, :] * full_a * strung.wiring[0].strings
    else:
        volts, currents = _strings_in_parallel(strung, tiers, shares, full_a)
    return _highest(volts, currents, strung.least_v)


def kept_by_circuit_frac(
    fraction: Any, diffuse_share: Any, light_w_m2: Any = 1000.0, cell_c: Any = 25.0, *,
    strung: Strung,
) -> tuple[np.ndarray, np.ndarray]:
    """Share of the unshaded power kept, from the circuit itself, hour by hour, [0 to 1].

    Slow, about a millisecond an hour: to check the table or a single case.

    Parameters
    ----------
    fraction, diffuse_share, light_w_m2, cell_c : float or array (n,)
        As in `solarcalc.circuit.table.power_kept_frac`; light above 0.
    strung : Strung

    Returns
    -------
    tuple of array (n,)
        At the highest point, and where a simple tracker sits.
    """
    hours = np.broadcast_arrays(*(np.atleast_1d(item) for item in
                                  (fraction, diffuse_share, light_w_m2, cell_c)))  # fmt: skip
    kept = np.empty((2, len(hours[0])))
    for at, (depth, left, light, heat) in enumerate(zip(*hours, strict=True)):
        best = best_points(strung, fraction=np.array([depth]), diffuse_share=np.array([left]),
                           weather=Weather(light_w_m2=float(light), cell_c=float(heat)))
        kept[:, at] = best.global_w[1], best.local_w[1]
        kept[:, at] /= best.global_w[0]
    return kept[0], kept[1]


def string_curve(
    strung: Strung, *, fraction: float, left_frac: float, weather: Weather
) -> tuple[np.ndarray, np.ndarray]:
    """Voltage [V] and current [A] of the first of the strings under a strip, both (k,).

    Parameters
    ----------
    strung : Strung
    fraction : float
        Share of the row's width in the strip, [0 to 1].
    left_frac : float
        Share of the light that the strip leaves, [0 to 1].
    weather : Weather

    Returns
    -------
    tuple of array
        From open circuit to short circuit: voltages fall, currents rise.
    """
    shares = current_shares(FINE_CURRENT_POINTS)
    both = np.array([0.0, fraction]), np.array([1.0, left_frac])  # the lit module comes first
    volts = _string_v(strung.wiring[0], _tiers_v(strung, *both, weather, shares))[1]
    working = (volts >= 0.0) & (shares >= 0.0)
    return volts[working], (shares * photocurrent_a(strung.cells, weather))[working]


@dataclass(frozen=True, kw_only=True)
class _Tiers:
    """Distinct curves of a module (m, k), the lit one first, and which each tier has, (n,)."""

    volts: np.ndarray
    which: tuple[np.ndarray, ...]


def _tiers_v(
    strung: Strung, fraction: np.ndarray, diffuse_share: np.ndarray, weather: Weather,
    shares: np.ndarray,
) -> _Tiers:  # fmt: skip
    """The modules of each tier of the row under the strip."""
    count = strung.tiers
    part = np.concatenate([np.clip(fraction * count - tier, 0.0, 1.0) for tier in range(count)])
    left = np.where(part > 0.0, np.tile(diffuse_share, count), 1.0)
    first, back = distinct(part, left)  # sorted: the lit module comes first
    volts = module_voltages_v(strung.cells, strip_of(strung.orientation, strung.edge),
                              fraction=part[first], diffuse_share=left[first], weather=weather,
                              shares=shares)
    return _Tiers(volts=volts, which=tuple(np.split(back, count)))


def _string_v(item: StringWiring, tiers: _Tiers) -> np.ndarray:
    """Voltages (n, k) of one string."""
    volts = np.zeros((len(tiers.which[0]), tiers.volts.shape[1]))
    if item.unshaded:
        volts += item.unshaded * tiers.volts[0]
    for count, which in zip(item.by_tier, tiers.which, strict=True):
        if count:
            volts += count * tiers.volts[which]
    return volts


def _strings_in_parallel(
    strung: Strung, tiers: _Tiers, shares: np.ndarray, full_a: float
) -> tuple[np.ndarray, np.ndarray]:
    """Voltages and currents (n, m) of unlike strings together, from the highest voltage down."""
    open_v = strung.wiring[0].in_series * float(tiers.volts[0][np.searchsorted(shares, 0.0)])
    ladder = np.linspace(open_v, 0.0, len(shares))
    currents = np.zeros((len(tiers.which[0]), len(ladder)))
    for item in strung.wiring:
        met = [which for count, which in zip(item.by_tier, tiers.which, strict=True) if count]
        first, back = distinct(*(met or [np.zeros_like(tiers.which[0])]))
        some = _Tiers(volts=tiers.volts, which=tuple(which[first] for which in tiers.which))
        amps = currents_at(ladder, _string_v(item, some), shares)
        currents += item.strings * full_a * amps[back]
    return np.broadcast_to(ladder, currents.shape), currents


def _highest(volts: np.ndarray, currents: np.ndarray, least_v: float) -> Best:
    """Highest point of each curve, and the one reached by climbing from the first curve's best.

    Curves run from high voltage to low, currents from low to high. The first is taken whole:
    it is the reference, unshaded. Of the others nothing counts under the least voltage, where
    each ends on a point of its own.
    """
    currents = np.broadcast_to(currents, volts.shape)
    power = volts * currents
    if least_v > 0.0:
        reached = volts >= least_v
        last = np.clip(reached.sum(axis=1), 1, power.shape[1] - 1)
        ends = np.arange(len(power))
        above, below = volts[ends, last - 1], volts[ends, last]
        part = np.clip((above - least_v) / np.maximum(above - below, 1e-12), 0.0, 1.0)
        amps = currents[ends, last - 1] * (1.0 - part) + currents[ends, last] * part
        whole = power[0].copy()
        power = np.where(reached, power, 0.0)
        power[ends, last] = np.where(above >= least_v, least_v * amps, 0.0)
        power[0] = whole
    rows = np.arange(len(power))
    top = power.argmax(axis=1)
    start_v = volts[0, top[0]]
    at = np.clip((volts >= start_v).sum(axis=1) - 1, 0, power.shape[1] - 2)
    rises = np.diff(power, axis=1) > 0.0
    places = np.arange(rises.shape[1])
    upward = rises[rows, at]
    ends = ~rises & (places >= at[:, None])
    right = np.where(ends.any(axis=1), ends.argmax(axis=1), power.shape[1] - 1)
    starts = rises & (places < at[:, None])
    left = np.where(starts.any(axis=1), rises.shape[1] - starts[:, ::-1].argmax(axis=1), 0)
    sits = np.where(upward, right, left)
    return Best(global_w=power[rows, top], global_v=volts[rows, top], local_w=power[rows, sits])
