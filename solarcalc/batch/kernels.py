"""Kernels for the workbooks: always this Python, forked from a warm process where that works.

A kernel is started in the ordinary way, or (on Linux) forked from a process that has the
libraries imported already; the second way is only faster. Nothing heavy is imported here, so
that the warm process can start importing before this one does.

The parent writes one JSON line a kernel to its standard input and reads back a process number.
It has one thread and no sockets when it forks; where that does not hold it ends itself, and
ordinary kernels are used. Kernels watch it and end when it is gone.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import io
import itertools
import json
import os
import pkgutil
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.running import MARK, is_left, mark
from solarcalc.batch.limits import Limits

_LIBRARIES = (
    "ipykernel.kernelapp", "ipykernel.ipkernel", "ipykernel.zmqshell", "IPython",
    "ipykernel.debugger", "IPython.core.completerlib", "IPython.core.magics.execution",
    "IPython.core.oinspect", "IPython.extensions.storemagic", "tornado.platform.asyncio",
    "tornado.queues", "sqlite3", "pdb",
    "ipykernel.pylab.backend_inline", "matplotlib_inline.backend_inline",
    "numpy", "pandas", "scipy.optimize.elementwise", "scipy.interpolate", "matplotlib.pyplot",
    "matplotlib.dates", "matplotlib.backends.backend_agg", "matplotlib.mathtext", "pvlib",
    "pydantic", "ipywidgets", "tomllib", "zoneinfo", "tzdata", "encodings.utf_8_sig",
)
_NOT_FOR_KERNELS = ("solarcalc.batch", "solarcalc.report", "solarcalc.cli")
_START_LIMIT_S = 60.0
_FORK_LIMIT_S = 20.0


class ForkedProcess:
    """What the kernel's manager needs of a process that is not its own child.

    Parameters
    ----------
    pid : int
        Its number; it is held by a file descriptor, so it cannot be taken for another.
    """

    stdin = stdout = stderr = None

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self.returncode: int | None = None
        self._lock = threading.Lock()
        self._handle = -1
        try:
            self._handle = os.pidfd_open(pid)
        except ProcessLookupError:
            self.returncode = 1

    def poll(self) -> int | None:
        """None while it runs."""
        return self._look(0.0)

    def wait(self, timeout: float | None = None) -> int:
        """Wait [s] for its end."""
        code = self._look(timeout)
        if code is None:
            raise subprocess.TimeoutExpired("kernel", timeout or 0.0)
        return code

    def send_signal(self, number: int) -> None:
        """Send a signal, unless it has ended."""
        with self._lock, contextlib.suppress(ProcessLookupError):
            if self.returncode is None:
                signal.pidfd_send_signal(self._handle, number)

    def kill(self) -> None:
        """End it at once."""
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)

    def _look(self, timeout: float | None) -> int | None:
        with self._lock:
            if self.returncode is None:
                watch = select.poll()
                watch.register(self._handle, select.POLLIN)
                if watch.poll(None if timeout is None else timeout * 1000.0):
                    self.returncode = 0
                    os.close(self._handle)
            return self.returncode


class WarmServer:
    """The parent's end of the warm process.

    Parameters
    ----------
    environment : mapping
        Of the process and its kernels.
    log : Path
        Where their own messages go.
    folder : Path
        Working folder.
    """

    def __init__(self, environment: Mapping[str, str], log: Path, folder: Path) -> None:
        self._lock = threading.Lock()
        self._ready: bool | None = None
        self._log = log
        with log.open("ab") as messages:
            self._process = subprocess.Popen(
                [sys.executable, "-c", "from solarcalc.batch.kernels import serve; serve()"],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=messages,
                env=dict(environment), cwd=folder, start_new_session=True,
            )

    @staticmethod
    def possible() -> bool:
        """Whether this system can do it."""
        return (sys.platform == "linux" and hasattr(os, "pidfd_open")
                and not os.environ.get("SOLARCALC_ORDINARY_KERNELS"))

    def fork(self, arguments: list[str], folder: Path) -> ForkedProcess | None:
        """A new kernel, or None when an ordinary one must be started instead.

        Parameters
        ----------
        arguments : list of str
            Command line of the kernel after its module.
        folder : Path
            Its working folder.
        """
        with self._lock:
            if self._ready is None:
                self._ready = self._answer(_START_LIMIT_S) == "ready"
            if not self._ready:
                return None
            line = json.dumps({"arguments": arguments, "folder": str(folder),
                               "log": str(self._log)})
            try:
                assert self._process.stdin is not None
                self._process.stdin.write(line.encode() + b"\n")
                self._process.stdin.flush()
                return ForkedProcess(int(self._answer(_FORK_LIMIT_S)))
            except (OSError, ValueError):
                self._ready = False
                return None

    def close(self) -> None:
        """End the process; kernels forked from it end with it."""
        self._process.kill()
        self._process.wait()
        with contextlib.suppress(OSError):
            if self._process.stdin is not None:
                self._process.stdin.close()
        if self._process.stdout is not None:
            self._process.stdout.close()

    def _answer(self, limit_s: float) -> str:
        assert self._process.stdout is not None
        watch = select.poll()
        watch.register(self._process.stdout, select.POLLIN | select.POLLHUP)
        if not watch.poll(limit_s * 1000.0):
            return ""
        return self._process.stdout.readline().decode().strip()


def serve() -> None:
    """Import, then fork a kernel for every line on standard input until it is closed."""
    requests, answers = sys.stdin.buffer, os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # what a library prints must not be taken for an answer
    _import_libraries()
    _draw_once()
    _search_once()
    if threading.active_count() > 1 or len(os.listdir("/proc/self/task")) > 1:
        return
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # ended kernels leave no zombies
    gc.collect()
    gc.freeze()
    answers.write(b"ready\n")
    answers.flush()
    while line := requests.readline():
        request = json.loads(line)
        sys.stdout.flush()
        sys.stderr.flush()
        parent = os.getpid()
        child = os.fork()
        if child == 0:
            answers.close()
            _become_kernel(request, parent)
        answers.write(f"{child}\n".encode())
        answers.flush()


def _become_kernel(request: dict[str, object], parent: int) -> None:
    code = 1
    try:
        os.setsid()
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        nothing = os.open(os.devnull, os.O_RDONLY)
        log = os.open(str(request["log"]), os.O_WRONLY | os.O_APPEND | os.O_CREAT)
        os.dup2(nothing, 0)
        os.dup2(log, 1)
        os.dup2(log, 2)
        os.chdir(str(request["folder"]))
        import numpy as np
        from ipykernel.kernelapp import IPKernelApp

        np.random.seed()  # else every kernel would draw the same numbers
        arguments = [str(word) for word in request["arguments"]]  # type: ignore[attr-defined]
        sys.argv = ["ipykernel_launcher", *arguments]
        launch: object = IPKernelApp.launch_instance
        launch([*arguments, "--matplotlib=inline",  # type: ignore[operator]
                f"--IPKernelApp.parent_handle={parent}"])
        code = 0
    finally:
        os._exit(code)


def _import_libraries() -> None:
    import solarcalc

    sys.modules["debugpy"] = None  # type: ignore[assignment]  # half a second a kernel; unused
    names = [*_LIBRARIES, *(module.name for module in
                            pkgutil.walk_packages(solarcalc.__path__, "solarcalc."))]
    for name in names:
        if not name.startswith(_NOT_FOR_KERNELS):
            with contextlib.suppress(Exception):  # the workbook that needs it will say so
                importlib.import_module(name)
    with contextlib.suppress(Exception):
        from solarcalc.batch.workbook import import_nbformat

        import_nbformat()  # for the appendix, which is set from workbooks


def _search_once() -> None:
    """Bring in the machine code of the searches, compiled here if it is not yet on the disk."""
    with contextlib.suppress(Exception):
        importlib.import_module("solarcalc.views.arrays_tried")
        importlib.import_module("solarcalc.views.battery_tried")
    for name in ("solarcalc.sweep.fields", "solarcalc.supply.frontier"):
        with contextlib.suppress(Exception):  # the workbook that needs it will say so
            importlib.import_module(name).warm_up()


def _draw_once() -> None:
    """Fill the caches of fonts and formulas that every figure needs."""
    with contextlib.suppress(Exception):
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        figure = Figure(figsize=(2, 2))
        FigureCanvasAgg(figure)
        axes = figure.subplots()
        axes.plot([0, 1], label="0 1")
        axes.set_title("Energy [kWh/m$^2$]")
        axes.legend()
        figure.savefig(io.BytesIO(), format="png", bbox_inches="tight")


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

    @property
    def closed(self) -> bool:
        """Whether no kernel may be started any more."""
        return self._closed

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
        for process in self._processes:  # one that is just ending could still write
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(timeout=_END_LIMIT_S)
        shutil.rmtree(self.folder, ignore_errors=True)


_PREFIX = "sc-"
"""Short: the path of a socket may have some hundred characters."""
_END_LIMIT_S = 5.0


def _own_folder() -> Path:
    """A temporary folder of this run; those of runs that are over are removed."""
    try:
        for path in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*"):
            if (path / MARK).is_file() and is_left(path):
                shutil.rmtree(path, ignore_errors=True)
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
