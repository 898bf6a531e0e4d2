"""Numbers that cannot exist without a source, and the works that short names stand for.

``data/constants/<stage>.csv`` holds one constant a row; code asks for it by ``stage.name``.
"""

from __future__ import annotations

import csv
import math
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.files import csv_lines, data_folder

NO_SOURCE = "common practice, no source"
FROM_MEMORY = "from memory"
SEEN = ("read", "quoted", "worked", FROM_MEMORY, NO_SOURCE)
"""How a source was seen: the work itself; another text that cites it; worked out from others."""


@dataclass(frozen=True, kw_only=True)
class Sourced:
    """A constant or default with its unit and where it comes from.

    Parameters
    ----------
    label : str
        What it is, in site language; printed under Assumptions in the report.
    value : float or str
    unit : str
    source : str
        Work, clause or table; or ``NO_SOURCE``; or ``FROM_MEMORY``.

    Raises
    ------
    ValueError
        When the source is empty.
    """

    label: str
    value: float | str
    unit: str
    source: str

    def __post_init__(self) -> None:
        if not self.source.strip():
            raise ValueError(f"{self.label}: a constant needs a source")

    def __float__(self) -> float:
        return float(self.value)

    def __int__(self) -> int:
        return int(self.value)


def constant(name: str) -> Sourced:
    """The constant ``stage.name``, a row of ``data/constants/<stage>.csv``.

    Raises
    ------
    ValueError
        When the file has no such row, or a row that is not whole.
    """
    stage, _, key = name.partition(".")
    found = _constants(stage).get(key)
    if found is None:
        raise ValueError(f"data/constants/{stage}.csv: no constant {key!r}")
    return found[0]


def assumptions(stage: str, *lists: str) -> tuple[Sourced, ...]:
    """The constants of a stage that a report prints, in the order of its file.

    Parameters
    ----------
    stage : str
    lists : str
        Names in the column ``list``; none for all of the stage.
    """
    rows = _constants(stage).values()
    return tuple(one for one, listed in rows if (listed in lists if lists else listed))


@cache
def sources_of_defaults() -> dict[str, str]:
    """Where each numeric default of the site file comes from, by its key there."""
    rows = _rows("site_defaults", ("name", "source", "seen"))
    return {row["name"]: row["source"] for row in rows}


@cache
def _constants(stage: str) -> dict[str, tuple[Sourced, str]]:
    heads = ("name", "value", "unit", "label", "source", "seen", "list")
    return {
        row["name"]: (
            Sourced(label=row["label"], value=_value(stage, row["name"], row["value"]),
                    unit=row["unit"], source=row["source"]),
            row["list"],
        )
        for row in _rows(stage, heads)
    }  # fmt: skip


def _rows(stage: str, heads: tuple[str, ...]) -> list[dict[str, str]]:
    """Rows of a file, each with its source as it is printed; a row that is not whole is refused."""
    name = f"data/constants/{stage}.csv"
    first, *cells = csv.reader(csv_lines(data_folder() / "constants" / f"{stage}.csv"))
    if tuple(first) != heads:
        raise ValueError(f"{name}: the columns are {', '.join(heads)}")
    rows, names = [], set()
    for line, row in enumerate(cells, start=2):
        if len(row) != len(heads):
            raise ValueError(f"{name}, line {line}: {len(row)} cells, not {len(heads)}")
        known = dict(zip(heads, row, strict=True))
        if not known["name"] or known["name"] in names:
            raise ValueError(f"{name}, line {line}: the name {known['name']!r} is empty or taken")
        if known["seen"] not in SEEN:
            raise ValueError(f"{name}, line {line}: seen is one of {'; '.join(SEEN)}")
        known["source"] = printed_source(known["source"], known["seen"])
        if not known["source"]:
            raise ValueError(f"{name}, line {line}: {known['name']} has no source")
        names.add(known["name"])
        rows.append(known)
    return rows


def printed_source(source: str, seen: str) -> str:
    """A source as it is printed: what was not read says so."""
    if seen not in (FROM_MEMORY, NO_SOURCE) or seen in source:
        return source
    return f"{source}{', ' if seen == FROM_MEMORY else '; '}{seen}" if source else seen


def _value(stage: str, name: str, text: str) -> float | str:
    """A number where the text is one, and then a finite one."""
    try:
        number = float(text or "nan")
    except ValueError:
        return text
    if not math.isfinite(number):
        raise ValueError(f"data/constants/{stage}.csv: {name} has no finite value")
    return int(text) if text.lstrip("-").isdigit() else number


HOW_SEEN = {"pvlib": "as cited and implemented by pvlib",
            "table": "figures of it checked in a list of published values", "memory": "from memory"}
"""How a work was seen, in words."""


@dataclass(frozen=True, kw_only=True)
class Work:
    """A work: its short name, what it is, what it is used for and how it was seen."""

    name: str
    work: str
    used_for: str
    seen: str

    @property
    def standard(self) -> bool:
        """Whether it is a standard or a code, and no paper or book."""
        return self.name.partition(" ")[0] in STANDARDS


STANDARDS = frozenset({"BS", "EN", "IEC", "IEEE", "ISO", "NEC"})
"""First word of the short name of a standard or a code."""


@cache
def works() -> tuple[Work, ...]:
    """Every work of ``data/sources.toml``, in alphabetical order of the short names."""
    entries = tomllib.loads((data_folder() / "sources.toml").read_text(encoding="utf-8"))["source"]
    return tuple(sorted((Work(**entry) for entry in entries), key=lambda work: work.name))


def works_named_in(texts: Iterable[str]) -> tuple[Work, ...]:
    """The works whose short names occur in any of the texts."""
    together = "\n".join(texts)
    return tuple(work for work in works() if work.name in together)
