"""Words for customers in their language: one file of texts a language, and how it writes numbers.

``data/messages/en.toml`` is the pattern: flat keys, texts with places such as ``{count}``. Another
language is one more file with the same keys and, in each text, the same places; it is checked when
it is read. Files of a folder of the language's name, such as ``data/messages/en/quote.toml``, add
the words of single documents; no key stands twice. A text that depends on a number has two keys,
``..._one`` and ``..._many``; languages with more forms than two are not covered.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.quantity import told_share
from solarcalc.basis.text import nearest

PATTERN = "en"
"""Language whose keys and places every other one has."""

_PLACE = re.compile(r"\{([a-z][a-z0-9_]*)\}")
_BRACE = re.compile(r"[{}]")
_LEAST_GROUPED = 5
"""Digits before the decimal mark from which they are grouped, as in basis.quantity."""


@dataclass(frozen=True, kw_only=True)
class Messages:
    """The texts of one language.

    Parameters
    ----------
    language : str
        Name of its file without the ending, such as ``"fr"``.
    texts : mapping of str to str
    """

    language: str
    texts: Mapping[str, str]

    def text(self, key: str, **values: object) -> str:
        """A text with its places filled in; what is filled in is never read as a place again.

        Raises
        ------
        KeyError
            For a key that is not in the catalogue.
        ValueError
            For values other than the text's places.
        """
        if key not in self.texts:
            raise KeyError(f"{self.language}.toml: no text {key}; "
                           f"nearest: {nearest(key, self.texts)}")
        words = self.texts[key]
        wanted = set(_PLACE.findall(words))
        if wanted != set(values):
            raise ValueError(f"{self.language}.toml: {key} takes {sorted(wanted)}, "
                             f"not {sorted(values)}")
        return _PLACE.sub(lambda place: str(values[place[1]]), words)

    def counted(self, key: str, count: int, **values: object) -> str:
        """The text for one or for many of a thing: ``key_one`` or ``key_many``.

        It may have the place ``{count}``, and need not: "in one month".

        Which numbers count as one is the language's own: 1 in English, 0 and 1 in French (Unicode
        CLDR plural rules, cardinal, as held from memory).
        """
        alone = str(count) in self.texts["counts_as_one"].split()
        full = f"{key}_one" if alone else f"{key}_many"
        if "{count}" in self.texts.get(full, ""):
            values["count"] = self.number(count)
        return self.text(full, **values)

    def number(self, value: float, decimals: int = 0) -> str:
        """A number as the language writes it: its decimal mark, its digits in groups of three.

        Parameters
        ----------
        value : float
            Finite.
        decimals : int
            Digits after the decimal mark.

        Examples
        --------
        >>> messages("fr").number(12345.67, 1) == "12" + chr(0x202F) + "345,7"
        True
        >>> messages("en").number(-0.04, 1)
        '0.0'
        """
        digits = f"{abs(value):.{decimals}f}"
        whole, _, rest = digits.partition(".")
        if len(whole) >= _LEAST_GROUPED:
            whole = f"{int(whole):,}".replace(",", self.texts["thousands_mark"])
        sign = "−" if value < 0.0 and float(digits) != 0.0 else ""
        return sign + whole + (self.texts["decimal_mark"] + rest if rest else "")

    def percent(self, part_frac: float, decimals: int = 0) -> str:
        """A fraction, 0 to 1, in percent.

        Parameters
        ----------
        part_frac : float
            [frac], 0 to 1.
        decimals : int
            Digits after the decimal mark.

        Examples
        --------
        >>> messages("en").percent(0.5) == "50" + chr(0xA0) + "%"
        True
        """
        return self.text("percent", number=self.number(100.0 * part_frac, decimals))

    def share(self, part_kwh: float, whole_kwh: float) -> str:
        """A part of a whole in percent; all of it is said where both are printed alike.

        Examples
        --------
        >>> messages("en").share(5490.0, 5492.0), messages("en").share(5.0, 5.0)
        ('99.9\xa0%', '100\xa0%')
        """
        share = told_share(part_kwh, whole_kwh)
        return self.percent(share) if share >= 1.0 else self.percent(min(share, 0.999), 1)

    def month(self, number: int) -> str:
        """Name of a month, 1 to 12, as it stands within a sentence."""
        return self.text(f"month_{number}")

    def month_short(self, number: int) -> str:
        """Name of a month, 1 to 12, for the head of a column."""
        return self.text(f"month_short_{number}")

    def month_names(self) -> list[str]:
        """Whole and short names of the months, the longest first."""
        names = {name(number) for name in (self.month, self.month_short) for number in range(1, 13)}
        return sorted(names, key=len, reverse=True)

    def date(self, day: date) -> str:
        """A day in words.

        Examples
        --------
        >>> messages("fr").date(date(2027, 3, 1)), messages("en").date(date(2027, 3, 1))
        ('1er mars 2027', '1 March 2027')
        """
        first = "date_first" if day.day == 1 else "date"
        return self.text(first, day=day.day, month=self.month(day.month), year=day.year)


def languages(folder: Path | None = None) -> tuple[str, ...]:
    """Languages that have a file of texts, in alphabetical order."""
    return tuple(sorted(path.stem for path in (folder or _folder()).glob("*.toml")))


def language_fault(language: str, where: str) -> Fault | None:
    """What is wrong with the name of a language; None when it has a file of texts."""
    known = languages()
    if language in known:
        return None
    word = language.strip().lower()
    near = word[:2] if word[:2] in known else nearest(word, known)
    return Fault(
        where=where, given=repr(language)[:80], allowed="one of " + ", ".join(known),
        why="there is a file of texts for these only",
        remedy=f"did you mean {near}?" if near else f"add {language[:12]}.toml to data/messages",
    )  # fmt: skip


def messages(language: str, *, where: str = "language") -> Messages:
    """The texts of a language, checked against those of the pattern.

    Parameters
    ----------
    language : str
        Such as ``"en"`` or ``"fr"``.
    where : str
        Field to name when there is no such language.

    Raises
    ------
    InputError
        When there is no such language; with every fault of its file.
    """
    fault = language_fault(language, where)
    if fault is not None:
        raise InputError(fault)
    return _read(language, _folder())


@cache
def _read(language: str, folder: Path) -> Messages:
    texts = all_texts(language, folder)
    if language != PATTERN:
        faults = unlike(f"{language}.toml", texts, all_texts(PATTERN, folder))
        if faults:
            raise InputError(faults)
    return Messages(language=language, texts=texts)


def all_texts(language: str, folder: Path) -> dict[str, str]:
    """The texts of a language's own file and of its folder.

    Raises
    ------
    InputError
        When one cannot be read, or a key stands twice.
    """
    texts = read_texts(folder / f"{language}.toml")
    for path in sorted((folder / language).glob("*.toml")):
        added = read_texts(path)
        if twice := sorted(added.keys() & texts.keys()):
            raise InputError(Fault(where=f"{language}/{path.name}: {twice[0]}",
                                   given="a key that another file has", allowed="each key once"))
        texts |= added
    return texts


def read_texts(path: Path) -> dict[str, str]:
    """The texts of one file.

    Raises
    ------
    InputError
        When it is not TOML, or holds more than texts whose only braces are those of places.
    """
    try:
        read = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(Fault(where=path.name, given=str(error)[:200],
                               allowed='lines of key = "text" in UTF-8')) from None
    faults = [
        Fault(where=f"{path.name}: {key}", given=repr(text)[:80],
              allowed="a text; braces only around the name of a place, such as {count}")
        for key, text in read.items()
        if not isinstance(text, str) or not text or _BRACE.search(_PLACE.sub("", text))
    ]  # fmt: skip
    if faults:
        raise InputError(faults)
    return read


def unlike(name: str, texts: Mapping[str, str], pattern: Mapping[str, str]) -> list[Fault]:
    """Where a language has not the keys and places of the pattern."""
    faults = [Fault(where=f"{name}: {key}", given="nothing", allowed=f'a text for "{text[:60]}"')
              for key, text in pattern.items() if key not in texts]  # fmt: skip
    for key, text in texts.items():
        if key not in pattern:
            near = nearest(key, pattern)
            faults.append(Fault(where=f"{name}: {key}", given="a key that English has not",
                                allowed=f"the keys of {PATTERN}.toml",
                                remedy=f"did you mean {near}?" if near else ""))
            continue
        wanted, found = (set(_PLACE.findall(words)) for words in (pattern[key], text))
        if wanted != found:
            faults.append(Fault(where=f"{name}: {key}", given=_places(found),
                                allowed=f"{_places(wanted)}, as in English"))
    return faults


def _places(names: set[str]) -> str:
    return " ".join(f"{{{name}}}" for name in sorted(names)) or "no place"


def _folder() -> Path:
    return data_folder() / "messages"
