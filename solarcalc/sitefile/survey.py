"""The short site file: what was found on site, in table [survey], and the tables that follow.

Keys of data/survey.csv that are left empty take a named default, and each of these is told. Tables
of the site file that stand beside [survey] come before what follows from it, key by key.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.reading import UnreadableError, file_text
from solarcalc.basis.sourced import constant
from solarcalc.sitefile.base import Loc, plain, shown
from solarcalc.sitefile.changes import put_in
from solarcalc.sitefile.derating import left_frac
from solarcalc.sitefile.equipment import Catalogue, bundled_equipment
from solarcalc.sitefile.first_size import Asked, first_size
from solarcalc.sitefile.generator import Generator
from solarcalc.sitefile.loads import BOARDS
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.survey_fields import (
    CHOOSE,
    Answers,
    Field,
    Value,
    by_key,
    fields,
    read_value,
    towns,
    unknown_key,
)
from solarcalc.sitefile.survey_lines import (
    horizon_table,
    load_places,
    load_tables,
    obstacle_table,
    sizes_of,
)
from solarcalc.sitefile.toml import MAX_BYTES
from solarcalc.sitefile.wiring import USUAL_RUNS

TABLE = "survey"
PLACE_KEYS = ("latitude_deg", "longitude_deg", "loads")
"""Keys without which no report is made: they would be nobody's house."""
FLAT_DEG = 5.0
"""Slope up to which a roof of unknown kind is taken as a flat slab [deg]; common practice, no
source."""
FRAME_DEG = (10.0, 30.0)
"""Least and most tilt of frames on a flat slab, else the latitude [deg]; common practice, no
source."""
COVERING = {"flat slab": "concrete", "metal sheet": "sheet", "tiles": "tile"}
"""What the modules stand on, by the kind of roof."""
DOWNLOADED_YEAR = 2019
SPLIT_V = constant("sitefile.split_v")
CHOSEN = {"module": "half108-397", "battery": "lithium-51v-93ah"}
"""What is taken where nobody wishes for any: bundled, invented."""
Table = dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class Survey:
    """What a short site file says, and what was taken for what it does not.

    Parameters
    ----------
    answers : Answers
    tables : dict
        The site file that follows, its own tables first.
    places : mapping of path in those tables to words
        File with line or cell, for faults.
    defaults : tuple of (Field, str)
        Each field that nobody filled in, with what was taken, in words.
    sized : tuple of str
        Tables whose counts are a first size.
    own : tuple of str
        Tables of the file beside [survey].
    replaced : tuple of str
        Answers that these tables take the place of, in words.
    """

    answers: Answers
    tables: Table
    places: Mapping[Loc, str]
    defaults: tuple[tuple[Field, str], ...]
    sized: tuple[str, ...]
    own: tuple[str, ...] = ()
    replaced: tuple[str, ...] = ()


def read_answers(table: object, path: Path, file: str) -> Answers:
    """Answers of table [survey] of a file.

    Raises
    ------
    InputError
        With each unknown key and each value that may not stand there, by its line.
    """
    if not isinstance(table, dict):
        raise InputError(Fault(where=f"{file}: {TABLE}", given=shown(table),
                               allowed=f"a table, [{TABLE}]"))  # fmt: skip
    lines = _text_lines(path)
    answers, faults = Answers(), []
    for key, given in table.items():
        where = f"{file}: {TABLE}.{plain(key)}{_line_words(lines, key)}"
        one = by_key().get(key)
        if one is None:
            faults.append(unknown_key(key, where, given))
            continue
        try:
            put_answer(answers, one, given, where)
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(faults)
    return answers


def put_answer(answers: Answers, one: Field, given: object, where: str) -> None:
    """Put what was given for a field among the answers, if anything was.

    Raises
    ------
    InputError
        As `read_value`.
    """
    value = read_value(one, given, where)
    if value is None:
        return
    answers.values[one.key] = value
    answers.places[one.key] = where
    for number in range(len(value) if isinstance(value, tuple) else 0):
        answers.places[one.key, number] = f"{where}, entry {number + 1}"


def _text_lines(path: Path) -> list[str]:
    try:
        return file_text(path, MAX_BYTES).split("\n")
    except UnreadableError:
        return []


def _line_words(lines: Sequence[str], key: str) -> str:
    inside = False
    for number, line in enumerate(lines, start=1):
        if re.match(r"\s*\[", line):
            inside = bool(re.match(rf"\s*\[\s*{TABLE}\s*\]", line))
        elif inside and re.match(rf"\s*{re.escape(key)}\s*=", line):
            return f" (line {number})"
    return ""


def survey_of(
    answers: Answers, own: Mapping[str, Any], file: str, lists: Catalogue | None = None
) -> Survey:
    """The site file that follows from answers and from the tables that stand beside them.

    Parameters
    ----------
    answers : Answers
    own : mapping
        Other tables of the file.
    file : str
        What faults call it.
    lists : Catalogue, optional
        Equipment that the file may name; what is bundled if left out.
    """
    values = answers.values
    tables: Table = {}
    places: dict[Loc, str] = {}
    for one in fields():
        where = answers.places.get(one.key, f"{file}: {TABLE}.{one.key}, not filled in")
        for path in one.path:
            places[tuple(path.split("."))] = where
    lists = lists or bundled_equipment()
    for step in (_site, _roof, _sources, _rest):
        tables = put_in(tables, step(values))
    tables = put_in(_without_year(tables, own), _wishes(values, own, lists))
    _loads(answers, tables, places)
    for number in range(len(tables["roof"].get("obstacles", []))):
        places["roof", "obstacles", number] = answers.places.get(
            ("obstacles", number), places["roof", "obstacles"])
    merged = put_in(tables, own)
    try:
        sized = _sized(merged, own, lists)
    except _UNSOUND:
        if not own:
            raise
        sized = _sized(tables, {}, lists)  # faults of own tables are told where they are checked
    merged = put_in(sized, merged)
    defaults = tuple((one, _filled_by(one, words, own, merged))
                     for one, words in _defaults(values)
                     if not _own(one, own) and _there(one, merged))
    return Survey(answers=answers, tables=merged, places=_kept(places, own), defaults=defaults,
                  sized=tuple(name for name in sized if name not in (*own, "loads")),
                  own=tuple(own), replaced=tuple(_replaced(values, own)))  # fmt: skip


def _replaced(values: Mapping[str, Value], own: Mapping[str, Any]) -> Iterator[str]:
    """Answers that a table of the file takes the place of; of the loads, board by board."""
    for one in fields():
        lines = values.get(one.key)
        if one.key == "loads" and isinstance(lines, tuple):
            for board, rows in load_tables(lines).items():
                if rows and _given(own, ("loads", board)):
                    yield f"loads of the {board} board, {len(rows)} of {len(lines)} lines"
        elif lines is not None and _own(one, own):
            yield one.key


def _without_year(tables: Table, own: Mapping[str, Any]) -> Table:
    """Tables without the year of a download, where the file names another source itself."""
    named = own.get("weather")
    if not isinstance(named, Mapping) or named.get("source", "download") == "download":
        return tables
    kept = {key: value for key, value in tables["weather"].items() if key != "year"}
    return {**tables, "weather": kept}


def _filled_by(one: Field, words: str, own: Mapping[str, Any], merged: Mapping[str, Any]) -> str:
    """What was taken for a wish that nobody had, beside figures that the file gives itself."""
    if one.key not in CHOSEN or not isinstance(own.get(one.key), Mapping):
        return words
    entry = merged[one.key].get("use")
    return (f"{CHOOSE}: {entry}, a bundled one, for what [{one.key}] leaves open" if entry
            else f"{CHOOSE}: none, all figures are those of [{one.key}]")  # fmt: skip


GRID_KINDS = {"outage_h": ("random",), "grid_w": ("always", "timetable", "rota", "random")}
"""Kinds of grid of which a field asks something."""


def _there(one: Field, tables: Mapping[str, Any]) -> bool:
    """Whether the site has what a field asks about: no outages of a grid that is not there."""
    grid = tables["grid"]
    kind = grid.get("kind") if isinstance(grid, Mapping) else None
    return one.key not in GRID_KINDS or kind in GRID_KINDS[one.key]


def _own(one: Field, own: Mapping[str, Any]) -> bool:
    """Whether a table beside [survey] gives what a field asks."""
    return bool(one.path) and all(_given(own, tuple(path.split("."))) for path in one.path)


def _given(own: Any, loc: Loc) -> bool:
    for part in loc:
        if not isinstance(own, Mapping) or part not in own:
            return False
        own = own[part]
    return True


def _kept(places: Mapping[Loc, str], own: Mapping[str, Any]) -> dict[Loc, str]:
    """The places without those that the file's own tables give."""
    return {loc: where for loc, where in places.items()
            if not _given(own, tuple(part for part in loc if isinstance(part, str)))}


def default_value(key: str) -> float | str:
    """What the list takes where a field is empty: its number or text."""
    one = by_key()[key]
    return float(one.default) if one.kind == "number" else one.default


def _number(values: Mapping[str, Value], key: str) -> float:
    return float(str(values.get(key, default_value(key))))


def place_of(values: Mapping[str, Value]) -> tuple[float, float, str]:
    """Latitude and longitude [deg] and time zone of a site, those not given by their rule."""
    zone = str(values.get("time_zone", ""))
    town = towns().get(zone)
    north, east = (values.get(key) for key in PLACE_KEYS[:2])
    if north is None:
        north = town[0] if town else default_value("latitude_deg")
    if not zone:
        zone = str(default_value("time_zone")) if east is None else _hours(float(str(east)))
    if east is None:
        east = town[1] if town else default_value("longitude_deg")
    return float(str(north)), float(str(east)), zone


def _hours(east_deg: float) -> str:
    """The whole hours of a longitude as a time zone."""
    hours = round(east_deg / 15.0)
    return f"UTC{'-' if hours < 0 else '+'}{abs(hours):02d}:00"


def _site(values: Mapping[str, Value]) -> Table:
    north, east, zone = place_of(values)
    site = {"name": values.get("name", default_value("name")), "latitude_deg": north,
            "longitude_deg": east, "elevation_m": _number(values, "elevation_m"),
            "time_zone": zone}  # fmt: skip
    if "customer" in values:
        site["customer"] = values["customer"]
    return {"site": site, "weather": _weather(values)}


def _weather(values: Mapping[str, Value]) -> Table:
    own_place = "time_zone" in values or all(key in values for key in PLACE_KEYS[:2])
    source = values.get("weather", "download" if own_place else default_value("weather"))
    return {"source": source} | ({"year": DOWNLOADED_YEAR} if source == "download" else {})


def _roof(values: Mapping[str, Value]) -> Table:
    north = place_of(values)[0]
    sunward = 180.0 if north >= 0.0 else 0.0
    slope = float(str(values.get("roof_slope_deg", 0.0)))
    falls = float(str(values.get("roof_azimuth_deg", sunward)))
    roof: Table = {"length_m": _number(values, "roof_length_m"),
                   "depth_m": _number(values, "roof_depth_m"), "azimuth_deg": falls}  # fmt: skip
    if "roof_slope_deg" in values:
        roof["slope_deg"] = slope
    if boxes := values.get("obstacles"):
        roof["obstacles"] = [obstacle_table(str(line)) for line in boxes]  # type: ignore[union-attr]
    array: Table = {"mounting": "small-gap", "tilt_deg": slope, "azimuth_deg": falls}
    if roof_kind(values) == "flat slab":
        aside = abs((falls - sunward + 180.0) % 360.0 - 180.0)
        array = {"mounting": "open-frame", "azimuth_deg": falls if aside <= 45.0 else sunward,
                 "tilt_deg": min(max(round(abs(north)), FRAME_DEG[0]), FRAME_DEG[1])}  # fmt: skip
    horizon = {"horizon": horizon_table(str(values["horizon"]))} if "horizon" in values else {}
    return {"roof": roof, "array": array, **horizon}


def roof_kind(values: Mapping[str, Value]) -> str:
    """Kind of the roof; where nobody says, by its slope."""
    slope = float(str(values.get("roof_slope_deg", 0.0)))
    return str(values.get("roof_kind", "flat slab" if slope <= FLAT_DEG else "metal sheet"))


def _sources(values: Mapping[str, Value]) -> Table:
    hours = _number(values, "grid_h_per_day")
    grid: Table = {"kind": "none" if hours <= 0.0 else "always" if hours >= 24.0 else "random"}
    if grid["kind"] == "random":
        grid["outage_h_per_day"] = 24.0 - hours
        if "outage_h" in values:
            grid["mean_outage_h"] = values["outage_h"]
    tables: Table = {"grid": grid}
    if "generator_w" in values:
        tables["generator"] = {"power_w": values["generator_w"]}
    if "phases" in values:
        tables["loads"] = {"phases": int(str(values["phases"]))}
        if tables["loads"]["phases"] == 2:
            tables["supply"] = {"ac_voltage_v": float(SPLIT_V)}
    return tables


_AS_IT_STANDS = ("grid_w", "roof_to_room_m", "room_to_board_m", "inverter_board_m",
                 "earthing_system", "soil_kind", "basic_wind_m_per_s", "fixing_uplift_kn",
                 "language", "currency")  # fmt: skip


def _rest(values: Mapping[str, Value]) -> Table:
    tables: Table = {}
    for key in _AS_IT_STANDS:
        if key in values:
            (path,) = by_key()[key].path
            tables = put_in(tables, _nested(path.split("."), values[key]))
    if "roof_kind" in values:  # not where nobody said: fixings are chosen by it
        tables = put_in(tables, {"structure": {"covering": COVERING[str(values["roof_kind"])]}})
    height_m = _top_m(values)
    if height_m > 0.0:
        tables = put_in(tables, {"structure": {"height_m": height_m}})
    if "room_m" in values:
        sizes = sizes_of(str(values["room_m"]))
        tables["room"] = dict(zip(("length_m", "depth_m", "height_m"), sizes, strict=True))
    return tables


def _wishes(values: Mapping[str, Value], own: Mapping[str, Any], lists: Catalogue) -> Table:
    """Module and battery wished for; where nobody wishes, what fills in the file's own figures.

    A battery kind that the file gives takes an entry of that kind: the figures of another one
    (currents, levels, life) are not its own.
    """
    wished = {key: str(values.get(key, CHOOSE)) for key in CHOSEN}
    tables: Table = {key: {"use": CHOSEN[key] if one == CHOOSE else one}
                     for key, one in wished.items()}  # fmt: skip
    kind = own["battery"].get("chemistry") if isinstance(own.get("battery"), Mapping) else None
    if kind is not None and wished["battery"] == CHOOSE:
        entries = lists["batteries"]
        alike = [name for name in (CHOSEN["battery"], *entries)
                 if entries[name].values.get("chemistry") == kind]
        tables["battery"] = {"use": alike[0]} if alike else {}
    return tables


def _top_m(values: Mapping[str, Value]) -> float:
    """Top of the roof above the ground: its eaves and the rise of its slope [m]; 0: not known."""
    if "eaves_height_m" not in values:
        return 0.0
    slope = math.radians(float(str(values.get("roof_slope_deg", 0.0))))
    rise_m = _number(values, "roof_depth_m") * math.sin(slope)
    return round(float(str(values["eaves_height_m"])) + rise_m, 2)


def _nested(parts: Sequence[str], value: Value) -> Table:
    return {parts[0]: value if len(parts) == 1 else _nested(parts[1:], value)}


def _loads(answers: Answers, tables: Table, places: dict[Loc, str]) -> None:
    one = by_key()["loads"]
    lines = answers.values.get("loads") or read_value(one, one.default, "")
    assert isinstance(lines, tuple), "loads are lines"
    tables["loads"] = {**tables.get("loads", {}), **load_tables(lines)}
    for number, (board, row) in enumerate(load_places(lines)):
        places["loads", board, row] = answers.places.get(
            ("loads", number), places["loads", "essential"])


_UNSOUND = (KeyError, TypeError, ValueError, AttributeError, ZeroDivisionError, OverflowError)
"""What a first size of tables that are not sound may end in."""


def _sized(tables: Table, own: Mapping[str, Any], lists: Catalogue) -> Table:
    """A first size for the tables, which follows what the file gives itself."""
    entry = partial(_entry, tables, own, lists)
    return first_size(Asked(
        loads={board: tables["loads"].get(board, []) for board in BOARDS},
        roof=tables["roof"], module=entry("module", "modules"),
        battery=entry("battery", "batteries"),
        latitude_deg=tables["site"]["latitude_deg"],
        tilt_deg=tables["array"]["tilt_deg"], azimuth_deg=tables["array"]["azimuth_deg"],
        framed=tables["array"]["mounting"] == "open-frame",
        grid=tables["grid"]["kind"] != "none",
        **_outages(tables["grid"] if "grid" not in own else {}),
        generator_w=_generator_w(tables),
        phases=int(tables["loads"].get("phases", 1)),
        ghi_kwh_m2_day=tables["weather"].get("monthly", {}).get("ghi_kwh_m2_day", ()),
        planes=tables.get("planes", ()), room=tables.get("room", {}), own=own, lists=lists,
    ))  # fmt: skip


def _generator_w(tables: Table) -> float:
    """What the generator gives at the site's height on the hottest day [W]; 0 for none."""
    given = tables.get("generator", {})
    if not given.get("power_w", 0.0) > 0.0:
        return 0.0
    try:
        one = Generator.model_validate(given)
    except ValidationError:  # told with the site's other faults
        return 0.0
    return one.power_w * left_frac(one, elevation_m=tables["site"].get("elevation_m", 0.0))


def _outages(grid: Mapping[str, Any]) -> Table:
    """Hours without grid as `Asked` has them; of a grid that the file itself gives, nothing."""
    if grid.get("kind") == "always":
        return {"outage_h_per_day": 0.0}
    return {key: grid[key] for key in ("outage_h_per_day", "mean_outage_h") if key in grid}


def _entry(
    tables: Table, own: Mapping[str, Any], lists: Catalogue, name: str, listed: str
) -> Mapping[str, Any]:
    """Figures of a wished thing: of the lists, with those of the file."""
    found = lists[listed].get(str(tables[name].get("use")))
    return {**(found.values if found else {}), **dict(own.get(name, {}))}


def _defaults(values: Mapping[str, Value]) -> Iterator[tuple[Field, str]]:
    for one in fields():
        words = default_words(one, values)
        if one.key not in values and words:
            yield one, words


def default_words(one: Field, values: Mapping[str, Value] | None = None) -> str:
    """What is taken where a field is empty, in words.

    Parameters
    ----------
    one : Field
    values : mapping, optional
        The answers of the site, for what follows from them.
    """
    if values is not None and one.key in (*PLACE_KEYS[:2], "time_zone", "weather"):
        north, east, zone = place_of(values)
        town = " (that of the town of the time zone)" if "time_zone" in values else " (invented)"
        return {"latitude_deg": f"{north:g} degrees{town}",
                "longitude_deg": f"{east:g} degrees{town}", "time_zone": zone,
                "weather": " ".join(map(str, _weather(values).values()))}[one.key]  # fmt: skip
    if values is not None and one.key == "roof_kind":
        return roof_kind(values)
    if values is not None and one.key == "roof_azimuth_deg":
        return f"{_roof(values)['roof']['azimuth_deg']:g} degrees, towards the equator"
    said = one.otherwise or one.default or site_default(one)
    return f"{said} {one.unit}" if one.unit and _FIGURE.match(said) else said


_FIGURE = re.compile(r"^-?[\d.]+$")


def site_default(one: Field) -> str:
    """What the site file itself takes where a field gives it nothing."""
    found = []
    for path in one.path:
        table, *names = path.split(".")
        if table == "runs":
            found.append(f"{USUAL_RUNS[names[0]][0]:g}")
            continue
        record: Any = Site.model_fields[table].annotation
        value = record.model_fields[names[0]].default
        found.append(f"{value:g}" if isinstance(value, float | int) else str(value))
    return " x ".join(found)
