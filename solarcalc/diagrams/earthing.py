"""The earthing diagram: every conductor at the main earth bar, the electrode and its test link."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal, Protocol, get_args

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.messages import PATTERN
from solarcalc.diagrams.lettering import SMALL_MM
from solarcalc.diagrams.sheet import (
    DASHED,
    FIRST,
    LINE_MM,
    NO_FIRM,
    NOBODY,
    THIN_MM,
    Sheet,
    Signed,
    draw_frame,
    notes_fit,
    title_block,
)
from solarcalc.diagrams.symbols import Placer
from solarcalc.installation.records import Installation
from solarcalc.sitefile.quote import Checked, Firm
from solarcalc.sitefile.status import Status
from solarcalc.wiring.runs import states_of, stem_of
from solarcalc.wiring.switching import system_words

NO_TAGS: Mapping[str, str] = {}
EarthKind = Literal["frame", "equipment", "system", "surge", "lightning", "bonding", "electrode"]
HEADINGS: dict[EarthKind, str] = {
    "frame": "Module frames and rails",
    "equipment": "Enclosures (exposed-conductive-parts)",
    "surge": "Surge protective devices (SPD)",
    "bonding": "Main bonding of the building",
    "lightning": "Lightning protection system (LPS)",
    "system": "System earthing: neutral-earth bond",
    "electrode": "Earth electrode",
}
_LEFT: tuple[EarthKind, ...] = ("frame", "equipment", "surge", "bonding", "lightning")
BAR_LEFT_MM, BAR_RIGHT_MM = 150.0, 156.0
TOP_MM, BOTTOM_MM = 19.0, 186.0
HEAD_MM, MOST_STEP_MM = 5.2, 13.0
MOST_LEFT, MOST_RIGHT = 18, 7
BAR_WORDS = "main earth bar"
LOADS = {"essential": "essential loads", "nonessential": "non-essential loads"}
SUPPLY = {"grid": "grid", "generator": "generator", "inverter": "inverter alone"}
"""Supply states in words."""
TABLE_MM = 47.0
"""The table of bonds by supply state stands this far down without system conductors [mm]."""


@dataclass(frozen=True, kw_only=True)
class EarthLine:
    """One conductor that meets at the main earth bar.

    Parameters
    ----------
    number : int
        Terminal on the bar, as in its schedule; 0 for one that does not reach the bar.
    name : str
        What is earthed.
    from_words : str
        Where the conductor comes from.
    size_mm2 : float
        Copper [mm2].
    kind : {"frame", "equipment", "system", "surge", "lightning", "bonding", "electrode"}
    count : int
        Alike, each at a terminal of its own from `number` on.
    tag : str
        Of the conductor, such as ``"PE3"``.
    """

    number: int
    name: str
    from_words: str
    size_mm2: float
    kind: EarthKind
    count: int = 1
    tag: str = ""


@dataclass(frozen=True, kw_only=True)
class BondState:
    """Which neutral-earth bonds are closed for a board in a supply state.

    Parameters
    ----------
    supply : str
        What feeds, in words.
    boards : str
        Which board; both in one where they are alike.
    closed, opened : tuple of str
        Tags of the bonds.
    """

    supply: str
    boards: str
    closed: tuple[str, ...]
    opened: tuple[str, ...]

    @property
    def words(self) -> str:
        """State, board, what is closed and what is open."""
        closed = f"{' and '.join(self.closed)} closed" if self.closed else "none closed"
        opened = f"; {', '.join(self.opened)} open" if self.opened else ""
        return f"{self.supply}, {self.boards}: {closed}{opened}"


def bond_states(built: Installation) -> tuple[BondState, ...]:
    """Bonds closed and open by supply state and board, as the installation has them."""
    site, bonds, found = built.site, built.of_kind("bond"), []
    for state in states_of(site):
        each = [
            (board, tuple(bond.tag for bond in bonds
                          if state in bond.states and bond.board in ("", board)))
            for board in site.inverters
        ]  # fmt: skip
        if len({closed for _, closed in each}) == 1:
            each = [("both boards", each[0][1])]
        for board, closed in each:
            name = LOADS.get(board, board)
            found.append(BondState(
                supply=SUPPLY[state], boards=name, closed=closed,
                opened=tuple(bond.tag for bond in bonds
                             if bond.tag not in closed and (len(each) == 1 or bond.board in (
                                 "", board)))))  # fmt: skip
    return tuple(found)


class ScheduleLine(Protocol):
    """What a line of the earth bar's schedule has."""

    @property
    def number(self) -> int:
        """Terminal on the bar; 0: none."""
    @property
    def part(self) -> str:
        """Key of what is earthed."""
    @property
    def count(self) -> int:
        """Conductors alike, each with a terminal of its own."""
    @property
    def name(self) -> str:
        """In words."""
    @property
    def start(self) -> str:
        """What the conductor joins at one end."""
    @property
    def end(self) -> str:
        """What it joins at the other."""
    @property
    def size_mm2(self) -> float:
        """Copper [mm2]."""
    @property
    def kind(self) -> EarthKind:
        """One of `EarthKind`."""


def earth_lines(
    schedule: Sequence[ScheduleLine], tags: Mapping[str, str] = NO_TAGS
) -> tuple[EarthLine, ...]:
    """The lines of a schedule as this drawing takes them, under the tags of their conductors.

    Where there are more than it has room for, alike ones of several roof planes are one line.

    Parameters
    ----------
    schedule : sequence of ScheduleLine
    tags : mapping of str to str
        Tag of what is earthed by the key of the part.
    """
    numbered = list(enumerate(schedule, start=1))
    full = sum(line.kind in _LEFT and line.number > 0 for line in schedule) > MOST_LEFT
    groups = [list(group) for _, group in groupby(
        numbered, key=lambda one: (stem_of(one[1].part), one[1].size_mm2, one[1].end)
        if full else one[0])]  # fmt: skip
    return tuple(
        EarthLine(number=line.number, size_mm2=line.size_mm2, kind=line.kind,
                  name=" ".join(filter(None, [
                      ", ".join(dict.fromkeys(filter(None, (tags.get(one.part, "")
                                                            for _, one in group)))),
                      line.name if len(group) == 1
                      else f"{line.name.rpartition(', ')[0]} of {len(group)} roof planes",
                  ])),
                  from_words=_far_end(line), count=sum(one.count for _, one in group),
                  tag=", ".join(f"PE{tag}" for tag, _ in group))
        for group in groups for _, line in group[:1]
    )  # fmt: skip


def earthing_drawing(
    built: Installation, schedule: Sequence[ScheduleLine], electrode_words: str,
    language: str = PATTERN,
) -> str:
    """The earthing diagram of an installation, with all tags and the bonds of each supply state.

    Parameters
    ----------
    built : Installation
    schedule : sequence of ScheduleLine
        Of its earth bar.
    electrode_words : str
        What the electrode is and its resistance.
    language : str
        Of the words on it.
    """
    site = built.site
    tags = {part.key: part.tag for part in built.parts}
    return earthing_diagram(
        earth_lines(schedule, tags), electrode_words, site_name=site.site.name,
        system=system_words(site), firm=site.firm, checked=site.checked, status=site.status,
        tags=tags, bonds=bond_states(built), language=language,
    )  # fmt: skip


def _far_end(line: ScheduleLine) -> str:
    if line.number == 0:
        return f"{line.start} to {line.end}"
    return line.end if line.start == BAR_WORDS else line.start


def earthing_diagram(lines: Sequence[EarthLine], electrode_words: str, *, site_name: str,
                     system: str = "", firm: Firm = NO_FIRM, checked: Checked = NOBODY,
                     status: Status = FIRST, tags: Mapping[str, str] = NO_TAGS,
                     bonds: Sequence[BondState] = (),
                     language: str = PATTERN) -> str:  # fmt: skip
    """The earthing diagram as SVG, A4 lying.

    The bar stands in the middle; frames, cases, surge devices and bonding come in from the left,
    the neutral from the right; the electrode hangs below it behind its test link.

    Parameters
    ----------
    lines : sequence of EarthLine
    electrode_words : str
        What the electrode is and its resistance, for one who digs it in.
    site_name : str
    system : str
        TT, TN-S or IT, and how the neutral is joined, in words.
    firm : Firm
        For the title block.
    checked : Checked
        Who checked it, by the site file; nobody if left out.
    status : Status
        Revision and day of the design.
    tags : mapping of str to str
        Of the parts, by key.
    bonds : sequence of BondState
        Which bonds are closed in each supply state.
    language : str
        Of the words on it.

    Returns
    -------
    str
        SVG that needs nothing outside it; the same input gives the same bytes.

    Raises
    ------
    InputError
        For no lines, a size not above 0, a kind that is not known, a terminal used twice, or more
        conductors than the sheet has room for.
    """
    faults = list(_faults(lines))
    if faults:
        raise InputError(faults)
    at_bar = [line for line in lines if line.number > 0]
    left = [line for kind in _LEFT for line in at_bar if line.kind == kind]
    sheet = Sheet("earthing", f"Earthing diagram, {site_name}", (
        f"{sum(line.count for line in at_bar)} conductors meet at the main earthing terminal: "
        + "; ".join(f"{line.number} {line.name}, {_copper(line)}" for line in at_bar)
        + f". Earth electrode: {electrode_words}. "
        + ". ".join(bond.words for bond in bonds)), language=language)  # fmt: skip
    _bar(sheet, tags.get("earth-bar", ""))
    _left_side(sheet, left)
    _system_side(sheet, [line for line in at_bar if line.kind == "system"], system)
    tied = sum(line.kind == "system" for line in at_bar)
    _bonds(sheet, bonds, TABLE_MM + 9.0 * tied)
    electrode_words = f"{tags.get('electrode', '')} {electrode_words}".strip()
    _electrode(sheet, [line for line in at_bar if line.kind == "electrode"], electrode_words,
               f"{tags.get('test-link', '')} test link".strip())  # fmt: skip
    signed = Signed(name=site_name, checked=checked, status=status, firm=firm)
    draw_frame(sheet, title_block(signed, number="SP-07b", sheet="7b",
                                  title="Earthing diagram", language=language),
               _notes(sheet, lines))  # fmt: skip
    return sheet.svg()


def _faults(lines: Sequence[EarthLine]) -> list[Fault]:
    where = "lines of the earth bar"
    found = []
    if not lines:
        found.append(Fault(where=where, given="none", allowed="one or more",
                           remedy="make the schedule of the earth bar first"))  # fmt: skip
    for line in lines:
        if line.kind not in get_args(EarthKind):
            found.append(Fault(where=f"{where}: kind", given=repr(line.kind),
                               allowed=", ".join(get_args(EarthKind))))  # fmt: skip
        if not (math.isfinite(line.size_mm2) and line.size_mm2 > 0.0):
            found.append(Fault(where=f"{where}: {line.name}: size_mm2",
                               given=f"{line.size_mm2:g} mm²", allowed="above 0 mm²"))  # fmt: skip
    numbers = [line.number + more for line in lines if line.number > 0
               for more in range(line.count)]  # fmt: skip
    found += [Fault(where=f"{where}: number", given=f"{number} more than once",
                    allowed="each terminal once", why="one conductor a terminal",
                    remedy="give each its own")
              for number in dict.fromkeys(numbers) if numbers.count(number) > 1]  # fmt: skip
    for kinds, most in ((_LEFT, MOST_LEFT), (("system",), MOST_RIGHT), (("electrode",), 2)):
        count = sum(line.kind in kinds and line.number > 0 for line in lines)
        if count > most:
            found.append(Fault(where=f"{where}: {', '.join(kinds)}", given=f"{count} conductors",
                               allowed=f"at most {most} on one sheet", why="no room for more",
                               remedy="join alike ones, or draw two bars"))  # fmt: skip
    return found


def _bonds(sheet: Sheet, bonds: Sequence[BondState], top_mm: float) -> None:
    """Bonds by supply state: exactly one closed for each board, in every state."""
    if not bonds:
        return
    y_mm = top_mm
    sheet.text(202.0, y_mm, "Neutral-earth bond by supply state", bold=True)
    right = all(len(bond.closed) == 1 for bond in bonds)
    words = "exactly one closed for each board" if right else "not one for each: see the checks"
    sheet.text(202.0, y_mm + 3.4, words, size_mm=SMALL_MM)
    y_mm += 4.8
    for bond in bonds:
        lines = sheet.fitted(bond.words, 84.0, size_mm=SMALL_MM)
        sheet.path([(202.0, y_mm), (289.0, y_mm)], width_mm=THIN_MM)
        sheet.lines(204.0, y_mm + 3.0, lines, size_mm=SMALL_MM)
        y_mm += 1.2 + 1.25 * SMALL_MM * len(lines)
    sheet.path([(202.0, y_mm), (289.0, y_mm)], width_mm=THIN_MM)


def _bar(sheet: Sheet, tag: str) -> None:
    sheet.box(BAR_LEFT_MM, TOP_MM, BAR_RIGHT_MM, BOTTOM_MM - 8.0, width_mm=2.0 * LINE_MM,
              fill=sheet.hatch("bar", apart_mm=1.2))  # fmt: skip
    name = f"{tag} Main earthing terminal (earth bar)".strip()
    sheet.text(BAR_RIGHT_MM + 3.0, TOP_MM + 3.0, name, bold=True)
    sheet.text(BAR_RIGHT_MM + 3.0, TOP_MM + 6.6, "numbers: its terminals", size_mm=SMALL_MM)


def _left_side(sheet: Sheet, lines: Sequence[EarthLine]) -> None:
    kinds = [kind for kind in _LEFT if any(line.kind == kind for line in lines)]
    room_mm = BOTTOM_MM - 8.0 - TOP_MM - HEAD_MM * len(kinds)
    step_mm = min(MOST_STEP_MM, room_mm / max(len(lines), 1))
    y_mm = TOP_MM
    for kind in kinds:
        sheet.text(9.0, y_mm + 3.6, HEADINGS[kind], bold=True)
        y_mm += HEAD_MM
        for line in [each for each in lines if each.kind == kind]:
            _conductor(sheet, line, y_mm + step_mm / 2.0, step_mm)
            y_mm += step_mm


def _copper(line: EarthLine) -> str:
    """Tag and size of a conductor, and how many alike there are."""
    alike = "" if line.count == 1 else f"{line.count} × "
    return f"{line.tag} {alike}{line.size_mm2:g} mm² Cu".strip()


def _conductor(sheet: Sheet, line: EarthLine, y_mm: float, step_mm: float) -> None:
    half_mm = min(step_mm, 8.6) / 2.0 - 0.3
    sheet.box(9.0, y_mm - half_mm, 101.0, y_mm + half_mm, width_mm=THIN_MM)
    sheet.lines(11.0, y_mm - 0.5, [*sheet.fitted(line.name, 88.0, lines=1)])
    sheet.lines(11.0, y_mm + 2.7, sheet.fitted(line.from_words, 88.0, size_mm=SMALL_MM, lines=1),
                size_mm=SMALL_MM)  # fmt: skip
    sheet.path([(101.0, y_mm), (BAR_LEFT_MM, y_mm)])
    sheet.text(106.0, y_mm - 1.2, _copper(line))
    _terminal(sheet, BAR_LEFT_MM - 9.0, y_mm, line)


def _terminal(sheet: Sheet, x_mm: float, y_mm: float, line: EarthLine) -> None:
    last = "" if line.count == 1 else f"–{line.number + line.count - 1}"
    sheet.text(x_mm + 2.0, y_mm - 1.2, f"{line.number}{last}", anchor="middle", bold=True)
    sheet.circle(BAR_LEFT_MM if x_mm < BAR_LEFT_MM else BAR_RIGHT_MM, y_mm, 0.9, fill="white")


def _system_side(sheet: Sheet, lines: Sequence[EarthLine], system: str) -> None:
    y_mm = TOP_MM + 16.0
    sheet.text(202.0, y_mm - 5.0, HEADINGS["system"], bold=True)
    sheet.lines(202.0, y_mm - 1.2, sheet.fitted(system, 84.0, size_mm=SMALL_MM, lines=1),
                size_mm=SMALL_MM)  # fmt: skip
    if not lines:
        sheet.text(202.0, y_mm + 4.0, "no conductor bonds the neutral to this terminal")
    for number, line in enumerate(lines):
        middle_mm = y_mm + 5.5 + 9.0 * number
        sheet.box(202.0, middle_mm - 4.0, 289.0, middle_mm + 4.0, width_mm=THIN_MM)
        sheet.lines(204.0, middle_mm - 0.5, sheet.fitted(line.name, 83.0, lines=1))
        words = sheet.fitted(line.from_words, 83.0, size_mm=SMALL_MM, lines=1)
        if words[-1].endswith("…"):  # how it is switched stands with the bonds below
            place = line.from_words.partition(",")[0]
            words = sheet.fitted(place, 83.0, size_mm=SMALL_MM, lines=1)
        sheet.lines(204.0, middle_mm + 2.7, words, size_mm=SMALL_MM)
        sheet.path([(BAR_RIGHT_MM, middle_mm), (202.0, middle_mm)])
        sheet.text(176.0, middle_mm - 1.2, _copper(line))
        _terminal(sheet, BAR_RIGHT_MM + 3.0, middle_mm, line)


def _electrode(sheet: Sheet, lines: Sequence[EarthLine], words: str, link: str) -> None:
    """Test link, earthing conductor and the electrode in the ground."""
    ground_mm, top_mm = 152.0, 124.0
    sheet.path([(160.0, ground_mm), (289.0, ground_mm)], width_mm=2.0 * LINE_MM)
    sheet.box(160.0, ground_mm, 289.0, ground_mm + 3.0, width_mm=0.0,
              fill=sheet.hatch("ground", apart_mm=2.4))  # fmt: skip
    sheet.text(253.0, ground_mm - 1.8, "soil", size_mm=SMALL_MM)
    sheet.text(202.0, top_mm - 8.0, HEADINGS["electrode"], bold=True)
    for number, line in enumerate(lines):
        y_mm, x_mm = top_mm + 12.0 * number, 196.0 - 14.0 * number
        sheet.path([(BAR_RIGHT_MM, y_mm), (x_mm - 12.0, y_mm)])
        sheet.path([(x_mm - 3.0, y_mm), (x_mm, y_mm), (x_mm, ground_mm + 8.0)])
        sheet.path([(x_mm - 12.0, y_mm), (x_mm - 3.0, y_mm)], width_mm=1.2)
        sheet.circle(x_mm - 12.0, y_mm, 1.0, fill="white")
        sheet.circle(x_mm - 3.0, y_mm, 1.0, fill="white")
        sheet.box(x_mm - 13.0, y_mm - 1.8, x_mm - 2.0, y_mm + 1.8, width_mm=THIN_MM, dash=DASHED)
        sheet.text(x_mm - 7.5, y_mm - 3.0, link, size_mm=SMALL_MM, anchor="middle")
        words_of = f"{line.name}, {_copper(line)}: {line.from_words}"
        sheet.lines(202.0, y_mm, sheet.fitted(words_of, 86.0, lines=2))
        _terminal(sheet, BAR_RIGHT_MM + 3.0, y_mm, line)
        Placer(sheet).put("earth", x_mm, ground_mm + 8.0)
    sheet.lines(204.0, ground_mm + 9.0, sheet.fitted(words, 84.0, lines=7))


def _notes(sheet: Sheet, lines: Sequence[EarthLine]) -> list[str]:
    """What to see to, then what is joined elsewhere: by tags alone where names lack room."""
    said = [
        "Cu: copper, green and yellow. The test link opens with a tool, for measuring only, with"
        " every supply off and locked.",
        "The electrode is shown by its symbol, not its shape.",
    ]
    apart = [line for line in lines if line.number == 0]
    if not apart:
        return said
    for names in ([line.name for line in apart], [_tags(line) for line in apart],
                  [""] * len(apart)):  # fmt: skip
        listed = "; ".join(f"{name}, {_copper(line)}".removeprefix(", ")
                           for name, line in zip(names, apart, strict=True))  # fmt: skip
        notes = [*said, f"Not at this terminal: {listed}."]
        if notes_fit(sheet, notes):
            break
    return notes


def _tags(line: EarthLine) -> str:
    """The tags that a name begins with; the name where it has none."""
    found = re.match(r"[A-Z]{1,3}\d+(?:, [A-Z]{1,3}\d+)*(?!\w)", line.name)
    return found[0] if found else line.name
