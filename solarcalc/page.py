"""What a workbook calls to put things on the page; whatever it is given is shown as text.

Nothing here sums or decides. Every word that may come from a site file (names, notes, labels)
is escaped, so that it can neither run nor be read as a formula.
"""

from __future__ import annotations

import base64
import html
import math
import re
import sys
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from functools import wraps
from typing import TYPE_CHECKING, Any, ParamSpec

from solarcalc.basis.check import Check, Outcome, worst_first
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.quantity import figure, grouped, on_paper, unit_sign
from solarcalc.basis.sourced import Sourced
from solarcalc.basis.worked import Worked

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.figure import Figure


RESULTS_MIME = "application/vnd.solarcalc.results+json"
ASSUMPTIONS_MIME = "application/vnd.solarcalc.assumptions+json"
FORMULA_MIME = "application/vnd.solarcalc.formula+json"
SCHEDULE_MIME = "application/vnd.solarcalc.schedule+json"
FILES_MIME = "application/vnd.solarcalc.files+json"
TABLE_MIME = "application/vnd.solarcalc.table+json"
DRAWING_MIME = "application/vnd.solarcalc.drawing+json"
PAGE_MARK = "solarcalc_page"
"""Key in the display metadata of HTML made here; the report shows no other HTML."""

MARKS: dict[Outcome, str] = {
    "failed": "✗ FAILED", "review": "▲ review", "passed": "✓ passed",
    "not assessed": "? not assessed",
}
"""Sign and word for each outcome; both survive a black and white print."""

NO_MATHS = "mathjax_ignore tex2jax_ignore"


_WHOLE = (
    "<style>.highlight pre {white-space: pre-wrap; overflow-wrap: anywhere} @media print {"
    "table.sc-table {font-size: 9px} .sc-table th, .sc-table td {padding: 2px 3px}}</style>"
)
"""Nothing is cut in an export or in print: code goes on in the next line, tables are dense."""


def publish(data: Mapping[str, object], metadata: Mapping[str, object] | None = None) -> None:
    """One display output in a notebook; the text alone where there is none."""
    from IPython.core.interactiveshell import InteractiveShell
    from IPython.display import publish_display_data

    if InteractiveShell.initialized():
        publish_display_data(  # type: ignore[no-untyped-call]
            data=dict(data), metadata=dict(metadata or {})
        )
    elif data["text/plain"]:
        print(data["text/plain"])


def publish_html(
    markup: str, plain: str, more: Mapping[str, object] | None = None
) -> None:
    """HTML made here, with its plain text beside it; `more` are records for the report."""
    publish({**(more or {}), "text/html": markup, "text/plain": plain},
             {"text/html": {PAGE_MARK: True}})


def show_whole() -> None:
    """Let nothing be cut where this notebook is exported or printed; `show_results` does so too."""
    publish_html(_WHOLE, "")


def table_html(
    heads: Sequence[str], cells: Sequence[Sequence[str]], right: Sequence[bool], caption: str,
    look: str = "",
) -> str:  # fmt: skip
    """A table with every cell escaped; `right` says which columns are numbers, `look` is CSS."""
    def row(tag: str, texts: Sequence[str], extra: str = "") -> str:
        made = []
        for text, to_right in zip(texts, right, strict=True):
            side = "right" if to_right else "left"
            shown = html.escape(text).replace("_", "_<wbr>")
            made.append(f'<{tag}{extra} style="text-align:{side}">{shown}</{tag}>')
        return "<tr>" + "".join(made) + "</tr>"

    body = "".join(row("td", texts) for texts in cells)
    head = row("th", heads, ' scope="col"')
    over = f"<caption>{html.escape(caption)}</caption>" if caption else ""
    style = f' style="{look}"' * bool(look)
    return (f'<table class="sc-table {NO_MATHS}"{style}>{over}'
            f"<thead>{head}</thead><tbody>{body}</tbody></table>")


def publish_table(
    heads: Sequence[str], cells: Sequence[Sequence[str]], right: Sequence[bool], caption: str,
    more: Mapping[str, object] | None = None,
) -> None:  # fmt: skip
    """A table as HTML, as plain text and as a record of its cells for the documents."""
    record = {"caption": caption, "head": list(heads), "rows": [list(row) for row in cells],
              "right": [column for column, numbers in enumerate(right) if numbers]}
    publish_html(table_html(heads, cells, right, caption), table_text(heads, cells, right, caption),
                 {TABLE_MIME: record, **(more or {})})


def table_text(
    heads: Sequence[str], cells: Sequence[Sequence[str]], right: Sequence[bool], caption: str
) -> str:
    """The same table in plain text."""
    lines = [list(heads), *[list(row) for row in cells]]
    widths = [max(len(line[column]) for line in lines) for column in range(len(heads))]
    shown = ["  ".join(text.rjust(width) if to_right else text.ljust(width)
                       for text, width, to_right in zip(line, widths, right, strict=True)).rstrip()
             for line in lines]
    return "\n".join([caption, *shown])


def heads_and_rows(table: Any) -> tuple[list[str], list[list[object]]]:
    """Column heads and rows of a table of any kind; an index with words comes first."""
    if hasattr(table, "to_frame") and not hasattr(table, "columns"):
        table = table.to_frame(name=str(table.name) if table.name is not None else "value")
    if hasattr(table, "columns"):
        heads = [str(column) for column in table.columns]
        rows = [list(row) for row in table.itertuples(index=False, name=None)]
        index = table.index
        if list(index) != list(range(len(index))):
            heads = [str(index.name) if index.name is not None else "", *heads]
            rows = [[label, *row] for label, row in zip(index, rows, strict=True)]
        return heads, rows
    heads = list(dict.fromkeys(str(key) for row in table for key in row))
    return heads, [[row.get(head) for head in heads] for row in table]


def heading(head: str) -> str:
    """A column head as a page prints it: a word begins with a capital, a symbol stays.

    Examples
    --------
    >>> heading("voltage drop [%]"), heading("kWp"), heading("I_b [A]"), heading("id")
    ('Voltage drop [%]', 'kWp', 'I_b [A]', 'ID')
    >>> heading("copper [mm2]")
    'Copper [mm²]'
    """
    if head == "id":
        return "ID"
    head = re.sub(r"\[([^\[\]]+)\]", lambda unit: f"[{unit_sign(unit[1])}]", head)
    return head[0].upper() + head[1:] if re.match(r"[a-z]{2,}\b", head) else head


def is_number(value: object) -> bool:
    """Whether a value is a number, numpy's counted in; True is none."""
    plain = value.item() if hasattr(value, "item") else value
    return isinstance(plain, (int, float)) and not isinstance(plain, bool)


_NO_NUMBER = (None, "", "none", "never", "–")
"""What may stand in a column of numbers where there is none."""
_PRINTED = re.compile(r"[-−]?\d[\d\u202f]*(\.\d+)?")


def reads_as_number(value: object) -> bool:
    """Whether a cell is a number, or the text of one as it is printed."""
    return is_number(value) or (isinstance(value, str) and bool(_PRINTED.fullmatch(value)))


def cell_text(value: object, places: int) -> str:
    """One cell as printed: missing is a dash, floats to so many places."""
    plain = value.item() if hasattr(value, "item") else value
    if plain is None or plain != plain:  # NaN and NaT differ from themselves
        return "–"
    if isinstance(plain, bool):
        return "yes" if plain else "no"
    if isinstance(plain, float):
        text = f"{plain:.{places}f}"
        return grouped(text.removeprefix("-") if float(text) == 0.0 else text)
    return grouped(str(plain)) if isinstance(plain, int) else str(plain)


def plain_record(record: dict[str, Any]) -> dict[str, Any]:
    """A record with numpy scalars turned into Python's own."""
    return {key: value.item() if hasattr(value, "item") else value
            for key, value in record.items()}


def fault(where: str, given: str, allowed: str, remedy: str = "") -> Fault:
    """A fault of what a page function was given."""
    return Fault(where=where, given=given, allowed=allowed, remedy=remedy)


P = ParamSpec("P")
boxes: set[tuple[int, str]] = set()
"""Cell and sentence of the boxes on the page: what one cell shows of a thing is one box."""


def show_no_answer(why: NoAnswer) -> None:
    """Show in a box why there is no answer; once a cell, however many things it has none for."""
    from IPython.core.interactiveshell import InteractiveShell

    if InteractiveShell.initialized():
        cell = (InteractiveShell.instance().execution_count, why.sentence)
        if cell in boxes:
            return
        boxes.add(cell)
    publish_html(box_html(why.sentence), why.sentence)


def box_html(words: str) -> str:
    """A box of one sentence, escaped."""
    return f'<p class="example {NO_MATHS}">{html.escape(words)}</p>'


def _or_box(show: Callable[P, None]) -> Callable[P, None]:
    """The same, but given why there is no answer in place of what to show, it shows the why."""
    shown = or_why(show)

    @wraps(show)
    def show_it(*args: P.args, **kwargs: P.kwargs) -> None:
        why = shown(*args, **kwargs)
        if isinstance(why, NoAnswer):
            show_no_answer(why)

    return show_it


FIGURE_DPI = 144
"""Dots per inch of figures: twice the 72 of a screen point, sharp on screen and in print."""


@_or_box
def show_figure(fig: Figure, alt: str) -> None:
    """Show a figure as one picture with its text alternative, and close it.

    Parameters
    ----------
    fig : matplotlib.figure.Figure
        As returned by a ``draw_...`` function.
    alt : str
        What is drawn, for a reader who cannot see it; what its titles find is said after it.

    Raises
    ------
    InputError
        When the text alternative is empty.
    """
    if not alt.strip():
        raise InputError(fault("show_figure: alt", alt, "a sentence that says what is seen"))
    from solarcalc.figures.style import pixels_of, titles_of

    if found := titles_of(fig):
        alt = f"{alt.rstrip('. ')}. {found}"
    pixels = pixels_of(fig, dpi=FIGURE_DPI)
    _close(fig)
    _publish_picture("figure", "image/png", pixels, alt)


def _publish_picture(
    what: str, kind: str, content: bytes, alt: str, more: Mapping[str, object] | None = None
) -> None:
    """A picture with its text alternative.

    JupyterLab and the pages it exports or prints show a picture that comes by itself without its
    words: for them it stands in HTML. By itself it is there for documents and other exports.
    """
    base = base64.b64encode(content).decode("ascii")
    shown = (f'<img alt="{html.escape(alt)}" style="max-width:100%;height:auto"'
             f' src="data:{kind};base64,{base}">')
    alone = content.decode("utf-8") if kind == "image/svg+xml" else base
    publish({**(more or {}), "text/html": shown, kind: alone, "text/plain": f"[{what}] {alt}"},
            {kind: {"alt": alt}})


def _close(fig: Figure) -> None:
    """Close a figure of pyplot's; ours are none (`figures.style`)."""
    if pyplot := sys.modules.get("matplotlib.pyplot"):
        pyplot.close(fig)


@_or_box
def show_table(
    table: pd.DataFrame | pd.Series[Any] | Sequence[Mapping[str, object]], *, caption: str,
    digits: int | Mapping[str, int] = 1,
) -> None:  # fmt: skip
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
    right = [all(reads_as_number(row[column]) or row[column] in _NO_NUMBER for row in rows)
             and any(reads_as_number(row[column]) for row in rows) for column in range(len(heads))]
    heads = [heading(head) for head in heads]
    publish_table(heads, cells, right, caption)


@_or_box
def say(text: str) -> None:
    """Show one paragraph of plain text; nothing in it is read as HTML, markdown or maths."""
    publish_html(f'<p class="{NO_MATHS}">{html.escape(text)}</p>', text)


@_or_box
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
    publish({FORMULA_MIME: {"latex": latex, "note": note},
             "text/latex": f"$\\displaystyle {latex}$", "text/plain": latex})
    if note:
        say(note)


@_or_box
def show_worked(formulas: Worked | Sequence[Worked]) -> None:
    """Show formulas in symbols, with the figures put in, and what each symbol stands for.

    Parameters
    ----------
    formulas : Worked or sequence of Worked
        Of `solarcalc.views.worked`.
    """
    for one in [formulas] if isinstance(formulas, Worked) else formulas:
        show_formula(one.symbolic)
        show_formula(one.numeric, one.note)


def show_assumptions(sourced: Sequence[Sourced], *, caption: str = "Assumptions") -> None:
    """Show constants and defaults with their sources; the report gathers them in one chapter."""
    rows = [{"Quantity": entry.label, "Value": entry.value, "Unit": unit_sign(entry.unit),
             "Source": entry.source} for entry in sourced]
    if not rows:
        say("No assumptions of its own.")
        return
    heads = list(rows[0])
    cells = [[figure(row["Value"]) if head == "Value" else str(row[head])
              for head in heads] for row in rows]
    right = [head == "Value" for head in heads]
    publish_html(
        table_html(heads, cells, right, caption), table_text(heads, cells, right, caption),
        {ASSUMPTIONS_MIME: {"assumptions": [plain_record(asdict(entry)) for entry in sourced]}},
    )


_NAME = re.compile(r"^[a-z][a-z0-9_]*$")
_MOST_DIGITS = 9
"""A float in the results with more significant digits than this has not been rounded."""


def show_results(
    *, answer: str, values: Mapping[str, float | int | str], checks: Sequence[Check] = (),
    headline: str = "",
) -> None:
    """Show what the workbook found: one sentence, named values, checks. It opens the workbook.

    Parameters
    ----------
    answer : str
        One sentence that answers the question of the workbook.
    values : mapping of str to float, int or str
        Names with the unit last (``yearly_energy_kwh``); floats already rounded for a reader.
    checks : sequence of Check
        Checks made in this workbook.
    headline : str
        What every workbook of the site says alike: its energies of the year.

    Raises
    ------
    InputError
        For an empty answer, a name that is not plain, a value that is not a finite number or a
        text, or a float with more than nine significant digits (it has not been rounded).
    """
    plain = _checked_values(answer, values)
    width = max((len(name) for name in plain), default=0)
    lines = [*([headline] if headline else []), answer, ""]
    lines += [f"{name:<{width}} = {value}" for name, value in plain.items()]
    ordered = worst_first(checks)
    if ordered:
        lines += [""] + [_check_line(check) for check in ordered]
    record = {"headline": headline, "answer": answer, "values": plain,
              "order": list(plain),  # files sort their keys
              "checks": [asdict(check) for check in ordered]}
    publish_html(_results_html(record, ordered), "\n".join(lines), {RESULTS_MIME: record})


_KEY_NUMBERS = 8
"""Named values that stand beside the answer; the others are behind a fold."""


def _results_html(record: Mapping[str, Any], checks: Sequence[Check]) -> str:
    """The answer, its first numbers and what is not well; the rest folded."""
    printed = [on_paper(name, value) for name, value in record["values"].items()]
    rows = [[heading(words), f"{value} {unit}".strip()] for words, value, unit in printed]
    bad = [check for check in checks if check.outcome in ("failed", "review")]
    parts = [f'<p class="sc-answer {NO_MATHS}"><strong>{html.escape(record["answer"])}</strong>'
             "</p>",
             table_html(["Key number", "Value"], rows[:_KEY_NUMBERS], [False, True], "")]
    parts += [f"<p>{html.escape(record['headline'])}</p>"] if record["headline"] else []
    parts += [_list_html(bad)] if bad else []
    folded = [table_html(["Number", "Value"], rows[_KEY_NUMBERS:], [False, True], "")
              if rows[_KEY_NUMBERS:] else "", _list_html(checks) if checks else ""]
    if any(folded):
        parts.append(f"<details><summary>All numbers, and all {len(checks)} checks</summary>"
                     + "".join(folded) + "</details>")
    return f'<div class="{NO_MATHS}">{_WHOLE}{"".join(parts)}</div>'


def _list_html(checks: Sequence[Check]) -> str:
    items = "".join(f"<li>{html.escape(_check_line(check))}</li>" for check in checks)
    return f"<ul>{items}</ul>"


def _checked_values(
    answer: str, values: Mapping[str, float | int | str]
) -> dict[str, float | int | str]:
    faults = []
    if not answer.strip():
        faults.append(fault("show_results: answer", repr(answer), "a sentence"))
    plain: dict[str, float | int | str] = {}
    for name, given in values.items():
        value = given.item() if hasattr(given, "item") else given  # numpy scalar to Python's own
        where = f"show_results: {name}"
        if not _NAME.match(name):
            faults.append(fault(where, name, "a to z first, then a to z, 0 to 9 and _"))
        if isinstance(value, bool) or not isinstance(value, (int, float, str)):
            faults.append(fault(where, repr(value), "a number or a text"))
        elif isinstance(value, float) and not math.isfinite(value):
            faults.append(fault(where, repr(value), "a finite number",
                                 "say in words that there is no such value"))
        elif isinstance(value, float) and _digits_of(value) > _MOST_DIGITS:
            faults.append(fault(where, repr(value),
                                 f"at most {_MOST_DIGITS} significant digits", "round() it"))
        else:
            plain[name] = value + 0.0 if isinstance(value, float) else value  # -0.0 becomes 0.0
    if faults:
        raise InputError(faults)
    return plain


def _digits_of(value: float) -> int:
    return len(repr(value).partition("e")[0].replace(".", "").strip("-0"))


def _check_line(check: Check) -> str:
    assumed = ", assumed" if check.evidence == "assumed" else ""
    line = (f"{MARKS[check.outcome]}, {check.kind}: {check.item}: "
            f"{check.found_words}{assumed}, required {check.limit_words} ({check.clause})")
    after = f"accepted by {check.accepted}" if check.accepted else check.remedy
    return f"{line}; {after}" if after else line


_LIVE = ("<script", "<foreignobject", "<!entity", "<iframe", "<a ", "<image")
_SUFFIXES = (".csv", ".xlsx")
_FILE_NAME = re.compile(r"^[a-z][a-z0-9-]{1,40}$")


@_or_box
def show_schedule(
    rows: Sequence[Mapping[str, object]], *, file: str, caption: str, digits: int = 1,
    shown: Sequence[str] | None = None,
) -> None:
    """Show a schedule as a table; the batch writes it as ``schedules/FILE.csv`` as well.

    Parameters
    ----------
    rows : sequence of mappings
        One a line, all with the same keys: the column heads.
    file : str
        Name of the CSV file without its ending: small letters, digits and hyphens.
    caption : str
        One line above the table.
    digits : int
        Decimals of floats.
    shown : sequence of str, optional
        Columns that fit the page, where the file holds more; all of them if left out.

    Raises
    ------
    InputError
        For another file name, no rows, rows of unlike columns, or a column they have not.
    """
    _check_name("show_schedule", file)
    heads = list(rows[0]) if rows else []
    if not heads or any(list(row) != heads for row in rows):
        raise InputError(fault("show_schedule: rows", f"{len(rows)} rows",
                               "one or more rows, all with the same columns"))
    on_page = heads if shown is None else list(shown)
    if unknown := [head for head in on_page if head not in heads]:
        raise InputError(fault("show_schedule: shown", unknown[0], ", ".join(heads)))
    cells = [[cell_text(row[head], digits) for head in heads] for row in rows]
    seen = [[cell_text(row[head], digits) for head in on_page] for row in rows]
    right = [all(is_number(row[head]) for row in rows) for head in on_page]
    printed = [heading(head) for head in on_page]
    publish_table(printed, seen, right, caption,
                  {SCHEDULE_MIME: {"file": file, "heads": heads, "cells": cells}})


@_or_box
def show_drawing(svg: str, *, file: str, alt: str) -> None:
    """Show a drawing; the batch writes it as ``drawings/FILE.svg`` as well.

    Parameters
    ----------
    svg : str
        A whole SVG document without scripts or outside addresses.
    file : str
        Name of the SVG file without its ending: small letters, digits and hyphens.
    alt : str
        What the drawing says, for a reader who cannot see it.

    Raises
    ------
    InputError
        For another file name, no words, or a text that is no SVG document.
    """
    _check_name("show_drawing", file)
    if not alt.strip():
        raise InputError(fault("show_drawing: alt", alt, "a sentence that says what is seen"))
    if not svg.lstrip().startswith(("<svg", "<?xml")) or "</svg>" not in svg:
        raise InputError(fault("show_drawing: svg", svg[:40], "a whole SVG document"))
    live = [part for part in _LIVE if part in svg.lower()]
    if live:
        raise InputError(fault("show_drawing: svg", live[0], "a drawing in which nothing runs"))
    _publish_picture("drawing", "image/svg+xml", svg.encode(), alt, {DRAWING_MIME: {"file": file}})


@_or_box
def show_files(files: Mapping[str, bytes], *, folder: str, caption: str) -> None:
    """Name files that the batch writes into a folder beside the report.

    Parameters
    ----------
    files : mapping of str to bytes
        Content by name; small letters, digits and hyphens, ending in .csv or .xlsx.
    folder : str
        Small letters, digits and hyphens.
    caption : str
        What they are, in a line.

    Raises
    ------
    InputError
        For another name.
    """
    _check_name("show_files", folder)
    for name in files:
        stem, dot, ending = name.rpartition(".")
        if f"{dot}{ending}" not in _SUFFIXES:
            raise InputError(fault("show_files: files", name, "names in .csv or .xlsx"))
        _check_name("show_files", stem)
    held = {name: base64.b64encode(content).decode("ascii") for name, content in files.items()}
    words = f"{caption}: {', '.join(files)}, in the folder {folder} beside the report."
    publish_html(
        f'<p class="{NO_MATHS}">{html.escape(words)}</p>', words,
        {FILES_MIME: {"folder": folder, "files": held}},
    )


def _check_name(what: str, file: str) -> None:
    if not _FILE_NAME.match(file):
        raise InputError(fault(f"{what}: file", file,
                               "2 to 41 small letters, digits and hyphens, a letter first"))
