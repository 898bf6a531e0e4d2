"""Whole demo by the batch, beside a plain serial loop over the same notebooks in the same run.

    python tests/bench/demo.py [--sites N]

The plain loop is what the libraries' own documentation shows: for every site and workbook
`papermill.execute_notebook` with an ordinary kernel, then nbconvert's HTMLExporter. Both use the
same workbooks (without their `explore` cells) and site files. Each side runs in a process of its
own that starts from nothing, so imports count on both sides, and both may keep compiled modules in
one folder that is filled beforehand. Memory is the sum of resident memory over the process and
all its descendants, looked at every 50 ms through psutil where it is installed; shared pages are
counted once for each process, so forked kernels look larger than they are; where there is no psutil
the largest single process is given, and the line says so.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

OURS = """
import sys
from pathlib import Path
from solarcalc.batch import report_sites
result = report_sites([Path(p) for p in sys.argv[2:]], Path(sys.argv[1]))
for path, reason in result.failed:
    print(path, reason, file=sys.stderr)
sys.exit(1 if result.failed else 0)
"""

PLAIN = """
import sys
from pathlib import Path
import nbformat
import papermill
from nbconvert import HTMLExporter
from solarcalc.basis.paths import workbooks_folder
out = Path(sys.argv[1])
for site in map(Path, sys.argv[2:]):
    (out / site.stem).mkdir(parents=True)
    for path in sorted(workbooks_folder().glob("*.ipynb")):
        notebook = nbformat.read(path, 4)
        notebook.cells = [cell for cell in notebook.cells
                          if "explore" not in cell.metadata.get("tags", [])]
        source, done = out / path.name, out / site.stem / path.name
        nbformat.write(notebook, source)
        papermill.execute_notebook(str(source), str(done), {"site_file": str(site)},
                                   kernel_name="python3", progress_bar=False)
        body, _ = HTMLExporter().from_filename(str(done))
        done.with_suffix(".html").write_text(body, encoding="utf-8")
"""


def main() -> None:
    """Run both sides and print one JSON object a line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, default=None, help="only the first so many")
    count = parser.parse_args().sites
    sites = sorted((ROOT / "data" / "sites").glob("*.toml"))[:count]
    with tempfile.TemporaryDirectory() as folder:
        cache = Path(folder) / "compiled"
        environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(cache), "PYTHONPATH": str(ROOT)}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        for code in (OURS, PLAIN):  # compile what will be imported
            _measure(code, Path(folder) / f"fill{len(code)}", sites[:1], environment)
        ours_s, ours_mb, how = _measure(OURS, Path(folder) / "ours", sites, environment)
        plain_s, plain_mb, _ = _measure(PLAIN, Path(folder) / "plain", sites, environment)
    _line("demo, batch", ours_s, "s", 0.5 * plain_s, "lower")
    _line("demo, plain serial loop", plain_s, "s", None, "lower")
    _line("demo, plain loop over batch", plain_s / ours_s, "times", 2.0, "higher")
    _line("seconds a report, batch", ours_s / len(sites), "s", None, "lower")
    _line("seconds a report, plain serial loop", plain_s / len(sites), "s", None, "lower")
    _line(f"peak memory, batch ({how})", ours_mb, "MB", 2000.0, "lower")
    _line(f"peak memory, plain serial loop ({how})", plain_mb, "MB", None, "lower")
    _line("sites", len(sites), "sites", None, "higher")
    _line("cores", os.cpu_count() or 1, "cores", None, "higher")


def _measure(
    code: str, out: Path, sites: list[Path], environment: dict[str, str]
) -> tuple[float, float, str]:
    """Wall time [s], peak memory [MB] and how that was measured."""
    out.mkdir()
    start = time.perf_counter()
    with subprocess.Popen(
        [sys.executable, "-c", code, str(out), *map(str, sites)], cwd=out.parent, env=environment,
        stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True,
    ) as process:
        peak = _PeakMemory(process.pid)
        peak.start()
        _, messages = process.communicate()
        seconds = time.perf_counter() - start
        peak.stop.set()
        peak.join()
    if process.returncode != 0:
        raise SystemExit(messages)
    return seconds, *peak.result()


class _PeakMemory(threading.Thread):
    def __init__(self, pid: int) -> None:
        super().__init__(daemon=True)
        self.pid, self.stop, self.bytes = pid, threading.Event(), 0

    def run(self) -> None:
        try:
            import psutil
        except ImportError:
            return
        while not self.stop.wait(0.05):
            total = 0
            try:
                root = psutil.Process(self.pid)
                for process in [root, *root.children(recursive=True)]:
                    try:
                        total += process.memory_info().rss
                    except psutil.Error:
                        continue
            except psutil.Error:
                continue
            self.bytes = max(self.bytes, total)

    def result(self) -> tuple[float, str]:
        if self.bytes:
            return self.bytes / 1e6, "resident, all processes"
        import resource

        largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
        return largest * 1024 / 1e6, "largest single process"


def _line(
    figure: str, value: float, unit: str, target: float | None, better: str
) -> None:
    print(json.dumps({
        "figure": figure, "value": round(value, 3), "unit": unit,
        "target": None if target is None else round(target, 3), "better": better}))


if __name__ == "__main__":
    main()
