"""The test report: what was tested and found, for the person who signs for it."""

from __future__ import annotations

from collections.abc import Sequence

from solarcalc.basis.text import capital
from solarcalc.commissioning.judge import JudgedLine, TestReport
from solarcalc.design import Design
from solarcalc.documents.making import Making
from solarcalc.documents.test_sheet import filled_table, instrument_table, instruments_missing
from solarcalc.documents.tree import (
    Block,
    Document,
    beside,
    box,
    heading,
    pairs,
    sentence,
    signatures,
    strong,
    table,
)
from solarcalc.sitefile.programme import day_of
from solarcalc.stages.progress import document_status
from solarcalc.views.commissioning import report_of_site, sheet_of_site

MOST_FAILED = 12
"""Failed tests on page one; the table behind it has all of them."""


def documents(making: Making) -> tuple[Document, ...]:
    """The test report of a site; before anything was measured it says just that."""
    design = making.design
    facts, lines = sheet_of_site(design)
    report = report_of_site(design, facts, lines)
    head = making.head("TR", "Test report", kind="report of initial verification",
                       status=_status(making, report))  # fmt: skip
    return (Document(
        code="TR", head=head, look="sheet", stamp=making.example_stamp(priced=False),
        blocks=(*_first_page(making, report), filled_table(report.lines)),
    ),)  # fmt: skip


def _status(making: Making, report: TestReport) -> str:
    """A draft as long as a test is not done or not passed."""
    passed = len(report.standing("pass")) == len(report.lines)
    return document_status(making.design, "TR") if passed else "draft"


def result_words(report: TestReport, signed: str = "", *, named: bool = False) -> str:
    """Result of all tests in a line.

    Parameters
    ----------
    report : TestReport
    signed : str
        By whom and when; "" as long as nobody has.
    named : bool
        Whether all instruments are entered, calibrated on the day.
    """
    total, missing = len(report.lines), len(report.standing("not done"))
    failed, off = len(report.standing("fail")), len(report.standing("review", "not assessed"))
    if missing == total:
        return f"No test has been done: {total} to do before handover."
    parts = [f"{total - missing} of {total} tests done", f"{failed} failed", f"{off} to review"]
    if missing or failed or off:
        return f"{', '.join(parts)}: not to be handed over."
    wanted = [*(() if named else ("the instruments are entered below",)),
              *(() if signed else ("it is signed",))]  # fmt: skip
    ready = f"may be handed over{' once ' * bool(wanted)}{' and '.join(wanted)}"
    return f"{', '.join(parts)}: {ready}.{f' Signed by {signed}.' if signed else ''}"


def _first_page(making: Making, report: TestReport) -> list[Block]:
    design = making.design
    site = design.site
    facts, lines = sheet_of_site(design)
    dates = sorted({each.result.when[:10] for each in report.lines
                    if each.result and each.result.when})  # fmt: skip
    testers = sorted({each.result.who for each in report.lines if each.result and each.result.who})
    given, tested = site.commissioning.instruments, day_of(dates[-1]) if dates else None
    failed = report.standing("fail")
    review = report.standing("review", "not assessed")
    missing = [each.line.id for each in report.standing("not done")]
    electrode = next((each for each in report.lines if each.line.category == "earth electrode"),
                     None)  # fmt: skip
    return [
        sentence(result_words(report, _signed(design), named=not instruments_missing(
            lines, given, tested)), look="answer"),
        *_found(failed, "Failed", report), *_found(review, "To review", report),
        *([box([sentence(strong("Not done: "), ", ".join(missing))])] if missing else []),
        beside(
            [heading("Extent of the work", 3), pairs([
                ("Installation", f"{site.array_w / 1000.0:.2f} kWp in {len(facts.strings)} strings,"
                 f" battery {site.battery.rated_wh / 1000.0:.1f} kWh {site.battery.traits.name},"
                 f" {sum(one.count for one in site.inverters.values())} inverters"),
                ("Tests", f"{len(lines)}, of which {_done(report)} were done"),
                ("Dates", ", ".join(dates) or "−"), ("Tested by", ", ".join(testers) or "−"),
            ])],
            [heading("Supply and earthing", 3), pairs([
                ("Grid", "yes" if facts.grid else "none"),
                ("Generator", "yes" if facts.generator else "none"),
                ("Neutral-earth bond", "; ".join(
                    f"supplied by the {state}: {where}" for state, where in facts.joined.items())
                 or "−"),
                ("Earth electrode", f"{electrode.found or '−'} (requirement {electrode.limit})"
                 if electrode else "−"),
                ("Irradiance, cell temperature", _light(report)),
            ])],
        ),
        heading("Instruments", 3), instrument_table(lines, given, tested=tested),
        sentence("Next periodic verification: as local rules require, at the latest one year after"
                 " handover. The tests follow IEC 62446-1 and IEC 60364-6 where they apply; this"
                 " report replaces no certificate that local rules ask for.", look="small"),
        signatures("Design: name, licence, date", "Construction: name, licence, date",
                   "Inspection and tests: name, licence, date"),
    ]  # fmt: skip


def _signed(design: Design) -> str:
    """Who signed the tests of the site file, and when; "" where nobody has."""
    return next((f"{one.name}, {one.date}" for one in design.site.status.signed
                 if one.what == "TR"), "")  # fmt: skip


def _found(lines: Sequence[JudgedLine], title: str, report: TestReport) -> list[Block]:
    if not lines:
        return []
    rows = [[each.line.id, f"{each.line.what}, {each.line.where}", each.found, each.limit,
             capital(f"{each.cause}. {capital(each.remedy)}" if each.cause else each.remedy)]
            for each in lines[:MOST_FAILED]]  # fmt: skip
    more = len(lines) - MOST_FAILED
    return [
        table(["No.", "Test", "Value", "Requirement", "Likely cause, action"], rows,
              caption=strong(title)),
        *([sentence(f"and {more} more, in the table of all tests.")] if more > 0 else []),
    ]


def _done(report: TestReport) -> int:
    return sum(each.result is not None for each in report.lines)


def _light(report: TestReport) -> str:
    """Range of the irradiance and cell temperature in which strings were measured."""
    lit = [(each.result.light_w_m2, each.result.cell_c) for each in report.lines
           if each.result and each.result.light_w_m2 is not None
           and each.result.cell_c is not None]  # fmt: skip
    if not lit:
        return "−"
    light, cells = ([float(pair[n] or 0.0) for pair in lit] for n in (0, 1))
    return f"{_range(light)} W/m², {_range(cells)} °C"


def _range(values: list[float]) -> str:
    low, high = (f"{value:.0f}" for value in (min(values), max(values)))
    return low if low == high else f"{low} to {high}"
