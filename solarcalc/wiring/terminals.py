"""Whether the ends of a cable go into what they are joined to.

A conductor that is too thick for a terminal has strands cut away on site, and burns there. What
usual terminals take stands in ``data/terminals.csv``; a size by the maker's sheet goes before it.
Bolts and bars take a lug of any size and are not looked at.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.check import Check, checked
from solarcalc.basis.files import data_folder
from solarcalc.basis.worded import worded
from solarcalc.sitefile.site import Site
from solarcalc.wiring.runs import Run, SizedRun, plane_site, stem_of

TERMINALS_FILE = "terminals.csv"


@dataclass(frozen=True, kw_only=True)
class Terminal:
    """A row of ``data/terminals.csv``.

    Parameters
    ----------
    end : str
        Kind of end.
    words : str
    up_to_a : float
        Rated current that the row holds up to [A]; infinite where it is for all.
    least_mm2, most_mm2 : float
        Conductors that it takes [mm2].
    key : str
        Of the site file, where the maker's size is written; empty where there is none.
    source : str
    """

    end: str
    words: str
    up_to_a: float
    least_mm2: float
    most_mm2: float
    key: str
    source: str


@cache
def terminals() -> tuple[Terminal, ...]:
    """Every row, in the order of the file."""
    with (data_folder() / TERMINALS_FILE).open(encoding="utf-8", newline="") as file:
        return tuple(
            Terminal(
                end=row["end"], words=row["words"], key=row["key"],
                up_to_a=float(row["up_to_a"] or "inf"), least_mm2=float(row["least_mm2"]),
                most_mm2=float(row["most_mm2"]), source=f"{row['source']}; {row['seen']}",
            )
            for row in csv.DictReader(file)
        )  # fmt: skip


def terminal(end: str, rated_a: float = 0.0) -> Terminal | None:
    """The terminal of such an end and rated current; None where larger ones have bolts.

    Examples
    --------
    >>> terminal("breaker", 80.0).most_mm2
    50.0
    """
    return next((row for row in terminals() if row.end == end and rated_a <= row.up_to_a), None)


def _ends(site: Site, run: Run, device_a: float | None) -> Iterator[Terminal]:
    """Terminals at both ends of a run and at the breaker in it."""
    stem = stem_of(run.key)
    controller_a = plane_site(site, run.key).controller.max_charge_current_a
    found: list[Terminal | None] = []
    if stem == "string":
        found += [terminal("connector"), terminal("string-terminal")]
    elif stem == "dc_main":
        found += [terminal("combiner-out"), terminal("controller-input", controller_a)]
    elif stem == "controller_battery":
        found.append(terminal("controller-battery", controller_a))
    if run.device in ("ac-breaker", "dc-breaker") and device_a is not None:
        found.append(terminal("breaker", device_a))
    yield from (row for row in found if row is not None)


def takes_mm2(site: Site, run: Run, device_a: float | None) -> float:
    """Thickest conductor that every terminal of a run takes [mm2]; infinite where it has none.

    Parameters
    ----------
    site : Site
    run : Run
    device_a : float or None
        Rated current of its device [A].
    """
    ends = _ends(site, run, device_a)
    one = plane_site(site, run.key)
    return min((_given(one, row) or row.most_mm2 for row in ends), default=math.inf)


def _given(site: Site, row: Terminal) -> float | None:
    """What the maker's sheet says that it takes, by the site file [mm2]."""
    table, _, name = row.key.partition(".")
    given: float | None = getattr(getattr(site, table), name) if row.key else None
    return given


def terminal_checks(site: Site, sized: Sequence[SizedRun]) -> Iterator[Check]:
    """One check a kind of end that has a terminal.

    Parameters
    ----------
    site : Site
    sized : sequence of SizedRun
    """
    for one in sized:
        for row in _ends(site, one.run, one.device_a):
            yield _check(plane_site(site, one.run.key), one, row)


def _check(site: Site, one: SizedRun, row: Terminal) -> Check:
    given = _given(site, row)
    most_mm2 = row.most_mm2 if given is None else given
    many = "" if one.in_parallel == 1 else f"{one.in_parallel} × "
    takes = one.in_parallel == 1 and one.size_mm2 <= most_mm2 * (1.0 + 1e-9)
    least = one.size_mm2 >= row.least_mm2 * (1.0 - 1e-9)
    return checked(
        takes and least, "review" if given is None else "failed",
        evidence="assumed" if given is None else "data sheet",
        **worded(
            "wiring", "terminal-size", run_name=one.run.name, words=row.words, many=many,
            size_mm2=one.size_mm2, least_mm2=row.least_mm2, most_mm2=most_mm2,
            clause=row.source if given is None else
            "the manufacturer's data sheet, by the site file",
            key=f", or enter the sizes the terminal takes, from its data sheet ({row.key})"
            if row.key and given is None else "",
        ),
    )  # fmt: skip
