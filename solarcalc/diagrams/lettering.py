"""Letters of a drawing: their sizes, how wide words are, how they are broken into lines."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

SMALLEST_MM = 2.5
"""Letters of no text are smaller at print size [mm]; common practice, no source."""
TEXT_MM, SMALL_MM, TITLE_MM = 2.8, 2.5, 5.0
EM_WIDTH, WIDE_EM = 0.6, 1.05
"""Width of a letter in its size: wider than most of a sans-serif; of a full-width letter."""
KEPT = "\u00a0"
"""A space at which no line is broken."""
_UNIT = re.compile(r"(?<=\d) (?=(?:k?[VWA]|[WAk]h|kWh)\b)")


class Said(str):
    """Words that are in the language of their sheet already."""

    __slots__ = ()


def words_width_mm(words: str, size_mm: float) -> float:
    """Width that a line of words takes at most, by the letter [mm]."""
    ems = [
        0.0 if unicodedata.combining(mark)
        else WIDE_EM if unicodedata.east_asian_width(mark) in "WF"
        else EM_WIDTH
        for mark in words
    ]  # fmt: skip
    return size_mm * sum(ems)


def fitted(words: str, width_mm: float, *, size_mm: float = TEXT_MM, lines: int = 2) -> list[str]:
    """Words broken into at most `lines` lines of a width [mm]; what is cut off ends in "…".

    Examples
    --------
    >>> fitted("battery to inverter", 20.0, lines=2)
    ['battery to', 'inverter']
    >>> fitted("battery to inverter", 20.0, lines=1)
    ['battery to…']
    """
    kept: list[str] = []
    for word in words.replace("\n", " ").split(" "):
        if not word:
            continue
        if kept and words_width_mm(f"{kept[-1]} {word}", size_mm) <= width_mm:
            kept[-1] += f" {word}"
            continue
        pieces = _broken(word, width_mm, size_mm)
        kept += pieces
    if len(kept) <= lines:
        return kept
    last = kept[lines - 1]
    while last and words_width_mm(last + "…", size_mm) > width_mm:
        last = last[:-1]
    return [*kept[: lines - 1], last.rstrip(" ,;:") + "…"]


def _broken(word: str, width_mm: float, size_mm: float) -> list[str]:
    """A word in pieces that each fit."""
    pieces, piece = [], ""
    for mark in word:
        if piece and words_width_mm(piece + mark, size_mm) > width_mm:
            pieces.append(piece)
            piece = ""
        piece += mark
    return [*pieces, piece]


def joined(pieces: Sequence[str], width_mm: float, *, lines: int = 3) -> list[str]:
    """Pieces side by side with commas, in at most `lines` lines; those at the end without room go.

    Examples
    --------
    >>> joined(["16 A", "2 poles", "curve C", "6 kA"], 26.0, lines=2)
    ['16 A, 2 poles', 'curve C, 6 kA']
    >>> joined(["16 A", "2 poles", "curve C", "6 kA"], 26.0, lines=1)
    ['16 A, 2 poles']
    """
    return _joined(pieces, width_mm, lines)[0]


def joined_count(pieces: Sequence[str], width_mm: float, *, lines: int = 3) -> int:
    """How many of the pieces have room where they are `joined`.

    Examples
    --------
    >>> joined_count(["16 A", "2 poles", "curve C", "6 kA"], 26.0, lines=1)
    2
    """
    return _joined(pieces, width_mm, lines)[1]


def _joined(pieces: Sequence[str], width_mm: float, lines: int) -> tuple[list[str], int]:
    kept: list[str] = []
    for number, piece in enumerate(pieces):
        longer = f"{kept[-1]}, {piece}" if kept else piece
        if kept and words_width_mm(longer, TEXT_MM) <= width_mm:
            kept[-1] = longer
            continue
        room = lines - len(kept)
        broken = fitted(piece, width_mm, lines=room) if room > 0 else []
        if not broken or (kept and broken[-1].endswith("…")):
            return kept, number
        kept += broken
    return kept, len(pieces)


def with_unit_kept(words: str) -> str:
    """Words in which no line is broken between a number and its unit."""
    return _UNIT.sub(KEPT, words)
