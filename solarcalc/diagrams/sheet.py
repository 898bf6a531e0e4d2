"""A sheet of paper in millimetres for lines, hatches and words as SVG, with its title block."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

from solarcalc import __version__
from solarcalc.basis.messages import PATTERN, languages
from solarcalc.basis.phrases import phrase, plain
from solarcalc.basis.text import initials, short_name, spelt
from solarcalc.diagrams.lettering import (
    KEPT,
    SMALL_MM,
    TEXT_MM,
    TITLE_MM,
    Said,
    fitted,
    joined,
    joined_count,
    with_unit_kept,
    words_width_mm,
)
from solarcalc.sitefile.quote import Checked, Firm
from solarcalc.sitefile.site import Site
from solarcalc.sitefile.status import Status, drawing_status

A4_LONG_MM, A4_SHORT_MM, A3_LONG_MM, A3_SHORT_MM = 297.0, 210.0, 420.0, 297.0
"""ISO 216: A4 and A3."""
THIN_MM, LINE_MM, THICK_MM = 0.25, 0.35, 1.0
"""Line widths of ISO 128-2: 0.25 and 0.35 mm; bars 1 mm. None is thinner, so that a copy holds."""
MARK_OPACITY, MARK_TURN_DEG = 0.09, 25.0
"""Of the words that lie across a sheet: what they cover can still be read."""
DASHED, DASH_DOT = "2 1.2", "4 1 0.6 1"

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class WordBox:
    """Where a line of words lies [mm], and what it says."""

    words: str
    left_mm: float
    top_mm: float
    right_mm: float
    bottom_mm: float


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
        return self._said(words, self.language)

    def in_every_language(self, words: str) -> list[Said]:
        """The same words in each language there is: what is left out is the same in all."""
        return [self._said(words, language) for language in languages()]

    def lines_in_all(self, words: str, width_mm: float) -> int:
        """Lines of a width [mm] that words take where they take most, 2 at most."""
        return max(len(fitted(said, width_mm)) for said in self.in_every_language(words))

    def _said(self, words: str, language: str) -> Said:
        if isinstance(words, Said):
            return words
        if language == PATTERN:
            return Said(spelt(words))
        said = phrase(plain(words.replace(KEPT, " ")), language)
        if KEPT in words:
            said = with_unit_kept(said) if " " in words else said.replace(" ", KEPT)
        return Said(spelt(said))

    def fitted(self, words: str, width_mm: float, *, size_mm: float = TEXT_MM,
               lines: int = 2) -> list[str]:  # fmt: skip
        """The same as `fitted`, of words in the language of the sheet."""
        return [Said(line) for line in fitted(self.said(words), width_mm, size_mm=size_mm,
                                              lines=lines)]  # fmt: skip

    def joined(self, pieces: Sequence[str], width_mm: float, *, lines: int = 3) -> list[str]:
        """The same as `joined`, of pieces in the language of the sheet.

        As many of them as have room in every language, so that the schedule is left the same in
        each. A piece that is kept on one line but has no room on it is broken at its spaces.
        """
        count = min(joined_count(self._pieces(pieces, language, width_mm), width_mm, lines=lines)
                    for language in languages())  # fmt: skip
        said = self._pieces(pieces[:count], self.language, width_mm)
        return [Said(line) for line in joined(said, width_mm, lines=lines)]

    def _pieces(self, pieces: Sequence[str], language: str, width_mm: float) -> list[Said]:
        said = (self._said(one, language) for one in pieces)
        return [one if words_width_mm(one, TEXT_MM) <= width_mm else Said(one.replace(KEPT, " "))
                for one in said]  # fmt: skip

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
CELL_RIM_MM = 1.6
"""Of a cell that its words leave free, both sides together [mm]."""
FOOT_MM = 19.4
"""Height of the foot with notes and title block, and of the border under it [mm]."""
NOTES_MM, NOTE_STEP_MM, CLOSE_STEP_MM = 141.0, 3.2, 2.7
"""Width of the notes on A4, and from line to line of four and of five [mm]."""
MOST_NOTES = 5
"""Lines of notes."""
SAFETY = (
    "To be checked by a licensed electrician under local codes before any work begins.",
    "DANGER: modules in daylight and batteries at any time stay live; no switch at the source.",
)
"""Written at the head of every drawing that people build by."""
HEADING_MM = 138.0
"""Room for the heading, left of the safety lines [mm]."""
HEADINGS_MM = (TITLE_MM * 0.8, TITLE_MM * 0.7, TITLE_MM * 0.6)
"""Letters of the heading: the largest at which it has room, cut at the largest where it has none
[mm]."""
NOT_CHECKED = ("NOT FOR CONSTRUCTION", "NOT CHECKED")
BLANK = "________"
TITLE_LETTERS, NUMBER_LETTERS = 25, 16
"""At most, by ISO 7200; a further title behind a comma has as many for itself."""
SAID_FIELDS = ("Type", "Status")
"""Fields whose value is a word of ours, and not a name, a number or a day."""
SHEETS = 14
"""Of a site pack, continuation sheets apart."""
NO_SCALE = "not to scale"
NOBODY, FIRST, NO_FIRM = Checked(), Status(), Firm()
"""No person has checked it; the first revision, without a day; no firm."""


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
    checked = site.checked
    issue = site.status.latest_issue(number.partition("-")[0])
    return TitleBlock(
        site=short_name(name), firm=site.firm.name, number=document_number(name, number),
        revision=site.status.revision, issued=issue.date if issue else site.status.date,
        sheet=str(sheet), sheets=str(sheets), kind=kind, scale=scale,
        language=language, title=_short_title(title),
        created=f"solarcalc {__version__}",
        checked=f"{checked.name}, {checked.date}" if checked.done else "",
        approved=f"{checked.name}, {checked.licence}" if checked.done else "",
        status=drawing_status(site.status, approved=checked.done),
    )  # fmt: skip


def _short_title(title: str) -> str:
    return ", ".join(part if len(part) <= TITLE_LETTERS else part[: TITLE_LETTERS - 1] + "…"
                     for part in title.split(", ", 1))  # fmt: skip


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
    words = f"{title}{sheet.said(': ')}{block.site}"
    size_mm = next((one for one in HEADINGS_MM if words_width_mm(words, one) <= HEADING_MM),
                   HEADINGS_MM[0])  # fmt: skip
    heading = [Said(line) for line in fitted(words, HEADING_MM, size_mm=size_mm, lines=1)]
    sheet.lines(8.0, 11.2, heading, size_mm=size_mm, bold_first=True)
    for y_mm, line, bold in zip((8.4, 11.9), SAFETY, (True, False), strict=True):
        sheet.text(right_mm - 2.0, y_mm, line, size_mm=SMALL_MM, anchor="end", bold=bold)
    if not block.approved:
        sheet.mark(NOT_CHECKED)
    _draw_block(sheet, block, title, right_mm - BLOCK_MM, top_mm)
    lines = sheet.fitted(Said(" ".join(sheet.said(note) for note in notes)), _notes_mm(sheet),
                         size_mm=SMALL_MM, lines=MOST_NOTES)  # fmt: skip
    step_mm = NOTE_STEP_MM if len(lines) < 5 else CLOSE_STEP_MM
    y_mm = top_mm + 0.2 + step_mm
    for line in lines:
        sheet.text(8.0, y_mm, line, size_mm=SMALL_MM)
        y_mm += step_mm


def _notes_mm(sheet: Sheet) -> float:
    return sheet.width_mm - A4_LONG_MM + NOTES_MM


def notes_fit(sheet: Sheet, notes: Sequence[str]) -> bool:
    """Whether notes have room in the frame of a sheet whole, whatever the language."""
    in_each = zip(*map(sheet.in_every_language, notes), strict=True)
    return not any(line.endswith("…") for said in in_each for line in fitted(
        " ".join(said), _notes_mm(sheet), size_mm=SMALL_MM, lines=MOST_NOTES)[-1:])


def _draw_block(sheet: Sheet, block: TitleBlock, title: Said, left_mm: float,
                top_mm: float) -> None:  # fmt: skip
    """Four rows of cells: name and value of each field in one line."""
    named = {
        name: Said(f"{sheet.said(name)} {sheet.said(value) if name in SAID_FIELDS else value}")
        for name, value in block.fields
    }
    revision = Said(f"{sheet.said('Rev')} {block.revision or BLANK}")
    rows: list[list[tuple[float, str, bool]]] = [
        [(66.0, named["Firm"], False), (45.0, title, True), (30.0, Said(block.number), True)],
        [(66.0, named["Type"], False), (45.0, named["Created"], False),
         (30.0, named["Sheet"], False)],
        [(66.0, named["Checked"], False), (75.0, named["Approved"], False)],
        [(39.0, named["Status"], False), (19.5, named["Language"], False),
         (34.5, sheet.said(f"Scale {block.scale}"), False), (18.0, revision, False),
         (30.0, named["Issued"], False)],
    ]  # fmt: skip
    rows[0], rows[-1] = _with_room(rows[0]), _with_room(rows[-1])
    for number, row in enumerate(rows):
        x_mm, y_mm = left_mm, top_mm + number * BLOCK_ROW_MM
        sheet.path([(left_mm, y_mm), (left_mm + BLOCK_MM, y_mm)], width_mm=THIN_MM)
        for wide_mm, words, bold in row:
            sheet.path([(x_mm, y_mm), (x_mm, y_mm + BLOCK_ROW_MM)], width_mm=THIN_MM)
            line = sheet.fitted(words, wide_mm - CELL_RIM_MM, size_mm=SMALL_MM, lines=1)
            sheet.text(x_mm + 0.9, y_mm + 2.7, line[0], size_mm=SMALL_MM, bold=bold)
            x_mm += wide_mm


def _with_room(cells: Sequence[tuple[float, str, bool]]) -> list[tuple[float, str, bool]]:
    """Cells of a row; where the words of one have no room, each as wide as its words ask for."""
    asked = [words_width_mm(words, SMALL_MM) + CELL_RIM_MM for _, words, _ in cells]
    wide = [wide_mm for wide_mm, _, _ in cells]
    spare_mm = (sum(wide) - sum(asked)) / len(cells)
    if spare_mm < 0.0 or all(need <= has for need, has in zip(asked, wide, strict=True)):
        return list(cells)
    return [(need + spare_mm, words, bold)
            for need, (_, words, bold) in zip(asked, cells, strict=True)]  # fmt: skip
