"""Measured data in an optional folder: ``tests/measured.toml`` lists what tests may read."""

from __future__ import annotations

import hashlib
import os
import tomllib
from functools import cache
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parent
VARIABLE = "SOLARCALC_MEASURED"
LISTED = {
    entry["path"]: entry
    for entry in tomllib.loads((TESTS / "measured.toml").read_text(encoding="utf-8"))["file"]
}


def measured_file(path: str) -> Path:
    """A listed file, by its path inside the folder.

    Skips the test where the folder has no such file, and fails where it has another one.
    """
    folder = Path(os.environ.get(VARIABLE) or TESTS.parents[1] / "shared")
    file, expected = folder / path, LISTED[path]["sha256"]
    if not file.is_file():
        pytest.skip(f"no {path} in the optional folder {folder}; {VARIABLE} says where it is")
    found = _sha256(file)
    if found != expected:
        pytest.fail(f"{file} is not the file of tests/measured.toml: {found}, not {expected}")
    return file


@cache
def _sha256(file: Path) -> str:
    return hashlib.sha256(file.read_bytes()).hexdigest()
