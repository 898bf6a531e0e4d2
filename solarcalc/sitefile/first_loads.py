"""What the rows of a board draw in a day and at once, for a first size."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from solarcalc.sitefile.equipment import appliance_catalogue
from solarcalc.sitefile.starting import kind_of

Rows = Sequence[Mapping[str, Any]]
_MINUTES = 24 * 60


def day_energy_wh(rows: Rows) -> float:
    """Energy of the rows of a board in a day [Wh]."""
    return math.fsum(
        one["power_w"] * one["duty_frac"] * one["count"] * len(_on(one)) / 60.0
        for one in map(filled_row, rows)
    )


def most_energy_wh(loads: Mapping[str, Rows], spell_h: float) -> float:
    """Most energy of all boards in so many hours on end [Wh]."""
    power_w = np.zeros(_MINUTES)
    for one in map(filled_row, itertools.chain.from_iterable(loads.values())):
        power_w[list(_on(one))] += one["power_w"] * one["duty_frac"] * one["count"]
    days, minutes = divmod(round(60.0 * spell_h), _MINUTES)
    sums = np.concatenate([[0.0], np.cumsum(np.tile(power_w, 2))])
    most = (sums[minutes : minutes + _MINUTES] - sums[:_MINUTES]).max()
    return float(days * power_w.sum() + most) / 60.0


def filled_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row with the figures of its catalogue entry, or those of its kind."""
    if "catalogue" in row:
        return {"count": 1, **appliance_catalogue()[row["catalogue"]], **row}
    kind = kind_of(row["name"])
    start = (kind.power_factor, kind.surge_factor) if kind else (1.0, 1.0)
    return {"count": 1, "duty_frac": 1.0, "power_factor": start[0], "surge_factor": start[1], **row}


def _on(row: Mapping[str, Any]) -> frozenset[int]:
    """Minutes of the day in which a row is in use."""
    return frozenset(minute for span in row["use"] for minute in _minutes(span))


def _minutes(span: str) -> Iterator[int]:
    start, end = (60 * int(one[:2]) + int(one[3:]) for one in span.split("-"))
    yield from range(start, end) if start < end else (*range(start, _MINUTES), *range(end))


def demand_of(rows: Rows) -> tuple[float, float]:
    """Highest active power of a board [W], and its highest apparent power with one start [VA]."""
    filled = [(row, _on(row)) for row in map(filled_row, rows)]
    worst_w = worst_va = 0.0
    starts = {next(_minutes(span)) for row, _ in filled for span in row["use"]}
    for minute in starts | {0}:
        running = [row for row, on in filled if minute in on]
        power_w = sum(row["power_w"] * row["count"] for row in running)
        va = sum(row["power_w"] / row["power_factor"] * row["count"] for row in running)
        start_va = max((row["power_w"] / row["power_factor"] * (row["surge_factor"] - 1.0)
                        for row in running), default=0.0)  # fmt: skip
        worst_w, worst_va = max(worst_w, power_w), max(worst_va, va + start_va)
    return worst_w, worst_va
