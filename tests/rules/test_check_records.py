"""A check can fail: what is always so is a sentence, no check."""

from __future__ import annotations

import ast
from pathlib import Path

from solarcalc.basis.check import KINDS
from solarcalc.design import open_design

PACKAGE = Path(__file__).resolve().parents[2] / "solarcalc"
DEMO_SITES = sorted(
    path.stem for path in (PACKAGE.parent / "data" / "sites").glob("*.toml")
)


def always_passed(tree: ast.AST) -> list[int]:
    """Lines where a check is passed whatever was found."""
    lines = []
    for call in ast.walk(tree):
        if not (isinstance(call, ast.Call) and isinstance(call.func, ast.Name)):
            continue
        named = {each.arg: each.value for each in call.keywords}
        said = {
            "checked": call.args[0] if call.args else named.get("passed"),
            "Check": named.get("outcome"),
        }.get(call.func.id)
        if isinstance(said, ast.Constant) and said.value in (True, "passed"):
            lines.append(call.lineno)
    return lines


def test_no_check_is_passed_whatever_was_found() -> None:
    found = {
        path.relative_to(PACKAGE): always_passed(ast.parse(path.read_text(encoding="utf-8")))
        for path in PACKAGE.rglob("*.py")
    }
    assert len(found) > 100
    assert not {path: lines for path, lines in found.items() if lines}


def test_every_check_has_a_rule_of_its_own_and_a_class() -> None:
    for name in DEMO_SITES:
        found = [check for each in open_design(name).checks.values() for check in each]
        keys = [check.key for check in found]
        assert len(set(keys)) == len(keys), sorted(key for key in keys if keys.count(key) > 1)
        assert all(check.rule and check.kind in KINDS for check in found)


def test_two_banks_have_checks_of_their_own() -> None:
    own = open_design("ridge-clinic", {
        "supply": {"layout": "separate-banks", "essential_bank_frac": 0.5},
        "controller": {"count": 2}, "battery": {"room_c": 55.0}, "quote": {"alternatives": []},
    })  # fmt: skip
    keys = [check.key for check in own.all_checks]
    assert sorted(key for key in keys if keys.count(key) > 1) == []


def test_a_string_that_reaches_no_controller_stops_no_other_check() -> None:
    short = open_design("ridge-clinic", {
        "array": {"module_count": 1, "modules_in_series": 1, "rows": 1},
        "quote": {"alternatives": []},
    })  # fmt: skip
    found = {check.rule: check.outcome for check in short.all_checks}
    assert found["wiring/working-voltage-string"] == "failed"
    assert found["stages/no-worksheet"] == "not assessed"
    assert found["stages/no-offer"] == "not assessed"


def test_such_a_check_would_be_seen() -> None:
    seen = 'checked(True, item="a")\nCheck(item="a", outcome="passed")\n'
    fine = 'checked(a < b, item="a")\nCheck(item="a", outcome="review")\n'
    assert always_passed(ast.parse(seen + fine)) == [1, 2]
