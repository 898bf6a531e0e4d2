"""One line of a test sheet, what it is held against, and the likely cause of a reading."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Literal

from solarcalc.basis.published import published
from solarcalc.basis.sourced import constant
from solarcalc.wiring.conductors import hot_ohm_per_km, resistances

Category = Literal[
    "labels and fixings", "continuity", "earth electrode", "polarity", "string voltage",
    "insulation", "battery", "string current", "functions",
]  # fmt: skip
POLES = ("positive", "negative")
"""Of an array, as the lines of its insulation name them."""

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
"""How a value is checked: as said, between two limits, or as `judge` says."""

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
    assumed : float or None
        What the design assumes at the most: a reading above it is looked at, though within `high`.
    caution : str
        What can hurt; may be empty.
    signal : {"danger", "warning", "notice"}
        Signal word of the caution, by what it can do.
    clause : str
        Rule and source.
    remedy : str
        What to do where it is not good.
    kind : str
        How the value is checked.
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
    assumed: float | None = None
    unit: str = YES_NO
    caution: str = ""
    signal: Literal["danger", "warning", "notice"] = "danger"
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
    """Lines in the order of the work, each with its id; judged by the limits that it prints."""
    ordered = sorted(lines, key=lambda line: list(LETTERS).index(line.category))
    counts = dict.fromkeys(LETTERS, 0)
    found = []
    for line in ordered:
        counts[line.category] += 1
        low, high, assumed = (_as_printed(limit, line.expected)
                              for limit in (line.low, line.high, line.assumed))  # fmt: skip
        found.append(replace(line, id=f"{LETTERS[line.category]}{counts[line.category]:02d}",
                             low=low, high=high, assumed=assumed))
    return tuple(found)


def _as_printed(limit: float | None, expected: str) -> float | None:
    """A limit to the digits that its sheet has: who reads just that has passed."""
    printed = [float(one) for one in re.findall(r"\d+(?:\.\d+)?", expected)]
    near = [one for one in printed if limit and abs(one / limit - 1.0) <= _PRINTED_FRAC]
    return min(near, key=lambda one: abs(one - (limit or 0.0))) if near else limit


_PRINTED_FRAC = 0.0051
"""What three printed digits round away at most."""


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


SYSTEM_FACTOR = constant("commissioning.system_factor")
JOINT_OHM = constant("commissioning.joint_ohm")
TEST_C = constant("commissioning.test_c")
MODULE_OHM_M2 = float(constant("commissioning.module_ohm_m2"))
VOLTAGE_FRAC = constant("commissioning.voltage_frac")
NEUTRAL_EARTH_V = constant("commissioning.neutral_earth_v")
SENSITIVE_FRAC = constant("commissioning.sensitive_frac")
LEAST_VOLTAGE_LIGHT = constant("commissioning.least_voltage_light")
CELL_APART_V = constant("commissioning.cell_apart_v")
SET_POINT_FRAC = constant("commissioning.set_point_frac")
SUM_FRAC = constant("commissioning.sum_frac")
RESIDUAL_SHARE = (0.5, 1.0)
"""A device trips between these shares of its rated residual current: IEC 61008-1 cl. 5.3.4
(from memory); test instruments are built on the half."""


@dataclass(frozen=True, kw_only=True)
class InsulationTest:
    """How a circuit's insulation is tested.

    Parameters
    ----------
    test_v : float
        Direct test voltage [V].
    least_megohm : float
        [megohm]
    clause : str
        Rule and source.
    """

    test_v: float
    least_megohm: float
    clause: str


def insulation_test(circuit: Literal["array", "extra-low", "others"], circuit_v: float
                    ) -> InsulationTest:  # fmt: skip
    """Test voltage and least resistance of a circuit.

    Parameters
    ----------
    circuit : {"array", "extra-low", "others"}
        An array by 1.25 times its open-circuit voltage; extra-low voltage beyond the end of its
        table is tested as the others.
    circuit_v : float
        [V]

    Examples
    --------
    >>> insulation_test("array", 1.25 * 2 * 49.5).test_v
    500.0
    """
    table = published("insulation_tests")
    for row in table.rows:
        if row["circuit"] != circuit:
            continue
        end = float(row["up_to_v"]) if row["up_to_v"] else float("inf")
        if circuit_v < end or (circuit_v == end and row["own_row_at_end"] == "yes"):
            return InsulationTest(test_v=float(row["test_v"]), clause=table.clause,
                                  least_megohm=float(row["least_megohm"]))
    return insulation_test("others", circuit_v)


def insulation_by_modules_ohm(area_m2: float, module_count: int) -> float:
    """Insulation that modules of the least quality have together in parallel [ohm].

    Parameters
    ----------
    area_m2 : float
        Of one module [m2].
    module_count : int

    Notes
    -----
    R = 40 megohm m2 / area / count (IEC 61215-2 MQT 03): why a large array may come near the
    limit though every module is sound.
    """
    return MODULE_OHM_M2 / area_m2 / module_count


def bond_limit_ohm(size_mm2: float, length_m: float) -> float:
    """Most that a protective conductor of copper and its joint may read [ohm].

    Parameters
    ----------
    size_mm2 : float
        [mm2]
    length_m : float
        One way [m].
    """
    allowed = resistances("copper_class_2_plain")
    per_km = allowed[max(size for size in allowed if size <= size_mm2)]
    return hot_ohm_per_km(per_km, float(TEST_C), "copper") * length_m / 1000.0 + float(JOINT_OHM)


DELAYED_LEAST_MS = constant("commissioning.delayed_least_ms")
SHORT_DELAY_LEAST_MS = constant("commissioning.short_delay_least_ms")
DELAYED_MOST_MS = constant("commissioning.delayed_most_ms")


def trip_time_ms(times_rated: int) -> float:
    """Longest trip time of a residual current device at so many times its rated current [ms]."""
    rows = published("residual_trip_times").rows
    return next(float(row["longest_ms"]) for row in rows if int(row["times_rated"]) == times_rated)


CauseKey = Literal[
    "reversed-string", "open-string", "modules-missing", "modules-added", "module-reversed",
    "bypass-diode",
    "voltage-low", "voltage-high", "temperature-reading", "other-modules", "open-fuse",
    "string-current-low", "string-current-high", "two-strings", "sensor-shaded", "array-dirty",
    "current-doubtful", "held-back", "pole-to-earth", "both-poles-to-earth", "insulation-low",
    "open-conductor", "poor-bond", "poor-earth", "residual-device", "neutral-tie",
    "unit-reversed", "open-unit", "dead-cell", "unlike-unit", "not-charged", "overcharged",
    "link-missing", "unit-linked-backwards", "bank-reversed", "sum-wrong", "out-of-limits", "seen",
    "short-delay", "electrode-assumed",
]  # fmt: skip

NOTHING_FRAC = float(constant("commissioning.nothing_frac"))


@dataclass(frozen=True, kw_only=True)
class Cause:
    """What is likely behind one reading or several.

    Parameters
    ----------
    key : str
        Short name of the cause.
    ids : tuple of str
        Lines it explains.
    words : str
        What it is, as a guess that can be looked at.
    remedy : str
        What to look at or do first.
    """

    key: CauseKey
    ids: tuple[str, ...]
    words: str
    remedy: str


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A reading of a string beside what is expected of it.

    Parameters
    ----------
    id, name : str
        Of the line; of the string.
    modules : int
        In series.
    ratio : float
        Measured over expected.
    """

    id: str
    name: str
    modules: int
    ratio: float


def typical(ratios: Sequence[float]) -> float:
    """The ratio that a string is compared with: the middle one; of two the nearer to 1.

    Examples
    --------
    >>> typical([0.7, 0.99]), typical([1.0, 0.6, 0.98])
    (0.99, 0.98)
    """
    if not ratios:
        return 1.0
    if len(ratios) == 2:
        return min(ratios, key=lambda ratio: abs(ratio - 1.0))
    return median(ratios)
