"""The test sheet of a design, and what its filled-in copy says."""

from __future__ import annotations

from pathlib import Path

from solarcalc.basis.messages import messages
from solarcalc.commissioning.facts import TestFacts
from solarcalc.commissioning.judge import TestReport, judge, judged_rows
from solarcalc.commissioning.line import TestLine
from solarcalc.commissioning.results import blank_csv, read_results
from solarcalc.design import Design


def sheet_of_site(design: Design) -> tuple[TestFacts, tuple[TestLine, ...]]:
    """Facts and lines of a site's test sheet."""
    return design.test_facts, design.test_lines


def blank_bytes(design: Design, lines: tuple[TestLine, ...]) -> bytes:
    """The blank sheet as a CSV file in the crew's language, with a byte order mark."""
    language = design.site.firm.crew
    said = messages(language).text
    head = (said("sp_tests_of", site=design.site.site.name), said("sp_tests_fill"))
    return blank_csv(lines, head=head, language=language).lstrip("\ufeff").encode("utf-8-sig")


def report_of_site(design: Design, facts: TestFacts, lines: tuple[TestLine, ...]) -> TestReport:
    """The filled-in sheet that the site file names, checked; without one, nothing is done yet.

    Raises
    ------
    InputError
        With every fault of the filled-in file.
    """
    name = design.site.commissioning.results
    results = read_results(Path(design.sitefile.folder) / name, lines) if name else {}
    return judge(lines, results, facts)


def lines_of_tests(report: TestReport) -> list[dict[str, str]]:
    """Every test in a line that fits a page: the whole sheet is the one that is printed."""
    kept = ("id", "test", "where", "value", "requirement", "result", "likely cause")
    return [{name: row[name] for name in kept} for row in judged_rows(report)]


def values(report: TestReport) -> dict[str, float | int | str]:
    """Named results: how many tests, how they stand, and what is likely wrong.

    Each name ends in its unit.
    """
    standings = {
        "passed": ("pass",), "failed": ("fail",), "review": ("review",),
        "not_assessed": ("not assessed",), "not_done": ("not done",),
    }  # fmt: skip
    values: dict[str, float | int | str] = {"test_count": len(report.lines)}
    values["done_count"] = sum(each.result is not None for each in report.lines)
    for name, these in standings.items():
        values[f"{name}_count"] = sum(each.standing in these for each in report.lines)
    values["cause_count"] = len(report.causes)
    values["likely_cause"] = report.causes[0].key if report.causes else "none"
    return values
