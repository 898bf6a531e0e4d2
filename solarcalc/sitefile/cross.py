"""Checks between fields of a site file, made wherever the fields they need are sound."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from pydantic.fields import FieldInfo

from solarcalc.basis.errors import Fault
from solarcalc.basis.sourced import NO_SOURCE
from solarcalc.basis.text import nearest
from solarcalc.sitefile.records import CSV_ONLY, NO_FILE, WEATHER_COLUMNS
from solarcalc.sitefile.weather_source import weather_source_faults
from solarcalc.sitefile.wording import Loc, Origins, shown, type_at, where

PMAX_TOLERANCE_FRAC = 0.03
"""Widest gap of pmax_w from vmp_v x imp_a, for rounding; common practice, no source."""

ROUNDING_FRAC = 1e-9
"""Sizes that differ by less are the same: a guard against rounding, no more."""

_FORMAT_OF_SUFFIX = {".tm2": "tmy2", ".epw": "epw"}


class Sound:
    """Values of a site file that passed on their own.

    Parameters
    ----------
    data : mapping
        The site file with its equipment filled in.
    bad : sequence of tuple
        Places the validation complained about.
    origins : Origins
    """

    def __init__(self, data: Mapping[str, Any], bad: Sequence[Loc], origins: Origins) -> None:
        self.data = data
        self.bad = tuple(bad)
        self.origins = origins

    def get(self, *loc: str) -> Any:
        """Value or default at a place; None where it is unsound, missing or not given."""
        if any(loc[: len(place)] == place or place[: len(loc)] == loc for place in self.bad):
            return None
        value: Any = self.data
        for part in loc:
            value = value.get(part, _ABSENT) if isinstance(value, dict) else _ABSENT
            if value is _ABSENT:
                _, info = type_at(loc)
                return _default(info)
        return value

    def given(self, *loc: str) -> bool:
        """Whether the file itself holds a value at a place."""
        table: Any = self.data
        for part in loc:
            if not isinstance(table, dict) or part not in table:
                return False
            table = table[part]
        return True

    def fault(
        self, loc: Sequence[str | int], given: object, allowed: str, why: str, remedy: str = ""
    ) -> Fault:
        """A Fault at a place of this file."""
        return Fault(
            where=where(tuple(loc), self.origins, self.data),
            given=given if isinstance(given, str) else shown(given),
            allowed=allowed,
            why=why,
            remedy=remedy,
        )


_ABSENT = object()


def _default(info: FieldInfo | None) -> Any:
    if info is None or info.is_required():
        return None
    return info.get_default(call_default_factory=True, validated_data={})


def cross_faults(sound: Sound) -> list[Fault]:
    """Every contradiction between sound fields of a site file."""
    return [fault for check in _CHECKS for fault in check(sound)]


def _ordered(
    sound: Sound, low: Loc, high: Loc, why: str, *, equal: bool
) -> Iterator[Fault]:
    first, second = sound.get(*map(str, low)), sound.get(*map(str, high))
    if first is None or second is None or first < second or (equal and first == second):
        return
    yield sound.fault(
        low,
        f"{low[-1]} = {first:g} with {high[-1]} = {second:g}",
        f"{low[-1]} {'at most' if equal else 'below'} {high[-1]}",
        why,
    )


def _module(sound: Sound) -> Iterator[Fault]:
    one = "module"
    yield from _ordered(
        sound, (one, "width_m"), (one, "length_m"), "length_m is the long side", equal=True
    )
    yield from _ordered(
        sound, (one, "vmp_v"), (one, "voc_v"), "open circuit is the highest voltage", equal=False
    )
    yield from _ordered(
        sound, (one, "imp_a"), (one, "isc_a"), "short circuit is the highest current", equal=False
    )
    pmax, vmp, imp = (sound.get(one, name) for name in ("pmax_w", "vmp_v", "imp_a"))
    if None in (pmax, vmp, imp):
        return
    product = vmp * imp
    if abs(pmax - product) > PMAX_TOLERANCE_FRAC * product:
        yield sound.fault(
            (one, "pmax_w"),
            f"{pmax:g} W where vmp_v x imp_a = {vmp:g} V x {imp:g} A = {product:.1f} W",
            f"within {PMAX_TOLERANCE_FRAC:.0%} of vmp_v x imp_a",
            f"a data sheet's three figures agree but for rounding ({NO_SOURCE})",
            "copy all three from the same column of the data sheet",
        )


def _strings(sound: Sound) -> Iterator[Fault]:
    count, series = sound.get("array", "module_count"), sound.get("array", "modules_in_series")
    if count is None or series is None or count % series == 0:
        return
    nearby = sorted({max(count // series, 1) * series, (count // series + 1) * series})
    yield sound.fault(
        ("array", "module_count"),
        f"module_count = {count} with modules_in_series = {series}",
        f"a multiple of modules_in_series, such as {' or '.join(map(str, nearby))}",
        "strings in parallel are equally long",
    )


def _controller(sound: Sound) -> Iterator[Fault]:
    low, high, most = (
        ("controller", name)
        for name in ("min_tracking_voltage_v", "max_tracking_voltage_v", "max_pv_voltage_v")
    )
    yield from _ordered(sound, low, high, "the tracking window has a width", equal=False)
    yield from _ordered(sound, high, most, "no tracking above the highest voltage", equal=True)


def _inverters(sound: Sound) -> Iterator[Fault]:
    for board in ("critical", "heavy"):
        yield from _ordered(
            sound,
            ("inverter", board, "continuous_power_w"),
            ("inverter", board, "surge_power_va"),
            "surge is what it carries for seconds, continuous for hours",
            equal=True,
        )


def _battery(sound: Sound) -> Iterator[Fault]:
    reserve, shed, back = (
        ("battery", name) for name in ("reserve_frac", "heavy_shed_frac", "heavy_return_frac")
    )
    yield from _ordered(
        sound, reserve, shed, "the heavy board waits before the reserve is reached", equal=True
    )
    yield from _ordered(
        sound, shed, back, "it comes back at a higher charge than it left at", equal=False
    )


def _weather_format(sound: Sound) -> Iterator[Fault]:
    source, named = sound.get("weather", "source"), sound.get("weather", "format")
    if source is None or named is None or source in NO_FILE:
        return
    known = _known_format(source) if named == "auto" else named
    if known in (None, "csv"):
        return
    for name in CSV_ONLY:
        if sound.given("weather", name):
            yield sound.fault(
                ("weather", name),
                sound.data["weather"][name],
                f"left out, as the weather is a {known} file; for plain csv only",
                f"a {known} file says this itself",
                f"take {name} out" + (', or write format = "csv"' if named == "auto" else ""),
            )


def _known_format(source: str) -> str | None:
    """Format that the name alone tells; a .csv may be of two kinds, but not in the library."""
    ending = "." + source.rsplit(".", 1)[-1].lower()
    if source.startswith("library:") and ending == ".csv":
        return "tmy3"
    return _FORMAT_OF_SUFFIX.get(ending)


def _weather_columns(sound: Sound) -> Iterator[Fault]:
    columns = sound.get("weather", "columns")
    for name in columns or ():
        if name not in WEATHER_COLUMNS:
            near = nearest(name, WEATHER_COLUMNS)
            yield sound.fault(
                ("weather", "columns", name),
                columns[name],
                "our column names: " + ", ".join(WEATHER_COLUMNS),
                "the key is our name, the text is the name in the file",
                f"did you mean {near}?" if near else "",
            )


def _station(sound: Sound) -> Iterator[Fault]:
    names = ("station_latitude_deg", "station_longitude_deg")
    has = [sound.given("weather", name) for name in names]
    if has[0] == has[1]:
        return
    missing, present = names if has[1] else names[::-1]
    yield sound.fault(
        ("weather", missing),
        f"nothing, with {present} = {shown(sound.data['weather'][present])}",
        "both or neither of " + " and ".join(names),
        "half a place is no place",
        f"add {missing}, or take {present} out",
    )


def _loads(sound: Sound) -> Iterator[Fault]:
    boards = [sound.get("loads", board) for board in ("critical", "heavy")]
    if sound.get("loads") is not None and all(board == [] for board in boards):
        yield sound.fault(
            ("loads",),
            "no appliance on either board",
            "at least one [[loads.critical]] or [[loads.heavy]]",
            "without a load there is nothing to size",
        )


def _appliance_names(sound: Sound) -> Iterator[Fault]:
    for board in ("critical", "heavy"):
        yield from _names_once(sound, ("loads", board), "appliance")


def _roof_names(sound: Sound) -> Iterator[Fault]:
    for kind in ("obstacle", "walkway"):
        yield from _names_once(sound, ("roof", f"{kind}s"), kind)


_SAME_NAME = {
    "appliance": ("each appliance once on a board",
                  "put them in one line with count, or name what sets them apart"),
    "obstacle": ("each obstacle under its own name", "name what sets them apart"),
    "walkway": ("each walkway under its own name", "name what sets them apart"),
}  # fmt: skip


def _names_once(sound: Sound, place: tuple[str, str], kind: str) -> Iterator[Fault]:
    allowed, remedy = _SAME_NAME[kind]
    first: dict[str, int] = {}
    for number, row in enumerate(_list_at(sound, place)):
        name = row.get("name") if isinstance(row, dict) else None
        if not isinstance(name, str):
            continue
        key = " ".join(name.casefold().split())
        if key in first:
            why = f"{kind} {first[key] + 1} has the same name"
            yield sound.fault((*place, number, "name"), name, allowed, why, remedy)
        first.setdefault(key, number)


def _list_at(sound: Sound, place: tuple[str, str]) -> list[Any]:
    table = sound.data.get(place[0])
    rows = table.get(place[1]) if isinstance(table, dict) else None
    return rows if isinstance(rows, list) else []


def _sound_rows(sound: Sound, name: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """Obstacles or walkways without a fault of their own, with their number."""
    for number, row in enumerate(_list_at(sound, ("roof", name))):
        loc = ("roof", name, number)
        if not any(place[:3] == loc or place == loc[: len(place)] for place in sound.bad):
            yield number, row


def _on_the_roof(sound: Sound) -> Iterator[Fault]:
    sizes = {"along": sound.get("roof", "length_m"), "up": sound.get("roof", "depth_m")}
    for number, box in _sound_rows(sound, "obstacles"):
        for start, size in (("along", "length_m"), ("up", "depth_m")):
            low, extent = box[f"{start}_m"], box[size]
            yield from _within(
                sound, ("roof", "obstacles", number, f"{start}_m"), low, extent, sizes[start], size
            )
    for number, way in _sound_rows(sound, "walkways"):
        across = "up" if way["runs"] == "along" else "along"
        yield from _within(
            sound, ("roof", "walkways", number, "from_m"), way["from_m"], way["width_m"],
            sizes[across], "width_m",
        )  # fmt: skip


def _within(
    sound: Sound, loc: Loc, low_m: float, extent_m: float, most_m: float | None, extent: str
) -> Iterator[Fault]:
    if most_m is None or low_m + extent_m <= most_m * (1.0 + ROUNDING_FRAC):
        return
    yield sound.fault(
        loc,
        f"{loc[-1]} = {low_m:g} with {extent} = {extent_m:g}, up to {low_m + extent_m:g} m",
        f"up to {most_m:g} m, where the roof ends",
        "it lies outside the roof; places are measured from the left end of the eaves",
        "measure again, or give the size of the roof itself",
    )


def _own_ground(sound: Sound) -> Iterator[Fault]:
    boxes = [
        (number, box["name"], _spans(box)) for number, box in _sound_rows(sound, "obstacles")
    ]
    ways = [
        (number, way["name"], [(way["from_m"], way["from_m"] + way["width_m"])], way["runs"])
        for number, way in _sound_rows(sound, "walkways")
    ]
    for place, (number, name, spans) in enumerate(boxes):
        for _, other, taken in boxes[:place]:
            if _overlap(spans, taken):
                yield _shared_ground(sound, ("roof", "obstacles", number), name, other)
    for place, (number, name, spans, runs) in enumerate(ways):
        for _, other, taken, other_runs in ways[:place]:
            if runs == other_runs and _overlap(spans, taken):
                yield _shared_ground(sound, ("roof", "walkways", number), name, other)


def _spans(box: Mapping[str, float]) -> list[tuple[float, float]]:
    return [
        (box["along_m"], box["along_m"] + box["length_m"]),
        (box["up_m"], box["up_m"] + box["depth_m"]),
    ]


def _overlap(one: list[tuple[float, float]], other: list[tuple[float, float]]) -> bool:
    return all(
        min(a[1], b[1]) - max(a[0], b[0]) > ROUNDING_FRAC * max(a[1], b[1])
        for a, b in zip(one, other, strict=True)
    )


def _shared_ground(sound: Sound, loc: Loc, name: str, other: str) -> Fault:
    return sound.fault(
        loc,
        f"{shown(name)} in the place of {shown(other)}",
        "each on ground of its own; they may lie against each other",
        "two things cannot stand in one place",
        "measure again, or make one box of both",
    )


_CHECKS: tuple[Callable[[Sound], Iterator[Fault]], ...] = (
    _module,
    _strings,
    _controller,
    _inverters,
    _battery,
    _weather_format,
    _weather_columns,
    _station,
    weather_source_faults,
    _loads,
    _appliance_names,
    _roof_names,
    _on_the_roof,
    _own_ground,
)
