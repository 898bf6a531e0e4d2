"""The systems of a search beside their planes: counts, power, price; one line each."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from solarcalc.design import Design
from solarcalc.energy.year import Balance
from solarcalc.search.axes import Axes, OnPlanes
from solarcalc.search.beside import power_beside
from solarcalc.search.kits import Kit
from solarcalc.search.light import PlaneField, boxes_leave, laid, strung_alike
from solarcalc.search.price import Steps, costs_beside, metres_of, steps_of


@dataclass(frozen=True, kw_only=True, eq=False)
class Systems:
    """Systems on the planes of one field, shape (s,) each.

    Parameters
    ----------
    field : PlaneField
    kits : sequence of Kit
    series, strings, count, kit, controllers, units : array of int
        Modules in series, strings, modules, place in `kits`, controllers, battery strings.
    count_at, balance_at, kept_at : array of int
        Place of its count and its balance in the field; line of `kept`.
    kept : array (b, n)
        What boxes leave in the hours with light; the first line is 1.
    watts, limit_w : array
        Rated power of the first plane times the efficiency of its controllers [W], the most these
        give [W].
    planes, added_at : array of int
        Place in `on_planes`; line of `added`.
    on_planes : sequence of tuple of OnPlane
        What may stand on the roof planes beside the first.
    added : array (a, n)
        What these give at the bus in the hours with light [W].
    costs : array
        Of what is bought, as `solarcalc.search.price`.
    """

    field: PlaneField
    kits: Sequence[Kit]
    on_planes: Sequence[OnPlanes]
    series: np.ndarray
    strings: np.ndarray
    count: np.ndarray
    kit: np.ndarray
    controllers: np.ndarray
    units: np.ndarray
    count_at: np.ndarray
    balance_at: np.ndarray
    kept_at: np.ndarray
    kept: np.ndarray
    watts: np.ndarray
    limit_w: np.ndarray
    planes: np.ndarray
    added_at: np.ndarray
    added: np.ndarray
    costs: np.ndarray

    def __len__(self) -> int:
        return len(self.costs)


def systems_of(design: Design, axes: Axes, kits: Sequence[Kit]) -> list[Systems]:
    """The systems of the axes by the field of planes that they share.

    A controller has a string at least: systems with more controllers than strings are no systems.
    """
    found = []
    batteries = {one.battery: one.changes.get("battery", {}) for one in kits}
    beside, steps = _beside_of(design, axes, batteries), steps_of(design, axes, batteries)
    for way in axes.orientation:
        lain = laid(design.planes[0], way)
        alike: dict[object, list[int]] = {}
        for series in axes.modules_in_series:
            alike.setdefault(strung_alike(lain, series), []).append(series)
        for several in alike.values():
            one = _systems(lain, axes, kits, several, beside, steps)
            if len(one):
                found.append(one)
    return found


@dataclass(frozen=True, kw_only=True, eq=False)
class _Beside:
    """What may stand on the planes beside the first, its power by kind of battery, its cost."""

    on_planes: Sequence[OnPlanes]
    power_w: Mapping[tuple[OnPlanes, str], np.ndarray]
    costs: Mapping[OnPlanes, float]


def _beside_of(
    design: Design, axes: Axes, batteries: Mapping[str, Mapping[str, Any]]
) -> _Beside:
    return _Beside(on_planes=axes.planes, power_w=power_beside(design, axes.planes, batteries),
                   costs=costs_beside(design, axes.planes))  # fmt: skip


def _systems(
    design: Design, axes: Axes, kits: Sequence[Kit], several: Sequence[int], beside: _Beside,
    steps: Steps,
) -> Systems:  # fmt: skip
    combos = np.array([
        (series, strings, kit, controllers, units, planes)
        for series, strings, kit, controllers, units, planes in itertools.product(
            several, axes.strings, range(len(kits)), axes.controllers, axes.units_in_parallel,
            range(len(axes.planes)))
        if controllers <= strings
    ], np.int64).reshape(-1, 6)  # fmt: skip
    planes = combos[:, 5]
    series, strings, kit, controllers, units = combos[:, :5].T
    count = series * strings
    counts = sorted(set(count.tolist()))
    pairs = sorted({(int(one), int(two)) for one, two in zip(series, kit, strict=True)})
    field = PlaneField(
        design=design, tilts_deg=axes.tilt_deg, azimuths_deg=axes.azimuth_deg,
        pitches_m=axes.row_pitch_m, counts=tuple(counts),
        strung=strung_alike(design, several[0]),
        balances=tuple(_replaced(kits[number], one) for one, number in pairs),
    )  # fmt: skip
    leave = boxes_leave(design, counts) if counts else {}
    kept = np.ones((1 + len(leave), len(field.lit)), np.float32)
    for number, modules in enumerate(leave, start=1):
        kept[number] = leave[modules][field.lit]
    lines = {modules: number for number, modules in enumerate(leave, start=1)}
    of = [kits[number] for number in kit]
    added = {key: number for number, key in enumerate(beside.power_w)}
    beside_cost = np.array([beside.costs[on] for on in beside.on_planes])
    return Systems(
        field=field, kits=kits, on_planes=beside.on_planes, series=series, strings=strings,
        count=count, kit=kit, controllers=controllers, units=units,
        count_at=np.array([counts.index(one) for one in count.tolist()], np.int64),
        balance_at=np.array([pairs.index((int(one), int(two)))
                             for one, two in zip(series, kit, strict=True)], np.int64),
        kept_at=np.array([lines.get(one, 0) for one in count.tolist()], np.int64), kept=kept,
        watts=count * design.site.module.pmax_w
        * np.array([one.balance.controller_efficiency_frac for one in of]),
        limit_w=controllers * np.array([one.balance.controller_limit_w for one in of]),
        planes=planes,
        added_at=np.array([added[beside.on_planes[on], one.battery]
                           for on, one in zip(planes.tolist(), of, strict=True)], np.int64),
        added=np.array([one[field.lit] for one in beside.power_w.values()]),
        costs=_costs(design, of, combos[:, :5]) + beside_cost[planes]
        + steps.of(strings, controllers, units, np.array([one.battery for one in of])),
    )  # fmt: skip


def _replaced(kit: Kit, series: int) -> Balance:
    return replace(kit.balance, modules_in_series=series)


def _costs(design: Design, kits: Sequence[Kit], combos: np.ndarray) -> np.ndarray:
    """What [costs] says of array, battery and generator; controllers by the price list.

    Of the planes the first alone.
    """
    series, strings, _, controllers, units = combos.T
    rows, count = design.array.rows, series * strings
    metres = metres_of(rows, count)

    def of_kit(name: str) -> np.ndarray:
        return np.array([getattr(kit, name) for kit in kits])

    costs: np.ndarray = (
        of_kit("fixed") + of_kit("per_module") * count + of_kit("per_metre") * metres
        + of_kit("unit_price") * of_kit("units_in_series") * units
        + of_kit("controller_price") * controllers + of_kit("set_price")
    )  # fmt: skip
    return costs
