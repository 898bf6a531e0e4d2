"""Markdown that says what it is given, whatever stands in it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

_MEANT = re.compile(r"([\\`*_{}\[\]<>|$#~^])")


def text(words: object) -> str:
    """Words as they are, on one line."""
    return _MEANT.sub(r"\\\1", " ".join(str(words).split()))


def code(words: object) -> str:
    """Words as code, on one line."""
    said = " ".join(str(words).split()).replace("|", "\\|")
    return f"`{said}`" if said else ""


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table of cells that are Markdown already."""
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(cell or " " for cell in line) + " |" for line in lines)


def fenced(words: str, language: str = "text") -> str:
    """Lines as they are."""
    return f"```{language}\n{words.rstrip()}\n```"


def contents(names: Iterable[str], *, hidden: bool = False) -> str:
    """Pages below this one."""
    option = ":hidden:\n" if hidden else ":maxdepth: 1\n"
    return "```{toctree}\n" + option + "\n" + "\n".join(names) + "\n```"
