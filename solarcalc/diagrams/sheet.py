"""A sheet of paper in millimetres for lines, hatches and words as SVG, with border and heading."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

from solarcalc.sitefile.quote import Checked
from solarcalc.sitefile.status import Status

A4_LONG_MM, A4_SHORT_MM = 297.0, 210.0
"""ISO 216: A4."""
SMALLEST_MM = 2.5
"""Letters of no text are smaller on A4 [mm]; common practice, no source."""
TEXT_MM, SMALL_MM, TITLE_MM = 2.8, 2.5, 5.0
THIN_MM, LINE_MM, THICK_MM = 0.18, 0.35, 1.0
"""Line widths of ISO 128-2: 0.18 and 0.35 mm; bars 1 mm."""
EM_WIDTH, WIDE_EM = 0.6, 1.05
"""Width of a letter in its size: wider than most of a sans-serif; of a full-width letter."""
MARK_OPACITY, MARK_TURN_DEG = 0.13, 25.0
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


class Sheet:
    """What is drawn on one sheet, x to the right and y down from its upper left corner [mm].

    Parameters
    ----------
    name : str
        Of the kind of drawing, such as ``"single-line"``; marks of this sheet begin with it, so
        that several drawings can stand in one page.
    title, description : str
        For readers who cannot see it.
    width_mm, height_mm : float
        [mm].
    """

    def __init__(self, name: str, title: str, description: str, *,
                 width_mm: float = A4_LONG_MM, height_mm: float = A4_SHORT_MM) -> None:  # fmt: skip
        self.name, self.title, self.description = name, title, description
        self.width_mm, self.height_mm = width_mm, height_mm
        self.words: list[WordBox] = []
        self._parts: list[str] = []
        self._hatches: dict[str, str] = {}
        self._mark: list[str] = []

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
            f'<rect width="{wide}" height="{high}" fill="white"/>',
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


BORDER_MM = 5.0
FOOT_TOP_MM = 190.6
NOTES_MM, NOTE_STEP_MM, CLOSE_STEP_MM = 145.0, 3.2, 2.7
"""Width of the notes, and from line to line of four and of five [mm]."""
CAUTION = (
    "To be checked by a licensed electrician under local codes before any work begins.",
    "Danger: modules in daylight and batteries at any time stay live; no switch at the source.",
)
"""Written at the foot of every drawing that people build by."""


SHEETS = ("single-line", "earthing", "room", "roof", "terminals")
"""The drawings of a site in the order of their sheets, by the name of their kind."""
NOT_CHECKED = ("NOT FOR CONSTRUCTION", "NOT CHECKED")
FIELDS_LEFT_MM = 150.0
"""Where the fields beside the heading begin [mm]."""
BLANK = "________"
NOBODY = Checked()
"""No person has checked it."""
FIRST = Status()
"""The first revision, without a day."""


def drawing_number(site_name: str, sheet: int) -> str:
    """Initials of a site and the number of the sheet.

    Examples
    --------
    >>> drawing_number("Coral Street Pharmacy", 5)
    'CSP-05'
    """
    initials = "".join(word[0] for word in re.findall(r"[^\W\d_]+", site_name))[:4].upper()
    return f"{initials or 'SITE'}-{sheet:02d}"


def title_fields(
    name: str, site_name: str, checked: Checked, status: Status
) -> tuple[str, str]:
    """Two lines beside the heading: what sheet it is, and who has checked it or a blank for it.

    Parameters
    ----------
    name : str
        Of the kind of drawing: one of `SHEETS`, maybe with a board after it.
    site_name : str
    checked : Checked
        Of the site file; nothing in it is a check of ours.
    status : Status
        Its revision and day.
    """
    number = next(n for n, kind in enumerate(SHEETS, start=1) if name.startswith(kind))
    by, licence, day = (
        (checked.name, checked.licence, checked.date) if checked.done else (BLANK, BLANK, BLANK)
    )
    return (
        f"Drawing {drawing_number(site_name, number)} · Revision {status.revision or BLANK}"
        f" · Date {status.date or BLANK} · Sheet {number}/{len(SHEETS)}",
        f"Checked by {by} · Licence {licence} · Date {day}",
    )


def draw_frame(sheet: Sheet, site_name: str, kind: str, notes: Sequence[str],
               checked: Checked, status: Status) -> None:  # fmt: skip
    """Border, heading with its fields, notes and caution; a mark across what nobody checked.

    Parameters
    ----------
    sheet : Sheet
    site_name : str
        Of any length and in any letters; cut where there is no room.
    kind : str
        What is drawn.
    notes : sequence of str
        One after another, in four lines, or in five closer ones; the last is cut where there is
        no room.
    checked : Checked
        Who checked the drawing, by the site file.
    status : Status
        Its revision and day.
    """
    right_mm, foot_mm = sheet.width_mm - BORDER_MM, sheet.height_mm - BORDER_MM
    sheet.box(BORDER_MM, BORDER_MM, right_mm, foot_mm, width_mm=THIN_MM)
    sheet.path([(BORDER_MM, FOOT_TOP_MM), (right_mm, FOOT_TOP_MM)], width_mm=THIN_MM)
    heading = fitted(f"{kind}: {site_name}", FIELDS_LEFT_MM - 10.0, size_mm=TITLE_MM * 0.8,
                     lines=1)  # fmt: skip
    sheet.lines(8.0, 11.2, heading, size_mm=TITLE_MM * 0.8, bold_first=True)
    for y_mm, line in zip((8.4, 11.9), title_fields(sheet.name, site_name, checked, status),
                          strict=True):
        words = fitted(line, right_mm - 2.0 - FIELDS_LEFT_MM, size_mm=SMALL_MM, lines=1)
        sheet.text(right_mm - 2.0, y_mm, words[0], size_mm=SMALL_MM, anchor="end")
    if not checked.done:
        sheet.mark(NOT_CHECKED)
    y_mm = FOOT_TOP_MM + 3.9
    for line, bold in [(each, True) for each in CAUTION[:1]] + [(CAUTION[1], False)]:
        sheet.text(right_mm - 2.0, y_mm, line, size_mm=SMALL_MM, anchor="end", bold=bold)
        y_mm += 3.6
    sheet.text(right_mm - 2.0, y_mm, "Made from the site file; not to scale where no scale is"
               " shown.", size_mm=SMALL_MM, anchor="end")  # fmt: skip
    lines = fitted(" ".join(notes), NOTES_MM, size_mm=SMALL_MM, lines=5)
    step_mm = NOTE_STEP_MM if len(lines) < 5 else CLOSE_STEP_MM
    y_mm = FOOT_TOP_MM + 0.2 + step_mm
    for line in lines:
        sheet.text(8.0, y_mm, line, size_mm=SMALL_MM)
        y_mm += step_mm
