"""Change one thing in the rules, run the tests, see whether any of them notices; many times over.

    python tests/mutation.py --seed 12 --count 40

Draws single changes from the code of the rules and from the constants that they read: a comparison
turned or its bound taken in, + for -, * for /, a number a fifth larger, max for min, and for or, a
`not` dropped, an `if` never taken, a loop left after its first turn, an element of a tuple left
out. Each is made in a copy of the tree, never here. Not collected by pytest: it takes minutes.

Snapshots (tests/test_frozen_sites.py) and checksums are left out on purpose: they notice every
change and say nothing about the rule. Prints a line a change with the test that caught it, or
SURVIVED; ends with 1 where one survived, 2 where the tests fail before anything is changed. A
change that cannot be told from the code before it (a tolerance, a bound that no value meets) may
survive: look at each.
"""

from __future__ import annotations

import argparse
import ast
import csv
import io
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LEFT_OUT = (".git", ".venv", ".hypothesis", "__pycache__", ".mypy_cache", ".ruff_cache",
            ".pytest_cache", ".solarcalc", "reports")  # fmt: skip
MOST_S = 300


@dataclass(frozen=True)
class Area:
    """A part of the rules: its files, which of their functions, its tests, likeliest first."""

    files: tuple[str, ...]
    tests: tuple[str, ...]
    only: dict[str, tuple[str, ...]] = field(default_factory=dict)
    but: dict[str, tuple[str, ...]] = field(default_factory=dict)
    constants: tuple[str, ...] = ()


BOND_RULES = ("line_conductors", "ac_poles", "states_of", "changeovers_of", "bonds_of")
ALL_OVER = ("own_house", "job_electrical", "installation", "installation_agreement")
AREAS = {
    "routes": Area(
        files=("wiring/runs.py", "wiring/capacity.py", "wiring/ducts.py", "installation/build.py"),
        but={"wiring/runs.py": BOND_RULES},
        tests=("topology", "wiring_cables", "wiring_ducts", "wiring_cables_choice", "wiring_runs",
               "wiring_properties", "sources", *ALL_OVER, "wiring_places"),
        constants=("wiring",),
    ),
    "bonds": Area(
        files=("protection/neutral.py", "wiring/runs.py"), only={"wiring/runs.py": BOND_RULES},
        tests=("topology", "protection", "protection_plan", "sources", *ALL_OVER,
               "diagrams_single_line"),
    ),
    "protection": Area(
        files=tuple(f"protection/{name}.py" for name in (
            "banks", "faults", "direct", "alternating", "surge", "case", "plan")),
        tests=("protection", "protection_plan", "surge", "sources", *ALL_OVER,
               "wiring_cables_choice"),
        constants=("protection",),
    ),
    "earthing": Area(
        files=tuple(f"earthing/{name}.py" for name in (
            "bar", "checks", "electrode", "lightning", "plan", "soil")),
        tests=("earthing_formulas", "earthing", *ALL_OVER, "diagrams_earthing"),
        constants=("earthing",),
    ),
    "room": Area(
        files=tuple(f"powerroom/{name}.py" for name in (
            "air", "checks", "civil", "fire", "heat", "layout", "life", "plan")),
        tests=("powerroom", "powerroom_heat", "dangers", "setting", *ALL_OVER,
               "room_picture", "diagrams_room"),
        constants=("powerroom",),
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Change:
    """One change of one file: bytes from start to end become `text`."""

    area: str
    kind: str
    path: str
    line: int
    start: int
    end: int
    text: str
    words: str


_COMPARED = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt,
             ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In,
             ast.Is: ast.IsNot, ast.IsNot: ast.Is}  # fmt: skip
_TURNED = {ast.Lt: ast.Gt, ast.LtE: ast.GtE, ast.Gt: ast.Lt, ast.GtE: ast.LtE}
_RECKONED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
             ast.FloorDiv: ast.Mult}  # fmt: skip
_SAID = {"min": "max", "max": "min", "any": "all", "all": "any", "floor": "ceil", "ceil": "floor"}
_TEXTS = ("Fault", "InputError", "worded", "constant", "published", "Literal", "Mapping")
"""What these are given is words or names; what no test of a rule can be asked to hold."""
SMALLEST = 1e-6
"""Numbers below it are tolerances: a bound beside one is met by no value."""
LONGEST_WORD = 40
"""Letters of a text that is a name; longer ones are advice."""
FEWEST_ELEMENTS = 3
"""Of a list one is left out of; pairs are unpacked, and any test would notice."""


def _replaced(node: ast.AST, **values: object) -> ast.AST:
    fields = {name: getattr(node, name) for name in node._fields}
    return type(node)(**{**fields, **values})


def _number(value: float, larger: bool) -> ast.AST:
    if isinstance(value, int):
        step = max(1, round(0.2 * value))
        return ast.Constant(value + step if larger or value < 1 else value - step)
    return ast.Constant(round(value * (1.2 if larger else 0.8), 9))


def _others(node: ast.AST, larger: bool) -> Iterator[tuple[str, ast.AST]]:
    """Each kind of change of one expression, with what stands in its place."""
    if isinstance(node, ast.Compare) and len(node.ops) == 1:
        near = any(isinstance(one, ast.Constant) and isinstance(one.value, float)
                   and 0.0 < abs(one.value) < SMALLEST for one in ast.walk(node))
        for kind, table in (("compare", _COMPARED), ("turn", _TURNED)):
            if type(node.ops[0]) in table and not (near and kind == "compare"):
                yield kind, _replaced(node, ops=[table[type(node.ops[0])]()])
    elif isinstance(node, ast.BinOp) and type(node.op) in _RECKONED:
        if not any(isinstance(side, (ast.JoinedStr, ast.Tuple, ast.List))
                   or (isinstance(side, ast.Constant) and isinstance(side.value, str))
                   for side in (node.left, node.right)):  # fmt: skip
            yield "reckon", _replaced(node, op=_RECKONED[type(node.op)]())
    elif isinstance(node, ast.BoolOp):
        other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield "and-or", _replaced(node, op=other)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield "not", node.operand
    elif isinstance(node, ast.Call):
        name = node.func
        if isinstance(name, ast.Name) and name.id in _SAID:
            yield "min-max", _replaced(node, func=ast.Name(_SAID[name.id], ast.Load()))
        elif isinstance(name, ast.Attribute) and name.attr in _SAID:
            yield "min-max", _replaced(node, func=_replaced(name, attr=_SAID[name.attr]))
    elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
        if abs(node.value) >= SMALLEST or type(node.value) is int:
            yield "number", _number(node.value, larger)
    elif isinstance(node, (ast.Tuple, ast.List)) and isinstance(node.ctx, ast.Load):
        sentences = any(len(getattr(one, "value", "")) > LONGEST_WORD for one in node.elts
                        if isinstance(one, ast.Constant) and isinstance(one.value, str))
        if len(node.elts) < FEWEST_ELEMENTS or sentences:
            return
        at = (node.lineno * 7 + node.col_offset) % len(node.elts)
        yield "element", _replaced(node, elts=node.elts[:at] + node.elts[at + 1 :])


def _walk(node: ast.AST) -> Iterator[ast.AST]:
    """Every node that does something: no words, annotations, imports."""
    if isinstance(node, (ast.JoinedStr, ast.Raise, ast.Import, ast.ImportFrom, ast.Assert)):
        return
    if isinstance(node, (ast.Call, ast.Subscript)):
        given_to = node.func if isinstance(node, ast.Call) else node.value
        if getattr(given_to, "id", getattr(given_to, "attr", "")) in _TEXTS:
            return
    yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "bases"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _walk(child)


def _of_code(area: str, relative: str, rng: random.Random) -> Iterator[Change]:
    """Every change of one file."""
    path = f"solarcalc/{relative}"
    source = (ROOT / path).read_bytes()
    starts = [0]
    for line in source.splitlines(keepends=True):
        starts.append(starts[-1] + len(line))
    only, but = AREAS[area].only.get(relative), AREAS[area].but.get(relative, ())
    for statement in ast.parse(source).body:
        name = getattr(statement, "name", "")
        if (only is not None and name not in only) or name in but:
            continue
        for node in _walk(statement):
            for kind, made in (*_others(node, rng.random() < 0.5), *_statements(node)):
                begin = starts[node.lineno - 1] + node.col_offset
                end = starts[(node.end_lineno or 0) - 1] + (node.end_col_offset or 0)
                text = _as_text(kind, node, made)
                yield Change(area, kind, path, node.lineno, begin, end, text,
                             f"{_short(ast.unparse(node))} -> {_short(text)}")  # fmt: skip


def _statements(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    """An `if` never taken; a loop left after its first turn."""
    if isinstance(node, ast.If):
        yield "never", _replaced(node, test=ast.Constant(False))
    elif isinstance(node, ast.For) and not isinstance(node.body[-1], (ast.Return, ast.Break)):
        yield "first-turn", _replaced(node, body=[*node.body, ast.Break()])
    elif isinstance(node, ast.IfExp):
        yield "never", node.orelse


def _as_text(kind: str, node: ast.AST, made: ast.AST) -> str:
    text = ast.unparse(ast.fix_missing_locations(made))
    if isinstance(node, ast.stmt):
        return ("\n" + " " * node.col_offset).join(text.split("\n"))
    return text if kind in ("number", "element") else f"({text})"


def _made(change: Change, before: bytes) -> bytes:
    return before[: change.start] + change.text.encode() + before[change.end :]


def _compiles(change: Change) -> bool:
    if not change.path.endswith(".py"):
        return True
    try:
        compile(_made(change, (ROOT / change.path).read_bytes()), "changed", "exec")
    except (SyntaxError, ValueError):
        return False
    return True


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 60 else text[:57] + "..."


def _of_constants(area: str, name: str, rng: random.Random) -> Iterator[Change]:
    """A number of a table of constants that its code asks for, a fifth larger or smaller."""
    path = f"data/constants/{name}.csv"
    code = "".join((ROOT / "solarcalc" / each).read_text("utf-8") for each in AREAS[area].files)
    at, lines = 0, (ROOT / path).read_text(encoding="utf-8").splitlines(keepends=True)
    for number, line in enumerate(lines, start=1):
        cells = next(csv.reader(io.StringIO(line)), [])
        size = len(line.encode())
        if f'"{name}.{cells[0] if cells else ""}"' in code and re.fullmatch("[0-9.]+", cells[1]):
            text = f"{float(cells[1]) * rng.choice((0.8, 1.2)):g}"
            begin = at + len(cells[0]) + 1
            yield Change(area, "constant", path, number, begin, begin + len(cells[1]), text,
                         f"{cells[0]}: {cells[1]} -> {text}")  # fmt: skip
        at += size


def changes_of(area: str, rng: random.Random) -> dict[str, list[Change]]:
    """Every change of an area by its kind."""
    found: dict[str, list[Change]] = {}
    rules = AREAS[area]
    for each in (
        *(one for path in rules.files for one in _of_code(area, path, rng)),
        *(one for name in rules.constants for one in _of_constants(area, name, rng)),
    ):
        found.setdefault(each.kind, []).append(each)
    return found


def drawn(seed: int, count: int) -> list[Change]:
    """As many changes of each area, every kind with the same chance while it lasts."""
    rng = random.Random(seed)
    pools = {area: changes_of(area, rng) for area in AREAS}
    order = [area for _ in range(-(-count // len(AREAS))) for area in AREAS][:count]
    found: list[Change] = []
    while order:
        kinds = [kind for kind, left in sorted(pools[order[0]].items()) if left]
        left = pools[order[0]][rng.choice(kinds)]
        change = left.pop(rng.randrange(len(left)))
        if _compiles(change):
            found.append(change)
            order.pop(0)
    return sorted(found, key=lambda each: list(AREAS).index(each.area))


def run_tests(tree: Path, *areas: str) -> str:
    """The first test of some areas that fails; empty where none does."""
    names = dict.fromkeys(name for area in areas for name in AREAS[area].tests)
    files = [str(tree / "tests" / f"test_{name}.py") for name in names]
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-n0", "-p", "no:cacheprovider",
               "-p", "no:nbval", "--override-ini", "addopts=--import-mode=importlib",
               "--hypothesis-seed=0", *files]  # fmt: skip
    environment = {**os.environ, "PYTHONPATH": str(tree), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        ended = subprocess.run(command, cwd=tree, env=environment, capture_output=True,
                               text=True, timeout=MOST_S * len(areas), check=False)  # fmt: skip
    except subprocess.TimeoutExpired:
        return f"no end within {MOST_S * len(areas)} s"
    if ended.returncode == 0:
        return ""
    told = re.search(r"^(?:FAILED|ERROR) (\S+)", ended.stdout, re.MULTILINE)
    return Path(told[1]).name if told else f"pytest ended with {ended.returncode}"


def tried(tree: Path, change: Change) -> str:
    """What caught the change in the copy; the copy is as before afterwards."""
    path = tree / change.path
    before = path.read_bytes()
    path.write_bytes(_made(change, before))
    try:
        return run_tests(tree, change.area)
    finally:
        path.write_bytes(before)


def main() -> int:
    """Draw, try, print."""
    asked = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    asked.add_argument("--seed", type=int, default=12)
    asked.add_argument("--count", type=int, default=40)
    asked.add_argument("--list", action="store_true", help="print what is drawn, try nothing")
    given = asked.parse_args()
    changes = drawn(given.seed, given.count)
    if given.list:
        for number, each in enumerate(changes, start=1):
            print(f"{number:3} {each.area:10} {each.kind:10} {each.path}:{each.line}  {each.words}")
        return 0
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder) / "tree"
        shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(*LEFT_OUT), symlinks=True)
        if told := run_tests(tree, *dict.fromkeys(each.area for each in changes)):
            print(f"{told} fails before anything is changed")
            return 2
        survived = 0
        for number, each in enumerate(changes, start=1):
            caught = tried(tree, each)
            survived += not caught
            print(f"{number:3} {each.path}:{each.line}  {each.words}  "
                  + (f"caught by {caught}" if caught else "SURVIVED"), flush=True)  # fmt: skip
    print(f"{len(changes) - survived} of {len(changes)} caught")
    return 1 if survived else 0


if __name__ == "__main__":
    sys.exit(main())
