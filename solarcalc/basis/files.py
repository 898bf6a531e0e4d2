"""Put a finished file or folder in its place whole, or leave the old one."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path


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


def _umask() -> int:
    """The process's mask; it can only be read by setting it."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
