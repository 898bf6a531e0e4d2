"""Words of checks and faults: what is kept of them is what would be put together anew."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from solarcalc.basis import worded as words

FIGURES = st.sampled_from([0, 0.0, -0.0, 1, 1.0, True, False, 2, 2.0]) | st.floats(-9.0, 9.0)
TABLE = {
    "kept": words.Entry(
        texts={"item": "Way {a}", "found": "{a} and {b}", "limit": "{b}"},
        places=frozenset({"a", "b"}), of_item=frozenset({"a"}),
    )
}  # fmt: skip


@pytest.fixture(autouse=True)
def _one_table(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(words, "entries", lambda file: TABLE)
    words._said.cache_clear()


@given(asked=st.lists(st.tuples(FIGURES, FIGURES), min_size=2, max_size=12))
def test_what_was_said_before_changes_no_words(asked: list[tuple[Any, Any]]) -> None:
    words._said.cache_clear()
    after = [words.worded("table", "kept", a=a, b=b) for a, b in asked]
    for (a, b), said in zip(asked, after, strict=True):
        words._said.cache_clear()
        assert words.worded("table", "kept", a=a, b=b) == said


def test_a_value_that_nothing_is_kept_by_is_said_too() -> None:
    assert words.worded("table", "kept", a=["one"], b=2)["found"] == "['one'] and 2"


def test_each_asking_has_words_of_its_own() -> None:
    words.worded("table", "kept", a=1, b=2)["item"] = "other"
    assert words.worded("table", "kept", a=1, b=2)["item"] == "Way 1"


@pytest.mark.parametrize("values", [{"a": 1}, {"a": 1, "b": 2, "c": 3}])
def test_values_other_than_the_places_are_refused(values: dict[str, Any]) -> None:
    with pytest.raises(ValueError, match="takes"):
        words.worded("table", "kept", **values)
