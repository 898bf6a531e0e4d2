"""Every file that the contributor guide sends a reader to stands where it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HOMES = (ROOT / "solarcalc", ROOT)
MAP_ROWS = [
    line
    for line in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("| ") and not line.startswith(("| ---", "| to change"))
]


def paths_in(row: str) -> list[str]:
    """Paths of a row; a name without a folder stands in the stage of the one before it."""
    found, folder = [], ""
    for quoted in re.findall(r"`([^`]+)`", row):
        for name in quoted.split(", "):
            if not re.fullmatch(r"[\w*./<>-]+\.(py|toml|csv|md)|[\w/]+/", name):
                continue
            whole = name if "/" in name or stands(name) else f"{folder}/{name}"
            if not whole.startswith(("tests/", "data/")):
                folder = whole.rpartition("/")[0]
            found.append(whole)
    return found


def stands(path: str) -> bool:
    return any(any(home.glob(re.sub(r"<\w+>", "*", path).rstrip("/"))) for home in HOMES)


@pytest.mark.parametrize("row", MAP_ROWS, ids=lambda row: row[2:40])
def test_the_map_names_files_that_are_there(row: str) -> None:
    gone = [path for path in paths_in(row) if not stands(path)]
    assert not gone, gone


def test_the_map_is_read() -> None:
    assert len(MAP_ROWS) > 10
    assert paths_in("| a | `weather/files.py, limits.py`, `data/tables/*.csv`, `bank_of` |") == [
        "weather/files.py", "weather/limits.py", "data/tables/*.csv",
    ]
    assert not stands("weather/no_such_file.py")
