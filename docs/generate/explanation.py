"""How each model works: formulas from docstrings, constants, compared figures, limits."""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

from generate.markdown import code, fenced, text

DOCS = Path(__file__).resolve().parents[1]
PACKAGE = DOCS.parent / "solarcalc"
_NOTES = re.compile(r"^Notes\n-----\n(.+?)(?=^\w[\w ]*\n-+$|\Z)", re.MULTILINE | re.DOTALL)


def pages(_: Path) -> Iterator[tuple[str, str]]:
    """A page for each entry of ``docs/explanation/topics.toml``."""
    topics = tomllib.loads((DOCS / "explanation" / "topics.toml").read_text(encoding="utf-8"))
    limits = limits_by_name()
    for key, topic in topics.items():
        parts = [f"# {topic['title']}", text(topic["words"]), "## Formulas and their source"]
        for module in topic["modules"]:
            parts += _formulas(module)
        links = [f"[constants: {name}](../constants/{name}.md)" for name in topic["constants"]]
        links += [f"[published figures: {name.replace('_', ' ')}](../figures/{name}.md)"
                  for name in topic["figures"]]  # fmt: skip
        parts += ["## Constants, and what was compared", "; ".join(links) + "."]
        if topic["limits"]:
            parts += ["## Limits", "\n".join(limits[name] for name in topic["limits"])]
        yield f"explanation/{key}.md", "\n\n".join(parts) + "\n"


def limits_by_name() -> dict[str, str]:
    """Each line of ``docs/limits.md`` by its bold words."""
    words = (DOCS / "limits.md").read_text(encoding="utf-8")
    found = re.findall(r"^- \*\*(.+?)\*\*.*?(?=^- |\Z)", words, re.MULTILINE | re.DOTALL)
    lines = re.findall(r"^- \*\*.+?(?=^- |\Z)", words, re.MULTILINE | re.DOTALL)
    return dict(zip(found, map(str.rstrip, lines), strict=True))


def _formulas(module: str) -> list[str]:
    """What a module says of itself, and the notes of its functions."""
    tree = ast.parse((PACKAGE / f"{module}.py").read_text(encoding="utf-8"))
    said = [f"### {text('solarcalc.' + module.replace('/', '.'))}",
            fenced(ast.get_docstring(tree) or "")]
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
            continue
        words = ast.get_docstring(node) or ""
        notes = _NOTES.search(words)
        if notes:
            said += [f"{code(node.name)}: {text(words.splitlines()[0])}", fenced(notes[1])]
    return said
