"""A finished page as a PDF on A4, pages numbered; nothing is fetched from outside it."""

from __future__ import annotations

import json
import re
import shutil
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image

from solarcalc.report.blocks import (
    Block,
    Document,
    Words,
    each_text,
    fit_table,
    letter_files,
    read_blocks,
)
from solarcalc.report.findings import ReportError

PAGE = Path(__file__).resolve().parent / "template" / "pdf" / "page.typ"
TEXT_WIDTH_PT = 504.0
"""A4 between margins of 16 mm."""

_FRAME_PT = 20.0
"""What the frame of a box takes from the width."""
_BETWEEN_PT = 22.0
_FOOT = 70
"""Letters of the title at the foot of a page."""
_HIGHEST_PT = 660.0
_LETTER_PT = 10.5
_LONG_WORD = re.compile(r"[^\s\u200b]{37,}")


def pdf_bytes(html: str) -> bytes:
    """A page as a PDF.

    The same page gives the same bytes on any machine: the letters come with the libraries, those
    of the system are not looked at.

    Parameters
    ----------
    html : str
        A page of ours, which needs nothing else.

    Raises
    ------
    ReportError
        When the page points outside itself, or holds what cannot be set on paper.
    """
    import typst

    document = read_blocks(html)
    with tempfile.TemporaryDirectory(prefix="solarcalc-pdf-") as made:
        folder = Path(made)
        blocks = _fitted(document.blocks, TEXT_WIDTH_PT, document)
        (folder / "document.json").write_text(json.dumps({
            "title": document.title, "foot": _foot(document.title), "look": document.look,
            "language": document.language, "blocks": blocks,
        }), encoding="ascii")  # fmt: skip
        for name, content in document.files.items():
            (folder / name).write_bytes(content)
        (folder / "letters").mkdir()
        for path in letter_files():
            shutil.copy(path, folder / "letters")
        shutil.copyfile(PAGE, folder / "page.typ")
        try:
            content = typst.compile(
                folder / "page.typ", root=folder, font_paths=[folder / "letters"],
                ignore_system_fonts=True)
        except RuntimeError as error:
            raise ReportError(f"PDF: {error}") from error
    return bytes(content)


def _foot(title: str) -> str:
    return title if len(title) <= _FOOT else title[:_FOOT - 1] + "…"


def why_not_drawn(svg: str) -> str:
    """What stands against setting an SVG on paper; empty for nothing."""
    import typst

    try:
        typst.compile(b'#image(bytes(sys.inputs.svg), format: "svg")', sys_inputs={"svg": svg},
                      ignore_system_fonts=True)
    except RuntimeError as error:
        return str(error)
    return ""


def _fitted(blocks: list[Block], width_pt: float, document: Document) -> list[Block]:
    """Blocks with the sizes of what must fit into a width: tables, pictures, long words."""
    return [_fitted_block(block, width_pt, document) for block in blocks]


def _fitted_block(block: Block, width_pt: float, document: Document) -> Block:
    def inside(blocks: list[Block], room_pt: float = width_pt) -> list[Block]:
        return _fitted(blocks, room_pt, document)

    kind = block["kind"]
    if kind == "table":
        return fit_table(block, width_pt, fill=document.look == "booklet")
    if kind == "picture" and block["width"] is None:
        return block | {"width_pt": drawn_width_pt(document.files[block["file"]], width_pt)}
    if kind == "picture":  # a formula, in heights of a letter
        part = min(1.0, width_pt / _LETTER_PT / block["width"])
        return block | {name: block[name] * part for name in ("width", "height")}
    if kind == "box":
        return block | {"blocks": inside(block["blocks"], width_pt - _FRAME_PT)}
    if kind == "beside":
        columns = block["columns"]
        room_pt = (width_pt - _BETWEEN_PT * (len(columns) - 1)) / max(len(columns), 1)
        return block | {"columns": [inside(column, room_pt) for column in columns]}
    if kind == "list":
        return block | {"items": [inside(item, width_pt - _FRAME_PT) for item in block["items"]]}
    if kind == "pairs":
        return block | {"rows": [[breakable(words) for words in row] for row in block["rows"]]}
    if "blocks" in block:
        return block | {"blocks": inside(block["blocks"])}
    if kind == "plain":
        return block | {"text": "".join(breakable([block["text"]]))}
    return block | {"words": breakable(block["words"])} if "words" in block else block


def breakable(words: Words) -> Words:
    """Words in which a very long one may break between any two letters."""
    return each_text(words, lambda text: _LONG_WORD.sub(lambda word: "\u200b".join(word[0]), text))


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
