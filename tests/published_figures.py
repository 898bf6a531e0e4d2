"""Figures copied from a source, or summed by us from one, as ``tests/published`` keeps them."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any


def published_cases(name: str) -> list[dict[str, Any]]:
    """Cases of ``tests/published/<name>``, flat.

    What is expected stands in the file under ``printed`` where the source prints it and under
    ``worked`` where we summed it ourselves. Either is ``figure`` here; a table of named figures is
    laid open as well.
    """
    with (Path(__file__).with_name("published") / name).open("rb") as file:
        cases: list[dict[str, Any]] = tomllib.load(file)["case"]
    return [_flat(case) for case in cases]


def _flat(case: dict[str, Any]) -> dict[str, Any]:
    flat = {key: value for key, value in case.items() if key not in ("printed", "worked")}
    for origin in ("printed", "worked"):
        if origin in case:
            flat["figure"] = case[origin]
            flat |= case[origin] if isinstance(case[origin], dict) else {}
    return flat
