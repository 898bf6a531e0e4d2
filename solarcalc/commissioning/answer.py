"""What a filled-in sheet comes to: checks, one answer, and rows of a schedule."""

from __future__ import annotations

from solarcalc.basis.sourced import NO_SOURCE, Sourced, assumptions
from solarcalc.basis.verdict import Outcome, Verdict
from solarcalc.commissioning.facts import TestFacts
from solarcalc.commissioning.judge import JudgedLine, TestReport
from solarcalc.commissioning.limits import insulation_test
from solarcalc.commissioning.line import LETTERS, Category
from solarcalc.harvest.standard_conditions import DIODE_FACTOR

_OUTCOMES: dict[str, Outcome] = {
    "good": "passed", "looked at": "caution", "bad": "failed", "not judged": "caution",
    "not done": "caution",
}  # fmt: skip
_HAND_OVER = "do not hand over before"


def commissioning_verdicts(report: TestReport) -> list[Verdict]:
    """One check a category, one for each line that is off, and whether all of it is signed.

    Parameters
    ----------
    report : TestReport
    """
    verdicts = [each for category in LETTERS for each in _category(report, category)]
    verdicts += [_line_verdict(each) for each in report.standing("bad", "looked at", "not judged")]
    signed = _signed(report)
    return [*verdicts, signed] if signed else verdicts


def _category(report: TestReport, category: Category) -> list[Verdict]:
    lines = [each for each in report.lines if each.line.category == category]
    if not lines:
        return []
    done = [each for each in lines if each.result is not None]
    bad = sum(each.standing == "bad" for each in lines)
    off = sum(each.standing in ("looked at", "not judged") for each in lines)
    missing = ", ".join(each.line.id for each in lines if each.result is None)
    outcome: Outcome = "failed" if bad else "caution" if off or missing else "passed"
    remedies = [f"{_HAND_OVER} what is bad is mended and tested again"] if bad else []
    if missing:
        remedies.append(f"still to do: {missing}")
    if off:
        remedies.append("look at the lines named below")
    return [Verdict(
        item=f"Tests: {category}",
        found=f"{len(done)} of {len(lines)} done" + (f", {bad} bad" if bad else ""),
        limit=f"all {len(lines)} done and good", unit="", outcome=outcome,
        clause="IEC 62446-1:2016, tests of category 1, written for systems on the grid; limits as"
        f" each line says, some {NO_SOURCE}", remedy="; ".join(remedies),
    )]  # fmt: skip


def _line_verdict(each: JudgedLine) -> Verdict:
    line = each.line
    remedy = f"{each.cause}. Do: {each.remedy}" if each.cause else each.remedy
    return Verdict(
        item=f"{line.id} {line.what}, {line.where}", found=each.found, limit=each.limit, unit="",
        outcome=_OUTCOMES[each.standing], clause=line.clause, remedy=remedy,
    )  # fmt: skip


def _signed(report: TestReport) -> Verdict | None:
    """Whether every line that was done says who and when."""
    done = [each.result for each in report.lines if each.result is not None]
    if not done:
        return None
    open_ = [each.id for each in done if not (each.who and each.when)]
    return Verdict(
        item="Tests are signed", found=f"{len(done) - len(open_)} of {len(done)} with name and day",
        limit=f"all {len(done)}", unit="", outcome="caution" if open_ else "passed",
        clause=f"IEC 62446-1:2016 asks for tester and date; {NO_SOURCE}",
        remedy="write who and when beside " + ", ".join(open_) if open_ else "",
    )  # fmt: skip


def commissioning_answer(report: TestReport) -> str:
    """In one or two sentences: whether the system may be handed over, and why not."""
    total, missing = len(report.lines), len(report.standing("not done"))
    if missing == total:
        return f"Nothing measured yet: {total} tests to do before the hand-over."
    bad, off = report.standing("bad"), report.standing("looked at", "not judged")
    parts = [f"{total - missing} of {total} tests done"]
    if bad:
        parts.append(f"{len(bad)} bad ({', '.join(each.line.id for each in bad)})")
    if off:
        parts.append(f"{len(off)} to look at ({', '.join(each.line.id for each in off)})")
    if not (bad or off):
        parts.append("all good" if not missing else "those are good")
    ready = not (bad or off or missing)
    end = (
        "Ready for the hand-over, once the licensed electrician has signed." if ready
        else f"Not ready for the hand-over. Most likely: {report.causes[0].words}." if report.causes
        else "Not ready for the hand-over."
    )  # fmt: skip
    return f"{', '.join(parts)}. {end}"


def judged_rows(report: TestReport) -> list[dict[str, str]]:
    """The filled-in sheet as a schedule."""
    return [
        {"id": each.line.id, "category": each.line.category, "what": each.line.what,
         "where": each.line.where, "found": each.found, "limit": each.limit,
         "standing": each.standing,
         "at 1000 W/m² and 25 °C": "" if each.at_stc is None else f"{each.at_stc:.2f}",
         "likely cause": each.cause, "note": each.result.note if each.result else "",
         "who": each.result.who if each.result else "",
         "when": each.result.when if each.result else ""}
        for each in report.lines
    ]  # fmt: skip


def cause_rows(report: TestReport) -> list[dict[str, str]]:
    """Likely causes, each once; empty where nothing is off."""
    return [
        {"likely cause": cause.words, "lines": ", ".join(cause.ids), "do first": cause.remedy}
        for cause in report.causes
    ]


def commissioning_assumptions(facts: TestFacts) -> list[Sourced]:
    """What the sheet and its judgement take for granted, each with its source."""
    rules = facts.rules
    own = "the site file's [commissioning], or its default: IEC 62446-1, 5 %"
    test = insulation_test("array", 500.0)
    return [
        Sourced(label="Voltage of a string, tolerance", value=100.0 * rules.voltage_tolerance_frac,
                unit="%", source=own),
        Sourced(label="Current of a string, tolerance", value=100.0 * rules.current_tolerance_frac,
                unit="%", source=own),
        Sourced(label="Irradiance below which a current is not judged",
                value=rules.least_irradiance_w_m2, unit="W/m2",
                source=f"the site file's [commissioning], or its default; {NO_SOURCE}"),
        Sourced(label="Insulation of an array of 120 to 500 V, at least",
                value=test.least_megohm, unit="Mohm", source=test.clause),
        *assumptions("commissioning"), DIODE_FACTOR,
    ]  # fmt: skip
