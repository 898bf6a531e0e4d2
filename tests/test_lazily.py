"""Imports of what is used alone: in a check, and in the kernel of a notebook."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

CHECKOUT = Path(__file__).resolve().parent.parent

WAITS = """
import sys
from solarcalc.basis.lazily import _Waiting, quick_imports
with quick_imports():
    import requests
    import requests as again
    waiting = [isinstance(sys.modules["requests"], _Waiting), "urllib3" in sys.modules]
    from pvlib.iotools.tmy import read_tmy3
    whole = isinstance(sys.modules["pvlib.iotools"], _Waiting)
    import scipy.spatial
    from scipy.spatial.distance import euclidean
print(waiting, whole, requests.codes.ok, again is requests, euclidean([0, 0], [3, 4]),
      "urllib3" in sys.modules, type(requests).__name__, read_tmy3.__module__)
"""


def test_a_library_waits_for_its_first_use_and_is_then_whole() -> None:
    found = subprocess.run([sys.executable, "-c", WAITS], capture_output=True, text=True,
                           check=True, env={**os.environ, "PYTHONPATH": str(CHECKOUT)})  # fmt: skip
    assert found.stdout.strip() == (
        "[True, False] True 200 True 5.0 True module pvlib.iotools.tmy")


ARROW = """
import sys
from solarcalc.basis.lazily import quick_imports
with quick_imports():
    import pandas
    inside = "pyarrow" in sys.modules
import pyarrow
print(inside, pandas.Series(["a", "b"]).str.upper().tolist(), pyarrow.array([1]).to_pylist())
"""


def test_tables_do_without_a_library_for_texts_which_others_can_import_later() -> None:
    pytest.importorskip("pyarrow", reason="the extra 'fleet' is missing")
    found = subprocess.run([sys.executable, "-c", ARROW], capture_output=True, text=True,
                           check=True, env={**os.environ, "PYTHONPATH": str(CHECKOUT)})  # fmt: skip
    assert found.stdout.strip() == "False ['A', 'B'] [1]"


SETUP = """
from solarcalc.panels.panel import panel
from solarcalc.supply import kernels
import gc, sys
during = gc.isenabled()
"""
AFTER = """
loaded = [name for name in ("pyarrow", "coverage", "urllib3", "h5py.h5") if name in sys.modules]
before = gc.get_freeze_count() > 100_000
from pvlib.iotools import get_pvgis_tmy
import requests, scipy.spatial.distance as distance
print(during, gc.isenabled(), before, loaded, requests.codes.ok, get_pvgis_tmy.__name__,
      distance.euclidean([0, 0], [3, 4]))
"""


def test_the_kernel_of_a_notebook_loads_what_it_uses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(CHECKOUT))
    cells = [nbformat.v4.new_code_cell(source) for source in (SETUP, AFTER)]  # type: ignore[no-untyped-call]
    notebook = nbformat.v4.new_notebook(cells=cells)  # type: ignore[no-untyped-call]
    NotebookClient(notebook, timeout=120, kernel_name="python3").execute()
    (said,) = notebook.cells[1].outputs
    assert said.text.strip() == "False True True [] 200 get_pvgis_tmy 5.0"
