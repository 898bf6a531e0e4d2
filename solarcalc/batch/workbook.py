"""Workbooks: what may be put into them, one of them executed."""

from __future__ import annotations

import ast
import asyncio
import contextlib
import copy
import math
import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.batch.notebooks import import_nbformat

if TYPE_CHECKING:
    from solarcalc.batch.kernels import KernelRoom

Plain = str | int | float | bool | None

PARAMETER_NAMES = frozenset({"site_file"})
"""Every name the batch may set in a workbook. A name becomes code, so the list is closed."""


class WorkbookError(RuntimeError):
    """A workbook stopped; the text is fit for the person who gave the site file."""


def parameters_of(workbook: str, notebook: Any) -> dict[str, Plain]:
    """Names and values of the parameters cell.

    Raises
    ------
    InputError
        When there is not exactly one such cell, or when it holds more than literals.
    """
    cells = [cell for cell in notebook.cells if "parameters" in _tags(cell)]
    if len(cells) != 1:
        raise InputError(Fault(where=workbook, given=f"{len(cells)} cells tagged parameters",
                               allowed="one"))
    values: dict[str, Plain] = {}
    try:
        for statement in ast.parse(cells[0].source).body:
            if not isinstance(statement, ast.Assign):
                raise ValueError("not an assignment")
            (target,) = statement.targets
            if not isinstance(target, ast.Name):
                raise ValueError("not a plain name")
            values[target.id] = ast.literal_eval(statement.value)
    except (SyntaxError, ValueError) as error:
        raise InputError(Fault(where=f"{workbook}: parameters cell", given=str(error),
                               allowed="lines of the form name = literal")) from error
    return values


def check_parameters(workbook: str, notebook: Any, given: Mapping[str, Any]) -> None:
    """Refuse a parameter that is not on the list, not of the workbook, or not a plain value.

    Raises
    ------
    InputError
        Names each one.
    """
    known = PARAMETER_NAMES & set(parameters_of(workbook, notebook))
    allowed = "one of " + ", ".join(sorted(known)) if known else "no parameter"
    faults = [Fault(where=f"{workbook}: parameter", given=repr(name), allowed=allowed)
              for name in given if name not in known]
    faults += [Fault(where=f"{workbook}: parameter {name}", given=repr(value),
                     allowed="a text, a finite number, true, false or none")
               for name, value in given.items() if not _is_plain(value)]
    if faults:
        raise InputError(faults)


def execute(workbook: str, notebook: Any, given: Mapping[str, Plain], room: KernelRoom) -> Any:
    """A workbook run from top to bottom, without its `explore` cells.

    Parameters
    ----------
    workbook : str
        Name for messages.
    notebook : notebook
        As read; it is not changed.
    given : mapping of str to plain value
    room : KernelRoom
        Where the kernel comes from.

    Returns
    -------
    notebook
        With outputs, without times and paths of this run.

    Raises
    ------
    InputError
        For a parameter that may not be set.
    WorkbookError
        When a cell fails or the kernel dies.
    """
    check_parameters(workbook, notebook, given)
    ready = copy.deepcopy(notebook)
    ready.cells = [cell for cell in ready.cells if "explore" not in _tags(cell)]
    with _own_event_loop():
        return _without_traces(_run(workbook, ready, given, room))


_FILL = """\
from solarcalc.batch.site import fill_folder

fill_folder(site_file, folder, target, codes, books, since_s)
"""


def fill_in_kernel(given: Mapping[str, Plain], room: KernelRoom) -> None:
    """The folder of a site, filled in a process of its own.

    Parameters
    ----------
    given : mapping of str to plain value
        Arguments of `solarcalc.batch.site.fill_folder`.

    Raises
    ------
    WorkbookError
        When it cannot be filled, or the process dies.
    """
    form = import_nbformat().v4
    names = form.new_code_cell("site_file = folder = target = codes = books = ''\nsince_s = 0.0",
                               metadata={"tags": ["parameters"]})  # fmt: skip
    with _own_event_loop():
        _run("documents", form.new_notebook(cells=[names, form.new_code_cell(_FILL)]), given,
             room)  # fmt: skip


def _run(workbook: str, ready: Any, given: Mapping[str, Plain], room: KernelRoom) -> Any:
    """A run of a workbook, tried once more where its process was killed from outside."""
    try:
        return _run_once(workbook, copy.deepcopy(ready), given, room)
    except _KernelDiedError:
        if room.closed:
            raise
    try:
        return _run_once(workbook, ready, given, room)
    except _KernelDiedError as error:
        raise WorkbookError(f"{error}; it was tried twice") from error


class _KernelDiedError(WorkbookError):
    """The process of a workbook ended, and not by a limit of ours."""


def _run_once(workbook: str, ready: Any, given: Mapping[str, Plain], room: KernelRoom) -> Any:
    from nbclient.exceptions import CellTimeoutError, DeadKernelError
    from papermill import execute_notebook
    from papermill.exceptions import PapermillExecutionError

    from solarcalc.batch.limits import Watch
    from solarcalc.batch.manager import manager_class_of

    watch = Watch(room.limits)
    site = given.get("site_file", "")
    try:
        return execute_notebook(
            ready, None, parameters=dict(given), kernel_name="python3", language="python",
            progress_bar=False, log_output=False,
            execution_timeout=math.ceil(room.limits.time_s + _LATE_S),
            kernel_manager_class=manager_class_of(room, watch), shutdown_kernel="immediate",
            record_timing=False, resources={"metadata": {"path": str(room.working_folder())}},
        )
    except PapermillExecutionError as error:
        said = f"{error.ename}: {_brief(error.evalue)}"
        if disk := re.match(r"\[Errno \d+\] (.*)", error.evalue):  # full, closed, taken away
            said = f"{given.get('target') or room.folder}: {disk[1]}"
        raise WorkbookError(f"{workbook}: {watch.reason or said}") from error
    except CellTimeoutError as error:
        raise WorkbookError(f"{workbook} of {site}: a cell ran longer than"
                            f" {room.limits.time_s:g} s and could not be ended") from error
    except (DeadKernelError, RuntimeError, OSError) as error:
        if watch.reason:
            raise WorkbookError(f"{workbook} of {site}: {watch.reason}") from error
        raise _KernelDiedError(f"{workbook}: its process ended before its time "
                               f"({_brief(str(error))})") from error
    finally:
        watch.end()


_LATE_S = 60.0
"""The client's own limit of a cell stands behind that of the watch."""


@contextlib.contextmanager
def _own_event_loop() -> Iterator[None]:
    """The libraries make one for this thread and leave it open; close it."""
    from jupyter_core.utils import ensure_event_loop

    loop = ensure_event_loop()
    try:
        yield
    finally:
        loop.close()
        asyncio.set_event_loop(None)


def _without_traces(notebook: Any) -> Any:
    """Without times, chance names and temporary paths: the same run gives the same file."""
    notebook.metadata.pop("papermill", None)
    for cell in notebook.cells:
        if "injected-parameters" in _tags(cell):
            cell["id"] = "injected-parameters"
        cell.metadata.pop("papermill", None)
        cell.metadata.pop("execution", None)
    return notebook


def _tags(cell: Any) -> list[str]:
    return list(cell.get("metadata", {}).get("tags", []))


def _is_plain(value: object) -> bool:
    return value is None or type(value) in (str, int, bool) or (
        type(value) is float and math.isfinite(value))


def _brief(text: str, most_lines: int = 14) -> str:
    plain = re.sub(r"\x1b\[[0-9;]*[A-Za-z]", "", text).strip()
    lines = [line.rstrip()[:300] for line in plain.splitlines() if line.strip()]
    more = [f"... and {len(lines) - most_lines} more lines"] if len(lines) > most_lines else []
    return "\n".join(lines[:most_lines] + more) or "no message"
