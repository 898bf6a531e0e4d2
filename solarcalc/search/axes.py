"""What a search tries: the lists of [search], or values around the site's own."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.worded import worded
from solarcalc.design import Design
from solarcalc.roof.rows import Orientation
from solarcalc.sitefile.base import plain, shown
from solarcalc.sitefile.equipment import known_equipment
from solarcalc.sitefile.planes import plane_slug
from solarcalc.sitefile.search import (
    INVERTERS,
    LIMITS,
    OWN_KIND,
    Search,
    SearchPlane,
)
from solarcalc.sitefile.site import Site
from solarcalc.stages.array import balance_of, standing

STEEPEST_DEG, TILT_STEP_DEG, PITCHES = 45.0, 5.0, 5
"""Tilts and pitches that are tried where nothing else is asked; common practice, no source."""
SERIES_AROUND, MOST_TIMES, LEAST_STEPS = 2, 3, 8
MOST_CANDIDATES = 20_000_000
"""Whole systems in one search: more take minutes and are a slip of an axis."""
MOST_UNASKED = 2_000_000
"""Of these as many where nobody asked for values: with more, counts are tried at wider steps."""


@dataclass(frozen=True, kw_only=True, order=True)
class OnPlane:
    """What stands on a roof plane beside the first.

    Parameters
    ----------
    name : str
    strings, controllers : int
        0 on a plane left bare.
    """

    name: str
    strings: int
    controllers: int

    @property
    def words(self) -> str:
        """The plane with its strings and controllers."""
        if not self.strings:
            return f"{self.name} left bare"
        said = (f"{count} {thing}{'s' * (count != 1)}" for count, thing in (
            (self.strings, "PV string"), (self.controllers, "controller")))  # fmt: skip
        return f"{self.name} {' on '.join(said)}"


OnPlanes = tuple[OnPlane, ...]
"""Of each plane beside the first, in their order."""


def as_designed(design: Design) -> OnPlanes:
    """What stands on the planes beside the first as the site file has it."""
    return tuple(OnPlane(name=one.name, strings=one.array.string_count,
                         controllers=one.controller.count) for one in design.site.planes)


@dataclass(frozen=True, kw_only=True)
class LeftOut:
    """A value of an axis that cannot be tried, and why."""

    axis: str
    value: str
    why: str


@dataclass(frozen=True, kw_only=True)
class Axes:
    """Every value of each is tried with every value of the others, as far as they go together.

    Parameters
    ----------
    tilt_deg, azimuth_deg, row_pitch_m, generator_w : tuple of float
    orientation, controller, battery, inverter, inverter_nonessential : tuple of str
        Kinds of equipment by their keys, `OWN_KIND` for the site's own; inverters as
        `solarcalc.sitefile.search.several_of` has them.
    modules_in_series, strings, controllers, units_in_parallel : tuple of int
        Strings and controllers of the first roof plane.
    planes : tuple of tuple of OnPlane
        What stands on the planes beside it, one value for all of them.
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
    inverter: tuple[str, ...]
    inverter_nonessential: tuple[str, ...]
    planes: tuple[OnPlanes, ...] = ((),)


NAMES = tuple(field.name for field in fields(Axes))
NEVER_TRIED = (
    "module, mounting, modules one above another in a row, loads, grid, cables, the power room, how"
    " planes beside the first lie; rows are as few as hold the modules"
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
    _check_planes(design, given)
    asked = {name: tuple(getattr(given, name)) for name in _LISTS
             if getattr(given, name) is not None}  # fmt: skip
    found = asked | {name: _USUAL[name](design) for name in _LISTS if name not in asked}
    _refuse_grown(design, {name: found[name] for name in ("battery", "units_in_parallel")})
    found["planes"] = _planes(design, math.prod(map(len, found.values())))
    found = {name: values if name in (*_WORDS, "planes") else tuple(sorted(values))
             for name, values in found.items()}  # fmt: skip
    _widen_steps(found, {name: own for name, own in _own_counts(design).items()
                         if name not in asked})  # fmt: skip
    _refuse_idle(design, "controllers", found["controllers"], found["strings"])
    return Axes(**found)


def _refuse_idle(
    design: Design, place: str, controllers: Sequence[int], strings: Sequence[int]
) -> None:
    """InputError where every count of controllers is above every one of strings that stand."""
    if 0 < max(strings) < min(controllers):
        raise InputError(Fault(
            where=f"{plain(design.sitefile.path.name)}: search.{place}",
            given=", ".join(map(str, controllers)),
            **worded("search", "idle-controllers", most=max(strings))))  # fmt: skip


_WORDS = ("orientation", "controller", "battery", *INVERTERS)
_LISTS = tuple(name for name in NAMES if name != "planes")


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
    if site.array.string_layout == "across-rows":
        faults.append(Fault(where=f"{file}: array.string_layout", given=site.array.string_layout,
                            **worded("search", "along-rows")))  # fmt: skip
    if faults:
        raise InputError(faults)


def _refuse_grown(design: Design, asked: Mapping[str, tuple[Any, ...]]) -> None:
    """InputError for a used battery of several strings, or beside which others are asked for."""
    as_it_is = {"battery": (OWN_KIND,), "units_in_parallel": (1,)}
    if design.site.reuses("battery") and asked != as_it_is:
        raise InputError(Fault(
            where=f"{plain(design.sitefile.path.name)}: existing",
            given="a battery that is used again, "
                  + "; ".join(f"search.{name}: {', '.join(map(str, one))}"
                              for name, one in asked.items()),
            **worded("search", "new-battery")))  # fmt: skip


def _check_planes(design: Design, given: Search) -> None:
    """InputError for a plane that a site, as it was changed, has not."""
    names = {plane_slug(one.name): one.name for one in design.site.planes}
    faults = [
        Fault(where=f"{plain(design.sitefile.path.name)}: search.planes[{number}].name",
              given=shown(one.name), **worded("sitefile", "search-plane",
                                             names=", ".join(names.values()) or "none"))
        for number, one in enumerate(given.planes, start=1) if plane_slug(one.name) not in names
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
    each_v = design.planes[0].energy.coldest_voc_v / own
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


def _planes(design: Design, others: int) -> tuple[OnPlanes, ...]:
    """What is tried on the planes beside the first, with so many values of all else.

    Where nothing is asked for a plane: left bare to what it holds; where that is too many, to its
    own strings; bare or as designed; as designed alone.
    """
    asked = {plane_slug(one.name): one for one in design.site.search.planes}
    for number, one in enumerate(design.site.search.planes, start=1):
        at = [plane_slug(plane.name) for plane in design.site.planes].index(plane_slug(one.name))
        if one.controllers:
            _refuse_idle(design, f"planes[{number}].controllers", one.controllers,
                         one.strings or _strings_beside(
                             design.site.planes[at].array.string_count, design.planes[at + 1]))
    found: tuple[OnPlanes, ...] = ()
    for usual in (_strings_beside, lambda own, _: range(own + 1), lambda own, _: (0, own),
                  lambda own, _: (own,)):  # fmt: skip
        found = tuple(itertools.product(*(
            _on_plane(one, own, asked.get(plane_slug(own.name)), usual)
            for one, own in zip(design.planes[1:], as_designed(design), strict=True)
        )))  # fmt: skip
        if others * len(found) <= MOST_UNASKED:
            break
    return found


def _strings_beside(own: int, plane: Design) -> Sequence[int]:
    most = standing(plane).roof_fit.module_count // plane.site.array.modules_in_series
    return range(max(min(max(MOST_TIMES * own, LEAST_STEPS), most), own) + 1)


def _on_plane(
    plane: Design, own: OnPlane, asked: SearchPlane | None,
    usual: Callable[[int, Design], Sequence[int]],
) -> tuple[OnPlane, ...]:  # fmt: skip
    """Strings of a plane with controllers from one to what these strings can give."""
    strings = sorted(asked.strings if asked and asked.strings else usual(own.strings, plane))
    counts: Sequence[int] = sorted(asked.controllers or () if asked else ())
    if not counts:
        balance, array = balance_of(plane), plane.site.array
        most_w = (max(strings) * array.modules_in_series * plane.site.module.pmax_w
                  * balance.controller_efficiency_frac)  # fmt: skip
        each_w = balance.controller_limit_w / own.controllers
        counts = range(1, max(own.controllers, math.ceil(most_w / each_w)) + 1)
    if strings == [own.strings] and not (asked and asked.controllers):
        return (own,)
    return tuple(OnPlane(name=own.name, strings=count, controllers=controllers if count else 0)
                 for count in strings for controllers in (counts if count else (0,))
                 if controllers <= count)  # fmt: skip


def _most_of(axis: str) -> int:
    return int(LIMITS[axis][1])


def _batteries(design: Design) -> tuple[str, ...]:
    site = design.site
    if "per_battery_unit" in site.costs.model_fields_set or site.reuses("battery"):
        return (OWN_KIND,)
    lists = known_equipment(design.sitefile.written, design.sitefile.path)
    own = design.sitefile.equipment_keys.get("battery")
    return (OWN_KIND, *(key for key in lists["batteries"] if key != own))


def _units(design: Design) -> tuple[int, ...]:
    """From one to some times the site's own, or to what the smallest kind needs to hold as much."""
    own = design.site.battery
    if design.site.reuses("battery"):
        return (own.units_in_parallel,)
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
    "inverter": lambda design: (OWN_KIND,),
    "inverter_nonessential": lambda design: (OWN_KIND,),
}
