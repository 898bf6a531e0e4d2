"""A notebook's kernel that holds no more memory than it uses."""

from __future__ import annotations

import asyncio
import ctypes
import gc
import mmap
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

from solarcalc.basis.lazily import load_lazily

REST_S = 1.0
"""After a cell so long without another the kernel gives back what is free [s]."""


def small_kernel(shell: Any) -> None:
    """Let a kernel load what it uses alone, and give back what is free whenever it rests.

    Nothing is collected until the cell that imports this has ended. What was imported by then is
    left out of every later collection: it is there to stay, and takes most of its time.

    Parameters
    ----------
    shell : IPython.core.interactiveshell.InteractiveShell
        Of the kernel.
    """
    load_lazily()
    rest = _Rest()
    shell.events.register("pre_run_cell", rest.over)
    shell.events.register("post_run_cell", rest.begins)

    def imported(_: Any) -> None:
        shell.events.unregister("post_run_cell", imported)
        gc.collect()
        gc.freeze()
        gc.enable()

    if gc.isenabled():
        gc.disable()
        shell.events.register("post_run_cell", imported)


class _Rest:
    """The time after a cell."""

    def __init__(self) -> None:
        self._end: asyncio.TimerHandle | None = None

    def begins(self, _: Any) -> None:
        """Wait for another cell."""
        self.over(None)
        with suppress(RuntimeError):  # a shell that waits in another way
            self._end = asyncio.get_running_loop().call_later(REST_S, give_back)

    def over(self, _: Any) -> None:
        """Another has come."""
        if self._end is not None:
            self._end.cancel()


def give_back() -> None:
    """Give the system what is free: garbage, holes between what is held, pages as their file is.

    Some 60 MB of libraries are looked through while they come in. What of them is wanted again
    comes from the system's own store of files, in some hundredths of a second for a design.
    Where the system or its C library has no way to ask for that, less is given back.
    """
    gc.collect()
    if not sys.platform.startswith("linux"):
        return
    library = ctypes.CDLL(None)
    with suppress(AttributeError):  # another library than glibc
        library.malloc_trim(ctypes.c_size_t(0))
    with suppress(OSError):
        for start, end in _unchanged():
            library.madvise(ctypes.c_void_p(start), ctypes.c_size_t(end - start),
                            ctypes.c_int(mmap.MADV_DONTNEED))  # fmt: skip


def _unchanged() -> list[tuple[int, int]]:
    """Addresses of code and constants of libraries, which their files hold as they are."""
    found: list[tuple[int, int]] = []
    ours = False
    for line in Path("/proc/self/smaps").read_text(encoding="utf-8").splitlines():
        word, *rest = line.split()
        if not word.endswith(":"):
            ours = "/" in rest[-1] and "w" not in rest[0]
            if ours:
                start, end = (int(address, 16) for address in word.split("-"))
                found.append((start, end))
        elif ours and word == "Anonymous:" and rest[0] != "0":
            found.pop()
    return found
