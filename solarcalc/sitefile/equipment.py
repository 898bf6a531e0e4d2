"""Equipment and appliances by key: `use = "KEY"` and `catalogue = "KEY"` are filled in."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.text import nearest
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Loc, Origins, plain, shown, where
from solarcalc.sitefile.chemistry import chemistries
from solarcalc.sitefile.renamed import by_todays_names
from solarcalc.sitefile.toml import read_toml

FILE = "appliances.toml"
KEYS = ("power_w", "power_factor", "surge_factor", "duty_frac")
"""What an entry holds; `about` beside them says in words what it is."""

_EITHER = {"surge_va": "surge_factor", "surge_factor": "surge_va"}


@dataclass(frozen=True, kw_only=True)
class Sink:
    """Where the filling of a site file puts what it finds.

    Parameters
    ----------
    refuse : callable
        Takes a place, what is given there, what is allowed and a remedy.
    origins : dict
        Place of each value taken from the catalogue, to where it stands there.
    broken : list
        Places of lines that could not be filled in.
    """

    refuse: Callable[[Loc, object, str, str], None]
    origins: dict[Loc, str]
    broken: list[Loc]


@cache
def appliance_catalogue() -> Mapping[str, Mapping[str, Any]]:
    """Entries of the bundled catalogue of appliances by key, in the order of the file."""
    return read_toml(data_folder() / FILE)


def fill_in_appliances(data: dict[str, Any], sink: Sink) -> None:
    """Put the figures of the catalogue into each line of `data` that names an entry of it.

    Values written in the line replace single ones of the entry; a `surge_va` there replaces the
    entry's `surge_factor`. A line whose key is not known is reported and marked as broken.
    """
    loads = data.get("loads")
    if not isinstance(loads, dict):
        return
    filled = dict(loads)
    for board, rows in loads.items():
        if isinstance(rows, list):
            filled[board] = [
                _filled(("loads", board, number), row, sink) if _asks(row) else row
                for number, row in enumerate(rows)
            ]
    data["loads"] = filled


def _asks(row: object) -> bool:
    return isinstance(row, dict) and "catalogue" in row


def _filled(loc: Loc, row: Mapping[str, Any], sink: Sink) -> dict[str, Any]:
    key = row["catalogue"]
    written = {name: value for name, value in row.items() if name != "catalogue"}
    entry = appliance_catalogue().get(key) if isinstance(key, str) else None
    if entry is None:
        known = appliance_catalogue()
        near = _nearest(key) if isinstance(key, str) else None
        sink.refuse(
            (*loc, "catalogue"),
            key,
            f"a key of {FILE}: " + ", ".join(known),
            f"did you mean {plain(near)}?" if near else "",
        )
        sink.broken.append(loc)
        return {"power_w": 0.0, **written}  # its one fault is said; power_w is not missing as well
    taken = {name: entry[name] for name in KEYS if name in entry and name not in written}
    for name in written:
        taken.pop(_EITHER.get(name, ""), None)
    for name in taken:
        sink.origins[(*loc, name)] = f"{FILE}: {key}.{name}"
    return {**taken, **written}


def _nearest(key: str) -> str | None:
    """The key most like a word, or the first one that holds one of its words."""
    words = re.findall(r"[a-z]{3,}", key.lower())
    held = (known for known in appliance_catalogue() if any(word in known for word in words))
    return nearest(key, appliance_catalogue()) or next(held, None)


LISTS = ("modules", "controllers", "inverters", "batteries")
"""The equipment lists: one bundled file each, one table each in a user's own file."""

PLACES: dict[Loc, str] = {
    ("module",): "modules",
    ("controller",): "controllers",
    ("inverter", "essential"): "inverters",
    ("inverter", "nonessential"): "inverters",
    ("battery",): "batteries",
}
"""Tables of a site file that may hold `use`, and the list each takes its entry from."""


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One entry of an equipment list: its values, its file and its table there."""

    values: Mapping[str, Any]
    file: str
    table: str


Catalogue = dict[str, dict[str, Entry]]
"""List name to key to entry."""


@dataclass(frozen=True, kw_only=True)
class Resolved:
    """A site file with its equipment filled in.

    Parameters
    ----------
    data : dict
        Tables of the site file without `use` and `equipment_files`.
    origins : Origins
    keys : mapping
        Table of the site file to the catalogue key it used.
    broken : tuple
        Tables that could not be filled in.
    faults : tuple of Fault
    examples : tuple of str
        Tables filled in from the invented lists.
    """

    data: dict[str, Any]
    origins: Origins
    keys: Mapping[str, str]
    broken: tuple[Loc, ...]
    faults: tuple[Fault, ...]
    examples: tuple[str, ...]


@dataclass
class _Work:
    """What is gathered on the way."""

    file: str
    faults: list[Fault] = field(default_factory=list)
    keys: dict[str, str] = field(default_factory=dict)
    equipment: dict[Loc, str] = field(default_factory=dict)
    entries: dict[Loc, str] = field(default_factory=dict)
    broken: list[Loc] = field(default_factory=list)
    unknown: list[tuple[str, object]] = field(default_factory=list)
    examples: list[str] = field(default_factory=list)

    def refuse(
        self, loc: Loc, given: object, allowed: str, remedy: str = "", *, why: str = ""
    ) -> None:
        self.faults.append(Fault(where=where(loc, Origins(file=self.file)), given=shown(given),
                                 allowed=allowed, why=why, remedy=remedy))


@cache
def bundled_equipment() -> Catalogue:
    """The invented, generic equipment lists that come with solarcalc."""
    folder = data_folder() / "equipment"
    return {name: _entries(read_toml(folder / f"{name}.toml"), f"{name}.toml") for name in LISTS}


def known_equipment(data: Mapping[str, Any], path: Path) -> Catalogue:
    """The lists of a site file, its own entries before bundled ones of the same key.

    Parameters
    ----------
    data : mapping
        The site file as read, without a fault in its lists.
    path : Path
        The site file.
    """
    own = _own_equipment(data.get("equipment_files", []), path, _Work(file=path.name))
    return {name: {**entries, **own.get(name, {})} for name, entries in bundled_equipment().items()}


def fill_in_equipment(data: Mapping[str, Any], path: Path, file: str) -> Resolved:
    """Site file with every `use = "KEY"` replaced by the entry of that key.

    Keys written beside `use` replace single values of the entry. An entry of the user's own
    lists stands before a bundled one of the same key.

    Parameters
    ----------
    data : mapping
        The site file as read.
    path : Path
        The site file; `equipment_files` are looked for from its folder.
    file : str
        What faults call it.

    Returns
    -------
    Resolved
        With a Fault for each list that cannot be read, each key that is not known and each
        battery kind that is not that of the entry beside it.
    """
    work = _Work(file=file)
    filled = {name: value for name, value in data.items() if name != "equipment_files"}
    own = _own_equipment(data.get("equipment_files", []), path, work)
    if isinstance(filled.get("planes"), list):
        filled["planes"] = [dict(row) if isinstance(row, dict) else row for row in filled["planes"]]
    if any("use" in table for _, table in _tables(filled)):
        lists = dict(bundled_equipment())
        for name, entries in own.items():
            lists[name] = {**lists[name], **entries}
        if isinstance(filled.get("inverter"), dict):
            filled["inverter"] = dict(filled["inverter"])
        for loc, table in _tables(filled):
            if "use" in table:
                _put(filled, loc, _filled_table(loc, table, lists[list_of(loc)], work))
    fill_in_appliances(filled, Sink(refuse=work.refuse, origins=work.equipment, broken=work.broken))
    origins = Origins(file=file, equipment=work.equipment, entries=work.entries)
    return Resolved(data=filled, origins=origins, keys=work.keys, broken=tuple(work.broken),
                    faults=tuple(work.faults), examples=tuple(work.examples))


def list_of(loc: Loc) -> str:
    """The list that a table takes its entry from; that of a plane as that of the site."""
    return PLACES[loc[2:] if loc[0] == "planes" else loc]


def _tables(data: Mapping[str, Any]) -> list[tuple[Loc, dict[str, Any]]]:
    found: list[tuple[Loc, dict[str, Any]]] = []
    planes = data.get("planes")
    rows = range(len(planes)) if isinstance(planes, list) else ()
    for loc in (*PLACES, *(("planes", number, "controller") for number in rows)):
        table: Any = data
        for part in loc:
            inside = isinstance(table, list) and isinstance(part, int)
            table = table[part] if inside else table.get(part) if isinstance(table, dict) else None
        if isinstance(table, dict):
            found.append((loc, table))
    return found


def _put(data: Any, loc: Loc, table: dict[str, Any] | None) -> None:
    for part in loc[:-1]:
        data = data[part]
    if table is None:
        del data[str(loc[-1])]
    else:
        data[str(loc[-1])] = table


def _filled_table(
    loc: Loc, table: Mapping[str, Any], entries: Mapping[str, Entry], work: _Work
) -> dict[str, Any] | None:
    key = table["use"]
    list_name = list_of(loc)
    entry = entries.get(key) if isinstance(key, str) else None
    if entry is None:
        near = nearest(key, entries) if isinstance(key, str) else None
        if loc[0] != "planes" or (list_name, key) not in work.unknown:  # a plane takes over its key
            work.refuse(
                (*loc, "use"),
                key,
                f"a key of the {list_name}: " + ", ".join(plain(name) for name in sorted(entries)),
                (f"did you mean {plain(near)}? " if near else "") + "Of another make: enter its"
                " data sheet as keys of this table, or in a list of yours, equipment_files",
            )
        work.unknown.append((list_name, key))
        work.broken.append(loc)
        return None
    written = {name: value for name, value in table.items() if name != "use"}
    stands = f"{entry.file}: {entry.table}"
    values, renamed = by_todays_names(
        entry.values, f"{stands}.", tuple(str(part) for part in loc if not isinstance(part, int)))
    work.faults += renamed
    for name in values:
        if name not in written:
            work.equipment[(*loc, name)] = f"{stands}.{plain(name)}"
    said, kind = (own.get("chemistry") for own in (written, values))
    left = [name for name in values if name not in (*written, "label")]
    if left and said not in (None, kind) and said in list(chemistries()):
        work.refuse((*loc, "chemistry"), said, **worded(
            "sitefile", "kind-of-another-entry", said=said, kind=kind, key=plain(str(key))))
    if (label := _changed_label(loc, str(key), values, written)) and "label" not in written:
        written["label"] = label
    work.entries[loc] = f"{plain(str(key))} of {entry.file}"
    work.keys[_dotted(loc)] = str(key)
    if entry is bundled_equipment()[list_name].get(str(key)):
        work.examples.append(_dotted(loc))
    return {**values, **written}


def _dotted(loc: Loc) -> str:
    """A table as it is told: ``"inverter.essential"``, ``"planes[1].controller"``."""
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}"
                   for part in loc).lstrip(".")  # fmt: skip


_NAMES = {"module": "Module", "controller": "Charge controller", "inverter": "Inverter",
          "battery": "Battery"}  # fmt: skip


_HOW_IT_IS_USED = {"min_soc_frac", "nonessential_shed_frac", "nonessential_return_frac",
                   "room_c", "room_swing_frac", "room_above_k"}  # fmt: skip
"""Keys of [battery] that say how a battery is used and where it stands, not what it is."""


def _changed_label(
    loc: Loc, key: str, values: Mapping[str, Any], written: Mapping[str, Any]
) -> str:
    """What a thing is called of which figures are not those of its entry; empty where all are.

    It is another thing than that of the list, so it is neither named nor priced as that one.
    Levels that its devices are set to, and its room, make it no other thing.
    """
    names = [name for name, value in written.items()
             if name in values and value != values[name] and name not in _HOW_IT_IS_USED]
    if not names:
        return ""
    kind = _NAMES[str(loc[-1] if loc[0] == "planes" else loc[0])]
    return f"{kind}, not as {plain(key)}: own {', '.join(names)}"[:120]


def _own_equipment(files: object, path: Path, work: _Work) -> Catalogue:
    own: Catalogue = {name: {} for name in LISTS}
    if not isinstance(files, list) or not all(isinstance(name, str) and name for name in files):
        work.refuse(("equipment_files",), files, 'a list of file names, ["my.toml"]')
        return own
    for place, name in enumerate(files):
        try:
            tables = read_toml(path.parent / name, quoted=False)
        except InputError as error:
            for fault in error.faults:
                work.refuse(
                    ("equipment_files", place),
                    name,
                    "an equipment list, path from the site file's folder",
                    fault.remedy,
                    why=f"{fault.where}: {fault.given} (allowed: {fault.allowed})",
                )
            continue
        _add_own(own, tables, plain(Path(name).name), work)
    return own


def _add_own(own: Catalogue, tables: Mapping[str, Any], file: str, work: _Work) -> None:
    for list_name, entries in tables.items():
        if list_name not in LISTS or not isinstance(entries, dict):
            near = nearest(list_name, LISTS)
            work.faults.append(
                Fault(
                    where=f"{file}: {plain(list_name) if near else 'a table of another name'}",
                    given=shown(entries) if near else "no list of equipment",
                    allowed="tables " + ", ".join(f"[{name}.KEY]" for name in LISTS),
                    remedy=f"did you mean [{near}.KEY]?" if near else "",
                )
            )
            continue
        found = _entries(entries, file, prefix=f"{list_name}.")
        for key in sorted(found.keys() & own[list_name].keys()):
            work.faults.append(
                Fault(where=f"{file}: {list_name}.{plain(key)}",
                      given=f"the key {plain(key)} again, after {own[list_name][key].file}",
                      allowed="each key once in all equipment_files",
                      remedy="change the key of one of the two")
            )
        own[list_name].update(found)


def _entries(tables: Mapping[str, Any], file: str, prefix: str = "") -> dict[str, Entry]:
    return {
        key: Entry(values=values, file=file, table=prefix + plain(key))
        for key, values in tables.items()
        if isinstance(values, dict)
    }
