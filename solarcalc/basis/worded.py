"""What checks, tests, causes and faults say: entries of ``data/words``, a file a package.

An entry is a table of texts, one a field of the record that it fills: ``item``, ``limit``,
``clause``, ``remedy``. That of a check has its ``class`` too, and the check gets its rule by it; an
``about`` of its own keeps the check's identity where the words of ``item`` have changed. A
text has places such as ``{length_m:.1f}``. The table ``[shared]`` holds sentences that several
texts of its file take over by their name. How a source was seen is said by ``{no_source}`` and
``{from_memory}``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from string import Formatter
from typing import Any

from solarcalc.basis.files import data_folder
from solarcalc.basis.sourced import FROM_MEMORY, NO_SOURCE

SEEN = {"no_source": NO_SOURCE, "from_memory": FROM_MEMORY}


def worded(file: str, key: str, /, **values: object) -> dict[str, Any]:
    """The texts of an entry by field, their places filled in.

    Raises
    ------
    ValueError
        When there is no such entry, or for values other than its places.
    """
    try:
        return dict(_said(file, key, **values))
    except TypeError:  # a value that nothing can be kept by
        return _said.__wrapped__(file, key, **values)


@lru_cache(maxsize=2048, typed=True)
def _said(file: str, key: str, /, **values: object) -> dict[str, Any]:
    """The texts of `worded`, kept: most of a changed site are those of the site."""
    values = {name: value + 0.0 if value == 0.0 and isinstance(value, float) else value
              for name, value in values.items()}  # -0.0 and 0.0 are asked alike
    entry = entries(file).get(key, _NONE)
    if not entry.texts or entry.places != values.keys():
        raise ValueError(f"data/words/{file}.toml: {key} takes {sorted(entry.places)}, "
                         f"not {sorted(values)}")
    texts = entry.texts
    said: dict[str, Any] = {field: text.format_map(values) for field, text in texts.items()}
    if {"found", "limit"} <= said.keys():
        said["found"], said["limit"] = _told_apart(said, texts, values)
    said = {field: _PERCENT.sub(" %", text) if "%" in text else text
            for field, text in said.items()}  # fmt: skip
    if kind := said.pop("class", None):
        about = [value for name, value in values.items()
                 if name in entry.of_item and isinstance(value, str)]
        said = {"about": " ".join(about)} | said | {"rule": f"{file}/{key}", "kind": kind}
    return said


_PERCENT = re.compile(r"(?<=\d)%")
"""As a format prints it; the sign of a unit stands apart from its number (ISO 80000-1)."""
_PLACE = re.compile(r"\{(\w+):[^{}]*\}")
_NUMBER = re.compile(r"[−-]?\d+(?:\.\d+)?")
_MOST_DIGITS = 4


def _told_apart(
    filled: Mapping[str, str], texts: Mapping[str, str], values: Mapping[str, object]
) -> tuple[str, str]:
    """What was found and what is asked, with the decimals that tell one from the other.

    Without them a value just beyond its limit would read like the limit.
    """
    said = filled["found"], filled["limit"]
    asked = _first_number(said[1])
    if asked is None or _first_number(said[0]) != asked:
        return said
    for digits in range(1, _MOST_DIGITS + 1):
        finer = tuple(_with_digits(text, values, digits).format_map(values)
                      for text in (texts["found"], texts["limit"]))
        numbers = tuple(map(_first_number, finer))
        if numbers[0] != numbers[1]:
            return finer[0], said[1] if numbers[1] == asked else finer[1]
    return said


def _with_digits(text: str, values: Mapping[str, object], digits: int) -> str:
    return _PLACE.sub(lambda place: f"{{{place[1]}:.{digits}f}}"
                      if isinstance(values[place[1]], float) else place[0], text)


def _first_number(text: str) -> float | None:
    number = _NUMBER.search(text)
    return float(number[0].replace("−", "-")) if number else None


@dataclass(frozen=True, kw_only=True)
class Entry:
    """Texts of an entry by field; names of their places, and of those in its item."""

    texts: dict[str, str]
    places: frozenset[str]
    of_item: frozenset[str]


_NONE = Entry(texts={}, places=frozenset(), of_item=frozenset())


@cache
def entries(file: str) -> dict[str, Entry]:
    """Each entry of a file by its key."""
    text = (data_folder() / "words" / f"{file}.toml").read_text(encoding="utf-8")
    tables: dict[str, dict[str, str]] = tomllib.loads(text)
    known = dict(SEEN)
    for name, words in tables.pop("shared", {}).items():
        known[name] = _with(words, known)
    found = {}
    for key, texts in tables.items():
        whole = {field: _with(words, known) for field, words in texts.items()}
        found[key] = Entry(
            texts=whole, places=frozenset().union(*map(places_of, whole.values())),
            of_item=frozenset(places_of(whole.get("item", ""))),
        )  # fmt: skip
    return found


def places_of(text: str) -> set[str]:
    """Names of the places of a text."""
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def _with(text: str, known: dict[str, str]) -> str:
    """A text with the sentences that stand under a name put in."""
    for name in places_of(text) & known.keys():
        text = text.replace(f"{{{name}}}", known[name])
    return text
