"""Kernels for the workbooks: always this Python, forked from a warm process where that works.

A kernel is started in the ordinary way, or (on Linux) forked from a process that has the
libraries imported and the design of the site worked out already; the second way is only faster.
Kernels watch the process that they were forked from and end when it is gone.
"""

from __future__ import annotations

import contextlib
import copy
import itertools
import os
import shutil
import subprocess
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.running import MARK, is_left, mark
from solarcalc.batch.forks import ForkServer, WarmServer
from solarcalc.batch.limits import Limits


class KernelRoom:
    """Temporary folder, environment and list of the kernels of one batch.

    Parameters
    ----------
    warm : bool
        Fork kernels from a process with the libraries imported, where that is possible.
    limits : Limits, optional
        Of each workbook.

    Raises
    ------
    InputError
        Where no temporary folder can be made: the disk is full, or closed.
    """

    def __init__(self, *, warm: bool = True, limits: Limits | None = None) -> None:
        self.limits = limits or Limits()
        self.folder = _own_folder()
        self._numbers = itertools.count(1)
        self._lock = threading.Lock()
        self._processes: list[Any] = []
        self._closed = threading.Event()
        self.log_path = self.folder / "kernels.log"
        self.environment = _environment(self.folder)
        self._warm: WarmServer | None = None
        try:
            if warm and ForkServer.possible():
                self._warm = WarmServer(self.environment, self.log_path, self.folder)
        except BaseException:  # a signal, too
            self.close()
            raise
        self.server: ForkServer | None = self._warm

    def __enter__(self) -> KernelRoom:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    @contextlib.contextmanager
    def of_site(self, word: str) -> Iterator[KernelRoom]:
        """The same room with kernels that inherit the design of a site, where that is possible.

        Parameters
        ----------
        word : str
            What asks for the site, as `solarcalc.design.open_design` is asked.
        """
        made = self.server and self.server.site(
            word, self.working_folder(), self.limits, self.add)
        if not made:
            yield self
            return
        room = copy.copy(self)
        room.server = made
        try:
            yield room
        finally:
            made.close()

    def working_folder(self) -> Path:
        """A new empty folder for one kernel."""
        folder = self.folder / f"w{next(self._numbers)}"
        folder.mkdir()
        return folder

    def connection_file(self) -> str:
        """Path of a new connection file."""
        return str(self.folder / f"k{next(self._numbers)}.json")

    def add(self, process: Any) -> None:
        """Note a kernel's process, so that it can be ended; end it now if it comes too late."""
        with self._lock:
            self._processes.append(process)
            late = self._closed.is_set()
        if late:
            process.kill()

    @property
    def closed(self) -> bool:
        """Whether no kernel may be started any more."""
        return self._closed.is_set()

    def stop(self) -> None:
        """End every kernel at once, and what kernels are forked from; what runs in them fails."""
        with self._lock:
            self._closed.set()
            processes = tuple(self._processes)
        if self._warm is not None:
            self._warm.kill()
        for process in processes:
            if process.poll() is None:
                process.kill()

    def close(self) -> None:
        """End kernels and the warm process, and remove the folder."""
        self.stop()
        if self._warm is not None:
            self._warm.close()
        for process in self._processes:  # one that is just ending could still write
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(timeout=_END_LIMIT_S)
        shutil.rmtree(self.folder, ignore_errors=True)


_PREFIX = "sc-"
"""Short: the path of a socket may have some hundred characters."""
_END_LIMIT_S = 5.0


def clear_left_folders() -> None:
    """Remove the temporary folders of runs that were killed.

    Raises
    ------
    OSError
        Where there is no temporary folder.
    """
    for path in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*"):
        if (path / MARK).is_file() and is_left(path):
            shutil.rmtree(path, ignore_errors=True)


def _own_folder() -> Path:
    """A temporary folder of this run; those of runs that are over are removed."""
    try:
        clear_left_folders()
        folder = Path(tempfile.mkdtemp(prefix=_PREFIX))
        try:
            mark(folder)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
    except OSError as error:
        raise InputError(Fault(
            where=f"temporary folder: {tempfile.gettempdir()}", given=error.strerror or str(error),
            allowed="a folder that can be written to, with some room",
            remedy="make room there, or set TMPDIR to another folder")) from error  # fmt: skip
    return folder


def _environment(folder: Path) -> dict[str, str]:
    """Environment of a kernel: one thread each, no start-up files of the user, nothing left."""
    package_parent = Path(__file__).resolve().parents[2]
    path = os.environ.get("PYTHONPATH", "")
    if package_parent.name != "site-packages":
        path = os.pathsep.join(part for part in (str(package_parent), path) if part)
    threads = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    return {
        **os.environ, **dict.fromkeys(threads, "1"), "PYTHONPATH": path,
        **dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(folder)),
        "IPYTHONDIR": str(folder / "ipython"), "JUPYTER_NO_CONFIG": "1",
        "MPLBACKEND": "module://matplotlib_inline.backend_inline",
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
    }
