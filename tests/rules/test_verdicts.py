"""A verdict can fail: what is always so is a sentence, no check."""

from __future__ import annotations

import ast
from pathlib import Path

PACKAGE = Path(__file__).resolve().parents[2] / "solarcalc"


def always_passed(tree: ast.AST) -> list[int]:
    """Lines where a verdict is passed whatever was found."""
    lines = []
    for call in ast.walk(tree):
        if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Name)):
            continue
        named = {each.arg: each.value for each in call.keywords}
        said = {
            "judged": call.args[0] if call.args else named.get("passed"),
            "Verdict": named.get("outcome"),
        }.get(call.func.id)
        if isinstance(said, ast.Constant) and said.value in (True, "passed"):
            lines.append(call.lineno)
    return lines


def test_no_verdict_is_passed_whatever_was_found() -> None:
    found = {
        path.relative_to(PACKAGE): always_passed(ast.parse(path.read_text(encoding="utf-8")))
        for path in PACKAGE.rglob("*.py")
    }
    assert len(found) > 100
    assert not {path: lines for path, lines in found.items() if lines}


def test_such_a_verdict_would_be_seen() -> None:
    seen = 'judged(True, item="a")\nVerdict(item="a", outcome="passed")\n'
    fine = 'judged(a < b, item="a")\nVerdict(item="a", outcome="caution")\n'
    assert always_passed(ast.parse(seen + fine)) == [1, 2]
