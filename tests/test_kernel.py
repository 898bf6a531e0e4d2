"""The kernel of a notebook loads what it uses, and gives back what is free when it rests."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

CHECKOUT = Path(__file__).resolve().parent.parent

SETUP = """
from solarcalc.panels.panel import panel
from solarcalc.supply import kernels
import gc, sys
import solarcalc.basis.kernel as kernel
during = gc.isenabled()
kernel.REST_S = 3600.0  # no rest before the cell that measures
"""
HELD = '''
loaded = [name for name in ("pyarrow", "coverage", "urllib3", "h5py.h5") if name in sys.modules]
frozen = gc.get_freeze_count() > 100_000
def memory_kb():
    """Of files alone, as they are."""
    found, ours = [], False
    with open("/proc/self/smaps") as lines:
        for line in lines:
            words = line.split()
            if "-" in words[0]:
                ours = "/" in words[-1] and "w" not in words[1]
            if ours and line.startswith("Rss:"):
                found.append(int(line.split()[1]))
    return sum(found)
class Held:
    pass
import weakref
held = Held()
held.itself = held
held, alive = None, weakref.ref(held)
gc.disable()
kernel.REST_S = 0.1
before = memory_kb() if sys.platform == "linux" else 0
'''
RESTED = """
from pvlib.iotools import get_pvgis_tmy
import json, requests, scipy.spatial.distance as distance
after = memory_kb() if sys.platform == "linux" else 0
import numba
again = numba.njit(lambda x: x + 1)(1)  # the compiler is still there
print(json.dumps({"during": during, "frozen": frozen, "loaded": loaded, "gone": alive() is None,
                  "again": again, "distance": distance.euclidean([0, 0], [3, 4]),
                  "ok": requests.codes.ok, "name": get_pvgis_tmy.__name__,
                  "before": before, "after": after}))
"""


def test_a_kernel_loads_what_it_uses_and_gives_back_when_it_rests(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PYTHONPATH", str(CHECKOUT))
    sources = [SETUP, HELD, RESTED]
    cells = [nbformat.v4.new_code_cell(source) for source in sources]  # type: ignore[no-untyped-call]
    notebook = nbformat.v4.new_notebook(cells=cells)  # type: ignore[no-untyped-call]
    client = NotebookClient(notebook, timeout=120, kernel_name="python3")
    with client.setup_kernel():
        for number, cell in enumerate(notebook.cells):
            if cell.source == RESTED:
                time.sleep(2.0)
            client.execute_cell(cell, number)
    (said,) = notebook.cells[-1].outputs
    found = json.loads(said.text)
    before, after = found.pop("before"), found.pop("after")
    assert found == {"during": False, "frozen": True, "loaded": [], "gone": True, "again": 2,
                     "distance": 5.0, "ok": 200, "name": "get_pvgis_tmy"}  # fmt: skip
    if sys.platform == "linux":
        assert before > 20_000
        assert after < before / 2
