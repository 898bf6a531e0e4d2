"""Processes forked from a warm one: kernels of workbooks, and what stands between for a site.

The warm process has the libraries imported. On request it forks a kernel, or a process for one
site, which works its design out and then forks the kernels of that site, so that they inherit it.
Nothing heavy is imported here, so that the warm process can start importing before this one does.

Requests and answers go over a socket, which ends with the batch: then the processes end too. They
have one thread when they fork; where that does not hold they end themselves, and ordinary kernels
are used.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import io
import json
import os
import pkgutil
import select
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, NoReturn

from solarcalc.basis.lazily import quick_imports, run_waiting
from solarcalc.batch.limits import Limits, Watch

_LIBRARIES = (
    "ipykernel.kernelapp", "ipykernel.ipkernel", "ipykernel.zmqshell", "IPython",
    "ipykernel.debugger", "IPython.core.completerlib", "IPython.core.magics.execution",
    "IPython.core.oinspect", "IPython.extensions.storemagic", "tornado.platform.asyncio",
    "tornado.queues", "sqlite3", "pdb",
    "ipykernel.pylab.backend_inline", "matplotlib_inline.backend_inline",
    "numpy", "pandas", "scipy.optimize.elementwise", "scipy.interpolate", "matplotlib.pyplot",
    "matplotlib.dates", "matplotlib.backends.backend_agg", "matplotlib.mathtext", "pvlib",
    "pydantic", "ipywidgets", "tomllib", "zoneinfo", "tzdata", "encodings.utf_8_sig",
    "contourpy", "openpyxl", "PIL.ImageFont", "faulthandler",
)
_COMPILED = {
    "solarcalc.supply.run": "solarcalc.supply.kernels.written_year",
    "solarcalc.sweep.fields": "solarcalc.sweep.kernels",
    "solarcalc.supply.frontier": "solarcalc.supply.kernels.pairs",
}
"""What compiles for one to four seconds once a machine, one after the other in a process beside the
imports, and the function, or module of them, that is waited for. Every design waits for the first,
some workbooks alone for the others."""
_OF_EVERY_DESIGN = tuple(f"pvlib.{name}" for name in (
    "atmosphere", "bifacial", "iam", "irradiance", "ivtools", "pvsystem", "shading", "singlediode",
    "soiling", "solarposition", "spa", "temperature", "tracking"))
"""Parts of a library that every process for a site would load by itself; others seldom serve."""
_NOT_FOR_KERNELS = ("solarcalc.batch", "solarcalc.cli")
_WITH_A_THREAD = "pyarrow"
"""Where it is installed pandas imports it, and its allocator starts a thread: nothing more could be
forked. Kernels may import it themselves."""
_START_LIMIT_S = 60.0
_FORK_LIMIT_S = 20.0
_LONGEST_REQUEST = 1 << 16
_YOUNG = 20_000
"""Objects made until garbage is looked for in what is forked: each lives for one site or workbook,
and at the usual 700 a twentieth of its time goes there."""


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


class ForkServer:
    """This end of a process that forks kernels.

    Parameters
    ----------
    end : socket
        To the process.
    log : Path
        Where the messages of the processes go.
    start_limit_s : float
        How long it may take until it is ready [s].
    """

    def __init__(self, end: socket.socket, log: Path, start_limit_s: float = _START_LIMIT_S
                 ) -> None:  # fmt: skip
        self._lock = threading.Lock()
        self._end, self._log, self._start_limit_s = end, log, start_limit_s
        self._ready: bool | None = None

    @staticmethod
    def possible() -> bool:
        """Whether this system can do it."""
        return (sys.platform == "linux" and hasattr(os, "pidfd_open")
                and not os.environ.get("SOLARCALC_ORDINARY_KERNELS"))

    def fork(self, arguments: list[str], folder: Path) -> ForkedProcess | None:
        """A new kernel, or None when another must be started instead.

        Parameters
        ----------
        arguments : list of str
            Command line of the kernel after its module.
        folder : Path
            Its working folder.
        """
        return self._asked({"arguments": arguments, "folder": str(folder)})

    def site(self, word: str, folder: Path, limits: Limits,
             noted: Callable[[ForkedProcess], None]) -> ForkServer | None:  # fmt: skip
        """A process that has worked out the design of a site and forks its kernels.

        Parameters
        ----------
        word : str
            What asks for the site, as `open_design` is asked.
        folder : Path
            Its working folder.
        limits : Limits
            A process that passes them is ended.
        noted : callable
            Told of the process while it works, so that a run that is stopped need not wait for it.
        """
        own, other = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with other:
            process = self._asked({"site": word, "folder": str(folder)}, other)
        if process is None:
            own.close()
            return None
        noted(process)
        server, watch = ForkServer(own, self._log, limits.time_s), Watch(limits)
        watch.begin(process)
        with server._lock:
            server._answers()
        watch.end()
        return server

    def close(self) -> None:
        """Ask for nothing more: the process ends, and with it kernels that still run."""
        self._end.close()

    def _asked(self, request: Mapping[str, object], *ends: socket.socket) -> ForkedProcess | None:
        with self._lock:
            if not self._answers():
                return None
            line = json.dumps({**request, "log": str(self._log)}).encode()
            try:
                socket.send_fds(self._end, [line], [end.fileno() for end in ends])
                return ForkedProcess(int(self._answer(_FORK_LIMIT_S)))
            except (OSError, ValueError):
                self._ready = False
                return None

    def _answers(self) -> bool:
        if self._ready is None:
            with contextlib.suppress(OSError):
                self._ready = self._answer(self._start_limit_s) == "ready"
        return bool(self._ready)

    def _answer(self, limit_s: float) -> str:
        watch = select.poll()
        watch.register(self._end, select.POLLIN | select.POLLHUP)
        if not watch.poll(limit_s * 1000.0):
            return ""
        return self._end.recv(_LONGEST_REQUEST).decode()


class WarmServer(ForkServer):
    """This end of the warm process, which is started with it.

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
        own, other = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        super().__init__(own, log)
        with other, log.open("ab") as messages:
            self._process = subprocess.Popen(
                [sys.executable, "-c", "from solarcalc.batch.forks import serve; serve()",
                 str(other.fileno())], pass_fds=[other.fileno()], stdin=subprocess.DEVNULL,
                stdout=messages, stderr=messages, env=dict(environment), cwd=folder,
                start_new_session=True,
            )  # fmt: skip

    def kill(self) -> None:
        """End the process: whoever waits for its answer has none."""
        self._process.kill()

    def close(self) -> None:
        """End the process; what was forked from it ends with it."""
        self.kill()
        self._process.wait()
        super().close()


# In the processes ---------------------------------------------------------------------------------

def serve() -> None:
    """Import, then fork what is asked for until the batch is over."""
    end = socket.socket(fileno=int(sys.argv[1]))
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # what has ended leaves no zombies
    gc.disable()  # what is imported and compiled stays: to look for garbage takes a sixth of it
    _leave_out()
    with quick_imports():
        _compile(end)
        _import_libraries()
    run_waiting(_OF_EVERY_DESIGN)
    _records_once()
    _glass_once()
    _draw_once()
    _bring_in([next(iter(_COMPILED))])
    gc.collect()
    _fork_on_request(end)


def _fork_on_request(end: socket.socket) -> None:
    """Fork a process for every request on the socket, until its other end is closed."""
    if threading.active_count() > 1 or len(os.listdir("/proc/self/task")) > 1:
        return
    gc.enable()
    gc.freeze()
    end.send(b"ready")
    parent = os.getpid()
    while True:
        line, ends, _, _ = socket.recv_fds(end, _LONGEST_REQUEST, 1)
        if not line:
            return
        _bring_in(_COMPILED, wait=False)
        sys.stdout.flush()
        sys.stderr.flush()
        child = os.fork()
        if child == 0:
            end.close()
            _become(json.loads(line), ends, parent)
        for one in ends:
            os.close(one)
        end.send(str(child).encode())


def _become(request: Mapping[str, Any], ends: list[int], parent: int) -> NoReturn:
    """What was asked for, in a process of its own that never returns."""
    code = 1
    gc.set_threshold(_YOUNG)
    try:
        os.setsid()
        nothing = os.open(os.devnull, os.O_RDONLY)
        log = os.open(str(request["log"]), os.O_WRONLY | os.O_APPEND | os.O_CREAT)
        os.dup2(nothing, 0)
        os.dup2(log, 1)
        os.dup2(log, 2)
        os.chdir(str(request["folder"]))
        if "site" in request:
            _work_out(str(request["site"]))
            _fork_on_request(socket.socket(fileno=ends[0]))
        else:
            _become_kernel([str(word) for word in request["arguments"]], parent)
        code = 0
    finally:
        os._exit(code)


def _work_out(word: str) -> None:
    """The design of a site, for those that are forked from here."""
    with contextlib.suppress(Exception):  # whoever needs it will say so
        from solarcalc.batch.inherited import work_out

        work_out(word)


def _become_kernel(arguments: list[str], parent: int) -> None:
    import numpy as np
    from ipykernel.kernelapp import IPKernelApp

    sys.modules.pop(_WITH_A_THREAD, None)
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    np.random.seed()  # else every kernel would draw the same numbers
    sys.argv = ["ipykernel_launcher", *arguments]
    launch: Any = IPKernelApp.launch_instance
    launch([*arguments, "--matplotlib=inline", f"--IPKernelApp.parent_handle={parent}"])


def _leave_out() -> None:
    sys.modules["debugpy"] = None  # type: ignore[assignment]  # half a second a kernel; unused
    sys.modules[_WITH_A_THREAD] = None  # type: ignore[assignment]


_compiling: dict[str, int] = {}
"""What is not in this process yet, and a pipe that ends when another has compiled it."""


def _compile(end: socket.socket) -> None:
    """Compile in a process, while this one imports; where that is done, it ends soon."""
    from solarcalc.sweep.kept_code import coming

    with contextlib.suppress(Exception):  # the workbook that needs it will say so
        for name in _COMPILED:
            importlib.import_module(name)
    pipes = {name: os.pipe() for name in _COMPILED}
    child = os.fork()
    if child == 0:
        end.close()
        for name, (_, done) in pipes.items():
            with contextlib.suppress(BaseException):
                importlib.import_module(name).warm_up()
            os.close(done)
        os._exit(0)
    for name, (reader, done) in pipes.items():
        os.close(done)
        _compiling[name] = coming[_COMPILED[name]] = reader


def _bring_in(names: Iterable[str], *, wait: bool = True) -> None:
    """Bring machine code in, compiled here if it could not be kept.

    What still compiles is waited for, or left for later: whatever asks for it then waits.
    """
    from solarcalc.sweep.kept_code import coming, ended

    for name in {*names} & {*_compiling}:
        if not ended(_compiling[name], wait=wait):
            continue
        del coming[_COMPILED[name]]
        os.close(_compiling.pop(name))
        with contextlib.suppress(Exception):  # the workbook that needs it will say so
            importlib.import_module(name).warm_up()


def _import_libraries() -> None:
    import solarcalc

    names = [*_LIBRARIES, *(module.name for module in
                            pkgutil.walk_packages(solarcalc.__path__, "solarcalc."))]
    for name in names:
        if not name.startswith(_NOT_FOR_KERNELS):
            with contextlib.suppress(Exception):  # the workbook that needs it will say so
                importlib.import_module(name)
    with contextlib.suppress(Exception):
        from solarcalc.batch.notebooks import import_nbformat

        import_nbformat()  # for the appendix, which is set from workbooks
        importlib.import_module("solarcalc.batch.site")


def _records_once() -> None:
    """Make what reads the tables of a site file, which waits for the first that is read."""
    with contextlib.suppress(Exception):
        from solarcalc.sitefile.base import Record

        several = [Record]
        while several:
            one = several.pop()
            one.model_rebuild()
            several += one.__subclasses__()


def _glass_once() -> None:
    """What the glass passes of diffuse light at the tilts that are tried for every site."""
    with contextlib.suppress(Exception):
        from solarcalc.energy.light import diffuse_glass

        for tilt_deg in range(0, 61, 5):
            diffuse_glass(float(tilt_deg))


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
