"""What ends a batch from outside: the next run goes on, nothing is left, and words say what it was.

The sites, workbooks and faults are invented: no source.
"""

from __future__ import annotations

import errno
import json
import os
import platform
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import nbformat
import psutil
import pytest
from hypothesis import given, settings
from hypothesis import strategies as some
from nbformat.v4 import new_code_cell

from solarcalc.basis import files, running
from solarcalc.basis.errors import InputError
from solarcalc.basis.files import sweep, whole_folder
from solarcalc.basis.running import MARK, Stopped, has_ended, stopped_by_signals, this_run
from solarcalc.batch import folders, index
from solarcalc.batch.folders import LOCK, only_run
from solarcalc.batch.forks import ForkServer
from solarcalc.batch.kernels import KernelRoom
from solarcalc.batch.limits import Limits, Watch
from solarcalc.batch.run import BatchResult, report_sites
from solarcalc.cli import main

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "data" / "sites" / "ridge-clinic.toml"
QUIET = {"start_new_session": True, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}


def waited_for(true: Callable[[], bool], limit_s: float = 120.0) -> None:
    end = time.monotonic() + limit_s
    while not true():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


def names_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir() if path.name != LOCK}


def python(code: str, **more: Any) -> subprocess.Popen[bytes]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **more.pop("env", {})}
    return subprocess.Popen([sys.executable, "-c", code], env=environment, **QUIET, **more)


# Whose a folder is ----------------------------------------------------------------------------

def test_a_mark_tells_a_living_process_from_one_that_ended_or_took_its_number() -> None:
    here = platform.node()
    assert has_ended(this_run()) is False
    assert has_ended(f"{here} {os.getpid()}") is False
    assert has_ended(f"{here} 999999999 1") is True
    assert has_ended(f"{here} {os.getpid()} 12345") is True, "another process had this number"
    assert has_ended("another-machine 1 1") is None
    for odd in ("", "nothing", here, f"{here} x y"):
        assert has_ended(odd) is None
    assert running.words_of(f"{here} 12 1") == f"process 12 on {here}"


_LEFT = some.sampled_from(["ended", "alive", "elsewhere", "nobody", "file"])


@given(some.dictionaries(some.sampled_from(["a", "b-c", "d.e"]), some.lists(_LEFT, max_size=3)),
       some.booleans())
@settings(max_examples=40, deadline=None)
def test_a_sweep_takes_all_that_is_left_and_nothing_else(
    left: dict[str, list[str]], old: bool
) -> None:
    """A site that was taken away and not replaced comes back; a living run's folder stays."""
    marks = {"ended": f"{platform.node()} 999999999 1", "alive": this_run(),
             "elsewhere": "another-machine 1 1"}  # fmt: skip
    with tempfile.TemporaryDirectory() as place:
        folder, stay = Path(place), {"index.html", ".hidden", "plain"}
        for name in stay:
            (folder / name).write_text("")
        for target, kinds in left.items():
            for number, kind in enumerate(kinds):
                path = folder / f".{target}.partial-x{number}"
                if kind == "file":
                    path.write_text("half")
                    continue
                path.mkdir()
                if kind in marks:
                    (path / MARK).write_text(marks[kind])
                    stay |= {path.name} if kind != "ended" else set()
            if old:
                (folder / f".{target}.partial-q-old").mkdir()
                (folder / f".{target}.partial-q-old" / "kept").write_text(target)
                stay.add(target)
        sweep(folder)
        assert {path.name for path in folder.iterdir()} == stay
        for target in left if old else ():
            assert (folder / target / "kept").read_text() == target


def test_one_run_at_a_time_and_a_killed_one_holds_nothing(tmp_path: Path) -> None:
    code = (f"import sys, time; from pathlib import Path\n"
            f"from solarcalc.batch.folders import only_run\n"
            f"with only_run(Path({str(tmp_path)!r})):\n    print('held', flush=True)\n"
            "    time.sleep(60)")
    with python(code) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(InputError) as caught, only_run(tmp_path):
            pass
        assert f"process {holder.pid} on {platform.node()}" in str(caught.value)
        assert str(tmp_path) in str(caught.value)
        (tmp_path / ".site.partial-abc").mkdir()
        holder.kill()
    assert (tmp_path / MARK).exists()
    with only_run(tmp_path):
        assert names_in(tmp_path) == {MARK}
    assert names_in(tmp_path) == set()


# Signals --------------------------------------------------------------------------------------

@pytest.mark.parametrize(("name", "status"), [("SIGTERM", 143), ("SIGHUP", 129), ("SIGINT", 130)])
def test_a_signal_ends_a_batch_in_good_order(
    name: str, status: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    number = getattr(signal, name)
    before = signal.getsignal(number)
    if name == "SIGINT":
        signal.signal(number, signal.default_int_handler)

    def report_sites(*given: Any, **more: Any) -> BatchResult:
        os.kill(os.getpid(), number)
        time.sleep(5.0)
        raise AssertionError("the signal did nothing")

    monkeypatch.setattr("solarcalc.batch.run.report_sites", report_sites)
    try:
        assert main(["report", str(DEMO), "--out", str(tmp_path), "--json"]) == status
    finally:
        signal.signal(number, before)
    told = capsys.readouterr()
    assert "same command goes on" in told.err
    assert told.out.splitlines() == ['{"event": "stopped"}']


def test_a_signal_that_is_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with stopped_by_signals():
            os.kill(os.getpid(), signal.SIGHUP)
    finally:
        signal.signal(signal.SIGHUP, before)
    with pytest.raises(Stopped), stopped_by_signals():  # noqa: PT012
        os.kill(os.getpid(), signal.SIGTERM)
        time.sleep(1.0)


@pytest.mark.parametrize("frozen", ["warm", pytest.param("site", marks=pytest.mark.slow)])
def test_a_stop_waits_for_no_process_that_has_not_answered(
    frozen: str, tmp_path: Path
) -> None:
    """However long imports or a design take: here for ever, as the process is held."""
    if not ForkServer.possible():
        pytest.skip("kernels are not forked here")
    rooms: list[KernelRoom] = []

    def enter() -> None:
        with room.of_site(str(DEMO)) as found:
            rooms.append(found)

    with KernelRoom() as room:
        assert room._warm is not None
        if frozen == "warm":
            room._warm._process.send_signal(signal.SIGSTOP)
        waiting = threading.Thread(target=enter)
        waiting.start()
        if frozen == "site":
            waited_for(lambda: bool(room._processes))
            room._processes[0].send_signal(signal.SIGSTOP)
        time.sleep(0.2)
        assert not rooms
        began_s = time.monotonic()
        room.stop()
        waiting.join(timeout=20.0)
        assert time.monotonic() - began_s < 10.0
        assert not waiting.is_alive()
        (entered,) = rooms
        assert entered.closed
        assert entered.server is not None
        assert entered.server.fork([], tmp_path) is None
        assert all(one.wait(5.0) is not None for one in room._processes)


# Limits ---------------------------------------------------------------------------------------

@pytest.mark.parametrize(("code", "limits", "said"), [
    ("import time; time.sleep(60)", Limits(time_s=0.5), "ran longer than 0.5 s"),
    ("kept = bytearray(200_000_000); import time; time.sleep(60)",
     Limits(memory_bytes=100_000_000), "took more than 100 MB"),
])
def test_a_watch_ends_what_passes_a_limit(code: str, limits: Limits, said: str) -> None:
    with python(code) as process:
        watch = Watch(limits)
        watch.begin(process)
        process.wait(timeout=20.0)
        watch.end()
    assert said in watch.reason
    assert "the limit of a workbook" in watch.reason


@given(some.lists(some.integers(0, 300), max_size=12))
@settings(max_examples=30, deadline=None)
def test_outputs_count_until_the_limit_and_then_the_process_is_ended(sizes: list[int]) -> None:
    ended = []

    class Process:
        pid = os.getpid()

        def kill(self) -> None:
            ended.append(True)

    watch = Watch(Limits(output_bytes=500))
    watch._process = Process()
    for size in sizes:
        watch.received({"content": {"data": {"text/plain": "x" * size, "n": [1, "y"]}}})
    assert bool(ended) == bool(watch.reason) == (sum(sizes) + len(sizes) > 500)
    assert len(ended) <= 1


# Full disks -----------------------------------------------------------------------------------

def test_lists_that_cannot_be_written_are_told_and_those_before_stay(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    index.write_index(tmp_path, [])
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}

    def full(*given: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", "/full/disk")

    monkeypatch.setattr(files.os, "replace", full)
    lists = index.Lists(tmp_path)
    lists.add("a-site", ())
    with pytest.raises(InputError, match="No space left on device"):
        index.told(lists)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_a_long_list_is_not_written_at_every_site(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[float] = []
    now = [0.0]
    monkeypatch.setattr(index.time, "monotonic", lambda: now[0])

    def write(self: index.Lists, failed: object, *, last: bool) -> None:
        now[0] += 1.0
        written.append(now[0])

    monkeypatch.setattr(index.Lists, "_write", write)
    lists = index.Lists(tmp_path)
    for _ in range(100):
        now[0] += 1.0
        lists.add("a-site", ())
    assert 8 <= len(written) <= 12, "a tenth of the time"


def test_a_temporary_folder_without_room_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))
    with pytest.raises(InputError, match="set TMPDIR"):
        KernelRoom(warm=False)


@pytest.mark.parametrize("begin", [
    lambda out: KernelRoom(warm=False).close(),
    lambda out: report_sites([], out),  # nothing is due: a run was killed once all was made
], ids=["kernels", "nothing to do"])
def test_temporary_folders_of_runs_that_are_over_are_swept(
    tmp_path: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch,
    begin: Callable[[Path], object],
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    for name, text in (("sc-gone", f"{platform.node()} 999999999 1"), ("sc-alive", this_run()),
                       ("sc-of-others", None)):  # fmt: skip
        (tmp_path / name).mkdir()
        if text is not None:
            (tmp_path / name / MARK).write_text(text)
    begin(tmp_path_factory.mktemp("reports") / "out")
    assert names_in(tmp_path) == {"sc-alive", "sc-of-others"}


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="has another rule")
def test_a_folder_for_caches_that_hangs_on_where_one_stands_is_passed_over(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """XDG Base Directory Specification 0.8: paths in the variables are absolute, or ignored."""
    monkeypatch.setenv("HOME", str(tmp_path))
    for value, base in (("caches", tmp_path / ".cache"), (str(tmp_path / "c"), tmp_path / "c")):
        monkeypatch.setenv("XDG_CACHE_HOME", value)
        assert files.user_cache("a") == base / "solarcalc" / "a"


def test_what_may_be_lost_has_a_place_without_a_home(monkeypatch: pytest.MonkeyPatch) -> None:
    def nobody() -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", staticmethod(nobody))
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    assert files.user_cache("shade").is_relative_to(tempfile.gettempdir())


# With kernels ---------------------------------------------------------------------------------

def workbook(folder: Path, source: str) -> Path:
    """A folder with a sample workbook that runs this code after its parameters."""
    folder.mkdir(exist_ok=True)
    read: Any = nbformat.read
    write: Any = nbformat.write
    book = read(Path(__file__).parent / "workbook_samples" / "second.ipynb", as_version=4)
    place = [number for number, cell in enumerate(book.cells)
             if "parameters" in cell.metadata.get("tags", [])]  # fmt: skip
    book.cells.insert(place[0] + 1, new_code_cell(source))
    write(book, folder / "odd.ipynb")
    return folder


def own_site(folder: Path, name: str) -> Path:
    path = folder / f"{name.lower()}.toml"
    path.write_text(DEMO.read_text(encoding="utf-8").replace(
        'name = "Ridge Road Clinic"', f"name = {json.dumps(name)}"), encoding="utf-8")
    os.utime(path, (1.0, 1.0))
    return path


@pytest.mark.slow
@pytest.mark.parametrize(("source", "limits", "said"), [
    ("import time\ntime.sleep(90)", Limits(time_s=25.0), "ran longer than 25 s"),
    ("while True: print('x' * 100_000)", Limits(output_bytes=2_000_000), "printed more than 2 MB"),
    ("kept = [bytearray(50_000_000) for _ in range(200)]\nimport time\ntime.sleep(90)",
     Limits(memory_bytes=1_500_000_000), "took more than 1500 MB"),
])
def test_a_workbook_past_a_limit_fails_its_site_alone(
    source: str, limits: Limits, said: str, tmp_path: Path
) -> None:
    one, two = own_site(tmp_path, "Odd"), own_site(tmp_path, "Plain")
    books = workbook(tmp_path / "books", "if site_file.endswith('odd.toml'):\n"
                     + "".join(f"    {line}\n" for line in source.splitlines()))
    began_s = time.monotonic()
    result = report_sites([one, two], tmp_path / "out", documents=["CA"], workbooks=books,
                          limits=limits, jobs=2)
    assert time.monotonic() - began_s < 120.0
    ((path, reason),) = result.failed
    assert path == one
    assert said in reason
    assert str(one) in reason
    assert [slug for slug, _ in result.done] == ["plain"]


@pytest.mark.slow
def test_a_killed_kernel_is_tried_once_more_and_then_told(tmp_path: Path) -> None:
    site = own_site(tmp_path, "Site")
    once = (f"import os, pathlib\nflag = pathlib.Path({str(tmp_path / 'flag')!r})\n"
            "if not flag.exists():\n    flag.write_text('')\n    os.kill(os.getpid(), 9)\n")
    books = workbook(tmp_path / "books", once)
    result = report_sites([site], tmp_path / "out", documents=["CA"], workbooks=books)
    assert result.failed == ()
    books = workbook(tmp_path / "books", "import os\nos.kill(os.getpid(), 9)")
    result = report_sites([site], tmp_path / "out", documents=["CA"], workbooks=books)
    ((_, reason),) = result.failed
    assert "tried twice" in reason
    assert (tmp_path / "out" / "site" / "index.html").is_file(), "the report before stays"


def children_of(pid: int) -> list[psutil.Process]:
    try:
        return psutil.Process(pid).children(recursive=True)
    except psutil.NoSuchProcess:
        return []


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_stopped_batch_is_finished_by_the_next_run(
    number: signal.Signals, tmp_path: Path
) -> None:
    """Stopped after a random while; the first sites are listed whatever became of the rest."""
    sites = [own_site(tmp_path, f"S{each}") for each in range(4)]
    out, temporary = tmp_path / "out", tmp_path / "t"
    temporary.mkdir()
    words = ["report", *map(str, sites), "--documents", "QU", "--out", str(out), "--jobs", "1"]
    code = ("import signal; signal.signal(signal.SIGINT, signal.default_int_handler);"
            f"signal.signal(signal.SIGHUP, signal.SIG_DFL); import sys;"
            f"from solarcalc.cli import main; sys.exit(main({words!r}))")
    with python(code, env={"TMPDIR": str(temporary)}) as batch:
        waited_for(lambda: (out / "s0" / "index.html").exists() or batch.poll() is not None)
        time.sleep(random.Random(int(number)).uniform(0.0, 2.0))
        children = children_of(batch.pid)
        batch.send_signal(number)
        batch.communicate(timeout=60)
    assert batch.returncode == (-9 if number == signal.SIGKILL else 128 + number)
    listed = (out / "index.html").read_text(encoding="utf-8")
    assert all((out / f"s{each}").is_dir() for each in range(4) if f"s{each}/index" in listed)
    assert "s0/index" in listed
    waited_for(lambda: not any(one.is_running() and one.status() != psutil.STATUS_ZOMBIE
                               for one in children if psutil.pid_exists(one.pid)))
    if number != signal.SIGKILL:
        assert names_in(temporary) == set()
        assert not any(name.startswith(".") for name in names_in(out) - {".made.json"})
    monkey = {**os.environ, "TMPDIR": str(temporary), "PYTHONPATH": str(ROOT)}
    done = subprocess.run([sys.executable, "-m", "solarcalc", *words], env=monkey, check=False,
                          capture_output=True, text=True)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "(unchanged)" in done.stdout
    assert names_in(temporary) == set()
    assert {name for name in names_in(out) if not name.endswith((".html", ".csv", ".parquet"))} == {
        "s0", "s1", "s2", "s3", ".made.json"}


def test_a_disk_without_any_room_is_told_before_anything_is_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: Path) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(folders, "mark", full)
    with pytest.raises(InputError, match="make room on the disk") as caught, only_run(tmp_path):
        pytest.fail("nothing can be made there")
    assert str(tmp_path) in str(caught.value)
    monkeypatch.undo()
    with only_run(tmp_path):
        assert names_in(tmp_path) == {MARK}


@pytest.mark.slow
def test_a_full_disk_is_told_with_its_path_and_the_next_run_goes_on(tmp_path: Path) -> None:
    """On a real small disk, where one may be mounted."""
    site, out = own_site(tmp_path, "Site"), tmp_path / "out"
    out.mkdir()
    mount = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=160k", "tmpfs", str(out)],
                           capture_output=True, check=False)  # fmt: skip
    if mount.returncode != 0:
        pytest.skip("no disk may be mounted here")
    try:
        with whole_folder(out / "other") as folder:
            (folder / "ballast").write_bytes(bytes(150_000))
        with pytest.raises(InputError, match=str(out)):
            report_sites([site], out, documents=["QU"])
        (out / "other" / "ballast").unlink()
        result = report_sites([site], out, documents=["QU"])
        ((_, reason),) = result.failed
        assert "No space left on device" in reason
        assert str(out) in reason
        assert "site" not in names_in(out)
        subprocess.run(["mount", "-o", "remount,size=64m", str(out)], check=True)
        assert report_sites([site], out, documents=["QU"]).failed == ()
    finally:
        subprocess.run(["umount", "-l", str(out)], check=False)
