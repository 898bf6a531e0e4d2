"""What a field of the site file may hold and what is wrong with it, in plain words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal, get_args, get_origin

import annotated_types as limits
from pydantic import ValidationError
from pydantic.fields import FieldInfo

from solarcalc.basis.errors import Fault
from solarcalc.basis.quantity import UNITS
from solarcalc.basis.text import nearest
from solarcalc.sitefile.base import Loc, Origins, is_record, plain, shown, type_at, where
from solarcalc.sitefile.chemistry import FILE as CHEMISTRIES
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wiring import METHODS_FILE, Runs

_SAID = UNITS | {
    "deg": "degrees", "pct_per_k": "% per kelvin", "kwh_m2_day": "kWh/m² a day", "megohm": "MΩ",
    "frac_per_month": "per month",
    **dict.fromkeys(("frac", "months", "kwh", "l", "per_kwh", "per_l", "l_per_h_per_kw"), ""),
}  # fmt: skip
"""Units as a fault says them: shares are given as such, money in its own currency."""
_BY_LENGTH = sorted(_SAID, key=len, reverse=True)
_EXTRA_KEYS: dict[str, tuple[str, ...]] = {
    "": ("equipment_files", "base"),
    "module": ("use",),
    "controller": ("use",),
    "planes.controller": ("use",),
    "battery": ("use",),
    "inverter.essential": ("use",),
    "inverter.nonessential": ("use",),
    "loads.essential": ("catalogue",),
    "loads.nonessential": ("catalogue",),
}


def type_in_site(loc: Loc) -> tuple[Any, FieldInfo | None]:
    """Type at a place in the site file, and its field where it has one."""
    return type_at(loc, Site)


def known_keys(table: Loc) -> tuple[str, ...]:
    """Keys that a table of the site file may hold."""
    annotation, _ = type_in_site(table)
    own = tuple(annotation.model_fields) if is_record(annotation) else ()
    return own + _extra_keys(table)


def _extra_keys(table: Loc) -> tuple[str, ...]:
    """Keys of a table that are filled in before its record is made."""
    return _EXTRA_KEYS.get(".".join(str(part) for part in table if not isinstance(part, int)), ())


def allowed_words(loc: Loc) -> str:
    """What may stand at a place in the site file: ``"a number from 0 to 1"``."""
    annotation, info = type_in_site(loc)
    name = next((part for part in reversed(loc) if isinstance(part, str)), "")
    metadata = info.metadata if info is not None else []
    if is_record(annotation):
        of_list = bool(loc) and isinstance(loc[-1], int)
        return f"a table, [[{_dotted(loc)}]]" if of_list else f"a table, [{_dotted(loc)}]"
    if name == "chemistry":
        return f"a battery kind of data/{CHEMISTRIES}"
    if name == "method":
        return f"a method of data/{METHODS_FILE}"
    if get_origin(annotation) is Literal:
        return "one of " + ", ".join(str(choice) for choice in get_args(annotation))
    if get_origin(annotation) is dict:
        return 'a table, { our_name = "name in the file" }'
    if get_origin(annotation) is list:
        inner = get_args(annotation)[0]
        if is_record(inner):
            return f"a list of tables, [[{_dotted(loc)}]]"
        kinds = {int: "whole numbers", float: "numbers"}
        least, most = _lengths(metadata)
        exact = [str(most)] if most is not None else []
        unit = _unit_of(name) if inner in kinds else ""
        return " ".join(["a list of", *exact, kinds.get(inner, "texts in quotes")]) + (
            f", in {unit}" if unit else "") + (
            f", at least {least}" if least and most is None else "")
    if annotation is bool:
        return "true or false"
    if annotation in (int, float):
        return _number_words(annotation, metadata, name)
    return _text_words(metadata)


def _text_words(metadata: Sequence[Any]) -> str:
    least, most = _lengths(metadata)
    return "text in quotes" if most is None else f"text in quotes, {least} to {most} characters"


def _lengths(metadata: Sequence[Any]) -> tuple[int, int | None]:
    """Shortest and longest, None for no limit."""
    least = next((item.min_length for item in metadata if isinstance(item, limits.MinLen)), 0)
    most = next((item.max_length for item in metadata if isinstance(item, limits.MaxLen)), None)
    return least, most


def _number_words(kind: type, metadata: Sequence[Any], name: str) -> str:
    words = "a whole number" if kind is int else "a number"
    found = {type(item): item for item in metadata}
    low = high = ""
    if limits.Ge in found:
        low = f" from {found[limits.Ge].ge:.15g}"
    elif limits.Gt in found:
        low = f" above {found[limits.Gt].gt:.15g}"
    joint = " to" if limits.Ge in found else " up to"
    if limits.Le in found:
        high = f"{joint} {found[limits.Le].le:.15g}"
    elif limits.Lt in found:
        high = f"{joint} below {found[limits.Lt].lt:.15g}"
    steps = f", in steps of {found[limits.MultipleOf].multiple_of:g}" if (
        limits.MultipleOf in found) else ""
    unit = _unit_of(name)
    return words + low + high + (unit and f"{' ' if low or high else ', in '}{unit}") + steps


def _unit_of(name: str) -> str:
    """Unit of a key as it is said; none for a share, a count or money."""
    return next((_SAID[end] for end in _BY_LENGTH if name.endswith("_" + end)), "")


def _dotted(loc: Loc) -> str:
    return ".".join(plain(str(part)) for part in loc if not isinstance(part, int))


def faults_of(
    error: ValidationError, *, origins: Origins, data: Mapping[str, Any], skip: Sequence[Loc] = ()
) -> list[Fault]:
    """Every complaint of the validation as a Fault; `skip` names tables already faulted."""
    return [
        _fault(item["type"], item["loc"], item["input"], item.get("ctx", {}), origins, data)
        for item in error.errors(include_url=False)
        if item["loc"] not in skip and not follows(item)
    ]


def follows(item: Mapping[str, Any]) -> bool:
    """Whether a complaint is of a table that is not there and would be as one with a fault is."""
    return bool(item["type"] == "default_factory_not_called")


def _fault(
    kind: str, loc: Loc, given: object, context: Mapping[str, Any], origins: Origins,
    data: Mapping[str, Any],
) -> Fault:  # fmt: skip
    place = where(loc, origins, data)
    if kind == "missing":
        return Fault(where=place, given="nothing", allowed=allowed_words(loc), why=_meaning(loc),
                     remedy=_remedy_missing(loc, origins))
    if kind == "extra_forbidden":
        return Fault(where=place, given=f"the key {plain(str(loc[-1]))} = {shown(given)}",
                     allowed=f"in {_table_words(loc[:-1])}: " + ", ".join(known_keys(loc[:-1])),
                     why="no such key here", remedy=_remedy_unknown(loc))
    allowed = str(context["error"]) if kind == "value_error" else allowed_words(loc)
    return Fault(where=place, given=shown(given), allowed=allowed, why=_meaning(loc),
                 remedy=_remedy_type(kind, given))


def _meaning(loc: Loc) -> str:
    _, info = type_in_site(loc)
    return info.description or "" if info is not None else ""


def _table_words(table: Loc) -> str:
    names = _dotted(table)
    if not names:
        return "the top of the file"
    return f"[[{names}]]" if isinstance(table[-1], int) else f"[{names}]"


def _remedy_missing(loc: Loc, origins: Origins) -> str:
    annotation, _ = type_in_site(loc)
    if is_record(annotation):
        return f"add the table [{_dotted(loc)}]"
    line = f"{loc[-1]} = ..."
    table = _table_words(loc[:-1])
    if loc[:-1] in origins.entries:
        return f"add {line} to {table}, or to {origins.entries[loc[:-1]]}"
    if "use" in _extra_keys(loc[:-1]):
        return f'add {line} to {table}, or use a complete entry with use = "KEY"'
    if "catalogue" in _extra_keys(loc[:-1]) and loc[-1] == "power_w":
        return f'add {line} to {table}, or use an entry with catalogue = "KEY"'
    return f"add {line} to {table}"


def _remedy_unknown(loc: Loc) -> str:
    word, table = str(loc[-1]), loc[:-1]
    homes = [home for home in _TABLES if word in known_keys(home)]
    if homes:
        return f"{plain(word)} belongs in " + " or ".join(_table_words(home) for home in homes)
    near = nearest(word, known_keys(table))
    if near is not None:
        return f"did you mean {near}?"
    return "delete it, or use one of the keys above"


def _remedy_type(kind: str, given: object) -> str:
    if isinstance(given, str) and kind in ("float_type", "int_type"):
        try:
            float(given)
        except ValueError:
            return ""
        return "enter the number without quotes"
    if (isinstance(given, float) and kind == "int_type" and given.is_integer()
            and abs(given) < _EXACT):
        return f"enter {given:.0f}, without a decimal point"
    return ""


_EXACT = 1e15
"""Whole numbers beyond it are slips: none is asked for, and not each has a float of its own."""
_TABLES: tuple[Loc, ...] = (
    *((name,) for name in Site.model_fields),
    ("weather", "monthly"),
    ("grid", "timetable", 0),
    ("places", 0),
    ("planes", 0),
    ("variants", 0),
    ("programme", "tasks", 0),
    *(("runs", name) for name in Runs.model_fields),
    ("inverter", "essential"),
    ("inverter", "nonessential"),
    ("roof", "obstacles", 0),
    ("roof", "walkways", 0),
    ("roof", "neighbours", 0),
    ("loads", "essential", 0),
    ("loads", "nonessential", 0),
)
