"""Checks between fields of a site file, made wherever the fields they need are sound."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from solarcalc.basis.errors import Fault
from solarcalc.basis.sourced import NO_SOURCE, constant
from solarcalc.basis.text import nearest
from solarcalc.sitefile.array_records import COLUMNS_PER_DIODE
from solarcalc.sitefile.cross_battery import battery_faults
from solarcalc.sitefile.cross_earthing import earthing_faults
from solarcalc.sitefile.cross_loads import loads_faults
from solarcalc.sitefile.cross_owned import owned_faults
from solarcalc.sitefile.cross_programme import programme_faults
from solarcalc.sitefile.cross_quote import quote_faults
from solarcalc.sitefile.cross_roof import roof_faults
from solarcalc.sitefile.cross_room import room_faults
from solarcalc.sitefile.cross_supply import supply_faults
from solarcalc.sitefile.cross_wiring import wiring_faults
from solarcalc.sitefile.records import CSV_ONLY, NO_FILE, WEATHER_COLUMNS
from solarcalc.sitefile.sound import Sound
from solarcalc.sitefile.weather_source import weather_source_faults
from solarcalc.sitefile.wording import Loc, shown

PMAX_TOLERANCE_FRAC = float(constant("sitefile.pmax_tolerance_frac"))

_FORMAT_OF_SUFFIX = {".tm2": "tmy2", ".epw": "epw"}


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


def _cells(sound: Sound) -> Iterator[Fault]:
    diodes, cells = sound.get("module", "bypass_diodes"), sound.get("module", "cells_in_series")
    given = sound.get("module", "cell_columns")
    if None in (diodes, cells):
        return
    columns = given or COLUMNS_PER_DIODE * diodes
    key = "cell_columns" if given else "cells_in_series"
    value = f"{key} = {given or cells}"
    if columns % diodes:
        yield sound.fault(
            ("module", key),
            f"{value} with bypass_diodes = {diodes}",
            f"a multiple of bypass_diodes = {diodes}",
            "each bypass diode spans equally many columns of cells along the long side",
            "count the columns along the long side and the diodes in the junction box",
        )
    elif cells % columns:
        yield sound.fault(
            ("module", key),
            f"{value} with {columns} columns of cells and cells_in_series = {cells}",
            "columns that hold equally many of the cells in series",
            f"left out, a module has {COLUMNS_PER_DIODE} columns a bypass diode ({NO_SOURCE});"
            " half-cut modules count the cells of one half",
            "give cell_columns, the columns of cells along the long side",
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


_CHECKS: tuple[Callable[[Sound], Iterator[Fault]], ...] = (
    _module,
    _cells,
    _strings,
    _controller,
    _inverters,
    _battery,
    battery_faults,
    _weather_format,
    _weather_columns,
    _station,
    weather_source_faults,
    loads_faults,
    roof_faults,
    room_faults,
    owned_faults,
    supply_faults,
    earthing_faults,
    wiring_faults,
    quote_faults,
    programme_faults,
)
