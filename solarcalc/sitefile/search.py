"""What a search over whole systems may try: [search], lists of values or ranges."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator

from solarcalc.basis.errors import Fault
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Name, Record, Sound, list_at, names_once, shown
from solarcalc.sitefile.changes import NOT_SEARCHED
from solarcalc.sitefile.planes import plane_slug

OWN_KIND = "as designed"
"""Stands among kinds of equipment for the site's own."""
MOST_VALUES = 400
"""Values on one axis."""
_RANGE = {"from", "to", "step"}
_SLACK = 1e-9
_LARGEST = 1e9
"""End of a range: beyond every limit, and soon counted through."""
LIMITS: Mapping[str, tuple[float, float]] = {
    "tilt_deg": (0.0, 90.0), "azimuth_deg": (0.0, 359.999), "row_pitch_m": (0.01, 100.0),
    "generator_w": (0.0, 200000.0), "modules_in_series": (1, 60), "strings": (1, 500),
    "controllers": (1, 50), "units_in_parallel": (1, 50),
}  # fmt: skip
"""What a value of an axis may be: as the key of the site file that it stands for."""
INVERTERS = ("inverter", "inverter_nonessential")
"""Keys of [search] for the inverters of each board."""
KINDS = {"controller": "controllers", "battery": "batteries"} | dict.fromkeys(
    INVERTERS, "inverters")
"""Keys of [search] that name kinds of equipment, and the list that has them."""
AXES = (*LIMITS, "orientation", "controller", "battery", *INVERTERS)
"""Keys of [search] that are lists of values."""


def _spelled_out(value: Any) -> Any:
    """A range, ``{ from = 0, to = 40, step = 5 }``, as the list of its values."""
    if not isinstance(value, Mapping):
        return value
    numbers: list[Any] = [value.get(key) for key in ("from", "to", "step")]
    if set(value) != _RANGE or not all(
        isinstance(one, int | float) and not isinstance(one, bool) for one in numbers
    ):
        raise ValueError("a list, or a range { from = 0, to = 40, step = 5 }")
    low, high, step = numbers
    if not all(abs(one) <= _LARGEST for one in numbers) or not (
            step > 0 and low <= high and (high - low) / step <= MOST_VALUES):  # fmt: skip
        raise ValueError(f"a range that rises, of at most {MOST_VALUES} values")
    count = int((high - low) / step + _SLACK) + 1
    found = [low + number * step for number in range(count)]
    return found if all(isinstance(one, int) for one in numbers) else [
        round(float(one), 9) for one in found]


_SEVERAL = re.compile(r"([1-9]|[12]\d|30) x (.+)")


def several_of(kind: str) -> tuple[int, str]:
    """How many inverters alike, and the key of their kind.

    Examples
    --------
    >>> several_of("2 x inverter-2700w"), several_of("inverter-4300w")
    ((2, 'inverter-2700w'), (1, 'inverter-4300w'))
    """
    found = _SEVERAL.fullmatch(kind)
    return (int(found[1]), found[2]) if found else (1, kind)


Reals = Annotated[list[float] | None, BeforeValidator(_spelled_out)]
Counts = Annotated[list[int] | None, BeforeValidator(_spelled_out)]


def _axis(what: str) -> Any:
    return Field(default=None, description=what)


def _checked_values(value: Any, low: float, high: float) -> Any:
    """Values of an axis as they are; ValueError for none, too many, one twice, one beyond."""
    if value is None:
        return value
    if not 0 < len(value) <= MOST_VALUES:
        raise ValueError(f"1 to {MOST_VALUES} values")
    if len(set(value)) < len(value):
        raise ValueError("each value once")
    if low > -math.inf and any(not low <= one <= high for one in value):
        raise ValueError(f"values from {low:g} to {high:g}")
    return value


class SearchPlane(Record):
    """[[search.planes]]: what is tried on a roof plane beside the first."""

    name: Name = Field(description="of the plane, as in [[planes]]")
    strings: Counts = _axis("in parallel; 0: the plane is left bare")
    controllers: Counts = _axis("number of them")

    @field_validator("strings", "controllers")
    @classmethod
    def _possible(cls, value: Any, info: ValidationInfo) -> Any:
        name = str(info.field_name)
        return _checked_values(value, 0.0 if name == "strings" else 1.0, LIMITS[name][1])


class Search(Record):
    """[search]: the values that `solarcalc search` tries; what is left out it chooses itself."""

    tilt_deg: Reals = _axis("of the modules")
    azimuth_deg: Reals = _axis("of the modules")
    row_pitch_m: Reals = _axis("from row to row, on the roof")
    orientation: list[Literal["portrait", "landscape"]] | None = _axis("of the modules")
    modules_in_series: Counts = _axis("in a string")
    strings: Counts = _axis("in parallel")
    controller: list[str] | None = _axis(
        'keys of equipment lists; "as designed" for the one of [controller]')
    controllers: Counts = _axis("number of them")
    battery: list[str] | None = _axis(
        'keys of equipment lists; "as designed" for the one of [battery]')
    units_in_parallel: Counts = _axis("battery strings in parallel")
    generator_w: Reals = _axis("on the rating plate; 0: none")
    inverter: list[str] | None = _axis(
        'keys of equipment lists, "2 x KEY" for several alike; "as designed" for'
        " [inverter.essential]")
    inverter_nonessential: list[str] | None = _axis(
        'the same; "as designed" for [inverter.nonessential]')

    planes: list[SearchPlane] = Field(default_factory=list)

    @field_validator(*AXES)
    @classmethod
    def _possible(cls, value: Any, info: ValidationInfo) -> Any:
        if info.field_name in INVERTERS and value is not None:
            _checked_values([several_of(one) for one in value], -math.inf, math.inf)
        return _checked_values(value, *LIMITS.get(str(info.field_name), (-math.inf, math.inf)))


def search_faults(sound: Sound) -> Iterator[Fault]:
    """Axes of what the rest of the site file settles."""
    for (table, name, value), axes in NOT_SEARCHED.items():
        for key in axes if sound.get(table, name) == value else ():
            given = sound.get("search", key)
            if given is not None:
                yield sound.fault(("search", key), given, **worded(
                    "sitefile", "search-flush" if table == "array" else "search-one-inverter"))
    own_w = sound.get("generator", "power_w")
    strings, controllers = (sound.get("search", key) for key in ("strings", "controllers"))
    if strings and controllers and 0 < max(strings) < min(controllers):
        yield sound.fault(("search", "controllers"), ", ".join(map(str, controllers)),
                          **worded("search", "idle-controllers", most=max(strings)))
    other = {"battery": set(sound.get("search", "battery") or ()) - {OWN_KIND},
             **{key: set(sound.get("search", key) or ()) - {OWN_KIND} for key in INVERTERS},
             "generator_w": set(sound.get("search", "generator_w") or ()) - {0, own_w}}
    for key, price in (("battery", "per_battery_unit"), ("generator_w", "per_generator"),
                       *((key, "fixed") for key in INVERTERS)):
        if other[key] and sound.given("costs", price):
            yield sound.fault(("search", key), sound.get("search", key),
                              **worded("sitefile", "search-priced", price=price))
    yield from names_once(sound, ("search", "planes"), "roof plane")


def plane_name_faults(sound: Sound) -> Iterator[Fault]:
    """Roof planes of [search] that a file as written has not; a variant may leave one bare."""
    names = {plane_slug(name): name for _, name in _named(sound, "planes")}
    for number, name in _named(sound, "search", "planes"):
        if plane_slug(name) not in names:
            yield sound.fault(("search", "planes", number, "name"), shown(name), **worded(
                "sitefile", "search-plane", names=", ".join(names.values()) or "none"))


def _named(sound: Sound, *place: str) -> Iterator[tuple[int, str]]:
    """Number and name of the rows of a list that have one."""
    for number, row in enumerate(list_at(sound, place)):
        name = row.get("name") if isinstance(row, Mapping) else None
        if isinstance(name, str) and name:
            yield number, name


def searches_kinds(sound: Sound) -> bool:
    """Whether [search] names kinds of equipment, for which the lists are to be read."""
    return any(set(sound.get("search", axis) or ()) - {OWN_KIND} for axis in KINDS)


def kind_faults(sound: Sound, lists: Mapping[str, Collection[str]]) -> Iterator[Fault]:
    """Kinds of equipment in [search] that no list has."""
    for axis, name in KINDS.items():
        for key in sound.get("search", axis) or ():
            kind = several_of(key)[1] if axis in INVERTERS else key
            if key == OWN_KIND or key in lists[name] or kind in lists[name]:
                continue
            near = nearest(kind, lists[name])
            yield sound.fault(
                ("search", axis), shown(key),
                f'"{OWN_KIND}" or {", ".join(sorted(lists[name]))}'
                + ('; "2 x " to "30 x " before one for several' if axis in INVERTERS else ""),
                why="", remedy=f"did you mean {near}?" if near else "",
            )  # fmt: skip
