"""Write a fresh, commented, sound site file."""

from __future__ import annotations

import json
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.paths import data_folder
from solarcalc.basis.text import safe_file_name
from solarcalc.sitefile.base import Name
from solarcalc.sitefile.wording import shown

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
        raise InputError(
            Fault(where="NAME", given=shown(name), allowed=_NAME_ALLOWED)
        ) from None
    template = (data_folder() / "templates" / "site.toml").read_text(encoding="utf-8")
    path = folder / f"{safe_file_name(name)}.toml"
    text = template.replace(_PLACEHOLDER, toml_text(name), 1)
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise InputError(
            Fault(
                where=str(path),
                given="a file that exists already",
                allowed="a new file",
                why="nothing is written over",
                remedy="choose another name or --folder, or move the old file away",
            )
        ) from None
    except OSError as error:
        raise InputError(
            Fault(
                where=str(folder),
                given=error.strerror or str(error),
                allowed="a folder that exists and may be written",
                remedy="make the folder first, or choose another with --folder",
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
