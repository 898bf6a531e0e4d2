"""What a search tries: the lists of [search], or values around the site's own."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.worded import worded
from solarcalc.design import Design
from solarcalc.roof.rows import Orientation
from solarcalc.sitefile.base import plain
from solarcalc.sitefile.equipment import known_equipment
from solarcalc.sitefile.search import LIMITS, OWN_KIND, Search
from solarcalc.sitefile.site import Site
from solarcalc.stages.array import balance_of, standing

STEEPEST_DEG, TILT_STEP_DEG, PITCHES = 45.0, 5.0, 5
"""Tilts and pitches that are tried where nothing else is asked; common practice, no source."""
SERIES_AROUND, MOST_TIMES, LEAST_STEPS = 2, 3, 8
MOST_CANDIDATES = 20_000_000
"""Whole systems in one search: more take minutes and are a slip of an axis."""
MOST_UNASKED = 2_000_000
"""Of these as many where nobody asked for values: with more, counts are tried at wider steps."""


@dataclass(frozen=True, kw_only=True)
class Axes:
    """Every value of each is tried with every value of the others, as far as they go together.

    Parameters
    ----------
    tilt_deg, azimuth_deg, row_pitch_m, generator_w : tuple of float
    orientation, controller, battery : tuple of str
        Kinds of equipment by their keys, `OWN_KIND` for the site's own.
    modules_in_series, strings, controllers, units_in_parallel : tuple of int
    """

    tilt_deg: tuple[float, ...]
    azimuth_deg: tuple[float, ...]
    row_pitch_m: tuple[float, ...]
    orientation: tuple[Orientation, ...]
    modules_in_series: tuple[int, ...]
    strings: tuple[int, ...]
    controller: tuple[str, ...]
    controllers: tuple[int, ...]
    battery: tuple[str, ...]
    units_in_parallel: tuple[int, ...]
    generator_w: tuple[float, ...]


NAMES = tuple(field.name for field in fields(Axes))
NEVER_TRIED = (
    "inverters, module, mounting, modules one above another in a row, loads, grid, cables and the"
    " power room stay as designed; rows are as few as hold the modules"
)
"""What no search changes."""


def axes_of(design: Design, limits: Mapping[str, Sequence[Any]] | None = None) -> Axes:
    """What is tried for a site: `limits`, else its table [search], else values around its own.

    Raises
    ------
    InputError
        For a limit that [search] could not hold, a key that no equipment list has, and for a site
        that cannot be searched.
    """
    if limits:
        written = {name: list(values) for name, values in limits.items()}
        table = design.sitefile.written.get("search")
        before = table if isinstance(table, Mapping) else {}
        design = design.changed({"search": {**before, **written}})
    refuse_unlike(design)
    given = design.site.search
    _check_kinds(design, given)
    asked = {name: tuple(getattr(given, name)) for name in NAMES
             if getattr(given, name) is not None}  # fmt: skip
    found = asked | {name: _USUAL[name](design) for name in NAMES if name not in asked}
    found = {name: values if name in _WORDS else tuple(sorted(values))
             for name, values in found.items()}  # fmt: skip
    _widen_steps(found, {name: own for name, own in _own_counts(design).items()
                         if name not in asked})  # fmt: skip
    return Axes(**found)


_WORDS = ("orientation", "controller", "battery")


def _own_counts(design: Design) -> dict[str, int]:
    """The axes of counts, with the site's own."""
    site = design.site
    return {"strings": site.array.string_count, "controllers": site.controller.count,
            "units_in_parallel": site.battery.units_in_parallel}  # fmt: skip


def _widen_steps(found: dict[str, tuple[Any, ...]], own: Mapping[str, int]) -> None:
    """Leave every other count out, of the longest axis first, until a search takes a minute.

    The site's own, the least and the most stay.
    """
    while math.prod(map(len, found.values())) > MOST_UNASKED:
        name = max(own, key=lambda one: len(found[one]), default="")
        if not name or len(found[name]) <= LEAST_STEPS:
            return
        values = found[name]
        start = values.index(own[name]) % 2
        found[name] = tuple(sorted({values[0], *values[start::2], values[-1]}))


def refuse_unlike(design: Design) -> None:
    """InputError for a site whose array or supply the search does not know how to scale."""
    site, file = design.site, plain(design.sitefile.path.name)
    faults = []
    if site.supply.separate_banks:
        faults.append(Fault(where=f"{file}: supply.layout", given=site.supply.layout,
                            **worded("search", "one-bank")))  # fmt: skip
    if site.planes:
        faults.append(Fault(where=f"{file}: planes", given=f"{len(site.planes)} beside the first",
                            **worded("search", "one-plane")))  # fmt: skip
    if site.reuses("battery"):
        faults.append(Fault(where=f"{file}: existing", given="a battery that is used again",
                            **worded("search", "new-battery")))  # fmt: skip
    if site.array.string_layout == "across-rows":
        faults.append(Fault(where=f"{file}: array.string_layout", given=site.array.string_layout,
                            **worded("search", "along-rows")))  # fmt: skip
    if faults:
        raise InputError(faults)


def _check_kinds(design: Design, given: Search) -> None:
    lists = known_equipment(design.sitefile.written, design.sitefile.path)
    faults = [
        Fault(where=f"{plain(design.sitefile.path.name)}: search.{axis}", given=repr(key),
              allowed=f"{OWN_KIND!r} or " + ", ".join(sorted(lists[name])))
        for axis, name in (("controller", "controllers"), ("battery", "batteries"))
        for key in getattr(given, axis) or ()
        if key != OWN_KIND and key not in lists[name]
    ]  # fmt: skip
    if faults:
        raise InputError(faults)


def _tilts(design: Design) -> tuple[float, ...]:
    array, slope = design.site.array, design.site.roof.slope_deg
    own = design.array.rows.tilt_deg
    if array.mounting != "open-frame":
        return (own,)
    steps = np.arange(TILT_STEP_DEG, STEEPEST_DEG + 0.1, TILT_STEP_DEG).tolist()
    return tuple({own, *(tilt for tilt in steps if tilt >= slope)})


def _pitches(design: Design) -> tuple[float, ...]:
    """From the closest of the rows tried to what the shadow rule asks of the widest."""
    stands = [standing(design, way) for way in _ways(design)]
    low = min(one.rows.least_pitch_m for one in stands)
    high = max(one.rule_m or one.pitch_m for one in stands)
    own = design.site.array.row_pitch_m or design.array.pitch_m
    steps = np.linspace(low, max(high, low), PITCHES)
    return tuple({float(np.ceil(100.0 * own - 1e-6) / 100.0),
                  *(float(one) for one in np.ceil(100.0 * steps - 1e-6) / 100.0)})  # fmt: skip


def _ways(design: Design) -> tuple[Orientation, ...]:
    own = design.site.array.orientation
    return (own, "landscape" if own == "portrait" else "portrait")


def _series(design: Design) -> tuple[int, ...]:
    """Numbers around the site's own whose voltage in the cold the controller bears."""
    array, most_v = design.site.array, design.site.controller.max_pv_voltage_v
    own = array.modules_in_series
    each_v = design.energy.coldest_voc_v / own
    step = array.modules_high if array.string_layout == "along-row" else 1
    around = range(max(own - SERIES_AROUND, 1), own + SERIES_AROUND + 1)
    return tuple({own, *(one for one in around if one * each_v <= most_v and one % step == 0)})


def _strings(design: Design) -> tuple[int, ...]:
    """From one to as many of the shortest as the roof holds, or some times the site's own."""
    own = design.site.array.string_count
    most = max(min(max(MOST_TIMES * own, LEAST_STEPS),
                   _most_modules(design) // min(_series(design))), own)  # fmt: skip
    return tuple(range(1, most + 1))


def _most_modules(design: Design) -> int:
    """Modules that the roof holds, as many as can be counted where nobody knows."""
    choice = or_why(lambda: design.orientation)()
    return MOST_CANDIDATES if isinstance(choice, NoAnswer) else max(
        way.most_count for way in choice.ways.values())


def _controllers(design: Design) -> tuple[int, ...]:
    """From one to one more than the site's own, or to what the largest array tried can give."""
    site, balance = design.site, balance_of(design)
    own, each_w = site.controller.count, balance.controller_limit_w / site.controller.count
    modules = min(max(_series(design)) * max(_strings(design)), _most_modules(design))
    most_w = modules * site.module.pmax_w * balance.controller_efficiency_frac
    most = max(own + 1, min(math.ceil(most_w / each_w), max(_strings(design))))
    return tuple(range(1, min(most, _most_of("controllers")) + 1))


def _most_of(axis: str) -> int:
    return int(LIMITS[axis][1])


def _batteries(design: Design) -> tuple[str, ...]:
    if "per_battery_unit" in design.site.costs.model_fields_set:
        return (OWN_KIND,)
    lists = known_equipment(design.sitefile.written, design.sitefile.path)
    own = design.sitefile.equipment_keys.get("battery")
    return (OWN_KIND, *(key for key in lists["batteries"] if key != own))


def _units(design: Design) -> tuple[int, ...]:
    """From one to some times the site's own, or to what the smallest kind needs to hold as much."""
    own = design.site.battery
    lists = known_equipment(design.sitefile.written, design.sitefile.path)
    kinds = [lists["batteries"][key].values for key in _batteries(design) if key != OWN_KIND]
    own_ah = own.units_in_parallel * own.unit_capacity_ah * (1.0 - own.min_soc_frac)
    least_ah = min((_used_ah(kind) for kind in kinds), default=math.inf)
    as_much = math.ceil(own_ah / least_ah - 1e-9)
    most = max(MOST_TIMES * own.units_in_parallel, LEAST_STEPS, as_much)
    return tuple(range(1, min(most, _most_of("units_in_parallel")) + 1))


def _used_ah(battery: Mapping[str, Any]) -> float:
    """Charge that one battery gives down to its least state of charge."""
    return float(battery["unit_capacity_ah"]) * (1.0 - float(battery.get("min_soc_frac", 0.0)))


def _generators(design: Design) -> tuple[float, ...]:
    own_w = design.site.generator.power_w
    return (own_w,) if owns_generator(design.site) else tuple({0.0, own_w})


def owns_generator(site: Site) -> bool:
    """Whether the generator is the customer's own, which a search then does not change."""
    return any(one.used and one.bill_item == "generator" for one in site.existing)


_USUAL: Mapping[str, Any] = {
    "tilt_deg": _tilts,
    "azimuth_deg": lambda design: (design.array.rows.azimuth_deg,),
    "row_pitch_m": _pitches,
    "orientation": _ways,
    "modules_in_series": _series,
    "strings": _strings,
    "controller": lambda design: (OWN_KIND,),
    "controllers": _controllers,
    "battery": _batteries,
    "units_in_parallel": _units,
    "generator_w": _generators,
}
