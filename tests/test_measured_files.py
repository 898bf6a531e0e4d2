"""The optional folder of measured data: listed, skipped where absent, refused where it differs."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

TESTS = Path(__file__).resolve().parent
FILES = runpy.run_path(str(TESTS / "measured_files.py"))


@pytest.mark.parametrize("entry", FILES["LISTED"].values(), ids=FILES["LISTED"])
def test_a_listed_file_says_where_it_is_public_and_may_be_used(entry: dict[str, str]) -> None:
    assert set(entry) == {"path", "origin", "licence", "sha256"}
    assert all(entry.values())
    assert re.fullmatch("[0-9a-f]{64}", entry["sha256"])


@pytest.mark.parametrize("path", FILES["LISTED"])
def test_a_file_of_the_folder_is_the_one_listed(path: str, measured_file) -> None:
    assert measured_file(path).is_file()


def test_an_absent_folder_skips_and_says_which_variable_names_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, measured_file
) -> None:
    monkeypatch.setenv("SOLARCALC_MEASURED", str(tmp_path))
    with pytest.raises(pytest.skip.Exception, match=f"{tmp_path}; SOLARCALC_MEASURED"):
        measured_file("measured/leadacid_17ah_rate_tests.csv")


def test_another_file_of_the_same_name_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, measured_file
) -> None:
    (tmp_path / "measured").mkdir()
    (tmp_path / "measured" / "leadacid_17ah_rate_tests.csv").write_text("time,voltage\n")
    monkeypatch.setenv("SOLARCALC_MEASURED", str(tmp_path))
    with pytest.raises(pytest.fail.Exception, match="is not the file of tests/measured"):
        measured_file("measured/leadacid_17ah_rate_tests.csv")


def test_tests_reach_the_folder_by_the_one_helper_and_read_all_that_is_listed() -> None:
    others = [path for path in TESTS.rglob("*.py") if path.name not in (
        "measured_files.py", "test_measured_files.py")]  # fmt: skip
    texts = {path.name: path.read_text(encoding="utf-8") for path in others}
    assert not [name for name, text in texts.items() if re.search('/ "shared"|shared/', text)]
    together = "\n".join(texts.values())
    for path in FILES["LISTED"]:
        assert re.sub("(man|no)wash", "{name}", Path(path).name) in together, path
