"""Put a finished site folder in its place whole, or leave the old one."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError


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
        raise InputError(Fault(
            where=f"folder for reports: {out}", given=error.strerror or str(error),
            allowed="a folder that can be written to, or a new one in a folder that exists",
            remedy="create the folder above it, or name another",
        )) from error


@contextlib.contextmanager
def whole_folder(target: Path) -> Iterator[Path]:
    """A folder beside `target` to fill; it takes the place of `target` when the block ends well.

    After an error, or an interrupt, nothing is left and the old folder is still there.
    """
    partial = Path(tempfile.mkdtemp(prefix=f".{target.name}.partial-", dir=target.parent))
    try:
        yield partial
        partial.chmod(0o777 & ~_umask())
        _swap(partial, target)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _swap(partial: Path, target: Path) -> None:
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


def write_whole(path: Path, text: str, encoding: str = "utf-8") -> None:
    """Write a file so that a reader sees the old one or the new one, never a part."""
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.partial-", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding=encoding, newline="") as file:
            file.write(text)
        os.chmod(name, 0o666 & ~_umask())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _umask() -> int:
    """The process's mask; it can only be read by setting it."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
