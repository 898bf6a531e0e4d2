"""The works that short names such as "Hay and Davies 1980" stand for."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from solarcalc.basis.paths import data_folder

SEEN = {
    "pvlib": "as cited and implemented by pvlib",
    "table": "figures of it checked in a list of published values",
    "memory": "from memory",
}
"""How a work was seen, in words."""


@dataclass(frozen=True, kw_only=True)
class Work:
    """A work: its short name, what it is, what it is used for and how it was seen."""

    name: str
    work: str
    used_for: str
    seen: str


@cache
def works() -> tuple[Work, ...]:
    """Every work of ``data/sources.toml``, in alphabetical order of the short names."""
    entries = tomllib.loads((data_folder() / "sources.toml").read_text(encoding="utf-8"))["source"]
    return tuple(sorted((Work(**entry) for entry in entries), key=lambda work: work.name))


def works_named_in(texts: Iterable[str]) -> tuple[Work, ...]:
    """The works whose short names occur in any of the texts."""
    together = "\n".join(texts)
    return tuple(work for work in works() if work.name in together)
