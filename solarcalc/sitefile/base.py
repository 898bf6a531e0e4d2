"""What every record of the site file is made of: text that can be seen, and strict tables."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

_UNSEEN = ("Cc", "Zl", "Zp", "Cs")
_TURNS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def _visible(text: str, allow: str = "") -> str:
    """`text` unchanged when every character of it can be seen or is in `allow`."""
    bad = [
        mark
        for mark in text
        if mark not in allow and (unicodedata.category(mark) in _UNSEEN or mark in _TURNS)
    ]
    if bad:
        raise ValueError(f"text without control characters; found U+{ord(bad[0]):04X}")
    return text


def _line(text: str) -> str:
    """One line of text that can be seen, or nothing."""
    return _visible(text)


def _name(text: str) -> str:
    """One line of text with something in it that can be seen."""
    if not text.strip():
        raise ValueError("text, 1 to 120 characters, not only spaces")
    return _visible(text)


def _note(text: str) -> str:
    """Text of several lines."""
    return _visible(text, allow="\n\t")


def rising(values: Sequence[float]) -> bool:
    """Whether each is above the one before it."""
    return all(low < high for low, high in pairwise(values))


Fraction = Annotated[float, Field(ge=0.0, le=1.0)]
Name = Annotated[str, Field(min_length=1, max_length=120), AfterValidator(_name)]
Line = Annotated[str, Field(max_length=120), AfterValidator(_line)]
FileName = Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(_line)]
Note = Annotated[str, Field(max_length=1000), AfterValidator(_note)]


class Record(BaseModel):
    """A table of the site file: frozen, strict about types, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)

    def __hash__(self) -> int:
        """By the values, lists among them, so that what follows from a record can be kept."""
        return hash(self.model_dump_json())
