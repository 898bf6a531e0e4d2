"""Sites whose report still stands: nothing it follows from has changed, nothing of it is gone.

Beside the documents of a site lies a record of every file that was opened for them, of the
installation and the workbooks, and of the documents themselves. The record is small and read
without any library, so that a batch of unchanged sites is told so in a moment.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from solarcalc.basis.files import EARLIER
from solarcalc.checking.kept import digest_of, digests_of, installed, read_entry, write_entry

RECORD = ".made.json"
"""In the folder of a site: what its documents follow from. In the folder of all: of the lists."""
_FORM = 1
OFFICE, DATA, FLEET, ORDERS = "office.csv", "data.csv", "fleet.html", "orders.csv"
LISTS = ("index.html", OFFICE, DATA, FLEET, ORDERS)
"""The lists over all sites, in the folder of all: index, its columns as a table, every value of
every site, charts, what is to be bought."""


def books_digest(folder: Path) -> str:
    """Digest of the workbooks in a folder."""
    found = sha256()
    for path in sorted(folder.glob("*.ipynb")):
        found.update(f"{path.name} {digest_of(str(path))}\n".encode())
    return found.hexdigest()


def note_made(
    folder: Path, site_file: Path, *, codes: Sequence[str], whole: bool, books: str,
    opened: Iterable[str], since_s: float,
) -> None:  # fmt: skip
    """Put the record into the folder of a site that is otherwise filled.

    Parameters
    ----------
    folder : Path
        Of `solarcalc.basis.files.whole_folder`.
    site_file : Path
    codes : sequence of str
        Documents that lie there.
    whole : bool
        Whether these are all that exist at the stage of the site.
    books : str
        Of `books_digest`.
    opened : iterable of str
        Absolute path of every file that was opened, or could have been had it been there.
    since_s : float
        When the first of them was opened [s since the epoch]; where one was written to later, no
        record is made, and the next run makes the site again.
    """
    inputs = digests_of(opened, since_s=since_s)
    if inputs is not None:
        write_entry(folder / RECORD, {
            "form": _FORM, "site_file": str(site_file.absolute()), "installed": installed(),
            "books": books, "codes": list(codes), "whole": whole, "inputs": inputs,
            "files": {name: _mark(path) for name, path in _files(folder)},
        })  # fmt: skip


def _files(folder: Path) -> Iterator[tuple[str, Path]]:
    """Every file of a report but its record, by its path in the folder; not those before it."""
    for place, names, files in os.walk(folder):
        if Path(place) == folder and EARLIER in names:
            names.remove(EARLIER)
        for name in files:
            path = Path(place) / name
            if name != RECORD and not name.startswith(".run"):
                yield path.relative_to(folder).as_posix(), path


def _mark(path: Path) -> list[Any]:
    """Size, time and digest: a file of the same size and time is not read again."""
    found = path.stat()
    return [found.st_size, found.st_mtime_ns, digest_of(str(path))]


def standing_sites(
    paths: Sequence[Path], out: Path, asked: Sequence[str], books: str
) -> dict[Path, str]:
    """Site files whose report in `out` still stands, and the names of its folder.

    Parameters
    ----------
    paths : sequence of Path
    out : Path
        Folder of the reports.
    asked : sequence of str
        Codes of documents; empty for all that exist at the stage of a site.
    books : str
        Of `books_digest`.
    """
    digests = lru_cache(maxsize=None)(digest_of)
    by_file: dict[str, list[tuple[str, Mapping[str, Any]]]] = {}
    for slug, record in _records(out):
        by_file.setdefault(record["site_file"], []).append((slug, record))
    found: dict[Path, str] = {}
    for path in paths:
        made = by_file.get(str(Path(path).absolute()), [])
        if len(made) == 1 and _holds(*made[0], out=out, asked=asked, books=books, digests=digests):
            found[path] = made[0][0]
    return found


def _records(out: Path) -> Iterator[tuple[str, Mapping[str, Any]]]:
    with suppress(OSError):
        for place in os.scandir(out):
            with suppress(OSError, ValueError, KeyError, TypeError):
                record = read_entry(Path(place.path, RECORD))
                if record["form"] == _FORM and not place.name.startswith("."):
                    yield place.name, record


def _holds(
    slug: str, record: Mapping[str, Any], *, out: Path, asked: Sequence[str], books: str,
    digests: Callable[[str], str],
) -> bool:  # fmt: skip
    codes = set(record["codes"])
    return bool(
        record["installed"] == installed() and record["books"] == books
        and (set(asked) <= codes if asked else bool(record["whole"]))
        and all(digests(name) == digest for name, digest in record["inputs"].items())
        and all(_stands(out / slug / name, mark) for name, mark in record["files"].items())
    )


def _stands(path: Path, mark: Sequence[Any]) -> bool:
    try:
        found = path.stat()
    except OSError:
        return False
    size, time_ns, digest = mark
    return bool(found.st_size == size and (
        found.st_mtime_ns == time_ns or digest_of(str(path)) == digest))


def lists_stand(out: Path) -> bool:
    """Whether the lists over all sites are those of the sites that stand in `out`."""
    try:
        record = read_entry(out / RECORD)
        return bool(record["sites"] == _summaries(out) and record["installed"] == installed()
                    and all(_stands(out / name, record["files"][name]) for name in LISTS))
    except (OSError, ValueError, KeyError, TypeError):
        return False


def note_lists(out: Path) -> None:
    """Record which sites the lists show, where all of them stand; a full disk does no harm."""
    with suppress(OSError):
        write_entry(out / RECORD, {
            "sites": _summaries(out), "installed": installed(),
            "files": {name: _mark(out / name) for name in LISTS}})  # fmt: skip


def _summaries(out: Path) -> dict[str, list[int]]:
    """Size and time of every site's summary."""
    found = {}
    for path in out.glob("*/summary.json"):
        with suppress(OSError):
            there = path.stat()
            found[path.parent.name] = [there.st_size, there.st_mtime_ns]
    return found
