"""A batch of sites: processor seconds and seconds a site, cold, unchanged, many, killed.

    python tests/bench/batch.py [pair] [cold] [unchanged] [many] [kills]
                                [--sites N] [--kills N] [--documents CODES]

Without names all five run, in that order; one JSON object a line. Each begins a process of its own
as the office does, ``solarcalc report ... --json``, and looks at it and all its descendants every
50 ms through psutil: processor time of user and system, and memory that no other process shares.

pair       --sites sites with all documents due, and beside them the same sites by a plain serial
           loop, what the libraries' own documentation shows: for every site and workbook
           `papermill.execute_notebook` with an ordinary kernel, then nbconvert's HTMLExporter. Its
           workbooks are frozen copies (`frozen_workbooks.zip`, of 27 November 2026), so that ours
           may become cheaper while the loop stays what it is. Left out of them are the panels, and
           the exercises, whose calls are gone.
cold       the first report of a machine: no byte code, machine code, shade table or fonts kept;
           and of one where the installation has left byte code.
unchanged  two hundred sites of which nothing has changed.
many       --sites sites with --documents, and what each tenth takes and holds.
kills      --kills times a batch of all documents is killed by SIGKILL, its parent or one of its
           kernels in turn, at a moment of it that is drawn; the next run must finish it. What is
           left behind is counted and named.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import psutil

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data" / "sites" / "coral-pharmacy.toml"
NAME = 'name = "Coral Street Pharmacy"'
UNCHANGED = 200
LOOK_S = 0.05

PLAIN = """
import sys, zipfile
from pathlib import Path
import nbformat, papermill
from nbconvert import HTMLExporter
out = Path(sys.argv[1])
books = out / "books"
zipfile.ZipFile(sys.argv[2]).extractall(books)
for site in map(Path, sys.argv[3:]):
    (out / site.stem).mkdir(parents=True)
    for path in sorted(books.glob("*.ipynb")):
        notebook = nbformat.read(path, 4)
        notebook.cells = [cell for cell in notebook.cells
                          if not {"explore", "exercise"} & {*cell.metadata.get("tags", [])}]
        nbformat.write(notebook, path)
        done = out / site.stem / path.name
        papermill.execute_notebook(str(path), str(done), {"site_file": str(site)},
                                   kernel_name="python3", progress_bar=False)
        body, _ = HTMLExporter().from_filename(str(done))
        done.with_suffix(".html").write_text(body, encoding="utf-8")
"""


class Meter(threading.Thread):
    """Processor time [s] and own memory [MB] of a process with all its descendants."""

    def __init__(self, pid: int) -> None:
        super().__init__(daemon=True)
        self.root, self.stop = psutil.Process(pid), threading.Event()
        self.cpu_s: dict[tuple[int, float], float] = {}
        self.peak_mb = self.now_mb = 0.0

    def run(self) -> None:
        while not self.stop.wait(LOOK_S):
            with suppress(psutil.Error):
                self.look()

    def look(self) -> None:
        own = 0.0
        for process in [self.root, *self.root.children(recursive=True)]:
            with suppress(psutil.Error):
                times = process.cpu_times()
                self.cpu_s[process.pid, process.create_time()] = times.user + times.system
                own += process.memory_full_info().uss
        self.now_mb = own / 1e6
        self.peak_mb = max(self.peak_mb, self.now_mb)

    @property
    def processor_s(self) -> float:
        return sum(self.cpu_s.values())


@contextmanager
def metered(words: Sequence[str], env: Mapping[str, str]) -> Iterator[tuple[Any, Meter]]:
    with subprocess.Popen([sys.executable, *words], cwd=ROOT, env=dict(env), text=True,
                          stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        meter = Meter(process.pid)
        meter.start()
        try:
            yield process, meter
        finally:
            meter.stop.set()
            meter.join()


def timed(words: Sequence[str], env: Mapping[str, str]) -> tuple[float, float, float]:
    """Seconds on the clock, processor seconds, peak memory [MB]."""
    began_s = time.perf_counter()
    with metered(words, env) as (process, meter):
        _, said = process.communicate()
    if process.returncode != 0:
        raise SystemExit(said[-3000:])
    return time.perf_counter() - began_s, meter.processor_s, meter.peak_mb


def report(sites: Sequence[Path], out: Path, *more: str) -> list[str]:
    return ["-m", "solarcalc", "report", *map(str, sites), "--out", str(out), "--json", *more]


def copies(folder: Path, count: int) -> list[Path]:
    """Sites of their own, the tilt of the modules a little other in each."""
    text, found = DEMO.read_text(encoding="utf-8"), []
    for number in range(count):
        path = folder / f"site-{number:04d}.toml"
        path.write_text(text.replace(NAME, f'name = "Site {number:04d}"'), encoding="utf-8")
        os.utime(path, (1.0, 1.0))
        found.append(path)
    return found


def line(figure: str, value: float, unit: str, target: float | None, better: str) -> None:
    print(json.dumps({"figure": figure, "value": round(value, 3), "unit": unit, "target": target,
                      "better": better}), flush=True)


def pair(folder: Path, env: Mapping[str, str], options: argparse.Namespace) -> None:
    sites = copies(folder, options.sites)
    timed(report(sites[:1], folder / "warm", "--documents", "DS"), env)  # compiled and kept
    wall, cpu, peak = timed(report(sites, folder / "ours"), env)
    (folder / "plain").mkdir()
    frozen = str(Path(__file__).with_name("frozen_workbooks.zip"))
    plain_wall, plain_cpu, _ = timed(["-c", PLAIN, str(folder / "plain"), frozen,
                                      *map(str, sites)], env)  # fmt: skip
    count = len(sites)
    line("processor seconds a site, all documents due", cpu / count, "s", 6.0, "lower")
    line("seconds a site, all documents due", wall / count, "s", 3.5, "lower")
    line("peak memory that no process shares", peak, "MB", None, "lower")
    line("processor seconds a site, plain loop over frozen workbooks", plain_cpu / count, "s",
         None, "lower")
    line("seconds a site, plain loop over frozen workbooks", plain_wall / count, "s", None, "lower")
    line("plain loop over batch, on the clock", plain_wall / wall, "times", None, "higher")
    line("plain loop over batch, processor seconds", plain_cpu / cpu, "times", None, "higher")
    line("sites", count, "sites", None, "higher")


def cold(folder: Path, env: Mapping[str, str], options: argparse.Namespace) -> None:
    empty = {**env, **{name: str(folder / name.lower()) for name in (
        "PYTHONPYCACHEPREFIX", "NUMBA_CACHE_DIR", "XDG_CACHE_HOME", "MPLCONFIGDIR")}}
    sites = copies(folder, 1)
    wall, cpu, _ = timed(report(sites, folder / "cold"), empty)
    line("first report of a cold machine", wall, "s", 15.0, "lower")
    line("first report of a cold machine, processor seconds", cpu, "s", None, "lower")
    for name in ("NUMBA_CACHE_DIR", "XDG_CACHE_HOME", "MPLCONFIGDIR"):
        shutil.rmtree(empty[name], ignore_errors=True)
    wall, _, _ = timed(report(sites, folder / "installed"), empty)
    line("the same with byte code, as pip leaves it", wall, "s", 15.0, "lower")


def unchanged(folder: Path, env: Mapping[str, str], options: argparse.Namespace) -> None:
    from solarcalc.batch.unchanged import RECORD
    from solarcalc.checking.kept import digest_of, read_entry, write_entry

    sites, out = copies(folder, UNCHANGED), folder / "out"
    timed(report(sites[:1], out, "--documents", "DS,DR,QU"), env)
    made = read_entry(out / "site-0000" / RECORD)
    for number, site in enumerate(sites[1:], start=1):
        there = out / f"site-{number:04d}"
        shutil.copytree(out / "site-0000", there)
        own = {name.replace(str(sites[0]), str(site)): digest_of(name.replace(
            str(sites[0]), str(site))) for name in made["inputs"]}  # fmt: skip
        marks = {name: [(there / name).stat().st_size, (there / name).stat().st_mtime_ns, mark[2]]
                 for name, mark in made["files"].items()}  # fmt: skip
        write_entry(there / RECORD, {**made, "site_file": str(site), "inputs": own, "files": marks})
    words = report(sites, out, "--documents", "DS,DR,QU")
    timed(words, env)  # the lists are written for the new folders
    walls = [timed(words, env)[:2] for _ in range(3)]
    with metered(words, env) as (process, _):
        last = json.loads(process.communicate()[0].splitlines()[-1])
    assert last["unchanged"] == UNCHANGED, last
    line(f"{UNCHANGED} unchanged sites", min(wall for wall, _ in walls), "s", 2.0, "lower")
    line(f"{UNCHANGED} unchanged sites, processor seconds", min(cpu for _, cpu in walls), "s",
         None, "lower")  # fmt: skip


def many(folder: Path, env: Mapping[str, str], options: argparse.Namespace) -> None:
    sites = copies(folder, options.sites)
    tenth = max(len(sites) // 10, 1)
    began_s, made, cpu_s = time.perf_counter(), 0, 0.0
    with metered(report(sites, folder / "out", "--documents", options.documents),
                 env) as (process, meter):
        for text in process.stdout:
            if json.loads(text).get("state") != "made":
                continue
            made += 1
            if made % tenth == 0:
                parent_mb = psutil.Process(process.pid).memory_info().rss / 1e6
                line(f"to site {made}: seconds a site", (time.perf_counter() - began_s) / tenth,
                     "s", None, "lower")
                line(f"to site {made}: processor seconds a site",
                     (meter.processor_s - cpu_s) / tenth, "s", None, "lower")
                line(f"at site {made}: resident memory of the parent", parent_mb, "MB", None,
                     "lower")
                line(f"at site {made}: memory that no process shares, all", meter.now_mb, "MB",
                     None, "lower")
                began_s, cpu_s = time.perf_counter(), meter.processor_s
        process.wait()
    line("sites made", made, "sites", float(len(sites)), "higher")


def kills(folder: Path, env: Mapping[str, str], options: argparse.Namespace) -> None:
    temporary = folder / "temporary"
    temporary.mkdir()
    env, drawn = {**env, "TMPDIR": str(temporary)}, random.Random(20261127)
    sites, survived, hits, left = copies(folder, 2), 0, 0, set()
    words = report(sites, folder / "out", "--jobs", "2")
    timed(words, env)  # compiled and kept
    whole_s, _, _ = timed([*words, "--fresh"], env)
    for number in range(options.kills):
        shutil.rmtree(folder / "out", ignore_errors=True)
        status, hit = _killed(words, env, drawn.uniform(0.05, 0.95) * whole_s,
                              drawn, parent=number % 2 == 0)  # fmt: skip
        hits += hit
        if status != 0:  # a killed parent; a killed kernel was tried once more
            with metered(words, env) as (process, _):
                process.communicate()
                status = process.returncode
        whole = all((folder / "out" / f"site-{each:04d}" / "index.html").is_file()
                    for each in range(len(sites)))
        survived += status == 0 and whole
        left |= {path.name for path in temporary.iterdir()}
        left |= {path.name for path in (folder / "out").iterdir()
                 if ".partial-" in path.name or path.name == ".run"}  # fmt: skip
    line("kills that met a running process", hits, f"of {options.kills}", None, "higher")
    line("kills survived", survived, f"of {options.kills}", float(options.kills), "higher")
    line("files and folders left behind", len(left), ", ".join(sorted(left)), 0.0, "lower")


def _killed(words: Sequence[str], env: Mapping[str, str], after_s: float, drawn: random.Random, *,
            parent: bool) -> tuple[int, bool]:  # fmt: skip
    with metered(words, env) as (process, _):
        time.sleep(after_s)
        hit = False
        with suppress(psutil.Error):
            one = psutil.Process(process.pid)
            kernels = [child for child in one.children(recursive=True)
                       if child.ppid() != process.pid]  # fmt: skip
            (one if parent or not kernels else drawn.choice(kernels)).send_signal(signal.SIGKILL)
            hit = True
        process.communicate()
        return int(process.returncode), hit


PARTS = {"pair": pair, "cold": cold, "unchanged": unchanged, "many": many, "kills": kills}


def main() -> None:
    """Run the parts asked for."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("parts", nargs="*", metavar="PART", help=", ".join(PARTS))
    parser.add_argument("--sites", type=int, default=2)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--documents", default="QU", metavar="CODES")
    options = parser.parse_args()
    for name in options.parts or PARTS:
        with tempfile.TemporaryDirectory(prefix="bench-") as place:
            env = {**os.environ, "PYTHONPATH": str(ROOT), "XDG_CACHE_HOME": f"{place}/cache"}
            env.pop("PYTHONDONTWRITEBYTECODE", None)
            PARTS[name](Path(place), env, options)


if __name__ == "__main__":
    main()
