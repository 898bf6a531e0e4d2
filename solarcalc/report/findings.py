"""What executed workbooks found: read, refused where one went wrong, sheets written as files."""

from __future__ import annotations

import base64
import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from solarcalc.basis.check import Check
from solarcalc.basis.messages import PATTERN
from solarcalc.basis.phrases import listed
from solarcalc.basis.quantity import on_paper
from solarcalc.basis.sourced import Sourced, Work, works_named_in
from solarcalc.basis.text import guard_cell
from solarcalc.page import ASSUMPTIONS_MIME, DRAWING_MIME, FILES_MIME, RESULTS_MIME, SCHEDULE_MIME
from solarcalc.sitefile.dangers import Danger
from solarcalc.sitefile.exposure import Measure


class ReportError(RuntimeError):
    """An executed workbook that may not become a report; the text says which cell and why."""


@dataclass(frozen=True, kw_only=True)
class Letterhead:
    """The firm as its papers show it.

    Parameters
    ----------
    name, contact, licence : str
        As the site file has them; each may be empty.
    logo : str
        The picture as a data address, made by `read_logo`; empty for none.
    """

    name: str = ""
    contact: str = ""
    licence: str = ""
    logo: str = ""


@dataclass(frozen=True, kw_only=True)
class SiteSummary:
    """The words of the title block.

    Parameters
    ----------
    name, customer, note : str
        As the site file has them; shown escaped wherever they appear.
    slug : str
        File name made from the site's name.
    latitude_deg, longitude_deg, elevation_m : float
        North, east and up positive [deg, deg, m].
    file_name : str
        Name of the site file.
    file_sha256 : str
        Checksum of the site file, so that a report can be matched to its input.
    made : datetime
        When the report was made, with its zone.
    version : str
        Version of solarcalc.
    dangers : tuple of Danger
        Those that the site meets; no others stand in its papers.
    examples : tuple of str
        What comes from the invented lists: its papers are stamped as an example.
    asked_by_place : tuple of Measure
        What its exposure asks for.
    """

    name: str
    customer: str
    note: str
    slug: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    file_name: str
    file_sha256: str
    made: datetime
    version: str
    dangers: tuple[Danger, ...]
    examples: tuple[str, ...] = ()
    asked_by_place: tuple[Measure, ...] = ()

    @property
    def place(self) -> str:
        """Latitude, longitude and height in words."""
        north = f"{abs(self.latitude_deg):.3f}° {'S' if self.latitude_deg < 0 else 'N'}"
        east = f"{abs(self.longitude_deg):.3f}° {'W' if self.longitude_deg < 0 else 'E'}"
        return f"{north}, {east}, {self.elevation_m:.0f} m above sea level"


@dataclass(frozen=True, kw_only=True)
class Findings:
    """What one executed workbook found.

    Parameters
    ----------
    workbook : str
        File name of the workbook without its ending.
    title : str
        Its first heading.
    answer : str
        One sentence.
    values : dict of str to float, int or str
        Named values in the workbook's own order, unit last in the name.
    checks : tuple of Check
    assumptions : tuple of Sourced
    headline : str
        The site's energies of the year, as every workbook says them.
    """

    workbook: str
    title: str
    answer: str
    values: dict[str, float | int | str]
    checks: tuple[Check, ...]
    assumptions: tuple[Sourced, ...]
    headline: str = ""


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
    """Answer, values, checks and assumptions of one executed workbook.

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
        title=notebook_title(notebook) or workbook,
        answer=record["answer"],
        headline=record.get("headline", ""),
        values={name: record["values"][name] for name in order},
        checks=tuple(Check(**check) for check in record["checks"]),
        assumptions=tuple(Sourced(**entry) for found in _records(notebook, ASSUMPTIONS_MIME)
                          for entry in found["assumptions"]),
    )


def headline_of(findings: Iterable[Findings]) -> str:
    """The one headline of all workbooks; empty where none has one.

    Raises
    ------
    ReportError
        When two workbooks say different things.
    """
    said = {found.headline: found.workbook for found in findings if found.headline}
    if len(said) > 1:
        raise ReportError("workbooks tell different energies of the year: "
                          + "; ".join(f"{book}: {words}" for words, book in said.items()))
    return next(iter(said), "")


def merged_assumptions(findings: Iterable[Findings]) -> tuple[Sourced, ...]:
    """All assumptions once each, in the order they were first met."""
    return tuple(dict.fromkeys(entry for found in findings for entry in found.assumptions))


def sources_of(findings: Iterable[Findings]) -> tuple[Work, ...]:
    """Every work named by an assumption or a check, once each, in alphabetical order."""
    findings = tuple(findings)
    named = [entry.source for entry in merged_assumptions(findings)]
    named += [check.clause for found in findings for check in found.checks]
    return works_named_in(named)


def _records(notebook: Any, mime: str) -> Iterator[dict[str, Any]]:
    for cell in notebook.cells:
        if "exercise" in cell.get("metadata", {}).get("tags", []):
            continue
        for output in cell.get("outputs", []):
            if mime in output.get("data", {}):
                yield output.data[mime]


def notebook_title(notebook: Any) -> str:
    """First heading of a notebook's text, or nothing where it has none."""
    for cell in notebook.cells:
        found = re.search(r"^#\s+(.+)$", cell.source, re.MULTILINE)
        if cell.cell_type == "markdown" and found:
            return found.group(1).strip()
    return ""


def _first(text: str) -> str:
    lines = [line for line in text.strip().splitlines() if line.strip()]
    return lines[0][:300] if lines else "(empty)"


def sheet_files(notebooks: Mapping[str, Any], language: str = PATTERN) -> dict[str, bytes]:
    """Content of each file: ``schedules/NAME.csv``, ``drawings/NAME.svg`` and files named whole.

    A schedule begins with a byte order mark, without which spreadsheets misread accented names;
    a cell that a spreadsheet would run as a formula is made text.

    Parameters
    ----------
    notebooks : mapping of str to executed notebook
    language : str
        Of heads and texts of the schedules.

    Raises
    ------
    ReportError
        When two sheets have one name.
    """
    files: dict[str, bytes] = {}
    for workbook, notebook in notebooks.items():
        for name, content in _sheets(notebook, language):
            if name in files:
                raise ReportError(f"{workbook}: a second {name}; each has a name of its own")
            files[name] = content
    return files


def schedule_of(notebooks: Mapping[str, Any], file: str) -> list[dict[str, str]]:
    """Rows of a schedule that one of the workbooks shows, by head; none where none does."""
    for notebook in notebooks.values():
        for record in _records(notebook, SCHEDULE_MIME):
            if record["file"] == file:
                return [dict(zip(record["heads"], cells, strict=True))
                        for cells in record["cells"]]  # fmt: skip
    return []


def _sheets(notebook: Any, language: str) -> Iterator[tuple[str, bytes]]:
    for cell in notebook.cells:
        if "exercise" in cell.get("metadata", {}).get("tags", []):
            continue
        for output in cell.get("outputs", []):
            data = output.get("data", {})
            if SCHEDULE_MIME in data:
                record = data[SCHEDULE_MIME]
                yield f"schedules/{record['file']}.csv", _csv(record, language)
            if DRAWING_MIME in data:
                name = f"drawings/{data[DRAWING_MIME]['file']}.svg"
                yield name, data["image/svg+xml"].encode("utf-8")
            if FILES_MIME in data:
                yield from _files(data[FILES_MIME])


def _files(record: Mapping[str, Any]) -> Iterator[tuple[str, bytes]]:
    for name, held in record["files"].items():
        yield f"{record['folder']}/{name}", base64.b64decode(held)


def _csv(record: Mapping[str, Any], language: str) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    for row in (record["heads"], *record["cells"]):
        writer.writerow([guard_cell(listed(cell, language)) for cell in row])
    return text.getvalue().encode("utf-8-sig")


def value_rows(record: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Name in words, printed value and unit for each named value, in the workbook's order."""
    order = record.get("order", list(record["values"]))
    return [on_paper(name, record["values"][name]) for name in order]
