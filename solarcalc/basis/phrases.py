"""Texts of the data tables in the crew's language: whole, or part by part, numbers kept.

``data/phrases/<language>.csv`` has a row a text: english, and what the trade says. ``#`` stands for
a number and ``@`` for a tag such as ``Q1`` or ``W11.1 to W11.8``; both sides have as many of each,
in the same order. A heading of the site pack in ``data/messages`` is a row too. A text that has no
row is looked up without the tags or the count it begins with, then split at its full stops,
semicolons, colons, commas and brackets, and each part is looked up; a part that has no row either
stays English.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping
from functools import cache

from solarcalc.basis.files import data_folder
from solarcalc.basis.messages import PATTERN, messages
from solarcalc.basis.text import capital, small

_ONE = r"[A-Z]{1,3}\d+(?:\.\d+)*[+−-]?"
_TAG = re.compile(rf"(?<![\w.]){_ONE}(?: to {_ONE})?(?:, {_ONE}(?: to {_ONE})?)*(?!\w)")
_NUMBER = re.compile(r"(?<![\w.@])[−-]?\.?\d+(?:\u202f\d{3})*(?:[.,]\d+)*(?![\w]*@)")
_SPLITS = (". ", "; ", " — ", ": ", ", ", " (", " until ")
"""Where a text is parted, the coarsest first; a bracket's end is taken off its part."""
_MARKS = {". ": ". ", "; ": "\u202f; ", ": ": "\u00a0: "}
"""How French writes them; all others stay."""
_CATALOGUED = ("sp_", "head_", "status_")
"""Begins the keys of ``data/messages`` whose texts are the same wherever they stand; single letters
are not, as W is west and watt."""
_BEFORE = re.compile(rf"(?:\d+ )?(?:{_TAG.pattern} (?!to {_ONE}))(?:\d+ × )?|\d+ × ")
"""Tags, or how many of a thing, before its name."""
_LISTED, _OF_SEVERAL = re.compile(r"\d+ "), re.compile(r" \d+/\d+$")
"""Number of a thing in a list; of a sheet and of how many."""
_BEFORE_DAY = re.compile(r"(?<=\w) (?=(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d)")
"""Between what is said of a day and the day."""
_INVENTED = re.compile(r"\bInvented (?=[a-z\d]|[A-Z]{2})")
_CITED = ("cl. ", "art. ", "table ", "tableau ", "-", ":")
"""Before the number of a clause, a table or a standard, whose point is no decimal mark."""
_TWICE = re.compile(r"\b([^\W\d]\w*), (\1\b)", re.IGNORECASE)
_SIGN = re.compile(
    r"[^A-Za-z]*"
    r"|[#@]?(?:[Wµkm]?[VAWΩhm]|mA|kA|kN|kWp|kWh|MΩ|mm²|m³|mV/K|Nm|kg|Ah|Cu|Al|kcmil|I_b|[A-Z]{1,5})[#@\d²³.]*"
)
"""Signs, units, tags, and standards by their letters: the same in any language."""


def _is_sign(pattern: str) -> bool:
    return all(_SIGN.fullmatch(word.strip(".,;:()%-?°+×")) for word in re.split(r"[\s/-]", pattern))


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
    found = _catalogued(language)
    rows: set[str] = set()
    with path.open(encoding="utf-8", newline="") as file:
        for english, said in list(csv.reader(file))[1:]:
            if english in rows or _places(english) != _places(said):
                raise ValueError(f"{path.name}: {english!r} stands twice, or has other places")
            rows.add(english)
            found[english] = _typeset(said)
    return found


def _typeset(said: str) -> str:
    """Apostrophes as `data/messages` has them, and signs that no line's end sets off."""
    said = re.sub(r"(?<=\w)'(?=\w)", "’", said)
    return re.sub(r"[ \u00a0](?=[:%»])", "\u00a0", re.sub(r"[ \u00a0](?=[;!?])", "\u202f", said))


def _catalogued(language: str) -> dict[str, str]:
    """Headings of the site pack by their English text; none that is said in two ways."""
    texts, said = messages(language).texts, dict[str, set[str]]()
    for key, english in messages(PATTERN).texts.items():
        if key.startswith(_CATALOGUED) and not re.search(r"[#@{]|^.{,2}$", english):
            said.setdefault(english, set()).add(texts[key])
    return {english: min(ways) for english, ways in said.items() if len(ways) == 1}


def plain(name: str) -> str:
    """A name without what the stamp says already, and no word of it twice; people keep theirs.

    Examples
    --------
    >>> plain("Inverter, Invented inverter 2.7 kW"), plain("assessed: Invented Engineer")
    ('Inverter 2.7 kW', 'assessed: Invented Engineer')
    """
    return _TWICE.sub(lambda found: found[1], _INVENTED.sub("", name))


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

    Examples
    --------
    >>> phrase("Mon 1 Mar 2027", "fr"), phrase("Mon 21 Jun 2027", "fr")
    ('lun. 1er mars 2027', 'lun. 21 juin 2027')
    """
    same = language == PATTERN or re.search("[#@]", text)  # a text with our marks stays
    return text if same else _first_days(_Phrase(language).said(text), language)


def _first_days(text: str, language: str) -> str:
    """A text with the first days of months as the language says them."""
    pattern, first = _first_of_month(language)
    return pattern.sub(first, text)


@cache
def _first_of_month(language: str) -> tuple[re.Pattern[str], str]:
    words = messages(language)
    month = "|".join(map(re.escape, words.month_names()))
    return (re.compile(rf"(?<![\d.,–-])1(?=[ \u00a0](?:{month})(?!\w))"),
            words.text("date_first", day=1, month="", year="").strip())  # fmt: skip


def listed(text: str, language: str) -> str:
    """A text of a list that stands alone, where no stamp says what is invented.

    Examples
    --------
    >>> listed("Invented inverter 2.7 kW, sine", "fr"), listed("0.40", "fr")
    ('onduleur 2,7 kW, sinus (fictif)', '0.40')
    """
    if language == PATTERN or not re.search(r"[^\W\d_]{2}", text):
        return text
    said = phrase(plain(text), language)
    return f"{said} ({phrase('invented', language)})" if _INVENTED.search(text) else said


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
        text = text.replace(" cl. ", " cl.\u00a0")  # no end of a sentence
        found = self._whole(text)
        if found is not None:
            return found
        for split in _SPLITS:
            if split in text:
                return self._parted(text, split)
        if before := _BEFORE.match(text):
            return self._behind(before[0], text)
        if day := _BEFORE_DAY.search(text):
            return f"{self.said(text[:day.start()])} {self.said(text[day.end():])}"
        head, _, unit = text.rpartition(" ")
        if head[-1:].isdigit() and _is_sign(unit) and (found := self._by_row(head)):
            return f"{found} {unit}"
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

    def _behind(self, before: str, text: str) -> str:
        """A text whose first words stand as they are, but for what joins tags."""
        return f"{self._filled(*_pattern(before))}{self.said(text.removeprefix(before))}"

    def _whole(self, text: str) -> str | None:
        """By its row, with or without its full stop; else what follows its tags or its count."""
        found = self._by_row(text)
        if found is None and text.endswith(".") and (found := self._by_row(text[:-1])):
            found += "."
        if found is None and (last := _OF_SEVERAL.search(text)):
            head = self._by_row(text[:last.start()])
            found = None if head is None else head + last[0]
        if found is None and (before := _BEFORE.match(text) or _LISTED.match(text)):
            rest = self._by_row(text[before.end():])
            found = None if rest is None else self._filled(*_pattern(before[0])) + rest
        return found

    def _by_row(self, text: str) -> str | None:
        pattern, kept = _pattern(text)
        pattern = re.sub("[\u00a0\u202f]", " ", pattern)
        for given in _cases(pattern):
            if given in self.table:
                said = self._filled(self.table[given], kept)
                return said if given[:1] == pattern[:1] else _begun_like(text, said)
        return None

    def _filled(self, pattern: str, kept: list[str]) -> str:
        values = iter(kept)
        return re.sub("[#@]", lambda place: self._value(
            place[0], next(values), pattern[:place.start()].endswith(_CITED)), pattern)

    def _value(self, place: str, value: str, cited: bool) -> str:
        if place == "#":
            whole = cited or value.startswith(".") or value.count(".") > 1
            return value if whole else value.replace(".", self.decimal)
        return self.table.get(value, value.replace(" to ", f" {self.table.get('to', 'to')} "))


def _begun_like(text: str, said: str) -> str:
    """Words that begin with a capital where a text does; an abbreviation stays as it is."""
    if text[:1].islower() and said[1:2].islower():
        return small(said)
    return capital(said)


def _cases(pattern: str) -> Iterator[str]:
    """As it stands, then with a small and with a capital first letter."""
    yield pattern
    yield small(pattern)
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
