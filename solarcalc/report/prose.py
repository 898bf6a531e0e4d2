"""Markdown of a workbook as HTML without anything that could run or point outside."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import mistune
from markupsafe import Markup, escape
from nbconvert.filters.markdown_mistune import MarkdownWithMath

from solarcalc.report.maths import maths_svg


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
