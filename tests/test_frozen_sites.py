"""Five frozen sites give what they gave, but for the corrections written down one by one."""

from __future__ import annotations

import json
import runpy
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from solarcalc.design import open_design

FROZEN = Path(__file__).with_name("frozen")
values_of = runpy.run_path(str(Path(__file__).with_name("frozen_values.py")))["values_of"]
OLD: dict[str, Any] = json.loads((FROZEN / "results.json").read_text(encoding="utf-8"))


@cache
def corrections() -> tuple[dict[str, Any], ...]:
    text = (FROZEN / "corrections.toml").read_text(encoding="utf-8")
    return tuple(tomllib.loads(text).get("correction", []))


@pytest.mark.parametrize("site", sorted(OLD))
def test_a_value_differs_only_where_a_correction_says_so(site: str) -> None:
    new = values_of(open_design(FROZEN / f"{site}.toml"))
    was = {f"{book}.{key}": value for book, found in OLD[site].items()
           if book != "checks" for key, value in found.items()}  # fmt: skip
    now = {f"{book}.{key}": value for book, found in new.items() for key, value in found.items()}
    differ = {
        key: (was.get(key), now.get(key)) for key in was.keys() | now.keys()
        if was.get(key) != now.get(key)
    }  # fmt: skip
    told = {
        one["value"]: (one.get("old"), one.get("new")) for one in corrections()
        if one["site"] == site
    }  # fmt: skip
    assert differ == told


def test_each_correction_says_why() -> None:
    keys = [(one["site"], one["value"]) for one in corrections()]
    assert len(keys) == len(set(keys))
    assert all(len(one["why"].split()) >= 5 for one in corrections())
