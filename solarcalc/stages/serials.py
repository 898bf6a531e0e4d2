"""What was fitted where: serial numbers by position, with the day until which each is warranted.

A list names the positions of the installation, so that one module of a string can be claimed for
years later. Columns: position, model, serial, warranty_until. Lines that begin with # are words.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Protocol

from solarcalc.basis.errors import Fault, InputError
from solarcalc.basis.filled_csv import blank_list, filled_rows, head_faults, shown, sound
from solarcalc.basis.messages import PATTERN
from solarcalc.basis.phrases import listed
from solarcalc.basis.text import bare, guard_cell, nearest
from solarcalc.commissioning.facts import TestFacts
from solarcalc.commissioning.line import TestLine
from solarcalc.installation.records import Installation, Part
from solarcalc.sitefile.programme import DAY_WORDS, day_of, day_told
from solarcalc.siteyear import SiteYear
from solarcalc.stages.files import there
from solarcalc.wiring.string_checks import strings_by_plane

COLUMNS = ("position", "model", "serial", "warranty_until")
FOR_THE_EYE = ("kind", "designed_as")
KINDS = ("battery", "controller", "inverter", "generator")
"""Parts beside the modules that have a serial number and a warranty of their own."""


class Built(SiteYear, Protocol):
    """A site with what is built of it; `solarcalc.design.Design` is one."""

    @property
    def installation(self) -> Installation:
        """All that is built: parts, conductors and routes."""

    @property
    def test_facts(self) -> TestFacts:
        """What its test sheet has to know of the site."""

    @property
    def test_lines(self) -> tuple[TestLine, ...]:
        """Every test of the site in its order."""


@dataclass(frozen=True, kw_only=True)
class Position:
    """A place for one thing with a serial number: ``S1/3``, ``G2.5``, ``T1``."""

    name: str
    kind: str
    designed_as: str


@dataclass(frozen=True, kw_only=True)
class Serial:
    """What was fitted at a position; what is not known yet is empty or None."""

    position: Position
    model: str
    serial: str
    warranty_until: date | None

    @property
    def missing(self) -> tuple[str, ...]:
        """What a claim would still want."""
        held = {"model": self.model, "serial": self.serial, "warranty_until": self.warranty_until}
        return tuple(key for key, value in held.items() if not value)


def positions_of(built: Installation) -> tuple[Position, ...]:
    """Every position with a serial number: modules by string, then units of the power room."""
    site = built.site
    modules = [
        Position(name=f"{string}/{number}", kind="module", designed_as=site.module.label)
        for one, strings in zip(site.sites, strings_by_plane(site), strict=True)
        for string in strings for number in range(1, one.array.modules_in_series + 1)
    ]  # fmt: skip
    return (*modules, *(one for part in built.of_kind(*KINDS) for one in _positions(part)))


def _positions(part: Part) -> Iterator[Position]:
    words = part.bought.words if part.bought else part.name
    numbered = part.count > 1 or part.kind == "battery"
    for number in range(1, part.count + 1):
        name = f"{part.tag}.{number}" if numbered else part.tag
        yield Position(name=name, kind=part.kind, designed_as=words)


def blank_serials(
    positions: Sequence[Position], *, head: Sequence[str] = (), language: str = PATTERN
) -> bytes:
    """The blank list of all positions as a CSV file, with a byte order mark for spreadsheets.

    Parameters
    ----------
    positions : sequence of Position
    head : sequence of str
        Words above it, one line each.
    language : str
        Of the texts; the columns keep their names, by which they are read back.
    """
    rows = ([one.name, "", "", "", *(guard_cell(listed(text, language))
                                     for text in (one.kind, one.designed_as))]
            for one in positions)
    return blank_list([*COLUMNS, *FOR_THE_EYE], rows, head=head).encode("utf-8-sig")


def serials_of(own: Built) -> dict[str, Serial]:
    """What the list of the site file says, by position; empty where the file names none.

    A list that is named and is no file has nothing in it: `solarcalc.stages.files` says so.

    Raises
    ------
    InputError
        With every fault of the list; see `read_serials`.
    """
    name = own.site.handover.serials
    path = own.sitefile.folder / name
    return read_serials(path, positions_of(own.installation)) if name and there(path) else {}


def read_serials(path: Path, positions: Sequence[Position]) -> dict[str, Serial]:
    """Serial numbers by position; positions left empty are left out.

    Parameters
    ----------
    path : Path
        CSV file with commas, or with semicolons as some spreadsheets write them.
    positions : sequence of Position
        Of the installation.

    Raises
    ------
    InputError
        With every fault, by file, line and field: no such file, not text, a column missing or not
        known, a position that is not of this site or stands twice, a serial number twice among
        things of a kind, no such day.
    """
    return sound(rows_read(path, positions))


def rows_read(
    path: Path, positions: Sequence[Position]
) -> tuple[dict[str, Serial], tuple[Fault, ...]]:
    """The rows without a fault, by position, and every fault of the others.

    Of two rows of a position neither is among them. A file that is no list has no rows.

    Parameters
    ----------
    path, positions
        As for `read_serials`.
    """
    try:
        heads, rows = _table(path)
    except InputError as error:
        return {}, error.faults
    known = {one.name: one for one in positions}
    faults: list[Fault] = []
    found: dict[str, Serial] = {}
    lines: dict[tuple[str, str], int] = {}
    for line, cells in rows:
        where = f"{path.name}: line {line}"
        if len(cells) > len(heads):
            faults.append(Fault(
                where=where, given=f"{len(cells)} cells", allowed=f"{len(heads)}, as many as"
                " columns", remedy="quotes around a cell with a comma in it"))  # fmt: skip
            continue
        row = dict(zip(heads, cells, strict=True))
        wrong = list(_row_faults(where, row, known, lines))
        faults += wrong
        name = row["position"].upper()
        for key in (("position", name), (_kind(known, name), _plate(row["serial"]))):
            lines.setdefault(key, line)
        if wrong:
            found.pop(name, None)
        elif any(row[key] for key in COLUMNS[1:]):
            found[name] = Serial(
                position=known[name], model=row["model"], serial=row["serial"],
                warranty_until=day_of(row["warranty_until"]))  # fmt: skip
    return found, tuple(faults)


def _kind(known: Mapping[str, Position], name: str) -> str:
    return f"serial of a {known[name].kind}" if name in known else ""


def _plate(serial: str) -> str:
    """A serial number as two that are the same are written alike."""
    return "".join(serial.casefold().split())


_NO_SERIAL = frozenset({"na", "nil", "none", "no", "unknown", "unreadable", "missing", "notread",
                        "tbd", "tbc", "illisible", "inconnu", "neant", "aucun",
                        "manquant"})  # fmt: skip
"""What people write where they have no number, without signs and accents; from memory."""
_SHORTENED = re.compile(r"[0-9]([.,][0-9]+)?E\+[0-9]+", re.IGNORECASE)
"""A long number as a spreadsheet shows it, its last figures lost."""


def _serial_fault(where: str, serial: str) -> Fault | None:
    """What stands for a serial number and is none."""
    if _SHORTENED.fullmatch(serial):
        return Fault(where=where, given=shown(serial), allowed="a serial number, every figure",
                     why="the spreadsheet took it for a number and shortened it",
                     remedy="format the column as text and read the plate again")
    letters = bare(serial).replace(" ", "")
    if letters in _NO_SERIAL or not any(sign.isalnum() for sign in serial):
        return Fault(where=where, given=shown(serial), allowed="a serial number, or nothing",
                     remedy="leave it empty where the plate was not read")
    return None


def _row_faults(
    where: str, row: Mapping[str, str], known: Mapping[str, Position],
    lines: Mapping[tuple[str, str], int],
) -> Iterator[Fault]:  # fmt: skip
    name, serial, until = row["position"].upper(), row["serial"], row["warranty_until"]
    if name not in known:
        near = nearest(name, known)
        yield Fault(where=f"{where}: position", given=shown(row["position"]) or "nothing",
                    allowed="a position of this"
                    f" site, {next(iter(known))} to {list(known)[-1]}",
                    remedy=f"did you mean {near}?" if near else "write the blank list again")
    elif (before := lines.get(("position", name))) is not None:
        yield Fault(where=f"{where}: position", given=f"{name}, as line {before} already",
                    allowed="each position once", remedy="keep what is fitted now")
    no_serial = _serial_fault(f"{where}: serial", serial) if serial else None
    before = lines.get((_kind(known, name), _plate(serial))) if serial else None
    if no_serial is not None:
        yield no_serial
    elif before is not None and name in known:
        yield Fault(where=f"{where}: serial", given=f"{shown(serial)}, as line {before} already",
                    allowed="each serial number once", why="two things of a kind never share one",
                    remedy="read both plates again")
    if until and day_of(until) is None:
        why, remedy = day_told(until)
        yield Fault(where=f"{where}: warranty_until", given=shown(until), allowed=DAY_WORDS,
                    why=why, remedy=remedy)


def _table(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """Names of the columns, and rows with their line numbers."""
    rows, _ = filled_rows(path, where="handover.serials", a_line="one line a position")
    heads = [head.lower() for head in rows[0][1]] if rows else []
    faults = head_faults(f"{path.name}: line {rows[0][0] if rows else 1}", heads,
                         asked=COLUMNS, known=(*COLUMNS, *FOR_THE_EYE))  # fmt: skip
    if faults:
        raise InputError(faults)
    return heads, rows[1:]


def claim_rows(own: Built, position: str) -> list[dict[str, str]]:
    """What a claim under warranty wants of one position: a field a row, empty where unknown.

    Parameters
    ----------
    own : Built
    position : str
        Such as ``S1/3``.

    Raises
    ------
    InputError
        For a position that this site has not, or a list with faults.
    """
    positions = {one.name: one for one in positions_of(own.installation)}
    if position not in positions:
        near = nearest(position, positions)
        raise InputError(Fault(
            where="position", given=shown(position), allowed="a position of this site, "
            f"{next(iter(positions))} to {list(positions)[-1]}",
            remedy=f"did you mean {near}?" if near else ""))  # fmt: skip
    place, fitted, firm = own.site.site, serials_of(own).get(position), own.site.firm
    handed_over = next((one.date for one in own.site.status.signed if one.what == "BK"), "")
    until = fitted.warranty_until if fitted else None
    said = {
        "site": place.name, "customer": place.customer, "position": position,
        "what": positions[position].kind, "maker's model": fitted.model if fitted else "",
        "serial number": fitted.serial if fitted else "",
        "warranty until": until.isoformat() if until else "",
        "designed as": positions[position].designed_as, "handed over": handed_over,
        "installed by": firm.name, "contact": firm.contact,
    }  # fmt: skip
    return [{"field": field, "value": value} for field, value in said.items()]
