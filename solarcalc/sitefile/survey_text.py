"""The short site file as text; files of several sites put in a folder, all of them or none."""

from __future__ import annotations

import contextlib
import textwrap
from collections.abc import Mapping, Sequence
from itertools import groupby
from pathlib import Path

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.text import safe_file_name
from solarcalc.basis.worded import worded
from solarcalc.sitefile.survey import TABLE, default_value, default_words
from solarcalc.sitefile.survey_fields import Answers, Field, Value, by_key, fields, read_value
from solarcalc.sitefile.toml import toml_text

_HEAD = """\
# What was found on the first visit. Fill in between the quotes, or a number without quotes; what
# stays empty takes the default named beside it, and check lists each of those:
#     solarcalc check {file}
# Sizes of array, battery and inverters follow by rules of thumb until you enter your own tables
# below, such as [battery] units_in_parallel = 3; solarcalc new --full has every table and key.
{more}

[{table}]
"""
_WIDE = 98
_TOLD_BY_HELP = ("text", "choice")
"""Kinds whose help says what may stand there."""


def short_text(values: Mapping[str, Value]) -> str:
    """A short site file: the first keys, and of the others those that are filled in.

    Parameters
    ----------
    values : mapping
        Answers by key; those of the list in their one spelling.
    """
    asked = [one for one in fields() if one.first or one.key in values]
    left = ", ".join(one.key for one in fields() if one not in asked)
    more = textwrap.fill(f"More keys of it: {left}.", _WIDE, initial_indent="# ",
                         subsequent_indent="#   ") if left else "#"  # fmt: skip
    name = str(values.get("name", default_value("name")))
    text = _HEAD.format(file=f"{safe_file_name(name)}.toml", table=TABLE, more=more)
    for group, members in groupby(asked, key=lambda one: one.group):
        text += f"\n# --- {group}\n" + "".join(_line(one, values.get(one.key)) for one in members)
    return text


def _line(one: Field, value: Value | None) -> str:
    allowed = "" if one.kind in _TOLD_BY_HELP else one.allowed
    empty = default_words(one)
    words = [one.label, allowed, one.help, f"empty: {empty}" if empty else ""]
    told = textwrap.fill("; ".join(word for word in words if word), _WIDE,
                         initial_indent="# ", subsequent_indent="#   ", break_on_hyphens=False)
    return f"{told}\n{one.key} = {toml_value(one, value)}\n"


def toml_value(one: Field, value: Value | None) -> str:
    """A value as TOML has it; an empty text or list where there is none."""
    if value is None:
        return "[]" if one.is_list else '""'
    if isinstance(value, tuple):
        return "[\n" + "".join(f"    {toml_text(line)},\n" for line in value) + "]"
    return repr(value) if isinstance(value, float) else toml_text(value)


def new_answers(name: str) -> Answers:
    """Answers with nothing but the name of the site.

    Raises
    ------
    InputError
        For a name that a site may not have.
    """
    value = read_value(by_key()["name"], name, "NAME")
    if value is None:
        raise InputError(Fault(where="NAME", given=repr(name), allowed="text, 1 to 120 characters"))
    return Answers(values={"name": value})


def write_files(texts: Sequence[tuple[str, str]], folder: Path) -> list[Path]:
    """Site files of some sites, by name and text: all of them, or none after an error.

    Raises
    ------
    InputError
        When a file exists already or the folder cannot be written; nothing is left then.
    """
    paths = [folder / f"{safe_file_name(name)}.toml" for name, _ in texts]
    faults = [Fault(**worded("sitefile", "written-before"), where=str(path))
              for path in paths if path.exists()]  # fmt: skip
    if faults:
        raise InputError(faults)
    made: list[Path] = []
    try:
        for path, (_, text) in zip(paths, texts, strict=True):
            with path.open("x", encoding="utf-8", newline="\n") as file:
                made.append(path)
                file.write(text)
    except OSError as error:
        for path in made:
            with contextlib.suppress(OSError):
                path.unlink()
        raise InputError(Fault(
            **worded("sitefile", "no-such-folder"), where=str(folder),
            given=error.strerror or str(error))) from None
    return paths
