"""Kernels for the workbooks: always this Python, in a folder of their own, all ended at the end.

A kernel is started in the ordinary way, or (on Linux) forked from a process that has the
libraries imported already; the second way is only faster.
"""

from __future__ import annotations

import itertools
import os
import shutil
import sys
import tempfile
import threading
from pathlib import Path
from types import TracebackType
from typing import Any

from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager
from jupyter_client.provisioning.local_provisioner import LocalProvisioner

from solarcalc.batch.warm import ForkedProcess, WarmServer

_LONGEST_SOCKET_PATH = 90
"""A socket's path may have 103 to 107 characters (unix(7) and BSD); some room is left."""


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

        class RoomKernelManager(_KernelManager):
            room = self

        self.manager_class = RoomKernelManager

    def __enter__(self) -> KernelRoom:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

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


class _KernelManager(AsyncKernelManager):
    """A manager that starts this Python, talks over files where it can, and keeps quiet."""

    room: KernelRoom

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.connection_file = self.room.connection_file()
        if os.name == "posix" and len(self.connection_file) < _LONGEST_SOCKET_PATH:
            self.transport = "ipc"
        self._kernel_spec = KernelSpec(
            argv=[sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"],
            display_name="Python 3", language="python",
        )
        self.provisioner = _Provisioner(
            kernel_id="", kernel_spec=self._kernel_spec, parent=self)

    async def _async_launch_kernel(self, kernel_cmd: list[str], **kwargs: Any) -> None:
        """Launch with the room's environment; messages of the process go to the room's log."""
        with self.room.log_path.open("ab") as log:
            await super()._async_launch_kernel(kernel_cmd, **{
                **kwargs, "env": dict(self.room.environment), "stdout": log, "stderr": log})
        if isinstance(self.provisioner, LocalProvisioner):
            self.room.add(self.provisioner.process)


class _Provisioner(LocalProvisioner):
    """Forks from the warm process where there is one, else starts a process as usual."""

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
        """Launch a kernel; `cmd` is that of an ordinary one."""
        manager: Any = self.parent
        server: WarmServer | None = manager.room.server
        forked: ForkedProcess | None = None
        if server is not None:
            arguments = cmd[cmd.index("ipykernel_launcher") + 1:]
            forked = server.fork(arguments, Path(kwargs.get("cwd") or os.getcwd()))
        if forked is None:
            return await super().launch_kernel(cmd, **kwargs)
        self.process = forked  # type: ignore[assignment]  # it has all that is asked of it
        self.pid = self.pgid = forked.pid
        self.cwd = kwargs.get("cwd")
        return self.connection_info


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
