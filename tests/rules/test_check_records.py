"""A check can fail: what is always so is a sentence, no check."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solarcalc.basis.check import KINDS
from solarcalc.basis.quantity import beside_unit, grouped, on_paper, unit_sign, with_unit
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
        "controller": {"count": 2}, "battery": {"room_c": 55.0}, "variants": [],
    })  # fmt: skip
    keys = [check.key for check in own.all_checks]
    assert sorted(key for key in keys if keys.count(key) > 1) == []


def test_a_string_that_reaches_no_controller_stops_no_other_check() -> None:
    short = open_design("ridge-clinic", {
        "array": {"module_count": 1, "modules_in_series": 1, "rows": 1},
        "variants": [],
    })  # fmt: skip
    found = {check.rule: check.outcome for check in short.all_checks}
    assert found["wiring/working-voltage-string"] == "failed"
    assert found["stages/no-worksheet"] == "not assessed"
    assert found["stages/no-economics"] == "not assessed"


def test_such_a_check_would_be_seen() -> None:
    seen = 'checked(True, item="a")\nCheck(item="a", outcome="passed")\n'
    fine = 'checked(a < b, item="a")\nCheck(item="a", outcome="review")\n'
    assert always_passed(ast.parse(seen + fine)) == [1, 2]


@pytest.mark.parametrize("stem", DEMO_SITES)
def test_a_number_carries_the_unit_and_no_word_does(stem: str) -> None:
    for check in open_design(stem).all_checks:
        for text, shown in ((check.found, check.found_words), (check.limit, check.limit_words)):
            if not check.unit:
                assert shown == text
                continue
            beside = re.escape(beside_unit("7", unit_sign(check.unit))).replace("7", r"\d", 1)
            carried = re.search(rf"{beside}(?!\w)", shown)
            assert bool(carried) == any(sign.isdigit() for sign in text), (check.rule, shown)
            behind = rf"[a-z)] {re.escape(unit_sign(check.unit))}$"
            assert not re.search(behind, shown), (check.rule, shown)


@given(value=st.floats(0.0, 1e5), before=st.sampled_from(("", "at most ", "at least ")),
       after=st.sampled_from(("", " alone, 31 by two", "; 0% of the hours", ": for ever")))
def test_the_unit_stands_behind_the_first_number(value: float, before: str, after: str) -> None:
    number = f"{value:.2f}"
    assert with_unit(f"{before}{number}{after}", "kg") == f"{before}{number} kg{after}"


def test_lists_carry_one_unit_and_words_none() -> None:
    assert with_unit("12 or 24 or 48, within 10%", "V") == "12 or 24 or 48 V, within 10%"
    assert with_unit("14.7, 20, 55.0", "A") == "14.7, 20, 55.0 A"
    assert with_unit("125, 25 × 3 mm", "A") == "125 A, 25 × 3 mm"
    assert with_unit("at least 14.6, 61 V, 160 A", "kA") == "at least 14.6 kA, 61 V, 160 A"
    assert with_unit("above 9 A, below 12 A", "A") == "above 9 A, below 12 A"
    assert with_unit("not within it", "years") == "not within it"
    assert with_unit("at most 14", "ohm") == "at most 14 Ω"
    assert with_unit("18.1", "degC") == "18.1 °C"
    told = "not stated for this use: it is not fully charged for 18 days"
    assert on_paper("battery_service_life_years", told)[1:] == (told, "")
    assert on_paper("cable_m", "more than 24")[1:] == ("more than 24", "m")
    assert on_paper("payback_years", "never") == ("simple payback period", "never", "")
    assert on_paper("price_of_a_kwp", 2322.0) == ("price per kWp", "2322", "")
    assert grouped("12839.tm2") == "12839.tm2"
