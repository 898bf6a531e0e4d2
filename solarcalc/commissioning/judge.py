"""Each line of a filled-in sheet judged, and the likely causes of what is off."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from solarcalc.commissioning.causes import Cause, Reading
from solarcalc.commissioning.facts import TestFacts
from solarcalc.commissioning.limits import LEAST_VOLTAGE_LIGHT
from solarcalc.commissioning.line import TestLine, percent
from solarcalc.commissioning.other_causes import (
    Read,
    earth_causes,
    insulation_causes,
    sum_cause,
    sum_good,
    unit_causes,
)
from solarcalc.commissioning.results import Result
from solarcalc.commissioning.string_currents import current_causes
from solarcalc.commissioning.string_voltages import voltage_causes
from solarcalc.harvest.standard_conditions import (
    Conditions,
    isc_at_stc_a,
    isc_expected_a,
    voc_at_stc_v,
    voc_expected_v,
)

Standing = Literal["good", "looked at", "bad", "not judged", "not done"]
"""``looked at``: within tolerance, but unlike its neighbours; ``not judged``: too little sun."""

@dataclass(frozen=True, kw_only=True)
class JudgedLine:
    """One line with what was found.

    Parameters
    ----------
    line : TestLine
    result : Result or None
        None: not done.
    standing : str
        good, looked at, bad, not judged or not done.
    found, limit : str
        In words, in the unit of the line.
    expected : float or None
        Of a string, at the measured light and heat [V] or [A].
    at_stc : float or None
        The reading of a string carried to standard test conditions [V] or [A].
    cause, remedy : str
        Empty where it is good.
    """

    line: TestLine
    result: Result | None
    standing: Standing
    found: str
    limit: str
    expected: float | None
    at_stc: float | None
    cause: str
    remedy: str


@dataclass(frozen=True, kw_only=True)
class TestReport:
    """A sheet as it was filled in.

    Parameters
    ----------
    lines : tuple of JudgedLine
        In the order of the sheet.
    causes : tuple of Cause
        Each likely cause once, with the lines it explains.
    """

    __test__ = False  # not a test class, whatever its name

    lines: tuple[JudgedLine, ...]
    causes: tuple[Cause, ...]

    def standing(self, *standings: Standing) -> tuple[JudgedLine, ...]:
        """Lines of these standings."""
        return tuple(each for each in self.lines if each.standing in standings)


def judge(
    lines: Sequence[TestLine], results: Mapping[str, Result], facts: TestFacts
) -> TestReport:
    """Judge a filled-in sheet.

    Parameters
    ----------
    lines : sequence of TestLine
        `sheet_of` these facts.
    results : mapping of str to Result
        `read_results`; empty where nothing was measured yet.
    facts : TestFacts

    Returns
    -------
    TestReport
    """
    done = [(line, results[line.id]) for line in lines if line.id in results]
    causes = [
        *_string_causes(done, facts),
        *insulation_causes(
            [read for read in _reads(done) if read.line.key.endswith("insulation")],
            module_area_m2=facts.module.length_m * facts.module.width_m,
        ),
        *earth_causes([read for read in _reads(done) if not read.line.key.endswith("insulation")]),
        *_battery_causes(done),
        *_seen_causes(done),
    ]
    by_line: dict[str, list[Cause]] = {}
    for cause in causes:
        for line_id in cause.ids:
            by_line.setdefault(line_id, []).append(cause)
    return TestReport(
        lines=tuple(
            _judged(line, results.get(line.id), by_line.get(line.id, []), facts) for line in lines
        ),
        causes=tuple(causes),
    )


def expected_of(line: TestLine, at: Conditions, facts: TestFacts) -> float:
    """What a string should read in this light and heat [V] or [A].

    Parameters
    ----------
    line : TestLine
        Of a string's voltage or current.
    at : Conditions
    facts : TestFacts
    """
    if line.kind == "string-voltage":
        return voc_expected_v(facts.module, at, in_series=line.count)
    short_a = isc_expected_a(facts.module, at)
    return short_a if line.kind == "string-current" else \
        short_a * facts.module.imp_a / facts.module.isc_a  # fmt: skip


def enough_light(line: TestLine, at: Conditions, facts: TestFacts) -> bool:
    """Whether a reading of a string in this light says something."""
    least = (
        float(LEAST_VOLTAGE_LIGHT) if line.kind == "string-voltage"
        else facts.rules.least_irradiance_w_m2
    )  # fmt: skip
    return at.light_w_m2 >= least


def _conditions(result: Result) -> Conditions:
    """Light and heat of a string's reading; one without them is refused, as the reader does."""
    none = float("nan")
    return Conditions(
        light_w_m2=none if result.light_w_m2 is None else result.light_w_m2,
        cell_c=none if result.cell_c is None else result.cell_c,
    )


Done = Sequence[tuple[TestLine, Result]]


def _string_causes(done: Done, facts: TestFacts) -> list[Cause]:
    readings: dict[str, list[Reading]] = {}
    for line, result in done:
        if not line.wants_light:
            continue
        at = _conditions(result)
        ratio = float(result.value) / expected_of(line, at, facts)
        if enough_light(line, at, facts) or ratio <= 0.0:
            readings.setdefault(line.kind, []).append(
                Reading(id=line.id, name=line.group, modules=line.count, ratio=ratio)
            )
    rules = facts.rules
    return [
        *voltage_causes(readings.get("string-voltage", []), within=rules.voltage_tolerance_frac,
                        bypass_diodes=facts.module.bypass_diodes),
        *current_causes(readings.get("string-current", []), within=rules.current_tolerance_frac,
                        working=False),
        *current_causes(readings.get("working-current", []), within=rules.current_tolerance_frac,
                        working=True),
    ]  # fmt: skip


def _reads(done: Done, kind: str = "reading") -> list[Read]:
    """Values of one kind as numbers; beyond the range of an instrument is beyond every limit."""
    return [
        Read(line=line, value=_number(line, result)) for line, result in done if line.kind == kind
    ]


def _number(line: TestLine, result: Result) -> float:
    value = float(result.value)
    if result.beyond and line.high is not None:
        return max(value, line.high) * 1.001
    return value


def _battery_causes(done: Done) -> list[Cause]:
    units = _reads(done, "unit-voltage")
    causes = []
    for group in {read.line.group: None for read in units}:
        causes += unit_causes([read for read in units if read.line.group == group])
    for read in _reads(done, "sum-voltage"):
        of_string = [unit for unit in units if unit.line.group == read.line.group]
        if read.value < 0.0 or not sum_good(read, of_string):
            causes.append(sum_cause(read, of_string))
    return causes


def _seen_causes(done: Done) -> Iterable[Cause]:
    for line, result in done:
        if line.kind == "yes" and not result.value:
            words = f"{line.where}: not so: {line.what}"
            if line.key == "polarity":
                yield Cause(key="reversed-string", ids=(line.id,), remedy=line.remedy,
                            words=f"{line.where} is reversed: plus and minus are swapped")
            elif line.key in ("battery-polarity", "input-polarity"):
                yield Cause(key="bank-reversed", ids=(line.id,), remedy=line.remedy,
                            words=f"{line.where}: plus and minus are swapped")
            else:
                yield Cause(key="seen", ids=(line.id,), words=words, remedy=line.remedy)


def _judged(
    line: TestLine, result: Result | None, causes: Sequence[Cause], facts: TestFacts
) -> JudgedLine:
    if result is None:
        return JudgedLine(
            line=line, result=None, standing="not done", found="not done", limit=line.expected,
            expected=None, at_stc=None, cause="", remedy="do this test before the hand-over",
        )  # fmt: skip
    expected, at_stc, limit = None, None, line.expected
    standing: Standing = "bad" if causes else "good"
    if line.wants_light:
        at = _conditions(result)
        expected = expected_of(line, at, facts)
        at_stc, limit = _at_stc(line, float(result.value), at, facts), _limit(line, expected, facts)
        within = _within(line, facts)
        if not causes and not enough_light(line, at, facts):
            standing = "not judged"
        elif causes and (
            abs(float(result.value) / expected - 1.0) <= within
            or all(cause.key == "held-back" for cause in causes)
        ):
            standing = "looked at"
    remedy = "; ".join(cause.remedy for cause in causes)
    if standing == "not judged":
        remedy = f"measure again in at least {_least(line, facts):.0f} W/m2"
    return JudgedLine(
        line=line, result=result, standing=standing, found=_shown(line, result), limit=limit,
        expected=expected, at_stc=at_stc, cause="; ".join(cause.words for cause in causes),
        remedy=remedy,
    )  # fmt: skip


def _within(line: TestLine, facts: TestFacts) -> float:
    rules = facts.rules
    return rules.voltage_tolerance_frac if line.kind == "string-voltage" else \
        rules.current_tolerance_frac  # fmt: skip


def _least(line: TestLine, facts: TestFacts) -> float:
    return float(LEAST_VOLTAGE_LIGHT) if line.kind == "string-voltage" else \
        facts.rules.least_irradiance_w_m2  # fmt: skip


def _at_stc(line: TestLine, value: float, at: Conditions, facts: TestFacts) -> float:
    if line.kind == "string-voltage":
        return voc_at_stc_v(value, facts.module, at, in_series=line.count)
    return isc_at_stc_a(value, facts.module, at)


def _limit(line: TestLine, expected: float, facts: TestFacts) -> str:
    within, digits = _within(line, facts), 1 if line.kind == "string-voltage" else 2
    low, high = expected * (1.0 - within), expected * (1.0 + within)
    span = f"{low:.{digits}f} to {high:.{digits}f} {line.unit}"
    return f"{expected:.{digits}f}, within {percent(within)}: {span}"


def _shown(line: TestLine, result: Result) -> str:
    if isinstance(result.value, bool):
        return "yes" if result.value else "no"
    return f"{'more than ' if result.beyond else ''}{result.value:g} {line.unit}"
