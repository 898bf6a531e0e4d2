"""How the sweep's inner loops are compiled, and what holds for processes that fork."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import Any, TypeVar, cast

import numba

from solarcalc.sweep.kept_code import CheckedCode

Function = TypeVar("Function", bound=Callable[..., object])

LOOSE = {"contract", "reassoc", "nsz", "arcp", "ninf", "nnan"}
"""Freedoms of a loop whose sums may be taken in another order; inputs are checked to be finite."""
IN_ORDER = {"contract", "nsz", "arcp", "ninf", "nnan"}
"""The same but for sums, which stay in order: that keeps a loop of look-ups out of vector
registers, where gathering its table would take three times as long (measured)."""
TO_THE_BIT = {"nsz", "ninf", "nnan"}
"""Freedoms that change no figure: the same sums in two places give the same in both."""


INNER = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}
"""Of a part that compiled loops alone call: what Python would call it by takes a tenth of a cold
start to make."""


def compiled(*, in_order: bool = False, inner: bool = False) -> Callable[[Function], Function]:
    """Decorator that compiles a function for numbers alone; an `inner` one for others to call.

    Numba's own threads are not used: the loops release the interpreter's lock and plain threads
    carry them (`solarcalc.sweep.fields`), so that importing this starts no thread, a process may
    fork before and after, and nothing depends on which threading library is installed.

    The machine code is kept beside the source, or in the user's cache folder, or where
    ``NUMBA_CACHE_DIR`` says, each file with a checksum (`solarcalc.sweep.kept_code`). Where none
    can be written it is compiled anew in each process.
    """

    def decorate(function: Function) -> Function:
        choice: dict[str, Any] = {
            "nogil": True,
            "fastmath": IN_ORDER if in_order else LOOSE,
            "error_model": "numpy",
            **(INNER if inner else {}),
        }
        made: Any = numba.njit(**choice)(function)
        with suppress(RuntimeError):  # no folder that can be written
            made._cache = CheckedCode(function)
        return cast(Function, made)

    return decorate


def in_threads(work: Callable[[int], None], starts: range, threads: int | None) -> None:
    """Do a piece of work from each start, in plain threads where there is more than one to use.

    Parameters
    ----------
    work : callable
        Given a start; it releases the interpreter's lock and writes to its own places.
    starts : range
    threads : int or None
        Processors to use; `thread_count` of them where left out.
    """
    workers = min(threads or thread_count(), len(starts))
    if workers <= 1:
        for start in starts:
            work(start)
    else:
        with ThreadPoolExecutor(workers) as pool:
            list(pool.map(work, starts))


def thread_count() -> int:
    """Threads a sweep uses when it is not told: the processors this process may use.

    ``NUMBA_NUM_THREADS`` lowers it.
    """
    config: Any = numba.config
    return int(config.NUMBA_NUM_THREADS)
