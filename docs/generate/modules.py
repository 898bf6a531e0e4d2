"""Every public function and class, by the stage of the walk, from its docstring."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from generate.markdown import contents, fenced, table, text

ROOT = Path(__file__).resolve().parents[2]
MODULES_ALONE = "---\ntocdepth: 2\n---"
"""Beside a page of modules stand its modules, not their hundreds of names.

The theme copies what stands beside every page into the navigation of each: with the names a build
takes twice as long.
"""
PACKAGE = ROOT / "solarcalc"
INTERFACE = (
    "design", "variants", "search/searched", "search/whole", "documents/write",
    "sitefile/read", "basis/check", "basis/errors", "basis/no_answer",
)  # fmt: skip
"""Modules that a script of one's own needs, in the order in which it meets them."""


@dataclass(frozen=True, kw_only=True)
class Stage:
    """A line of the walk: its packages or modules, and what they are for."""

    names: tuple[str, ...]
    words: str


def walk() -> Iterator[Stage]:
    """The stages as the guide for contributors tells them."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = guide.partition("```text")[2].partition("```")[0]
    yield Stage(names=("basis",), words="the floor that every stage stands on")
    for heads, words in re.findall(r"^ +-> ([a-z, ]+?)  +(.+)$", block, re.MULTILINE):
        yield Stage(names=tuple(heads.split(", ")), words=re.sub(r" +", " ", words).strip())


def pages(_: Path) -> Iterator[tuple[str, str]]:
    """The interface for scripts, the list of stages, and a page for each of these."""
    files = [PACKAGE / f"{name}.py" for name in INTERFACE]
    yield "python.md", "\n\n".join([
        "# Python interface: what a script needs",
        "Names are imported from the module that has them: `from solarcalc.design import"
        " open_design`. No module exports names of another. Examples that run:"
        " [Work in Python](../how-to/python.md).",
        *(part for file in files for part in _module(file)),
    ]) + "\n"  # fmt: skip
    stages = list(walk())
    rows = [(f"[{text(', '.join(one.names))}](modules/{one.names[0]}.md)", text(one.words))
            for one in stages]  # fmt: skip
    yield "modules.md", "\n\n".join([
        "# All modules, in the order of the walk",
        "Plain values in and out. A name ends in its unit; arrays of a year have the shape"
        " `(8760,)`, a value for each hour, the label at its start.",
        table(("stage", "what it does"), rows),
        contents((f"modules/{one.names[0]}" for one in stages), hidden=True),
    ]) + "\n"  # fmt: skip
    for one in stages:
        parts = [MODULES_ALONE, f"# {', '.join(one.names)}", text(one.words)]
        for name in one.names:
            home = PACKAGE / name
            files = sorted(home.glob("*.py")) if home.is_dir() else [PACKAGE / f"{name}.py"]
            parts += [part for file in files for part in _module(file)]
        yield f"modules/{one.names[0]}.md", "\n\n".join(parts) + "\n"


def _module(path: Path) -> list[str]:
    """What a module says of itself, and each public name of it."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    parts = [f"## {text(name)}", fenced(ast.get_docstring(tree) or "")]
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            parts.append(f"### {text(node.name)}")
            parts.append(fenced(f"{_signature(node)}\n\n{_indented(node)}"))
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            parts.append(f"### {text(node.name)}")
            methods = [one for one in node.body if isinstance(one, ast.FunctionDef)
                       and not one.name.startswith("_")]  # fmt: skip
            parts.append(fenced("\n\n".join(
                [f"{_class(node)}\n\n{_indented(node)}"]
                + [f"    {_signature(one)}\n\n{_indented(one, 8)}" for one in methods])))
    return parts if len(parts) > 2 or ast.get_docstring(tree) else []


def _signature(node: ast.FunctionDef) -> str:
    kinds = {ast.unparse(one) for one in node.decorator_list}
    said = f"{node.name}({ast.unparse(node.args)})"
    if kinds & {"property", "cached_property", "stage"}:
        said = node.name
    return said + (f" -> {ast.unparse(node.returns)}" if node.returns else "")


def _class(node: ast.ClassDef) -> str:
    bases = ", ".join(map(ast.unparse, node.bases))
    return f"class {node.name}({bases})" if bases else f"class {node.name}"


def _indented(node: ast.FunctionDef | ast.ClassDef, by: int = 4) -> str:
    lines = (ast.get_docstring(node) or "").splitlines()
    return "\n".join(" " * by + line if line else "" for line in lines)


