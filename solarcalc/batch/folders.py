"""Folders that reports, workbooks and demo sites go into; one a site, and the ones before it."""

from __future__ import annotations

import errno
import json
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import (
    IN_THE_WAY,
    bundled,
    in_the_way,
    keep_folder,
    put_back,
    sweep,
)
from solarcalc.basis.running import MARK, mark, words_of
from solarcalc.basis.text import safe_file_name

if TYPE_CHECKING:
    from solarcalc.sitefile.read import SiteFile


def check_out_folder(out: Path) -> None:
    """Make the folder for reports if its parent exists, and see that it can be written to.

    Raises
    ------
    InputError
        When it cannot be.
    """
    try:
        out.mkdir(exist_ok=True)
        with tempfile.TemporaryFile(dir=out):
            pass
    except OSError as error:
        raise _unwritten(out, error) from error


def _unwritten(out: Path, error: OSError) -> InputError:
    full = error.errno == errno.ENOSPC
    return InputError(Fault(
        where=f"folder for reports: {out}", given=error.strerror or str(error),
        allowed="a folder that can be written to, or a new one in a folder that exists",
        remedy="make room on the disk, or choose another" if full
        else "create the folder above it, or choose another"))  # fmt: skip


@contextmanager
def only_run(out: Path) -> Iterator[None]:
    """Hold the folder for reports: one run fills it at a time, and what killed ones left is swept.

    The system lets the lock go when a process ends in whatever way, so that none is left behind.

    Raises
    ------
    InputError
        While another run holds it: names its process and machine; where nothing can be written.
    """
    from filelock import FileLock, Timeout

    lock = FileLock(out / LOCK, timeout=0)
    holder = out / MARK
    try:
        lock.acquire()
    except Timeout:
        raise _held(out, holder) from None
    except (OSError, NotImplementedError) as error:
        raise InputError(Fault(
            where=f"folder for reports: {out}", given=f"{LOCK}: {error}",
            allowed="a folder in which a file can be locked")) from error  # fmt: skip
    try:
        sweep(out)
        try:
            mark(out)
        except OSError as error:
            raise _unwritten(out, error) from error
        yield
        sweep(out)
    finally:
        with suppress(OSError):
            holder.unlink(missing_ok=True)
        lock.release()


LOCK = ".lock"
"""Empty file of the folder for reports that a run locks; it stays there."""


def _held(out: Path, holder: Path) -> InputError:
    text = ""
    with suppress(OSError, ValueError):
        text = holder.read_text(encoding="utf-8")
    return InputError(Fault(
        where=f"folder for reports: {out}", given=f"{words_of(text)} makes reports in it",
        allowed="one run at a time in a folder",
        why="two would take each other's folders away",
        remedy="wait until it has ended, stop it, or choose another --out"))  # fmt: skip


SUMMARY = "summary.json"
"""In the folder of a site: its record."""


def write_record(folder: Path, record: Mapping[str, Any]) -> None:
    """Write the summary of a site into its folder, which is not in its place yet."""
    text = json.dumps(record, ensure_ascii=False, indent=1, allow_nan=False)
    (folder / SUMMARY).write_text(text + "\n", encoding="utf-8")


def not_made(page: Path, asked: Sequence[str]) -> list[str]:
    """Documents that were asked for and that a site has no answer for, such as a quote."""
    record = read_record(page.parent) if asked else None
    made = {one["code"] for one in record["written"]} if record else set(asked)
    return [code for code in asked if code not in made]


def read_record(folder: Path) -> dict[str, Any] | None:
    """The summary of a finished site, of any version; None where there is none to be read."""
    try:
        record = json.loads((folder / SUMMARY).read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    if not isinstance(record, dict):
        return None
    tables = [record.get(name) or {} for name in ("site", "job")]
    return record if all(isinstance(one, dict) for one in tables) else None


def keep_earlier(target: Path, folder: Path) -> Path | None:
    """Keep the report at `target` as ``earlier/<made>-<revision>`` of the one that replaces it.

    Parameters
    ----------
    target : Path
        Where the report stands.
    folder : Path
        That will take its place, of `solarcalc.basis.files.whole_folder`.

    Returns
    -------
    Path or None
        The folder kept; None where there was no report.
    """
    record = read_record(target) or {}
    made = str((record.get("site") or {}).get("made", "")) or "unknown"
    stamp = safe_file_name(made[:19].replace(":", ""))
    revision = safe_file_name(str((record.get("job") or {}).get("revision", "")) or "none")
    return keep_folder(target, folder, f"{stamp}-{revision}")


def shared_folders(sites: Iterable[SiteFile], out: Path) -> dict[Path, str]:
    """Site files that would share a folder, in this run or with a site of an earlier one, and why.

    Parameters
    ----------
    sites : iterable of SiteFile
    out : Path
        Folder of the reports.

    Returns
    -------
    dict of Path to str
        By site file: all of one folder name; one whose folder was made from another site. The
        same site is one of the same file, or of the same name and customer.
    """
    by_name: dict[str, dict[Path, SiteFile]] = {}
    for one in sites:
        by_name.setdefault(one.slug, {})[Path(one.word)] = one
    faults: dict[Path, list[Fault]] = {}
    for slug, named in by_name.items():
        for path, one in named.items():
            others = " and ".join(str(other) for other in named if other != path)
            found = [Fault(
                where=f"{path}: site.name", given=f"{others} would be called {slug} too",
                allowed="one report a name", remedy="rename one of them",
            )] if others else [*_in_its_place(one, out / slug)]  # fmt: skip
            if found:
                faults[path] = found
    return {path: str(InputError(found)) for path, found in faults.items()}


def _in_its_place(one: SiteFile, target: Path) -> Iterator[Fault]:
    if in_the_way(target):
        yield Fault(where=f"{one.word}: site.name", given=f"{target}: {IN_THE_WAY}",
                    allowed="a folder, or nothing there", why="it would be taken away",
                    remedy="move that file, or choose another --out")  # fmt: skip
        return
    put_back(target)
    record = read_record(target)
    if record is None or _same_site(one, record):
        return
    there, place = record.get("site") or {}, one.site.site
    file = (record.get("job") or {}).get("file") or there.get("file_name", "another file")
    yield Fault(
        where=f"{one.word}: site.name",
        given=f"{place.name}, for {place.customer or 'no customer'}; {target} holds the report of"
        f" {there.get('name')}, for {there.get('customer') or 'no customer'}, made from {file}",
        allowed="one report a name", why="it would take the place of another site's report",
        remedy="rename one of the two sites, or choose another --out")  # fmt: skip


def _same_site(one: SiteFile, record: Mapping[str, Any]) -> bool:
    there, place = record.get("site") or {}, one.site.site
    same_file = (record.get("job") or {}).get("file") == one.word
    same_name = there.get("name") == place.name and there.get("customer") == place.customer
    return bool(same_file or same_name)


LEFT_BEHIND = ("__pycache__", ".ipynb_checkpoints", "*.pyc", "equipment", "templates",
    "pictures", "tables", "messages", "sources.toml", "lesson_texts")
"""What stays in the installation: caches, and what the package reads from there itself."""


def copy_workbooks(out: Path) -> None:
    """Copy workbooks and demo sites into a folder, all of them or none.

    Parameters
    ----------
    out : Path
        Made where it is missing.

    Raises
    ------
    InputError
        When one of the two is there already, or the folder cannot be written.
    """
    for name in ("workbooks", "data"):
        if os.path.lexists(out / name):
            raise _exists(out / name)
    try:
        out.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".solarcalc.partial-", dir=out) as partial:
            ignore = shutil.ignore_patterns(*LEFT_BEHIND)
            for name in ("workbooks", "data"):
                shutil.copytree(bundled(name), Path(partial) / name, ignore=ignore)
            for name in ("workbooks", "data"):
                (Path(partial) / name).rename(out / name)
    except OSError as error:
        raise InputError(
            Fault(
                where=f"--out {out}",
                given=error.strerror or str(error),
                allowed="a folder that may be written",
            )
        ) from None


def _exists(path: Path) -> InputError:
    return InputError(
        Fault(
            where=str(path),
            given="a path that exists already",
            allowed="a path that does not exist",
            why="existing files are not overwritten",
            remedy="choose another --out, or move the existing one",
        )
    )
