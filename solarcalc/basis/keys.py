"""Keys of kept answers that follow from large content."""

from __future__ import annotations

from dataclasses import dataclass, field
from hashlib import blake2b
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Digested:
    """Arrays or a text as a key: the same where the content is, and no longer held once taken.

    A function that keeps its answers (`functools.lru_cache`) holds every key as well, which for a
    year's hours is as much as the answer.
    """

    digest: bytes
    _held: list[Any] = field(compare=False, repr=False)

    @classmethod
    def of_arrays(cls, *arrays: np.ndarray) -> Digested:
        """Of arrays of numbers."""
        digest = blake2b(digest_size=16)
        for one in arrays:
            digest.update(np.ascontiguousarray(one).data)
        return cls(digest.digest(), [arrays])

    @classmethod
    def of_text(cls, text: str) -> Digested:
        """Of a text."""
        return cls(blake2b(text.encode("utf-8", "surrogatepass"), digest_size=16).digest(), [text])

    def taken(self) -> Any:
        """The content; once, and only by the function that it is a key of."""
        return self._held.pop()


@dataclass(frozen=True, eq=False)
class Same:
    """A table or a record as a key: the same only as itself."""

    table: Any

    def __hash__(self) -> int:
        return id(self.table)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Same) and other.table is self.table
