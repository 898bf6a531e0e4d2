"""Executed workbooks of one site as one HTML file, with its dangers; the blank test sheet."""

from __future__ import annotations

import platform
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarcalc.basis.check import count_words, worst_first
from solarcalc.basis.files import write_whole
from solarcalc.basis.quantity import figure, unit_sign, with_unit
from solarcalc.basis.sourced import HOW_SEEN
from solarcalc.page import MARKS
from solarcalc.report.findings import (
    LEFT_OUT,
    Findings,
    Letterhead,
    ReportError,
    SiteSummary,
    check_clean,
    findings_of,
    headline_of,
    merged_assumptions,
    schedule_of,
    sources_of,
)

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup


WHO_DECIDES = (
    "This report is a calculation, not a permit and not a working instruction. Local codes, the "
    "makers' instructions and the licensed practitioner on site decide; where they differ from "
    "this report, follow them. Electrical work is done or supervised by licensed people."
)

TEMPLATES = Path(__file__).resolve().parent / "template"
CHECKED_AGAINST = ("pvlib", "pandas", "numpy", "scipy", "matplotlib", "papermill", "nbconvert")
"""Libraries whose versions a report names."""


def write_report(
    site: SiteSummary, notebooks: Mapping[str, Any], path: Path, *,
    firm: Letterhead | None = None,
) -> tuple[Findings, ...]:
    """Write the report of one site, whole or not at all.

    Parameters
    ----------
    site : SiteSummary
    notebooks : mapping of str to executed notebook
        Workbook names in the order of the chapters.
    path : Path
        The HTML file; its folder must exist.
    firm : Letterhead, optional
        Shown in the head of the report.

    Returns
    -------
    tuple of Findings
        What each workbook found, in the same order.

    Raises
    ------
    ReportError
        When a workbook failed, warned, has no results, or shows a figure without words.
    """
    for workbook, notebook in notebooks.items():
        check_clean(workbook, notebook)
    findings = tuple(findings_of(name, notebook) for name, notebook in notebooks.items())
    text = _report_html(site, notebooks, findings, firm)
    write_whole(path, text)
    return findings


def environment() -> Environment:
    """Jinja environment of the report and of the page over all sites; it escapes by itself."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(TEMPLATES / "solarcalc"), autoescape=True,
        undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )
    made.globals["style"] = (TEMPLATES / "solarcalc" / "style.css").read_text(encoding="utf-8")
    made.globals["marks"] = MARKS
    made.filters["grouped"] = figure
    made.filters["with_unit"] = with_unit
    made.filters["unit_sign"] = unit_sign
    return made


def _report_html(
    site: SiteSummary, notebooks: Mapping[str, Any], findings: Sequence[Findings],
    firm: Letterhead | None,
) -> str:
    from solarcalc.report.outputs import Outline

    pages = environment()
    outline = Outline(taken={
        "top", "guesses", "contents", "dangers", "assumptions", "sources", "made",
    })  # fmt: skip
    chapters = [(found, *_chapter(found, notebooks[found.workbook], outline, pages))
                for found in findings]
    checks = worst_first(check for found in findings for check in found.checks)
    return pages.get_template("report.html.j2").render(
        site=site,
        firm=firm,
        chapters=chapters,
        example_of=[*site.examples, *("prices" for check in checks if check.rule == "quote/prices"
                                      and check.outcome != "passed")],
        open_checks=[check for check in checks if check.open],
        count_words=count_words(checks),
        headline=headline_of(findings),
        unsafe=[check for check in checks if check.outcome == "failed" and check.kind == "safety"],
        guesses=[row for row in schedule_of(notebooks, "guesses") if row["as designed"]],
        who_decides=WHO_DECIDES,
        dangers=site.dangers,
        outline=[entry for entry in outline.entries if entry[0] <= 3],
        assumptions=merged_assumptions(findings),
        sources=sources_of(findings),
        seen=HOW_SEEN,
        versions={"Python": platform.python_version(),
                  **{name: version(name) for name in CHECKED_AGAINST}},
    )


def _chapter(
    found: Findings, notebook: Any, outline: Any, pages: Environment
) -> tuple[str, Markup]:
    """Anchor and HTML of one workbook, through nbconvert with the template of this package."""
    from markupsafe import Markup
    from nbconvert.exporters import HTMLExporter
    from nbconvert.preprocessors import TagRemovePreprocessor

    from solarcalc.report.outputs import output_html, prose_maker

    def render(part: str, **context: Any) -> Markup:
        return Markup(pages.get_template(f"{part}.html.j2").render(**context))

    exporter_class: Any = HTMLExporter
    remover_class: Any = TagRemovePreprocessor
    exporter = exporter_class(
        template_name="solarcalc", extra_template_basedirs=[str(TEMPLATES)],
        preprocessors=[remover_class(remove_cell_tags=set(LEFT_OUT), enabled=True)],
    )
    before = len(outline.entries)
    exporter.register_filter("prose", prose_maker(outline, found.workbook))
    exporter.register_filter("shown", lambda output: output_html(output, render))
    try:
        body, _ = exporter.from_notebook_node(notebook)
    except ReportError as error:
        raise ReportError(f"{found.workbook}: {error}") from error
    if len(outline.entries) == before:
        raise ReportError(f"{found.workbook}: no heading; a workbook begins with its question")
    return outline.entries[before][2], Markup(body)
