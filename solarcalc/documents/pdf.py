"""A document as a PDF: pages numbered, letters that come with the libraries, nothing fetched."""

from __future__ import annotations

import base64
import json
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path
from typing import Any

from solarcalc.basis.messages import messages
from solarcalc.basis.text import MOST_REVISION, safe_file_name, short_name
from solarcalc.documents.columns import breakable, fit_table, letter_files
from solarcalc.documents.html import head_fields
from solarcalc.documents.tree import Block, Document, text_of
from solarcalc.report.drawable import drawing_file, drawn_width_pt
from solarcalc.report.findings import ReportError
from solarcalc.report.maths import maths_svg

PAGE = Path(__file__).with_name("page.typ")
WIDTH_PT = 516.0
"""A4 between margins of 14 mm."""
LONG_PT = {"a4": 808.0, "a3": 1156.0}
"""The long side between margins of 6 mm."""
LETTERS_PT = {"sheet": 8.3, "report": 9.4, "booklet": 11.0, "letter": 10.5}
TABLES_PT = {"sheet": (7.5, 6.9, 6.2), "report": (7.8, 7.0, 6.2), "booklet": (10.0, 9.0, 8.0),
             "letter": (9.5, 8.5, 7.5)}  # fmt: skip
MOST_WHOLE = 1200
"""Letters of a list of terms, such as the prices by group, that goes over no end of a page."""
_FRAME_PT, _BETWEEN_PT, _INDENT_PT = 22.0, 18.0, 14.0
_MM = 72.0 / 25.4


def letters_pt(document: Document) -> float:
    """Size of the letters of its running text [pt]."""
    return LETTERS_PT[document.look] * document.letters_frac


def document_pdf(document: Document) -> bytes:
    """The whole file; the same document gives the same bytes on any machine.

    Raises
    ------
    ReportError
        When it holds what cannot be set on paper.
    """
    import typst

    return bytes(_set(document, typst.compile))


def page_count(document: Document) -> int:
    """Pages that it takes on paper.

    Raises
    ------
    ReportError
        When it holds what cannot be set on paper.
    """
    import typst

    return int(_set(document, partial(typst.query, selector="<pages>", field="value", one=True)))


def _set(document: Document, setting: Callable[..., Any]) -> Any:
    """What a call of the library makes of the document."""
    setter = _Setter(document)
    head, t = document.head, messages(document.head.language).text
    revision = short_name(head.revision, MOST_REVISION)
    said = {
        "title": f"{head.title}, {_site(head)}", "head": _plain(head), "look": document.look,
        "fields": head_fields(head), "stamp": document.stamp, "headed": document.headed,
        "foot": f"{head.number} {t('document_revision', revision=revision)} {head.issued}",
        "letters_pt": letters_pt(document), "language": head.language,
        "blocks": setter.blocks(document.blocks, WIDTH_PT),
    }  # fmt: skip
    if head.logo:
        said["logo"] = setter.file(base64.b64decode(head.logo.partition("base64,")[2]))
    with tempfile.TemporaryDirectory(prefix="solarcalc-pdf-") as made:
        folder = Path(made)
        (folder / "document.json").write_text(json.dumps(said), encoding="ascii")
        for name, content in setter.files.items():
            (folder / name).write_bytes(content)
        (folder / "letters").mkdir()
        for path in letter_files():
            shutil.copy(path, folder / "letters")
        shutil.copyfile(PAGE, folder / "page.typ")
        try:
            return setting(folder / "page.typ", root=folder, font_paths=[folder / "letters"],
                           ignore_system_fonts=True)  # fmt: skip
        except RuntimeError as error:
            raise ReportError(f"PDF of {head.number}: {error}") from error


def _plain(head: Any) -> dict[str, str]:
    said = {name: "".join(breakable([getattr(head, name)]))
            for name in ("firm", "licence", "contact", "title", "kind", "made_from")}
    return said | {"site": _site(head)}


def _site(head: Any) -> str:
    """The site's name with room for it; in plain letters beside it where the page lacks its own."""
    name = short_name(head.site)
    drawn = all(ord(letter) in _letters() or letter == "…" for letter in name)
    return name if drawn else f"{name} ({safe_file_name(head.site)})"


@cache
def _letters() -> frozenset[int]:
    """Code points that the letters of a page have."""
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(str(letter_files()[0])).get_charmap())


@dataclass
class _Setter:
    """Blocks with the sizes of what must fit into a width; pictures put aside as files."""

    document: Document
    files: dict[str, bytes] = field(default_factory=dict)

    def blocks(self, blocks: Any, width_pt: float) -> list[Block]:
        return [self._block(block, width_pt) for block in blocks]

    def file(self, raw: bytes) -> str:
        ending = "png" if raw.startswith(b"\x89PNG") else "jpeg" if raw.startswith(b"\xff\xd8") \
            else "svg"
        name = f"picture-{len(self.files)}.{ending}"
        self.files[name] = drawing_file(raw) if ending == "svg" else raw
        return name

    def _block(self, block: Block, width_pt: float) -> Block:
        kind = block["kind"]
        made = {key: value for key, value in block.items() if key != "content"}
        if kind == "table":
            return made | self._table(block, width_pt)
        if kind == "picture":
            return self._picture(block, width_pt)
        if kind == "formula":
            return self._formula(block, width_pt)
        if kind == "landscape":
            return made | {"blocks": self.blocks(block["blocks"], LONG_PT[block["paper"]])}
        if kind == "box":
            return made | {"blocks": self.blocks(block["blocks"], width_pt - _FRAME_PT)}
        if kind == "fold":
            return made | {"blocks": self.blocks(block["blocks"], width_pt - _INDENT_PT)}
        if kind == "columns":
            one_pt = (width_pt - _BETWEEN_PT * (block["count"] - 1)) / block["count"]
            return made | {"blocks": self.blocks(block["blocks"], one_pt)}
        if kind == "beside":
            shares = block["shares"]
            share_pt = (width_pt - _BETWEEN_PT * (len(shares) - 1)) / max(sum(shares), 1)
            return made | {"columns": [self.blocks(one, share * share_pt) for one, share
                                       in zip(block["columns"], shares, strict=True)]}  # fmt: skip
        if kind == "list":
            return made | {"items": [self.blocks(one, width_pt - _INDENT_PT)
                                     for one in block["items"]]}  # fmt: skip
        if kind == "pairs":
            letters = sum(len(text_of(words)) for row in block["rows"] for words in row)
            return made | {"whole": letters <= MOST_WHOLE, "rows": [
                [breakable(words) for words in row] for row in block["rows"]]}
        if kind == "plain":
            return made | {"text": "".join(breakable([block["text"]]))}
        if "blocks" in block:
            return made | {"blocks": self.blocks(block["blocks"], width_pt)}
        return made | {"words": breakable(block["words"])} if "words" in block else made

    def _table(self, block: Block, width_pt: float) -> Block:
        smaller, shares = self.document.letters_frac, block["shares"]
        sizes_pt = [size_pt * smaller for size_pt in TABLES_PT[self.document.look]]
        fill = self.document.look in ("booklet", "letter") or block["look"] in ("schedule", "tests")
        fitted = fit_table(block, width_pt, sizes_pt=sizes_pt, fill=fill)
        if shares:
            widths_pt = [round(width_pt * share / sum(shares), 2) for share in shares]
            fitted |= {"size_pt": sizes_pt[1], "widths_pt": widths_pt}
        return fitted

    def _picture(self, block: Block, width_pt: float) -> Block:
        most_pt = min(width_pt, block.get("largest_mm", 0.0) * _MM or width_pt)
        return {"kind": "picture", "look": block["look"], "alt": block["alt"],
                "file": self.file(block["content"]),
                "width_pt": drawn_width_pt(block["content"], most_pt)}  # fmt: skip

    def _formula(self, block: Block, width_pt: float) -> Block:
        drawn = str(maths_svg(block["tex"], display=True))
        style = drawn.partition('style="')[2].partition('"')[0]
        sizes = [float(part.partition(":")[2].removesuffix("em"))
                 for part in style.split(";") if part.startswith(("width", "height"))]  # fmt: skip
        part = min(1.0, width_pt / letters_pt(self.document) / sizes[0])
        svg = drawn.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
        return {"kind": "formula", "alt": block["tex"], "file": self.file(svg.encode("utf-8")),
                "width": sizes[0] * part, "height": sizes[1] * part}  # fmt: skip

