"""What a document says, as a tree of plain blocks; how it looks is left to those who set it.

A document is made of blocks (`heading`, `sentence`, `points`, `table`, `pairs`, `numbers`,
`figure`, `drawing`, `drawings`, `formula`, `box`, `fold`, `beside`, `columns`, `whole`,
`landscape`, `new_page`), and blocks of words:
texts, and texts marked by `strong`, `soft`, `code`, `link`, or places to write on (`fill`, `tick`).
A text is never read as markup, by neither of the two that set it: `solarcalc.documents.html` and
`solarcalc.documents.pdf`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from solarcalc.basis.text import spelt

Block = dict[str, Any]
Word = str | Mapping[str, Any]
Words = Word | Sequence[Word]
"""A text, or a row of texts and marked texts."""
Cell = Words | Block | None
Look = Literal["sheet", "report", "booklet", "letter", "index"]


@dataclass(frozen=True, kw_only=True)
class Head:
    """The title block, in the order and under the names of ISO 7200.

    Parameters
    ----------
    firm, licence, contact : str
        The legal owner; each may be empty.
    logo : str
        Its picture as a data address; empty for none.
    site : str
    number : str
        Such as ``RRC-DS-01``.
    revision, issued : str
        ``A`` and ``2026-11-27``; the day may be empty.
    title, kind : str
        ``Decision sheet`` and what kind of document that is.
    created, checked, approved : str
        Persons; empty where a blank is to be signed.
    status : str
        draft, for approval, for offer, for construction, as built, superseded.
    language : str
        Such as ``en``.
    made_from : str
        Fingerprint of the design and version of the tool, in small letters at the foot.
    """

    firm: str = ""
    licence: str = ""
    contact: str = ""
    logo: str = ""
    site: str
    number: str
    revision: str = "A"
    issued: str = ""
    title: str
    kind: str = ""
    created: str = ""
    checked: str = ""
    approved: str = ""
    status: str = "draft"
    language: str = "en"
    made_from: str = ""


@dataclass(frozen=True, kw_only=True)
class Document:
    """One document.

    Parameters
    ----------
    code : str
        ``DS``, ``DR``, ...
    head : Head
    look : {"sheet", "report", "booklet", "letter", "index"}
        Dense for one page; running text; large letters for a customer; a letter; a wide list for
        the screen alone.
    letters_frac : float
        Size of its letters on paper, of those of its look.
    stamp : str
        Stands on every page, such as EXAMPLE PRICES, NOT AN OFFER; empty for none.
    contents : bool
        Whether the HTML begins with a list of its headings, which stays in view.
    headed : bool
        Whether the title block stands on top of the first page; sheets that are drawings have it
        in their corner.
    blocks : tuple of mappings
    files : mapping of str to bytes
        What lies beside it, by name: a table to be filled in, a text to be sent.
    """

    code: str
    head: Head
    look: Look = "report"
    letters_frac: float = 1.0
    stamp: str = ""
    contents: bool = False
    headed: bool = True
    blocks: tuple[Block, ...] = ()
    files: Mapping[str, bytes] = field(default_factory=dict)

    def __post_init__(self) -> None:
        object.__setattr__(self, "blocks", tuple(map(_spelt, self.blocks)))


_KEYS = ("kind", "id", "to")
"""Fields of a block that nobody reads."""


def _spelt(said: Any) -> Any:
    """All that is read as `spelt` writes it."""
    if isinstance(said, str):
        return spelt(said)
    if isinstance(said, Mapping):
        if said.get("kind") == "code":
            return said
        return {name: one if name in _KEYS else _spelt(one) for name, one in said.items()}
    return [_spelt(one) for one in said] if isinstance(said, list | tuple) else said


def words_of(words: Words) -> list[Word]:
    """Words as a list."""
    if isinstance(words, str):
        return [words] if words else []
    return [words] if isinstance(words, Mapping) else [one for one in words if one != ""]


def strong(*words: Word) -> Word:
    """What a hasty reader must not miss."""
    return {"kind": "strong", "words": list(words)}


def soft(*words: Word) -> Word:
    """What may be passed over: a source, a note."""
    return {"kind": "source", "words": list(words)}


def code(text: str) -> Word:
    """A key of the site file or a name to be typed."""
    return {"kind": "code", "words": [text]}


def link(to: str, *words: Word) -> Word:
    """Words that lead to a heading, by its key, or to a document that lies beside this one.

    Parameters
    ----------
    to : str
        ``#key`` of a block in this document, or a file name, which may end in ``#key``.
    """
    return {"kind": "link", "to": to, "words": list(words)}


def fill(width_em: float = 12.0) -> Word:
    """A line to write on."""
    return {"kind": "fill", "width_em": width_em, "words": []}


def tick(*words: Word) -> Word:
    """A box to tick, and what it stands for."""
    return {"kind": "tick", "words": list(words)}


def key_mark(which: Literal["given", "needed"], said: Words) -> Word:
    """The mark of a bar in a caption with its words: dark is what is given, open what is needed."""
    return {"kind": which, "words": words_of(said)}


def line_break() -> Word:
    """The end of a line."""
    return {"kind": "break", "words": []}


def heading(words: Words, level: int = 2, *, key: str = "") -> Block:
    """A heading, 2 to 4; the document's title is the only one of level 1."""
    return {"kind": "heading", "level": level, "id": key, "words": words_of(words)}


def sentence(*words: Word, look: Literal["", "aside", "answer", "small"] = "") -> Block:
    """A paragraph; "answer" in large letters, "aside" and "small" in pale or small ones."""
    return {"kind": "paragraph", "look": look, "words": words_of(words)}


def points(items: Iterable[Words], *, ordered: bool = False) -> Block:
    """A list."""
    made = [[{"kind": "paragraph", "look": "", "words": words_of(item)}] for item in items]
    return {"kind": "list", "ordered": ordered, "items": made}


def cell(
    words: Words, *, align: Literal["left", "right", "center"] = "left", head: bool = False,
    mark: Literal["", "failed", "review", "passed"] = "", columns: int = 1, rows: int = 1,
) -> Block:  # fmt: skip
    """A cell where a text alone does not do."""
    return {"kind": "cell", "words": words_of(words), "head": head, "align": align, "mark": mark,
            "columns": columns, "rows": rows}  # fmt: skip


def table(
    head: Sequence[Words], rows: Iterable[Sequence[Cell]], *, caption: Words = "",
    right: Iterable[int] = (), wide: bool = False, tall_mm: float = 0.0, key: str = "",
    shares: Sequence[float] = (),
    look: Literal["", "months", "calendar", "warranty", "schedule", "tests"] = "",
) -> Block:  # fmt: skip
    """A table; on a narrow screen each row becomes a card.

    Parameters
    ----------
    head : sequence of words
        One a column, with the unit: ``U_dc [V]``.
    rows : iterable of rows
        Cells are words, a `cell`, or None for an empty one to write into.
    caption : words
    right : iterable of int
        Columns of numbers, from 0.
    wide : bool
        Keeps its columns on a narrow screen, where it is moved sideways (a month grid).
    tall_mm : float
        Least height of a row, to write into [mm].
    key : str
        Anchor.
    shares : sequence of float
        Widths of the columns on paper to one another; left out: by what stands in them.
    look : str
        ``schedule`` and ``tests`` have lines all round.
    """
    numbers = frozenset(right)

    def made(given: Cell, column: int, *, top: bool) -> Block:
        align = "right" if column in numbers else "left"
        if isinstance(given, Mapping) and given.get("kind") == "cell":
            return {**given, "head": given["head"] or top}
        return cell("" if given is None else given, align=align, head=top)  # type: ignore[arg-type]

    return {
        "kind": "table", "look": look, "id": key, "wide": wide, "tall_mm": tall_mm,
        "shares": tuple(shares),
        "caption": words_of(caption),
        "head": [[made(one, n, top=True) for n, one in enumerate(head)]] if head else [],
        "rows": [[made(one, n, top=False) for n, one in enumerate(row)] for row in rows],
    }  # fmt: skip


def pairs(
    rows: Iterable[tuple[Words, Words]], *, look: Literal["", "questions"] = "",
    term_mm: float = 0.0,
) -> Block:  # fmt: skip
    """Terms and what is said of them; on paper terms are as wide as the look has it, or so."""
    return {"kind": "pairs", "look": look, "term_mm": term_mm,
            "rows": [(words_of(term), words_of(said)) for term, said in rows]}  # fmt: skip


def numbers(items: Iterable[tuple[str, str]]) -> Block:
    """Large figures side by side: value with its unit, and what it is."""
    return {"kind": "numbers", "items": [(value, label) for value, label in items]}


def picture(
    content: bytes | str, alt: str, *, largest_mm: float = 0.0, narrow: str = "",
    across: bool = False,
) -> Block:  # fmt: skip
    """A picture without a caption: SVG as text or bytes, or PNG.

    Parameters
    ----------
    content : bytes or str
    alt : str
        What it says, for a reader who cannot see it.
    largest_mm : float
        It takes no more of the paper's width [mm]; 0 for all there is.
    narrow : str
        SVG that stands in its place on a phone, whose letters would be too small.
    across : bool
        Whether it is moved sideways there instead.

    Raises
    ------
    ValueError
        Without a text alternative.
    """
    if not alt.strip():
        raise ValueError("a picture without a text alternative")
    raw = content.encode("utf-8") if isinstance(content, str) else content
    return {"kind": "picture", "look": "", "alt": alt, "content": raw, "largest_mm": largest_mm,
            "narrow": narrow, "across": across}  # fmt: skip


def figure(
    content: bytes | str, alt: str, caption: Words = "", *, largest_mm: float = 0.0,
    narrow: str = "", across: bool = False,
) -> Block:  # fmt: skip
    """A picture with a caption that says the finding; on a phone `narrow`, or moved sideways."""
    said = [{"kind": "paragraph", "look": "figcaption", "words": words_of(caption)}]
    drawn = picture(content, alt, largest_mm=largest_mm, narrow=narrow, across=across)
    return {"kind": "figure", "look": "", "blocks": [drawn, *(said if caption else [])]}


def sheet(svg: str, alt: str, *, paper: Literal["a4", "a3"] = "a4") -> Block:
    """A drawing within a page; where the screen is narrow it is moved sideways, as `drawing`."""
    return {"kind": "figure", "look": "sheet", "paper": paper, "blocks": [picture(svg, alt)]}


def drawing(
    svg: str, alt: str, *, paper: Literal["a4", "a3"] = "a4", title: str = "", key: str = ""
) -> Block:  # fmt: skip
    """A drawing that fills a landscape page of its own, at the scale that it says.

    Parameters
    ----------
    svg : str
        With frame and title block, as large as the paper.
    alt : str
    paper : {"a4", "a3"}
    title, key : str
        A heading over it on a screen; on paper its title block says it.
    """
    return {"kind": "figure", "look": "drawing", "paper": paper, "title": title, "id": key,
            "blocks": [{**picture(svg, alt), "look": "drawing"}]}  # fmt: skip


def drawings(drawn: Iterable[tuple[str, str]], *, title: str = "", key: str = "") -> Block:
    """Two A4 drawings one above the other on an upright A3."""
    return {"kind": "figure", "look": "drawing", "paper": "a3 upright", "title": title, "id": key,
            "blocks": [{**picture(svg, alt), "look": "drawing"} for svg, alt in drawn]}  # fmt: skip


def formula(tex: str) -> Block:
    """A formula on a line of its own."""
    return {"kind": "formula", "tex": tex}


def box(
    blocks: Iterable[Block], *, look: Literal["plain", "danger", "warning", "notice"] = "plain"
) -> Block:
    """Blocks with a frame; its first block names the signal word where it is one of safety."""
    return {"kind": "box", "look": look, "blocks": list(blocks)}


def fold(title: Words, blocks: Iterable[Block], *, key: str = "") -> Block:
    """Blocks behind a title that opens them; on paper they stand open."""
    return {"kind": "fold", "id": key, "words": words_of(title), "blocks": list(blocks)}


def beside(*columns: Sequence[Block], shares: Sequence[int] = ()) -> Block:
    """Columns side by side; one under another on a narrow screen.

    Parameters
    ----------
    *columns : sequence of Block
    shares : sequence of int
        Of the width of a page that each column has; empty for columns alike.
    """
    return {"kind": "beside", "look": "", "columns": [list(column) for column in columns],
            "shares": list(shares) or [1] * len(columns)}  # fmt: skip


def columns(blocks: Iterable[Block], *, count: int = 2) -> Block:
    """Blocks that run from column to column and from page to page."""
    return {"kind": "columns", "count": count, "blocks": list(blocks)}


def whole(blocks: Iterable[Block]) -> Block:
    """Blocks that no end of a page parts."""
    return {"kind": "whole", "blocks": list(blocks)}


def signatures(*who: Words) -> Block:
    """Lines to sign on, side by side."""
    return {"kind": "beside", "look": "lines", "shares": [1] * len(who),
            "columns": [[sentence(*words_of(one))] for one in who]}  # fmt: skip


def closer(blocks: Iterable[Block], height_frac: float) -> list[Block]:
    """Blocks whose tables have lower lines: less room to write in, less between their rows.

    Parameters
    ----------
    blocks : iterable of block
    height_frac : float
        Of what those lines have else, [-], above 0 to 1.
    """
    def of(block: Block) -> Block:
        made = dict(block)
        if block["kind"] == "table":
            made |= {"tall_mm": height_frac * block["tall_mm"], "close": height_frac}
        if "blocks" in block:
            made["blocks"] = closer(block["blocks"], height_frac)
        if block["kind"] == "beside":
            made["columns"] = [closer(one, height_frac) for one in block["columns"]]
        return made

    return [of(block) for block in blocks]


def landscape(blocks: Iterable[Block], *, paper: Literal["a4", "a3"] = "a4") -> Block:
    """Blocks on pages of their own that lie on their long side: a wide schedule."""
    return {"kind": "landscape", "paper": paper, "blocks": list(blocks)}


def new_page() -> Block:
    """What follows begins a page."""
    return {"kind": "page"}


def text_of(words: Words) -> str:
    """Words as plain text; a break is the end of a line."""
    return "".join(
        part if isinstance(part, str) else "\n" if part["kind"] == "break"
        else text_of(part.get("words", [])) for part in words_of(words))  # fmt: skip


def texts_of(blocks: Iterable[Block]) -> list[str]:
    """Every text of a tree in the order of reading; nothing for pictures."""
    found: list[str] = []
    for block in blocks:
        kind = block["kind"]
        if kind == "numbers":
            found += [text for item in block["items"] for text in item]
        elif kind == "pairs":
            found += [text_of(words) for row in block["rows"] for words in row]
        elif kind == "table":
            found.append(text_of(block["caption"]))
            found += [text_of(one["words"]) for row in (*block["head"], *block["rows"])
                      for one in row]  # fmt: skip
        elif "words" in block:
            found.append(text_of(block["words"]))
        for inner in (block.get("blocks", []), *block.get("items", []), *block.get("columns", [])):
            found += texts_of(inner) if kind != "numbers" else []
    return [text for text in found if text]
