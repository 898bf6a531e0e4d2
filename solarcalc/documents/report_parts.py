"""What the pages of the design report share: a page's head, facts as pairs, figures, no answers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any

from solarcalc.basis.no_answer import NoAnswer, or_why
from solarcalc.basis.quantity import (
    MINUS,
    Figures,
    beside_unit,
    in_unit,
    is_plain_number,
    three_figures,
    unit_sign,
)
from solarcalc.documents.anchors import Anchors
from solarcalc.documents.facts import trade_words
from solarcalc.documents.tree import (
    Block,
    Word,
    Words,
    beside,
    figure,
    heading,
    pairs,
    sentence,
    table,
)
from solarcalc.figures import png_of, svg_of
from solarcalc.page import heading as column_head

TERM_MM = 48.0
"""Room for what a fact is of, in a column of half the page."""
Part = Callable[[], Iterable[Block]]


def titled(number: int, title: str) -> Block:
    """The head of a section."""
    return heading(f"{number} {title}", key=f"s{number}")


def said(*parts: Part) -> Iterator[Block]:
    """Blocks of each part; of one without an answer the sentence that says why."""
    for part in parts:
        found = or_why(lambda part=part: list(part()))()
        yield from [why(found)] if isinstance(found, NoAnswer) else found


def why(no_answer: NoAnswer) -> Block:
    """Why there is no answer, in the words of the trade."""
    return sentence(trade_words(no_answer.sentence))


def drawn(picture: Any, alt: str, links: Sequence[Word], *, wide_mm: float = 182.0,
          tall_mm: float = 100.0, map_of_cells: bool = False) -> Block:  # fmt: skip
    """A figure with links to its calculation; the sentence of one that has no answer.

    Parameters
    ----------
    picture : Figure or NoAnswer
    alt : str
        What it shows; its caption as well.
    links : sequence of words
    wide_mm, tall_mm : float
        It is no larger on paper than either [mm].
    map_of_cells : bool
        Whether it is a map of very many cells, which is no drawing.
    """
    if isinstance(picture, NoAnswer):
        return why(picture)
    content: bytes | str = png_of(picture) if map_of_cells else svg_of(picture)
    wide, tall = picture.get_size_inches()
    return figure(content, alt, [alt, *links], largest_mm=min(wide_mm, tall_mm * wide / tall),
                  across=True)


def facts(rows: Iterable[Mapping[str, Any]]) -> list[tuple[Words, Words]]:
    """Facts as pairs: the first cell, then value with unit and what it rests on, three figures."""
    return [(first_up(str(next(iter(row.values())))), _valued(row)) for row in rows]


def fact_pairs(rows: Iterable[Mapping[str, Any]]) -> Block:
    """Facts of a table as pairs, in a column of half the page."""
    return pairs(facts(rows), term_mm=TERM_MM)


def in_columns(rows: Sequence[Mapping[str, Any]]) -> Block:
    """Facts in two columns side by side."""
    half = (len(rows) + 1) // 2
    return beside([fact_pairs(rows[:half])], [fact_pairs(rows[half:])] if rows[half:] else [])


def _valued(row: Mapping[str, Any]) -> str:
    named = {head.lower(): value for head, value in row.items()}
    unit = unit_sign(str(named.get("unit", "")))
    value = beside_unit(in_figures(named["value"]), unit)
    return f"{value}: {named['source']}" if named.get("source") else value


def in_figures(value: object) -> str:
    """A value with three figures; words stay as they are."""
    if isinstance(value, Figures):
        return three_figures(value.exact)
    if isinstance(value, str):
        plain = is_plain_number(value)
        return three_figures(float(value.replace(MINUS, "-"))) if plain else trade_words(value)
    return three_figures(float(value)) if isinstance(value, (int, float)) else str(value)


def first_up(text: str) -> str:
    """A text that begins with a capital."""
    return text[:1].upper() + text[1:]


def row_table(rows: Sequence[Mapping[str, Any]], caption: Words, *, words: int = 1) -> Block:
    """Rows as a table, figures behind the first columns, which are words."""
    head = list(rows[0]) if rows else []
    cells = [[str(row[name]) if place < words else _in_column(name, row[name])
              for place, name in enumerate(head)] for row in rows]  # fmt: skip
    return table([column_head(name) for name in head], cells, right=range(words, len(head)),
                 caption=caption)  # fmt: skip


def _in_column(name: str, value: object) -> str:
    """A value under its column's name: parts of a whole in thousandths, others in three figures."""
    if isinstance(value, float):
        if name == "performance ratio":
            return f"{value:.3f}"
        if name.endswith("[%]") and not value.is_integer():
            return in_unit(value, "%")
    return in_figures(value)


def linked(anchors: Anchors, text: str, *calls: str) -> Block:
    """A sentence with links to the sections of the appendix that its figures come from."""
    return sentence(trade_words(text), *anchors.to(*calls))
