"""Schedules and drawings of executed workbooks as files of their own, beside the report."""

from __future__ import annotations

import base64
import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

from solarcalc.basis.text import guard_cell
from solarcalc.page import DRAWING_MIME, FILES_MIME, SCHEDULE_MIME
from solarcalc.report.records import ReportError


def sheet_files(notebooks: Mapping[str, Any]) -> dict[str, bytes]:
    """Content of each file: ``schedules/NAME.csv``, ``drawings/NAME.svg`` and files named whole.

    A schedule begins with a byte order mark, without which spreadsheets misread accented names;
    a cell that a spreadsheet would run as a formula is made text.

    Parameters
    ----------
    notebooks : mapping of str to executed notebook

    Raises
    ------
    ReportError
        When two sheets have one name.
    """
    files: dict[str, bytes] = {}
    for workbook, notebook in notebooks.items():
        for name, content in _sheets(notebook):
            if name in files:
                raise ReportError(f"{workbook}: a second {name}; each has a name of its own")
            files[name] = content
    return files


def _sheets(notebook: Any) -> Iterator[tuple[str, bytes]]:
    for cell in notebook.cells:
        if "exercise" in cell.get("metadata", {}).get("tags", []):
            continue
        for output in cell.get("outputs", []):
            data = output.get("data", {})
            if SCHEDULE_MIME in data:
                record = data[SCHEDULE_MIME]
                yield f"schedules/{record['file']}.csv", _csv(record)
            if DRAWING_MIME in data:
                name = f"drawings/{data[DRAWING_MIME]['file']}.svg"
                yield name, data["image/svg+xml"].encode("utf-8")
            if FILES_MIME in data:
                yield from _files(data[FILES_MIME])


def _files(record: Mapping[str, Any]) -> Iterator[tuple[str, bytes]]:
    for name, held in record["files"].items():
        yield f"{record['folder']}/{name}", base64.b64decode(held)


def _csv(record: Mapping[str, Any]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    for row in (record["heads"], *record["cells"]):
        writer.writerow([guard_cell(cell) for cell in row])
    return text.getvalue().encode("utf-8-sig")
