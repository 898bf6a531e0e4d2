"""Figures from outside the project, as ``tests/published`` keeps them.

A file is a list of cases, each with ``id``, ``source`` (the work, once for the file where all cases
are of one), ``at`` (table, page, clause or the sum itself), what is given, and what is expected:

printed     the source prints it, and it was seen there or in a work that quotes it
worked      summed by us, or by another program, from what the source says
remembered  nobody opened a page that has it
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

PUBLISHED = Path(__file__).with_name("published")
ORIGINS = ("printed", "worked", "remembered")


def cases_as_written(name: str) -> list[dict[str, Any]]:
    """Cases of ``tests/published/<name>``, what the file says once for all in each."""
    content = tomllib.loads((PUBLISHED / name).read_text(encoding="utf-8"))
    common = {key: value for key, value in content.items() if key != "case"}
    return [common | case for case in content["case"]]


def published_cases(name: str) -> list[dict[str, Any]]:
    """The same for a test: what is expected is ``figure``, and laid open where it is several."""
    return [_flat(case) for case in cases_as_written(name)]


def _flat(case: dict[str, Any]) -> dict[str, Any]:
    flat = {key: value for key, value in case.items() if key not in ORIGINS}
    for origin in ORIGINS:
        if origin in case:
            flat["figure"] = case[origin]
            flat |= case[origin] if isinstance(case[origin], dict) else {}
    return flat
