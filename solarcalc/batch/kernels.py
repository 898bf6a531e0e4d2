"""Kernels for the workbooks: always this Python, in a folder of their own, all ended at the end.

A kernel is started in the ordinary way, or (on Linux) forked from a process that has the
libraries imported already; the second way is only faster. Nothing heavy is imported here, so
that the warm process can start importing before this one does.
"""

from __future__ import annotations

import itertools
import os
import shutil
import tempfile
import threading
from pathlib import Path
from types import TracebackType
from typing import Any

from solarcalc.batch.warm import WarmServer


class KernelRoom:
    """Temporary folder, environment and list of the kernels of one batch.

    Parameters
    ----------
    warm : bool
        Fork kernels from a process with the libraries imported, where that is possible.
    """

    def __init__(self, *, warm: bool = True) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="sc-"))
        self._numbers = itertools.count(1)
        self._lock = threading.Lock()
        self._processes: list[Any] = []
        self._closed = False
        self.log_path = self.folder / "kernels.log"
        self.environment = _environment(self.folder)
        self.server: WarmServer | None = None
        if warm and WarmServer.possible():
            self.server = WarmServer(self.environment, self.log_path, self.folder)

    def __enter__(self) -> KernelRoom:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def manager_class(self) -> type:
        """Class of the manager that starts kernels here, as the notebook client wants it."""
        from solarcalc.batch.manager import RoomKernelManager

        return type("KernelManagerOfThisRoom", (RoomKernelManager,), {"room": self})

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
            late = self._closed
        if late:
            process.kill()

    def stop(self) -> None:
        """End every kernel at once; workbooks that run in them fail."""
        with self._lock:
            self._closed = True
            processes = tuple(self._processes)
        for process in processes:
            if process.poll() is None:
                process.kill()

    def close(self) -> None:
        """End kernels and the warm process, and remove the folder."""
        self.stop()
        if self.server is not None:
            self.server.close()
        shutil.rmtree(self.folder, ignore_errors=True)


def _environment(folder: Path) -> dict[str, str]:
    """Environment of a kernel: one thread each, no start-up files of the user."""
    package_parent = Path(__file__).resolve().parents[2]
    path = os.environ.get("PYTHONPATH", "")
    if package_parent.name != "site-packages":
        path = os.pathsep.join(part for part in (str(package_parent), path) if part)
    threads = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    return {
        **os.environ, **dict.fromkeys(threads, "1"), "PYTHONPATH": path,
        "IPYTHONDIR": str(folder / "ipython"), "JUPYTER_NO_CONFIG": "1",
        "MPLBACKEND": "module://matplotlib_inline.backend_inline",
        "PYDEVD_DISABLE_FILE_VALIDATION": "1",
    }
