"""Reports of many sites: in parallel, each whole or not at all, none held up by another."""

from __future__ import annotations

import contextlib
import json
import logging
import os
import shutil
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import whole_folder, workbooks_folder
from solarcalc.batch.folders import check_out_folder, refuse_shared_folders
from solarcalc.batch.kernels import KernelRoom
from solarcalc.batch.workbook import (
    WorkbookError,
    check_parameters,
    execute,
    read_workbooks,
    write_in_kernel,
)
from solarcalc.documents.catalogue import codes_at, kinds_of
from solarcalc.report.findings import ReportError

if TYPE_CHECKING:
    from solarcalc.sitefile.read import SiteFile

DOCUMENTS, APPENDIX = "documents", "CA"
"""What is waited for beside the workbooks; the document that is made from them."""


@dataclass(frozen=True, kw_only=True)
class BatchResult:
    """What became of each site file.

    Parameters
    ----------
    done : tuple of (slug, page that lists the site's documents)
    failed : tuple of (path of the site file, reason)
    """

    done: tuple[tuple[str, Path], ...]
    failed: tuple[tuple[Path, str], ...]


@dataclass
class _SiteJob:
    """One site on its way through the workbooks and to its documents."""

    sitefile: SiteFile
    content: bytes
    waiting: set[str]
    codes: tuple[str, ...]
    notebooks: dict[str, Any] = field(default_factory=dict)
    folder: Path = Path()
    reason: str = ""
    page: Path | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)


def report_sites(
    paths: Sequence[Path], out: Path, *, documents: Sequence[str] = (), jobs: int | None = None,
    progress: bool = False, workbooks: Path | None = None, warm: bool = True,
) -> BatchResult:
    """Write the documents of every site, and a page and two tables over all of them.

    Parameters
    ----------
    paths : sequence of Path
        Site files.
    out : Path
        Folder of the reports; made if its parent exists.
    documents : sequence of str
        Codes of the documents to make; left out, all that exist at the stage of each site.
        Workbooks run only where the calculation appendix is among them.
    jobs : int, optional
        Workbooks run at a time; as many as there are cores if left out.
    progress : bool
        Show a bar on standard error.
    workbooks : Path, optional
        Folder of the workbooks; those that came with solarcalc if left out.
    warm : bool
        Fork kernels from a process with the libraries imported, where that is possible.

    Returns
    -------
    BatchResult
        Sites that failed are in it with their reasons; they do not stop the others.

    Raises
    ------
    InputError
        Before anything is run: two sites of one name, a folder that cannot be written to,
        no workbooks, fewer jobs than one.
    """
    if jobs is not None and jobs < 1:
        raise InputError(Fault(where="jobs", given=str(jobs), allowed="1 or more"))
    asked = tuple(kind.code for kind in kinds_of(documents))
    check_out_folder(out)
    with KernelRoom(warm=warm) as room:  # first, so that it warms up while the rest is read
        notebooks = read_workbooks(workbooks or workbooks_folder())
        sites, failed = _read_sites(paths, notebooks, asked)
        refuse_shared_folders((job.sitefile for job in sites), out)
        if sites:
            count = sum(len(job.waiting) + 1 for job in sites)
            with _quiet_logs(), _progress_bar(progress, count) as tick:
                _run_all(sites, notebooks, (out, room), jobs or os.cpu_count() or 1, tick)
    failed += [(job.sitefile.path, job.reason) for job in sites if job.page is None]
    order = {Path(path).absolute(): number for number, path in enumerate(paths)}
    failed.sort(key=lambda item: order.get(item[0].absolute(), len(order)))
    from solarcalc.batch.index import write_index

    write_index(out, failed)
    return BatchResult(
        done=tuple((job.sitefile.slug, job.page) for job in sites if job.page is not None),
        failed=tuple(failed),
    )


def _read_sites(
    paths: Sequence[Path], notebooks: Mapping[str, Any], asked: Sequence[str]
) -> tuple[list[_SiteJob], list[tuple[Path, str]]]:
    from solarcalc.report.letterhead import letterhead_of
    from solarcalc.sitefile.read import read_site
    from solarcalc.sitefile.template import refuse_template

    sites: list[_SiteJob] = []
    failed: list[tuple[Path, str]] = []
    for path in map(Path, paths):
        try:
            sitefile = read_site(path)
            refuse_template(sitefile)
            letterhead_of(sitefile)  # a logo that cannot be used is told before anything is run
            codes = codes_at(sitefile.site.status.stage, asked, where=path.name)
            waiting = {DOCUMENTS, *(notebooks if APPENDIX in codes else ())}
            sites.append(_SiteJob(sitefile=sitefile, content=sitefile.path.read_bytes(),
                                  waiting=waiting, codes=codes))  # fmt: skip
        except InputError as error:
            failed.append((path, str(error)))
        except OSError as error:
            failed.append((path, f"{path}: {error.strerror or error}"))
    for name, notebook in notebooks.items():
        check_parameters(name, notebook, {"site_file": ""})
    return sites, failed


def _run_all(
    sites: Sequence[_SiteJob], notebooks: Mapping[str, Any], place: tuple[Path, KernelRoom],
    jobs: int, tick: Callable[[], None],
) -> None:
    out, room = place
    stopping = threading.Event()
    with ThreadPoolExecutor(jobs) as pool:
        futures: list[Future[None]] = [
            pool.submit(_run_one, job, name, notebooks, (out, room, stopping))
            for job in sites for name in (*notebooks, DOCUMENTS) if name in job.waiting
        ]
        try:
            for future in as_completed(futures):
                future.result()
                tick()
        except BaseException:
            stopping.set()
            pool.shutdown(wait=False, cancel_futures=True)
            room.stop()
            raise


def _run_one(
    job: _SiteJob, name: str, notebooks: Mapping[str, Any],
    place: tuple[Path, KernelRoom, threading.Event],
) -> None:
    """One workbook of a site, or its documents; the last of them puts all in place."""
    out, room, stopping = place
    if stopping.is_set() or job.reason:
        return
    try:
        if name == DOCUMENTS:
            folder = room.working_folder()
            codes = " ".join(code for code in job.codes if code != APPENDIX)
            write_in_kernel(_given(job, folder, codes), room)
            job.folder = folder
        else:
            job.notebooks[name] = execute(name, notebooks[name],
                                          {"site_file": str(job.sitefile.path)}, room)
        with job.lock:
            job.waiting.discard(name)
            last = not job.waiting
        if last and not stopping.is_set():
            job.page = _write_site(job, notebooks, out, room)
    except (WorkbookError, ReportError, InputError, OSError) as error:
        with job.lock:
            job.reason = job.reason or str(error)
    except Exception as error:  # whatever a library raises, the other sites go on
        with job.lock:
            job.reason = job.reason or f"{name}: {type(error).__name__}: {error}"


def _given(job: _SiteJob, folder: Path, codes: str, books: str = "") -> dict[str, str]:
    return {"site_file": str(job.sitefile.path), "folder": str(folder), "documents": codes,
            "books": books}  # fmt: skip


def _write_site(
    job: _SiteJob, notebooks: Mapping[str, Any], out: Path, room: KernelRoom
) -> Path:
    """Documents, sheets, executed workbooks, site file and summary, in place at once."""
    import nbformat

    from solarcalc.batch.changes import write_changes
    from solarcalc.batch.summary import site_record, site_summary
    from solarcalc.design import open_design
    from solarcalc.report.findings import check_clean, findings_of, sheet_files

    site = site_summary(job.sitefile, job.content)
    write: Any = nbformat.write
    target = out / job.sitefile.slug
    ordered = {name: job.notebooks[name] for name in notebooks if name in job.notebooks}
    for name, notebook in ordered.items():
        check_clean(name, notebook)
    with whole_folder(target) as folder:
        shutil.copytree(job.folder, folder, dirs_exist_ok=True)
        findings = [findings_of(name, notebook) for name, notebook in ordered.items()]
        if ordered:
            (folder / "workbooks").mkdir()
            for name, notebook in ordered.items():
                write(notebook, folder / "workbooks" / f"{name}.ipynb")
            write_in_kernel(_given(job, folder, APPENDIX, str(folder / "workbooks")), room)
        for sheet, content in sheet_files(ordered).items():
            (folder / sheet).parent.mkdir(exist_ok=True)
            (folder / sheet).write_bytes(content)
        (folder / "site.toml").write_bytes(job.content)
        summary = site_record(site, findings, open_design(job.sitefile))
        write_changes(target, folder, summary)
        record = json.dumps(summary, ensure_ascii=False, indent=1, allow_nan=False)
        (folder / "summary.json").write_text(record + "\n", encoding="utf-8")
    return target / "index.html"


@contextlib.contextmanager
def _quiet_logs() -> Iterator[None]:
    """Keep the libraries' own messages off the user's screen while the batch runs."""
    loggers = [logging.getLogger(name)
               for name in ("papermill", "traitlets", "nbclient", "asyncio", "tornado")]
    before = [(logger.level, logger.propagate) for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, (level, propagate) in zip(loggers, before, strict=True):
            logger.setLevel(level)
            logger.propagate = propagate


@contextlib.contextmanager
def _progress_bar(shown: bool, total: int) -> Iterator[Callable[[], None]]:
    if not shown:
        yield lambda: None
        return
    from tqdm import tqdm

    width = min(100, shutil.get_terminal_size().columns)
    with tqdm(total=total, unit="workbook", file=sys.stderr, ncols=width, leave=False) as bar:

        def tick() -> None:
            bar.update()

        yield tick
