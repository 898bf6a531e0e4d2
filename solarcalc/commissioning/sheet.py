"""The test sheet of a site: every line, in the order of the work, and what to know before it."""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.commissioning.array_lines import array_lines, label_lines
from solarcalc.commissioning.battery_lines import battery_lines
from solarcalc.commissioning.facts import TestFacts
from solarcalc.commissioning.house_lines import board_lines, earth_lines, function_lines
from solarcalc.commissioning.line import TestLine, numbered

Row = dict[str, str]

SAFETY: tuple[str, ...] = (
    "Two people, one of whom only watches and can switch off; the way to the switches is free.",
    "Modules are live in any light, and no switch makes a string dead. Direct current does not go"
    " out by itself: never open a connector or a fuse under load.",
    "Before each dead test: all sources off (array, battery, inverter, grid, generator), locked"
    " with your own lock and tag, proved dead with a tester that was tried on a live point before"
    " and after.",
    "Instruments, leads and gloves rated for the highest voltage of the site, direct and"
    " alternating; fused leads; look at them before use. Eyes covered, no rings or watches.",
    "On the roof: harness on a tested anchor or edge protection; no wet roof, wind or thunder.",
    "Go on to the next list only when the one before is good: a failed test is mended first.",
    "These tests are done or supervised by licensed people. Local codes, licensed practice and the"
    " makers' instructions stand before anything written here.",
)  # fmt: skip


def sheet_of(facts: TestFacts) -> tuple[TestLine, ...]:
    """All tests of a site.

    Parameters
    ----------
    facts : TestFacts

    Returns
    -------
    tuple of TestLine
        Dead tests first, then what needs light, then what is switched on. The same facts give the
        same ids.
    """
    return numbered([
        *label_lines(facts), *earth_lines(facts), *array_lines(facts), *battery_lines(facts),
        *board_lines(facts), *function_lines(facts),
    ])  # fmt: skip


def sheet_rows(lines: Sequence[TestLine]) -> list[Row]:
    """The blank sheet as a schedule."""
    return [
        {"id": line.id, "category": line.category, "what": line.what, "where": line.where,
         "instrument": line.instrument, "how": line.how, "expected": line.expected,
         "unit": line.unit, "caution": line.caution, "rule and source": line.clause}
        for line in lines
    ]  # fmt: skip
