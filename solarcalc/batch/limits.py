"""How long a workbook may run, how much it may print and how much memory it may take.

A watch stands beside each running workbook; whoever passes a limit is ended, and its site told.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

LOOK_AGAIN_S = 0.2
"""Pause between looks at time and memory of the running workbooks."""
_MOST_BYTES = 4_000_000_000
_SHARE_OF_MEMORY = 0.5


def _memory_limit() -> int:
    import psutil  # type: ignore[import-untyped]  # has no types

    return int(min(_MOST_BYTES, _SHARE_OF_MEMORY * psutil.virtual_memory().total))


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Of one workbook; common practice, no source.

    Parameters
    ----------
    time_s : float
        From the start of its process [s]; the eight workbooks take 2 to 10 s each.
    output_bytes : int
        Of all that it prints and draws; the eight print at most some 5 MB.
    memory_bytes : int
        Resident in its process; half of the machine's, at most 4 GB, where it is not given.
    """

    time_s: float = 900.0
    output_bytes: int = 50_000_000
    memory_bytes: int = field(default_factory=_memory_limit)


class Watch:
    """Beside one run of a workbook.

    Parameters
    ----------
    limits : Limits
    """

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.reason = ""
        self._received = 0
        self._process: Any = None
        self._began_s = time.monotonic()
        self._ended = threading.Event()

    def begin(self, process: Any) -> None:
        """The process of the workbook has started."""
        self._process, self._began_s = process, time.monotonic()
        threading.Thread(target=self._look, daemon=True, name="workbook-watch").start()

    def end(self) -> None:
        """The workbook is done, in whatever way."""
        self._ended.set()

    def received(self, message: Mapping[str, Any]) -> None:
        """Count a message of the workbook's outputs."""
        self._received += _size(message.get("content", {}))
        if self._received > self.limits.output_bytes:
            self._stop(f"it printed more than {self.limits.output_bytes / 1e6:g} MB")

    def _look(self) -> None:
        import psutil

        try:
            process = psutil.Process(self._process.pid)
            while not self._ended.wait(LOOK_AGAIN_S):
                if time.monotonic() - self._began_s > self.limits.time_s:
                    self._stop(f"it ran longer than {self.limits.time_s:g} s")
                elif process.memory_info().rss > self.limits.memory_bytes:
                    self._stop(f"it took more than {self.limits.memory_bytes / 1e6:.0f} MB"
                               " of memory")
        except psutil.Error:
            return  # it has ended

    def _stop(self, reason: str) -> None:
        if not self._ended.is_set():
            self.reason = self.reason or f"stopped: {reason}, which is the limit of a workbook"
            self._ended.set()
            self._process.kill()


def _size(value: Any) -> int:
    """Characters in a message's texts."""
    if isinstance(value, str | bytes):
        return len(value)
    if isinstance(value, Mapping):
        return sum(_size(one) for one in value.values())
    if isinstance(value, list | tuple):
        return sum(_size(one) for one in value)
    return 0
