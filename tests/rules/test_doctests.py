"""Examples in docstrings give what they say."""

from __future__ import annotations

import doctest
import importlib
import pkgutil

import pytest

import solarcalc

NAMES = [
    module.name
    for module in pkgutil.walk_packages(solarcalc.__path__, "solarcalc.")
    if not module.name.endswith("__main__")
]


@pytest.mark.parametrize("name", NAMES)
def test_examples(name: str) -> None:
    module = importlib.import_module(name)
    assert doctest.testmod(module).failed == 0


def test_there_are_examples() -> None:
    finder = doctest.DocTestFinder()
    count = sum(
        len(case.examples)
        for name in NAMES
        for case in finder.find(importlib.import_module(name))
    )
    assert count >= 8
