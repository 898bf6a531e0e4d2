"""Widths of the columns of a table on paper, and the letters they are measured in."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

from solarcalc.basis.hours import MONTHS
from solarcalc.basis.messages import languages, messages
from solarcalc.basis.quantity import UNITS
from solarcalc.documents.tree import Block, text_of

Words = list[Any]

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
_ROUNDING_EM = 1e-6
"""A word as wide as its column is not wider for a rounding."""
_LONG = 1200
"""A row with a text of more letters may go over the end of a page."""
_PARTED = re.compile(r"[^ \n]+")
_BREAKS = re.compile("[ \n\u200b]+")
_TELEPHONE = r"(?<!\S)\+?\d{1,4}(?: \d{2,4}){2,}"


@lru_cache(maxsize=1)
def _kept_together() -> re.Pattern[str]:
    """A number with its unit, its currency or its month in any language; a telephone's number."""
    units = sorted({one for one in UNITS.values() if " " not in one}, key=len, reverse=True)
    months = {name for language in languages() for name in messages(language).month_names()}
    behind = "|".join((*map(re.escape, units), "kN/m²", "[A-Z]{3}(?:/[A-Za-z²]+)?",
                       *map(re.escape, sorted({*months, *MONTHS}))))  # fmt: skip
    return re.compile(
        rf"{_TELEPHONE}|[^\s\u200b]*\d(?:er)? (?:{behind})(?![\w/])[^\s\u200b]*")


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
    shares = table.get("shares") or widths_pt  # of such a table the setter takes those widths
    whole_em = room_pt / max(size_pt, sizes_pt[1]) / sum(shares)
    for column, cell in placed:
        spans = slice(column, column + cell["columns"])
        cell["words"] = _breakable(cell["words"], sum(widths_pt[spans]) / size_pt)
        cell["words"] = each_text(cell["words"], partial(
            number_kept, room_em=sum(shares[spans]) * whole_em))
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
        return "".join(part if _em(part) <= room_em + _ROUNDING_EM else "\u200b".join(part)
                       for part in re.split("([ \n\u200b]+)", text))

    return each_text(words, broken)


def number_kept(text: str, room_em: float = math.inf) -> str:
    """A text in which no line ends between a number and its unit, its currency or its month.

    Nor within the number of a telephone.

    Parameters
    ----------
    text : str
    room_em : float
        What is wider than this may be parted [em].

    Examples
    --------
    >>> number_kept("3683 of 12614 kWh, 24 V, 9976 USD by 1 Mar 2027").split(" ")[2:]
    ['12614\\xa0kWh,', '24\\xa0V,', '9976\\xa0USD', 'by', '1\\xa0Mar', '2027']
    >>> number_kept("1 Decision of 2 Marches, 3 December").split(" ")
    ['1', 'Decision', 'of', '2', 'Marches,', '3\\xa0December']
    >>> number_kept("dès le 1er mars 2027, téléphone 555 01 23").split(" ")[2:]
    ['1er\\xa0mars', '2027,', 'téléphone', '555\\xa001\\xa023']
    """
    def kept(found: re.Match[str]) -> str:
        fits = room_em == math.inf or _em(found[0]) <= room_em
        return found[0].replace(" ", "\u00a0") if fits else found[0]

    return _kept_together().sub(kept, text)


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


def each_text(words: Words, change: Callable[[str], str]) -> Words:
    """Words with each text in them changed."""
    return [change(part) if isinstance(part, str)
            else {**part, "words": each_text(part["words"], change)} if "words" in part else part
            for part in words]  # fmt: skip


_LONG_WORD = re.compile(r"[^\s\u200b]{37,}")


def breakable(words: Words) -> Words:
    """Words in which a very long one may break anywhere, and a number stays with its unit."""
    return each_text(words, lambda text: _LONG_WORD.sub(
        lambda word: "\u200b".join(word[0]), number_kept(text)))
