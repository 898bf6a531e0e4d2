"""One line of a test sheet, and how lines are numbered."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

Category = Literal[
    "labels and fixings", "continuity", "earth electrode", "polarity", "string voltage",
    "insulation", "battery", "string current", "functions",
]  # fmt: skip
LETTERS: dict[Category, str] = {
    "labels and fixings": "L",
    "continuity": "C",
    "earth electrode": "E",
    "polarity": "P",
    "string voltage": "V",
    "insulation": "R",
    "battery": "B",
    "string current": "I",
    "functions": "F",
}
"""First letter of the ids, in the order of the work: what is tested dead comes first."""

Kind = Literal[
    "yes", "reading", "string-voltage", "string-current", "working-current", "unit-voltage",
    "sum-voltage",
]  # fmt: skip
"""How a value is judged: as said, between two limits, or as `judge` says."""

YES_NO = "yes/no"


@dataclass(frozen=True, kw_only=True)
class TestLine:
    """One test of a sheet.

    Parameters
    ----------
    id : str
        Letter of the category and a number: V03.
    category, what, where, instrument, how : str
        In words.
    expected : str
        In words, with its unit.
    low, high : float or None
        A value between the two is good; in `unit`.
    unit : str
        That the value is written in; ``yes/no`` for what is seen.
    caution : str
        What can hurt; may be empty.
    clause : str
        Rule and source.
    remedy : str
        What to do where it is not good.
    kind : str
        How the value is judged.
    key : str
        What is tested, for the judge: ``"continuity"``, ``"trip-time"``...
    group : str
        Lines that are compared with one another.
    count : int
        Modules in series of a string; cells in series of a unit.
    """

    __test__ = False  # not a test class, whatever its name

    id: str = ""
    category: Category
    what: str
    where: str
    instrument: str
    how: str
    expected: str = "yes"
    low: float | None = None
    high: float | None = None
    unit: str = YES_NO
    caution: str = ""
    clause: str
    remedy: str
    kind: Kind = "yes"
    key: str = ""
    group: str = ""
    count: int = 0

    @property
    def wants_light(self) -> bool:
        """Whether irradiance and cell temperature are to be written beside the value."""
        return self.kind in ("string-voltage", "string-current", "working-current")


def numbered(lines: Iterable[TestLine]) -> tuple[TestLine, ...]:
    """Lines in the order of the work, each with its id."""
    ordered = sorted(lines, key=lambda line: list(LETTERS).index(line.category))
    counts = dict.fromkeys(LETTERS, 0)
    found = []
    for line in ordered:
        counts[line.category] += 1
        found.append(replace(line, id=f"{LETTERS[line.category]}{counts[line.category]:02d}"))
    return tuple(found)


def at_most(value: float, unit: str) -> str:
    """A limit in words.

    Examples
    --------
    >>> at_most(0.1234, "Ω")
    'at most 0.123 Ω'
    >>> at_most(1666.7, "Ω")
    'at most 1667 Ω'
    """
    return f"at most {plain_number(value)} {unit}"


def plain_number(value: float) -> str:
    """Three digits, or all of those before the point.

    Examples
    --------
    >>> plain_number(148.83), plain_number(0.01234)
    ('149', '0.0123')
    """
    return f"{value:.0f}" if abs(value) >= 100.0 else f"{value:.3g}"


def percent(fraction: float) -> str:
    """A fraction on paper.

    Examples
    --------
    >>> percent(0.05)
    '5 %'
    """
    return f"{100.0 * fraction:.3g} %"
