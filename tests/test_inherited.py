"""What kernels inherit: the design of their own site as long as its files stand, nothing else."""

from __future__ import annotations

import ast
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook

from solarcalc.batch import inherited
from solarcalc.batch.forks import ForkServer
from solarcalc.batch.run import report_sites
from solarcalc.design import open_design
from solarcalc.stages import kept

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "data" / "sites" / "ridge-clinic.toml"


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Path]:
    """A site file of its own, worked out as for its kernels."""
    path = tmp_path / "own.toml"
    path.write_bytes(DEMO.read_bytes())
    os.utime(path, (1.0, 1.0))
    inherited.work_out(str(path))
    yield path
    kept._inherited.clear()
    inherited._opened.clear()


def test_a_design_is_inherited_until_a_file_of_it_changes(site: Path) -> None:
    first = open_design(str(site))
    assert first is open_design(site)
    assert "electrical" in first.kept
    assert inherited.design_alone(str(site)) == (first, inherited._opened)
    assert str(site) in inherited._opened
    site.write_text(site.read_text().replace("tilt_deg = 35.0", "tilt_deg = 36.0"))
    changed = open_design(str(site))
    assert changed is not first
    assert not changed.kept


def test_changes_of_an_inherited_design_are_those_of_its_file(site: Path) -> None:
    changes = {"battery": {"units_in_parallel": 3}}
    one = open_design(str(site), changes)
    kept._inherited.clear()
    other = open_design(str(site), changes)
    assert one.fingerprint == other.fingerprint
    assert one.year_energy == other.year_energy


STATE = """
import builtins, os, random, sys
import numpy as np
from matplotlib import pyplot, rcParams
from solarcalc.stages import kept
print([hasattr(builtins, "left"), os.environ.get("LEFT"), os.listdir("."), rcParams["font.size"],
       sorted(map(os.path.basename, kept._inherited)), pyplot.get_fignums(),
       float(np.random.random()), random.random()])
"""
LEAVE = """
builtins.left = os.environ["LEFT"] = "something"
open("left", "w").close()
os.chdir(os.pardir)
rcParams["font.size"] = 99.0
np.random.seed(1)
random.seed(1)
pyplot.figure()
sys.modules["solarcalc"].left = True
"""
RESULTS = """
from solarcalc import page
page.show_results(answer="It ends.", values={"end": 1})
"""


@pytest.mark.slow
def test_nothing_of_one_site_reaches_another(tmp_path: Path) -> None:
    """Variable, environment, folder, style, figure and random state that a workbook leaves."""
    if not ForkServer.possible():
        pytest.skip("kernels are processes of their own here")
    books = tmp_path / "books"
    books.mkdir()
    write: Any = nbformat.write
    for name in ("first", "second"):
        write(new_notebook(cells=[
            new_code_cell('site_file = ""', metadata={"tags": ["parameters"]}),
            new_code_cell(STATE), new_code_cell(LEAVE), new_code_cell(RESULTS),
        ]), books / f"{name}.ipynb")  # fmt: skip
    sites = [tmp_path / f"{name}.toml" for name in ("a", "b")]
    for path in sites:
        path.write_text(DEMO.read_text(encoding="utf-8").replace(
            "Ridge Road Clinic", f"Site {path.stem}"), encoding="utf-8")  # fmt: skip
    done = report_sites(sites, tmp_path / "out", documents=["CA"], jobs=1, workbooks=books)
    assert not done.failed
    read: Any = nbformat.read
    states = []
    for path in sites:
        for name in ("first", "second"):
            book = read(tmp_path / "out" / f"site-{path.stem}" / "workbooks" / f"{name}.ipynb", 4)
            text = next(one.text for cell in book.cells for one in cell.get("outputs", []))
            *state, one, other = ast.literal_eval(text)
            states.append((one, other))
            own = [path.name, f"{path.name}\nalone"]
            assert state == [False, None, [], 10.0, own, []]
    assert len({one for one, _ in states}) == len({other for _, other in states}) == len(states)
