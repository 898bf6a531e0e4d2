"""Cells of an executed workbook as HTML: outputs, prose, formulas; nothing unknown gets through."""

from __future__ import annotations

import base64
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import mistune
from markupsafe import Markup, escape
from nbconvert.filters.markdown_mistune import MarkdownWithMath

from solarcalc.basis.quantity import on_paper
from solarcalc.page import (
    ASSUMPTIONS_MIME,
    DRAWING_MIME,
    FORMULA_MIME,
    PAGE_MARK,
    RESULTS_MIME,
    SCHEDULE_MIME,
)
from solarcalc.report.maths import maths_svg

_BASE64 = re.compile(r"^[A-Za-z0-9+/=\s]*$")
_WIDGET = "application/vnd.jupyter.widget-view+json"


def output_html(output: Any, render: Callable[..., Markup]) -> Markup:
    """HTML of one output.

    Parameters
    ----------
    output : notebook output
    render : callable
        ``render(part, **context)`` fills a named part of the report's template.
    """
    if output.output_type == "stream":
        return Markup("<pre>{}</pre>").format(output.text)
    data, metadata = output.get("data", {}), output.get("metadata", {})
    if RESULTS_MIME in data:
        record = data[RESULTS_MIME]
        return render("results", answer=record["answer"], checks=record["checks"],
                      rows=value_rows(record))
    if ASSUMPTIONS_MIME in data:
        return Markup('<p class="aside">The assumptions made here are in the chapter '
                      '<a href="#assumptions">Assumptions</a>.</p>')
    if FORMULA_MIME in data:
        drawn = maths_svg(data[FORMULA_MIME]["latex"], display=True)
        return Markup('<div class="formula">{}</div>').format(drawn)
    if DRAWING_MIME in data:
        return _drawing(data["image/svg+xml"], metadata["image/svg+xml"]["alt"],
                        data[DRAWING_MIME]["file"])  # fmt: skip
    if "image/png" in data and _BASE64.match(data["image/png"]):
        return Markup('<figure><img src="data:image/png;base64,{}" alt="{}"></figure>').format(
            "".join(data["image/png"].split()), metadata["image/png"]["alt"])
    if "text/html" in data and metadata.get("text/html", {}).get(PAGE_MARK) is True:
        beside = _beside(f"schedules/{data[SCHEDULE_MIME]['file']}.csv") if (
            SCHEDULE_MIME in data) else ""
        return Markup('<div class="wide">{}</div>{}').format(Markup(data["text/html"]), beside)
    if _WIDGET in data or "text/plain" not in data:
        return Markup("")
    return Markup("<pre>{}</pre>").format(data["text/plain"])


def _drawing(svg: str, alt: str, file: str) -> Markup:
    """A drawing as a picture, in which nothing can run, and the name of its file."""
    return Markup(
        '<figure class="drawing"><img src="data:image/svg+xml;base64,{}" alt="{}"></figure>{}'
    ).format(base64.b64encode(svg.encode("utf-8")).decode("ascii"), alt,
             _beside(f"drawings/{file}.svg"))  # fmt: skip


def _beside(name: str) -> Markup:
    return Markup('<p class="aside">Beside this report as the file {}.</p>').format(name)


def value_rows(record: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Name in words, printed value and unit for each named value, in the workbook's order."""
    order = record.get("order", list(record["values"]))
    return [on_paper(name, record["values"][name]) for name in order]


@dataclass
class Outline:
    """Headings of one report in order, each with an anchor found nowhere else in it."""

    entries: list[tuple[int, str, str]] = field(default_factory=list)
    taken: set[str] = field(default_factory=set)

    def add(self, level: int, text: str, anchor: str) -> str:
        """Enter a heading; returns its anchor."""
        unique, count = anchor, 1
        while unique in self.taken:
            count += 1
            unique = f"{anchor}-{count}"
        self.taken.add(unique)
        self.entries.append((level, text, unique))
        return unique


class _Renderer(mistune.HTMLRenderer):
    """Raw HTML is escaped, links and pictures become their words, formulas are drawn."""

    def __init__(self, outline: Outline, prefix: str) -> None:
        super().__init__(escape=True)
        self.outline = outline
        self.prefix = prefix

    def heading(self, text: str, level: int, **attrs: Any) -> str:
        plain = Markup(text).striptags()
        level = min(level + 1, 6)
        words = re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-") or "part"
        anchor = self.outline.add(level, plain, f"{self.prefix}-{words}"[:80])
        return f'<h{level} id="{anchor}">{text}</h{level}>\n'

    def link(self, text: str, url: str, title: str | None = None) -> str:
        shown = escape(url)
        return text if Markup(text).unescape() == url or url.startswith("#") \
            else f'{text} (<span class="address">{shown}</span>)'

    def image(self, text: str, url: str, title: str | None = None) -> str:
        return f"[{text}]"

    def block_math(self, body: str) -> str:
        return f'<div class="formula">{maths_svg(body, display=True)}</div>'

    def latex_environment(self, name: str, body: str) -> str:
        whole = rf"\begin{{{name}}}{body}\end{{{name}}}"
        return f'<div class="formula">{maths_svg(whole, display=True)}</div>'

    def inline_math(self, body: str) -> str:
        return str(maths_svg(body, display=False))


def prose_maker(outline: Outline, prefix: str) -> Callable[[str], Markup]:
    """A function from markdown to safe HTML; headings go into `outline`, one level down."""
    reader = MarkdownWithMath(renderer=_Renderer(outline, prefix))

    def prose(source: str) -> Markup:
        return Markup(reader.render(source))

    return prose
