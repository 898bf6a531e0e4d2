"""A filled-in sheet checked line by line: likely causes, checks, one answer, rows of a schedule."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from solarcalc.basis.check import Check, Outcome
from solarcalc.basis.sourced import NO_SOURCE, Sourced, assumptions
from solarcalc.commissioning.facts import TestFacts
from solarcalc.commissioning.line import (
    LEAST_VOLTAGE_LIGHT,
    LETTERS,
    Category,
    Cause,
    Reading,
    TestLine,
    insulation_test,
    percent,
)
from solarcalc.commissioning.other_causes import (
    Read,
    earth_causes,
    insulation_causes,
    sum_cause,
    sum_good,
    unit_causes,
)
from solarcalc.commissioning.results import Result
from solarcalc.commissioning.string_readings import current_causes, voltage_causes
from solarcalc.energy.diode import (
    DIODE_FACTOR,
    Conditions,
    isc_at_stc_a,
    isc_expected_a,
    voc_at_stc_v,
    voc_expected_v,
)

Standing = Literal["pass", "review", "fail", "not assessed", "not done"]
"""``looked at``: within tolerance, but unlike its neighbours; ``not checked``: too little sun."""

@dataclass(frozen=True, kw_only=True)
class JudgedLine:
    """One line with what was found.

    Parameters
    ----------
    line : TestLine
    result : Result or None
        None: not done.
    standing : str
        good, looked at, bad, not checked or not done.
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
            words = f"{line.where}: not confirmed: {line.what}"
            if line.key == "polarity":
                yield Cause(key="reversed-string", ids=(line.id,), remedy=line.remedy,
                            words=f"{line.where} is reversed: positive and negative are swapped")
            elif line.key in ("battery-polarity", "input-polarity"):
                yield Cause(key="bank-reversed", ids=(line.id,), remedy=line.remedy,
                            words=f"{line.where}: positive and negative are swapped")
            else:
                yield Cause(key="seen", ids=(line.id,), words=words, remedy=line.remedy)


def _judged(
    line: TestLine, result: Result | None, causes: Sequence[Cause], facts: TestFacts
) -> JudgedLine:
    if result is None:
        return JudgedLine(
            line=line, result=None, standing="not done", found="not done", limit=line.expected,
            expected=None, at_stc=None, cause="", remedy="do this test before handover",
        )  # fmt: skip
    expected, at_stc, limit = None, None, line.expected
    standing: Standing = "fail" if causes else "pass"
    if line.wants_light:
        at = _conditions(result)
        expected = expected_of(line, at, facts)
        at_stc, limit = _at_stc(line, float(result.value), at, facts), _limit(line, expected, facts)
        within = _within(line, facts)
        if not causes and not enough_light(line, at, facts):
            standing = "not assessed"
        elif causes and (
            abs(float(result.value) / expected - 1.0) <= within
            or all(cause.key == "held-back" for cause in causes)
        ):
            standing = "review"
    elif causes and all(cause.key in _TO_LOOK_AT for cause in causes):
        standing = "review"
    remedy = "; ".join(cause.remedy for cause in causes)
    if standing == "not assessed":
        remedy = f"measure again in at least {_least(line, facts):.0f} W/m²"
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


_OUTCOMES: dict[str, Outcome] = {
    "pass": "passed", "review": "review", "fail": "failed", "not assessed": "review",
    "not done": "review",
}  # fmt: skip
_HAND_OVER = "no handover before"
_TO_LOOK_AT = ("short-delay", "electrode-assumed")
"""Causes that a person has to look at, and may accept: the reading is within its rule."""


def commissioning_checks(report: TestReport) -> list[Check]:
    """One check a category, one for each line that is off, and whether all of it is signed.

    Parameters
    ----------
    report : TestReport
    """
    checks = [each for category in LETTERS for each in _category(report, category)]
    checks += [_line_check(each) for each in report.standing("fail", "review", "not assessed")]
    signed = _signed(report)
    return [*checks, signed] if signed else checks


def _category(report: TestReport, category: Category) -> list[Check]:
    lines = [each for each in report.lines if each.line.category == category]
    if not lines:
        return []
    done = [each for each in lines if each.result is not None]
    bad = sum(each.standing == "fail" for each in lines)
    off = sum(each.standing in ("review", "not assessed") for each in lines)
    missing = ", ".join(each.line.id for each in lines if each.result is None)
    outcome: Outcome = "failed" if bad else "review" if off or missing else "passed"
    remedies = [f"{_HAND_OVER} what failed is repaired and tested again"] if bad else []
    if missing:
        remedies.append(f"not done yet: {missing}")
    if off:
        remedies.append("review the lines named below")
    return [Check(
        rule="commissioning/category", kind="safety",
        item=f"Tests: {category}",
        found=f"{len(done)} of {len(lines)} done" + (f", {bad} failed" if bad else ""),
        limit=f"all {len(lines)} done and passed", unit="", outcome=outcome,
        clause="IEC 62446-1:2016, tests of category 1, written for systems on the grid; limits as"
        f" each line says, some {NO_SOURCE}", remedy="; ".join(remedies),
    )]  # fmt: skip


def _line_check(each: JudgedLine) -> Check:
    line = each.line
    remedy = f"{each.cause}. Action: {each.remedy}" if each.cause else each.remedy
    return Check(
        rule="commissioning/line", kind="safety",
        item=f"{line.id} {line.what}, {line.where}", found=each.found, limit=each.limit, unit="",
        outcome=_OUTCOMES[each.standing], clause=line.clause, remedy=remedy,
    )  # fmt: skip


def _signed(report: TestReport) -> Check | None:
    """Whether every line that was done says who and when."""
    done = [each.result for each in report.lines if each.result is not None]
    if not done:
        return None
    open_ = [each.id for each in done if not (each.who and each.when)]
    return Check(
        rule="commissioning/signed", kind="safety",
        item="Tests carry name and date",
        found=f"{len(done) - len(open_)} of {len(done)} with name and date",
        limit=f"all {len(done)}", unit="", outcome="review" if open_ else "passed",
        clause=f"IEC 62446-1:2016 asks for tester and date; {NO_SOURCE}",
        remedy="write who and when beside " + ", ".join(open_) if open_ else "",
    )  # fmt: skip


def commissioning_answer(report: TestReport) -> str:
    """In one or two sentences: whether the system may be handed over, and why not."""
    total, missing = len(report.lines), len(report.standing("not done"))
    if missing == total:
        return f"No test done yet: {total} tests to do before handover."
    bad, off = report.standing("fail"), report.standing("review", "not assessed")
    parts = [f"{total - missing} of {total} tests done"]
    if bad:
        parts.append(f"{len(bad)} failed ({', '.join(each.line.id for each in bad)})")
    if off:
        parts.append(f"{len(off)} to review ({', '.join(each.line.id for each in off)})")
    if not (bad or off):
        parts.append("all passed" if not missing else "those passed")
    ready = not (bad or off or missing)
    end = (
        "Ready for handover once the licensed electrician has signed." if ready
        else f"Not ready for handover. Most likely: {report.causes[0].words}." if report.causes
        else "Not ready for handover."
    )  # fmt: skip
    return f"{', '.join(parts)}. {end}"


def judged_rows(report: TestReport) -> list[dict[str, str]]:
    """The filled-in sheet as a schedule."""
    return [
        {"id": each.line.id, "category": each.line.category, "test": each.line.what,
         "where": each.line.where, "value": each.found, "requirement": each.limit,
         "result": each.standing,
         "at 1000 W/m² and 25 °C": "" if each.at_stc is None else f"{each.at_stc:.2f}",
         "likely cause": each.cause, "note": each.result.note if each.result else "",
         "who": each.result.who if each.result else "",
         "when": each.result.when if each.result else ""}
        for each in report.lines
    ]  # fmt: skip


def cause_rows(report: TestReport) -> list[dict[str, str]]:
    """Likely causes, each once; empty where nothing is off."""
    return [
        {"likely cause": cause.words, "lines": ", ".join(cause.ids), "action": cause.remedy}
        for cause in report.causes
    ]


def commissioning_assumptions(facts: TestFacts) -> list[Sourced]:
    """What the sheet and its judgement take for granted, each with its source."""
    rules = facts.rules
    own = "the site file's [commissioning], or its default: IEC 62446-1, 5 %"
    test = insulation_test("array", 500.0)
    return [
        Sourced(label="String voltage, tolerance", value=100.0 * rules.voltage_tolerance_frac,
                unit="%", source=own),
        Sourced(label="String current, tolerance", value=100.0 * rules.current_tolerance_frac,
                unit="%", source=own),
        Sourced(label="Irradiance below which a current is not assessed",
                value=rules.least_irradiance_w_m2, unit="W/m2",
                source=f"the site file's [commissioning], or its default; {NO_SOURCE}"),
        Sourced(label="Insulation resistance of an array of 120 to 500 V, at least",
                value=test.least_megohm, unit="MΩ", source=test.clause),
        *assumptions("commissioning"), DIODE_FACTOR,
    ]  # fmt: skip
