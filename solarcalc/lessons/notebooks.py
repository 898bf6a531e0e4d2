"""Writes the notebook of a lesson from its one source: prose, calls, answer cells, no solution."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from solarcalc.basis.files import workbooks_folder, write_whole
from solarcalc.basis.text import capital
from solarcalc.lessons.source import LessonText, lesson_keys, lesson_text

_ABOUT_RUNGS = {
    "read": "Find it on the sheet, the drawing or the readings.",
    "one step": "One calculation.",
    "design": "Choose, and keep every limit.",
    "find the fault": "Something is wrong: say what or where.",
}
_PARAMETERS = '''# Parameters: plain values only.
learner = ""  # your name, in quotes: your own numbers are drawn by it, and your answers are kept
site_file = ""  # path of a site file or name of a demo site; empty: the one your trainer has set
changes = None  # keys of the site file to try, such as {"array": {"tilt_deg": 10.0}}'''

Cell = dict[str, Any]


def notebook_text(key: str) -> str:
    """The notebook of a lesson as it stands in its file, without outputs."""
    text = lesson_text(key)
    book = {
        "cells": list(_cells(text)),
        "metadata": {
            "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
            "language_info": {"name": "python"},
        },
        "nbformat": 4, "nbformat_minor": 5,
    }  # fmt: skip
    return json.dumps(book, ensure_ascii=False, indent=1, sort_keys=True) + "\n"


def notebook_path(key: str) -> Path:
    """Where the notebook of a lesson is."""
    return workbooks_folder() / "lessons" / f"{key}.ipynb"


def write_notebooks() -> list[Path]:
    """Write the notebook of every lesson whose file is not as its source says.

    Returns
    -------
    list of Path
        Those that were written.
    """
    written = []
    for key in lesson_keys():
        path, text = notebook_path(key), notebook_text(key)
        if not path.exists() or path.read_text(encoding="utf-8") != text:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, text)
            written.append(path)
    return written


def _cells(text: LessonText) -> Iterator[Cell]:
    yield _prose("question", f"# {text.number}. {text.title}\n\n{text.question}")
    yield _prose("caution", f"> **{text.signal}.** {text.caution}")
    yield _prose("setup-note", "Write your name into the second cell, then run the cells one by one"
                 " from the top (Shift and Enter). Where a cell says `None`, put your answer there"
                 " and run it again.", "setup")
    yield _code("setup", "from solarcalc.lessons.session import open_lesson", "setup")
    yield _code("parameters", _PARAMETERS, "parameters")
    yield _code("lesson", f'lesson = open_lesson("{text.key}", learner, site_file, changes)')
    yield _prose("predict-note", "## Predict first\n\nBefore any calculation: what do you expect?"
                 " Your first prediction is kept and compared with the result later.")
    yield _code("predict", "my_prediction = None\nlesson.predict(my_prediction)")
    yield _prose("idea", f"## One idea\n\n{text.idea}")
    yield _prose("formula-note", "## The calculation, with numbers put in")
    yield _code("formula", "lesson.formula()")
    yield _prose("picture-note", f"## A picture that moves\n\n{text.picture}")
    yield _code("explore", "lesson.explore()", "explore")
    yield _prose("compare-note", "## Back to your prediction")
    yield _code("compare", "lesson.compare()")
    for number, asked in enumerate(text.tasks, start=1):
        name = asked.key.replace("_", "-")
        yield _prose(f"task-{name}-note", f"## Task {number}: {asked.rung}\n\n"
                     f"{_ABOUT_RUNGS[asked.rung]}")
        yield _code(f"task-{name}", f'my_answer = None\nlesson.ask("{asked.key}", my_answer)')
    yield _prose("finish-note", "## What you have done")
    yield _code("finish", "lesson.finish()")
    sources = "\n".join(f"- {capital(source)}" for source in text.sources)
    yield _prose("sources", f"## Sources\n\n{sources}")


def _prose(name: str, text: str, *tags: str) -> Cell:
    return {"cell_type": "markdown", "id": name[:64], "metadata": {"tags": list(tags)} if tags
            else {}, "source": _lines(text)}  # fmt: skip


def _code(name: str, text: str, *tags: str) -> Cell:
    return {"cell_type": "code", "execution_count": None, "id": name[:64],
            "metadata": {"tags": list(tags)} if tags else {}, "outputs": [],
            "source": _lines(text)}  # fmt: skip


def _lines(text: str) -> list[str]:
    return text.strip().splitlines(keepends=True)
