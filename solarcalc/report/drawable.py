"""What can be set on paper: drawings that point nowhere, pictures that can be read."""

from __future__ import annotations

import re
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


def why_not_drawn(svg: str) -> str:
    """What stands against setting an SVG on paper; empty for nothing."""
    import typst

    try:
        typst.compile(b'#image(bytes(sys.inputs.svg), format: "svg")', sys_inputs={"svg": svg},
                      ignore_system_fonts=True)
    except RuntimeError as error:
        return str(error)
    return ""


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
