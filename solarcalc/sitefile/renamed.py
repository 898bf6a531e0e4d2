"""Names of a site file's tables, keys and values that are no longer in use, and their new ones.

`data/renamed_keys.csv` holds a row a name: `what` it is (key or value), the `place` it stands in
(today's name of the table, or of table and key; `*` for each table there), `old` and `new`. A key
that moved to another table (`moved`) is left out of what is read, and `new` says its whole place.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from typing import Any, Literal

from solarcalc.basis.errors import Fault
from solarcalc.basis.files import csv_lines, data_folder
from solarcalc.sitefile.base import plain, shown

FILE = "renamed_keys.csv"
What = Literal["key", "value", "moved"]
Place = tuple[str, ...]


@cache
def renamed() -> Mapping[tuple[str, str, str], str]:
    """New name by what it is, place and old name."""
    return {
        (row["what"], row["place"], row["old"]): row["new"]
        for row in csv.DictReader(csv_lines(data_folder() / FILE))
    }


@cache
def _old_names() -> frozenset[str]:
    return frozenset(old for _, _, old in renamed())


def new_name(what: What, place: Place, old: str) -> str | None:
    """Today's name of what was called `old` in `place`; None where it was not renamed.

    The tables of a plane have the names of those of the site.
    """
    if old not in _old_names():
        return None
    if place[:1] == ("planes",):
        place = place[1:]
    for written in (place, (*place[:-1], "*")):
        if found := renamed().get((what, ".".join(written), old)):
            return found
    return None


def by_todays_names(
    data: Mapping[str, Any], where: str, place: Place = (), *,
    settled: Mapping[str, Any] | None = None,
) -> tuple[dict[str, Any], list[Fault]]:
    """Tables with each old name replaced by the new one, and a fault for each.

    What is wrong beside an old name is then found in the same reading.

    Parameters
    ----------
    data : mapping
        A site file's tables as read, or those at `place`.
    where : str
        What stands before a key in a fault, such as ``"shop.toml: "``.
    place : tuple of str
        Today's names down to `data`.
    settled : mapping, optional
        Tables that are by today's names already; those of `data` among them are not looked through.
    """
    found: dict[str, Any] = {}
    faults: list[Fault] = []
    for key, value in data.items():
        if settled and value is settled.get(key):
            found[key] = value
            continue
        new = new_name("key", place, key)
        here = where + plain(key)
        moved = new_name("moved", place, key)
        if moved is not None:
            faults.append(_fault(here, f"the key {key} = {shown(value)}", moved))
            _value(value, here, (*place, key), faults)  # what moved with it
            continue
        if new is not None:
            faults.append(_fault(here, f"the key {key} = {shown(value)}", new))
        if new is None or new not in data:
            found[new or key] = _value(value, here, (*place, new or key), faults)
    return found, faults


def _value(value: Any, where: str, place: Place, faults: list[Fault]) -> Any:
    """A value by today's names; `faults` grows by those of what was renamed in it."""
    if isinstance(value, Mapping):
        table, renamed_in_it = by_todays_names(value, f"{where}.", place)
        faults += renamed_in_it
        return table
    if isinstance(value, list):
        return [_value(one, f"{where}[{number}]", place, faults)
                for number, one in enumerate(value, start=1)]  # fmt: skip
    new = new_name("value", place, value) if isinstance(value, str) else None
    if new is not None:
        faults.append(_fault(where, shown(value), shown(new)))
    return value if new is None else new


def _fault(where: str, given: str, new: str) -> Fault:
    return Fault(where=where, given=given, allowed=new, why="renamed", remedy=f"say {new}")
