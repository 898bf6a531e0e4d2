"""The year of several roof planes together, each with its own strings and controllers."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from solarcalc.energy.year import (
    BEFORE_CABLES,
    BEFORE_WINDOW,
    ONLY_WHERE_FOUND,
    Harvest,
    LossStep,
)

_SUMMED = ("dc_w", "bus_w", "ac_w")
"""Columns of the hours that are powers; of the others the mean is taken."""


def harvest_of_planes(harvests: Sequence[Harvest]) -> Harvest:
    """The year of all planes: power is the sum by the hour, a yield that of the sum.

    Parameters
    ----------
    harvests : sequence of Harvest
        One a plane, of the same hours.

    Returns
    -------
    Harvest
        Irradiance, cell temperature and string voltage are means, each plane by its rated power;
        a loss that one plane has takes nothing of the others. The open-circuit voltage is the
        highest of any plane.
    """
    if len(harvests) == 1:
        return harvests[0]
    peak_kwp = sum(one.peak_kwp for one in harvests)
    hours = pd.DataFrame({
        name: sum(one.hours[name] * (1.0 if name in _SUMMED else one.peak_kwp / peak_kwp)
                  for one in harvests)
        for name in harvests[0].hours.columns
    })  # fmt: skip
    offered = [_kwh(one, BEFORE_WINDOW) for one in harvests]

    def weak_light() -> tuple[float, float]:
        made = [_kwh(one, BEFORE_CABLES) for one in harvests]
        low, high = zip(*(one.weak_light_frac for one in harvests), strict=True)
        return _mean(low, made), _mean(high, made)

    return Harvest(
        hours=hours, told_steps=lambda: _steps(harvests, peak_kwp), peak_kwp=peak_kwp,
        in_window_frac=_mean([one.in_window_frac for one in harvests], offered),
        clipped_kwh=sum(one.clipped_kwh for one in harvests),
        coldest_voc_v=max(one.coldest_voc_v for one in harvests),
        told_weak_light=weak_light,
    )  # fmt: skip


def _mean(values: Sequence[float], weights: Sequence[float]) -> float:
    """Of shares by the energy they are of; 1 of nothing."""
    whole = sum(weights)
    return sum(v * w for v, w in zip(values, weights, strict=True)) / whole if whole else 1.0


def _kwh(harvest: Harvest, step: str) -> float:
    """Energy of a plane after a loss, or after the last one before it that it has [kWh]."""
    return _yields(harvest, _order([harvest]))[step] * harvest.peak_kwp


def _order(harvests: Sequence[Harvest]) -> list[str]:
    """Names of all losses that any plane has, in the order in which they are taken."""
    found: list[str] = []
    for one in harvests:
        at = 0
        for step in one.steps:
            if step.name not in found:
                while at < len(found) and _before(found[at], step.name):
                    at += 1
                found.insert(at, step.name)
            at = found.index(step.name) + 1
    return found


def _before(one: str, other: str) -> bool:
    """Whether a loss that only some planes have is taken before another such."""
    order = ONLY_WHERE_FOUND
    return other in order and one in order[: order.index(other)]


def _yields(harvest: Harvest, names: Sequence[str]) -> dict[str, float]:
    """Yield of a plane after each of the losses [kWh/kWp]; one it has not takes nothing."""
    own = {step.name: step.yield_kwh_per_kwp for step in harvest.steps}
    found: dict[str, float] = {}
    left = harvest.steps[0].yield_kwh_per_kwp
    for name in names:
        left = own.get(name, left)
        found[name] = left
    return found


def _steps(harvests: Sequence[Harvest], peak_kwp: float) -> tuple[LossStep, ...]:
    names = _order(harvests)
    parts = {step.name: step.part for one in harvests for step in one.steps}
    yields = [_yields(one, names) for one in harvests]
    return tuple(
        LossStep(name=name, part=parts[name], yield_kwh_per_kwp=sum(
            each[name] * one.peak_kwp for each, one in zip(yields, harvests, strict=True)
        ) / peak_kwp)
        for name in names
    )  # fmt: skip
