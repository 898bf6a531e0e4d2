"""What one key of the site file may be: kind, limits, unit, words; its value and how it is changed.

A key is written as faults name it: ``"array.tilt_deg"``, ``"runs.dc_main.length_m"``, rows of a
list counted from 1, ``"loads.essential[2].count"``.
"""

from __future__ import annotations

import copy
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal, get_args, get_origin

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.quantity import words_and_unit
from solarcalc.basis.text import nearest
from solarcalc.sitefile.base import Loc, is_record, shown, type_at, unwrapped
from solarcalc.sitefile.equipment import PLACES
from solarcalc.sitefile.guessed import guesses
from solarcalc.sitefile.site import Site

Kind = Literal["number", "whole", "choice", "tick", "text"]


@dataclass(frozen=True, kw_only=True)
class Key:
    """A key of the site file.

    Parameters
    ----------
    key : str
        As it is written.
    loc : tuple
        Its place: names of tables and keys, places of rows counted from 0.
    label, unit : str
        In words: ``"array: tilt"``, ``"°"``; a share is ``"0 to 1"``.
    kind : {"number", "whole", "choice", "tick", "text"}
    low, high : float
        Limits of the record; infinite where it has none.
    above, below : bool
        Whether the limit itself is refused.
    options : tuple of str
        Of a choice.
    """

    key: str
    loc: Loc
    label: str
    unit: str
    kind: Kind
    low: float = -math.inf
    high: float = math.inf
    above: bool = False
    below: bool = False
    options: tuple[str, ...] = ()


_PART = re.compile(r"([^\[\]]+)(?:\[([1-9]\d*)\])?")


def loc_of(key: str) -> Loc:
    """Place of a key as it is written, rows counted from 0.

    Examples
    --------
    >>> loc_of("loads.essential[2].count")
    ('loads', 'essential', 1, 'count')
    """
    loc: list[int | str] = []
    for part in key.split("."):
        found = _PART.fullmatch(part)
        loc += [part] if found is None else [found[1]]
        if found is not None and found[2]:
            loc.append(int(found[2]) - 1)
    return tuple(loc)


_USED: Mapping[int | str, str] = {
    "module": "module type", "controller": "charge controller", "battery": "battery type",
    "essential": "inverter, essential board", "nonessential": "inverter, non-essential board",
}  # fmt: skip


def is_use(loc: Loc) -> bool:
    """Whether a place is the `use` of a table that takes an entry of an equipment list."""
    table = loc[2:-1] if loc[:1] == ("planes",) else loc[:-1]
    return loc[-1:] == ("use",) and table in PLACES


def key_of(key: str) -> Key:
    """Kind and limits of a key, by the record; which entries `use` may name is not said here.

    Raises
    ------
    InputError
        For a key that the site file has not, or one that is a table or a list.
    """
    loc = loc_of(key)
    if is_use(loc):
        row = f"roof plane {int(loc[1]) + 2}, " if loc[0] == "planes" else ""
        return Key(key=key, loc=loc, label=f"{row}{_USED[loc[-2]]}", unit="", kind="choice")
    annotation, info = type_at(loc, Site)
    if annotation is None:
        known = [one for one in plain_keys() if not one.startswith("search.")]  # lists, all of them
        near = next((one for one in known if one.endswith(f".{key}")), nearest(key, known))
        remedy = f"did you mean {near}?" if near else ""
        raise InputError(Fault(where="control", given=shown(key), allowed="a key of the site file",
                               remedy="rows of a list count from [1]" if "[0]" in key else remedy))
    limits = list(info.metadata) if info is not None else []
    if get_origin(annotation) is Annotated:
        annotation, *held = get_args(annotation)
        limits += [one for each in held for one in getattr(each, "metadata", [each])]
    words, unit = _words(key, loc)
    bare = unwrapped(annotation)
    if bare is bool:
        return Key(key=key, loc=loc, label=words, unit="", kind="tick")
    if get_origin(bare) is Literal and all(isinstance(one, str) for one in get_args(bare)):
        return Key(key=key, loc=loc, label=words, unit="", kind="choice", options=get_args(bare))
    if bare is str:
        return Key(key=key, loc=loc, label=words, unit="", kind="text")
    if bare not in (int, float):
        raise InputError(Fault(where="control", given=shown(key),
                               allowed="a key with one value, no table or list",
                               remedy="name a row of a list by its number: [1]"))
    found: dict[str, Any] = {"kind": "whole" if bare is int else "number"}
    for limit in limits:
        for name, side, open_side in _LIMITS:
            if (value := getattr(limit, name, None)) is not None:
                found |= {side: float(value), "above" if side == "low" else "below": open_side}
    return Key(key=key, loc=loc, label=words, unit=unit, **found)


_LIMITS = (("ge", "low", False), ("gt", "low", True), ("le", "high", False), ("lt", "high", True))


def words_and_range(name: str) -> tuple[str, str]:
    """Words and unit of a name; a share, which has no unit, says from where to where it goes."""
    words, unit = words_and_unit(name)
    return words, "0 to 1" if name.endswith("_frac") else unit


LABELS: Mapping[str, str] = {
    "array.module_count": "number of modules", "array.tilt_deg": "array tilt",
    "array.azimuth_deg": "array azimuth", "array.row_pitch_m": "row pitch",
    "array.orientation": "module orientation", "battery.units_in_parallel": "battery strings in"
    " parallel", "battery.min_soc_frac": "minimum state of charge", "soil.kind": "soil type",
    "earthing.rod_count": "number of earth rods", "earthing.rod_length_m": "length of an earth rod",
    "runs.dc_main.ambient_c": "ambient, PV DC main cable",
    "cables.dc_drop_frac": "permitted voltage drop, DC", "losses.age_years": "age of the modules",
    "losses.mismatch_frac": "module mismatch loss", "programme.crew": "people in the crew",
    "soiling.loss_per_dry_day_frac": "soiling loss per dry day", "quote.margin_frac": "margin",
}  # fmt: skip
"""What a control calls a key that workbooks offer; any other is called by its table and name."""


def _words(key: str, loc: Loc) -> tuple[str, str]:
    """Label and unit: of `LABELS` or the list of guesses, else its name with its table."""
    *tables, name = (str(part) for part in loc)
    words, unit = words_and_range(name)
    if words.endswith(" per"):
        words, unit = words.removesuffix(" per"), f"per {unit}"
    known = LABELS.get(key) or next((one.label for one in guesses() if one.key == key), "")
    where = ", ".join(part.replace("_", " ") if not part.isdigit() else f"row {int(part) + 1}"
                      for part in tables)
    return known or (f"{where}: {words}" if where else words), unit


def plain_keys(record: Any = Site, before: str = "") -> Iterator[str]:
    """Keys of the tables of a record, tables in tables among them."""
    for name, info in record.model_fields.items():
        inner = unwrapped(info.annotation)
        if is_record(inner):
            yield from plain_keys(inner, f"{before}{name}.")
        else:
            yield f"{before}{name}"


def value_at(site: Site, key: Key) -> Any:
    """What a site has at a key; None where it leaves it to a default that depends.

    Raises
    ------
    InputError
        Where a list has no such row.
    """
    found: Any = site
    for part in key.loc:
        if found is None:
            return None
        if isinstance(part, int):
            if part >= len(found):
                raise InputError(Fault(where=f"control {key.key}", given=f"row {part + 1}",
                                       allowed=f"1 to {len(found)}"))
            found = found[part]
        else:
            found = getattr(found, part)
    return found


def changes_of(
    written: Mapping[str, Any], values: Mapping[Loc, Any]
) -> dict[str, dict[str, Any]]:
    """Changes of a site file that set keys; a list of tables is given whole, as files have it.

    Parameters
    ----------
    written : mapping
        The site file's tables.
    values : mapping of place to value
    """
    found: dict[str, Any] = {}
    for loc, value in values.items():
        at: Any = found
        own: Any = written
        for number, part in enumerate(loc[:-1]):
            after = loc[number + 1]
            own = _inside(own, part)
            if isinstance(part, int):
                at = at[part]
            elif isinstance(after, int):
                at = at.setdefault(part, copy.deepcopy(list(own or [])))
            else:
                at = at.setdefault(part, {})
        at[loc[-1]] = value
    return found


def _inside(tables: Any, part: int | str) -> Any:
    if isinstance(part, int):
        return tables[part] if isinstance(tables, list) and part < len(tables) else {}
    return tables.get(part, {}) if isinstance(tables, Mapping) else {}
