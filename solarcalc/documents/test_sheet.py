"""The test sheet: each test a line, its method and its danger once a group of tests."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import groupby
from typing import Literal

from solarcalc.basis.text import capital
from solarcalc.commissioning.judge import JudgedLine
from solarcalc.commissioning.line import LETTERS, YES_NO, TestLine
from solarcalc.commissioning.sheet import SAFETY
from solarcalc.documents.crew import Crew
from solarcalc.documents.tree import (
    Block,
    Cell,
    Words,
    cell,
    fill,
    heading,
    points,
    sentence,
    soft,
    strong,
    table,
)
from solarcalc.sitefile.programme import Instrument, day_of

LINE_MM = 6.5
"""Least height of a line to be written on [mm]."""
_NO_INSTRUMENT = ("eyes", "display", "visual")
"""Beginnings of what is written under an instrument and is none that is calibrated."""
LIGHT_METER = "irradiance meter or reference cell, and thermometer on the back of a module"


def safety_blocks(crew: Crew) -> list[Block]:
    """What is to be seen to before any test."""
    return [sentence(strong(crew.t("sp_danger")), f" {crew.t('sp_before_tests')}"),
            points(crew.p(one) for one in SAFETY)]  # fmt: skip


def instrument_names(lines: Sequence[TestLine]) -> list[str]:
    """Each kind of instrument once, in the order of its first use."""
    names = dict.fromkeys(
        line.instrument.split(",")[0] for line in lines
        if not line.instrument.startswith(_NO_INSTRUMENT)
    )  # fmt: skip
    lit = [LIGHT_METER] if any(line.wants_light for line in lines) else []
    return [*names, *lit]


def instrument_table(lines: Sequence[TestLine], given: Sequence[Instrument] = (), *,
                     tested: date | None = None) -> Block:  # fmt: skip
    """Instruments with number, calibration and rated voltage; places to write what is not given.

    Parameters
    ----------
    lines : sequence of TestLine
    given : sequence of Instrument
        Of the site file; one of a kind that no line asks for has a row as well.
    tested : date or None
        Of the last test: a calibration that ended before it is said.
    """
    heads = ("Instrument", "Manufacturer and number", "Calibrated until", "Rated voltage, category")
    asked = instrument_names(lines)
    by_kind: dict[str, list[Instrument]] = {name: [] for name in asked}
    for one in given:
        kind = next((name for name in asked if name.casefold() == one.kind.casefold()), one.kind)
        by_kind.setdefault(kind, []).append(one)
    rows = [[kind, one.number or None, _calibrated(one, tested), one.rated or None]
            for kind, found in by_kind.items() for one in (found or [Instrument(kind=kind)])]
    return table(heads, rows, look="tests", tall_mm=LINE_MM)


def _calibrated(one: Instrument, tested: date | None) -> Cell:
    day = day_of(one.calibrated_until)
    if day and tested and day < tested:
        return cell(f"{one.calibrated_until}: before the tests", mark="failed")
    return one.calibrated_until or None


def instruments_missing(lines: Sequence[TestLine], given: Sequence[Instrument],
                        tested: date | None) -> bool:  # fmt: skip
    """Whether an instrument that the tests ask for lacks its number or a calibration then valid."""
    sound = {one.kind.casefold() for one in given if one.number
             and (day := day_of(one.calibrated_until)) and not (tested and day < tested)}
    return any(name.casefold() not in sound for name in instrument_names(lines))


def blank_blocks(lines: Sequence[TestLine], crew: Crew) -> list[Block]:
    """The sheet to be filled in, a table for each category of tests in the order of the work."""
    return [block for category in LETTERS for block in
            _category([line for line in lines if line.category == category], crew)]  # fmt: skip


def _category(lines: Sequence[TestLine], crew: Crew) -> Iterator[Block]:
    """Method and danger stand once a group of tests; the same danger once a category."""
    if not lines:
        return
    lit = any(line.wants_light for line in lines)
    heads = ["no", "test", "requirement", "value", *(("light",) if lit else ()), "initials"]
    rows: list[Sequence[Cell]] = []
    warned = ""
    for (how, caution), group in groupby(lines, key=lambda line: (line.how, line.caution)):
        members = list(group)
        word = crew.t(f"sp_{members[0].signal}")
        danger = [strong(f"{word} {crew.p(caution)} ")] if caution != warned else []
        warned = caution
        with_what = crew.p(capital(members[0].instrument))
        said: Words = [*(danger if caution else ()), soft(f"{with_what}. {crew.p(how)}")]
        rows.append([cell(said, columns=len(heads))])
        rows += [[line.id, _named(line, crew),
                  crew.p(line.expected), _to_write(line, crew), *((None,) if lit else ()), None]
                 for line in members]  # fmt: skip
    yield heading(crew.p(capital(lines[0].category)), 3)
    yield table([crew.t(f"sp_{head}") for head in heads], rows, look="tests", tall_mm=LINE_MM,
                shares=(9, 34, 64, 22, 13, 11) if lit else (9, 62, 40, 26, 16))


def _named(line: TestLine, crew: Crew) -> str:
    """What is tested, and where; once where the place begins with the name: rails."""
    what, where = crew.p(capital(line.what)), crew.p(line.where)
    return capital(where) if where.casefold().startswith(what.casefold()) else f"{what}, {where}"


def _to_write(line: TestLine, crew: Crew) -> Words:
    return crew.t("sp_yes_no") if line.unit == YES_NO else [fill(4.5), f" {line.unit}"]


def filled_table(lines: Sequence[JudgedLine]) -> Block:
    """Every test with what was found: a verification report lists each of them."""
    return table(
        ["No.", "Test", "Where", "Requirement", "Value", "Result"],
        [[each.line.id, each.line.what, each.line.where, each.limit, each.found or "−",
          cell(each.standing, mark=_mark(each))] for each in lines],
        caption="All tests", look="tests",
    )  # fmt: skip


def _mark(each: JudgedLine) -> Literal["failed", "review", "passed"]:
    return {"fail": "failed", "pass": "passed"}.get(each.standing, "review")  # type: ignore[return-value]
