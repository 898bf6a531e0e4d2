"""Roof planes beside the first: what stands on them, as changes and as power at the bus.

How they lie is as the site file has it; strings and controllers of each are what is tried, none
being a plane left bare. Their power is that of their own year (`solarcalc.stages.array`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import product
from typing import Any

import numpy as np

from solarcalc.basis.errors import InputError
from solarcalc.basis.worded import worded
from solarcalc.design import Changes, Design
from solarcalc.search.axes import LeftOut, OnPlane, OnPlanes, as_designed
from solarcalc.sitefile.changes import put_in
from solarcalc.sitefile.planes import TABLE, whole_plane
from solarcalc.stages.array import module_bus_w, standing
from solarcalc.sweep.roof_rows import rows_for

_NOTHING: Mapping[str, Any] = {}


def with_planes(design: Design, changes: Changes, on: OnPlanes | None = None) -> Changes:
    """Changes of the site file, the planes beside the first as they are or as `on` has them.

    What a plane takes over from tables of the first that change is written down as it was.

    Parameters
    ----------
    design : Design
        The site as designed.
    changes : mapping of table to mapping of key to value
    on : tuple of OnPlane, optional
    """
    if not design.site.planes:
        return changes
    rows = [_row(design, number, one, changes)
            for number, one in enumerate(on or as_designed(design)) if one.strings]
    return {**changes, TABLE: rows}  # type: ignore[dict-item]


def _row(design: Design, number: int, on: OnPlane, changes: Changes) -> dict[str, Any]:
    """The row of a plane in the site file."""
    written = design.sitefile.written
    row, plane = written[TABLE][number], design.planes[number + 1]
    whole, own = whole_plane(written, row), as_designed(design)[number]
    kept = {table: {key: value for key in changes.get(table, ())
                    if (value := _own_value(plane, whole, table, key)) is not None}
            for table in ("array", "controller")}  # fmt: skip
    if "use" in changes.get("controller", _NOTHING):
        kept["controller"] |= whole.get("controller", {})
    found = put_in({table: keys for table, keys in kept.items() if keys}, row)
    if on.strings != own.strings:
        count = on.strings * plane.site.array.modules_in_series
        found = put_in(found, {"array": {"module_count": count, "rows": rows_on(plane, count)}})
    if on.controllers != own.controllers:
        found = put_in(found, {"controller": {"count": on.controllers}})
    return found


def _own_value(plane: Design, whole: Mapping[str, Any], table: str, key: str) -> Any:
    """What a plane has, or takes over, for a key; its pitch is written down where it follows."""
    if (given := whole.get(table, {}).get(key)) is not None:
        return given
    found = getattr(getattr(plane.site, table), key, None)
    return standing(plane).pitch_m if found is None and key == "row_pitch_m" else found


def rows_on(plane: Design, count: int) -> int:
    """Fewest rows of a plane at its own pitch that hold so many modules; 0 where it does not."""
    stands = standing(plane)
    return int(rows_for(stands.rows, plane.site.roof, pitches_m=np.array([stands.pitch_m]),
                        counts=np.array([count]))[0, 0])  # fmt: skip


def besides_of(
    design: Design, several: Sequence[OnPlanes]
) -> tuple[list[OnPlanes], list[LeftOut]]:
    """Of what may stand on the planes beside the first that which can, and what cannot be."""
    own, left = as_designed(design), dict[OnPlane, str]()
    for number, plane in enumerate(design.planes[1:] if design.site.planes else ()):
        for one in dict.fromkeys(on[number] for on in several):
            count = one.strings * plane.site.array.modules_in_series
            if one == own[number] or not count:
                continue
            why = "" if rows_on(plane, count) else str(worded("search", "not-held")["found"])
            if not why:
                try:
                    design.changed(with_planes(design, {}, with_one(own, number, one)))
                except InputError as error:
                    why = error.sentence
            if why:
                left[one] = why
    told = {(one.name, one.strings, why): one for one, why in reversed(left.items())}
    return [on for on in several if left.keys().isdisjoint(on)], [
        LeftOut(axis="plane", value=one.words, why=why) for (_, _, why), one in told.items()]


def with_one(own: OnPlanes, number: int, one: OnPlane) -> OnPlanes:
    """Planes of which one stands otherwise."""
    return (*own[:number], one, *own[number + 1 :])


def power_beside(
    design: Design, several: Sequence[OnPlanes], batteries: Mapping[str, Mapping[str, Any]]
) -> Mapping[tuple[OnPlanes, str], np.ndarray]:
    """What the planes beside the first give at the bus in each hour [W], shape (8760,) each.

    Parameters
    ----------
    design : Design
    several : sequence of tuple of OnPlane
    batteries : mapping of kind to the keys of [battery] that make it
        Voltage of a bank moves the limit and the tracking window of every controller.
    """
    own, n = as_designed(design), len(design.weather.hours)
    of_one: dict[tuple[OnPlane, str], np.ndarray] = {}
    for number in range(len(own)):
        for one in dict.fromkeys(on[number] for on in several if on[number].strings):
            built = design.changed(with_planes(design, {}, with_one(own, number, one)))
            light = built.planes[number + 1].light
            for battery, keys in batteries.items():
                plane = built.changed({"battery": keys}).planes[number + 1]
                of_one[one, battery] = module_bus_w(plane, light, plane.site.module).to_numpy()
    return {(on, battery): sum((of_one[one, battery] for one in on if one.strings), np.zeros(n))
            for on, battery in product(several, batteries)}  # fmt: skip
