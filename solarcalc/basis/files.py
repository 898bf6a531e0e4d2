"""Where workbooks and data are; finished files and folders put in place whole."""

from __future__ import annotations

import contextlib
import csv
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from solarcalc.basis.running import MARK, is_left, mark

_PACKAGE = Path(__file__).resolve().parent.parent


def bundled(name: str) -> Path:
    """Folder `name` (``"workbooks"`` or ``"data"``) that came with this installation."""
    inside = _PACKAGE / "_bundled" / name
    return inside if inside.is_dir() else _PACKAGE.parent / name


def workbooks_folder() -> Path:
    """Folder of the workbooks."""
    return bundled("workbooks")


def data_folder() -> Path:
    """Folder of the demo sites, equipment lists and weather."""
    return bundled("data")


def csv_lines(path: Path) -> list[str]:
    """Lines of a table of ours, with or without a byte order mark.

    Raises
    ------
    ValueError
        With the file's name, when it is empty or not UTF-8.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        raise ValueError(f"{path.name}: {error.reason} at byte {error.start}; save it as UTF-8"
                         ) from error  # fmt: skip
    if not any(line.strip() and not line.startswith("#") for line in lines):
        raise ValueError(f"{path.name}: no line but notes; a line of column names is needed")
    return lines


@cache
def data_rows(name: str) -> tuple[dict[str, str], ...]:
    """Rows of a list of ours, ``data/NAME.csv``, by the names of its columns.

    Raises
    ------
    ValueError
        For a row with more or fewer cells than there are names.
    """
    lines = [line for line in csv_lines(data_folder() / f"{name}.csv") if line[:1] != "#"]
    heads, *rows = csv.reader(lines)
    for number, row in enumerate(rows, start=1):
        if len(row) != len(heads):
            raise ValueError(f"{name}.csv: row {number} has {len(row)} cells, not {len(heads)}")
    return tuple(dict(zip(heads, row, strict=True)) for row in rows)


def user_cache(name: str) -> Path:
    """Folder `name` for what may be lost and made again, where each system keeps such things.

    Where nobody has a home, a folder of that user among the temporary ones.
    """
    return _users("XDG_CACHE_HOME", ".cache", "Caches") / name


def user_state(name: str) -> Path:
    """Folder `name` for what shall stay from one session to the next; else as `user_cache`."""
    return _users("XDG_STATE_HOME", ".local/state", "Application Support") / name


def _users(variable: str, folder: str, of_a_mac: str) -> Path:
    try:
        home = Path.home()
    except RuntimeError:
        home = Path(tempfile.gettempdir()) / f"solarcalc-{getattr(os, 'getuid', int)()}"
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = home / "Library" / of_a_mac
    else:
        given = os.environ.get(variable, "")
        base = Path(given) if os.path.isabs(given) else home / folder  # XDG Base Directory 0.8
    return base / "solarcalc"


def demo_sites() -> dict[str, Path]:
    """Demo site files by their stem, in alphabetical order."""
    return {path.stem: path for path in sorted((data_folder() / "sites").glob("*.toml"))}


@contextlib.contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
    """A folder beside `target` to fill; it takes the place of `target` when the block ends well.

    After an error, or an interrupt, nothing is left and the old folder is still there. A run that
    was killed between taking the old folder away and putting the new one there left the old one
    under a hidden name: the next puts it back first, and clears what it was filling.

    Raises
    ------
    FileExistsError
        When something that is not a folder stands there.
    """
    if in_the_way(target):
        raise FileExistsError(f"{target}: {IN_THE_WAY}")
    put_back(target)
    _clear_left(target)
    partial = Path(tempfile.mkdtemp(prefix=f".{target.name}.partial-", dir=target.parent))
    try:
        mark(partial)
        yield partial
        (partial / MARK).unlink(missing_ok=True)
        partial.chmod(0o777 & ~_umask())
        _swap(partial, target)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def put_back(target: Path) -> None:
    """Put the old folder back in its place, where a killed run left none there."""
    if os.path.lexists(target) or not target.parent.is_dir():
        return
    left = [path for path in target.parent.iterdir()
            if path.name.startswith(f".{target.name}.partial-") and path.name.endswith("-old")]
    if left:
        os.replace(max(left, key=lambda path: path.stat().st_mtime), target)


IN_THE_WAY = "a file is in the way of the folder"


def in_the_way(target: Path) -> bool:
    """Whether something that is not a folder stands where one shall be."""
    return os.path.lexists(target) and not target.is_dir()


def _clear_left(target: Path) -> None:
    """Remove what killed runs left beside `target`; never what a run fills that still goes on."""
    for path in target.parent.iterdir():
        if path.name.startswith(f".{target.name}.partial-") and is_left(path):
            shutil.rmtree(path, ignore_errors=True)


_PARTIAL = re.compile(r"\.(?P<target>.+)\.partial-[^./]+$")


def sweep(folder: Path) -> int:
    """Remove all that killed runs left in a folder which this run alone may fill now.

    A folder that was taken away and not yet replaced is put back first.

    Returns
    -------
    int
        How many files and folders were removed.
    """
    count = 0
    for path in sorted(folder.iterdir()):
        found = _PARTIAL.fullmatch(path.name)
        if found is None:
            continue
        put_back(folder / found["target"])
        if not os.path.lexists(path) or ((path / MARK).is_file() and not is_left(path)):
            continue
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
        count += 1
    return count


def keep_folder(target: Path, folder: Path, name: str) -> Path | None:
    """Keep what stands at `target` as ``earlier/NAME`` of `folder`, with all that it kept itself.

    `folder` is what will take the place of `target`: until it does nothing of `target` is moved,
    so that a run which fails or is killed loses nothing. Files are linked where the disk can do
    that, else copied.

    Parameters
    ----------
    target : Path
    folder : Path
        To be filled, of `whole_folder`.
    name : str
        A safe file name; a number is put after it where that is taken.

    Returns
    -------
    Path or None
        The folder kept; None where there was none.
    """
    if not target.is_dir():
        return None
    earlier = folder / EARLIER
    if (target / EARLIER).is_dir():
        shutil.copytree(target / EARLIER, earlier, copy_function=_link_or_copy, symlinks=True)
    earlier.mkdir(exist_ok=True)
    number = 1
    while (kept := earlier / (name if number == 1 else f"{name}-{number}")).exists():
        number += 1
    top = str(target)
    shutil.copytree(
        target, kept, copy_function=_link_or_copy, symlinks=True,
        ignore=lambda place, _: {EARLIER} if place == top else set(),
    )  # fmt: skip
    return kept


EARLIER = "earlier"
"""Folder of a report that holds those made before it."""


def _link_or_copy(source: str, goal: str) -> None:
    try:
        os.link(source, goal, follow_symlinks=False)
    except OSError:
        shutil.copy2(source, goal, follow_symlinks=False)


def _swap(partial: Path, target: Path) -> None:
    if in_the_way(target):
        raise FileExistsError(f"{target}: {IN_THE_WAY}")
    if not target.exists():
        os.replace(partial, target)
        return
    old = partial.with_name(partial.name + "-old")
    os.replace(target, old)
    try:
        os.replace(partial, target)
    except BaseException:
        os.replace(old, target)
        raise
    shutil.rmtree(old, ignore_errors=True)


def write_whole(path: Path, content: str | bytes, encoding: str = "utf-8") -> None:
    """Write a file so that a reader sees the old one or the new one, never a part."""
    raw = content.encode(encoding) if isinstance(content, str) else content
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.partial-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def set_aside(path: Path) -> Path:
    """Give a damaged file another name beside it, so that it is not lost; the new path.

    Raises
    ------
    OSError
        When it cannot be renamed.
    """
    aside = path.with_suffix(f".damaged-{time.time_ns()}")
    os.replace(path, aside)
    return aside


def _umask() -> int:
    """The process's mask; it can only be read by setting it."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
