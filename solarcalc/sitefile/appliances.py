"""Appliances by key: `catalogue = "KEY"` in a line of a list takes figures of common practice."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from solarcalc.basis.paths import data_folder
from solarcalc.basis.text import nearest
from solarcalc.sitefile.toml import read_toml
from solarcalc.sitefile.wording import Loc, plain

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
