"""Executed workbooks of one site as one HTML file, with its dangers; the blank test sheet."""

from __future__ import annotations

import platform
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarcalc.basis.check import count_words, worst_first
from solarcalc.basis.files import write_whole
from solarcalc.basis.quantity import grouped
from solarcalc.basis.sourced import FROM_MEMORY, HOW_SEEN, NO_SOURCE
from solarcalc.commissioning.line import LETTERS, YES_NO, TestLine
from solarcalc.commissioning.sheet import SAFETY
from solarcalc.page import MARKS
from solarcalc.report.findings import (
    LEFT_OUT,
    Findings,
    Letterhead,
    ReportError,
    SiteSummary,
    check_clean,
    findings_of,
    merged_assumptions,
    schedule_of,
    sources_of,
)

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup


@dataclass(frozen=True, kw_only=True)
class Caution:
    """One danger, what to do about it, and where that comes from."""

    danger: str
    measure: str
    source: str


WHO_DECIDES = (
    "This report is a calculation, not a permit and not a working instruction. Local codes, the "
    "makers' instructions and the licensed practitioner on site decide; where they differ from "
    "this report, follow them. Electrical work is done or supervised by licensed people."
)

CAUTIONS: tuple[Caution, ...] = (
    Caution(
        danger="Modules are live whenever light falls on them; no switch makes the string dead.",
        measure="Treat every string as live. Use tools and gloves rated for its open-circuit "
        "voltage on the coldest morning. Cover modules or work in the dark where it must be dead.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="A direct current does not go out by itself: opening a connector or a fuse under "
        "load draws an arc that burns and can set fire to a roof.",
        measure="Break the load with a switch rated for the direct voltage and current first. "
        "Never open connectors under load, and never mate connectors of different makes.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="Work on a roof: falls from edges, through skylights and through weak sheets.",
        measure="Edge protection or a harness on a tested anchor, a second person, no work on wet "
        "roofs or in wind. The roof's strength under modules, wind and people is not checked "
        "here: a competent person checks it.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="A battery gives thousands of amperes into a short: a dropped spanner melts.",
        measure="Insulated tools, no rings or watches, terminals covered, a fuse or breaker rated "
        "for the bank's short-circuit current close to the bank.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="Lead-acid batteries give off hydrogen while charging, and hold acid.",
        measure="Air the room to the outside, high and low; no flame or spark; goggles, gloves "
        "and water at hand. The amount of air is calculated under the battery-room standard that "
        "applies (such as IEC 62485-2). A gas extinguisher set off in a small room takes the "
        "breath of whoever is in it: leave first, close the door.",
        source=f"IEC 62485-2 ({FROM_MEMORY})",
    ),
    Caution(
        danger="Lithium batteries can burn with poisonous smoke when overcharged, charged below "
        "freezing, crushed or overheated.",
        measure="Use only with their own battery management system working, within the maker's "
        "temperatures, away from escape routes and sleeping rooms.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="Frames, rails, cases and the neutral of an inverter can be live after a fault; "
        "lightning reaches them too.",
        measure="Earthing, bonding, residual-current and surge protection are designed and tested "
        "under the local wiring rules before the system is switched on. What this report says of "
        "them is a proposal for the licensed person to check and sign.",
        source=NO_SOURCE,
    ),
    Caution(
        danger="An inverter can feed back into a dead grid line and kill a line worker.",
        measure="A change-over switch or relay that cannot join the two, as the grid's operator "
        "requires.",
        source=NO_SOURCE,
    ),
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
    made.filters["grouped"] = lambda value: grouped(str(value))
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
        guesses=[row for row in schedule_of(notebooks, "guesses") if row["as designed"]],
        who_decides=WHO_DECIDES,
        cautions=CAUTIONS,
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


_NO_INSTRUMENT = ("eyes", "display")
"""Beginnings of what is written under an instrument and is none that is calibrated."""
LIGHT_METER = "irradiance meter or reference cell, and thermometer on the back of a module"


def blank_sheet_html(site: SiteSummary, lines: Sequence[TestLine]) -> str:
    """The sheet of a site as one HTML file that needs nothing else.

    Parameters
    ----------
    site : SiteSummary
        Words of the title block; escaped wherever they appear.
    lines : sequence of TestLine
        `solarcalc.commissioning.sheet.sheet_of` the site.
    """
    categories = [
        (category, [line for line in lines if line.category == category]) for category in LETTERS
    ]
    return environment().get_template("sheet.html.j2").render(
        site=site,
        count=len(lines),
        categories=[(category, found) for category, found in categories if found],
        instruments=_instruments(lines),
        safety=SAFETY,
        who_decides=WHO_DECIDES,
        yes_no=YES_NO,
    )


def _instruments(lines: Sequence[TestLine]) -> list[str]:
    """Each kind of instrument once, in the order of its first use."""
    names = dict.fromkeys(
        line.instrument.split(",")[0] for line in lines
        if not line.instrument.startswith(_NO_INSTRUMENT)
    )  # fmt: skip
    lit = [LIGHT_METER] if any(line.wants_light for line in lines) else []
    return [*names, *lit]
