"""A firm's logo: what is a picture goes in, what could run or fetch does not."""

from __future__ import annotations

import base64
import re
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import pytest

from solarcalc.basis.errors import InputError
from solarcalc.report.letterhead import MAX_BYTES, read_logo

SVG = ('<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'
       ' viewBox="0 0 9 9">{}</svg>')


def png(wide: int = 2, high: int = 1) -> bytes:
    """A grey PNG written out by hand."""
    rows = b"".join(b"\x00" + b"\x80" * min(wide, 4) for _ in range(min(high, 4)))

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(
            ">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", wide, high, 8, 0, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows))
            + chunk(b"IEND", b""))


def written(tmp_path: Path, raw: bytes | str, name: str = "logo.svg") -> Path:
    path = tmp_path / name
    path.write_bytes(raw if isinstance(raw, bytes) else raw.encode("utf-8"))
    return path


def test_a_png_is_told_by_its_content_and_kept_byte_by_byte(tmp_path: Path) -> None:
    address = read_logo(written(tmp_path, png(), "logo.jpeg"))
    head, _, body = address.partition(",")
    assert head == "data:image/png;base64"
    assert base64.b64decode(body) == png()


def test_what_hangs_behind_a_png_is_left_out(tmp_path: Path) -> None:
    address = read_logo(written(tmp_path, png() + b"<script>"))
    assert base64.b64decode(address.partition(",")[2]) == png()


@pytest.mark.parametrize("body", [
    "", '<path d="M0 0h9v9z" fill="url(#shade)"/>', '<use href="#a"/>',
    '<style>path { fill: url(#shade) }</style>', '<text>Ätna &amp; Söhne</text>',
    f'<image xlink:href="data:image/png;base64,{base64.b64encode(png()).decode()}"/>',
])
def test_a_plain_svg_is_kept(tmp_path: Path, body: str) -> None:
    text = '\ufeff<?xml version="1.0" encoding="latin-1"?>\n' + SVG.format(body)
    address = read_logo(written(tmp_path, text))
    assert address.startswith("data:image/svg+xml;base64,")
    assert base64.b64decode(address.partition(",")[2]).decode("utf-8") == SVG.format(body)


def test_an_svg_without_its_namespace_gets_it(tmp_path: Path) -> None:
    address = read_logo(written(tmp_path, '<svg viewBox="0 0 9 9"><path d="M0 0"/></svg>'))
    assert b'xmlns="http://www.w3.org/2000/svg"' in base64.b64decode(address.partition(",")[2])


@pytest.mark.parametrize(("body", "found"), [
    ("<script>alert(1)</script>", "<script>"),
    ("<SCRIPT/>", "<SCRIPT>"),
    ('<x:script xmlns:x="http://www.w3.org/2000/svg"/>', "<script>"),
    ("<foreignObject/>", "<foreignObject>"),
    ('<path onclick="alert(1)"/>', "the event onclick"),
    ('<path ONLOAD="x"/>', "the event onload"),
    ('<a href="#b"/>', "<a>"),
    ('<use href="https://example.org/x.svg#a"/>', "the address 'https://"),
    ('<use xlink:href="//example.org"/>', "the address '//"),
    ('<image href="javascript:alert(1)"/>', "the address 'javascript:"),
    ('<image href="data:image/svg+xml;base64,AA"/>', "the address 'data:image/svg"),
    ('<path style="fill:url(https://example.org)"/>', "style = 'fill:url("),
    ('<path style="fill:u\\72l(x)"/>', "style = "),
    ('<path fill="url( \'x.svg#a\')"/>', "fill = "),
    ("<style>@import 'x.css';</style>", "a style that points outside"),
    ("<style>path{fill:url(x)}</style>", "a style that points outside"),
    ('<animate attributeName="href" to="javascript:alert(1)"/>', "<animate>"),
    ('<set attributeName="onclick" to="x"/>', "<set>"),
])
def test_an_svg_that_could_run_or_fetch_is_refused(
    tmp_path: Path, body: str, found: str
) -> None:
    with pytest.raises(InputError, match=re.escape(found)) as caught:
        read_logo(written(tmp_path, SVG.format(body)), where="shop.toml: firm.logo")
    (fault,) = caught.value.faults
    assert fault.where == "shop.toml: firm.logo"
    assert "logo.svg" in fault.given
    assert fault.allowed


LAUGHS = ('<!DOCTYPE svg [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]>'
          '<svg xmlns="http://www.w3.org/2000/svg"><text>&b;</text></svg>')


@pytest.mark.parametrize(("raw", "found"), [
    (b"", "neither PNG nor SVG"),
    (b"\xff\xd8\xff\xe0 a photograph", "neither PNG nor text"),
    (b"just words", "neither PNG nor SVG"),
    (b"<html><body/></html>", "begins with <html>"),
    (LAUGHS.encode(), "<!ENTITY"),
    (b'<?xml-stylesheet href="x.css"?>' + SVG.format("").encode(), "<?xml-stylesheet"),
    (SVG.format("<path>").encode(), "neither PNG nor SVG"),
    (png()[:-6], "a damaged PNG"),
    (png()[:40], "a damaged PNG"),
    (png().replace(b"\x80", b"\x81").replace(b"IDAT", b"IDAU"), "a damaged PNG"),
    (png(6000, 10), "6000 x 10 pixels"),
    (png(0, 10), "0 x 10 pixels"),
    (b"\x89PNG\r\n\x1a\n", "a damaged PNG"),
    (png(60_000, 60_000), "60000 x 60000 pixels"),
    (b" " * (MAX_BYTES + 1), f"of {MAX_BYTES + 1} bytes"),
    (b'<svg xmlns="http://www.w3.org/2000/svg" width="-5"/>', "width, height, or viewbox"),
    (SVG.format("<g>" * 3000 + "</g>" * 3000).encode(), "nested too deep"),
])
def test_what_is_no_sound_picture_is_refused(tmp_path: Path, raw: bytes, found: str) -> None:
    with pytest.raises(InputError, match=re.escape(found)):
        read_logo(written(tmp_path, raw))


def test_a_logo_that_is_read_leaves_no_thread_behind(tmp_path: Path) -> None:
    """What is forked from a process with threads may wait for ever."""
    path = written(tmp_path, SVG.format('<path d="M0 0"/>'))
    code = ("from pathlib import Path; from psutil import Process;"
            "from solarcalc.report.letterhead import read_logo;"
            "before = Process().num_threads();"
            f"read_logo(Path({str(path)!r})); print(Process().num_threads() - before)")
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "0"


def test_a_missing_file_or_a_folder_is_named(tmp_path: Path) -> None:
    for path in (tmp_path / "no.png", tmp_path):
        with pytest.raises(InputError, match="which is no file"):
            read_logo(path)
