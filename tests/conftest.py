"""What tests share: published cases kept as data, and an optional folder of measured weather."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

TESTS = Path(__file__).resolve().parent
SHARED_WEATHER = TESTS.parent.parent / "shared" / "weather"


def published_cases(name: str) -> list[dict[str, Any]]:
    """Cases of ``tests/published/<name>``."""
    with (TESTS / "published" / name).open("rb") as file:
        cases: list[dict[str, Any]] = tomllib.load(file)["case"]
    return cases


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line(
        "markers", "published(name, ...): one test a case of tests/published/<name>, as `case`"
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    mark = metafunc.definition.get_closest_marker("published")
    if mark is not None and "case" in metafunc.fixturenames:
        cases = [case for name in mark.args for case in published_cases(name)]
        metafunc.parametrize("case", cases, ids=[case["id"] for case in cases])


@pytest.fixture
def shared_weather():
    """Function from a file name to its path; skips where the optional folder is absent."""

    def path_of(name: str) -> Path:
        path = SHARED_WEATHER / name
        if not path.is_file():
            pytest.skip(f"the optional folder of measured weather has no {name}")
        return path

    return path_of
