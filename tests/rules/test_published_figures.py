"""A figure from outside says which work it is of, where in it, and whether it is printed there."""

from __future__ import annotations

import runpy
from pathlib import Path
from typing import Any

import pytest

FIGURES = runpy.run_path(str(Path(__file__).parents[1] / "published_figures.py"))
FILES = sorted(
    path.relative_to(FIGURES["PUBLISHED"]).as_posix()
    for path in FIGURES["PUBLISHED"].rglob("*.toml")
)
TESTS = "\n".join(
    path.read_text(encoding="utf-8") for path in Path(__file__).parents[1].glob("*.py")
)


@pytest.mark.parametrize("name", FILES)
def test_each_case_has_source_place_and_origin_of_its_figures(name: str) -> None:
    cases: list[dict[str, Any]] = FIGURES["cases_as_written"](name)
    assert len({case["id"] for case in cases}) == len(cases)
    for case in cases:
        assert case["source"], case["id"]
        assert case["at"], case["id"]
        given = [origin for origin in FIGURES["ORIGINS"] if origin in case]
        assert given, f"{case['id']}: none of {', '.join(FIGURES['ORIGINS'])}"
        said = f"{case['source']} {case['at']} {case.get('seen', '')}"
        if any(word in said for word in ("recomputed", "own figures")):
            assert "printed" not in case, f"{case['id']}: says itself that nobody prints it"
        if "from memory" in said:
            assert "printed" not in case or len(given) > 1, f"{case['id']}: nobody saw it printed"


@pytest.mark.parametrize("name", FILES)
def test_each_file_of_figures_is_read_by_a_test(name: str) -> None:
    assert f'"{name}"' in TESTS


@pytest.mark.parametrize("name", FILES)
def test_a_wider_tolerance_says_why(name: str) -> None:
    for case in FIGURES["published_cases"](name):
        widened = {"tolerance", "tolerance_frac", "tolerance_rel", "within_frac"} & set(case)
        if "last_digit" in case and widened:
            assert case["differs_because"], case["id"]
