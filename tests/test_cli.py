"""The command line: what it prints, where it prints it and how it exits."""

from __future__ import annotations

import logging
import os
import re
import subprocess
import sys
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import solarcalc
from solarcalc import design
from solarcalc.basis.check import Check
from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder, demo_sites, workbooks_folder
from solarcalc.cli import main
from solarcalc.sitefile.read import read_site
from solarcalc.sitefile.toml import write_new_site
from solarcalc.weather.read import read_weather
from solarcalc.weather.records import WeatherYear

CHECKOUT = Path(__file__).resolve().parent.parent
FAILS_ON_PURPOSE = "cove-cannery"


@dataclass(frozen=True, kw_only=True)
class Result:
    done: tuple[tuple[str, Path], ...] = ()
    failed: tuple[tuple[Path, str], ...] = ()
    unchanged: tuple[tuple[str, Path], ...] = ()


class Batch:
    """Stands in for the batch: notes what it was asked and answers as told."""

    def __init__(self) -> None:
        self.calls: list[dict[str, Any]] = []
        self.answer: Callable[[Sequence[Path], Path], Result] = lambda paths, out: Result(
            done=tuple((path.stem, out / path.stem / "index.html") for path in paths)
        )

    def report_sites(
        self, paths: Sequence[Path], out: Path, *, documents: Sequence[str], jobs: int | None,
        progress: bool, **more: Any,
    ) -> Result:
        self.calls.append({"paths": list(paths), "out": out, "documents": tuple(documents),
                           "jobs": jobs, "progress": progress,
                           **{name: value for name, value in more.items() if value}})
        return self.answer(paths, out)


@pytest.fixture
def batch(monkeypatch: pytest.MonkeyPatch) -> Batch:
    fake = Batch()
    monkeypatch.setitem(sys.modules, "solarcalc.batch.run", fake)
    return fake


def weather_year(sitefile: Any, *checks: Check) -> WeatherYear:
    return replace(read_weather(sitefile), checks=checks)


@pytest.fixture
def weather(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    fake = SimpleNamespace(read_weather=weather_year)
    monkeypatch.setattr(design, "read_weather", lambda sitefile: fake.read_weather(sitefile))
    return fake


def run(*words: str, cwd: Path | None = None, **env: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "solarcalc", *words],
        capture_output=True,
        text=True,
        check=False,
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(CHECKOUT), **env},
    )


# --- starting


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["report", "--help"], ["frobnicate"]])
def test_help_version_and_wrong_usage_import_nothing_heavy(words: list[str]) -> None:
    heavy = "pandas", "numpy", "pvlib", "pydantic", "matplotlib", "papermill", "nbconvert", "tqdm"
    code = (
        "import sys\nfrom solarcalc.cli import main\n"
        f"try: main({words!r})\nexcept SystemExit: pass\n"
        f"print('HEAVY', [name for name in {heavy!r} if name in sys.modules])"
    )
    out = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=CHECKOUT
    )
    assert out.stdout.rstrip().endswith("HEAVY []")


def test_version_of_the_module_run() -> None:
    done = run("--version")
    assert (done.returncode, done.stdout) == (0, f"solarcalc {solarcalc.__version__}\n")


@pytest.mark.parametrize(
    "words",
    [
        [],
        ["frobnicate"],
        ["check"],
        ["report", "ridge-clinic"],
        ["demo", "--out", "x", "--jobs", "0"],
        ["demo", "--out", "x", "--jobs", "two"],
        ["demo", "--out", "x", "--jobs", "-1"],
    ],
)
def test_wrong_usage_exits_with_2(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(words)
    assert caught.value.code == 2
    assert "usage: solarcalc" in capsys.readouterr().err


# --- new


def test_new_writes_a_sound_file_whose_example_is_judged(
    tmp_path: Path, weather: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", 'The "Oak" <b>', "--full", "--folder", str(tmp_path)]) == 0
    path = tmp_path / "the-oak-b.toml"
    assert str(path) in capsys.readouterr().out
    assert main(["check", str(path)]) == 1, "too little sun for its loads in winter"
    out = capsys.readouterr().out
    assert out.startswith(f"{path}: the file is valid. 2 checks fail, 1 of safety; ")
    assert "failed    safety: Floor under the racks" in out
    assert "failed    supply: Essential board without supply" in out
    assert 'The "Oak" <b>: 36.12° N, 79.93° W' in out


def test_new_writes_a_short_file_that_is_judged_untouched(
    tmp_path: Path, weather: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["new", "Hill Street Shop", "--folder", str(tmp_path)]) == 0
    path = tmp_path / "hill-street-shop.toml"
    assert main(["check", str(path)]) in (0, 1), "what it says of an invented house is no matter"
    out = capsys.readouterr().out
    assert f"{path}: the file is valid." in out
    assert "not filled in, default used: latitude_deg: 36.12 degrees (invented)" in out
    assert "Survey: answers missing: 19 of the first questions" in out
    assert "energy    in a typical year:" in out


@pytest.mark.parametrize("words", [["new"], ["new", "A", "--from", "b.xlsx"], ["survey"],
                                   ["survey", "--xlsx", "a", "--phone", "b"]])  # fmt: skip
def test_a_survey_asked_for_in_two_ways_or_none_is_wrong_usage(words: list[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(words)
    assert caught.value.code == 2


@pytest.mark.parametrize(("form", "name"), [("--xlsx", "a.pdf"), ("--phone", "a.xlsx"),
                                            ("--xlsx", "a")])  # fmt: skip
def test_a_survey_has_the_ending_it_is_opened_by(
    form: str, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["survey", form, str(tmp_path / name)]) == 1
    assert "a file that ends in" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("count", ["0", "-1", "1001", "9" * 5000, "two", "1.5", "\u00b2"])
def test_a_count_that_nobody_means_is_refused_at_once(
    count: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for words in (["crews", "ridge-clinic", "--crews"], ["report", "ridge-clinic", "--jobs"]):
        with pytest.raises(SystemExit) as caught:
            main([*words, count, "--out", str(tmp_path / "days")])
        assert caught.value.code == 2
        assert "is not a whole number from 1 to 1000" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_new_refuses_to_write_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["new", "Oak", "--full", "--folder", str(tmp_path)]) == 0
    capsys.readouterr()
    assert main(["new", "Oak", "--full", "--folder", str(tmp_path)]) == 1
    out, err = capsys.readouterr()
    assert out == ""
    assert "exists already" in err
    assert "Traceback" not in err


# --- check


def test_check_names_the_guesses_that_decide(capsys: pytest.CaptureFixture[str]) -> None:
    """The shop's file says no days with thunder: 40 are taken, 5 to 60 are usual."""
    main(["check", "orchard-shop"])
    out = capsys.readouterr().out
    assert ("guess     Thunderstorm days per year (T_D) [days/year]: 40, usual range 5 to 60;"
            " outcome changes at 53") in out


@pytest.mark.slow
@pytest.mark.parametrize(("table", "key"), [("logger", "file"), ("commissioning", "results")])
def test_check_names_a_file_that_is_not_there(
    table: str, key: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main(["new", "Oak", "--full", "--folder", str(tmp_path)]) == 0
    path = tmp_path / "oak.toml"
    text = path.read_text(encoding="utf-8")
    assert f"\n[{table}]\n" in text
    for there in (False, True):
        named = f"\n[{table}]\n{key} = \"year.csv\"\n"
        path.write_text(text.replace(f"\n[{table}]\n", named), encoding="utf-8")
        if there:
            (tmp_path / "year.csv").write_text("a\n", encoding="utf-8")
        main(["check", str(path)])
        told = f"failed    data: File named in {table}.{key}: year.csv does not exist"
        assert (told in capsys.readouterr().out) != there


def test_check_prints_the_job_in_a_few_lines(
    weather: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "orchard-shop"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    # hand: 8 x 397 W = 3.176 kWp; 4 x 25.6 V x 142 Ah = 14.54 kWh;
    # critical (200 x 24 x 0.4 + 7 x 9 x 10.5 + 30 x 24) Wh = 3.3015 kWh;
    # heavy (750 x 2 + 800 x 1.5 x 0.5) Wh = 2.1 kWh;
    # a room of 18 degC leaves lithium 0.944 of the span: 1 - 0.944 x 0.8 = 24 % stays
    for words in (
        "Orchard Farm Shop: 36.15° N, 79.9° W, 260 m, America/New_York (standard time UTC-05:00)",
        "3.18 kWp: 8 x 397 W, 8 in series, landscape, tilt 25°, azimuth 200°, flush",
        "14.5 kWh rated, 25.6 V, lithium iron phosphate; ",
        " kWh usable, down to 24 % of 14.5 kWh at slow discharge, cold included",
        "essential board 3.3 kWh/day, nonessential board 2.1 kWh/day",
        "GREENSBORO PIEDMONT TRIAD INT, 7 km away: in the year",
        "still as in the template, check each: array.rows = 1",
    ):
        assert words in out
    assert "example   equipment and prices invented" in out


@pytest.mark.parametrize(
    ("site", "said"),
    [("ridge-clinic", "design and tests only: logger is assessed in the report"),
     ("orchard-shop", "")],
)  # fmt: skip
def test_check_says_what_only_the_report_judges(
    site: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    main(["check", site])
    assert capsys.readouterr().out.rstrip().rpartition("scope     ")[2].startswith(said)
    main(["check", site])
    assert ("scope     " in capsys.readouterr().out) == bool(said)


def test_check_prints_checks_that_are_not_passed(
    weather: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    def check(outcome: Any, item: str) -> Check:
        return Check(
            item=item, found="60", limit="50", unit="km", outcome=outcome, clause="c", remedy="go",
            rule="weather/far", kind="data",
        )

    far = check("review", "far")
    weather.read_weather = lambda sitefile: weather_year(sitefile, check("passed", "good"), far)
    assert main(["check", "orchard-shop"]) == 0
    out = capsys.readouterr().out
    assert "review    data: far: 60 km (required 50 km); go" in out
    assert f"to accept: weather/far:far, fingerprint {far.fingerprint}" in out
    assert "good" not in out
    bad = replace(check("failed", "bad"), kind="safety")
    weather.read_weather = lambda sitefile: weather_year(sitefile, bad)
    assert main(["check", "--fresh", "orchard-shop"]) == 1  # no file has changed
    out = capsys.readouterr().out
    assert "the file is valid. 1 check fails, 1 of safety; " in out
    assert "failed    safety: bad: 60 km" in out
    assert f"to accept: {bad.key}" not in out


def test_check_shows_all_faults_and_goes_on(
    tmp_path: Path, weather: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    bad = write_new_site("Bad", tmp_path)
    text = bad.read_text(encoding="utf-8")
    text = text.replace("latitude_deg = 36.12", "latitude_deg = 96.10", 1)
    bad.write_text(text.replace("tilt_deg = 20.0", "tilt = 20.0", 1), encoding="utf-8")
    assert main(["check", str(bad), "orchard-shop"]) == 1
    out, err = capsys.readouterr()
    assert f"{bad}: not valid, 3 input errors" in err
    for words in ("site.latitude_deg", "96.1", "array.tilt", "did you mean tilt_deg?", "nothing"):
        assert words in err
    assert "Traceback" not in err
    assert "orchard-shop.toml: the file is valid. " in out


def test_check_refuses_rows_that_overlap(
    tmp_path: Path, weather: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    site = write_new_site("Tight", tmp_path)
    text = site.read_text(encoding="utf-8")
    text = text.replace("# row_pitch_m = 3.0 ", "row_pitch_m = 0.9 ", 1)
    site.write_text(text, encoding="utf-8")
    assert main(["check", str(site)]) == 1
    err = capsys.readouterr().err
    assert f"{site}: not valid, 1 input error" in err
    for words in ("array.row_pitch_m", "0.9 m", "rows would overlap", "use the shadow rule"):
        assert words in err


def test_check_shows_faults_of_the_weather(
    weather: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    def refuse(sitefile: object) -> None:
        raise InputError(Fault(where="x.csv: ghi", given="-50", allowed="0 to 1500 W/m2"))

    weather.read_weather = refuse
    assert main(["check", "orchard-shop"]) == 1
    out, err = capsys.readouterr()
    assert "sound" not in out
    assert "x.csv: ghi" in err


def test_unexpected_error_of_one_site_is_one_line(
    weather: SimpleNamespace,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def fail(sitefile: Any) -> SimpleNamespace:
        if sitefile.slug == "ridge-road-clinic":
            raise ZeroDivisionError("by nothing\nat all")
        return weather_year(sitefile)

    weather.read_weather = fail
    monkeypatch.delenv("SOLARCALC_DEBUG", raising=False)
    assert main(["check", "ridge-clinic", "orchard-shop"]) == 1
    out, err = capsys.readouterr()
    assert len(err.splitlines()) == 1
    assert "ridge-clinic.toml: unexpected ZeroDivisionError: by nothing" in err
    assert "SOLARCALC_DEBUG=1" in err
    assert "orchard-shop.toml: the file is valid. " in out
    monkeypatch.setenv("SOLARCALC_DEBUG", "1")
    assert main(["check", "ridge-clinic"]) == 1
    assert "Traceback" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.parametrize(
    ("word", "remedy"),
    [("ridge-clinc", "did you mean ridge-clinic?"), ("qqqqqq", "solarcalc new NAME")],
)
def test_a_site_that_is_neither_file_nor_demo(
    word: str, remedy: str, weather: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", word, "orchard-shop"]) == 1
    out, err = capsys.readouterr()
    assert remedy in err
    assert "cove-cannery" in err
    assert "orchard-shop.toml: the file is valid. " in out


def test_a_file_that_does_not_exist(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "gone/away.toml"]) == 1
    assert "does not exist" in capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.parametrize("stem", demo_sites())
def test_check_of_a_demo_site_with_its_real_weather(
    stem: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", stem]) == (1 if stem == FAILS_ON_PURPOSE else 0)
    out, err = capsys.readouterr()
    assert err == ""
    assert f"{stem}.toml: the file is valid. " in out
    assert read_site(demo_sites()[stem]).site.site.name in out


# --- report and demo


def test_report_hands_each_site_once_to_the_batch(
    batch: Batch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = write_new_site("Own", tmp_path)
    words = ["report", str(own), "ridge-clinic", str(own), "--out", str(tmp_path / "r")]
    assert main([*words, "--jobs", "2", "--documents", "qu,DS"]) == 0
    (call,) = batch.calls
    assert call == {
        "paths": [own, demo_sites()["ridge-clinic"]],
        "out": tmp_path / "r",
        "documents": ("DS", "QU"),
        "jobs": 2,
        "progress": False,
    }
    out, err = capsys.readouterr()
    assert str(tmp_path / "r" / "own" / "index.html") in out
    assert str(tmp_path / "r" / "index.html") in out
    assert err == ""


def test_demo_reports_every_demo_site(batch: Batch, tmp_path: Path) -> None:
    assert main(["demo", "--out", str(tmp_path)]) == 0
    assert batch.calls[0]["paths"] == list(demo_sites().values())
    assert batch.calls[0]["jobs"] is None


def test_failed_sites_are_named_with_their_reason(
    batch: Batch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    batch.answer = lambda paths, out: Result(
        done=(("a", out / "a" / "index.html"),), failed=((paths[1], "yield: no sun"),)
    )
    words = ["report", "ridge-clinic", "cove-cannery", "--out", str(tmp_path)]
    assert main(words) == 1
    out, err = capsys.readouterr()
    assert "index.html" in out
    assert "cove-cannery.toml: no documents\nyield: no sun" in err


def test_unknown_site_does_not_stop_the_others(
    batch: Batch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", "ridge-clinc", "cove-cannery", "--out", str(tmp_path)]) == 1
    assert batch.calls[0]["paths"] == [demo_sites()["cove-cannery"]]
    assert "did you mean ridge-clinic?" in capsys.readouterr().err
    assert main(["report", "ridge-clinc", "--out", str(tmp_path)]) == 1
    assert len(batch.calls) == 1


def raising(error: BaseException) -> Callable[[Sequence[Path], Path], Result]:
    def answer(paths: Sequence[Path], out: Path) -> Result:
        raise error

    return answer


@pytest.mark.parametrize(
    ("error", "status", "words"),
    [
        (KeyboardInterrupt(), 130, "stopped; "),
        (InputError(Fault(where="out", given="a file", allowed="a folder")), 1, "a folder"),
        (RuntimeError("odd"), 1, "unexpected RuntimeError: odd (SOLARCALC_DEBUG=1"),
    ],
)
def test_errors_of_the_batch(
    batch: Batch, capsys: pytest.CaptureFixture[str], error: BaseException, status: int, words: str
) -> None:
    batch.answer = raising(error)
    assert main(["demo", "--out", "x"]) == status
    out, err = capsys.readouterr()
    assert out == ""
    assert "Traceback" not in err
    assert (words in err) if words else (err == "")


@pytest.mark.parametrize("made", [False, True])
def test_a_stop_names_the_index_only_where_there_is_one(
    batch: Batch, capsys: pytest.CaptureFixture[str], tmp_path: Path, made: bool
) -> None:
    batch.answer = raising(KeyboardInterrupt())
    if made:
        (tmp_path / "index.html").touch()
    assert main(["demo", "--out", str(tmp_path)]) == 130
    assert ("index.html" in capsys.readouterr().err) == made


def test_library_warnings_and_logs_stay_off_the_command_line(
    batch: Batch, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def noisy(paths: Sequence[Path], out: Path) -> Result:
        warnings.warn("noise", UserWarning, stacklevel=1)
        logging.getLogger("papermill").error("noise")
        return Result()

    batch.answer = noisy
    monkeypatch.delenv("SOLARCALC_DEBUG", raising=False)
    assert main(["demo", "--out", "x"]) == 0
    assert capsys.readouterr() == ("", "")
    assert logging.root.manager.disable == logging.NOTSET
    monkeypatch.setenv("SOLARCALC_DEBUG", "1")
    # the warning gets through, and is an error in these tests
    assert main(["demo", "--out", "x"]) == 1
    assert "UserWarning: noise" in capsys.readouterr().err


def test_a_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    try:
        done = subprocess.run(
            [sys.executable, "-m", "solarcalc", "new", "Oak", "--folder", str(tmp_path)],
            stdout=write_end,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            cwd=CHECKOUT,
        )
    finally:
        os.close(write_end)
    assert done.returncode == 1
    assert done.stderr == ""


def test_a_terminal_without_the_letters_still_gets_its_text(tmp_path: Path) -> None:
    folder = tmp_path / "café"
    folder.mkdir()
    done = run("new", "Oak", "--folder", str(folder), PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    assert "caf?" in done.stdout


# --- workbooks


def test_workbooks_are_copied_out_whole_and_never_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "mine"
    assert main(["workbooks", "--out", str(out)]) == 0
    assert sorted(path.name for path in out.iterdir()) == ["data", "workbooks"]
    assert {path.name for path in (out / "workbooks").glob("*.ipynb")} == {
        path.name for path in workbooks_folder().glob("*.ipynb")
    }
    for stem, path in demo_sites().items():
        copy = out / "data" / "sites" / f"{stem}.toml"
        assert copy.read_bytes() == path.read_bytes()
        assert read_site(copy).site.site.name
    assert not (out / "data" / "equipment").exists()
    assert str(data_folder() / "equipment") in capsys.readouterr().out
    mark = out / "data" / "sites" / "ridge-clinic.toml"
    mark.write_text("changed", encoding="utf-8")
    assert main(["workbooks", "--out", str(out)]) == 1
    assert "exists already" in capsys.readouterr().err
    assert mark.read_text(encoding="utf-8") == "changed"


def test_workbooks_where_nothing_may_be_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").touch()
    assert main(["workbooks", "--out", str(tmp_path / "file" / "x")]) == 1
    assert "a folder that may be written" in capsys.readouterr().err


@pytest.mark.parametrize(("word", "said"), [
    ("9,000", "it may mean 9000 or 9"), ("9,5", "if the number is 9.5"),
    ("1,234,567", "enter 1234567"), ("much", "one number alone"), ("nan", "one number alone"),
])  # fmt: skip
def test_a_number_of_an_option_is_read_as_one_of_a_survey_is(
    word: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["search", "orchard-shop", "--budget", word]) == 1
    told = capsys.readouterr().err
    assert told.startswith("--budget\n")
    assert said in told


def test_a_terminal_is_given_plain_spaces_between_thousands(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["check", "ridge-clinic"]) == 0
    told = capsys.readouterr().out
    assert "\N{NARROW NO-BREAK SPACE}" not in told
    assert re.search(r"price +\d\d \d{3}\.\d\d ", told)


def test_a_document_that_was_asked_for_and_not_made_is_told(
    batch: Batch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "ridge-clinic" / "index.html"
    page.parent.mkdir()
    page.with_name("summary.json").write_text('{"written": [{"code": "DS"}]}', encoding="utf-8")
    batch.answer = lambda paths, out: Result(done=(("ridge-clinic", page),))
    words = ["report", "ridge-clinic", "--out", str(tmp_path)]
    assert main([*words, "--documents", "DS,QU"]) == 0
    told = capsys.readouterr().out
    assert f"{page}: no QU was made, see there" in told
    assert "no DS" not in told
    batch.answer = lambda paths, out: Result(done=(), unchanged=(("ridge-clinic", page),))
    assert main([*words, "--documents", "DS,QU"]) == 0
    assert f"{page}: no QU was made, see there" in capsys.readouterr().out
    batch.answer = lambda paths, out: Result(done=(("ridge-clinic", page),))
    assert main(words) == 0
    assert "was made" not in capsys.readouterr().out
