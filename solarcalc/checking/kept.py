"""Answers of ``solarcalc check``, kept as long as nothing they follow from has changed.

An answer follows from every file that was opened for it, from the installed package with its data
and libraries, from the day, and from how the site was named. While a check runs it is noted which
files it opens (`noted_files`), so that no list of them can go out of date. An entry that is not
whole, or of another site, is as good as none; a folder that cannot be written to keeps nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
import sys
import sysconfig
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from solarcalc.basis.files import data_folder, user_cache, write_whole
from solarcalc.basis.sealed import sealed, unsealed

_noting: list[set[str]] = []
"""What is being noted now; empty where nothing is."""


@dataclass(frozen=True, kw_only=True)
class Answer:
    """What a check printed of a site, and its exit status."""

    text: str
    status: int


@contextmanager
def noted_files() -> Iterator[set[str]]:
    """The absolute path of every file that is opened while it lasts, also where that fails."""
    _hook_once()
    found: set[str] = set()
    _noting.append(found)
    try:
        yield found
    finally:
        _noting.remove(found)


@cache
def _hook_once() -> None:
    """A hook cannot be taken out again: it stands once a process, and idles."""
    sys.addaudithook(_note)


def _note(event: str, given: tuple[Any, ...]) -> None:
    if _noting and event == "open" and isinstance(given[0], str | os.PathLike):
        name = os.path.abspath(os.fspath(given[0]))
        for found in _noting:
            found.add(str(name))


def kept_answer(path: Path) -> Answer | None:
    """The answer kept of a site as it was named, or None where it does not hold any more."""
    try:
        entry = read_entry(_entry(path))
        holds = entry["basis"] == _basis(path) and all(
            digest_of(name) == digest for name, digest in entry["files"].items())
        return Answer(text=entry["text"], status=entry["status"]) if holds else None
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None  # none there, or not whole: it is made again


def keep_answer(path: Path, answer: Answer, files: Iterable[str], *, since_s: float) -> None:
    """Keep an answer, whole or not at all; a full disk or a closed folder does no harm.

    Where a file was written to while it was being read, nothing is kept.

    Parameters
    ----------
    path : Path
        The site file as it was named.
    answer : Answer
    files : iterable of str
        What was opened for it.
    since_s : float
        When the first of them was opened [s since the epoch].
    """
    outside = digests_of(files, since_s=since_s)
    entry = _entry(path)
    with suppress(OSError):
        if outside is None:
            return
        entry.parent.mkdir(parents=True, exist_ok=True)
        write_entry(entry, {"basis": _basis(path), "files": outside, "text": answer.text,
                            "status": answer.status})  # fmt: skip


def digests_of(files: Iterable[str], *, since_s: float) -> dict[str, str] | None:
    """Digest of each file that is not part of the installation; None where one was written to.

    Parameters
    ----------
    files : iterable of str
        Absolute paths; a file that is not there has a digest too, a word.
    since_s : float
        When the first of them was opened [s since the epoch]: later than this nothing may change.
    """
    outside = {name: digest_of(name) for name in sorted(files) if not _is_installed(name)}
    try:
        late = any(os.path.getmtime(name) >= since_s for name in outside if os.path.exists(name))
    except OSError:
        return None
    return None if late else outside


def read_entry(path: Path) -> dict[str, Any]:
    """A kept record.

    Raises
    ------
    OSError, ValueError
        When there is none, or it is not whole.
    """
    entry: dict[str, Any] = json.loads(unsealed(path.read_bytes()))
    return entry


def write_entry(path: Path, entry: dict[str, Any]) -> None:
    """Keep a record, whole or not at all."""
    write_whole(path, sealed(json.dumps(entry).encode()))


def _entry(path: Path) -> Path:
    """One file a site and a way to name it: the answer before is written over."""
    name = f"{path.absolute()}\n{path}"
    return user_cache("checked") / f"{hashlib.sha256(name.encode()).hexdigest()[:32]}.json"


def _basis(path: Path) -> list[str]:
    """What an answer follows from beside the files that are opened for it."""
    return [str(path), str(path.absolute()), date.today().isoformat(), installed()]


@cache
def installed() -> str:
    """Digest of the package, its data but the demo sites, Python and libraries.

    Styles and layouts of documents lie in the package too, so every file of it counts.
    """
    digest = hashlib.sha256(f"{sys.version}\n{package_digest()}\n".encode())
    libraries = {name for place in ("purelib", "platlib")
                 for name in os.listdir(sysconfig.get_path(place)) if name.endswith("-info")}
    digest.update("\n".join(sorted(libraries)).encode())
    return digest.hexdigest()


@cache
def package_digest() -> str:
    """Digest of the package and its data but the demo sites: the same on every machine."""
    digest = hashlib.sha256()
    for folder in (Path(__file__).resolve().parent.parent, data_folder()):
        for name in sorted(_files_below(str(folder))):
            digest.update(f"{Path(name).relative_to(folder).as_posix()}\n".encode())
            digest.update(Path(name).read_bytes())
    return digest.hexdigest()


def outside_files(files: Iterable[str]) -> list[str]:
    """Of some files those that are no part of the installation."""
    return [name for name in files if not _is_installed(name)]


def _files_below(folder: str) -> Iterator[str]:
    for place, _, names in os.walk(folder):
        if not place.startswith(_demo_sites()) and not place.endswith("__pycache__"):
            yield from (os.path.join(place, name) for name in names)


@cache
def _demo_sites() -> str:
    """Where the demo sites lie: each is noted as anybody's, so that one may change alone."""
    return str(data_folder() / "sites")


@cache
def _installed_folders() -> tuple[str, ...]:
    """Where files lie that `installed` stands for, or that the system makes up."""
    places = [sysconfig.get_path(place) for place in ("purelib", "platlib", "stdlib")]
    places += [str(Path(__file__).resolve().parent.parent), str(data_folder()),
               *(str(user_cache(name)) for name in ("shade", "formulas"))]  # named by their origin
    return (*(place + os.sep for place in places), "/proc/", "/sys/", "/dev/")


def _is_installed(name: str) -> bool:
    return name.startswith(_installed_folders()) and not name.startswith(_demo_sites())


def digest_of(name: str) -> str:
    """Digest of a file; of one that is not there, or cannot be read, or is no file, a word."""
    try:
        found = os.stat(name)
        if not stat.S_ISREG(found.st_mode):
            return "none"
        if found.st_size > _MOST_DIGESTED_BYTES:
            return f"{found.st_size} bytes at {found.st_mtime_ns}"
        return hashlib.sha256(Path(name).read_bytes()).hexdigest()
    except (OSError, ValueError):
        return "none"


_MOST_DIGESTED_BYTES = 200_000_000
"""A larger file is known by its size and time; no reader takes one."""
