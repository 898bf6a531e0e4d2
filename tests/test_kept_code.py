"""Kept machine code: a damaged or foreign file is made again, and never run."""

from __future__ import annotations

import importlib
import importlib.util
import itertools
import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as some

from solarcalc.batch import forks
from solarcalc.sweep import kept_code

SOURCE = """
from solarcalc.sweep.compiled import compiled

@compiled()
def doubled(x):
    return 2.0 * x

@compiled()
def squared(x):
    return x * x
"""
NUMBERS = itertools.count()
CHECKOUT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two loops whose machine code is kept beside them."""
    path = tmp_path_factory.mktemp("code") / "loops.py"
    path.write_text(SOURCE, encoding="utf-8")
    loaded(path)
    return path


def loaded(path: Path) -> ModuleType:
    """The loops as in a new process, called once."""
    spec = importlib.util.spec_from_file_location(f"loops_{next(NUMBERS)}", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.doubled(3.0) == 6.0
    assert module.squared(3.0) == 9.0
    return module


def hits(module: ModuleType) -> int:
    loops: tuple[Any, ...] = (module.doubled, module.squared)
    return sum(sum(loop.stats.cache_hits.values()) for loop in loops)


def kept(path: Path, ending: str) -> list[Path]:
    return sorted((path.parent / "__pycache__").glob(f"*{ending}"))


def test_code_is_taken_from_the_disk(source: Path) -> None:
    assert hits(loaded(source)) == 2
    assert len(kept(source, ".nbi")) == len(kept(source, ".nbc")) == 2


@pytest.mark.slow
@given(some.sampled_from([".nbi", ".nbc"]), some.integers(0, 1), some.data())
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_damage_of_any_kind_heals(
    source: Path, ending: str, number: int, data: some.DataObject
) -> None:
    path = kept(source, ending)[number]
    whole = path.read_bytes()
    how = data.draw(some.sampled_from(["cut", "zeros", "a byte", "words", "gone", "of another"]))
    if how == "gone":
        path.unlink()
    elif how == "of another":
        path.write_bytes(kept(source, ending)[1 - number].read_bytes())
    elif how == "a byte":
        at = int(data.draw(some.floats(0.0, 0.999)) * len(whole))
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1:])
    else:
        cut = whole[: int(data.draw(some.floats(0.0, 0.999)) * len(whole))]
        path.write_bytes({"cut": cut, "zeros": bytes(len(whole)), "words": b"words"}[how])
    assert hits(loaded(source)) == 1, "one is compiled anew"
    assert hits(loaded(source)) == 2, "and kept again"


def test_code_of_another_source_or_version_is_not_run(
    source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("numba.__version__", "0.0.1")
    assert hits(loaded(source)) == 0
    monkeypatch.undo()
    assert hits(loaded(source)) == 0, "written over"
    source.write_text(SOURCE + "# another\n", encoding="utf-8")
    assert hits(loaded(source)) == 0
    assert hits(loaded(source)) == 2


def test_a_folder_that_cannot_be_written_does_no_harm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from numba.core.caching import IndexDataCacheFile

    def closed(self: object, path: str) -> None:
        raise PermissionError(13, "Permission denied", path)

    monkeypatch.setattr(IndexDataCacheFile, "_open_for_write", closed)
    path = tmp_path / "loops.py"
    path.write_text(SOURCE, encoding="utf-8")
    assert hits(loaded(path)) == 0
    assert kept(path, ".nbc") == []


def test_parts_of_a_killed_process_are_cleared_after_a_day(tmp_path: Path) -> None:
    path = tmp_path / "loops.py"
    path.write_text(SOURCE, encoding="utf-8")
    folder = tmp_path / "__pycache__"
    folder.mkdir()
    old, new = folder / "loops.x-1.py311.1.nbc.tmp.a1", folder / "loops.x-1.py311.1.nbc.tmp.b2"
    for part in (old, new):
        part.write_bytes(b"half")
    os.utime(old, (1.0, 1.0))
    loaded(path)
    assert not old.exists()
    assert new.exists()
    shutil.rmtree(folder)


ALONE = """
import sys
import numpy as np
from solarcalc.sweep.compiled import compiled

@compiled()
def halves(x):
    if len(x) == 0:
        raise ValueError("nothing to halve")
    half = np.empty(len(x))
    for i in range(len(x)):
        half[i] = x[i] * 0.5
    return half, len(x)

@compiled()
def tripled(x):
    return 3.0 * halves(x)[0].sum()

found, count = halves(np.arange(4.0))
try:
    halves(np.empty(0))
except ValueError as error:
    print(error, found.tolist(), count, "numba.cpython.setobj" in sys.modules)
print(tripled(found))  # compiled where the other was not
"""


def test_kept_code_needs_no_compiler_and_one_can_follow(tmp_path: Path) -> None:
    path = tmp_path / "halved.py"
    found = []
    for count in (1, 2):
        path.write_text(ALONE, encoding="utf-8")
        if count == 2:  # what the compiler makes after the kept code is not kept
            for file in (tmp_path / "__pycache__").glob("halved.tripled*"):
                file.unlink()
        os.utime(path, (1e9, 1e9))
        found.append(subprocess.run([sys.executable, str(path)], capture_output=True, text=True,
                                    check=True, env={**os.environ, "PYTHONPATH": str(CHECKOUT)},
                                    ).stdout.splitlines())  # fmt: skip
    said = "nothing to halve [0.0, 0.5, 1.0, 1.5] 4 {}"
    assert found[0] == [said.format(True), "4.5"]
    assert found[1] == [said.format(False), "4.5"]


# What another process compiles


def test_what_is_compiled_beside_the_imports_is_there_by_its_name() -> None:
    for module, awaited in forks._COMPILED.items():
        assert callable(importlib.import_module(module).warm_up)
        try:
            importlib.import_module(awaited)
        except ModuleNotFoundError:
            owner, _, function = awaited.rpartition(".")
            assert callable(getattr(importlib.import_module(owner), function))


def test_code_that_another_process_compiles_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []

    def function() -> None:
        """Of this module."""

    for name in (__name__, f"{__name__}.{function.__qualname__}"):
        reader, done = os.pipe()
        monkeypatch.setattr(kept_code, "coming", {"other": -1, name: reader})
        waiting = threading.Thread(
            target=lambda: (kept_code._wait_for(function), told.append("waited")))  # fmt: skip
        waiting.start()
        waiting.join(0.1)
        assert told == []
        assert not kept_code.ended(reader, wait=False)
        os.close(done)
        waiting.join(10.0)
        assert told.pop() == "waited"
        assert kept_code.ended(reader, wait=False)
        os.close(reader)
