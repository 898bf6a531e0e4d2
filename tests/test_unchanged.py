"""A site is made again where anything it follows from has changed, and only there."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as some

from solarcalc.batch import unchanged, workbook
from solarcalc.batch.folders import not_made
from solarcalc.batch.site import fill_folder
from solarcalc.batch.unchanged import note_made, standing_sites
from solarcalc.cli import main
from solarcalc.survey.workbook import survey_xlsx

ROOT = Path(__file__).resolve().parent.parent
NAMES = ("site.toml", "weather.csv", "prices.csv", "logo.png")
FILES = ("index.html", "summary.json", "workbooks/yield.ipynb", "quote/bill.csv")


def made_site(base: Path) -> tuple[Path, Path]:
    """A site of four files, one of which is not there, with a report of four files."""
    for name in NAMES[:-1]:
        (base / name).write_text(f"{name} as it was", encoding="utf-8")
    folder = base / "out" / "a-site"
    for name in FILES:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(f"{name} as it was", encoding="utf-8")
    note_made(folder, base / "site.toml", codes=["DS", "QU"], whole=True, books="of today",
              opened=[str(base / name) for name in NAMES], since_s=os.stat(base).st_mtime + 9.0)
    return base / "site.toml", base / "out"


def stands(site: Path, out: Path, asked: tuple[str, ...] = (), books: str = "of today") -> bool:
    return standing_sites([site], out, asked, books) == {site: "a-site"}


def test_a_site_stands_for_what_was_made_of_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    site, out = made_site(tmp_path)
    assert stands(site, out)
    assert stands(site, out, ("QU",))
    assert not stands(site, out, ("DR",))
    assert not stands(site, out, books="of tomorrow")
    assert standing_sites([tmp_path / "other.toml"], out, (), "of today") == {}
    monkeypatch.setattr(unchanged, "installed", lambda: "another version")
    assert not stands(site, out)


@given(some.data())
@settings(max_examples=60, deadline=None)
def test_one_change_anywhere_and_the_site_is_made_again(data: some.DataObject) -> None:
    """Beside it: a new time alone, as of a folder that was copied, is no change."""
    with tempfile.TemporaryDirectory() as folder:
        site, out = made_site(Path(folder))
        inputs = [Path(folder) / name for name in NAMES]
        files = [out / "a-site" / name for name in FILES]
        touched = data.draw(some.lists(some.sampled_from([*inputs[:-1], *files]), unique=True))
        for path in touched:
            os.utime(path, (1.0, 1.0))
        assert stands(site, out)
        changed = data.draw(some.sampled_from([*inputs, *files, out / "a-site" / ".made.json"]))
        how = data.draw(some.sampled_from(["gone", "longer", "other", "a folder"]))
        there = changed.read_bytes() if changed.exists() else b""
        changed.unlink(missing_ok=True)
        if how == "longer" or not there:
            changed.write_bytes(there + b".")
        elif how == "other":
            at = data.draw(some.integers(0, len(there) - 1))
            changed.write_bytes(there[:at] + bytes([there[at] ^ 1]) + there[at + 1:])
        elif how == "a folder":
            changed.mkdir()
        assert not stands(site, out)


def test_a_file_that_is_written_while_the_site_is_made_leaves_no_record(tmp_path: Path) -> None:
    site, out = made_site(tmp_path)
    (out / "a-site" / ".made.json").unlink()
    note_made(out / "a-site", site, codes=["DS"], whole=True, books="of today",
              opened=[str(site)], since_s=site.stat().st_mtime)
    assert not stands(site, out)


def test_an_unchanged_batch_loads_no_heavy_library() -> None:
    code = ("import sys, solarcalc.batch.run, solarcalc.batch.unchanged; "
            "print([name for name in ('numpy', 'pandas', 'pydantic', 'asyncio', 'psutil')"
            " if name in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                          env={**os.environ, "PYTHONPATH": str(ROOT)})  # fmt: skip
    assert done.stdout.strip() == "[]"


@pytest.fixture
def fills(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Sites whose folder is filled, here and not in a kernel."""
    filled: list[str] = []

    def fill(given: dict[str, Any], room: object) -> None:
        filled.append(Path(str(given["site_file"])).stem)
        fill_folder(**given)

    monkeypatch.setattr(workbook, "fill_in_kernel", fill)
    monkeypatch.setenv("SOLARCALC_ORDINARY_KERNELS", "1")
    return filled


@pytest.mark.slow
def test_the_command_makes_what_changed_and_says_what_did_not(
    tmp_path: Path, fills: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    text = (ROOT / "data" / "sites" / "ridge-clinic.toml").read_text(encoding="utf-8")
    site, out = tmp_path / "a.toml", tmp_path / "out"
    site.write_text(text, encoding="utf-8")
    os.utime(site, (1.0, 1.0))
    words = ["report", str(site), "--documents", "QU", "--out", str(out)]
    assert main(words) == 0
    assert "unchanged" not in capsys.readouterr().out
    before = {path.name: path.stat().st_mtime_ns for path in out.iterdir()}
    assert main(words) == 0
    said = capsys.readouterr().out
    assert f"{out / 'ridge-road-clinic' / 'index.html'} (unchanged)" in said
    assert "1 site unchanged" in said
    assert "--fresh" in said
    assert {path.name: path.stat().st_mtime_ns for path in out.iterdir()} == before
    assert fills == ["a"]
    (out / "office.csv").unlink()
    assert main(words) == 0
    assert (out / "office.csv").exists(), "a list that is gone is written again"
    assert fills == ["a"]
    main([*words, "--fresh"])
    assert fills == ["a"] * 2
    site.write_text(text.replace("tilt_deg = 35.0", "tilt_deg = 34.0"), encoding="utf-8")
    os.utime(site, (2.0, 2.0))
    main(words)
    assert fills == ["a"] * 3


@pytest.mark.parametrize("relative", [False, True])
def test_what_happens_is_told_in_lines_of_json(
    relative: bool, tmp_path: Path, fills: list[str], capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A file is named as it was given, whatever became of it."""
    demo = ROOT / "data" / "sites" / "ridge-clinic.toml"
    site, bad, out = tmp_path / "a.toml", tmp_path / "bad.toml", tmp_path / "out"
    site.write_bytes(demo.read_bytes())
    os.utime(site, (1.0, 1.0))
    bad.write_text("[site]\nnam = 1\n", encoding="utf-8")
    if relative:
        monkeypatch.chdir(tmp_path)
        site, bad = Path(site.name), Path(bad.name)
    words = ["report", str(site), str(bad), "--documents", "QU", "--out", str(out), "--json"]

    def lines() -> list[dict[str, Any]]:
        told = capsys.readouterr()
        assert told.err == ""
        return [json.loads(line) for line in told.out.splitlines()]

    assert main(words) == 1
    begin, *sites, end = lines()
    assert begin == {"event": "begin", "sites": 2, "unchanged": 0}
    assert {(one["file"], one["state"]) for one in sites} == {
        (str(site), "made"), (str(bad), "failed")}
    assert Path(next(one["page"] for one in sites if one["state"] == "made")).is_file()
    assert "nam" in next(one["reason"] for one in sites if one["state"] == "failed")
    assert (end["made"], end["unchanged"], end["failed"]) == (1, 0, 1)
    assert main([*words[:2], *words[3:]]) == 0
    begin, told, end = lines()
    assert begin["unchanged"] == end["unchanged"] == 1
    assert (told["state"], told["file"]) == ("unchanged", str(site))
    assert told["not_made"] == []
    summary = out / "ridge-road-clinic" / "summary.json"
    assert [not_made(summary, ["QU", code]) for code in ("QU", "HF")] == [[], ["HF"]]


def test_what_names_no_site_is_told_in_json_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("survey.xlsx").write_bytes(b"none")
    assert main(["report", "survey.xlsx", "nowhere", "--out", "out", "--json"]) == 1
    told = capsys.readouterr()
    assert told.err == ""
    found = [json.loads(line) for line in told.out.splitlines()]
    assert [one["event"] for one in found] == ["refused", "refused"]
    assert all(name in one["reason"] for name, one in zip(("survey.xlsx", "nowhere"), found,
                                                          strict=True))


def test_a_folder_that_is_none_and_a_scheduler_that_is_silent_are_told_in_json_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    for more in (("--out", str(tmp_path / "file")),
                 ("--out", str(tmp_path / "out"), "--scheduler", "nowhere")):
        assert main(["report", "ridge-clinic", "--json", *more]) == 1
        told = capsys.readouterr()
        *_, last = [json.loads(line) for line in told.out.splitlines()]
        assert last["event"] == "refused"
        assert last["reason"] in told.err


@pytest.mark.slow
def test_a_batch_straight_from_a_survey(
    tmp_path: Path, fills: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """A site file that went on by itself is taken as it stands, and that is told."""
    sites = [{"name": f"Site {each}", "latitude_deg": 25.8, "longitude_deg": -80.0 - 0.1 * each,
              "weather": "library:12839.tm2",
              "loads": (f"Lamp {each} 9 W, 4, 18:00-23:00, essential",)}
             for each in range(3)]  # fmt: skip
    source, out = tmp_path / "survey.xlsx", tmp_path / "out"
    source.write_bytes(survey_xlsx(sites, rows=True))
    words = ["report", str(source), "--documents", "SV", "--out", str(out), "--jobs", "1"]
    status, said = main(words), capsys.readouterr()
    assert (status, said.err) == (0, "")
    assert "wrote 3 site files beside" in said.out
    assert sorted(fills) == ["site-0", "site-1", "site-2"]
    own = tmp_path / "site-1.toml"
    own.write_text(own.read_text(encoding="utf-8") + "\n[battery]\nunits_in_parallel = 3\n",
                   encoding="utf-8")  # fmt: skip
    os.utime(own, (1.0, 1.0))
    assert main(words) == 0
    said = capsys.readouterr()
    assert f"{own}: differs from survey.xlsx and is taken as it stands" in said.out
    assert said.out.count("(unchanged)") == 2
    assert sorted(fills) == ["site-0", "site-1", "site-1", "site-2"]
    source.write_bytes(b"no workbook")
    assert main(words) == 1
    assert "survey.xlsx" in capsys.readouterr().err


def test_a_standing_site_is_not_overwritten_by_another_of_its_name(
    tmp_path: Path, fills: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    demo = ROOT / "data" / "sites" / "ridge-clinic.toml"
    sites = [tmp_path / "a.toml", tmp_path / "b.toml"]
    for site in sites:
        site.write_bytes(demo.read_bytes())
        os.utime(site, (1.0, 1.0))
    out = tmp_path / "out"
    assert main(["report", str(sites[0]), "--documents", "QU", "--out", str(out)]) == 0
    assert main(["report", *map(str, sites), "--documents", "QU", "--out", str(out)]) == 1
    said = capsys.readouterr().err
    assert said.count("would be called ridge-road-clinic too") == 2
    assert fills == ["a"]
