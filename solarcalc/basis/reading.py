"""Files that people give: opened once, regular ones alone, at most so large, in a named encoding.

Every reader of such a file comes through here. What stands in a file that turns out to be of
another kind is not told: only names of columns near to those that were looked for.
"""

from __future__ import annotations

import csv
import io
import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Literal

from solarcalc.basis.text import nearest

Kind = Literal["", "missing", "folder", "device", "large", "no text"]

LONGEST_LINE = 100_000
"""Characters; a longer one is no line of a table. Common practice, no source."""
MOST_CELLS = 2000
"""Columns of a table."""


class UnreadableError(Exception):
    """A file that is not read, and in words why.

    Parameters
    ----------
    given : str
        What it is, to stand behind its name: ``"a folder"``.
    line : int
        Of the file, from 1; 0 for the whole.
    kind : str
        Of what keeps it from being read, for readers that word it themselves; empty for the rest.
    """

    def __init__(self, given: str, line: int = 0, *, kind: Kind = "") -> None:
        self.given, self.line, self.kind = given, line, kind
        super().__init__(given)


def file_bytes(path: Path, most_bytes: int) -> bytes:
    """The content of a regular file.

    It is looked at after it was opened, and opened so that a pipe without a writer does not wait.

    Raises
    ------
    UnreadableError
        For a file that is missing, closed, a folder, a device or pipe, or too large.
    """
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0)
                         | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0))  # fmt: skip
    except FileNotFoundError:
        raise UnreadableError("which does not exist (No such file)", kind="missing") from None
    except OSError as error:
        if _is_folder(path):
            raise _folder() from None
        raise UnreadableError(error.strerror or str(error)) from None
    except ValueError as error:  # a name with a null in it
        raise UnreadableError(f"no name of a file: {error}") from None
    try:
        found = os.fstat(handle)
        if stat.S_ISDIR(found.st_mode):
            raise _folder()
        if not stat.S_ISREG(found.st_mode):
            raise UnreadableError("a device or pipe, not a regular file", kind="device")
        with os.fdopen(handle, "rb", closefd=False) as file:
            content = b"" if found.st_size > most_bytes else file.read(most_bytes + 1)
    except OSError as error:
        raise UnreadableError(error.strerror or str(error)) from None
    finally:
        os.close(handle)
    if found.st_size > most_bytes or len(content) > most_bytes:
        raise UnreadableError(f"{max(found.st_size, len(content))} bytes, more than"
                              f" {_size(most_bytes)}", kind="large")  # fmt: skip
    return content


def _folder() -> UnreadableError:
    return UnreadableError("a folder", kind="folder")


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def _size(count: int) -> str:
    if count >= 1_000_000:
        return f"{count / 1e6:.3g} MB"
    return f"{count / 1e3:.3g} kB"


def file_text(path: Path, most_bytes: int, *, encodings: Sequence[str] = ("utf-8-sig",)) -> str:
    """The text of a regular file in the first of the encodings that it fits.

    Raises
    ------
    UnreadableError
        As `file_bytes`; for bytes in none of them, a null, or a line without end.
    """
    return text_of(file_bytes(path, most_bytes), encodings=encodings)


def text_of(content: bytes, *, encodings: Sequence[str] = ("utf-8-sig",)) -> str:
    """Bytes as text.

    Raises
    ------
    UnreadableError
        For bytes in none of the encodings, a null, or a line without end.
    """
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeError:
            continue
        if "\0" in text:
            continue
        for number, line in enumerate(text.splitlines(), start=1):
            if len(line) > LONGEST_LINE:
                raise UnreadableError(f"line {number} of more than {LONGEST_LINE} characters")
        return text
    names = " or ".join("UTF-8" if name.startswith("utf-8") else name for name in encodings)
    raise UnreadableError(f"bytes that are no {names} text", kind="no text")


def csv_rows(
    lines: Iterable[tuple[int, str]], mark: str = ","
) -> Iterator[tuple[int, list[str]]]:
    """Cells of lines, each line by itself, with its number.

    Raises
    ------
    UnreadableError
        With the number of a line that is no CSV, or has more than `MOST_CELLS` cells.
    """
    for number, line in lines:
        try:
            cells = next(csv.reader([line], delimiter=mark), [])
        except csv.Error:
            raise UnreadableError(f"line {number}, which is no line of cells") from None
        if len(cells) > MOST_CELLS:
            raise UnreadableError(f"line {number} with {len(cells)} cells, more than {MOST_CELLS}")
        yield number, cells


def quoted_rows(text: str, mark: str = ",") -> Iterator[tuple[int, list[str]]]:
    """Cells of a text in which a quoted cell may go over lines, with the number of the last.

    Raises
    ------
    UnreadableError
        With the number of the line at which a quote that never ends began, or a row is too wide.
    """
    reader = csv.reader(io.StringIO(text), delimiter=mark, strict=True)
    begun = 1
    try:
        for cells in reader:
            if len(cells) > MOST_CELLS:
                raise UnreadableError(f"line {begun} with {len(cells)} cells, more than"
                                      f" {MOST_CELLS}")  # fmt: skip
            yield reader.line_num, cells
            begun = reader.line_num + 1
    except csv.Error:
        raise UnreadableError(f"line {begun}, in which a quote stands alone", begun) from None


def heads_told(heads: Sequence[str], known: Iterable[str]) -> str:
    """Names of columns that are, or resemble, what was looked for; the others are counted.

    Examples
    --------
    >>> heads_told(["time", "gih", "root:x:0:0"], ["time", "ghi"])
    'time, gih and 1 other'
    """
    names = list(known)
    told = [head for head in heads if head and len(head) <= 60 and nearest(head, names)][:20]
    rest = len(heads) - len(told)
    others = f"{rest} other{'s' * (rest != 1)}"
    if not told:
        return f"{len(heads)} columns of other names" if len(heads) != 1 else "another name"
    return ", ".join(told) + (f" and {others}" if rest else "")
