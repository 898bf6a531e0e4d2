"""Published tables: each has its source, and each figure is a number."""

from __future__ import annotations

from pathlib import Path

import pytest

from solarcalc.basis import published as module
from solarcalc.basis.paths import data_folder
from solarcalc.basis.published import published

NAMES = sorted(path.stem for path in (data_folder() / "tables").glob("*.csv"))


@pytest.mark.parametrize("name", NAMES)
def test_a_table_says_what_it_is_and_where_it_comes_from(name: str) -> None:
    table = published(name)
    assert table.title
    assert len(table.source) > 10
    assert table.seen
    assert table.rows
    assert table.clause.startswith(table.source)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("# title: T\n# source: S\n# seen: opened\na,b\n1,2\n", "one line each"),
        ("# title: T\n# source: S\n# seen: opened\n# unit: A\n# unit: V\na,b\n1,2\n", "one line"),
        ("# title: T\n# source: S\n# seen: opened\n# unit: A\na,b\n1,2,3\n", "not 2 cells"),
    ],
)
def test_a_table_that_is_not_whole_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, text: str, complaint: str
) -> None:
    (tmp_path / "tables").mkdir()
    (tmp_path / "tables" / "odd.csv").write_text(text, encoding="utf-8")
    monkeypatch.setattr(module, "data_folder", lambda: tmp_path)
    with pytest.raises(ValueError, match=complaint):
        published.__wrapped__("odd")


def test_a_cell_left_empty_is_no_figure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "tables").mkdir()
    text = "# title: T\n# source: S\n# seen: opened\n# unit: A\nsize_mm2,b\n1.5,\n2.5,7\n"
    (tmp_path / "tables" / "gap.csv").write_text(text, encoding="utf-8")
    monkeypatch.setattr(module, "data_folder", lambda: tmp_path)
    assert published.__wrapped__("gap").numbers("b") == (None, 7.0)
