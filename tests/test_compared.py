"""`solarcalc compare`: one table of sites and variants on the terminal, as JSON, CSV and HTML."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from bs4 import BeautifulSoup

from solarcalc.batch.compared import text_lines
from solarcalc.cli import main
from solarcalc.design import open_design
from solarcalc.variants import compare, compared_rows, differing, variants_of

WORDS = ("ridge-clinic", "ridge-clinic:One string only", "ridge-clinic:Larger battery")


def spelt(rows: list[list[str]]) -> list[list[str]]:
    """Pages spell the other board in one way, and part no number from its unit."""
    return [[cell.replace("non-essential", "nonessential").replace("\N{NO-BREAK SPACE}", " ")
             for cell in row] for row in rows]  # fmt: skip


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main(["compare", *words])
    said = capsys.readouterr()
    return status, said.out, said.err


@pytest.mark.slow
def test_terminal_json_csv_and_page_have_the_rows_of_compare(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    table = compare(dict(zip(WORDS, variants_of(open_design("ridge-clinic")).values(),
                             strict=True)))  # fmt: skip
    rows = compared_rows(table)
    for ending in ("csv", "html"):
        status, out, err = run(capsys, *WORDS, "--json", "--out", str(tmp_path / f"c.{ending}"))
        assert (status, err) == (0, "")
    found = json.loads(out)
    assert found["columns"] == list(WORDS)
    assert {row["quantity"]: row["values"] for row in found["rows"]} == {
        name: row.to_dict() for name, row in table.iterrows()}
    assert {row["quantity"] for row in found["rows"] if row["differs"]} == set(
        differing(table).index)
    read = csv.reader(io.StringIO((tmp_path / "c.csv").read_text("utf-8-sig")))
    assert list(read) == [["quantity", *WORDS], *[list(map(str, row.values())) for row in rows]]
    page = BeautifulSoup((tmp_path / "c.html").read_text("utf-8"), "html.parser")
    assert "EXAMPLE" in page.get_text()
    cells = [[one.get_text() for one in row.find_all(["td", "th"])]
             for row in page.find_all("tr")[1:]]  # fmt: skip
    assert spelt(cells) == spelt([list(row.values()) for row in rows])
    status, out, _ = run(capsys, *WORDS)
    squeezed = "".join(out.split())
    assert status == 0
    assert "example: equipment and prices invented" in out
    price = next(row for row in rows if row["quantity"] == "price [USD]")
    assert "".join("".join(map(str, price.values())).split()) in squeezed


def test_a_site_alone_is_compared_with_its_variants(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, _ = run(capsys, "ridge-clinic", "--json")
    assert status == 0
    assert json.loads(out)["columns"] == ["as designed", "One string only", "Larger battery"]
    status, out, err = run(capsys, "cove-cannery")
    assert (status, out) == (1, "")
    assert "this one has none" in err


def test_a_site_beside_itself_has_no_differences(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    status, out, _ = run(capsys, "orchard-shop", "orchard-shop", "--out", str(tmp_path / "c.csv"))
    assert status == 0
    assert out.splitlines()[-1] == f"wrote {tmp_path / 'c.csv'}"
    assert "no differences" in out
    assert "orchard-shop (2)" in out
    assert "bill:" not in out


def test_every_word_that_is_wrong_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "orchard-shop", "nowhere", "ridge-clinic:nothing")
    assert (status, out) == (1, "")
    assert "given:   nowhere" in err
    assert "ridge-clinic.toml: variants" in err
    assert "One string only, Larger battery" in err


@pytest.mark.parametrize("name", ["c.pdf", "c", "no/such/c.csv", "folder.csv"])
def test_a_file_that_cannot_be_is_refused_before_anything_is_worked_out(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str
) -> None:
    (tmp_path / "folder.csv").mkdir()
    status, out, err = run(capsys, "orchard-shop", "orchard-shop", "--out", str(tmp_path / name))
    assert (status, out) == (1, "")
    assert "--out" in err
    assert [path.name for path in tmp_path.iterdir()] == ["folder.csv"]


@pytest.mark.parametrize("wide", [20, 80, 200])
def test_lines_hold_every_word_at_any_width(wide: int) -> None:
    design = open_design("orchard-shop")
    table = compare({"a": design, "b": design.changed({"battery": {"units_in_parallel": 5}})})
    lines = list(text_lines(table, wide=wide))
    assert max(map(len, lines)) <= max(wide, 44 + 2 * 16)
    words = [word for row in compared_rows(table) for value in row.values()
             for word in str(value).split()]  # fmt: skip
    text = "".join("".join(lines).split())
    assert all("".join(word.split()) in text for word in words if len(word) < 14)
