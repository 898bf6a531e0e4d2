"""A finished page as a tree of plain blocks, with columns that fit the paper.

A block is a mapping with a ``kind`` and, where it can look otherwise than usual, a ``look``:

- ``heading`` (level, id, words), ``paragraph`` (words), ``plain`` (text), ``list`` (items)
- ``table`` (caption, head, rows of cells), ``pairs`` (rows of a term and what is said of it)
- ``picture`` (file, alt), ``figure``, ``box``, ``firm``, ``whole`` (blocks), ``beside`` (columns)
- ``page``: what follows begins a new one

Words are a list of texts and of mappings that hold words. Only the elements that our own pages
are made of are known; any other is an error, so that nothing is left out without a word. Texts
stay texts: the tree is data, and nothing in it can run.
"""

from __future__ import annotations

import base64
import binascii
import math
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from bs4 import BeautifulSoup
from bs4.element import Comment, NavigableString, Tag

from solarcalc.report.findings import ReportError

Block = dict[str, Any]
Words = list[Any]

_HEADINGS = {f"h{level}": level for level in range(1, 7)}
_THROUGH = {"header", "main", "section", "article", "body", "div", "html", "[document]"}
_BOXES = {"results", "dangers"}
_INLINE = {"strong": "strong", "b": "strong", "em": "em", "i": "em", "code": "code"}
_UNSEEN = {"head", "style", "title", "meta"}
_OUTSIDE = re.compile(rb"""\bhref\s*=\s*["']\s*(?!#|data:)[^"']*""", re.IGNORECASE)
_ADDRESS = re.compile(r"data:image/(png|jpeg|svg\+xml);base64,([A-Za-z0-9+/=\s]*)")


@dataclass(kw_only=True)
class Document:
    """What is set on paper.

    Parameters
    ----------
    title : str
        At the foot of each page.
    language : str
    look : str
        ``booklet`` or ``report``.
    blocks : list of mappings
    files : mapping of str to bytes
        The pictures that blocks name.
    """

    title: str = ""
    language: str = "en"
    look: str = "report"
    blocks: list[Block] = field(default_factory=list)
    files: dict[str, bytes] = field(default_factory=dict)


def read_blocks(html: str) -> Document:
    """The blocks of a page of ours.

    Raises
    ------
    ReportError
        For an element that is none of ours, or a picture that lies outside the page.
    """
    page = BeautifulSoup(html, "html.parser")
    heading, body, root = page.find("h1"), page.find("body"), page.find("html")
    made = Document()
    if isinstance(heading, Tag):
        made.title = " ".join(heading.get_text().split())
    if isinstance(root, Tag):
        made.language = str(root.get("lang") or "en")
    if isinstance(body, Tag) and "booklet" in _classes(body):
        made.look = "booklet"
    reader = _Reader(made, {str(part["id"]) for part in page.find_all(id=True)})
    made.blocks = reader.blocks(body if isinstance(body, Tag) else page)
    return made


class _Reader:
    """Walks the page, and puts its pictures aside."""

    def __init__(self, made: Document, anchors: set[str]) -> None:
        self.made = made
        self.anchors = anchors

    def blocks(self, parent: Tag) -> list[Block]:
        """The blocks in an element; words that stand between them become paragraphs."""
        found: list[Block] = []
        loose: list[Any] = []
        for child in parent.children:
            if isinstance(child, Tag) and not self._is_inline(child):
                self._flush(loose, found)
                found += self._block(child)
            else:
                loose.append(child)
        self._flush(loose, found)
        return _with_notes(found)

    def _flush(self, loose: list[Any], found: list[Block]) -> None:
        words = _tidy(self._words(loose))
        loose.clear()
        if words:
            found.append({"kind": "paragraph", "look": "", "words": words})

    def _is_inline(self, tag: Tag) -> bool:
        return tag.name in _INLINE or tag.name in ("span", "a", "br", "wbr") or (
            tag.name == "svg" and "maths" in _classes(tag))

    def _block(self, tag: Tag) -> list[Block]:
        name, classes = tag.name, _classes(tag)
        if name in _UNSEEN:
            return []
        if name in _THROUGH:
            return self._part(tag, classes)
        if name == "p" and not all(map(self._is_inline, _tags(tag))):
            return self.blocks(tag)  # a formula on a line of its own
        return [self._one(tag, name, classes)]

    def _one(self, tag: Tag, name: str, classes: list[str]) -> Block:
        if name in _HEADINGS:
            return {"kind": "heading", "level": _HEADINGS[name], "id": str(tag.get("id") or ""),
                    "words": self.words(tag)}
        if name in ("p", "figcaption"):
            look = name if name == "figcaption" else _first(
                classes, ("kind", "aside", "answer", "caption"))
            return {"kind": "paragraph", "look": look, "words": self.words(tag)}
        if name in ("ul", "ol"):
            items = [self.blocks(item) for item in _tags(tag, "li")]
            return {"kind": "list", "ordered": name == "ol", "items": items}
        if name == "figure":
            return {"kind": "figure", "blocks": self.blocks(tag),
                    "look": _first(classes, ("drawing",))}
        if name in ("blockquote", "nav"):
            return {"kind": "box", "look": name, "blocks": self.blocks(tag)}
        if name == "dl":
            return self._pairs(tag)
        if name == "table":
            return self._table(tag)
        if name in ("img", "svg"):
            return self._picture(tag, classes)
        if name == "pre":
            return {"kind": "plain", "text": tag.get_text()}
        raise ReportError(f"PDF: <{name}> is none of the elements that are set on paper")

    def _part(self, tag: Tag, classes: list[str]) -> list[Block]:
        look = _first(classes, ("results", "dangers", "pair", "firm", "whole", "chapter"))
        if look in _BOXES:
            return [{"kind": "box", "look": look, "blocks": self.blocks(tag)}]
        if look == "pair":
            columns = [self._block(part) for part in _tags(tag)]
            return [{"kind": "beside", "look": _first(classes, ("lines",)), "columns": columns}]
        blocks = self.blocks(tag)
        if look in ("firm", "whole"):
            return [{"kind": look, "blocks": blocks}]
        return [{"kind": "page"}, *blocks] if look == "chapter" else blocks

    def _pairs(self, tag: Tag) -> Block:
        terms = [self.words(term) for term in tag.find_all("dt")]
        said = [self.words(entry) for entry in tag.find_all("dd")]
        return {"kind": "pairs", "look": _first(_classes(tag), ("questions",)),
                "rows": list(zip(terms, said, strict=True))}

    def words(self, tag: Tag) -> Words:
        """The words in an element, one space between any two."""
        return _tidy(self._words(tag.children))

    def _words(self, nodes: Iterable[Any]) -> Words:
        found: Words = []
        for node in nodes:
            if isinstance(node, Tag):
                found += self._inline(node)
            elif isinstance(node, NavigableString) and not isinstance(node, Comment):
                found.append(re.sub(r"[ \t\r\n\f]+", " ", str(node)))
        return found

    def _inline(self, tag: Tag) -> Words:
        name, classes = tag.name, _classes(tag)
        if name == "br":
            return [{"kind": "break"}]
        if name == "wbr":
            return ["\u200b"]
        if name == "svg":
            return [self._picture(tag, classes)]
        inner = self._words(tag.children)
        if name in _INLINE:
            return [{"kind": _INLINE[name], "words": inner}]
        if name == "a":
            target = str(tag.get("href") or "").removeprefix("#")
            return [{"kind": "link", "to": target, "words": inner}] if (
                target in self.anchors) else inner
        if name == "span":
            look = _first(classes, ("fill", "given", "needed", "source", "address"))
            return [{"kind": look, "words": inner}] if look else inner
        raise ReportError(f"PDF: <{name}> is no element that stands among words")

    def _picture(self, tag: Tag, classes: list[str]) -> Block:
        drawn = tag.name == "svg"
        name = self._file("svg", _drawing(tag)) if drawn else self._held(str(tag.get("src") or ""))
        made: Block = {"kind": "picture", "file": name,
                       "alt": str(tag.get("aria-label" if drawn else "alt") or ""),
                       "look": _first(classes, ("maths", "maths-display"))}  # fmt: skip
        style = str(tag.get("style") or "")
        for key, mark in (("width", "width"), ("height", "height"), ("drop", "vertical-align")):
            size = re.search(rf"(?:^|;)\s*{mark}:(-?[\d.]+)em", style)
            made[key] = float(size[1]) if size and made["look"] else None
        return made

    def _held(self, address: str) -> str:
        """A picture that the page holds as an address."""
        found = _ADDRESS.fullmatch(address)
        if not found:
            raise ReportError(f"PDF: the page points outside itself: {address[:80]}")
        try:
            raw = base64.b64decode(found[2])
        except binascii.Error as error:
            raise ReportError(f"PDF: a picture that cannot be read: {error}") from error
        return self._file(found[1].removesuffix("+xml"), raw)

    def _file(self, ending: str, raw: bytes) -> str:
        if ending == "svg":
            raw = drawing_file(raw)
        name = f"picture-{len(self.made.files)}.{ending}"
        self.made.files[name] = raw
        return name

    def _table(self, tag: Tag) -> Block:
        caption = tag.find("caption")
        head = [self._row(row) for part in _tags(tag, "thead") for row in _tags(part, "tr")]
        rows = [self._row(row) for part in (tag, *_tags(tag, "tbody"), *_tags(tag, "tfoot"))
                for row in _tags(part, "tr")]  # fmt: skip
        look = _first(_classes(tag), ("months", "calendar", "warranty"))
        return {"kind": "table", "look": look, "head": head, "rows": rows,
                "caption": self.words(caption) if isinstance(caption, Tag) else []}

    def _row(self, row: Tag) -> list[Block]:
        mark = _first(_classes(row), ("failed", "review", "passed"))
        return [self._cell(cell, mark) for cell in row.find_all(("th", "td"), recursive=False)]

    def _cell(self, cell: Tag, mark: str) -> Block:
        classes = _classes(cell)
        right = "number" in classes or "right" in str(cell.get("style") or "")
        return {
            "words": self.words(cell), "head": cell.name == "th",
            "align": "right" if right else "center" if "month" in classes else "left",
            "mark": mark if "mark" in classes else "",
            "columns": int(str(cell.get("colspan") or 1)),
            "rows": int(str(cell.get("rowspan") or 1)),
        }  # fmt: skip


def drawing_file(raw: bytes) -> bytes:
    """A drawing with its words in letters that are there.

    Raises
    ------
    ReportError
        When it points outside itself.
    """
    if outside := _OUTSIDE.search(raw):
        raise ReportError(f"PDF: the page points outside itself: {outside[0][:80]!r}")
    return raw.replace(b'font-family="sans-serif"', b'font-family="DejaVu Sans"')


def _drawing(tag: Tag) -> bytes:
    """A drawing of the page as a file; readers of HTML make its names small letters."""
    if "viewbox" in tag.attrs:
        tag["viewBox"] = tag["viewbox"]
        del tag["viewbox"]
    tag["xmlns"] = "http://www.w3.org/2000/svg"
    if not tag.get("font-family"):
        tag["font-family"] = "sans-serif"
    return str(tag).encode("utf-8")


def _with_notes(blocks: list[Block]) -> list[Block]:
    """A drawing has a page of its own: the note behind it goes there with it."""
    kept: list[Block] = []
    for block in blocks:
        if kept and block.get("look") == "aside" and kept[-1].get("look") == "drawing":
            kept[-1]["blocks"].append(block)
        else:
            kept.append(block)
    return kept


def text_of(words: Words) -> str:
    """Words as plain text; a break is the end of a line."""
    return "".join(
        part if isinstance(part, str) else "\n" if part["kind"] == "break"
        else text_of(part.get("words", [])) for part in words)  # fmt: skip


def each_text(words: Words, change: Callable[[str], str]) -> Words:
    """Words with each text in them changed."""
    return [change(part) if isinstance(part, str)
            else {**part, "words": each_text(part["words"], change)} if "words" in part else part
            for part in words]  # fmt: skip


def _tidy(words: Words) -> Words:
    """Words without a space before the first, behind the last, or beside another space."""
    space = True
    kept: Words = []
    for part in words:
        if not isinstance(part, str):
            kept.append(part)
            space = part["kind"] == "break" or text_of([part]).endswith(" ")
        elif text := part.lstrip(" ") if space else part:
            space = text.endswith(" ")
            if kept and isinstance(kept[-1], str):
                kept[-1] += text
            else:
                kept.append(text)
    if kept and isinstance(kept[-1], str):
        kept[-1] = kept[-1].rstrip(" ")
    return [part for part in kept if part]


def _tags(parent: Tag, name: str = "") -> list[Tag]:
    """The elements right inside another, of one name or of any."""
    return [child for child in parent.children
            if isinstance(child, Tag) and name in ("", child.name)]  # fmt: skip


def _classes(tag: Tag) -> list[str]:
    return str(" ".join(tag.get("class") or [])).split()


def _first(classes: list[str], looks: Iterable[str]) -> str:
    """The first class that means a look; empty for none."""
    return next((one for one in classes if one in looks), "")


SIZES_PT = (7.6, 6.6, 5.8)
"""Letters of a table: the largest at which its words fit, the last if none does."""
GAP_PT = 7.0
"""Between two columns."""
_LINE_EM = 30.0
"""Room with a line to write on."""
_TO_WRITE_EM = 8.0
"""A column without a word is one to write into."""
_KEPT_TOGETHER = 16
"""A word, or a number with its unit, of at most so many letters stays on one line."""
_LONG = 1200
"""A row with a text of more letters may go over the end of a page."""
_PARTED = re.compile(r"[^ \n]+")
_BREAKS = re.compile("[ \n\u200b]+")


def fit_table(
    table: Block, width_pt: float, *, fill: bool, sizes_pt: Sequence[float] = SIZES_PT
) -> Block:
    """A table with the widths of its columns and the size of its letters.

    Parameters
    ----------
    table : mapping
        As `solarcalc.report.blocks` reads it.
    width_pt : float
        Room for it [pt].
    fill : bool
        As wide as the room, even where less is enough.
    sizes_pt : sequence of float
        Letters to try, the largest first [pt].

    Returns
    -------
    mapping
        With ``widths_pt`` and ``size_pt``; a word wider than its column may break anywhere.
    """
    head, rows = ([[_together(cell) for cell in row] for row in table[part]]
                  for part in ("head", "rows"))
    placed = list(_placed([*head, *rows]))
    count = max((column + cell["columns"] for column, cell in placed), default=1)
    least, most = _asked(placed, count)
    room_pt = width_pt - GAP_PT * count
    size_pt = next((size for size in sizes_pt if sum(least) * size <= room_pt), sizes_pt[-1])
    widths_pt = [em * size_pt for em in _shared(least, most, room_pt / size_pt, fill=fill)]
    for column, cell in placed:
        room_em = sum(widths_pt[column:column + cell["columns"]]) / size_pt
        cell["words"] = _breakable(cell["words"], room_em)
        cell["long"] = len(text_of(cell["words"])) > _LONG
    return {**table, "head": head, "rows": rows, "size_pt": size_pt,
            "widths_pt": [round(width + GAP_PT, 2) for width in widths_pt]}


def _together(cell: Block) -> Block:
    """A copy of the cell in which a short number keeps its unit, and a short word its parts."""
    words = each_text(cell["words"], lambda text: _PARTED.sub(
        lambda word: word[0].replace("\u200b", "") if len(word[0]) <= _KEPT_TOGETHER else word[0],
        text))  # fmt: skip
    if (cell["align"] == "right" or cell["mark"]) and len(text_of(words)) <= _KEPT_TOGETHER:
        words = each_text(words, lambda text: text.replace(" ", "\u00a0"))
    return {**cell, "words": words}


def _placed(rows: Sequence[Sequence[Block]]) -> Iterator[tuple[int, Block]]:
    """Each cell with its first column; cells of rows above may reach down."""
    taken: set[tuple[int, int]] = set()
    for line, row in enumerate(rows):
        column = 0
        for cell in row:
            while (line, column) in taken:
                column += 1
            taken |= {(line + down, column + along) for down in range(cell["rows"])
                      for along in range(cell["columns"])}
            yield column, cell


def _asked(
    placed: Sequence[tuple[int, Block]], count: int
) -> tuple[list[float], list[float]]:
    """What each column needs for its longest word, and what it would take on one line [em]."""
    least, most = [0.0] * count, [0.0] * count
    empty = [True] * count
    for column, cell in placed:
        text, span = text_of(cell["words"]), cell["columns"]
        word = max(_em(part) for part in _BREAKS.split(text)) / span
        line = max(_em(part) for part in text.split("\n")) / span
        if any(isinstance(part, dict) and part["kind"] == "fill" for part in cell["words"]):
            line = max(line, _LINE_EM)
        for one in range(column, column + span):
            least[one], most[one] = max(least[one], word), max(most[one], line)
            empty[one] &= cell["head"] or not text
    return least, [max(width, _TO_WRITE_EM if none else 0.0)
                   for width, none in zip(most, empty, strict=True)]  # fmt: skip


def _shared(
    least: Sequence[float], most: Sequence[float], room: float, *, fill: bool
) -> list[float]:
    """Widths that together take the room at most [em].

    Short columns get their one line first; longer ones get more, but a text of four times the
    length only twice the width, so that the lines of a row grow alike.
    """
    if sum(most) <= room:
        return [width * room / sum(most) for width in most] if fill else list(most)
    floor = least if sum(least) <= room else [0.0] * len(least)
    low, high = 0.0, room

    def at(level: float) -> list[float]:
        return [min(max(level * math.sqrt(ask), need), ask)
                for need, ask in zip(floor, most, strict=True)]

    for _ in range(40):
        middle = (low + high) / 2.0
        low, high = (middle, high) if sum(at(middle)) <= room else (low, middle)
    return at(low)


def _breakable(words: Words, room_em: float) -> Words:
    """Words in which one that is wider than the room may break between any two letters."""
    def broken(text: str) -> str:
        return "".join(part if _em(part) <= room_em else "\u200b".join(part)
                       for part in re.split("([ \n\u200b]+)", text))

    return each_text(words, broken)


@lru_cache(maxsize=50_000)
def _em(text: str) -> float:
    """Width of a text in bold letters [em]."""
    return float(_bold().getlength(text)) / 100.0


@lru_cache(maxsize=1)
def _bold() -> Any:
    from PIL import ImageFont

    return ImageFont.truetype(str(letter_files()[1]), 100, layout_engine=ImageFont.Layout.BASIC)


def letter_files() -> tuple[Path, ...]:
    """The letters of tables and headings, which come with matplotlib: plain, bold, slanted."""
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return tuple(folder / f"DejaVuSans{kind}.ttf" for kind in ("", "-Bold", "-Oblique"))
