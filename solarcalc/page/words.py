"""Sentences, tables, formulas, checks and assumptions on the page; all of it as plain text."""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import InputError
from solarcalc.basis.sourced import Sourced
from solarcalc.basis.verdict import Verdict, worst_first
from solarcalc.page.publish import (
    ASSUMPTIONS_MIME,
    FORMULA_MIME,
    MARKS,
    NO_MATHS,
    cell_text,
    fault,
    heads_and_rows,
    is_number,
    plain_record,
    publish,
    publish_html,
    table_html,
    table_text,
    with_unit,
)

if TYPE_CHECKING:
    import pandas as pd


def show_table(
    table: pd.DataFrame | pd.Series[Any] | Sequence[Mapping[str, object]],
    *,
    caption: str,
    digits: int | Mapping[str, int] = 1,
) -> None:
    """Show a table with every cell escaped and the numbers at the right.

    Parameters
    ----------
    table : DataFrame, Series or sequence of mappings
        One mapping a row, keys are the column heads. An index that is not 0, 1, 2... becomes
        the first column.
    caption : str
        One line above the table.
    digits : int or mapping of column to int
        Decimals of floats; columns left out of a mapping get one.

    Raises
    ------
    InputError
        When there are no columns.
    """
    heads, rows = heads_and_rows(table)
    if not heads:
        raise InputError(fault("show_table: table", "no columns", "at least one column"))
    places = [digits if isinstance(digits, int) else digits.get(head, 1) for head in heads]
    cells = [[cell_text(value, place) for value, place in zip(row, places, strict=True)]
             for row in rows]
    right = [all(is_number(row[column]) or row[column] is None for row in rows)
             and any(is_number(row[column]) for row in rows) for column in range(len(heads))]
    publish_html(table_html(heads, cells, right, caption),
                  table_text(heads, cells, right, caption))


def say(text: str) -> None:
    """Show one paragraph of plain text; nothing in it is read as HTML, markdown or maths."""
    publish_html(f'<p class="{NO_MATHS}">{html.escape(text)}</p>', text)


def show_points(texts: Iterable[str]) -> None:
    """Show sentences as a list of points; plain text, as in `say`."""
    points = list(texts)
    if points:
        items = "".join(f"<li>{html.escape(point)}</li>" for point in points)
        publish_html(f'<ul class="{NO_MATHS}">{items}</ul>', "\n".join(f"- {p}" for p in points))


def show_formula(latex: str, note: str = "") -> None:
    """Show a formula, and under it a line of plain text.

    Parameters
    ----------
    latex : str
        TeX without the dollar signs. It is written in the workbook, never in a site file.
    note : str
        What the symbols stand for, with units; may be empty.
    """
    publish({
        FORMULA_MIME: {"latex": latex, "note": note},
        "text/latex": f"$\\displaystyle {latex}$",
        "text/plain": latex,
    })
    if note:
        say(note)


def show_verdicts(verdicts: Iterable[Verdict], *, caption: str = "Checks, worst first") -> None:
    """Show checks as a table, the failed ones first, each with what to do."""
    ordered = worst_first(verdicts)
    if not ordered:
        say("No checks were made here.")
        return
    show_table(
        [{"check": verdict.item, "outcome": MARKS[verdict.outcome],
          "found": with_unit(verdict.found, verdict.unit),
          "limit": with_unit(verdict.limit, verdict.unit),
          "rule and source": verdict.clause, "what to do": verdict.remedy}
         for verdict in ordered],
        caption=caption,
    )


def show_assumptions(sourced: Sequence[Sourced], *, caption: str = "Assumptions") -> None:
    """Show constants and defaults with their sources; the report gathers them in one chapter."""
    rows = [{"what": entry.label, "value": entry.value, "unit": entry.unit, "source": entry.source}
            for entry in sourced]
    if not rows:
        say("No assumptions of its own.")
        return
    heads = list(rows[0])
    cells = [[_plain_number(row["value"]) if head == "value" else str(row[head])
              for head in heads] for row in rows]
    right = [head == "value" for head in heads]
    publish_html(
        table_html(heads, cells, right, caption), table_text(heads, cells, right, caption),
        {ASSUMPTIONS_MIME: {"assumptions": [plain_record(asdict(entry)) for entry in sourced]}},
    )


def _plain_number(value: object) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value)
