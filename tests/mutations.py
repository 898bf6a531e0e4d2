"""Files that people give, damaged in the ways files are: cut, mixed up, with odd values put in."""

from __future__ import annotations

import datetime
import io
import json
import math
import zipfile
from collections.abc import Callable, Iterator, Sequence
from copy import deepcopy
from typing import Any

from hypothesis import strategies as some

ODD = (
    b"nan", b"inf", b"-inf", b"1e999", b"-1e308", b"1" * 400, b"0x1F", b"1_000", b"1,5", b"-0.0",
    b"", b"true", b"null", b"\xef\xbb\xbf", b"\xff\xfe", b"\0", b"\r", b"\n\n\n", b'"', b"'",
    b'"""', b"'''", b"[", b"]]", b"[[", b"{", b"=", b"#", b";", b"\t", b",,,,", b"..",
    b"../../etc/passwd", b"/dev/zero", b"0000-00-00", b"9999-12-31", b"0001-01-01 00:00",
    b"2205-02-30", b"24:00", b"1970-01-01T00:00:00Z", b"=1+1", b"<!DOCTYPE a [<!ENTITY b 'c'>]>",
    b"<g>" * 300, b"&b;", b"\xe2\x80\xae", b"\xf0\x9f\x8c\x9e", b"\xed\xa0\x80", b"a" * 5000,
    b"%s%n", b"$(id)", b"\\u0000", b"library:../x", b"monthly", b"none",
)  # fmt: skip
"""What stands in files that were typed, exported, cut or made to hurt."""


HOW = ("put", "replace word", "flip", "cut", "drop", "twice", "move")


@some.composite
def damaged(draw: some.DrawFn, content: bytes, *, most: int = 4) -> bytes:
    """A content with one to some edits; each is at a place of its own."""
    raw = bytearray(content)
    for _ in range(draw(some.integers(1, most))):
        at = _place(draw, raw)
        how = draw(some.sampled_from(HOW))
        if how == "put":
            raw[at:at] = draw(some.sampled_from(ODD))
        elif how == "replace word":
            start, end = _word(raw, at)
            raw[start:end] = draw(some.sampled_from(ODD))
        elif how == "flip" and raw:
            raw[min(at, len(raw) - 1)] ^= draw(some.integers(1, 255))
        elif how == "cut":
            del raw[at:]
        elif how == "drop":
            del raw[at: at + draw(some.integers(1, 200))]
        elif how == "twice":
            raw[at:at] = raw[at: at + draw(some.integers(1, 200))]
        else:
            start, end = _line(raw, at)
            line = raw[start:end]
            del raw[start:end]
            to = _line(raw, _place(draw, raw))[0]
            raw[to:to] = line
    return bytes(raw)


def _place(draw: some.DrawFn, raw: bytearray) -> int:
    """Anywhere, but half of the time near the head, where most is decided."""
    near = draw(some.booleans())
    return draw(some.integers(0, min(len(raw), 400) if near else len(raw)))


def _word(raw: bytearray, at: int) -> tuple[int, int]:
    marks = b" ,;\t\n\r=\"'[](){}<>#"
    start = at
    while start > 0 and raw[start - 1] not in marks:
        start -= 1
    end = at
    while end < len(raw) and raw[end] not in marks:
        end += 1
    return start, end


def _line(raw: bytearray, at: int) -> tuple[int, int]:
    start = raw.rfind(b"\n", 0, at) + 1
    end = raw.find(b"\n", at)
    return start, len(raw) if end < 0 else end + 1


@some.composite
def damaged_package(draw: some.DrawFn, content: bytes) -> bytes:
    """A packed workbook, one of its parts damaged, or the whole as it lies on the disk."""
    if draw(some.integers(0, 3)) == 0:
        return draw(damaged(content))
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(out, "w") as new:
        names = old.namelist()
        chosen = draw(some.sampled_from(names))
        for name in names:
            part = old.read(name)
            if name == chosen:
                if draw(some.integers(0, 9)) == 0:
                    continue
                part = draw(damaged(part))
            new.writestr(name, part)
    return out.getvalue()


def any_of(bases: Sequence[bytes], way: Callable[[bytes], some.SearchStrategy[bytes]]
           ) -> some.SearchStrategy[bytes]:  # fmt: skip
    """A damaged copy of one of several files, or bytes of no kind at all."""
    return some.one_of(*[way(base) for base in bases], some.binary(max_size=300))


ODD_VALUES: tuple[Any, ...] = (
    math.nan, math.inf, -math.inf, 1e308, -1e308, 1e-12, -1, 0, 1, -0.0, 2.5, 10**9, 10**400, True,
    False, "", "3 m", "1,5", "\u202e", "a" * 300, "none", "as designed", "2 x as designed", [], {},
    [[]], [{}], [1, "a"], {"a": 1}, datetime.date(2026, 1, 1),
    {"from": 0, "to": 4, "step": 1}, {"from": 0, "to": math.nan, "step": 1},
    {"from": -(10**400), "to": 10**400, "step": 1}, {"from": 0, "to": 1e308, "step": 1e-308},
)  # fmt: skip
"""What a table may hold in place of what belongs there."""


@some.composite
def odd_tables(draw: some.DrawFn, tables: dict[str, Any], *, most: int = 3) -> dict[str, Any]:
    """Tables with some values left out, odd, a thousand times as large, or twice."""
    found = deepcopy(tables)
    for _ in range(draw(some.integers(1, most))):
        places = list(_places(found))
        if not places:
            break
        *above, last = draw(some.sampled_from(places))
        home: Any = found
        for part in above:
            home = home[part]
        how = draw(some.sampled_from(("drop", "odd", "odd", "scale", "more")))
        number = isinstance(home[last], int | float) and not isinstance(home[last], bool)
        if how == "drop":
            del home[last]
        elif how == "scale" and number and abs(home[last]) < 1e300:
            home[last] = home[last] * draw(some.sampled_from((-1, 0, 2, 1000)))
        elif how == "more":
            if isinstance(home, dict):
                home[f"{last} "] = deepcopy(home[last])
            else:
                home.append(deepcopy(home[last]))
        else:
            home[last] = deepcopy(draw(some.sampled_from(ODD_VALUES)))
    return found


def _places(value: Any, above: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    rows = value.items() if isinstance(value, dict) else enumerate(
        value if isinstance(value, list) else ())  # fmt: skip
    for key, one in rows:
        yield (*above, key)
        yield from _places(one, (*above, key))


def toml_of(tables: dict[str, Any]) -> str:
    """Tables as a TOML file, one line each."""
    return "".join(f"{json.dumps(key)} = {_toml_of(one)}\n" for key, one in tables.items())


def _toml_of(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(
            f"{json.dumps(key)} = {_toml_of(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml_of, value)) + "]"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, float):
        return repr(value)  # nan and inf are TOML's own words
    return json.dumps(value)
