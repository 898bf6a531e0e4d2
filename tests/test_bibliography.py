"""Short names in code and reports stand for works that are written out."""

from __future__ import annotations

import re
from pathlib import Path

from solarcalc.basis.sourced import HOW_SEEN, works, works_named_in

PACKAGE = Path(__file__).resolve().parents[1] / "solarcalc"
SHORT_NAME = re.compile(
    r"\b[A-Z][A-Za-z]+(?:-[A-Z][A-Za-z]+)?(?: et al\.| and [A-Z][A-Za-z]+) (?:19|20)\d\d\b"
)


def test_every_short_name_in_the_package_has_its_work() -> None:
    known = {work.name for work in works()}
    for path in PACKAGE.rglob("*.py"):
        text = re.sub(r"\s+", " ", path.read_text(encoding="utf-8"))
        for name in SHORT_NAME.findall(text):
            assert any(name in entry or entry.endswith(name) for entry in known), (
                f"{path.name}: {name} is not in data/sources.toml"
            )


def test_each_work_is_whole_and_stands_once() -> None:
    names = [work.name for work in works()]
    assert len(set(names)) == len(names)
    for work in works():
        assert len(work.work) > 20
        assert work.used_for
        assert work.seen in HOW_SEEN


def test_works_are_found_by_name_only() -> None:
    (found,) = works_named_in(["Hay and Davies 1980, through pvlib.irradiance.haydavies"])
    assert found.name == "Hay and Davies 1980"
    assert works_named_in(["common practice, no source"]) == ()
