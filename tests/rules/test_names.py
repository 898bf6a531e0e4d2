"""Names carry their unit, and public functions say what they give, in which unit and shape."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from solarcalc.basis.quantity import UNITS

PACKAGE = Path(__file__).resolve().parents[2] / "solarcalc"
FILES = sorted(PACKAGE.rglob("*.py"))

EXTRA_SUFFIXES = {
    "frac", "pct_per_k", "c_rate", "solar_h", "per_dry_day_frac", "w_m2",
    "mm", "pt", "percent", "frac_per_month", "frac_per_h", "mj_m2", "em",
}
"""Unit suffixes of inner names that never reach paper through `basis.quantity`."""
UNITLESS = {
    "value", "low", "high", "share", "within", "right", "my_answer", "seconds", "width", "height",
    "sky", "fraction", "clearness", "minutes", "timeout", "friction", "normalised_area",
}
"""Float names that have no unit, or are bounds of something that has its own."""


def public_functions(path: Path) -> list[ast.FunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = []
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            found.append(node)
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            found += [
                item
                for item in node.body
                if isinstance(item, ast.FunctionDef) and not item.name.startswith("_")
            ]
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_public_functions_say_what_they_give(path: Path) -> None:
    for function in public_functions(path):
        assert ast.get_docstring(function), f"{path.name}: {function.name} has no docstring"


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_float_arguments_end_in_a_unit(path: Path) -> None:
    suffixes = set(UNITS) | EXTRA_SUFFIXES
    for function in public_functions(path):
        arguments = function.args.posonlyargs + function.args.args + function.args.kwonlyargs
        for argument in arguments:
            kind = ast.unparse(argument.annotation) if argument.annotation else ""
            if kind not in ("float", "float | None") or argument.arg in UNITLESS:
                continue
            assert any(argument.arg.endswith("_" + suffix) for suffix in suffixes), (
                f"{path.name}: {function.name}({argument.arg}) carries no unit"
            )


ARRAY = re.compile(r"\b(ndarray|NDArray|ArrayLike|Array|Floats|Values|Series|DataFrame)\b")
SHAPE = re.compile(
    r"shape|\([a-z0-9_+ ]+,[^)]*\)|\bby (hour|month|day|box|pair)\b|\b[Ee]ach\b|\b[Hh]ourly\b"
    r"|\b[Rr]ows?\b|\b[Ll]ines?\b|\b[Cc]olumns?\b|[Aa]s `\w+|[Tt]welve|\ban hour\b")  # fmt: skip
"""How a docstring says what an array or a table has: its shape, its rows, or whose it takes."""
SAID_UNIT = re.compile(
    r"\[[^\]]+\]|\b(units?|fraction|share|factor|ratio|number|percent|coefficient|price|money|cost"
    r"|currency|degrees|times|sum|probability|years)\b|\d (%|[kM]?Wh?|V|A|ohm|m3/h|mA)(?!\w)",
    re.IGNORECASE)  # fmt: skip
"""How a docstring says in what a number is where the name does not: a word, or a figure with it."""


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_number_that_is_given_back_has_its_unit(path: Path) -> None:
    suffixes = set(UNITS) | EXTRA_SUFFIXES
    for function in public_functions(path):
        back = ast.unparse(function.returns) if function.returns else ""
        if not re.search(r"\bfloat\b", back):
            continue
        assert any(function.name.endswith("_" + suffix) for suffix in suffixes) or (
            SAID_UNIT.search(ast.get_docstring(function) or "")
        ), f"{path.name}: {function.name} gives a number, in which unit?"


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_arrays_and_tables_have_their_shape_told(path: Path) -> None:
    for function in public_functions(path):
        arguments = function.args.posonlyargs + function.args.args + function.args.kwonlyargs
        kinds = [function.returns, *(one.annotation for one in arguments)]
        if any(ARRAY.search(ast.unparse(kind)) for kind in kinds if kind):
            assert SHAPE.search(ast.get_docstring(function) or ""), (
                f"{path.name}: {function.name} has an array or a table, of which shape?")
