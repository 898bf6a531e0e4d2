"""What a test compares with a published figure is noted, and nothing else is."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

RECORD = runpy.run_path(str(Path(__file__).with_name("published_record.py")))
CASE = {"id": "case", "source": "a book", "at": "p. 1", "quantity": "drop",
        "printed": {"drop_pct": 2.5, "sizes": [16, 25], "at_60": [1.1, 1.2, 1.1]}}  # fmt: skip


@pytest.fixture
def rows(monkeypatch: pytest.MonkeyPatch):
    found: list[dict] = []
    watching = RECORD["watch"](monkeypatch, RECORD["Notes"]([("f.toml", CASE)], found))
    next(watching)
    yield found
    next(watching, None)
    assert RECORD["at_work"] == []


def told(rows: list[dict]) -> list[tuple]:
    return [(row["quantity"], row["expected"], row["obtained"]) for row in rows]


def test_each_way_to_compare_is_noted_with_what_is_allowed(rows) -> None:
    case = RECORD["noting"](CASE | {"figure": CASE["printed"]} | CASE["printed"])
    dropped_frac, sizes = 0.02501, [16, 25]
    assert dropped_frac == pytest.approx(0.025, abs=0.001)  # the case has a percentage
    assert sizes == case["sizes"]
    np.testing.assert_allclose(pd.Series([1.11, 1.2, 1.1]), case["at_60"], atol=0.02)
    assert told(rows) == [
        ("drop drop_pct", 2.5, pytest.approx(2.501)), ("drop sizes 1", 16.0, 16.0),
        ("drop sizes 2", 25.0, 25.0), ("drop at_60 1", 1.1, 1.11), ("drop at_60 2", 1.2, 1.2),
        ("drop at_60 3", 1.1, 1.1)]  # fmt: skip
    assert [row["tolerance"] for row in rows[:3]] == [pytest.approx(0.1), 0.0, 0.0]
    assert {(row["source"], row["at"], row["origin"]) for row in rows} == {
        ("a book", "p. 1", "printed")}  # fmt: skip


def test_what_is_no_figure_of_the_case_or_not_equal_is_not_noted(rows) -> None:
    case = RECORD["noting"](CASE | {"figure": CASE["printed"]} | CASE["printed"])
    seven, sizes = 7.0, [16, 26]
    assert seven == pytest.approx(7.0)
    assert sizes != case["sizes"]
    assert case["sizes"][0] == 16
    assert told(rows) == [("drop sizes 1", 16.0, 16.0)]


def test_a_comparison_that_fails_still_fails_and_is_noted(rows) -> None:
    dropped_pct = 2.9
    with pytest.raises(AssertionError):
        assert dropped_pct == pytest.approx(2.5, abs=0.1)
    with pytest.raises(AssertionError):
        np.testing.assert_allclose([16.0, 20.0], [16.0, 25.0])
    assert told(rows) == [("drop drop_pct", 2.5, 2.9), ("drop sizes 1", 16.0, 16.0),
                          ("drop sizes 2", 25.0, 20.0)]  # fmt: skip
