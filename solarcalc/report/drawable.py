"""What can be set on paper: drawings that point nowhere, pictures that can be read."""

from __future__ import annotations

import re
import subprocess
import sys
from functools import cache
from io import BytesIO

from PIL import Image

from solarcalc.report.findings import ReportError

_OUTSIDE = re.compile(rb"""\bhref\s*=\s*["']\s*(?!#|data:)[^"']*""", re.IGNORECASE)
_HIGHEST_PT = 660.0


def drawing_file(raw: bytes) -> bytes:
    """A drawing with its words in letters that are there.

    Raises
    ------
    ReportError
        When it points outside itself.
    """
    if outside := _OUTSIDE.search(raw):
        raise ReportError(f"PDF: the page points outside itself: {outside[0][:80]!r}")
    return raw.replace(b'font-family="sans-serif"', b'font-family="DejaVu Sans"')


@cache
def why_not_drawn(svg: str) -> str:
    """What stands against setting an SVG on paper; empty for nothing.

    In a process of its own: setting leaves threads behind, and what is forked from a process with
    threads may wait for ever. A drawing on which the setter fails ends that process alone.
    """
    asked = subprocess.run([sys.executable, "-P", "-c", _SET_ALONE], input=svg.encode(),
                           capture_output=True, check=False)
    if asked.returncode:
        return "the page setter failed on it"
    return asked.stdout.decode()


_SET_ALONE = """
import sys, typst
try:
    typst.compile(b'#image(bytes(sys.inputs.svg), format: "svg")',
                  sys_inputs={"svg": sys.stdin.buffer.read().decode()}, ignore_system_fonts=True)
except RuntimeError as error:
    sys.stdout.buffer.write(str(error).encode())
"""


def drawn_width_pt(content: bytes, room_pt: float) -> float:
    """As large as it was drawn, where there is room for it."""
    if not content.startswith((b"\x89PNG", b"\xff\xd8")):
        return room_pt
    try:
        picture = Image.open(BytesIO(content))
    except OSError as error:
        raise ReportError(f"PDF: a picture that cannot be read: {error}") from error
    with picture:
        wide, high = picture.size
        dots_per_inch = float(picture.info.get("dpi", (96.0, 96.0))[0]) or 96.0
    return min(room_pt, wide * 72.0 / dots_per_inch, _HIGHEST_PT * wide / high)
