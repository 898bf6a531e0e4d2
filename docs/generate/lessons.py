"""Which lessons there are, from their texts."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from generate.markdown import table, text

from solarcalc.basis.files import data_folder


def pages(_: Path) -> Iterator[tuple[str, str]]:
    """One page."""
    rows = []
    for path in sorted((data_folder() / "lesson_texts").glob("*.toml")):
        told = tomllib.loads(path.read_text(encoding="utf-8"))
        rungs = Counter(one["rung"] for one in told["tasks"])
        mistakes = sum(len(one.get("mistakes", ())) for one in told["tasks"])
        number, _, _ = path.stem.partition("_")
        rows.append((str(int(number)), text(told["title"]), text(told["question"]),
                     text(", ".join(rungs)), str(len(told["tasks"])), str(mistakes),
                     text("; ".join(told["sources"]))))  # fmt: skip
    yield "lessons.md", "\n\n".join([
        "# Lessons",
        "Tasks climb from reading a value to finding a fault; a mistake is one that is recognised"
        " by its value and named. How to use them: [Learn the trade](../how-to/lessons.md).",
        table(("no.", "lesson", "question", "tasks climb", "tasks", "mistakes named", "sources"),
              rows),
    ]) + "\n"  # fmt: skip
