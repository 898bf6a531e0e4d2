"""How hard an appliance starts that nobody gave a figure for: by its kind, from the catalogue.

`data/appliance_kinds.csv` holds a row a kind: the words of a name by which it is known, English
and French, and the entry of `data/appliances.toml` whose start is taken for it.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.files import csv_lines, data_folder
from solarcalc.sitefile.equipment import appliance_catalogue

FILE = "appliance_kinds.csv"


@dataclass(frozen=True, kw_only=True)
class ApplianceKind:
    """A row of the list of kinds.

    Parameters
    ----------
    kind : str
        The word of the site file.
    words : tuple of str
        Of a name, by which the kind is known.
    entry : str
        Of the catalogue.
    surge_factor, power_factor : float
        Starting over running current; W over VA.
    """

    kind: str
    words: tuple[str, ...]
    entry: str
    surge_factor: float
    power_factor: float


@cache
def appliance_kinds() -> dict[str, ApplianceKind]:
    """The kinds by their word, in the order of the file."""
    return {
        row["kind"]: ApplianceKind(
            kind=row["kind"], words=tuple(row["words"].split(";")), entry=row["entry"],
            surge_factor=float(appliance_catalogue()[row["entry"]]["surge_factor"]),
            power_factor=float(appliance_catalogue()[row["entry"]]["power_factor"]),
        )
        for row in csv.DictReader(csv_lines(data_folder() / FILE))
    }  # fmt: skip


@cache
def kind_of(name: str, kind: str = "") -> ApplianceKind | None:
    """The kind that is written, or the hardest starter among those whose word the name has.

    None where none is written and no word of the name is known.

    Examples
    --------
    >>> kind_of("Water pump").kind
    'pump'
    >>> kind_of("Secret box") is None
    True
    """
    if kind:
        return appliance_kinds()[kind]
    known = [one for one in appliance_kinds().values() if any(_has(name, w) for w in one.words)]
    return max(known, key=lambda one: one.surge_factor, default=None)


def _has(name: str, word: str) -> bool:
    """Whether a name holds a word or its plural, whatever its case and its hyphens."""
    plain = name.casefold().replace("-", " ")
    found = re.search(rf"(?<!\w){re.escape(word.replace('-', ' '))}(e?s)?(?!\w)", plain)
    return found is not None
