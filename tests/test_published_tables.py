"""Published tables: what each says of itself, who signs its figures off, and a check by column.

A wrong figure is put right in ``data/tables/<name>.csv``; the test then prints the line that
belongs into ``tests/signed_tables.toml``, and who signs there.
"""

from __future__ import annotations

import csv
import hashlib
import json
import runpy
import tomllib
from pathlib import Path

import pytest

from solarcalc.basis import published as module
from solarcalc.basis.files import data_folder
from solarcalc.basis.published import Published, published

TESTS = Path(__file__).parent
COLUMNS = runpy.run_path(str(TESTS / "table_columns.py"))
CHECKS, HELD_BY_CHECKSUM_ALONE = COLUMNS["CHECKS"], COLUMNS["HELD_BY_CHECKSUM_ALONE"]
NAMES = sorted(path.stem for path in (data_folder() / "tables").glob("*.csv"))
SIGNED = tomllib.loads((TESTS / "signed_tables.toml").read_text(encoding="utf-8"))
HEADER = (
    "# title: T\n# source: S\n# edition: -\n# clause: -\n# range: all\n# between: step up\n"
    "# keys: a\n# seen: quoted\n# note: -\n# unit: A\n"
)


def signature(table: Published) -> str:
    """sha256 of names and cells, so that a change of the first lines does not break it.

    A figure counts by its value: 1 and 1.0 are one figure.
    """
    rows = [[_plain(row[head]) for head in table.heads] for row in table.rows]
    text = json.dumps([list(table.heads), *rows], ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(cell: str) -> str:
    try:
        return repr(float(cell))
    except ValueError:
        return cell


def numeric(table: Published) -> list[str]:
    """Columns of figures, those that tell rows apart too."""
    return [
        head for head in table.heads
        if all(_plain(row[head]) != row[head] or row[head] == "" or "." in row[head]
               for row in table.rows)
    ]  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_the_figures_are_the_ones_signed_off(name: str) -> None:
    found = signature(published(name))
    assert name in SIGNED, f'sign it off:\n[{name}]\nsha256 = "{found}"\nby = "..."'
    assert SIGNED[name]["by"]
    assert found == SIGNED[name]["sha256"], f'read it back, then: sha256 = "{found}"'


def test_no_table_is_signed_off_that_is_not_there() -> None:
    assert sorted(SIGNED) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_table_says_what_it_is_and_where_it_comes_from(name: str) -> None:
    table = published(name)
    assert table.rows
    assert len(table.source) > 10
    assert table.clause.startswith(table.source)


@pytest.mark.parametrize("name", NAMES)
def test_rows_are_told_apart_by_their_keys_which_rise(name: str) -> None:
    table = published(name)
    keys = table.headings["keys"].split()
    if keys == ["-"]:  # rows are layers, in the order in which they lie
        assert name == "room_constructions"
        return
    seen = [tuple(row[key] for key in keys) for row in table.rows]
    assert len(set(seen)) == len(seen)
    if keys[-1] in numeric(table) and name != "conduit_thhn":  # an American gauge falls
        for group in {each[:-1] for each in seen}:
            last = [float(each[-1] or "inf") for each in seen if each[:-1] == group]
            assert last == sorted(last)


@pytest.mark.published(*COLUMNS["OUTSIDE"])
@pytest.mark.parametrize("name", NAMES)
def test_the_columns_agree_with_what_is_printed_outside(name: str) -> None:
    for _, check in CHECKS.get(name, ()):
        check(published(name))


@pytest.mark.parametrize("name", NAMES)
def test_each_column_of_figures_has_a_check_or_a_reason_for_none(name: str) -> None:
    table = published(name)
    held = {column for columns, _ in CHECKS.get(name, ()) for column in columns}
    alone = {column for table_name, column in HELD_BY_CHECKSUM_ALONE if table_name == name}
    assert held | alone == set(numeric(table))
    assert not held & alone
    said = f"{table.headings['source']} {table.headings['seen']} {table.headings['note']}"
    assert all(HELD_BY_CHECKSUM_ALONE[name, column] in said for column in alone)


CHECKED = [(name, column) for name in NAMES for column in numeric(published(name))]


@pytest.mark.parametrize("factor", [0.85, 1.15])
@pytest.mark.parametrize(("name", "column"), CHECKED)
def test_a_column_that_is_15_percent_wrong_is_noticed(
    name: str, column: str, factor: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = _loaded_with(name, column, factor, tmp_path, monkeypatch)
    assert signature(table) != SIGNED[name]["sha256"]
    if (name, column) in HELD_BY_CHECKSUM_ALONE:
        return
    checks = [check for columns, check in CHECKS[name] if column in columns]
    assert any(_fails(check, table) for check in checks)


def _fails(check, table: Published) -> bool:
    try:
        check(table)
    except (AssertionError, KeyError, ValueError):
        return True
    return False


def _loaded_with(
    name: str, column: str, factor: float, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> Published:
    """The table as the loader reads it from a file whose column is multiplied."""
    table = published(name)
    (folder / "tables").mkdir()
    with (folder / "tables" / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
        file.writelines(f"# {key}: {text}\n" for key, text in table.headings.items())
        writer = csv.DictWriter(file, table.heads)
        writer.writeheader()
        for row in table.rows:
            cell = repr(float(row[column]) * factor) if row[column] else ""
            writer.writerow(row | {column: cell})
    monkeypatch.setattr(module, "data_folder", lambda: folder)
    return published.__wrapped__(name)


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        (HEADER.replace("# unit: A\n", "") + "a,b\n1,2\n", "one line each"),
        (HEADER + "# unit: V\na,b\n1,2\n", "one line each"),
        (HEADER.replace("# title: T", "# title: ") + "a,b\n1,2\n", "one line each"),
        (HEADER.replace("quoted", "somewhere") + "a,b\n1,2\n", "seen is one of read"),
        (HEADER.replace("step up", "guess") + "a,b\n1,2\n", "between begins with one of step up"),
        (HEADER + "a,b\n1,2,3\n", "not 2 cells"),
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
    (tmp_path / "tables" / "gap.csv").write_text(HEADER + "a,b\n1.5,\n2.5,7\n", encoding="utf-8")
    monkeypatch.setattr(module, "data_folder", lambda: tmp_path)
    assert published.__wrapped__("gap").numbers("b") == (None, 7.0)
