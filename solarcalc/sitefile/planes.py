"""Roof planes beside the first one: [[planes]], each with what differs from the site's own tables.

A plane says what is other on it; all else is as on the first plane, which is the site's own [roof],
[array], [controller] and so on. What stands on a roof or beside it is measured from that roof, so a
plane begins without obstacles, walkways and neighbours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from pydantic import BaseModel, Field

from solarcalc.basis.errors import Fault
from solarcalc.basis.text import safe_file_name
from solarcalc.basis.worded import worded
from solarcalc.sitefile.array import Array, array_faults
from solarcalc.sitefile.base import Loc, Name, Record, Sound, list_at
from solarcalc.sitefile.battery import tracking_faults
from solarcalc.sitefile.changes import put_in
from solarcalc.sitefile.place import Horizon
from solarcalc.sitefile.roof import Rails, Roof, roof_faults
from solarcalc.sitefile.structure import Structure, structure_faults
from solarcalc.sitefile.supply import Controller, controller_faults
from solarcalc.sitefile.wiring import CableRun

TABLE = "planes"
FIRST = "first plane"
"""What the site's own plane is called where [roof] has no name for it."""
PLANE_TABLES = ("horizon", "roof", "array", "rails", "structure", "controller", "runs")
"""Tables of the site file that may differ from plane to plane."""
_OF_ONE_ROOF = ("name", "obstacles", "walkways", "neighbours")
"""Keys of [roof] that no other plane shares."""


class PlaneRuns(Record):
    """[planes.runs.*]: the runs that each plane has of its own."""

    string: CableRun = Field(default_factory=CableRun)
    dc_main: CableRun = Field(default_factory=CableRun)
    controller_battery: CableRun = Field(default_factory=CableRun)


class Plane(Record):
    """[[planes]]: a roof plane beside the first, whole once the first's values are put under it."""

    name: Name
    horizon: Horizon = Field(default_factory=Horizon)
    roof: Roof
    array: Array
    rails: Rails = Field(default_factory=Rails)
    structure: Structure = Field(default_factory=Structure)
    controller: Controller
    runs: PlaneRuns = Field(default_factory=PlaneRuns)

    def with_main(self, main: CableRun, before: CableRun) -> Plane:
        """The plane with its main cable to another place of the power room.

        Parameters
        ----------
        main, before : CableRun
            The first plane's, at that place and by the site file.
        """
        own, longer_m = self.runs.dc_main, 0.0
        if own.length_m is not None and before.length_m is not None:
            longer_m = own.length_m - before.length_m
        moved = own.model_copy(update={
            "length_m": max((main.length_m or 0.0) + longer_m, LEAST_MAIN_M),
            **({"method": main.method} if own.method == before.method else {}),
        })  # fmt: skip
        return self.model_copy(update={
            "runs": self.runs.model_copy(update={"dc_main": moved})})  # fmt: skip


LEAST_MAIN_M = 1.0
"""Of a plane nearer to the power room than the first is; common practice, no source."""


def whole_plane(tables: Mapping[str, Any], row: Mapping[str, Any]) -> dict[str, Any]:
    """A row of [[planes]] with the site's own values under those that it gives.

    A controller of another kind (`use`) takes over nothing but the count.

    Parameters
    ----------
    tables : mapping
        Of the site file as written.
    row : mapping
        Its tables; whatever is no table stays as it is, for the validation to refuse.
    """
    found = dict(row)
    for table in PLANE_TABLES:
        own = tables.get(table)
        own = dict(own) if isinstance(own, Mapping) else {}
        given = row.get(table, {})
        if table == "roof":
            own = {key: value for key, value in own.items() if key not in _OF_ONE_ROOF}
        if table == "controller" and isinstance(given, Mapping) and "use" in given:
            own = {key: value for key, value in own.items() if key == "count"}
        if table == "runs":
            own = {key: value for key, value in own.items() if key in PlaneRuns.model_fields}
        if isinstance(given, Mapping) and (own or table in row):
            found[table] = put_in(own, dict(given))
    return found


def with_whole_planes(tables: Mapping[str, Any]) -> dict[str, Any]:
    """The tables of a site file with each plane whole."""
    rows = tables.get(TABLE)
    if not isinstance(rows, list):
        return dict(tables)
    return {**tables, TABLE: [whole_plane(tables, row) if isinstance(row, Mapping) else row
                              for row in rows]}  # fmt: skip


def tables_by_plane(tables: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Tables of the site file of each plane alone: the first's, then those beside it.

    Parameters
    ----------
    tables : mapping
        Of a sound site file as written.
    """
    alone = {key: value for key, value in tables.items() if key not in (TABLE, "variants")}
    found = [alone]
    for row in tables.get(TABLE, []):
        whole = whole_plane(tables, row)
        runs = {"runs": put_in(alone.get("runs", {}), whole["runs"])} if "runs" in whole else {}
        own = {key: value for key, value in whole.items() if key != "name"}
        roof = {**own["roof"], "name": row["name"]}
        found.append({**alone, **own, **runs, "roof": roof})
    return found


def plane_change(
    tables: Mapping[str, Any], number: int, changes: Mapping[str, Any], sites: Sequence[BaseModel]
) -> dict[str, Any]:
    """A change of the tables of one roof plane, as a change of the site file.

    Parameters
    ----------
    tables : mapping
        Of the site file as written.
    number : int
        The plane, 0 for the first, whose tables are the site's own; the others keep what they took
        over from it, and what they have of keys that the file leaves out.
    changes : mapping of table to mapping of key to value
    sites : sequence of Site
        The site plane by plane (`Site.sites`). What is None there, as it follows from the design,
        cannot be kept: the caller puts in what stands.
    """
    rows = list(tables.get(TABLE, []))
    if not rows:
        return dict(changes)
    if number:
        rows[number - 1] = put_in(rows[number - 1], dict(changes))
        return {TABLE: rows}
    kept = {table: {key: tables[table][key] for key in keys if key in tables.get(table, {})}
            for table, keys in changes.items() if table in PLANE_TABLES}  # fmt: skip
    return {**changes, TABLE: [
        put_in(put_in(_standing(site, {key: changes[key] for key in kept}), kept), row)
        for site, row in zip(sites[1:], rows, strict=True)]}


def _standing(record: BaseModel, changes: Mapping[str, Any]) -> dict[str, Any]:
    """What a record has at the keys of a change; nothing of what it leaves to the design."""
    found = {}
    for key, value in changes.items():
        own = getattr(record, key, None)
        if isinstance(value, Mapping) and isinstance(own, BaseModel):
            found[key] = _standing(own, value)
        elif own is not None:
            found[key] = own
    return found


@dataclass(frozen=True, kw_only=True)
class PlaneDoubt:
    """What a plane is found at fault with, seen against what the site itself is.

    Parameters
    ----------
    written : mapping
        Tables of the site file, planes not yet whole.
    bad : sequence of tuple
        Places of the site file that the validation complained about.
    """

    written: Mapping[str, Any]
    bad: Sequence[Loc]

    def inherited(self, loc: Loc) -> bool:
        """Whether a complaint about a plane is one about the site's own table, told already."""
        return (loc[:1] == (TABLE,) and len(loc) > 2 and loc[2:] in self.bad
                and not self.gives(loc))

    def gives(self, loc: Loc) -> bool:
        """Whether a plane itself has the value at a place below it."""
        value: Any = self.written
        for part in loc:
            here = value if isinstance(value, Mapping) else dict(enumerate(
                value if isinstance(value, list) else ()))  # fmt: skip
            if part not in here:
                return False
            value = here[part]
        return True


_OF_A_PLANE: tuple[Callable[[Sound], Iterator[Fault]], ...] = (
    array_faults, roof_faults, structure_faults, controller_faults, tracking_faults,
)


def plane_faults(sound: Sound, written: Mapping[str, Any], root: type[BaseModel]) -> list[Fault]:
    """Names given twice; contradictions within a plane that the site itself has not.

    Parameters
    ----------
    sound : Sound
        Of the whole site file, planes whole.
    written : mapping
        Its tables, planes not yet whole.
    root : type of record
        The record of a site file.
    """
    faults = [*_names(sound), *_one_bank(sound)]
    rows = written.get(TABLE)
    for number, row in enumerate(list_at(sound, (TABLE,))):
        given = rows[number] if isinstance(rows, list) and isinstance(row, Mapping) else None
        if not isinstance(given, Mapping):
            continue
        prefix: Loc = (TABLE, number)
        data = {**sound.data, **{key: row[key] for key in PLANE_TABLES if key in row}}
        bad = [loc[2:] for loc in sound.bad if loc[:2] == prefix and len(loc) > 2]
        bad += [loc for loc in sound.bad if loc[:1] and loc[0] not in PLANE_TABLES]
        if prefix in sound.bad:
            continue
        one = _PlaneSound(data, bad, replace(sound.origins, within=prefix, of=PLANE_TABLES), root)
        one.given_tables = frozenset(given)
        faults += [fault for check in _OF_A_PLANE for fault in check(one) if fault in one.told]
    return faults


class _PlaneSound(Sound):
    """Values of a plane; it notes the faults that stand in a table the plane itself gives."""

    given_tables: frozenset[str] = frozenset()

    def __init__(self, *args: Any) -> None:
        super().__init__(*args)
        self.told: list[Fault] = []

    def fault(
        self, loc: Sequence[str | int], given: object, allowed: str, why: str, remedy: str = ""
    ) -> Fault:
        """A Fault at a place of the plane; of its bank, where its controller is its own."""
        found = super().fault(loc, given, allowed, why, remedy)
        table = "controller" if loc[0] == "battery" else loc[0]
        if table in self.given_tables:
            self.told.append(found)
        return found


def _names(sound: Sound) -> Iterator[Fault]:
    """Names that say no more than another one, that of the first plane among them.

    Parts, sheets and accepted checks are told apart by them.
    """
    rows = list_at(sound, (TABLE,))
    roof = sound.data.get("roof")
    own = (roof.get("name") if isinstance(roof, Mapping) else None) or FIRST
    first = {plane_slug(own): "the first plane"} if rows and isinstance(own, str) else {}
    for number, row in enumerate(rows):
        name = row.get("name") if isinstance(row, Mapping) else None
        if not isinstance(name, str):
            continue
        key = plane_slug(name)
        if key in first:
            yield sound.fault((TABLE, number, "name"), name, **worded(
                "sitefile", "plane-of-one-name", other=first[key]))
        roof = row.get("roof")
        if isinstance(roof, Mapping) and "name" in roof:
            yield sound.fault((TABLE, number, "roof", "name"), roof["name"],
                              **worded("sitefile", "plane-named-twice"))
        first.setdefault(key, f"plane {number + 1}")


def plane_slug(name: str) -> str:
    """A name as planes are told apart by: whatever its case, spaces and marks."""
    return safe_file_name(name)


def _one_bank(sound: Sound) -> Iterator[Fault]:
    """Several planes charge one bank."""
    if list_at(sound, (TABLE,)) and sound.get("supply", "layout") == "separate-banks":
        yield sound.fault(("supply", "layout"), "separate-banks",
                          **worded("sitefile", "planes-on-two-banks"))
