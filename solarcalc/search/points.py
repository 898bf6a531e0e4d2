"""One candidate of a search: its values on the axes, the changes that make it, its neighbours."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from solarcalc.design import Changes, Design
from solarcalc.roof.rows import Orientation, rows_of
from solarcalc.search.axes import Axes, OnPlanes
from solarcalc.search.beside import with_planes
from solarcalc.search.kits import Kinds, Kit
from solarcalc.sitefile.search import INVERTERS, OWN_KIND
from solarcalc.sweep.roof_rows import rows_for


@dataclass(frozen=True, kw_only=True)
class Point:
    """A value on each axis; see `Axes`."""

    tilt_deg: float
    azimuth_deg: float
    row_pitch_m: float
    orientation: Orientation
    modules_in_series: int
    strings: int
    controller: str
    controllers: int
    battery: str
    units_in_parallel: int
    generator_w: float
    inverter: str = OWN_KIND
    inverter_nonessential: str = OWN_KIND
    planes: OnPlanes = ()

    @property
    def module_count(self) -> int:
        """Modules of the first plane."""
        return self.modules_in_series * self.strings

    @property
    def plane(self) -> tuple[float, float, float]:
        """Tilt, azimuth [deg] and pitch [m]."""
        return self.tilt_deg, self.azimuth_deg, self.row_pitch_m

    @property
    def kinds(self) -> Kinds:
        """Of its equipment."""
        return Kinds(self.controller, self.battery, self.generator_w, self.inverter,
                     self.inverter_nonessential)  # fmt: skip


def rows_of_point(design: Design, point: Point) -> int:
    """Fewest rows that hold its modules; 0 where the roof does not, or rows stand too close."""
    site = design.site
    array = site.array.model_copy(update={
        "orientation": point.orientation, "tilt_deg": point.tilt_deg,
        "azimuth_deg": point.azimuth_deg,
    })  # fmt: skip
    rows = rows_of(array, site.module, site.roof)
    if point.row_pitch_m < rows.least_pitch_m - 1e-9:
        return 0
    return int(rows_for(rows, site.roof, pitches_m=np.array([point.row_pitch_m]),
                        counts=np.array([point.module_count]))[0, 0])  # fmt: skip


def kit_at(kits: Sequence[Kit], point: Point) -> Kit:
    """The equipment of a candidate."""
    return next(one for one in kits if one.kinds == point.kinds)


def changes_of(design: Design, point: Point, kits: Sequence[Kit]) -> Changes:
    """What differs from the site file for a candidate, in as few rows as hold its modules."""
    kit = kit_at(kits, point)
    return with_planes(design, {
        "array": {
            "tilt_deg": point.tilt_deg, "azimuth_deg": point.azimuth_deg,
            "row_pitch_m": point.row_pitch_m, "orientation": point.orientation,
            "rows": rows_of_point(design, point),
            "module_count": point.module_count, "modules_in_series": point.modules_in_series,
        },
        "controller": {**kit.changes.get("controller", {}), "count": point.controllers},
        "battery": {**kit.changes.get("battery", {}),
                    "units_in_parallel": point.units_in_parallel},
        **{name: table for name, table in kit.changes.items()
           if name not in ("controller", "battery")},
    }, point.planes)  # fmt: skip


def neighbours(point: Point, axes: Axes) -> Iterator[tuple[str, Point]]:
    """The candidates one step away on each axis, with the axis; of kinds every other one."""
    for one in fields(Point):
        values = getattr(axes, one.name)
        own = values.index(getattr(point, one.name))
        if one.name == "planes":
            for planes in _one_step(values, values[own]):
                yield one.name, replace(point, planes=planes)
            continue
        kinds = one.name in ("orientation", "controller", "battery", *INVERTERS)
        for at in range(len(values)) if kinds else (own - 1, own + 1):
            if 0 <= at < len(values) and at != own:
                yield one.name, replace(point, **{one.name: values[at]})


def _one_step(values: Sequence[OnPlanes], own: OnPlanes) -> Iterator[OnPlanes]:
    """Of what may stand on the planes that which has the next strings, or controllers, of one."""
    for number, here in enumerate(own):
        several = sorted({on[number] for on in values
                          if on[:number] == own[:number] and on[number + 1 :] == own[number + 1 :]})
        strings = sorted({one.strings for one in several})
        at = strings.index(here.strings)
        for count in strings[max(at - 1, 0) : at] + strings[at + 1 : at + 2]:
            nearest = min((one for one in several if one.strings == count),
                          key=lambda one: abs(one.controllers - here.controllers))
            yield (*own[:number], nearest, *own[number + 1 :])
        for step in (-1, 1):
            other = replace(here, controllers=here.controllers + step)
            if other in several:
                yield (*own[:number], other, *own[number + 1 :])


_WORDS: Mapping[str, str] = {
    "tilt_deg": "tilt {:g}°", "azimuth_deg": "azimuth {:g}°", "row_pitch_m": "row pitch {:.2f} m",
    "orientation": "{}", "modules_in_series": "{} in series", "strings": "{} PV strings",
    "controller": "controller {}", "controllers": "{} controllers", "battery": "battery {}",
    "units_in_parallel": "{} battery strings", "generator_w": "generator {:.0f} W",
    "inverter": "inverter {}", "inverter_nonessential": "nonessential inverter {}",
}  # fmt: skip


def axis_words(name: str, value: Any) -> str:
    """A value of an axis in words.

    Examples
    --------
    >>> axis_words("tilt_deg", 12.5), axis_words("generator_w", 0.0), axis_words("strings", 1)
    ('tilt 12.5°', 'no generator', '1 PV string')
    """
    if name == "planes":
        return ", ".join(one.words for one in value)
    if name == "generator_w" and value == 0:
        return "no generator"
    words = _WORDS[name].format(value)
    return words.removesuffix("s") if value == 1 and isinstance(value, int) and (
        name != "modules_in_series") else words


def point_words(point: Point) -> str:
    """A candidate in words, the site's own kinds left out."""
    said = [axis_words(name, value) for name, value in vars(point).items()
            if value not in (OWN_KIND, ()) and not (name == "generator_w" and value == 0)]
    return ", ".join(said)
