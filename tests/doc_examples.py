"""Examples of README and documentation: what stands in their fenced blocks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGES = [ROOT / "README.md", *sorted(
    path for path in (ROOT / "docs").rglob("*.md") if "made" not in path.parts)]  # fmt: skip
_BLOCK = re.compile(r"^( *)```(\w+)\n(.*?)^ *```", re.MULTILINE | re.DOTALL)


def blocks(path: Path, language: str) -> Iterator[str]:
    """Fenced blocks of one language, without the indent of a list that they stand in."""
    for indent, kind, body in _BLOCK.findall(path.read_text(encoding="utf-8")):
        if kind == language:
            yield re.sub(f"^{indent}", "", body, flags=re.MULTILINE)
