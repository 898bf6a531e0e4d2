"""What checks, tests, causes and faults say: entries of ``data/words``, a file a package.

An entry is a table of texts, one a field of the record that it fills: ``item``, ``limit``,
``clause``, ``remedy``. That of a check has its ``class`` too, and the check gets its rule by it; an
``about`` of its own keeps the check's identity where the words of ``item`` have changed. A
text has places such as ``{length_m:.1f}``. The table ``[shared]`` holds sentences that several
texts of its file take over by their name. How a source was seen is said by ``{no_source}`` and
``{from_memory}``.
"""

from __future__ import annotations

import tomllib
from functools import cache
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
    texts, places = entries(file).get(key, ({}, frozenset()))
    if not texts or places != values.keys():
        raise ValueError(f"data/words/{file}.toml: {key} takes {sorted(places)}, "
                         f"not {sorted(values)}")
    said: dict[str, Any] = {field: text.format_map(values) for field, text in texts.items()}
    if kind := said.pop("class", None):
        names = places_of(texts.get("item", "")) & values.keys()
        about = [value for name, value in values.items()
                 if name in names and isinstance(value, str)]
        said = {"about": " ".join(about)} | said | {"rule": f"{file}/{key}", "kind": kind}
    return said


@cache
def entries(file: str) -> dict[str, tuple[dict[str, str], frozenset[str]]]:
    """Each entry of a file by its key: its texts, and the names of their places."""
    text = (data_folder() / "words" / f"{file}.toml").read_text(encoding="utf-8")
    tables: dict[str, dict[str, str]] = tomllib.loads(text)
    known = dict(SEEN)
    for name, words in tables.pop("shared", {}).items():
        known[name] = _with(words, known)
    found = {}
    for key, texts in tables.items():
        whole = {field: _with(words, known) for field, words in texts.items()}
        found[key] = whole, frozenset().union(*map(places_of, whole.values()))
    return found


def places_of(text: str) -> set[str]:
    """Names of the places of a text."""
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def _with(text: str, known: dict[str, str]) -> str:
    """A text with the sentences that stand under a name put in."""
    for name in places_of(text) & known.keys():
        text = text.replace(f"{{{name}}}", known[name])
    return text
