"""Sites made on other machines: a Dask cluster in place of the processes of this one.

A site travels with every file that its site file could name, under the same names relative to each
other. Each content is a task of its own, named by its digest: it is sent once however many sites
share it, and a worker that is lost takes nothing with it, since the scheduler makes its tasks again
elsewhere. What comes back is the folder of the site, put in place here as in any other run.
"""

from __future__ import annotations

import atexit
import hashlib
import io
import json
import os
import platform
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import EARLIER, whole_folder
from solarcalc.basis.running import mark
from solarcalc.batch.folders import SUMMARY, keep_earlier, write_record
from solarcalc.batch.kernels import KernelRoom
from solarcalc.batch.run import BatchResult, report_sites
from solarcalc.batch.unchanged import RECORD, note_made
from solarcalc.checking.kept import noted_files, outside_files, package_digest, read_entry

if TYPE_CHECKING:
    from solarcalc.sitefile.read import SiteFile

RETRIES = 2
"""Times that a site is tried again where its task failed by the cluster's fault."""
CONNECT_S = 20.0
WORKERLESS_S = 120.0
"""So long a scheduler may be without any worker while sites are left [s]."""
_PAUSE_S, _LOOK_S = 0.05, 5.0
_MOST_BYTES = 200_000_000


@dataclass(frozen=True, kw_only=True)
class Parcel:
    """What a site needs to be made elsewhere.

    Parameters
    ----------
    site : str
        Its site file, by its path from the folder that holds all of them.
    variant : str
        Of the site file, the one to be made; empty for the site itself.
    files : dict of path to digest
        Of every file, the site file among them.
    """

    site: str
    variant: str
    files: Mapping[str, str]


def packed_site(sitefile: SiteFile) -> tuple[Parcel, dict[str, bytes], frozenset[str]]:
    """The parcel of a site, contents by digest, and the absolute names that it could have opened.

    Raises
    ------
    InputError
        Where a file is named by its whole path, which is another file on another machine.
    """
    from solarcalc.checking.sites import named_files
    from solarcalc.report.letterhead import letterhead_of
    from solarcalc.sitefile.read import read_site

    with noted_files() as opened:
        letterhead_of(read_site(sitefile.path))
    own = (sitefile.path.absolute(), *(path.absolute() for path in sitefile.bases))
    could_be = frozenset().union(*map(named_files, own))
    _refuse_whole_paths(sitefile)
    names = {str(one) for one in own} | could_be | set(outside_files(opened))
    there = sorted(name for name in names if _is_small_file(name))
    root = os.path.commonpath([os.path.dirname(name) for name in there])
    contents: dict[str, bytes] = {}
    files: dict[str, str] = {}
    for name in there:
        raw = Path(name).read_bytes()
        digest = hashlib.sha256(raw).hexdigest()
        contents[digest] = raw
        files[Path(os.path.relpath(name, root)).as_posix()] = digest
    site = Path(os.path.relpath(own[0], root)).as_posix()
    return (Parcel(site=site, variant=sitefile.variant, files=files), contents,
            frozenset(names))


def _is_small_file(name: str) -> bool:
    try:
        return os.path.isfile(name) and os.path.getsize(name) <= _MOST_BYTES
    except (OSError, ValueError):
        return False


def _refuse_whole_paths(sitefile: SiteFile) -> None:
    from solarcalc.checking.sites import named_texts

    whole = [text for path in (sitefile.path, *sitefile.bases) for text in named_texts(path)
             if os.path.isabs(text) and _is_small_file(text)]  # fmt: skip
    if whole:
        raise InputError(Fault(
            where=f"{sitefile.path.name}: {whole[0]}", given="a whole path, with --scheduler",
            allowed="a path from the folder of the site file",
            why="another machine has another file there, or none"))  # fmt: skip


# On the worker --------------------------------------------------------------------------------

def same(content: bytes) -> bytes:
    """A content, as a task of its own."""
    return content


_room: KernelRoom | None = None


def _own_room() -> KernelRoom:
    """Kernels of this worker: they are warmed up once for all of its sites."""
    global _room
    if _room is None or _room.closed:
        _room = KernelRoom()
        atexit.register(_room.close)
    return _room


def make_site(
    parcel: Parcel, contents: Sequence[bytes], before: bytes, codes: tuple[str, ...], package: str
) -> tuple[str, bytes]:
    """Make the documents of one site in a temporary folder.

    Parameters
    ----------
    parcel : Parcel
    contents : sequence of bytes
        Of its files, in their order.
    before : bytes
        The report that it had, packed; empty where there is none.
    codes : tuple of str
        Of the documents asked for; empty for all.
    package : str
        Digest of the package that asks.

    Returns
    -------
    tuple of str and bytes
        Why it failed, or an empty text; and its folder, packed.
    """
    if package != package_digest():
        return f"{platform.node()}: another version of solarcalc than the one that asks", b""
    with tempfile.TemporaryDirectory(prefix="sc-site-") as place:
        mark(Path(place))  # the next run sweeps it where this worker is killed
        files, out = Path(place, "files"), Path(place, "out")
        for name, content in zip(parcel.files, contents, strict=True):
            path = files / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        out.mkdir()
        if before:
            unpack(before, out)
        word = f"{files / parcel.site}:{parcel.variant}" if parcel.variant else files / parcel.site
        result = report_sites([Path(word)], out, documents=codes, jobs=1, fresh=True,
                              room=_own_room())  # fmt: skip
        for _, reason in result.failed:
            return reason.replace(f"{files}{os.sep}", ""), b""
        ((slug, _),) = result.done
        return "", pack(out / slug)


def pack(folder: Path, names: Sequence[str] | None = None, *, below: str = "") -> bytes:
    """Files of a folder but those of reports before it, or the named ones, as one content.

    Parameters
    ----------
    folder : Path
    names : sequence of str, optional
    below : str
        Folder that they lie in once they are unpacked; empty for none.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed:
        for path in sorted(folder.rglob("*")):
            name = path.relative_to(folder)
            wanted = names is None or name.as_posix() in names
            if path.is_file() and name.parts[0] != EARLIER and wanted:
                packed.write(path, PurePosixPath(below, name.as_posix()).as_posix())
    return out.getvalue()


def unpack(content: bytes, folder: Path) -> None:
    """Put a packed folder into another.

    Raises
    ------
    ValueError
        For a name that leads out of it.
    """
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        for name in packed.namelist():
            path = PurePosixPath(name)
            if path.is_absolute() or ".." in path.parts or "\\" in name:
                raise ValueError(f"{name!r} leads out of the folder")
        packed.extractall(folder)


# Here -----------------------------------------------------------------------------------------

def report_on_cluster(
    paths: Sequence[Path], out: Path, *, scheduler: str, **options: Any
) -> BatchResult:
    """As `report_sites`, on the workers of the Dask scheduler at an address.

    Raises
    ------
    InputError
        As `report_sites`; where nobody answers at the address, once there is a site to make.
    """

    def elsewhere(
        jobs: Sequence[Any], place: Any, ended: Callable[[Any], None], asked: Sequence[str]
    ) -> None:
        with cluster_at(scheduler) as client:
            make_on_cluster(client, jobs, place, ended, asked=asked)

    return report_sites(paths, out, elsewhere=elsewhere, **options)


@contextmanager
def cluster_at(address: str) -> Iterator[Any]:
    """A client of the scheduler at an address.

    Raises
    ------
    InputError
        Where the extra ``cluster`` is missing, or nobody answers there.
    """
    try:
        from distributed import Client
    except ImportError:
        raise InputError(Fault(
            where="--scheduler", given=address, allowed="where the extra cluster is installed",
            remedy='pip install "rooftop-solar-workbooks[cluster]"')) from None  # fmt: skip
    try:
        client = Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(Fault(
            where="--scheduler", given=f"{address}: {error or type(error).__name__}"[:200],
            allowed="the address of a running Dask scheduler, such as tcp://10.0.0.5:8786",
            remedy="dask scheduler starts one, dask worker ADDRESS --nthreads 1 a worker",
        )) from None  # fmt: skip
    try:
        yield client
    finally:
        client.close(timeout=5.0)


def make_on_cluster(
    client: Any, jobs: Sequence[Any], place: Any, ended: Callable[[Any], None], *,
    asked: Sequence[str],
) -> None:  # fmt: skip
    """Make sites on a cluster; each is put in place as it comes back.

    Parameters
    ----------
    client : distributed.Client
    jobs : sequence
        Sites of the batch; `page` or `reason` of each is set.
    place : object
        Its folder and the digest of its workbooks.
    ended : callable
        Given each when it is made or has failed.
    asked : sequence of str

    Raises
    ------
    InputError
        Where the scheduler has had no worker for `WORKERLESS_S`.
    """
    from distributed import as_completed

    sent: dict[str, Any] = {}
    waiting: dict[Any, tuple[Any, frozenset[str]]] = {}
    package = package_digest()
    for job in jobs:
        try:
            parcel, contents, names = packed_site(job.sitefile)
        except (InputError, OSError) as error:
            job.reason = str(error)
            ended(job)
            continue
        for digest, content in contents.items():
            if digest not in sent:
                sent[digest] = client.submit(same, content, key=f"file-{digest}", pure=True)
        future = client.submit(
            make_site, parcel, [sent[digest] for digest in parcel.files.values()],
            _before(place.out / job.sitefile.slug, job.sitefile.slug, asked), tuple(asked), package,
            retries=RETRIES, pure=False)  # fmt: skip
        waiting[future] = (job, names)
    try:
        done = as_completed(list(waiting), loop=client.loop)
        while waiting:
            _wait_for(done, client)
            future = next(done)
            job, names = waiting.pop(future)
            _receive(future, job, names, place)
            future.release()
            ended(job)
    except BaseException:
        client.cancel(list(waiting), force=True)
        raise


def _wait_for(done: Any, client: Any) -> None:
    """Until a site is done; a scheduler that has lost all of its workers would never tell."""
    seen_s = looked_s = time.monotonic()
    while not done.has_ready():
        time.sleep(_PAUSE_S)
        if (now_s := time.monotonic()) - looked_s < _LOOK_S:
            continue
        looked_s = now_s
        try:
            count = len(client.nthreads())
        except Exception:  # the scheduler is gone: its client then ends what waits for it
            continue
        if count:
            seen_s = now_s
        elif now_s - seen_s >= WORKERLESS_S:
            raise InputError(Fault(
                where="--scheduler",
                given=f"{client.scheduler.address}: no worker for {now_s - seen_s:.0f} s",
                allowed="a scheduler with at least one worker",
                remedy="dask worker ADDRESS --nthreads 1 starts one; the same command then goes on"
                " with the sites that are left"))  # fmt: skip


def _before(target: Path, slug: str, asked: Sequence[str]) -> bytes:
    """What the worker needs of the report that stands: its summary, or all where it keeps some."""
    if not (target / SUMMARY).is_file():
        return b""
    return pack(target, None if asked else (SUMMARY,), below=slug)


def _receive(future: Any, job: Any, names: frozenset[str], place: Any) -> None:
    target = place.out / job.sitefile.slug
    try:
        reason, content = future.result()
        if reason:
            job.reason = reason
            return
        with whole_folder(target) as folder:
            unpack(content, folder)
            _settle(folder, target, job, names, place)
        job.page = target / "index.html"
    except OSError as error:
        job.reason = f"{error.filename or target}: {error.strerror or error}"
    except Exception as error:  # whatever the cluster says: a worker lost again and again
        job.reason = f"on the cluster: {type(error).__name__}: {str(error)[:300]}"


def _settle(folder: Path, target: Path, job: Any, names: frozenset[str], place: Any) -> None:
    """Paths of the worker become those of here; the report before is kept."""
    path = Path(job.sitefile.word)
    summary = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
    summary["job"]["file"] = str(path)
    write_record(folder, summary)
    keep_earlier(target, folder)
    with suppress(OSError, ValueError, KeyError):  # without a record the next run makes it again
        record = read_entry(folder / RECORD)
        (folder / RECORD).unlink()
        note_made(folder, path, codes=record["codes"], whole=record["whole"], books=place.books,
                  opened=names, since_s=job.since_s)  # fmt: skip
