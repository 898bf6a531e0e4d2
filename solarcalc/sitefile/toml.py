"""TOML files: read one, or say in one Fault why not; write a fresh, commented, sound site file."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.files import data_folder
from solarcalc.basis.reading import UnreadableError, file_bytes
from solarcalc.basis.text import safe_file_name
from solarcalc.basis.worded import worded
from solarcalc.sitefile.base import Name, plain, shown

MAX_BYTES = 1024 * 1024
"""A site file is a page of text; more than 1 MiB is another kind of file."""


def read_toml(path: Path, *, quoted: bool = True) -> dict[str, Any]:
    """Tables of a TOML file.

    Parameters
    ----------
    path : Path
        A regular file in UTF-8 of at most 1 MiB; a byte-order mark is accepted.
    quoted : bool
        Whether a line that is no TOML is told as it stands; not for a file that another one names,
        which may be any file.

    Returns
    -------
    dict

    Raises
    ------
    InputError
        When the file is missing, a folder, empty, too large, unreadable, not UTF-8 or not TOML;
        a syntax error names its line and column.
    """
    name = plain(path.name or str(path))
    text = _decoded(_bytes(path, name), name)
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise _refused(name, "brackets nested too deep", "plain TOML tables") from None
    except ValueError as error:
        raise InputError(_syntax_fault(name, str(error), text, quoted)) from None


def read_content(path: Path) -> bytes:
    """A site file as it stands.

    Raises
    ------
    InputError
        As `read_toml`, for what is no file to be read.
    """
    return _bytes(path, plain(path.name or str(path)))


def _bytes(path: Path, name: str) -> bytes:
    try:
        return file_bytes(path, MAX_BYTES)
    except UnreadableError as error:
        given, kind = error.given, error.kind
    if kind == "folder":
        raise _refused(name, f"the folder {path}", "a file", "name the .toml file inside it")
    if kind == "missing":
        raise _refused(name, f"{path}, which does not exist", "a TOML file", "check the spelling")
    if kind == "large":
        raise _refused(name, given, f"at most {MAX_BYTES} bytes (1 MiB)")
    raise _refused(name, f"{path}, {given}" if kind == "device" else given,
                   "a file that may be read")


def _decoded(raw: bytes, name: str) -> str:
    if not raw.strip():
        raise _refused(
            name, "an empty file", "a site file or equipment list", "solarcalc new NAME writes one"
        )
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise _refused(name, f"a byte 0x{raw[error.start]:02x} in line {line} that is not UTF-8",
                       "text in UTF-8", "save the file again as UTF-8 in the editor") from None


def _syntax_fault(name: str, message: str, text: str, quoted: bool) -> Fault:
    found = re.search(r"\(at line (\d+), column (\d+)\)", message)
    if found is None:
        line = text.count("\n") + 1 if "end of document" in message else 0
        place = f"line {line}" if line else "TOML"
        given = ""
    else:
        line = int(found[1])
        place = f"line {line}, column {found[2]}"
        given = text.replace("\r\n", "\n").split("\n")[line - 1].strip() if quoted else ""
    reason = re.sub(r"\s*\(at [^)]*\)", "", message)
    return Fault(
        **worded("sitefile", "syntax-fault", name=name, place=place), given=plain(given) or reason,
        why=reason,
    )  # fmt: skip


def _refused(name: str, given: str, allowed: str, remedy: str = "") -> InputError:
    return InputError(Fault(where=name, given=given, allowed=allowed, remedy=remedy))


_PLACEHOLDER = '"@NAME@"'
_NAME_ALLOWED = "text, 1 to 120 characters, without control characters"


def write_new_site(name: str, folder: Path) -> Path:
    """Site file with every key explained, ready to be filled in.

    The place in it is invented and sound, so that `solarcalc check` passes at once.

    Parameters
    ----------
    name : str
        Name of the site, 1 to 120 characters of any script.
    folder : Path
        An existing folder.

    Returns
    -------
    Path
        The file written: the name in plain letters, digits and hyphens, with ``.toml``.

    Raises
    ------
    InputError
        When the name is empty, too long or has control characters, when the folder cannot be
        written, or when the file exists already.
    """
    try:
        TypeAdapter(Name).validate_python(name)
    except ValidationError:
        raise InputError(Fault(where="NAME", given=shown(name), allowed=_NAME_ALLOWED)) from None
    template = (data_folder() / "templates" / "site.toml").read_text(encoding="utf-8")
    path = folder / f"{safe_file_name(name)}.toml"
    text = template.replace(_PLACEHOLDER, toml_text(name), 1)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise InputError(Fault(**worded("sitefile", "written-before"), where=str(path))) from None
    except OSError as error:
        raise InputError(
            Fault(
                **worded("sitefile", "no-such-folder"), where=str(folder),
                given=error.strerror or str(error),
            )
        ) from None
    return path


def toml_text(text: str) -> str:
    r"""A text as a TOML basic string, quoted and escaped.

    Notes
    -----
    JSON's escapes are a subset of TOML's (TOML 1.0.0, section "String"), but for U+007F, which
    TOML wants escaped.

    Examples
    --------
    >>> toml_text('the "Oak"')
    '"the \\"Oak\\""'
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
