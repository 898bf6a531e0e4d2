"""Schedules and drawings: shown on the page, and written out beside the report as files."""

from __future__ import annotations

import base64
import html
import re
from collections.abc import Mapping, Sequence

from solarcalc.basis.errors import InputError
from solarcalc.page.publish import (
    DRAWING_MIME,
    FILES_MIME,
    NO_MATHS,
    SCHEDULE_MIME,
    cell_text,
    fault,
    is_number,
    publish,
    publish_html,
    table_html,
    table_text,
)

_LIVE = ("<script", "<foreignobject", "<!entity", "<iframe", "<a ", "<image")
_SUFFIXES = (".csv", ".xlsx")
_FILE_NAME = re.compile(r"^[a-z][a-z0-9-]{1,40}$")


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
    publish_html(
        table_html(on_page, seen, right, caption), table_text(on_page, seen, right, caption),
        {SCHEDULE_MIME: {"file": file, "heads": heads, "cells": cells}},
    )


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
    publish(
        {"image/svg+xml": svg, DRAWING_MIME: {"file": file}, "text/plain": f"[drawing] {alt}"},
        {"image/svg+xml": {"alt": alt}},
    )


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
