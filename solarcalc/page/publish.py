"""One display output in a notebook, escaped HTML beside plain text; nothing else puts out any."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from typing import Any

from solarcalc.basis.errors import Fault
from solarcalc.basis.quantity import grouped
from solarcalc.basis.verdict import Outcome

RESULTS_MIME = "application/vnd.solarcalc.results+json"
ASSUMPTIONS_MIME = "application/vnd.solarcalc.assumptions+json"
FORMULA_MIME = "application/vnd.solarcalc.formula+json"
SCHEDULE_MIME = "application/vnd.solarcalc.schedule+json"
FILES_MIME = "application/vnd.solarcalc.files+json"
DRAWING_MIME = "application/vnd.solarcalc.drawing+json"
PAGE_MARK = "solarcalc_page"
"""Key in the display metadata of HTML made here; the report shows no other HTML."""

MARKS: dict[Outcome, str] = {"failed": "✗ FAILED", "caution": "▲ caution", "passed": "✓ passed"}
"""Sign and word for each outcome; both survive a black and white print."""

NO_MATHS = "mathjax_ignore tex2jax_ignore"


def publish(data: Mapping[str, object], metadata: Mapping[str, object] | None = None) -> None:
    """One display output in a notebook; the text alone where there is none."""
    from IPython.core.interactiveshell import InteractiveShell
    from IPython.display import publish_display_data

    if InteractiveShell.initialized():
        publish_display_data(  # type: ignore[no-untyped-call]
            data=dict(data), metadata=dict(metadata or {})
        )
    else:
        print(data["text/plain"])


def publish_html(
    markup: str, plain: str, more: Mapping[str, object] | None = None
) -> None:
    """HTML made here, with its plain text beside it; `more` are records for the report."""
    publish({**(more or {}), "text/html": markup, "text/plain": plain},
             {"text/html": {PAGE_MARK: True}})


def table_html(
    heads: Sequence[str], cells: Sequence[Sequence[str]], right: Sequence[bool], caption: str
) -> str:
    """A table with every cell escaped; `right` says which columns are numbers."""
    def row(tag: str, texts: Sequence[str], extra: str = "") -> str:
        made = []
        for text, to_right in zip(texts, right, strict=True):
            side = "right" if to_right else "left"
            shown = html.escape(text).replace("_", "_<wbr>")
            made.append(f'<{tag}{extra} style="text-align:{side}">{shown}</{tag}>')
        return "<tr>" + "".join(made) + "</tr>"

    body = "".join(row("td", texts) for texts in cells)
    head = row("th", heads, ' scope="col"')
    return (f'<table class="sc-table {NO_MATHS}"><caption>{html.escape(caption)}</caption>'
            f"<thead>{head}</thead><tbody>{body}</tbody></table>")


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


def is_number(value: object) -> bool:
    """Whether a value is a number, numpy's counted in; True is none."""
    plain = value.item() if hasattr(value, "item") else value
    return isinstance(plain, (int, float)) and not isinstance(plain, bool)


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


def with_unit(text: str, unit: str) -> str:
    """A text with its unit, where it has both."""
    return f"{text} {unit}" if unit and text else text


def fault(where: str, given: str, allowed: str, remedy: str = "") -> Fault:
    """A fault of what a page function was given."""
    return Fault(where=where, given=given, allowed=allowed, remedy=remedy)
