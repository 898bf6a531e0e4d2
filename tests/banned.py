"""Words that no reader of the trade should meet: rows of ``tests/rules/banned_words.csv``."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

TABLE = Path(__file__).parent / "rules" / "banned_words.csv"
BOTH = "texts+documents"


@dataclass(frozen=True, kw_only=True)
class Banned:
    """A word or phrase, where it is banned and what stands in its place."""

    pattern: re.Pattern[str]
    language: str
    where: str
    replace_by: str
    note: str


@cache
def banned_words() -> tuple[Banned, ...]:
    """Each row of the table."""
    lines = TABLE.read_text(encoding="utf-8").splitlines()
    return tuple(
        Banned(
            pattern=re.compile(row["pattern"], re.IGNORECASE | re.MULTILINE),
            language=row["language"], where=row["where"], replace_by=row["replace_by"],
            note=row["note"],
        )
        for row in csv.DictReader(line for line in lines if not line.startswith("#"))
    )  # fmt: skip


def banned_in(text: str, language: str, *, where: str = "documents") -> list[str]:
    """What a text says and should not, each with what to say in its place.

    Parameters
    ----------
    text : str
    language : {"en", "fr"}
    where : {"documents", "texts"}
        A finished document, or a text of the data and messages.
    """
    plain = re.sub(r"[ \u00a0\u202f\n]+", " ", text) if where == "texts" else text
    return [
        f"{found[0]!r} in ...{plain[max(found.start() - 30, 0): found.end() + 30]!r}: say"
        f" {row.replace_by!r}"
        for row in banned_words() if row.language == language and where in row.where.split("+")
        for found in row.pattern.finditer(plain)
    ]
