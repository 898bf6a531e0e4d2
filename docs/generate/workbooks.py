"""The workbooks with their parameters and results, and the documents of a site."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from generate.markdown import code, fenced, table, text

from solarcalc.basis.files import workbooks_folder
from solarcalc.page import RESULTS_MIME
from solarcalc.sitefile.status import document_set


def pages(_: Path) -> Iterator[tuple[str, str]]:
    """A page of workbooks, and one of documents."""
    parts = ["# Workbooks",
             "`solarcalc workbooks --out my-workbooks` copies them out; `jupyter lab` opens them."
             " Every workbook takes a `site_file` (a path, the name of a demo site, or"
             " `SITE:variant`) and `changes`: keys of the site file to try, checked like the file"
             " itself. The results below are those of the demo site in the parameters cell."]
    for path in sorted(workbooks_folder().glob("*.ipynb")):
        parts += _workbook(path)
    yield "workbooks.md", "\n\n".join(parts) + "\n"
    yield "documents.md", _documents()


def _workbook(path: Path) -> list[str]:
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    first = _source(cells[0])
    title, _, about = first.partition("\n")
    parameters = next(_source(cell) for cell in cells if "parameters" in _tags(cell))
    results = next(cell for cell in cells if "results" in _tags(cell))
    found: dict[str, Any] = results["outputs"][0]["data"][RESULTS_MIME]
    steps = [text(match[1]) for cell in cells
             if (match := re.match(r"## (.+)", _source(cell)))]  # fmt: skip
    return [f"## {path.stem}", f"*{text(title.removeprefix('# '))}* {text(about)}",
            "Parameters:", fenced(parameters, "python"),
            "Steps: " + "; ".join(steps) + ".",
            f"Answer: {text(found['answer'])}",
            table(("value", "result"), [(code(name), text(value))
                                        for name, value in found["values"].items()])]  # fmt: skip


def _source(cell: dict[str, Any]) -> str:
    return "".join(cell["source"])


def _tags(cell: dict[str, Any]) -> list[str]:
    return list(cell["metadata"].get("tags", []))


def _documents() -> str:
    rows = [(code(key), text(one.title), text(one.reader), text(one.stage),
             str(one.pages or "no limit"), "yes" if one.leaves else "no")
            for key, one in document_set().items()]  # fmt: skip
    return "\n\n".join([
        "# Documents",
        "Each document is one HTML file for the screen and one PDF to print or send, for one"
        " reader, with its number, revision and status in the title block. The stage of a site"
        " (`status.stage`) decides which are made; `--documents DS,QU` makes some of them alone."
        " The site pack and the sheet of the tests grow by rule beyond their pages.",
        table(("code", "document", "reader", "from stage", "A4 pages at most", "leaves the firm"),
              rows),
    ]) + "\n"  # fmt: skip
