"""What differs: [[variants]] of a site file, and site files that are based on another one.

A variant, a file with ``base`` and the changes of a design say the same thing in the same shape:
tables with the keys that differ. All three are put into the tables of the file by `put_in`.
"""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PureWindowsPath
from typing import Any

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import brief
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import (
    FileName,
    Line,
    Loc,
    Name,
    Origins,
    Record,
    Sound,
    list_at,
    names_once,
    plain,
    shown,
    where,
)
from solarcalc.sitefile.changes import put_in
from solarcalc.sitefile.renamed import by_todays_names
from solarcalc.sitefile.toml import read_toml
from solarcalc.sitefile.weather import LIBRARY, NO_FILE

OWN = "as designed"
"""What the site itself is called beside its variants."""
BASE = "base"
MOST_FILES = 5
"""Site files in a chain of bases, the first one counted: more is a slip, not a plan."""
_NAME_LETTERS = 40
_FILES_NAMED: tuple[Loc, ...] = (
    ("equipment_files",), ("weather", "source"), ("quote", "price_list"), ("firm", "logo"),
    ("loads", "essential_profile"), ("loads", "nonessential_profile"),
    ("commissioning", "results"), ("logger", "file"), ("handover", "serials"),
)  # fmt: skip
"""Keys that name a file, from the folder of the site file they are written in."""


class Variant(Record):
    """[[variants]]: another system for the same site, to stand beside the first."""

    model_config = ConfigDict(extra="allow")

    name: Name
    words: Line = Field(default="", description="what it is for, in a few words")

    @property
    def tables(self) -> dict[str, Any]:
        """What differs: table of the site file to key to value."""
        return dict(self.model_extra or {})


def variant_key(name: str) -> str:
    """A name as it is looked for: whatever its case and spaces."""
    return " ".join(name.casefold().split())


def variant_file(file: str, name: str) -> str:
    """What the faults of a variant call it."""
    return f'{file}, variant "{brief(plain(name), _NAME_LETTERS)}"'


def rows_of(data: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Name and tables of each variant that has a name and tables."""
    rows = data.get("variants")
    for row in rows if isinstance(rows, list) else []:
        if isinstance(row, dict) and isinstance(row.get("name"), str):
            tables = {key: value for key, value in row.items()
                      if key not in ("name", "words", *_NOT_IN_ONE)}  # fmt: skip
            if tables:
                yield row["name"], tables


_NOT_IN_ONE = ("variants", BASE)


def variant_faults(sound: Sound) -> Iterator[Fault]:
    """Variants of one name, without a change, or with variants of their own."""
    for number, row in enumerate(list_at(sound, ("variants",))):
        if not isinstance(row, dict):
            continue
        place, name = ("variants", number), row.get("name", "")
        for key in _NOT_IN_ONE:
            if key in row:
                yield sound.fault((*place, key), row[key], **worded("sitefile", "variant-within"))
        if not row.keys() - {"name", "words"}:
            yield sound.fault((*place, "name"), name, **worded("sitefile", "variant-same"))
        if isinstance(name, str) and variant_key(name) == OWN:
            yield sound.fault((*place, "name"), name, **worded("sitefile", "variant-own"))
    yield from names_once(sound, ("variants",), "variant")


@dataclass(frozen=True, kw_only=True)
class Written:
    """A site file with the files it is based on.

    Parameters
    ----------
    tables : dict
        By today's names, those of the bases under its own.
    stands : dict
        For a value of a base: its path in the site file to ``"other.toml: array.tilt_deg"``.
    bases : tuple of Path
        The nearest first.
    faults : list of Fault
        For each old name.
    """

    tables: dict[str, Any]
    stands: dict[Loc, str]
    bases: tuple[Path, ...]
    faults: list[Fault]


def read_tables(path: Path) -> Written:
    """Tables of a site file, put into those of the file that its ``base`` names.

    Raises
    ------
    InputError
        As `read_toml`; for a base that is no relative path, cannot be read, is among the files
        that are based on it, or is one too many.
    """
    files = [(path, read_toml(path))]
    while BASE in files[-1][1]:
        files.append(_base_of(files))
    tables: dict[str, Any] = {}
    stands: dict[Loc, str] = {}
    faults: list[Fault] = []
    for one, data in reversed(files):
        own = {key: value for key, value in data.items() if key != BASE}
        own, renamed = by_todays_names(own, f"{plain(one.name)}: ")
        faults += renamed
        stands = still_there(stands, own)
        if one is not path:
            origins = Origins(file=one.name)
            stands |= {loc: where(loc, origins, own) for loc in _leaves(own, rows=True)}
        tables = put_in(tables, _from_folder(own, one.parent, path.parent))
    return Written(tables=tables, stands=stands, faults=faults,
                   bases=tuple(one for one, _ in files[1:]))  # fmt: skip


def still_there(stands: Mapping[Loc, str], tables: Mapping[str, Any]) -> dict[Loc, str]:
    """Of values and the files they stand in those that `tables` put over them do not replace."""
    said = set(_leaves(tables))
    return {loc: text for loc, text in stands.items()
            if not any(loc[:length] in said for length in range(1, len(loc) + 1))}


def _base_of(files: list[tuple[Path, dict[str, Any]]]) -> tuple[Path, dict[str, Any]]:
    """The file that the last of a chain is based on, with its tables."""
    last, data = files[-1]
    name, place = data[BASE], f"{plain(last.name)}: {BASE}"
    try:
        TypeAdapter(FileName).validate_python(name, strict=True)
    except ValidationError:
        raise _refused(place, name, worded("sitefile", "base-file")) from None
    if Path(name).is_absolute() or PureWindowsPath(name).anchor:
        raise _refused(place, name, worded("sitefile", "base-file"))
    path = Path(os.path.normpath(last.parent / name))
    met = [os.path.realpath(one) for one, _ in files]
    if os.path.realpath(path) in met:
        raise _refused(place, name, worded("sitefile", "base-circle"))
    if len(files) == MOST_FILES:
        raise _refused(place, name, worded("sitefile", "base-deep", most=MOST_FILES))
    try:
        return path, read_toml(path, quoted=False)
    except InputError as error:
        (fault,) = error.faults
        raise InputError(Fault(
            where=place, given=shown(name), remedy=fault.remedy,
            **worded("sitefile", "base-unread", file=fault.where, found=fault.given,
                     needed=fault.allowed))) from None  # fmt: skip


def _refused(place: str, name: object, words: Mapping[str, Any]) -> InputError:
    return InputError(Fault(where=place, given=shown(name), **words))


def _leaves(value: Any, loc: Loc = (), *, rows: bool = False) -> Iterator[Loc]:
    """Places of all that is no table; a list is one, or has those of its rows."""
    if isinstance(value, Mapping):
        for key, one in value.items():
            yield from _leaves(one, (*loc, key), rows=rows)
    elif rows and isinstance(value, list) and any(isinstance(one, Mapping) for one in value):
        for number, one in enumerate(value):
            yield from _leaves(one, (*loc, number), rows=rows)
    else:
        yield loc


def _from_folder(tables: dict[str, Any], own: Path, to: Path) -> dict[str, Any]:
    """Tables of a file in the folder `own` as they stand in one of the folder `to`."""
    if own == to:
        return tables
    found = tables
    for loc in _FILES_NAMED:
        table: Any = tables
        for part in loc[:-1]:
            table = table.get(part) if isinstance(table, Mapping) else None
        value = table.get(loc[-1]) if isinstance(table, Mapping) else None
        if value is not None:
            moved: Any = ([_moved(one, own, to) for one in value] if isinstance(value, list)
                          else _moved(value, own, to))
            for part in reversed(loc):
                moved = {part: moved}
            found = put_in(found, moved)
    rows = found.get("variants")
    if isinstance(rows, list):
        found = found | {"variants": [_from_folder(row, own, to) if isinstance(row, dict) else row
                                      for row in rows]}  # fmt: skip
    return found


def _moved(name: object, own: Path, to: Path) -> object:
    """The name of a file in the folder `own`, from the folder `to`."""
    if not isinstance(name, str) or not name or "\0" in name or name in NO_FILE:
        return name
    if name.startswith(LIBRARY) or Path(name).is_absolute() or not Path(name).suffix:
        return name  # without an ending it is the name of a bundled price list
    try:
        return Path(os.path.relpath(own / name, to)).as_posix()
    except ValueError:  # another drive of Windows
        return str(own / name)


def variant_entry(name: str, words: str, changes: Mapping[str, Any]) -> str:
    """The entry of [[variants]] that says changes, to be copied into the site file."""
    lines = ["[[variants]]", f"name = {_toml(name)}", f"words = {_toml(words)}"]
    return "\n".join([*lines, *toml_lines(changes)])


def toml_lines(tables: Mapping[str, Any], before: str = "") -> Iterator[str]:
    """The keys of tables with their values, a line each, as a site file may have them.

    Examples
    --------
    >>> list(toml_lines({"inverter": {"essential": {"count": 2}}}))
    ['inverter.essential.count = 2']
    """
    for key, value in tables.items():
        if isinstance(value, Mapping):
            yield from toml_lines(value, f"{before}{key}.")
        else:
            yield f"{before}{key} = {_toml(value)}"


def _toml(value: Any) -> str:
    """A value as TOML has it on one line."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return json.dumps(value, ensure_ascii=False)
