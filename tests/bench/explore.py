"""How soon the panel of each workbook follows, how long Run All takes, how large its kernel grows.

    python tests/bench/explore.py [WORKBOOK ...] [--moves 12] [--no-browser]

One JSON object a workbook. In the kernel (`kernel_...`): a control set to places far apart, the
design worked out anew each time; in the browser (`key_...`): an arrow key on the first slider, from
the event to the end of the frame that shows it, where a browser is there. Milliseconds: median and
worst. Run All in seconds, in a new kernel and again in the same one. Memory of the kernel in MB,
at rest after the first Run All and after all moves: resident, its share of what processes hold
together (PSS), its own alone (USS), what no file backs (anonymous); and the most that was ever
resident. The machine's load stands beside them: figures of a busy one are no targets.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import sys
import tempfile
import time
from functools import partial
from pathlib import Path
from typing import Any

import nbformat
import psutil
from nbclient import NotebookClient

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
import lab

from solarcalc.basis.files import workbooks_folder
from solarcalc.basis.kernel import REST_S

_PROBE = """
import json, statistics, time
from solarcalc.panels import panel as _panels
_made = []
for _kind in (_panels.Panel, _panels.Live):
    def _noted(self, *given, _old=_kind.__init__):
        _old(self, *given)
        _made.append(self)
    _kind.__init__ = _noted
"""
_MEASURE = """
_live = [getattr(one, "live", one) for one in _made if hasattr(one, "live")]
_live = (_live or _made)[0]
_slider = next(one for one in _live.controls.values() if hasattr(one, "step"))
_pictures, _numbers, _busy, _refused = [], [], [], 0
_places = round((_slider.max - _slider.min) / _slider.step)
for _number in range({moves}):
    _share = (0.23 + 0.382 * _number) % 1.0
    with _live.held():
        _slider.value = _slider.min + _slider.step * round(_places * _share)
    _began, _used = time.perf_counter(), time.process_time()
    _live.draw()
    _busy.append(1000.0 * (time.process_time() - _used))
    _pictures.append(1000.0 * (time.perf_counter() - _began))
    _refused += 'class="example' in _live.picture.value
    _live.show_all()
    _numbers.append(1000.0 * (time.perf_counter() - _began))
print(json.dumps(dict(kernel_picture_ms=[statistics.median(_pictures), max(_pictures)],
                      kernel_numbers_ms=[statistics.median(_numbers), max(_numbers)],
                      kernel_picture_cpu_ms=[statistics.median(_busy), max(_busy)],
                      moves=len(_pictures), refused=_refused, control=_slider.description)))
"""


def in_kernel(name: str, moves: int) -> dict[str, Any]:
    """Run All in a new kernel and again, moves in it, its memory."""
    notebook = nbformat.read(workbooks_folder() / f"{name}.ipynb", as_version=4)
    client = NotebookClient(notebook, timeout=300, kernel_name="python3")
    began = time.perf_counter()
    with client.setup_kernel():
        client.wait_for_reply(client.kc.kernel_info())
        new_s = _all(client, notebook, before=began)
        pid = client.km.provisioner.process.pid
        after_new = _memory_mb(pid)
        warm_s = _all(client, notebook)
        _run(client, _PROBE)
        for cell in notebook.cells:  # the panel again, now noted
            if "explore" in cell.metadata.get("tags", []) and cell.cell_type == "code":
                _run(client, cell.source, cell)
        found = json.loads(_run(client, _MEASURE.format(moves=moves)))
        after_moves = _memory_mb(pid)
    return {"run_all_new_s": round(new_s, 2), "run_all_warm_s": round(warm_s, 2),
            "kernel_mb": after_new, "kernel_mb_after_moves": after_moves, **{
                key: [round(one) for one in value] if isinstance(value, list) else value
                for key, value in found.items()}}  # fmt: skip


def _memory_mb(pid: int) -> dict[str, int]:
    """Of a kernel at rest [MB]; on other systems than Linux what is resident alone."""
    time.sleep(2.0 * REST_S)
    found = {"resident": psutil.Process(pid).memory_info().rss / 1e6}
    if sys.platform.startswith("linux"):
        held = {}
        for file in ("smaps_rollup", "status"):
            for line in Path(f"/proc/{pid}/{file}").read_text(encoding="utf-8").splitlines():
                word, _, rest = line.partition(":")
                if rest.endswith("kB"):
                    held[word] = int(rest.split()[0]) * 1024 / 1e6
        found |= {"pss": held["Pss"], "uss": held["Private_Clean"] + held["Private_Dirty"],
                  "anonymous": held["Anonymous"], "most": held["VmHWM"]}
    return {name: round(value) for name, value in found.items()}


def _all(client: NotebookClient, notebook: Any, before: float | None = None) -> float:
    began = before or time.perf_counter()
    for number, cell in enumerate(notebook.cells):
        if cell.cell_type == "code":
            _name(client, cell)
            client.execute_cell(cell, number)
    return time.perf_counter() - began


def _name(client: NotebookClient, cell: Any) -> None:
    """Tell the kernel the name of the cell, as JupyterLab does and this client does not."""
    session = client.kc.session
    session.msg = partial(type(session).msg, session, metadata={"cellId": cell.id})


def _run(client: NotebookClient, source: str, named: Any = None) -> str:
    if named is not None:
        _name(client, named)
    cell = client.execute_cell(nbformat.v4.new_code_cell(source), 0)
    return "".join(out.get("text", "") for out in cell.outputs if out.output_type == "stream")


def in_browser(page: Any, address: str, name: str, moves: int) -> dict[str, Any]:
    """An arrow key on the first slider, to and fro, each time until picture and numbers are new."""
    lab.open_workbook(page, address, name)
    new_s = lab.run_all(page)
    warm_s = lab.run_all(page)
    lab.watch(page)
    handle = lab.first_handle(page)
    pictures, numbers, unchanged = [], [], 0
    for number in range(moves):
        for _ in range(1 + number % 3):
            handle.press("ArrowLeft" if number % 4 == 3 else "ArrowRight")
        try:
            picture_ms, numbers_ms = lab.times(page, timeout_s=5.0)
        except lab.no_change():  # this move changes nothing that is drawn: an end, or the same day
            unchanged += 1
            continue
        pictures.append(picture_ms)
        numbers.append(numbers_ms)
    return {"browser_run_all_new_s": round(new_s, 2), "browser_run_all_warm_s": round(warm_s, 2),
            "keys_without_change": unchanged,
            "key_picture_ms": [round(statistics.median(pictures)), round(max(pictures))],
            "key_numbers_ms": [round(statistics.median(numbers)), round(max(numbers))]}


def main() -> None:
    known = sorted(path.stem for path in workbooks_folder().glob("*.ipynb"))
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("workbooks", nargs="*", default=known, metavar="WORKBOOK")
    parser.add_argument("--moves", type=int, default=12)
    parser.add_argument("--no-browser", action="store_true")
    asked = parser.parse_args()
    why = "not asked for" if asked.no_browser else lab.why_no_browser()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["SOLARCALC_STATE"] = folder
        found = {name: {"workbook": name, "load": os.getloadavg()[0]}
                 | in_kernel(name, asked.moves) for name in asked.workbooks}  # fmt: skip
    if why:
        for one in found.values():
            print(json.dumps(one | {"browser": why}), flush=True)
        return
    with (tempfile.TemporaryDirectory() as folder, tempfile.TemporaryDirectory() as state,
          lab.lab(Path(folder), Path(state)) as address, lab.browser() as page):
        for name, one in found.items():
            print(json.dumps(one | in_browser(page, address, name, asked.moves)), flush=True)


if __name__ == "__main__":
    main()
