"""Files that people give, damaged in the ways files are: cut, mixed up, with odd values put in."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Sequence

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
