"""Outputs of an executed workbook as blocks of a document: tables, figures, drawings, formulas.

Read off the records that `solarcalc.page` leaves beside what it shows; no HTML is read. Lists of
points are advice and stay in the workbook, as does what is an exercise, prose or a warning.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from solarcalc.battery.existing import EXISTING_CAUTION
from solarcalc.diagrams.sheet import paper_of
from solarcalc.documents.tree import Block, figure, formula, sentence, sheet, table
from solarcalc.page import (
    DRAWING_MIME,
    FILES_MIME,
    FORMULA_MIME,
    PAGE_MARK,
    TABLE_MIME,
)

_PNG, _SVG = "image/png", "image/svg+xml"


def cell_blocks(cells: Iterable[Any]) -> list[Block]:
    """Blocks of what cells show."""
    return [block for cell in cells for output in cell.get("outputs", [])
            for block in _blocks(output.get("data", {}), output.get("metadata", {}))]  # fmt: skip


def _blocks(data: Mapping[str, Any], metadata: Mapping[str, Any]) -> Iterator[Block]:
    if FORMULA_MIME in data:
        yield formula(data[FORMULA_MIME]["latex"])
    elif TABLE_MIME in data:
        yield record_table(data[TABLE_MIME])
    elif DRAWING_MIME in data:
        yield sheet(data[_SVG], metadata[_SVG]["alt"], paper=paper_of(data[_SVG]))
    elif _PNG in data:
        yield figure(base64.b64decode(data[_PNG]), metadata[_PNG]["alt"])
    elif FILES_MIME not in data and metadata.get("text/html", {}).get(PAGE_MARK):
        text = str(data["text/plain"])
        if str(data["text/html"]).startswith("<p") and text != EXISTING_CAUTION:
            yield sentence(text)


def record_table(record: Mapping[str, Any]) -> Block:
    """A table by its record."""
    return table(record["head"], record["rows"], caption=record["caption"], right=record["right"])
