"""Every key of the site file: limits, unit, default and where that comes from."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args, get_origin

from generate.markdown import code, contents, table, text
from pydantic.fields import FieldInfo

from solarcalc.basis.sourced import sources_of_defaults
from solarcalc.sitefile.base import Loc, is_record, shown, unwrapped
from solarcalc.sitefile.guessed import guesses
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.wording import allowed_words, known_keys, type_in_site

AT_THE_TOP = {
    "equipment_files": "your own equipment lists, by their path from the folder of the site file",
    "base": "another site file: this one then says only what differs from it",
}
WHOLE_ENTRIES = {
    "use": "a key of an equipment list; values beside it take its place",
    "catalogue": "a key of `data/appliances.toml`, which fills the line",
}


def pages(_: Path) -> Iterator[tuple[str, str]]:
    """The list of tables, and a page for each."""
    names = list(Site.model_fields)
    rows = [(f"[{_head((name,))}](keys/{name}.md)", str(_count((name,))), text(_about((name,))))
            for name in names]  # fmt: skip
    top = [(code(key), text(words)) for key, words in AT_THE_TOP.items()]
    yield "site-file.md", "\n\n".join([
        "# Site file: every table and key",
        "A site file is [TOML](https://toml.io): tables in square brackets, keys below them. This"
        " page and those below it are made from the record that every site file is held to, so"
        " that limits and defaults here are those of the program. `solarcalc new NAME --full`"
        " writes a file with every key and the same words. Azimuth: 0° north, 90° east; tilt: 0°"
        " horizontal; names that end in `_frac` are fractions from 0 to 1.",
        "## At the top of the file", table(("key", "what it is"), top),
        "## Tables", table(("table", "keys", "what it holds"), rows),
        contents((f"keys/{name}" for name in names), hidden=True),
    ]) + "\n"  # fmt: skip
    for name in names:
        yield f"keys/{name}.md", _page((name,))


def all_keys() -> Iterator[str]:
    """Each key by its table, ``roof.obstacles.along_m``."""
    for name in Site.model_fields:
        for loc in _tables((name,)):
            yield from (f"{dotted(loc)}.{key}" for key in known_keys(loc))


def dotted(loc: Loc) -> str:
    """A place in the site file as one reads it: ``roof.obstacles``."""
    return ".".join(str(part) for part in loc if not isinstance(part, int))


def _tables(loc: Loc) -> Iterator[Loc]:
    """A table and those within it; an array of tables by its first."""
    annotation, _ = type_in_site(loc)
    if get_origin(annotation) is list and is_record(get_args(annotation)[0]):
        yield from _tables((*loc, 0))
    elif is_record(annotation):
        yield loc
        for key in annotation.model_fields:
            yield from _tables((*loc, key))


def _head(loc: Loc) -> str:
    annotation, _ = type_in_site(loc)
    return f"\\[\\[{dotted(loc)}\\]\\]" if get_origin(annotation) is list else (
        f"\\[{dotted(loc)}\\]")


def _count(loc: Loc) -> int:
    return sum(len(known_keys(one)) for one in _tables(loc))


def _record(loc: Loc) -> Any:
    annotation, _ = type_in_site(loc)
    return get_args(annotation)[0] if get_origin(annotation) is list else annotation


def _about(loc: Loc) -> str:
    """What a table holds, by its record or by the key that it stands under."""
    said = (_record(loc).__doc__ or "").strip().split("\n\n")[0]
    head, _, rest = said.partition(": ")
    return rest if head.startswith("[") and rest else said


def _page(loc: Loc) -> str:
    parts = [f"# {_head(loc)}"]
    for one in _tables(loc):
        listed = bool(one) and isinstance(one[-1], int)
        head = f"\\[\\[{dotted(one)}\\]\\]" if listed else f"\\[{dotted(one)}\\]"
        if dotted(one) != dotted(loc):
            parts.append(f"## {head}")
        parts.append(text(_about(one)))
        rows = [_row(one, key) for key in known_keys(one)]
        parts.append(table(("key", "what it may hold", "default", "where the default comes from"),
                           rows))  # fmt: skip
    return "\n\n".join(parts) + "\n"


def _row(loc: Loc, key: str) -> tuple[str, str, str, str]:
    if key in WHOLE_ENTRIES:
        return code(key), WHOLE_ENTRIES[key], "none", ""
    _, info = type_in_site((*loc, key))
    assert info is not None, f"{dotted(loc)}.{key}"
    said = text(allowed_words((*loc, key)))
    if info.description:
        said += f"; {text(info.description)}"
    if is_record(unwrapped(info.annotation)):
        return code(key), said, "", ""
    default, source = _default(f"{dotted(loc)}.{key}", info)
    return code(key), said, default, source


def _default(key: str, info: FieldInfo) -> tuple[str, str]:
    if info.is_required():
        return "to be entered", ""
    value = info.get_default(call_default_factory=True)
    said = "none" if value is None else code(
        shown(value) if isinstance(value, bool | int | float | str) else str(value))
    source = [text(sources_of_defaults().get(key, ""))]
    for one in (one for one in guesses() if one.key == key):
        low, high = one.low, one.high
        if low is not None and high is not None:
            words = {"value": f"{low:g} to {high:g} {one.unit}",
                     "times": f"{low:g} to {high:g} times it",
                     "plus": f"{low:+g} to {high:+g} {one.unit}"}[one.how]
            where = {"warm": " up to 30° of latitude", "elsewhere": " beyond 30° of latitude",
                     "everywhere": ""}[one.where]
            source.append(text(f"usual range{where}: {words.strip()} ({one.source})"))
    return said, "; ".join(filter(None, source))
