"""Imports of what is used alone."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

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
