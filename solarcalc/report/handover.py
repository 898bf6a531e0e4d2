"""The pack that is handed over: the customer's booklet and the engineer's file, HTML and PDF."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from solarcalc.basis.files import whole_folder
from solarcalc.basis.messages import messages
from solarcalc.basis.verdict import Verdict, worst_first
from solarcalc.report.handover_customer import customer_html
from solarcalc.report.handover_facts import CustomerFacts
from solarcalc.report.handover_logo import read_logo
from solarcalc.report.pdf import pdf_bytes
from solarcalc.report.records import Findings, Letterhead, ReportError
from solarcalc.report.write import environment

if TYPE_CHECKING:
    from solarcalc.sitefile.read import SiteFile

FOLDER = "handover"
_HEAD = '<header id="top">\n'
"""Where the report's head begins; text of a site file cannot look so, as it is escaped."""


@dataclass(frozen=True, kw_only=True)
class Handover:
    """What was written, and what stands open.

    Parameters
    ----------
    files : tuple of Path
    open_checks : tuple of Verdict
        Every check of the workbooks that has not passed, failed ones first: what to settle
        before the customer signs.
    """

    files: tuple[Path, ...]
    open_checks: tuple[Verdict, ...]


def make_handover(
    sitefile: SiteFile, folder: Path, *, facts: CustomerFacts, findings: Sequence[Findings],
    report_html: str, pdf: bool = True,
) -> Handover:
    """The pack of one site, with its firm's name, logo and language.

    Parameters
    ----------
    sitefile : SiteFile
        Its ``[firm]`` says name, logo, contact, licence and language.
    folder : Path
        An existing folder; the pack becomes its folder ``handover``.
    facts : CustomerFacts
        Of `customer_facts`.
    findings : sequence of Findings
        What the executed workbooks found, as `write_report` gives them.
    report_html : str
        The written report of the site.
    pdf : bool
        Also as PDF.

    Raises
    ------
    InputError
        For a logo or a language that cannot be used, naming file and field.
    """
    firm = letterhead_of(sitefile)
    files = write_handover(
        folder, facts, firm, sitefile.site.firm.language, report_html, pdf=pdf,
        where=f"{sitefile.path.name}: firm.language",
    )  # fmt: skip
    checks = worst_first(verdict for found in findings for verdict in found.verdicts)
    return Handover(
        files=files, open_checks=tuple(one for one in checks if one.outcome != "passed"))


def letterhead_of(sitefile: SiteFile) -> Letterhead:
    """The firm of a site file, its logo read and checked.

    Raises
    ------
    InputError
        When the logo cannot be used; names the site file and ``firm.logo``.
    """
    firm = sitefile.site.firm
    logo = read_logo(sitefile.folder / firm.logo, where=f"{sitefile.path.name}: firm.logo") if (
        firm.logo) else ""
    return Letterhead(name=firm.name, contact=firm.contact, licence=firm.licence, logo=logo)


def engineer_html(report_html: str, firm: Letterhead) -> str:
    """The written report with the firm in its head; one that has it already stays as it is.

    Raises
    ------
    ReportError
        When the page is no report of ours.
    """
    if report_html.count(_HEAD) != 1:
        raise ReportError("engineer's file: this page is not a report that solarcalc wrote")
    head = environment().get_template("handover_letterhead.html.j2").render(firm=firm)
    if not head.strip() or f'{_HEAD}<div class="firm"' in report_html:
        return report_html
    return report_html.replace(_HEAD, f"{_HEAD}{head}", 1)


def write_handover(
    folder: Path, facts: CustomerFacts, firm: Letterhead, language: str, report_html: str, *,
    pdf: bool = True, where: str = "language",
) -> tuple[Path, ...]:
    """Write customer.html, engineer.html and, with `pdf`, both as PDF: all of them or none.

    Everything is made before anything is written. An older pack is replaced only by a whole one.

    Parameters
    ----------
    folder : Path
        An existing folder; the files go into its folder ``handover``.
    facts : CustomerFacts
    firm : Letterhead
    language : str
        Of the customer's report; the engineer's file is in the language of the workbooks.
    report_html : str
        The written report of the site.
    pdf : bool
        Also as PDF.
    where : str
        Field to name when there is no such language.

    Returns
    -------
    tuple of Path

    Raises
    ------
    InputError
        For another language.
    ReportError
        When `report_html` is no report of ours.
    """
    messages(language, where=where)
    pages = {
        "customer": customer_html(facts, firm, language),
        "engineer": engineer_html(report_html, firm),
    }
    content = {f"{name}.html": page.encode("utf-8") for name, page in pages.items()}
    if pdf:
        content |= {f"{name}.pdf": pdf_bytes(page) for name, page in pages.items()}
    target = folder / FOLDER
    _write_all(target, content)
    return tuple(target / name for name in sorted(content))


def _write_all(target: Path, content: dict[str, bytes]) -> None:
    """Fill a folder beside `target`, then let it take its place."""
    with whole_folder(target) as folder:
        for name, raw in content.items():
            (folder / name).write_bytes(raw)
