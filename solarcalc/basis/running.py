"""Runs and what they leave: whose a folder is, whether that process lives, a stop by a signal."""

from __future__ import annotations

import contextlib
import os
import platform
import signal
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

MARK = ".run"
"""File of a folder that a run fills or holds: machine, process, and when that process began."""
_DAY_S = 86_400.0
"""What another machine, or nobody named, left is cleared after a day."""
_SAME_S = 2.0
"""Two readings of when a process began differ by rounding alone."""


def this_run() -> str:
    """The mark of this process: a number that is given out anew is told apart by its start."""
    import psutil  # type: ignore[import-untyped]  # has no types

    return f"{platform.node()} {os.getpid()} {psutil.Process().create_time():.0f}"


def mark(folder: Path) -> None:
    """Say in a folder that this run fills it."""
    (folder / MARK).write_text(this_run(), encoding="utf-8")


def words_of(text: str) -> str:
    """A mark as a person reads it."""
    machine, process, _ = _parts(text)
    return f"process {process} on {machine}" if process else "another process"


def has_ended(text: str) -> bool | None:
    """Whether the run of a mark is over; None where that cannot be told from here."""
    import psutil

    machine, process, begun_s = _parts(text)
    if machine != platform.node() or not process:
        return None
    try:
        began_s = psutil.Process(int(process)).create_time()
    except (psutil.NoSuchProcess, OverflowError, ValueError):
        return True
    except (psutil.Error, OSError):
        return False
    return begun_s is not None and abs(began_s - begun_s) > _SAME_S


def _parts(text: str) -> tuple[str, str, float | None]:
    words = text.split()
    numbers = [word for word in words[-2:] if word.isdecimal()]
    machine = " ".join(words[: len(words) - len(numbers)])
    begun = float(numbers[1]) if len(numbers) == 2 else None
    return machine, numbers[0] if numbers else "", begun


def is_left(folder: Path) -> bool:
    """Whether the run that made a folder is gone: its process, or a day where it cannot be told."""
    try:
        found = folder.stat()
        old = time.time() - max(found.st_mtime, found.st_ctime) > _DAY_S
        ended = has_ended((folder / MARK).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return folder.is_dir() and old
    except (OSError, ValueError):
        return False
    return old if ended is None else ended


class Stopped(KeyboardInterrupt):
    """A signal that asks to end, taken as Ctrl-C is.

    Parameters
    ----------
    number : int
        Of the signal.
    """

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__(signal.Signals(number).name)


@contextlib.contextmanager
def stopped_by_signals() -> Iterator[None]:
    """While it lasts, SIGTERM and SIGHUP end the work in good order; one ignored stays ignored."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(number: int, frame: FrameType | None) -> None:
        raise Stopped(number)

    before = {}
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            before[number] = signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
