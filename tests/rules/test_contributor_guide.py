"""Every file that the contributor guide sends a reader to stands where it says."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HOMES = (ROOT / "solarcalc", ROOT)
MAP_ROWS = [
    line
    for line in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()
    if line.startswith("| ") and not line.startswith(("| ---", "| to change", "| change"))
]
TEN = [row for row in MAP_ROWS if re.match(r"\| \d+\. ", row)]
MOST_FILES = 4


def paths_in(row: str) -> list[str]:
    """Paths of a row; a name without a folder stands in the stage of the one before it."""
    found, folder = [], ""
    for quoted in re.findall(r"`([^`]+)`", row):
        for name in quoted.split(", "):
            if not re.fullmatch(r"[\w*./<>-]+\.(py|toml|csv|md|ipynb|j2)|[\w/]+/", name):
                continue
            whole = name if "/" in name or stands(name) else f"{folder}/{name}"
            if not whole.startswith(("tests/", "data/", "workbooks/")):
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


@pytest.mark.parametrize("row", TEN, ids=lambda row: row[2:30])
def test_a_common_change_takes_few_files_and_has_its_test(row: str) -> None:
    _, change, files, held_by, _ = row.split("|")
    assert 1 <= len(set(paths_in(files))) <= MOST_FILES, change
    tests = paths_in(held_by)
    assert tests
    assert all(path.startswith("tests/") for path in tests)
    assert not [path for path in paths_in(files) if path.startswith("tests/")]


def test_the_ten_changes_are_told() -> None:
    assert [int(row.split(".")[0].removeprefix("| ")) for row in TEN] == list(range(1, 11))


def test_the_walk_of_the_guide_is_the_one_that_is_held() -> None:
    """Its stages, in the order that imports are held to."""
    walk = runpy.run_path(str(Path(__file__).with_name("test_structure.py")))["WALK"]
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = guide.partition("```text")[2].partition("```")[0]
    heads = re.findall(r"^ +-> ([a-z, ]+?)  ", block, re.MULTILINE)
    told = [name for head in heads for name in head.split(", ")]
    assert told == [name for name in walk if name not in ("basis", "__main__")]
