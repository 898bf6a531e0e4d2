"""The batch: whole or not at all, a failed site stops no other, names are never code."""

from __future__ import annotations

import csv
import json
import os
import re
import runpy
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from solarcalc.basis.errors import InputError
from solarcalc.basis.files import whole_folder, write_whole
from solarcalc.batch.folders import check_out_folder
from solarcalc.batch.forks import WarmServer
from solarcalc.batch.index import write_index
from solarcalc.batch.listed import SCHEMA, read_records
from solarcalc.batch.notebooks import read_workbooks
from solarcalc.batch.run import BatchResult, report_sites
from solarcalc.batch.workbook import check_parameters, parameters_of

READER = runpy.run_path(str(Path(__file__).with_name("html_reader.py")))
EVIL, Page, assert_stands_alone = (
    READER[name] for name in ("EVIL", "Page", "assert_stands_alone"))
ROOT = Path(__file__).resolve().parent.parent
SAMPLES = Path(__file__).parent / "workbook_samples"
DEMO = ROOT / "data" / "sites" / "ridge-clinic.toml"


def write_site(folder: Path, stem: str, name: str) -> Path:
    """The demo site under another name."""
    path = folder / f"{stem}.toml"
    path.write_text(DEMO.read_text(encoding="utf-8").replace(
        'name = "Ridge Road Clinic"', f"name = {json.dumps(name)}"), encoding="utf-8")
    return path


def notebook(source: str, tags: tuple[str, ...] = ("parameters",)) -> Any:
    return new_notebook(cells=[new_code_cell(source, metadata={"tags": list(tags)})])


LISTS = {"index.html", "office.csv", "data.csv", "fleet.html", "orders.csv"}


def names_in(folder: Path) -> set[str]:
    """What a reader sees there; one list more where pyarrow is installed."""
    return {path.name for path in folder.iterdir()
            if not path.name.startswith(".") and path.name != "fleet.parquet"}  # fmt: skip


# Parameters: a closed list of names with plain values -----------------------------------------

def test_parameters_are_read_as_literals() -> None:
    assert parameters_of("w", notebook('site_file = "a"  # words\ntilt_deg = -1.5\n')) == {
        "site_file": "a", "tilt_deg": -1.5}


@pytest.mark.parametrize("source", [
    "site_file = open('x')", "import os", "a = b = 1", "a, b = 1, 2", "print(1)", "a = ",
])
def test_parameters_cell_holds_only_literals(source: str) -> None:
    with pytest.raises(InputError, match="parameters cell"):
        parameters_of("w", notebook(source))


def test_one_parameters_cell() -> None:
    with pytest.raises(InputError, match="0 cells"):
        parameters_of("w", notebook("a = 1", tags=()))


@pytest.mark.parametrize(("name", "value"), [
    ("import os; os.abort() #", 1),
    ("site_file\nimport os", "x"),
    ("tilt_deg", 3),
    ("__builtins__", None),
    ("site_file", float("nan")),
    ("site_file", ["a"]),
    ("site_file", Path("a")),
])
def test_other_names_and_values_are_refused(name: str, value: Any) -> None:
    with pytest.raises(InputError, match="parameter"):
        check_parameters("w", notebook('site_file = ""\ntilt_deg = 1'), {name: value})


def test_a_list_name_the_workbook_lacks_is_refused() -> None:
    with pytest.raises(InputError, match="no parameter"):
        check_parameters("w", notebook("other = 1"), {"site_file": "x"})


def test_workbooks_come_in_chapter_order(tmp_path: Path) -> None:
    write: Any = nbformat.write
    for name in ("battery", "alpha", "yield", "orientation"):
        write(notebook("a = 1"), tmp_path / f"{name}.ipynb")
    assert list(read_workbooks(tmp_path)) == ["orientation", "yield", "battery", "alpha"]
    with pytest.raises(InputError, match="no workbooks"):
        read_workbooks(tmp_path / "none")


# Folders: whole or not at all -----------------------------------------------------------------

def test_old_folder_stays_until_the_new_one_is_whole(tmp_path: Path) -> None:
    target = tmp_path / "site"
    with whole_folder(target) as folder:
        (folder / "a").write_text("old")
    with pytest.raises(KeyboardInterrupt), whole_folder(target) as folder:  # noqa: PT012
        (folder / "a").write_text("half")
        raise KeyboardInterrupt
    assert (target / "a").read_text() == "old"
    assert names_in(tmp_path) == {"site"}
    with whole_folder(target) as folder:
        (folder / "b").write_text("new")
    assert names_in(target) == {"b"}
    assert names_in(tmp_path) == {"site"}


def test_a_swap_that_fails_puts_the_old_folder_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "site"
    target.mkdir()
    (target / "a").write_text("old")
    replace = os.replace

    def fails(source: Any, goal: Any) -> None:
        if Path(goal) == target and not str(source).endswith("-old"):
            raise OSError("full")
        replace(source, goal)

    monkeypatch.setattr(os, "replace", fails)
    with pytest.raises(OSError, match="full"), whole_folder(target):
        pass
    assert (target / "a").read_text() == "old"
    assert names_in(tmp_path) == {"site"}


def test_a_file_is_written_whole(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    write_whole(path, "old")
    with pytest.raises(UnicodeEncodeError):
        write_whole(path, "half é", encoding="ascii")
    assert path.read_text() == "old"
    assert names_in(tmp_path) == {"a.csv"}


def test_out_folder_must_be_writable(tmp_path: Path) -> None:
    check_out_folder(tmp_path / "new")
    assert (tmp_path / "new").is_dir()
    (tmp_path / "file").write_text("")
    for wrong in (tmp_path / "no" / "such", tmp_path / "file", tmp_path / "file" / "x"):
        with pytest.raises(InputError, match="folder for reports"):
            check_out_folder(wrong)


# Before anything is run -----------------------------------------------------------------------

def test_two_sites_of_one_name_are_refused(tmp_path: Path) -> None:
    first, second = write_site(tmp_path, "a", "Ridge Clinic"), write_site(tmp_path, "b",
                                                                          "ridge clinic!")
    out = tmp_path / "out"
    result = report_sites([first, second], out, documents=["SV"], workbooks=SAMPLES)
    assert result.done == ()
    assert [path for path, _ in result.failed] == [first, second]
    for (_, reason), other in zip(result.failed, (second, first), strict=True):
        assert "ridge-clinic" in reason
        assert str(other) in reason
    assert names_in(out) == LISTS


def test_no_jobs_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="1 or more"):
        report_sites([DEMO], tmp_path, jobs=0, workbooks=SAMPLES)


def test_only_bad_site_files(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("[site\n", encoding="utf-8")
    missing = tmp_path / "missing.toml"
    result = report_sites([bad, missing], tmp_path / "out", workbooks=SAMPLES)
    assert result.done == ()
    assert [path for path, _ in result.failed] == [bad, missing]
    words = Page((tmp_path / "out" / "index.html").read_text(encoding="utf-8")).words
    assert "bad.toml" in words
    assert "missing.toml" in words


# Over all sites -------------------------------------------------------------------------------

def test_index_and_table_guard_names(tmp_path: Path) -> None:
    record = {
        "schema": SCHEMA,
        "site": {"name": "=1+1", "customer": EVIL, "place": EVIL, "latitude_deg": -1.5,
                 "longitude_deg": 2.0, "elevation_m": 3.0, "made": "2025-01-01T00:00:00+00:00",
                 "version": "1"},
        "headline": "supplied 1 of 2 kWh demand",
        "workbooks": {"yield": {"title": "t", "answer": "a",
                                "values": {"energy_kwh": -5.5, "way": "@x"}}},
        "check_counts": {"failed": 1, "failed_safety": 0, "review": 0, "accepted": 0,
                         "not_assessed": 0, "passed": 2},
        "checks": [], "assumptions": [], "job": {},
    }
    for slug in ("one", "Not a slug", ".hidden", "no-report", "broken"):
        (tmp_path / slug).mkdir()
        (tmp_path / slug / "summary.json").write_text(json.dumps(record), encoding="utf-8")
        if slug != "no-report":
            (tmp_path / slug / "report.html").write_text("")
    (tmp_path / "broken" / "summary.json").write_text("{")
    assert [slug for slug, _ in read_records(tmp_path)] == ["one"]
    write_index(tmp_path, [(Path(f"{EVIL.replace('/', '')}.toml"), EVIL)])
    text = (tmp_path / "index.html").read_text(encoding="utf-8")
    links = r'href="(one/index\.html|office\.csv|data\.csv|orders\.csv|fleet\.html)"'
    read = assert_stands_alone(re.sub(links, 'href="#failed"', text))
    assert EVIL in read.words
    with (tmp_path / "data.csv").open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["site"] == "'=1+1"
    assert row["yield.way"] == "'@x"
    assert row["yield.energy_kwh"] == "-5.5", "a number stays a number"


# With kernels ---------------------------------------------------------------------------------

@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, BatchResult]:
    """A hostile name, one that breaks a workbook, a bad file and a plain one in one call."""
    folder = tmp_path_factory.mktemp("batch")
    bad = folder / "bad.toml"
    bad.write_text("[site]\nnam = 1\n", encoding="utf-8")
    paths = [write_site(folder, "evil", EVIL), write_site(folder, "broken", "BROKEN"), bad,
             write_site(folder, "plain", "Plain")]
    return folder / "out", report_sites(paths, folder / "out", documents=["CA"], jobs=2,
                                        workbooks=SAMPLES)  # fmt: skip


@pytest.mark.slow
def test_good_sites_are_done_and_bad_ones_say_why(batch: tuple[Path, BatchResult]) -> None:
    out, result = batch
    slugs = [slug for slug, _ in result.done]
    assert len(slugs) == 2
    assert slugs[1] == "plain"
    assert [path.stem for path, _ in result.failed] == ["broken", "bad"]
    assert result.failed[0][1] == "second: ValueError: the battery has no capacity\nsecond line"
    assert "nam" in result.failed[1][1]
    assert names_in(out) == {*slugs, *LISTS}
    for slug, page in result.done:
        assert page == out / slug / "index.html"
        names = names_in(out / slug)
        assert {"index.html", "site.toml", "summary.json", "workbooks"} <= names
        assert any("-ca-00-" in name for name in names)


@pytest.mark.slow
def test_documents_stand_alone_with_a_hostile_name(batch: tuple[Path, BatchResult]) -> None:
    out, result = batch
    for path in sorted((out / result.done[0][0]).glob("*.html")):
        text = path.read_text(encoding="utf-8")
        assert "<script" not in text
        assert EVIL in Page(text).words
    index = (out / "index.html").read_text(encoding="utf-8")
    assert "<script" not in index
    assert EVIL in Page(index).words
    assert "the battery has no capacity" in Page(index).words


@pytest.mark.slow
def test_summary_and_table(batch: tuple[Path, BatchResult]) -> None:
    out, _ = batch
    record = json.loads((out / "plain" / "summary.json").read_text(encoding="utf-8"))
    assert record["schema"] == SCHEMA
    assert record["site"]["name"] == "Plain"
    assert record["workbooks"]["second"]["values"] == {"empty_days": 3, "battery_kwh": 9.6}
    assert record["check_counts"] == {"failed": 1, "failed_safety": 0, "review": 1,
                                      "accepted": 0, "not_assessed": 0, "passed": 1}
    assert [entry["label"] for entry in record["assumptions"]] == ["Albedo", "Reserve"]
    with (out / "data.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = {row["site"]: row for row in csv.DictReader(file)}
    assert rows["Plain"]["second.battery_kwh"] == "9.6"


@pytest.mark.slow
def test_executed_workbooks_keep_no_trace_of_the_run(batch: tuple[Path, BatchResult]) -> None:
    out, _ = batch
    text = (out / "plain" / "workbooks" / "first.ipynb").read_text(encoding="utf-8")
    assert "papermill" not in text
    assert "/sc-" not in text
    assert "explore(" not in text
    read: Any = nbformat.reads
    executed = read(text, as_version=4)
    nbformat.validate(executed)
    pictures = [output for cell in executed.cells for output in cell.get("outputs", [])
                if "image/png" in output.get("data", {})]
    assert len(pictures) == 1


@pytest.mark.slow
def test_ordinary_and_forked_kernels_give_the_same(
    batch: tuple[Path, BatchResult], tmp_path: Path
) -> None:
    if not WarmServer.possible():
        pytest.skip("this system has no pidfd_open, so kernels are ordinary ones anyway")
    forked, _ = batch
    site = forked.parent / "plain.toml"
    report_sites([site], tmp_path, documents=["CA"], jobs=1, workbooks=SAMPLES, warm=False)
    for name in ("first", "second"):
        files = [folder / "plain" / "workbooks" / f"{name}.ipynb" for folder in (forked, tmp_path)]
        assert files[0].read_bytes() == files[1].read_bytes()


def test_what_nobody_foresaw_stops_one_site_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from solarcalc.batch import workbook

    def execute(name: str, notebook: Any, given: Any, room: Any) -> Any:
        raise ZeroDivisionError("no such thing")

    monkeypatch.setattr(workbook, "execute", execute)
    result = report_sites([DEMO], tmp_path / "out", workbooks=SAMPLES, warm=False)
    assert result.failed == ((DEMO, "first: ZeroDivisionError: no such thing"),)
    assert names_in(tmp_path / "out") == LISTS


@pytest.mark.slow
def test_an_interrupt_leaves_nothing_half_done(tmp_path: Path) -> None:
    """Ctrl-C in the middle of a run: no report, no part of one, no kernel left running.

    A shell starts what it runs in the background with that signal ignored: it is set anew.
    """
    workbooks = tmp_path / "workbooks"
    workbooks.mkdir()
    started = tmp_path / "started"
    write: Any = nbformat.write
    source = notebook('site_file = ""')
    source.cells.append(new_code_cell(
        f"import os, pathlib, time\npathlib.Path({str(started)!r}).write_text(str(os.getpid()))\n"
        "time.sleep(60)"))
    write(source, workbooks / "slow.ipynb")
    out = tmp_path / "out"
    code = (f"import signal; signal.signal(signal.SIGINT, signal.default_int_handler); "
            f"from pathlib import Path; from solarcalc.batch.run import report_sites; "
            f"report_sites([Path({str(DEMO)!r})], Path({str(out)!r}), "
            f"workbooks=Path({str(workbooks)!r}))")
    temporary = tmp_path / "t"
    temporary.mkdir()
    with subprocess.Popen(
        [sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        env={**os.environ, "TMPDIR": str(temporary)}, start_new_session=True,
    ) as process:
        _wait_for(lambda: started.exists() and started.read_text() != "")
        process.send_signal(signal.SIGINT)
        _, messages = process.communicate(timeout=20)
    assert process.returncode != 0
    assert b"KeyboardInterrupt" in messages
    assert names_in(out) == LISTS - {"fleet.html", "orders.csv"}  # of sites that were finished
    assert names_in(temporary) == set()
    _wait_for(lambda: not Path(f"/proc/{started.read_text()}").exists())


def _wait_for(true: Any, limit_s: float = 150.0) -> None:
    end = time.monotonic() + limit_s
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)


@pytest.mark.slow
def test_quiet_in_a_pipe_and_no_library_words(tmp_path: Path) -> None:
    site = write_site(tmp_path, "a", "Quiet")
    code = (f"from pathlib import Path; from solarcalc.batch.run import report_sites; "
            f"report_sites([Path({str(site)!r})], Path({str(tmp_path / 'out')!r}), "
            f"workbooks=Path({str(SAMPLES)!r}))")
    done = subprocess.run([sys.executable, "-W", "default", "-c", code], cwd=ROOT,
                          capture_output=True, text=True, check=True)
    assert done.stdout == ""
    assert done.stderr == ""


def test_two_sites_take_turns_so_that_neither_design_nor_documents_let_others_wait():
    from types import SimpleNamespace

    from solarcalc.batch.run import _by_twos

    sites = [SimpleNamespace(name=name, waiting=set(books))
             for name, books in (("a", "xy"), ("b", "xyz"), ("c", ""), ("d", "z"))]  # fmt: skip
    told = [(job.name, book) for job, book in _by_twos(sites, ["x", "y", "z"])]
    assert told == [("a", "x"), ("b", "x"), ("a", "y"), ("b", "y"), ("b", "z"), ("c", ""),
                    ("d", "z")]  # fmt: skip
