"""Changes to a site file, given as tables of plain values, put into what the file says."""

from __future__ import annotations

import datetime
import numbers
from collections.abc import Mapping
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.sitefile.base import plain, shown
from solarcalc.sitefile.battery import INSTEAD, OF_ITS_SHEET, WHAT_IT_IS

_DEEPEST = 12
_MOST_BITS = 64
_VALUES = "a number, a text, true, false, a list or a table"


def changed_tables(
    written: Mapping[str, Any], changes: Mapping[str, Any], file: str
) -> dict[str, Any]:
    """The tables of a site file with the values of `changes` in place of their own.

    Parameters
    ----------
    written : mapping
        Tables as the site file has them.
    changes : mapping of table to mapping of key to value
        A value of None leaves the file's own.
    file : str
        What stands before a key in a fault, such as ``"shop.toml, as changed"``.

    Raises
    ------
    InputError
        With a fault for each thing that a site file could not hold: no table, a key that is no
        text, tables in themselves, a value that is neither number, text, date, list nor table.
    """
    where = f"{file}: changes"
    wrong = {where: changes} if not isinstance(changes, Mapping) else {
        f"{where}: {_key(key)}": value for key, value in changes.items()
        if not isinstance(value, Mapping | list)
    }  # fmt: skip
    faults = [
        Fault(where=place, given=_given(value),
              allowed='tables with their keys, {"array": {"tilt_deg": 15.0}}')
        for place, value in wrong.items()
    ]  # fmt: skip
    found = {} if faults else _plain(changes, where, 0, faults)
    if faults:
        raise InputError(faults)
    return put_in(written, found)


def put_in(own: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    """Tables with the values of others in place of their own, lists whole; None changes nothing.

    A value rules out those that it cannot stand beside: of the battery's room, of the gap under
    modules, of what a search tries. Another entry of an equipment list (`use`) keeps what is told
    of the place, not of the thing; another battery has no figure of the data sheet of the one
    before it.
    """
    found = dict(own)
    if _another(own.get("battery"), changes.get("battery")):
        for other, names in OF_ITS_SHEET.items():
            if isinstance(found.get(other), Mapping):
                found[other] = {name: one for name, one in found[other].items()
                                if name not in names}  # fmt: skip
    for (table, name, said), axes in NOT_SEARCHED.items():
        if isinstance(found.get("search"), Mapping) and _says(changes, table, name) == said:
            found["search"] = {key: one for key, one in found["search"].items() if key not in axes}
    for key, value in changes.items():
        if isinstance(value, dict):
            there = found.get(key)
            kept = there if isinstance(there, Mapping) else {}
            found[key] = put_in(_beside(key, kept, value), value)
        elif value is not None:
            found[key] = value
    return found


NOT_SEARCHED: Mapping[tuple[str, str, str], tuple[str, ...]] = {
    ("array", "mounting", "flush"): ("tilt_deg", "azimuth_deg"),
    ("supply", "layout", "one-inverter"): ("inverter_nonessential",),
}
"""What a search cannot try beside a value of table and key."""


def _says(tables: Mapping[str, Any], table: str, key: str) -> object:
    found = tables.get(table)
    return found.get(key) if isinstance(found, Mapping) else None


STAYS = frozenset((
    "count", "arrangement", "bank_voltage_v", "output_voltage_v", "units_in_series",
    "units_in_parallel", "pole_earthed", "unfused_lead_m", *INSTEAD,
))  # fmt: skip
"""Keys of a table of equipment that say how many there are and where, not what one is."""


def _beside(table: str, kept: Mapping[str, Any], value: Mapping[str, Any]) -> dict[str, Any]:
    """What of a table may stand beside other values of it."""
    out: set[str] = set()
    if table == "battery":
        out = {name for one in value if value[one] is not None for name in INSTEAD.get(one, ())}
    if table == "array" and value.get("mounting") not in (None, "small-gap"):
        out = {"gap_under_m"}
    if isinstance(value.get("use"), str) and value["use"] != kept.get("use"):
        out |= kept.keys() - STAYS
    return {name: one for name, one in kept.items() if name not in out}


def _another(own: Any, changes: Any) -> bool:
    """Whether the values of a [battery] make it another one, not more or fewer of the same."""
    return isinstance(own, Mapping) and isinstance(changes, Mapping) and any(
        changes.get(name) not in (None, own.get(name)) for name in WHAT_IT_IS)


def _plain(value: Any, where: str, depth: int, faults: list[Fault]) -> Any:
    """`value` as a TOML file gives it; `faults` grows by what a file could not hold."""
    if isinstance(value, Mapping | list) and depth > _DEEPEST:
        faults.append(Fault(where=where, given="tables or lists nested too deep",
                            allowed=f"at most {_DEEPEST} in each other"))  # fmt: skip
        return None
    if isinstance(value, Mapping):
        for key in value:
            if not isinstance(key, str):
                faults.append(Fault(where=where, given=f"the key {_given(key)}",
                                    allowed="keys that are text"))  # fmt: skip
        return {str(key): _plain(one, f"{where}{'.' if depth else ': '}{plain(key)}", depth + 1,
                                 faults)
                for key, one in value.items() if isinstance(key, str)}  # fmt: skip
    if isinstance(value, list):
        return [_plain(one, f"{where}[{number}]", depth + 1, faults)
                for number, one in enumerate(value, start=1)]  # fmt: skip
    if value is None or isinstance(value, bool | datetime.date | datetime.time):
        return value
    if isinstance(value, str):
        return str(value)
    if isinstance(value, numbers.Integral) and int(value).bit_length() <= _MOST_BITS:
        return int(value)
    if isinstance(value, numbers.Real) and not isinstance(value, numbers.Integral):
        return float(value)
    faults.append(Fault(where=where, given=_given(value), allowed=_VALUES))
    return None


def _key(key: object) -> str:
    return plain(key) if isinstance(key, str) else _given(key)


def _given(value: object) -> str:
    """A value in a fault; what is not plain is named by its kind alone."""
    if isinstance(value, int) and value.bit_length() > _MOST_BITS:
        return f"a whole number of {value.bit_length()} bits"
    if value is None or type(value) in (str, bool, int, float):
        return shown(value) or "nothing"
    return f"a value of the kind {type(value).__name__}"
