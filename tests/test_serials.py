"""Serial numbers by position: every position once, faults named by file, line and field."""

from __future__ import annotations

import csv
import io
import runpy
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as some
from openpyxl.utils.datetime import to_excel

from solarcalc.basis.errors import InputError
from solarcalc.basis.phrases import plain, untranslated
from solarcalc.cli import main
from solarcalc.design import Design, open_design
from solarcalc.stages.serials import (
    COLUMNS,
    Position,
    blank_serials,
    claim_rows,
    positions_of,
    read_serials,
    serials_of,
)

JOBS = runpy.run_path(str(Path(__file__).with_name("job_cases.py")))
PLACES = tuple(
    Position(name=name, kind=kind, designed_as="Invented thing")
    for name, kind in (("S1/1", "module"), ("S1/2", "module"), ("G2.1", "battery"))
)
HEAD = "position,model,serial,warranty_until\n"


@pytest.fixture(scope="module")
def school() -> Design:
    design: Design = JOBS["school_at_handover"]()
    return design


def put(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "list.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_positions_are_those_of_strings_and_power_room(school: Design) -> None:
    """By hand from the site file: 10 modules in strings of 5; gel cells of 2 V, 24 in series."""
    names = [one.name for one in positions_of(school.installation)]
    assert names[:10] == [f"S{string}/{number}" for string in (1, 2) for number in range(1, 6)]
    assert names[10:34] == [f"G2.{number}" for number in range(1, 25)]
    assert names[34:] == ["T1", "T2", "T3"]  # a controller and two inverters


@pytest.mark.parametrize("name", ["ridge-clinic", "coral-pharmacy", "orchard-shop"])
def test_a_position_is_there_once_and_each_thing_has_one(name: str) -> None:
    design = open_design(name)
    positions = positions_of(design.installation)
    assert len({one.name for one in positions}) == len(positions)
    parts = design.installation.of_kind("module", "battery", "controller", "inverter", "generator")
    assert len(positions) == sum(part.count for part in parts)


def test_the_blank_list_names_all_positions_and_is_read_back_as_empty(
    school: Design, tmp_path: Path
) -> None:
    positions = positions_of(school.installation)
    content = blank_serials(positions, head=("Serial numbers of =\"x\"",))
    assert content.startswith(b"\xef\xbb\xbf#")
    path = tmp_path / "blank.csv"
    path.write_bytes(content)
    rows = list(csv.DictReader(content.decode("utf-8-sig").splitlines()[1:]))
    assert [row["position"] for row in rows] == [one.name for one in positions]
    assert read_serials(path, positions) == {}
    path.write_bytes(blank_serials(positions, language="fr"))
    french = list(csv.DictReader(path.read_text(encoding="utf-8-sig").splitlines()))
    assert list(french[0]) == list(rows[0])
    for row, one in zip(french, positions, strict=True):
        assert row["designed_as"].endswith("(fictif)") == one.designed_as.startswith("Invented")
        assert untranslated(plain(one.designed_as), "fr") == ()
    assert read_serials(path, positions) == {}


@given(some.lists(some.tuples(
    some.text("ABC-123, ;\"", max_size=6), some.text("XY9", min_size=1, max_size=6),
    some.dates(date(2026, 1, 1), date(2060, 1, 1))), min_size=3, max_size=3,
    unique_by=lambda row: row[1].casefold()), some.sampled_from(",;"))
def test_what_is_filled_in_is_read_as_it_was_written(
    rows: list[tuple[str, str, date]], mark: str
) -> None:
    text = io.StringIO()
    writer = csv.writer(text, delimiter=mark)
    writer.writerow(COLUMNS)
    for place, (model, serial, until) in zip(PLACES, rows, strict=True):
        writer.writerow([place.name, model, serial, until.isoformat()])
    path = Path(__import__("tempfile").mkdtemp()) / "list.csv"
    path.write_text(text.getvalue(), encoding="utf-8", newline="")
    found = read_serials(path, PLACES)
    assert [(one.model, one.serial, one.warranty_until) for one in found.values()] == [
        (model.strip(), serial, until) for model, serial, until in rows]


@pytest.mark.parametrize(("text", "where", "words"), [
    (HEAD + "S1/1,m,1,\nS1/1,m,2,\n", "list.csv: line 3: position", "line 2 already"),
    (HEAD + "S1/1,m,ab1,\nS1/2,m,AB1,\n", "list.csv: line 3: serial", "line 2 already"),
    (HEAD + "S9/9,m,1,\n", "list.csv: line 2: position", "S1/1 to G2.1"),
    (HEAD + "S1/3,m,1,\n", "list.csv: line 2: position", "did you mean S1/"),
    (HEAD + "S1/1,m,1,2031-02-29\n", "list.csv: line 2: warranty_until", "no such day"),
    (HEAD + "S1/1,m,1,29.2.2031\n", "list.csv: line 2: warranty_until", "YYYY-MM-DD"),
    (HEAD + "S1/1,m,1,,x\n", "list.csv: line 2", "5 cells"),
    (HEAD + "S1/1,m,SN 7,\nS1/2,m,sn7,\n", "list.csv: line 3: serial", "line 2 already"),
    (HEAD + "S1/1,m,2.02E+11,\n", "list.csv: line 2: serial", "format the column as text"),
    (HEAD.replace("serial", "numéro de série"), "list.csv: line 1", "column 3"),
    ("position,model,serial\nS1/1,m,1\n", "list.csv: line 1", "no column warranty_until"),
    (HEAD.replace("model", "modell"), "list.csv: line 1", "column 2, modell"),
    ("position,position,model,serial,warranty_until\n", "list.csv: line 1", "position twice"),
    ("", "list.csv: line 1", "no column position"),
    (HEAD + 'S1/1,"m,1,\n', "list.csv: line", "no CSV"),
    ("\0", "list.csv", "UTF-8"),
])
def test_a_fault_is_named_by_file_line_and_field(
    text: str, where: str, words: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError) as caught:
        read_serials(put(tmp_path, text), PLACES)
    fault = caught.value.faults[0]
    assert fault.where.startswith(where)
    assert words in str(caught.value)


@pytest.mark.parametrize("words", ["n/a", "N.A.", "-", "?", "Unknown", "illisible", "néant", "…"])
def test_words_for_no_number_are_no_serial_number(words: str, tmp_path: Path) -> None:
    """Else they stood in booklet and claim as what is on the plate, and the list as complete."""
    with pytest.raises(InputError, match="leave it empty") as caught:
        read_serials(put(tmp_path, HEAD + f"S1/1,m,{words},\nS1/2,m,{words},\n"), PLACES)
    assert [fault.where for fault in caught.value.faults] == [
        f"list.csv: line {line}: serial" for line in (2, 3)]


@given(some.dates(date(2000, 1, 1), date(2100, 12, 31)), some.sampled_from("/.-"), some.booleans())
def test_a_day_that_a_spreadsheet_changed_is_told_as_it_may_have_been(
    day: date, mark: str, day_first: bool
) -> None:
    """The number of a day is asked of openpyxl, which writes it into workbooks."""
    order = f"%d{mark}%m{mark}%Y" if day_first else f"%m{mark}%d{mark}%Y"
    folder = Path(__import__("tempfile").mkdtemp())
    for text in (day.strftime(order), str(int(to_excel(day))), day.strftime("%Y/%m/%d"),
                 f"{day} 00:00:00"):  # fmt: skip
        with pytest.raises(InputError) as caught:
            read_serials(put(folder, HEAD + f"S1/1,m,1,{text}\n"), PLACES)
        assert day.isoformat() in caught.value.faults[0].remedy


@given(some.lists(some.integers(0, 4), min_size=3, max_size=3), some.sampled_from(",;"))
def test_empty_cells_at_the_end_of_rows_are_nothing(ends: list[int], mark: str) -> None:
    """Spreadsheets leave out the marks of empty cells at the end of some rows and add those of
    columns that were used once ("Column delimiters missing", Microsoft support, from memory)."""
    rows = [list(COLUMNS), ["s1/1", "m", "1", ""], ["G2.1", "m", "", ""]]
    lines = [mark.join(_cut(row) + [""] * end) for row, end in zip(rows, ends, strict=True)]
    folder = Path(__import__("tempfile").mkdtemp())
    found = read_serials(put(folder, "\n".join(lines) + "\n"), PLACES)
    assert [(name, one.model, one.serial) for name, one in found.items()] == [
        ("S1/1", "m", "1"), ("G2.1", "m", "")]


def _cut(row: list[str]) -> list[str]:
    return row[: max(place for place, cell in enumerate(row, start=1) if cell)]


def test_all_faults_are_told_and_kinds_may_share_a_number(tmp_path: Path) -> None:
    assert len(read_serials(put(tmp_path, HEAD + "S1/1,m,7,\nG2.1,m,7,\n"), PLACES)) == 2
    with pytest.raises(InputError) as caught:
        read_serials(put(tmp_path, HEAD + "S9/9,m,1,x\nS1/1,m,1,y\n"), PLACES)
    assert len(caught.value.faults) == 3
    with pytest.raises(InputError, match=r"handover\.serials"):
        read_serials(tmp_path / "none.csv", PLACES)


def test_a_claim_has_what_was_fitted_there_and_when_it_ends(school: Design) -> None:
    said = {row["field"]: row["value"] for row in claim_rows(school, "S1/3")}
    fitted = serials_of(school)["S1/3"]
    assert said["serial number"] == fitted.serial != ""
    assert said["warranty until"] == "2037-10-24"
    assert (said["what"], said["position"], said["site"]) == (
        "module", "S1/3", "Plateau Boarding School")
    assert said["installed by"] == "Invented Plateau Solar"
    unknown = {row["field"]: row["value"] for row in claim_rows(school, "G2.17")}
    assert unknown["serial number"] == ""
    with pytest.raises(InputError, match="did you mean S1/"):
        claim_rows(school, "S1/33")


def test_a_list_that_is_not_there_is_a_failed_check(school: Design) -> None:
    gone = school.changed({"handover": {"serials": "none.csv"}})
    assert any("handover.serials" in check.item for check in gone.failed)


def test_the_command_writes_a_list_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["serials", "orchard-shop", "--out", str(tmp_path)]) == 0
    (path,) = tmp_path.iterdir()
    assert str(path) in capsys.readouterr().out
    assert main(["serials", "orchard-shop", "--out", str(tmp_path)]) == 1
    assert "exists already" in capsys.readouterr().err
