"""Reports of many sites: in parallel, each whole or not at all, none held up by another."""

from __future__ import annotations

import contextlib
import logging
import os
import shutil
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import whole_folder, workbooks_folder
from solarcalc.batch.folders import check_out_folder, not_made, only_run, shared_folders
from solarcalc.batch.kernels import KernelRoom, clear_left_folders
from solarcalc.batch.limits import Limits
from solarcalc.batch.unchanged import books_digest, lists_stand, standing_sites

if TYPE_CHECKING:
    from solarcalc.sitefile.read import SiteFile

APPENDIX, BOOKS, FIRST_PAGE = "CA", "workbooks", "index.html"
"""The document that is made from workbooks; where these lie; the page that lists the documents."""


Told = Callable[[Mapping[str, Any]], None]
Elsewhere = Callable[[Sequence[Any], Any, Callable[[Any], None], Sequence[str]], None]
"""Given the sites, their folder and workbooks, whom to tell of each that ended, and codes."""
Rooms = Callable[[], AbstractContextManager[KernelRoom]]


@dataclass(frozen=True, kw_only=True)
class BatchResult:
    """What became of each site file.

    Parameters
    ----------
    done : tuple of (slug, page that lists the site's documents)
    failed : tuple of (path of the site file, reason)
    unchanged : tuple of (slug, page that lists the site's documents)
        Sites whose documents of an earlier run still stand.
    """

    done: tuple[tuple[str, Path], ...]
    failed: tuple[tuple[Path, str], ...]
    unchanged: tuple[tuple[str, Path], ...] = ()


@dataclass
class _SiteJob:
    """One site on its way through the workbooks and to its documents."""

    sitefile: SiteFile
    waiting: set[str]
    codes: tuple[str, ...]
    since_s: float
    notebooks: dict[str, Any] = field(default_factory=dict)
    reason: str = ""
    page: Path | None = None
    told: bool = False
    lock: threading.Lock = field(default_factory=threading.Lock)
    left: int = 0
    own_room: contextlib.ExitStack = field(default_factory=contextlib.ExitStack)
    _room: KernelRoom | None = None

    def room(self, of_all: KernelRoom) -> KernelRoom:
        """Kernels of this site; they inherit its design where more than one needs it."""
        with self.lock:
            if self._room is None:
                self._room = of_all if not self.waiting else self.own_room.enter_context(
                    of_all.of_site(self.sitefile.word))  # fmt: skip
            return self._room


def report_sites(
    paths: Sequence[Path], out: Path, *, documents: Sequence[str] = (), jobs: int | None = None,
    progress: bool = False, workbooks: Path | None = None, warm: bool = True, fresh: bool = False,
    limits: Limits | None = None, told: Told | None = None,
    room: KernelRoom | None = None, elsewhere: Elsewhere | None = None,
) -> BatchResult:
    """Write the documents of every site, and a page and two tables over all of them.

    Parameters
    ----------
    paths : sequence of Path
        Site files, or of a variant ``SITE:variant``.
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
    fresh : bool
        Make the documents of unchanged sites again, too.
    limits : Limits, optional
        Of each workbook: time, output, memory.
    told : callable, optional
        Given a plain record of each thing that happens, as it happens: see README.
    room : KernelRoom, optional
        Kernels that stay when this is done; a room of its own if left out.
    elsewhere : callable, optional
        Makes the sites in place of this machine: `solarcalc.batch.cluster`.

    Returns
    -------
    BatchResult
        Sites that failed are in it with their reasons; they do not stop the others.

    Raises
    ------
    InputError
        Before anything is run: a folder that cannot be written to, or that another run fills, no
        workbooks, fewer jobs than one. After all is run: lists that could not be written.
    """
    if jobs is not None and jobs < 1:
        raise InputError(Fault(where="jobs", given=str(jobs), allowed="1 or more"))
    asked = tuple(documents)
    if asked:  # heavy imports wait until they are needed: an unchanged batch needs none
        from solarcalc.documents.catalogue import codes_of

        asked = codes_of(asked)
    check_out_folder(out)
    with only_run(out):
        order = {Path(path).absolute(): (number, path) for number, path in enumerate(paths)}
        batch = _Batch(out=out, folder=workbooks or workbooks_folder(), asked=asked,
                       order=order, jobs=jobs or os.cpu_count() or 1, progress=progress,
                       told=told or (lambda record: None))

        def rooms() -> AbstractContextManager[KernelRoom]:
            return nullcontext(room) if room else KernelRoom(warm=warm, limits=limits)

        return batch.run(paths, fresh=fresh, rooms=rooms, elsewhere=elsewhere)


@dataclass(kw_only=True)
class _Batch:
    """One run over many sites.

    Parameters
    ----------
    out, folder : Path
        Of the reports; of the workbooks.
    asked : sequence of str
    order : dict of absolute path to number and path
        Of the sites as given.
    jobs : int
    progress : bool
    told : callable
    """

    out: Path
    folder: Path
    asked: Sequence[str]
    order: Mapping[Path, tuple[int, Path]]
    jobs: int
    progress: bool
    told: Told
    sites: list[_SiteJob] = field(default_factory=list)
    refused: list[tuple[Path, str]] = field(default_factory=list)

    def run(
        self, paths: Sequence[Path], *, fresh: bool, rooms: Rooms, elsewhere: Elsewhere | None
    ) -> BatchResult:
        """Make what is due, and the lists over all."""
        books = books_digest(self.folder)
        standing = {} if fresh else standing_sites(paths, self.out, self.asked, books)
        due = [path for path in paths if path not in standing]
        self.told({"event": "begin", "sites": len(paths), "unchanged": len(standing)})
        for path, slug in standing.items():
            self._site(path, "unchanged", slug=slug)
        if due and elsewhere:
            place = _Place(out=self.out, books=books)
            self._make(due, standing, lambda notebooks, ended: elsewhere(
                self.sites, place, ended, self.asked))
        elif due:
            with rooms() as room:  # first, so that it warms up while the rest is read
                place = _Place(out=self.out, room=room, books=books)
                self._make(due, standing,
                           lambda notebooks, ended: self._here(notebooks, place, ended))
        else:
            with contextlib.suppress(OSError):
                clear_left_folders()  # of a run that was killed once all was made
            if not lists_stand(self.out):
                from solarcalc.batch.index import write_index

                write_index(self.out, ())
        return BatchResult(
            done=tuple((job.sitefile.slug, job.page) for job in self.sites
                       if job.page is not None),
            failed=tuple(self.failed()),
            unchanged=tuple((slug, self.out / slug / FIRST_PAGE) for slug in standing.values()),
        )  # fmt: skip

    def failed(self) -> list[tuple[Path, str]]:
        """Sites that failed so far, in the order given, and why."""
        found = [*self.refused, *((Path(job.sitefile.word), job.reason) for job in self.sites
                                  if job.page is None and job.reason)]  # fmt: skip
        return sorted(found, key=lambda one: self._given(one[0])[0])

    def _here(
        self, notebooks: Mapping[str, Any], place: _Place, ended: Callable[[_SiteJob], None]
    ) -> None:
        """Make the sites on this machine."""
        count = sum(max(len(job.waiting), 1) for job in self.sites)
        with _quiet_logs(), _progress_bar(self.progress, count) as tick:
            _run_all(self.sites, notebooks, place, self.jobs, (tick, ended))

    def _make(
        self, due: Sequence[Path], standing: dict[Path, str],
        make: Callable[[Mapping[str, Any], Callable[[_SiteJob], None]], None],
    ) -> None:
        from solarcalc.batch.notebooks import read_workbooks

        notebooks = read_workbooks(self.folder)
        self.sites, self.refused = _sites_of(due, standing, notebooks, self.asked, self.out)
        from solarcalc.batch.index import Lists, told

        lists = Lists(self.out)
        lists.write(self.failed())

        for path, reason in self.refused:
            self._site(path, "failed", reason=reason)

        def ended(job: _SiteJob) -> None:
            if job.page is not None:
                lists.add(job.sitefile.slug, self.failed())
                self._site(Path(job.sitefile.word), "made", slug=job.sitefile.slug)
            else:
                self._site(Path(job.sitefile.word), "failed", reason=job.reason)

        try:
            if self.sites:
                make(notebooks, ended)
        except BaseException:
            lists.write(self.failed())
            raise
        lists.write(self.failed(), last=True)
        told(lists)

    def _site(self, path: Path, state: str, *, slug: str = "", reason: str = "") -> None:
        more: dict[str, Any] = {"reason": reason} if reason else {}
        if slug:
            page = self.out / slug / FIRST_PAGE
            more = {"page": str(page), "not_made": not_made(page, self.asked)}
        file = str(self._given(path)[1])
        self.told({"event": "site", "file": file, "state": state, **more})

    def _given(self, path: Path) -> tuple[int, Path]:
        """Place of a site among those given, and its path as it was given."""
        return self.order.get(path.absolute(), (len(self.order), path))


def _sites_of(
    due: Sequence[Path], standing: dict[Path, str], notebooks: Mapping[str, Any],
    asked: Sequence[str], out: Path,
) -> tuple[list[_SiteJob], list[tuple[Path, str]]]:  # fmt: skip
    """Sites to make, and those that cannot be; one that would take a standing one's place is told.

    A standing site whose name another file has now is read again with it and leaves `standing`.
    """
    sites, failed = _read_sites(due, notebooks, asked)
    named = {job.sitefile.slug for job in sites}
    twice = [path for path, slug in standing.items() if slug in named]
    for path in twice:
        del standing[path]
    more, wrong = _read_sites(twice, notebooks, asked)
    shared = shared_folders((job.sitefile for job in (*sites, *more)), out)
    failed += [*wrong, *shared.items()]
    return [job for job in (*sites, *more) if Path(job.sitefile.word) not in shared], failed


def _read_sites(
    paths: Sequence[Path], notebooks: Mapping[str, Any], asked: Sequence[str]
) -> tuple[list[_SiteJob], list[tuple[Path, str]]]:
    from solarcalc.batch.workbook import check_parameters
    from solarcalc.documents.catalogue import codes_at
    from solarcalc.report.letterhead import letterhead_of
    from solarcalc.sitefile.named import read_named
    from solarcalc.sitefile.template import refuse_template

    sites: list[_SiteJob] = []
    failed: list[tuple[Path, str]] = []
    for path in map(Path, paths):
        since_s = time.time()
        try:
            sitefile = read_named(str(path))
            refuse_template(sitefile)
            letterhead_of(sitefile)  # a logo that cannot be used is told before anything is run
            codes = codes_at(sitefile.site.status.stage, asked, where=path.name)
            waiting = set(notebooks if APPENDIX in codes else ())
            sites.append(_SiteJob(sitefile=sitefile, waiting=waiting, codes=codes,
                                  since_s=since_s))
        except InputError as error:
            failed.append((path, str(error)))
        except OSError as error:
            failed.append((path, f"{path}: {error.strerror or error}"))
    for name, notebook in notebooks.items():
        check_parameters(name, notebook, {"site_file": ""})
    return sites, failed


@dataclass(frozen=True, kw_only=True)
class _Place:
    """Where sites are made: folder of the reports, digest of the workbooks, kernels."""

    out: Path
    books: str
    room: KernelRoom | None = None
    stopping: threading.Event = field(default_factory=threading.Event)


def _run_all(
    sites: Sequence[_SiteJob], notebooks: Mapping[str, Any], place: _Place, jobs: int,
    told: tuple[Callable[[], None], Callable[[_SiteJob], None]],
) -> None:
    tick, ended = told
    with ThreadPoolExecutor(jobs) as pool:
        futures: dict[Future[bool], _SiteJob] = {}
        for job in sites:
            job.left = max(len(job.waiting), 1)
        for job, name in _by_twos(sites, list(notebooks)):
            futures[pool.submit(_run_one, job, name, notebooks, place)] = job
        try:
            for future in as_completed(futures):
                tick()
                job, last = futures[future], future.result()
                if last or (job.reason and not job.told):
                    job.told = True
                    ended(job)
        except BaseException:
            place.stopping.set()
            pool.shutdown(wait=False, cancel_futures=True)
            if place.room is not None:
                place.room.stop()
            raise


def _by_twos(sites: Sequence[_SiteJob], books: Sequence[str]) -> list[tuple[_SiteJob, str]]:
    """Workbooks of two sites in turn, then of the next two; one without a name where none runs.

    The design of a site and its documents keep one processor busy, and let others wait.
    """
    each = [[(job, name) for name in books if name in job.waiting] or [(job, "")]
            for job in sites]  # fmt: skip
    return [one for first in range(0, len(each), 2)
            for turn in zip_longest(*each[first:first + 2]) for one in turn if one]


def _run_one(
    job: _SiteJob, name: str, notebooks: Mapping[str, Any], place: _Place
) -> bool:
    """One workbook of a site, or none; the last of them makes the documents: whether it did."""
    try:
        return _run_it(job, name, notebooks, place)
    finally:
        with job.lock:
            job.left -= 1
        if not job.left:
            job.own_room.close()


def _run_it(job: _SiteJob, name: str, notebooks: Mapping[str, Any], place: _Place) -> bool:
    if place.stopping.is_set() or job.reason:
        return False
    from solarcalc.batch.workbook import execute

    last = False
    assert place.room is not None, "sites are made here"
    try:
        if name:
            given = {"site_file": job.sitefile.word}
            job.notebooks[name] = execute(name, notebooks[name], given, job.room(place.room))
        with job.lock:
            job.waiting.discard(name)
            last = not job.waiting
        if last and not place.stopping.is_set():
            job.page = _fill(job, [one for one in notebooks if one in job.notebooks], place)
            job.notebooks.clear()  # a batch of many sites keeps none of them
    except OSError as error:
        with job.lock:
            job.reason = job.reason or (
                f"{error.filename or place.out / job.sitefile.slug}: {error.strerror or error}")
    except Exception as error:  # whatever a library raises, the other sites go on
        with job.lock:
            job.reason = job.reason or _reason(name, error)
    return job.page is not None and last


def _reason(name: str, error: Exception) -> str:
    from solarcalc.batch.workbook import WorkbookError
    from solarcalc.report.findings import ReportError

    told = isinstance(error, WorkbookError | ReportError | InputError)
    return str(error) if told else f"{name}: {type(error).__name__}: {error}"


def _fill(job: _SiteJob, books: Sequence[str], place: _Place) -> Path:
    """The folder of a site with all that belongs there, in place at once."""
    from solarcalc.batch.notebooks import import_nbformat
    from solarcalc.batch.workbook import fill_in_kernel
    from solarcalc.report.findings import check_clean

    writes = import_nbformat().v4.writes  # what the client has made needs no schema
    assert place.room is not None, "sites are made here"
    target = place.out / job.sitefile.slug
    for name in books:
        check_clean(name, job.notebooks[name])
    with whole_folder(target) as folder:
        for name in books:
            (folder / BOOKS).mkdir(exist_ok=True)
            (folder / BOOKS / f"{name}.ipynb").write_text(
                f"{writes(job.notebooks[name])}\n", encoding="utf-8")
        fill_in_kernel({
            "site_file": job.sitefile.word, "folder": str(folder.absolute()),
            "target": str(target.absolute()), "codes": " ".join(job.codes),
            "books": place.books, "since_s": job.since_s,
        }, job.room(place.room))  # fmt: skip
    return target / FIRST_PAGE


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
