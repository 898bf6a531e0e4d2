"""A sheet of paper in millimetres for lines, hatches and words as SVG, with its title block."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

from solarcalc import __version__
from solarcalc.basis.messages import PATTERN
from solarcalc.basis.phrases import phrase
from solarcalc.basis.text import initials, short_name, spelt
from solarcalc.sitefile.quote import Checked, Firm
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.status import Status

A4_LONG_MM, A4_SHORT_MM, A3_LONG_MM, A3_SHORT_MM = 297.0, 210.0, 420.0, 297.0
"""ISO 216: A4 and A3."""
SMALLEST_MM = 2.5
"""Letters of no text are smaller at print size [mm]; common practice, no source."""
TEXT_MM, SMALL_MM, TITLE_MM = 2.8, 2.5, 5.0
THIN_MM, LINE_MM, THICK_MM = 0.25, 0.35, 1.0
"""Line widths of ISO 128-2: 0.25 and 0.35 mm; bars 1 mm. None is thinner, so that a copy holds."""
EM_WIDTH, WIDE_EM = 0.6, 1.05
"""Width of a letter in its size: wider than most of a sans-serif; of a full-width letter."""
MARK_OPACITY, MARK_TURN_DEG = 0.09, 25.0
"""Of the words that lie across a sheet: what they cover can still be read."""
DASHED, DASH_DOT = "2 1.2", "4 1 0.6 1"
KEPT = "\u00a0"
"""A space at which no line is broken."""
_UNIT = re.compile(r"(?<=\d) (?=(?:k?[VWA]|[WAk]h|kWh)\b)")

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]


class Said(str):
    """Words that are in the language of their sheet already."""

    __slots__ = ()


@dataclass(frozen=True, kw_only=True)
class WordBox:
    """Where a line of words lies [mm], and what it says."""

    words: str
    left_mm: float
    top_mm: float
    right_mm: float
    bottom_mm: float


def words_width_mm(words: str, size_mm: float) -> float:
    """Width that a line of words takes at most, by the letter [mm]."""
    ems = [
        0.0 if unicodedata.combining(mark)
        else WIDE_EM if unicodedata.east_asian_width(mark) in "WF"
        else EM_WIDTH
        for mark in words
    ]  # fmt: skip
    return size_mm * sum(ems)


def fitted(words: str, width_mm: float, *, size_mm: float = TEXT_MM, lines: int = 2) -> list[str]:
    """Words broken into at most `lines` lines of a width [mm]; what is cut off ends in "…".

    Examples
    --------
    >>> fitted("battery to inverter", 20.0, lines=2)
    ['battery to', 'inverter']
    >>> fitted("battery to inverter", 20.0, lines=1)
    ['battery to…']
    """
    kept: list[str] = []
    for word in words.replace("\n", " ").split(" "):
        if not word:
            continue
        if kept and words_width_mm(f"{kept[-1]} {word}", size_mm) <= width_mm:
            kept[-1] += f" {word}"
            continue
        pieces = _broken(word, width_mm, size_mm)
        kept += pieces
    if len(kept) <= lines:
        return kept
    last = kept[lines - 1]
    while last and words_width_mm(last + "…", size_mm) > width_mm:
        last = last[:-1]
    return [*kept[: lines - 1], last.rstrip(" ,;:") + "…"]


def _broken(word: str, width_mm: float, size_mm: float) -> list[str]:
    """A word in pieces that each fit."""
    pieces, piece = [], ""
    for mark in word:
        if piece and words_width_mm(piece + mark, size_mm) > width_mm:
            pieces.append(piece)
            piece = ""
        piece += mark
    return [*pieces, piece]


def joined(pieces: Sequence[str], width_mm: float, *, lines: int = 3) -> list[str]:
    """Pieces side by side with commas, in at most `lines` lines; those at the end without room go.

    Examples
    --------
    >>> joined(["16 A", "2 poles", "curve C", "6 kA"], 26.0, lines=2)
    ['16 A, 2 poles', 'curve C, 6 kA']
    >>> joined(["16 A", "2 poles", "curve C", "6 kA"], 26.0, lines=1)
    ['16 A, 2 poles']
    """
    kept: list[str] = []
    for piece in pieces:
        longer = f"{kept[-1]}, {piece}" if kept else piece
        if kept and words_width_mm(longer, TEXT_MM) <= width_mm:
            kept[-1] = longer
            continue
        room = lines - len(kept)
        broken = fitted(piece, width_mm, lines=room) if room > 0 else []
        if not broken or (kept and broken[-1].endswith("…")):
            break
        kept += broken
    return kept


def with_unit_kept(words: str) -> str:
    """Words in which no line is broken between a number and its unit."""
    return _UNIT.sub(KEPT, words)


class Sheet:
    """What is drawn on one sheet, x to the right and y down from its upper left corner [mm].

    Every word on it comes in English and is drawn in the language of the sheet.

    Parameters
    ----------
    name : str
        Of the kind of drawing, such as ``"single-line"``; marks of this sheet begin with it, so
        that several drawings can stand in one page.
    title, description : str
        For readers who cannot see it.
    width_mm, height_mm : float
        [mm].
    language : str
        Of its words, such as ``"fr"``.
    """

    def __init__(self, name: str, title: str, description: str, *, width_mm: float = A4_LONG_MM,
                 height_mm: float = A4_SHORT_MM, language: str = PATTERN) -> None:  # fmt: skip
        self.name, self.language = name, language
        self.title, self.description = self.said(title), self.said(description)
        self.width_mm, self.height_mm = width_mm, height_mm
        self.words: list[WordBox] = []
        self._parts: list[str] = []
        self._hatches: dict[str, str] = {}
        self._mark: list[str] = []

    @property
    def in_words(self) -> str:
        """What it is and what it shows, for a reader who cannot see it."""
        return f"{self.title}{self.said(': ')}{self.description}"

    def said(self, words: str) -> Said:
        """Words in the language of the sheet; what is in it already stays as it is."""
        if isinstance(words, Said):
            return words
        if self.language == PATTERN:
            return Said(spelt(words))
        said = phrase(words.replace(KEPT, " "), self.language)
        if KEPT in words:
            said = with_unit_kept(said) if " " in words else said.replace(" ", KEPT)
        return Said(spelt(said))

    def fitted(self, words: str, width_mm: float, *, size_mm: float = TEXT_MM,
               lines: int = 2) -> list[str]:  # fmt: skip
        """The same as `fitted`, of words in the language of the sheet."""
        return [Said(line) for line in fitted(self.said(words), width_mm, size_mm=size_mm,
                                              lines=lines)]  # fmt: skip

    def joined(self, pieces: Sequence[str], width_mm: float, *, lines: int = 3) -> list[str]:
        """The same as `joined`, of pieces in the language of the sheet."""
        return [Said(line) for line in joined([self.said(one) for one in pieces], width_mm,
                                              lines=lines)]  # fmt: skip

    def path(self, points: Sequence[Point], *, width_mm: float = LINE_MM, dash: str = "",
             closed: bool = False, fill: str = "none") -> None:  # fmt: skip
        """Straight lines from point to point."""
        ways = "L".join(f"{_n(x)} {_n(y)}" for x, y in points)
        self._draw("path", f'd="M{ways}{"Z" if closed else ""}"', width_mm, dash, fill)

    def box(self, left_mm: float, top_mm: float, right_mm: float, bottom_mm: float, *,
            width_mm: float = LINE_MM, dash: str = "", fill: str = "none") -> None:  # fmt: skip
        """A rectangle."""
        where = (f'x="{_n(left_mm)}" y="{_n(top_mm)}" width="{_n(right_mm - left_mm)}"'
                 f' height="{_n(bottom_mm - top_mm)}"')  # fmt: skip
        self._draw("rect", where, width_mm, dash, fill)

    def circle(self, x_mm: float, y_mm: float, radius_mm: float, *, width_mm: float = LINE_MM,
               dash: str = "", fill: str = "none") -> None:  # fmt: skip
        """A circle; with `fill` "black" a dot."""
        self._draw("circle", f'cx="{_n(x_mm)}" cy="{_n(y_mm)}" r="{_n(radius_mm)}"', width_mm,
                   dash, fill)  # fmt: skip

    def curve(self, ways: str, *, width_mm: float = LINE_MM, dash: str = "") -> None:
        """A path as SVG writes it, for bows."""
        self._draw("path", f'd="{ways}"', width_mm, dash, "none")

    def text(self, x_mm: float, y_mm: float, words: str, *, size_mm: float = TEXT_MM,
             anchor: Anchor = "start", bold: bool = False) -> None:  # fmt: skip
        """One line of words, its foot at `y_mm`."""
        if not words:
            return
        words = self.said(words)
        wide_mm = words_width_mm(words, size_mm)
        left_mm = x_mm - {"start": 0.0, "middle": wide_mm / 2.0, "end": wide_mm}[anchor]
        self.words.append(WordBox(words=words, left_mm=left_mm, top_mm=y_mm - 0.8 * size_mm,
                                  right_mm=left_mm + wide_mm,
                                  bottom_mm=y_mm + 0.22 * size_mm))  # fmt: skip
        weight = ' font-weight="bold"' if bold else ""
        self._parts.append(
            f'<text x="{_n(x_mm)}" y="{_n(y_mm)}" font-size="{_n(size_mm)}"'
            f' text-anchor="{anchor}"{weight}>{escape(words)}</text>'
        )

    def lines(self, x_mm: float, y_mm: float, words: Sequence[str], *, size_mm: float = TEXT_MM,
              anchor: Anchor = "start", bold_first: bool = False) -> float:  # fmt: skip
        """Lines of words one under another from `y_mm` on; returns the foot of the next [mm]."""
        for number, line in enumerate(words):
            self.text(x_mm, y_mm, line, size_mm=size_mm, anchor=anchor,
                      bold=bold_first and number == 0)  # fmt: skip
            y_mm += 1.25 * size_mm
        return y_mm

    def mark(self, words: Sequence[str]) -> None:
        """Pale words slanted across the whole sheet, over all that is drawn."""
        x_mm, y_mm = self.width_mm / 2.0, self.height_mm / 2.0
        words = [self.said(line) for line in words]
        size_mm = 0.85 * self.width_mm / max(words_width_mm(line, 1.0) for line in words)
        self._mark = [
            f'<text class="mark" x="{_n(x_mm)}" y="{_n(y_mm + 1.25 * size_mm * number)}"'
            f' font-size="{_n(size_mm)}" text-anchor="middle" font-weight="bold"'
            f' fill-opacity="{MARK_OPACITY:g}"'
            f' transform="rotate({-MARK_TURN_DEG:g} {_n(x_mm)} {_n(y_mm)})">{escape(line)}</text>'
            for number, line in enumerate(words)
        ]

    def hatch(self, key: str, *, apart_mm: float = 1.5, turn_deg: float = 45.0) -> str:
        """Fill of slanted lines, for `box` and `path`."""
        mark = f"{self.name}-{key}"
        self._hatches[mark] = (
            f'<pattern id="{mark}" width="{_n(apart_mm)}" height="{_n(apart_mm)}"'
            f' patternUnits="userSpaceOnUse" patternTransform="rotate({_n(turn_deg)})">'
            f'<path d="M0 0L0 {_n(apart_mm)}" stroke="black" stroke-width="{_n(THIN_MM)}"/>'
            "</pattern>"
        )
        return f"url(#{mark})"

    def svg(self) -> str:
        """The whole sheet as SVG: nothing outside it is needed to show it."""
        wide, high = _n(self.width_mm), _n(self.height_mm)
        marks = f"{self.name}-title", f"{self.name}-desc"
        return "\n".join([
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide} {high}" width="100%"'
            f' role="img" aria-labelledby="{marks[0]} {marks[1]}" font-family="sans-serif"'
            ' fill="black" stroke-linecap="butt" stroke-linejoin="miter">',
            f"<title id={quoteattr(marks[0])}>{escape(self.title)}</title>",
            f"<desc id={quoteattr(marks[1])}>{escape(self.description)}</desc>",
            *(["<defs>", *self._hatches.values(), "</defs>"] if self._hatches else []),
            f'<rect x="{_n(BORDER_MM)}" y="{_n(BORDER_MM)}"'
            f' width="{_n(self.width_mm - 2.0 * BORDER_MM)}"'
            f' height="{_n(self.height_mm - 2.0 * BORDER_MM)}" fill="white"/>',
            *self._parts,
            *self._mark,
            "</svg>\n",
        ])  # fmt: skip

    def _draw(self, kind: str, where: str, width_mm: float, dash: str, fill: str) -> None:
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<{kind} {where} fill="{fill}" stroke="black" stroke-width="{_n(width_mm)}"{dashes}/>'
        )


def _n(value: float) -> str:
    """A number of millimetres as short as it goes, always the same."""
    if not math.isfinite(value):
        raise ArithmeticError(f"a place on the sheet that is {value}")
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def paper_of(svg: str) -> Literal["a4", "a3"]:
    """The paper that a sheet is drawn for, lying."""
    return "a3" if f'viewBox="0 0 {A3_LONG_MM:g} ' in svg else "a4"


BORDER_MM = 5.0
BLOCK_MM, BLOCK_ROW_MM = 141.0, 3.6
"""Width of the title block, and of each of its four rows [mm]."""
FOOT_MM = 19.4
"""Height of the foot with notes and title block, and of the border under it [mm]."""
NOTES_MM, NOTE_STEP_MM, CLOSE_STEP_MM = 141.0, 3.2, 2.7
"""Width of the notes on A4, and from line to line of four and of five [mm]."""
SAFETY = (
    "To be checked by a licensed electrician under local codes before any work begins.",
    "DANGER: modules in daylight and batteries at any time stay live; no switch at the source.",
)
"""Written at the head of every drawing that people build by."""
HEADING_MM = 138.0
"""Room for the heading, left of the safety lines [mm]."""
NOT_CHECKED = ("NOT FOR CONSTRUCTION", "NOT CHECKED")
BLANK = "________"
TITLE_LETTERS, NUMBER_LETTERS = 25, 16
"""At most, by ISO 7200."""
SAID_FIELDS = ("Type", "Status")
"""Fields whose value is a word of ours, and not a name, a number or a day."""
SHEETS = 16
"""Of a site pack, continuation sheets apart."""
NO_SCALE = "not to scale"
NOBODY, FIRST, NO_FIRM = Checked(), Status(), Firm()
"""No person has checked it; the first revision, without a day; no firm."""
STATUS = {
    "survey": "draft", "design": "for approval", "offer": "for approval",
    "build": "for construction", "test": "for construction", "handover": "as built",
    "visit": "as built",
}  # fmt: skip
"""Status of a document by the stage of its job; without an approval none goes beyond the second."""


@dataclass(frozen=True, kw_only=True)
class TitleBlock:
    """What a document says of itself: the fields of ISO 7200, made by `title_block` alone.

    Parameters
    ----------
    site : str
        Name of the site.
    firm : str
        Legal owner; "" where the site file names none.
    number : str
        Site, kind of document and sheet, such as ``RRC-SP-05``; at most 16 letters.
    revision, issued : str
        Revision and its day; "" where there is none yet.
    sheet, sheets : str
        Number of the sheet, and of how many.
    title, kind : str
        At most 25 letters; type of document.
    created, checked, approved : str
        By whom; "" for a blank to sign in.
    status, language, scale : str
    """

    site: str
    firm: str
    number: str
    revision: str
    issued: str
    sheet: str
    sheets: str
    title: str
    kind: str
    created: str
    checked: str
    approved: str
    status: str
    language: str
    scale: str

    @property
    def fields(self) -> tuple[tuple[str, str], ...]:
        """Name and value of each field, in the order of reading; a blank where nothing stands."""
        return (
            ("Firm", self.firm or BLANK), ("Title", self.title), ("Number", self.number),
            ("Type", self.kind), ("Created", self.created),
            ("Sheet", f"{self.sheet}/{self.sheets}"),
            ("Checked", self.checked or BLANK), ("Approved", self.approved or BLANK),
            ("Revision", self.revision or BLANK), ("Issued", self.issued or BLANK),
            ("Status", self.status), ("Language", self.language), ("Scale", self.scale),
        )  # fmt: skip


def document_number(site_name: str, code: str) -> str:
    """Initials of a site, then the code of a document with its sheet.

    Examples
    --------
    >>> document_number("Ridge Road Clinic", "SP-05")
    'RRC-SP-05'
    """
    return f"{initials(site_name)}-{code}"[:NUMBER_LETTERS]


@dataclass(frozen=True, kw_only=True)
class Signed:
    """The tables of a site file that a title block is read off.

    Parameters
    ----------
    name : str
        Of the site.
    checked : Checked
    status : Status
    firm : Firm
    """

    name: str
    checked: Checked = NOBODY
    status: Status = FIRST
    firm: Firm = NO_FIRM


def title_block(site: Site | Signed, *, number: str, sheet: int | str, title: str,
                sheets: int = SHEETS, scale: str = NO_SCALE, kind: str = "site pack drawing",
                language: str = PATTERN) -> TitleBlock:  # fmt: skip
    """The title block of a document of a site: no other is made.

    Parameters
    ----------
    site : Site or Signed
        For its name, firm, status, and who checked it.
    number : str
        Code of the document and its sheet, such as ``"SP-05"``; the site's initials go before.
    sheet, sheets : int or str
        Such as 5, or ``"7a"``, of how many.
    title : str
        Cut after 25 letters.
    scale : str
        Such as ``"1:50"``.
    kind : str
        Type of document.
    language : str
        Of its words, in which `draw_frame` writes the fields.
    """
    name = site.name if isinstance(site, Signed) else site.site.name
    checked, stage = site.checked, STATUS[site.status.stage]
    return TitleBlock(
        site=short_name(name), firm=site.firm.name, number=document_number(name, number),
        revision=site.status.revision, issued=site.status.date,
        sheet=str(sheet), sheets=str(sheets), kind=kind, scale=scale,
        language=language, title=_short_title(title),
        created=f"solarcalc {__version__}",
        checked=f"{checked.name}, {checked.date}" if checked.done else "",
        approved=f"{checked.name}, {checked.licence}" if checked.done else "",
        status=stage if checked.done or stage == "draft" else "for approval",
    )  # fmt: skip


def _short_title(title: str) -> str:
    return title if len(title) <= TITLE_LETTERS else title[: TITLE_LETTERS - 1] + "…"


def draw_frame(sheet: Sheet, block: TitleBlock, notes: Sequence[str]) -> None:
    """Border, heading, safety lines, notes and title block; a mark across what is not approved.

    Parameters
    ----------
    sheet : Sheet
        A4 or A3, lying.
    block : TitleBlock
        Its words are cut where there is no room.
    notes : sequence of str
        One after another, in four lines, or in five closer ones; the last is cut where there is
        no room.
    """
    right_mm, foot_mm = sheet.width_mm - BORDER_MM, sheet.height_mm - BORDER_MM
    top_mm = sheet.height_mm - FOOT_MM
    sheet.box(BORDER_MM, BORDER_MM, right_mm, foot_mm, width_mm=THIN_MM)
    sheet.path([(BORDER_MM, top_mm), (right_mm, top_mm)], width_mm=THIN_MM)
    title = Said(_short_title(sheet.said(block.title)))
    heading = fitted(f"{title}{sheet.said(': ')}{block.site}", HEADING_MM,
                     size_mm=TITLE_MM * 0.8, lines=1)  # fmt: skip
    heading = [Said(line) for line in heading]
    sheet.lines(8.0, 11.2, heading, size_mm=TITLE_MM * 0.8, bold_first=True)
    for y_mm, line, bold in zip((8.4, 11.9), SAFETY, (True, False), strict=True):
        sheet.text(right_mm - 2.0, y_mm, line, size_mm=SMALL_MM, anchor="end", bold=bold)
    if not block.approved:
        sheet.mark(NOT_CHECKED)
    _draw_block(sheet, block, title, right_mm - BLOCK_MM, top_mm)
    width_mm = sheet.width_mm - A4_LONG_MM + NOTES_MM
    lines = sheet.fitted(Said(" ".join(sheet.said(note) for note in notes)), width_mm,
                         size_mm=SMALL_MM, lines=5)  # fmt: skip
    step_mm = NOTE_STEP_MM if len(lines) < 5 else CLOSE_STEP_MM
    y_mm = top_mm + 0.2 + step_mm
    for line in lines:
        sheet.text(8.0, y_mm, line, size_mm=SMALL_MM)
        y_mm += step_mm


def _draw_block(sheet: Sheet, block: TitleBlock, title: Said, left_mm: float,
                top_mm: float) -> None:  # fmt: skip
    """Four rows of cells: name and value of each field in one line."""
    named = {
        name: Said(f"{sheet.said(name)} {sheet.said(value) if name in SAID_FIELDS else value}")
        for name, value in block.fields
    }
    rows: list[list[tuple[float, str, bool]]] = [
        [(66.0, named["Firm"], False), (45.0, title, True), (30.0, Said(block.number), True)],
        [(66.0, named["Type"], False), (45.0, named["Created"], False),
         (30.0, named["Sheet"], False)],
        [(66.0, named["Checked"], False), (75.0, named["Approved"], False)],
        [(39.0, named["Status"], False), (19.5, named["Language"], False),
         (34.5, f"Scale {block.scale}", False), (18.0, f"Rev {block.revision or BLANK}", False),
         (30.0, named["Issued"], False)],
    ]  # fmt: skip
    for number, row in enumerate(rows):
        x_mm, y_mm = left_mm, top_mm + number * BLOCK_ROW_MM
        sheet.path([(left_mm, y_mm), (left_mm + BLOCK_MM, y_mm)], width_mm=THIN_MM)
        for wide_mm, words, bold in row:
            sheet.path([(x_mm, y_mm), (x_mm, y_mm + BLOCK_ROW_MM)], width_mm=THIN_MM)
            line = sheet.fitted(words, wide_mm - 1.6, size_mm=SMALL_MM, lines=1)
            sheet.text(x_mm + 0.9, y_mm + 2.7, line[0], size_mm=SMALL_MM, bold=bold)
            x_mm += wide_mm
