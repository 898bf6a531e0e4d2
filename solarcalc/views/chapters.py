"""What each chapter of a design found, where no workbook was run: its checks and nothing else."""

from __future__ import annotations

from solarcalc.basis.check import Check
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.commissioning.judge import commissioning_checks
from solarcalc.design import Design
from solarcalc.report.findings import Findings
from solarcalc.stages.progress import test_report
from solarcalc.views.followup import visit_checks


def chapter_findings(design: Design) -> list[Findings]:
    """Findings of each workbook's chapter, straight from the design."""
    report = test_report(design)
    checks: dict[str, tuple[Check, ...]] = {
        **design.checks,
        "commissioning": tuple(commissioning_checks(report)) if report else (),
        "followup": tuple(visit_checks(design)),
    }
    energy = or_why(lambda: design.year_energy)()
    headline = "" if isinstance(energy, NoAnswer) else energy.words
    return [
        Findings(workbook=chapter, title="", answer="", values={}, checks=found, assumptions=(),
                 headline=headline)
        for chapter, found in checks.items()
    ]  # fmt: skip
