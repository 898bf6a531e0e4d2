"""A document as one HTML file that needs nothing else: no script, nothing fetched."""

from __future__ import annotations

import base64
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

from markupsafe import Markup, escape

from solarcalc.basis.messages import messages
from solarcalc.documents.columns import number_kept
from solarcalc.documents.tree import Block, Document, Head, Words, text_of, words_of
from solarcalc.report.maths import maths_svg

STYLE = Path(__file__).with_name("style.css")
POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
_TAGS = {"strong": "strong", "em": "em", "code": "code"}
_PHONE_PX = 500
"""A picture of points that is wider is moved sideways on a phone: its letters stay legible."""
_MARK = re.compile(r'\bid="([^"]+)"')
_NAMED = re.compile(r'(\bid="|url\(#|href="#)([^")]+)(?=[")])')
"""A mark in a drawing, and wherever one is named."""
_SPANS = {"fill": "fill", "source": "soft"}


def document_html(document: Document) -> str:
    """The whole file."""
    page = _Page(lift=not any(True for _ in _titles(document.blocks)))
    body = page.blocks(document.blocks)
    head, t = document.head, messages(document.head.language).text
    stamp = Markup('<p class="stamp">{}</p>').format(document.stamp) if document.stamp else ""
    contents = _contents(document, t("document_contents")) if document.contents else ""
    top = _top(head, t) if document.headed else Markup('<h1 class="unseen">{}</h1>').format(
        f"{head.title}, {head.site}")
    return str(Markup(
        '<!DOCTYPE html>\n<html lang="{language}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta name="color-scheme" content="light dark">\n'
        '<meta http-equiv="Content-Security-Policy" content="{policy}">\n'
        "<title>{title}</title>\n<style>{style}</style>\n</head>\n"
        '<body class="{look}">\n{top}{contents}<main>\n{stamp}{body}</main>\n{foot}'
        "</body>\n</html>\n"
    ).format(
        language=head.language, policy=POLICY,
        title=", ".join(filter(None, (head.title, head.site, head.number))),
        style=Markup(_style()), look=document.look, top=top, stamp=stamp, contents=contents,
        body=body, foot=_foot(document, t),
    ))  # fmt: skip


@cache
def _style() -> str:
    return STYLE.read_text(encoding="utf-8")


def _top(head: Head, t: Callable[..., str]) -> Markup:
    logo = Markup('<img class="logo" src="{}" alt="{}">').format(
        head.logo, t("logo_alt", firm=head.firm or head.site)) if head.logo else ""
    firm = ", ".join(filter(None, (head.firm, head.licence, head.contact)))
    fields = Markup("").join(
        Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(name, said)
        for name, said in head_fields(head)
    )
    return Markup('<header>{}<p class="firm">{}</p><h1>{} <span>{}</span></h1>'
                  "<dl>{}</dl></header>\n").format(logo, firm, head.title, head.site, fields)


def head_fields(head: Head) -> list[tuple[str, str]]:
    """Names and contents of the title block's fields, without those that are empty."""
    t = messages(head.language).text
    return [(t(f"head_{name}"), said) for name, said in (
        ("number", head.number), ("revision", head.revision), ("issued", head.issued),
        ("status", head.status and t(f"status_{head.status.replace(' ', '_')}")),
        ("created", head.created), ("checked", head.checked), ("approved", head.approved),
    ) if said]  # fmt: skip


def _contents(document: Document, title: str) -> Markup:
    items = Markup("").join(
        Markup('<li class="level-2"><a href="#{}">{}</a></li>').format(key, words)
        for key, words in _listed(document.blocks)
    )
    return Markup('<nav aria-label="{}"><ol>{}</ol></nav>\n').format(title, items)


def _listed(blocks: Iterable[Block]) -> Iterator[tuple[str, str]]:
    """Key and words of each heading of level 2 and of each drawing with a title, on any page."""
    for block in blocks:
        if block["kind"] == "heading" and block["id"] and block["level"] == 2:
            words = words_of(block["words"])  # what is soft is no part of the title
            yield block["id"], text_of([one for one in words if isinstance(one, str)] or words)
        elif block["kind"] == "figure" and block.get("title"):
            yield block["id"], block["title"]
        elif block["kind"] in ("landscape", "columns"):
            yield from _listed(block["blocks"])


def _titles(blocks: Iterable[Block]) -> Iterator[Block]:
    """Headings of level 2, on any page."""
    for block in blocks:
        if block["kind"] == "heading" and block["level"] == 2:
            yield block
        yield from _titles(block.get("blocks", ()))


def _foot(document: Document, t: Callable[..., str]) -> Markup:
    head = document.head
    made = Markup('<p class="small">{}</p>').format(head.made_from) if head.made_from else ""
    said = " ".join(filter(None, (head.number, head.revision and t(
        "document_revision", revision=head.revision), head.issued)))  # fmt: skip
    if not (said or made):
        return Markup("")
    return Markup("<footer><p>{}</p>{}</footer>\n").format(said, made)


class _Page:
    """Blocks as HTML; each picture's marks are its own, so that none clashes with another."""

    def __init__(self, *, lift: bool = False) -> None:
        self._count = count(1)
        self._lift = lift
        self._regions: Counter[str] = Counter()

    def blocks(self, blocks: Iterable[Block]) -> Markup:
        return Markup("").join(getattr(self, f"_{block['kind']}")(block) for block in blocks)

    def words(self, words: Words) -> Markup:
        return Markup("".join(self._word(one) for one in words_of(words)))

    def _word(self, word: Any) -> Markup:
        if isinstance(word, str):
            return escape(number_kept(word))
        kind, inner = word["kind"], self.words(word.get("words", []))
        if kind == "break":
            return Markup("<br>")
        if kind == "link":
            return Markup('<a href="{}">{}</a>').format(word["to"], inner)
        if kind == "fill":
            return Markup('<span class="fill" style="width:{:.1f}em"></span>').format(
                word.get("width_em", 12.0))
        if kind == "tick":
            return Markup('<span class="tick"><span aria-hidden="true">☐</span> {}</span>').format(
                inner)
        if kind == "picture":  # a formula among words
            return self._image(word)
        if kind in ("given", "needed"):
            return Markup('<span class="key"><span class="{}"></span> {}</span>').format(
                kind, inner)
        if kind in _TAGS:
            tag = Markup(_TAGS[kind])
            return Markup("<{}>{}</{}>").format(tag, inner, tag)
        return Markup('<span class="{}">{}</span>').format(_SPANS.get(kind, kind), inner)

    def _heading(self, block: Block) -> Markup:
        lifted = self._lift and block["level"] == 3  # no level is left out
        level = Markup(str(block["level"] - lifted))
        key = Markup(' id="{}"').format(block["id"]) if block["id"] else ""
        key += Markup(' class="h3"') if lifted else ""
        return Markup("<h{}{}>{}</h{}>\n").format(level, key, self.words(block["words"]), level)

    def _paragraph(self, block: Block) -> Markup:
        look = Markup(' class="{}"').format(block["look"]) if block["look"] else ""
        return Markup("<p{}>{}</p>\n").format(look, self.words(block["words"]))

    def _list(self, block: Block) -> Markup:
        tag = Markup("ol" if block["ordered"] else "ul")
        items = Markup("").join(Markup("<li>{}</li>").format(self._loose(item))
                                for item in block["items"])
        return Markup("<{}>{}</{}>\n").format(tag, items, tag)

    def _loose(self, blocks: Sequence[Block]) -> Markup:
        """Blocks of an item; a single paragraph needs no element of its own."""
        if len(blocks) == 1 and blocks[0]["kind"] == "paragraph":
            return self.words(blocks[0]["words"])
        return self.blocks(blocks)

    def _table(self, block: Block) -> Markup:
        heads = [text_of(cell["words"]) for row in block["head"][-1:] for cell in row]
        cards = heads if not block["wide"] and block["look"] != "months" else []
        caption = Markup("<caption>{}</caption>").format(self.words(block["caption"])) if (
            block["caption"]) else ""
        top = Markup("<thead>{}</thead>").format(
            Markup("").join(self._row(row, [], top=True) for row in block["head"])) if (
            block["head"]) else ""
        rows = Markup("").join(self._row(row, cards, tall_mm=block.get("tall_mm", 0.0))
                               for row in block["rows"])
        looks = " ".join(filter(None, (block["look"], "cards" if cards else "")))
        key = Markup(' id="{}"').format(block["id"]) if block.get("id") else ""
        side = Markup(' tabindex="0" role="region" aria-label="{}"').format(
            self._region(text_of(block["caption"]) or ", ".join(filter(None, heads)) or "table"))
        return Markup(
            '<div class="wide"{}><table class="{}"{}>{}{}<tbody>{}</tbody></table></div>\n'
        ).format(side, looks, key, caption, top, rows)

    def _region(self, name: str) -> str:
        """The name of a region, with its number from the second of the same name on."""
        self._regions[name] += 1
        again = self._regions[name]
        return f"{name} ({again})" if again > 1 else name

    def _row(
        self, row: Sequence[Block], labels: Sequence[str], *, top: bool = False,
        tall_mm: float = 0.0,
    ) -> Markup:  # fmt: skip
        cells = Markup("".join(self._cell(cell, label, top=top) for cell, label in zip(
            row, [*labels, *[""] * (len(row) - len(labels))], strict=False)))
        marks = {cell["mark"] for cell in row if cell["mark"]}
        look = Markup(' class="{}"').format(" ".join(sorted(marks))) if marks else ""
        tall = Markup(' style="height:{:.1f}mm"').format(tall_mm) if tall_mm else ""
        return Markup("<tr{}{}>{}</tr>").format(look, tall, cells)

    def _cell(self, cell: Block, label: str, *, top: bool) -> Markup:
        """Thousands in a report: put together as text, each value escaped."""
        tag = "th" if cell["head"] and cell["words"] else "td"
        looks = [name for name, there in (
            ("number", cell["align"] == "right"), ("center", cell["align"] == "center"),
            ("mark", bool(cell["mark"])), ("empty", not cell["words"])) if there]  # fmt: skip
        own = "" if cell["head"] or cell["columns"] > 1 else label  # one across has no column
        marks = [("class", " ".join(looks)), ("data-label", own),
                 ("scope", ("col" if top else "row") if cell["head"] and cell["words"] else ""),
                 ("colspan", str(cell["columns"]) if cell["columns"] > 1 else ""),
                 ("rowspan", str(cell["rows"]) if cell["rows"] > 1 else "")]  # fmt: skip
        given = "".join(f' {name}="{escape(value)}"' for name, value in marks if value)
        return Markup(f"<{tag}{given}>{self.words(cell['words'])}</{tag}>")

    def _pairs(self, block: Block) -> Markup:
        rows = Markup("").join(
            Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(self.words(term), self.words(said))
            for term, said in block["rows"])
        return Markup('<dl class="{}">{}</dl>\n').format(block["look"] or "pairs", rows)

    def _numbers(self, block: Block) -> Markup:
        items = Markup("").join(
            Markup("<div><dt>{}</dt><dd>{}</dd></div>").format(label, value)
            for value, label in block["items"])
        return Markup('<dl class="numbers">{}</dl>\n').format(items)

    def _picture(self, block: Block) -> Markup:
        return self._image(block)

    def _image(self, block: Mapping[str, Any]) -> Markup:
        raw: bytes = block["content"]
        most = Markup(' style="max-width:min(100%,{:.0f}mm)"').format(block["largest_mm"]) if (
            block.get("largest_mm")) else ""
        if raw.startswith((b"\x89PNG", b"\xff\xd8")):
            kind = "png" if raw.startswith(b"\x89PNG") else "jpeg"
            return Markup('<img{} src="data:image/{};base64,{}" alt="{}">').format(
                most, kind, base64.b64encode(raw).decode("ascii"), block["alt"])
        wide = Markup(self._own_marks(raw.decode("utf-8"), block["alt"]))
        if not (narrow := block.get("narrow")):
            if block.get("across"):
                most += Markup(' tabindex="0" role="group" aria-label="{}"').format(block["alt"])
            return Markup('<span class="svg{}"{}>{}</span>').format(
                " across" if block.get("across") else "", most, wide)
        return Markup('<span class="svg on-wide"{}>{}</span><span class="svg on-narrow">{}</span>'
                      ).format(most, wide, Markup(self._own_marks(narrow, block["alt"])))

    def _own_marks(self, svg: str, alt: str) -> str:
        """An SVG for within a page: its marks told apart, its words for those who cannot see."""
        svg = svg[svg.index("<svg"):]
        number, marks = next(self._count), {*_MARK.findall(svg)}
        svg = _NAMED.sub(lambda one: f"{one[1]}p{number}-{one[2]}" if one[2] in marks else one[0],
                         svg)
        svg = re.sub(r'\saria-labelledby="[^"]*"', "", svg, count=1)
        if 'role="img"' not in svg.partition(">")[0]:
            svg = svg.replace("<svg", '<svg role="img"', 1)
        if "aria-label=" not in svg.partition(">")[0]:
            svg = svg.replace("<svg", f'<svg aria-label="{escape(alt)}"', 1)
        return svg

    def _figure(self, block: Block) -> Markup:
        inner = Markup("").join(
            Markup("<figcaption>{}</figcaption>").format(self.words(one["words"]))
            if one.get("look") == "figcaption" else self.blocks([one]) for one in block["blocks"])
        look = f"{block['look']} {block.get('paper', '')}".strip()
        first = block["blocks"][0]
        chart = not look and first["kind"] == "picture" and _png_px(first["content"]) > _PHONE_PX
        look = look or "across" * chart
        if block.get("title"):
            inner = Markup('<header><h2 id="{}">{}</h2></header>').format(
                block["id"], block["title"]) + inner
        marked = Markup(' class="{}"').format(look) if look else ""
        if chart or look.startswith(("drawing", "sheet")):  # moved sideways on a narrow screen
            marked += Markup(' tabindex="0" role="group" aria-label="{}"').format(first["alt"])
        return Markup("<figure{}>{}</figure>\n").format(marked, inner)

    def _formula(self, block: Block) -> Markup:
        return Markup('<div class="formula" tabindex="0" role="group" aria-label="{}">{}</div>\n'
                      ).format(block["tex"], maths_svg(block["tex"], display=True))

    def _box(self, block: Block) -> Markup:
        return Markup('<div class="box {}">{}</div>\n').format(
            block["look"], self.blocks(block["blocks"]))

    def _fold(self, block: Block) -> Markup:
        """A link to what is inside opens it; one to the element itself would not."""
        key = Markup(' id="{}"').format(block["id"]) if block["id"] else ""
        return Markup("<details><summary>{}</summary><div{}>{}</div></details>\n").format(
            self.words(block["words"]), key, self.blocks(block["blocks"]))

    def _beside(self, block: Block) -> Markup:
        columns = Markup("").join(Markup("<div>{}</div>").format(self.blocks(column))
                                  for column in block["columns"])
        return Markup('<div class="beside {}">{}</div>\n').format(block["look"], columns)

    def _whole(self, block: Block) -> Markup:
        return Markup('<div class="whole">{}</div>\n').format(self.blocks(block["blocks"]))

    def _landscape(self, block: Block) -> Markup:
        return Markup('<div class="landscape {}">{}</div>\n').format(
            block["paper"], self.blocks(block["blocks"]))

    def _columns(self, block: Block) -> Markup:
        return Markup('<div class="columns">{}</div>\n').format(self.blocks(block["blocks"]))

    def _plain(self, block: Block) -> Markup:
        return Markup('<pre tabindex="0">{}</pre>\n').format(block["text"])

    def _page(self, block: Block) -> Markup:
        return Markup('<div class="page"></div>\n')


def _png_px(content: bytes) -> int:
    """Points that a PNG is wide; 0 for another picture."""
    return int.from_bytes(content[16:20], "big") if content.startswith(b"\x89PNG") else 0
