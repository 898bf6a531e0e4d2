"""Machine code of the compiled loops, kept on the disk and found out where it is damaged.

numba trusts the files it keeps: one that was cut short raises wherever a loop is first called, and
one with a wrong byte may end the process. Here each has a checksum over its content, its name, the
source and numba's version; what does not fit is as good as none, is compiled anew and written over.

Before it looks for a kept file numba makes its compiler ready: rules for every function it knows,
and a library of its own that it compiles each time. Kept code needs the addresses of that library
alone. To leave the rest out spares a process 0.2 s and some 40 MB, of which 12 are its own.
"""

from __future__ import annotations

import os
import pickle
import select
import time
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

import numba
from llvmlite import binding  # type: ignore[import-untyped]  # has no types
from numba.core.caching import FunctionCache, IndexDataCacheFile
from numba.core.runtime import _nrt_python  # type: ignore[attr-defined]  # compiled

from solarcalc.basis.sealed import sealed, unsealed

_DAY_S = 86_400.0
_TRIED_WITH = ((0, 68),)
"""Versions of numba whose kept code was loaded without its compiler; with others it is made ready,
as what kept code needs is nowhere promised."""


class _CheckedFile(IndexDataCacheFile):
    """Index and data of one function, each with a checksum."""

    def _load_index(self) -> dict[Any, str]:
        try:
            content = Path(self._index_path).read_bytes()
            found: dict[Any, str] = pickle.loads(unsealed(content, self._named(self._index_name)))
        except Exception:  # whatever a damaged one does: it is made again
            return {}
        return found

    def _save_index(self, overloads: dict[Any, str]) -> None:
        self._write(self._index_name, self._dump(overloads))

    def _load_data(self, name: str) -> Any:
        try:
            return pickle.loads(unsealed(Path(self._data_path(name)).read_bytes(),
                                         self._named(name)))  # fmt: skip
        except Exception as error:
            raise OSError(f"{name}: damaged") from error  # which counts as not there

    def _save_data(self, name: str, data: Any) -> None:
        self._write(name, self._dump(data))
        _clear_parts(Path(self._cache_path))

    def _write(self, name: str, raw: bytes) -> None:
        with self._open_for_write(os.path.join(self._cache_path, name)) as file:
            file.write(sealed(raw, self._named(name)))

    def _named(self, name: str) -> str:
        return f"{name} {self._source_stamp} {self._version}"


class CheckedCode(FunctionCache):
    """Kept machine code of one function.

    Parameters
    ----------
    function : callable
        As it was before it was compiled.

    Raises
    ------
    RuntimeError
        When no folder can be written to.
    """

    def __init__(self, function: Callable[..., object]) -> None:
        super().__init__(function)
        self._function = function
        self._cache_file = _CheckedFile(
            cache_path=self._cache_path, filename_base=f"{self._impl.filename_base}.checked",
            source_stamp=self._impl.locator.get_source_stamp())  # fmt: skip

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """The kept code, or None where there is none that can be used."""
        found = None
        _wait_for(self._function)
        with suppress(Exception):  # of another build, or damaged: the checksum cannot see all
            if numba.version_info.short in _TRIED_WITH:
                _name_helpers()
                found = self._load_overload(sig, target_context)
        with suppress(Exception):
            return found or super().load_overload(sig, target_context)
        return None

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep the code; a full disk or a closed folder does no harm."""
        with suppress(OSError):
            super().save_overload(sig, data)


coming: dict[str, int] = {}
"""Functions, or modules of them, that another process compiles now, and a pipe that then ends."""


def ended(pipe: int, *, wait: bool) -> bool:
    """Whether the other end of a pipe is closed, or will be before this answers."""
    watch = select.poll()
    watch.register(pipe, select.POLLIN)
    return bool(watch.poll(None if wait else 0))


def _wait_for(function: Callable[..., object]) -> None:
    """Wait for the process that compiles a function: to do it here too would take no less."""
    for name in (function.__module__, f"{function.__module__}.{function.__qualname__}"):
        if name in coming:
            ended(coming[name], wait=True)


@cache
def _name_helpers() -> None:
    """Tell the linker where the functions are that kept code calls, as numba's start does."""
    for name, address in _nrt_python.c_helpers.items():
        binding.add_symbol(name if name.startswith("_") else f"NRT_{name}", address)


def _clear_parts(folder: Path) -> None:
    """Remove what a process that was killed while it wrote has left."""
    for part in folder.glob("*.nb?.tmp.*"):
        with suppress(OSError):
            if time.time() - part.stat().st_mtime > _DAY_S:
                part.unlink()
