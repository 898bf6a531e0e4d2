"""Texts of the data tables in the crew's language: whole, or part by part, numbers kept.

``data/phrases/<language>.csv`` has a row a text: english, and what the trade says. ``#`` stands for
a number and ``@`` for a tag such as ``Q1`` or ``W11.1 to W11.8``; both sides have as many of each,
in the same order. A text that has no row is split at its full stops, semicolons, colons, commas and
brackets, and each part is looked up; a part that has no row either stays English.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from functools import cache

from solarcalc.basis.files import data_folder
from solarcalc.basis.messages import PATTERN, messages
from solarcalc.basis.text import capital

_ONE = r"[A-Z]{1,3}\d+(?:\.\d+)*[+−-]?"
_TAG = re.compile(rf"(?<![\w.]){_ONE}(?: to {_ONE})?(?:, {_ONE}(?: to {_ONE})?)*(?!\w)")
_NUMBER = re.compile(r"(?<![\w.@])[−-]?\d+(?:[.,]\d+)*(?![\w]*@)")
_SPLITS = (". ", "; ", " — ", ": ", ", ", " (", " until ")
"""Where a text is parted, the coarsest first; a bracket's end is taken off its part."""
_MARKS = {". ": ". ", "; ": "\u00a0; ", ": ": "\u00a0: "}
"""How French writes them; all others stay."""
_SIGN = re.compile(
    r"[^A-Za-z]*"
    r"|[#@]?(?:[Wµkm]?[VAWΩhm]|mA|kA|kWp|kWh|MΩ|mm²|m³|mV/K|Nm|kg|[A-Z]{2,5})[#@\d²³.]*"
)
"""Signs, units, tags, and standards by their letters: the same in any language."""


def _is_sign(pattern: str) -> bool:
    return all(_SIGN.fullmatch(word.strip(".,;:()%-")) for word in re.split(r"[\s/-]", pattern))


@cache
def phrases(language: str) -> Mapping[str, str]:
    """The table of a language by the English text; empty where it has none.

    Raises
    ------
    ValueError
        For a text that stands twice, or whose two sides have not the same places.
    """
    path = data_folder() / "phrases" / f"{language}.csv"
    if not path.is_file():
        return {}
    found: dict[str, str] = {}
    with path.open(encoding="utf-8", newline="") as file:
        for english, said in list(csv.reader(file))[1:]:
            if english in found or _places(english) != _places(said):
                raise ValueError(f"{path.name}: {english!r} stands twice, or has other places")
            found[english] = said
    return found


def _places(text: str) -> list[str]:
    return re.findall(r"[#@]", text)


def phrase(text: str, language: str) -> str:
    """A text of a data table in a language.

    Parameters
    ----------
    text : str
        English.
    language : str
        Such as ``"fr"``; English gives the text as it is.
    """
    same = language == PATTERN or re.search("[#@]", text)  # a text with our marks stays
    return text if same else _Phrase(language).said(text)


def untranslated(text: str, language: str) -> tuple[str, ...]:
    """Parts of a text without a row: ``#`` stands for numbers and ``@`` for tags."""
    if language == PATTERN or re.search("[#@]", text):
        return ()
    one = _Phrase(language)
    one.said(text)
    return tuple(one.left)


class _Phrase:
    """One text on its way; keeps what it found no row for."""

    def __init__(self, language: str) -> None:
        self.table = phrases(language)
        self.decimal = messages(language).texts["decimal_mark"]
        self.left: list[str] = []

    def said(self, text: str) -> str:
        found = self._whole(text)
        if found is not None:
            return found
        for split in _SPLITS:
            if split in text:
                return self._parted(text, split)
        core = text.strip(" .()")
        if core != text and core:
            return text.replace(core, self.said(core))
        pattern, kept = _pattern(text)
        if not _is_sign(pattern):
            self.left.append(pattern)
        return self._filled(pattern, kept)

    def _parted(self, text: str, split: str) -> str:
        before, _, after = text.partition(split)
        if split == " until ":
            return f"{self.said(before)} {self.said(f'until {after}')}"
        if split == " (" and ")" in after:
            inside, _, rest = after.partition(")")
            behind = self.said(rest) if rest.strip() else rest
            return f"{self.said(before)} ({self.said(inside)}){behind}"
        return _MARKS.get(split, split).join((self.said(before), self.said(after)))

    def _whole(self, text: str) -> str | None:
        pattern, kept = _pattern(text)
        for given in _cases(pattern):
            if given in self.table:
                said = self._filled(self.table[given], kept)
                return said if given[:1] == pattern[:1] else capital(said)
        return None

    def _filled(self, pattern: str, kept: list[str]) -> str:
        values = iter(kept)
        return re.sub("[#@]", lambda place: self._value(place[0], next(values)), pattern)

    def _value(self, place: str, value: str) -> str:
        if place == "#":
            return value.replace(".", self.decimal)
        return self.table.get(value, value.replace(" to ", f" {self.table.get('to', 'to')} "))


def _cases(pattern: str) -> Iterator[str]:
    """As it stands, then with a small and with a capital first letter."""
    yield pattern
    yield f"{pattern[:1].lower()}{pattern[1:]}"
    yield capital(pattern)


def _pattern(text: str) -> tuple[str, list[str]]:
    """A text with its numbers and tags taken out, and these in their order."""
    kept: list[str] = []
    found = sorted([*_TAG.finditer(text), *_NUMBER.finditer(text)], key=lambda one: one.start())
    pieces, end = [], 0
    for one in found:
        if one.start() < end:
            continue
        pieces += [text[end:one.start()], "@" if one.re is _TAG else "#"]
        kept.append(one[0])
        end = one.end()
    return "".join((*pieces, text[end:])), kept
