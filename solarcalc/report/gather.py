"""Read what an executed workbook found, and refuse one that went wrong."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from solarcalc.basis.bibliography import Work, works_named_in
from solarcalc.basis.sourced import Sourced
from solarcalc.basis.verdict import Verdict
from solarcalc.page import ASSUMPTIONS_MIME, RESULTS_MIME
from solarcalc.report.records import Findings, ReportError

LEFT_OUT = frozenset({"parameters", "injected-parameters", "setup", "explore", "exercise"})
"""Tags of cells that no customer report shows."""


def check_clean(workbook: str, notebook: Any) -> None:
    """Refuse an executed notebook with an error, a message on stderr or a figure without words.

    Raises
    ------
    ReportError
        Names the workbook, the cell and what was there.
    """
    for number, cell in enumerate(notebook.cells, start=1):
        for output in cell.get("outputs", []):
            where = f"{workbook}, cell {number}"
            if output.output_type == "error":
                raise ReportError(f"{where}: {output.ename}: {_first(output.evalue)}")
            if output.output_type == "stream" and output.name == "stderr":
                raise ReportError(f"{where}: a warning or message on stderr: "
                                  f"{_first(output.text)}")
            data, metadata = output.get("data", {}), output.get("metadata", {})
            for kind in ("image/png", "image/svg+xml", "image/jpeg"):
                if kind in data and not str(metadata.get(kind, {}).get("alt", "")).strip():
                    raise ReportError(f"{where}: a figure without a text alternative; "
                                      "show it with page.show_figure(fig, alt)")


def findings_of(workbook: str, notebook: Any) -> Findings:
    """Answer, values, verdicts and assumptions of one executed workbook.

    Raises
    ------
    ReportError
        When the workbook has no results output, or several.
    """
    results = list(_records(notebook, RESULTS_MIME))
    if len(results) != 1:
        raise ReportError(f"{workbook}: {len(results)} results outputs where there must be one "
                          "(page.show_results)")
    record = results[0]
    order = record.get("order", list(record["values"]))
    return Findings(
        workbook=workbook,
        title=_title(notebook) or workbook,
        answer=record["answer"],
        values={name: record["values"][name] for name in order},
        verdicts=tuple(Verdict(**verdict) for verdict in record["verdicts"]),
        assumptions=tuple(Sourced(**entry) for found in _records(notebook, ASSUMPTIONS_MIME)
                          for entry in found["assumptions"]),
    )


def merged_assumptions(findings: Iterable[Findings]) -> tuple[Sourced, ...]:
    """All assumptions once each, in the order they were first met."""
    return tuple(dict.fromkeys(entry for found in findings for entry in found.assumptions))


def sources_of(findings: Iterable[Findings]) -> tuple[Work, ...]:
    """Every work named by an assumption or a check, once each, in alphabetical order."""
    findings = tuple(findings)
    named = [entry.source for entry in merged_assumptions(findings)]
    named += [verdict.clause for found in findings for verdict in found.verdicts]
    return works_named_in(named)


def _records(notebook: Any, mime: str) -> Iterator[dict[str, Any]]:
    for cell in notebook.cells:
        if "exercise" in cell.get("metadata", {}).get("tags", []):
            continue
        for output in cell.get("outputs", []):
            if mime in output.get("data", {}):
                yield output.data[mime]


def _title(notebook: Any) -> str:
    for cell in notebook.cells:
        found = re.search(r"^#\s+(.+)$", cell.source, re.MULTILINE)
        if cell.cell_type == "markdown" and found:
            return found.group(1).strip()
    return ""


def _first(text: str) -> str:
    lines = [line for line in text.strip().splitlines() if line.strip()]
    return lines[0][:300] if lines else "(empty)"
